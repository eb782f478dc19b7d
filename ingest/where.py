"""Where things are in a photo, in order of trust: a person's marks, the printed mat, a search."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from ingest.errors import MarksError, ReferenceMissing
from ingest.model import Layout, Photo, Polygon, Reference, Settings
from ingest.raster import centre_of


def locate(photo: Photo, layout: Layout | None, settings: Settings) -> Layout:
    """The layout to use: the given one, completed by a search where it names no reference.

    Without one the mat is looked for, then a card or chart and a swatch. Markers that do not
    place a mat are no reason to give up where the search finds a reference; where it does not,
    their :class:`MarksError` is raised.
    """
    if layout is not None:
        if layout.references or not settings.search:
            return layout
        return replace(layout, references=_references(photo, settings))
    if not settings.search:
        return Layout()
    from ingest.mat import find_mat
    from ingest.onmat import reference_on

    try:
        found = find_mat(photo, bar_mm=settings.bar_mm)
    except MarksError:
        searched = _search(photo, settings)
        if not searched.references:
            raise
        return searched
    if found is None:
        return _search(photo, settings)
    place = found.regions.get("reference")
    on_it = None if place is None else reference_on(photo, place, settings)
    references = () if on_it is None else (on_it,)
    if not references and not settings.allow_uncorrected:
        raise ReferenceMissing(
            "the capture mat was found, but no card or chart that can be read on its place for "
            "one; steps need their values (--steps), or mark the reference by hand"
        )
    return replace(
        found.layout,
        references=references,
        surround=tuple(found.surround.values()),
        flags=frozenset({"mat not flat"} if found.warning else ()),
    )


def _search(photo: Photo, settings: Settings) -> Layout:
    from ingest.search import find_swatches, search_layout

    if settings.steps_y is None:
        return search_layout(photo)
    references = _references(photo, settings)
    return Layout(references, find_swatches(photo, references), located="search")


def _references(photo: Photo, settings: Settings) -> tuple[Reference, ...]:
    from ingest.search import find_references, find_steps

    found: Sequence[Reference] = find_references(photo)
    steps = None if settings.steps_y is None else find_steps(photo, settings.steps_y)
    if steps is None:
        return tuple(found)
    # One of the steps may look like a grey card of its own.
    alone = [r for r in found if not any(_inside(r, patch) for patch in steps.patches)]
    return (*alone, steps)


def _inside(reference: Reference, polygon: Polygon) -> bool:
    """Whether the middle of a reference lies inside a polygon."""
    import cv2
    import numpy as np

    points = reference.corners or tuple(p for patch in reference.patches for p in patch)
    hull = np.asarray(polygon, dtype=np.float32)
    return bool(cv2.pointPolygonTest(hull, centre_of(points), False) >= 0)
