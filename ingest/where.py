"""Where things are in a photo, in order of trust: a person's marks, the printed mat, a search."""

from __future__ import annotations

from dataclasses import replace

from ingest.errors import MarksError, ReferenceMissing
from ingest.expected import with_found_values
from ingest.model import Layout, Photo, Settings


def locate(photo: Photo, layout: Layout | None, settings: Settings) -> Layout:
    """The layout to use: the given one, completed by a search where it names no reference.

    Without one the mat is looked for, then a card or chart and a swatch. Markers that do not
    place a mat are no reason to give up where the search finds a reference; where it does not,
    their :class:`MarksError` is raised.
    """
    from ingest.search import flagged_references, search_layout

    if layout is not None:
        if layout.references or not settings.search:
            known = tuple(with_found_values(r, settings) for r in layout.references)
            return layout if known == layout.references else replace(layout, references=known)
        references, flags = flagged_references(photo, settings.steps_y)
        return replace(layout, references=references, flags=layout.flags | flags)
    if not settings.search:
        return Layout()
    from ingest.mat import find_mat
    from ingest.onmat import reference_on

    try:
        found = find_mat(photo, bar_mm=settings.bar_mm)
    except MarksError:
        searched = search_layout(photo, settings.steps_y)
        if not searched.references:
            raise
        return searched
    if found is None:
        return search_layout(photo, settings.steps_y)
    place = found.regions.get("reference")
    on_it = None if place is None else reference_on(photo, place, settings)
    on_mat = () if on_it is None else (on_it,)
    if not on_mat and not settings.allow_uncorrected:
        if place is None:
            raise ReferenceMissing(
                "the capture mat was found, but the picture's edge cuts off its place for a "
                "reference: go back until the whole place shows, or mark a reference by hand"
            )
        told = settings.steps_y is not None
        steps = "of the values told" if told else "without their values (--steps)"
        raise ReferenceMissing(
            "the capture mat was found, but on its place for a reference no card or chart can be "
            f"read, and no steps {steps}; lay it there whole, in one light, or mark it by hand"
        )
    return replace(
        found.layout,
        references=on_mat,
        surround=tuple(found.surround.values()),
        flags=frozenset({"mat not flat"} if found.warning else ()),
    )
