"""Searches in an archive: near a colour, with other dyes, like a swatch. No printing."""

from __future__ import annotations

import math
import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ingest.colour import Floats, delta_e_2000
from ingest.model import none_if_nan
from swatchvault import shades
from swatchvault.archive import StoredColour, same_dyes
from swatchvault.archive.evenness import versions_in_use
from swatchvault.archive.made import Filters, Made, made_of, speaking_labs, swatches_where
from swatchvault.archive.pages_find import shown_with
from swatchvault.errors import NotFound
from swatchvault.groups import U_UNKNOWN
from swatchvault.lotcheck import as_colour
from swatchvault.pair import Capture, Colour, Conditions, OwnFrame, capture_class
from swatchvault.photodoubt import (
    Apart,
    apart,
    apart_under,
    own_frames,
    photo_of_lab,
    photos_by_swatch,
    u_of_lab,
)
from swatchvault.queries import Query
from swatchvault.taken import Taken

#: Tolerance of a search where none is asked for, in ΔE00; as of a check, our choice.
TOLERANCE = 2.0
#: A hit farther off than this many standard uncertainties is not near; our choice, 99.7 % of a
#: normal.
DOUBTS = 3.0


@dataclass(frozen=True, eq=False)
class Hit:
    """A swatch that was found. ``u``: doubt of ``distance`` where it is a ΔE00, NaN unknown.

    ``u_lab``: (3,) standard uncertainties of ``lab`` by itself, all parts; NaN where unknown.
    ``damp``: whether ``lab`` was measured wet or damp. ``same_dyes``: whether the records say that
    it was dyed with the dyes and packs of the swatch asked about; ``None``: not known.
    """

    rank: int
    made: Made
    lab: Floats
    distance: float
    u: float
    photos: str
    u_lab: Sequence[float]
    damp: bool = False
    same_dyes: bool | None = None

    def record(self) -> dict[str, Any]:
        """Plain JSON data."""
        return {
            "rank": self.rank,
            **made_record(self.made),
            "lab": [float(v) for v in self.lab],
            "u_lab": [none_if_nan(v) for v in self.u_lab],
            "distance": self.distance,
            "u": none_if_nan(self.u),
            "photos": self.photos,
            "damp": self.damp,
            "same_dyes": self.same_dyes,
        }


def made_record(made: Made) -> dict[str, Any]:
    """How a swatch was made, as plain JSON data."""
    names = ("swatch", "form", "base", "lot", "dyed_on", "colourway", "recipe_version")
    dyes = [{"dye": d.dye, "depth_percent": d.depth_percent, "pack": d.pack} for d in made.dyes]
    return {**{n: getattr(made, n) for n in names}, "dyes": dyes}


def near(
    conn: sqlite3.Connection, query: Query, filters: Filters, *, k: int = 10, k_l: float = 2.0
) -> list[Hit]:
    """The nearest swatches by ΔE00, those that cannot be told apart sharing a rank.

    Raises ``NotFound`` where nothing measured meets the filters.
    """
    ids, labs = _searched(conn, query, filters)
    rows, _ = shades.LabIndex(labs).nearest(query.target.lab, k, k_l=k_l)
    rows = with_companions(conn, query, ids, rows)
    return hits_of(conn, query, ids[rows].tolist(), labs[rows], k_l)[:k]


def within(
    conn: sqlite3.Connection, query: Query, filters: Filters, tolerance: float, k_l: float
) -> list[Hit]:
    """Every swatch within ``tolerance`` of the query; may be none."""
    ids, labs = _searched(conn, query, filters)
    rows, _ = shades.LabIndex(labs).within(query.target.lab, tolerance, k_l=k_l)
    rows = with_companions(conn, query, ids, rows)
    hits = hits_of(conn, query, ids[rows].tolist(), labs[rows], k_l)
    return [hit for hit in hits if hit.distance <= tolerance]


def with_companions(
    conn: sqlite3.Connection,
    query: Query,
    ids: NDArray[np.int64],
    rows: NDArray[np.intp],
    wanted: NDArray[np.bool_] | None = None,
) -> NDArray[np.intp]:
    """The rows found and those of swatches that share a photo with the one asked about: that photo
    may say that they lie nearer. ``wanted``: (n,) which of ``ids`` may be found."""
    if query.swatch_id is None:
        return rows
    beside = np.isin(ids, list(shown_with(conn, query.swatch_id)))
    return np.union1d(rows, np.flatnonzero(beside if wanted is None else beside & wanted))


def nothing_near(
    query: Query,
    hits: Sequence[Hit],
    tolerance: float,
    *,
    k_l: float = 2.0,
    limited: bool = False,
) -> str:
    """That nothing lies near, with the nearest of ``hits`` there is; "" where something does.

    Near is within ``tolerance`` or, where the photos are less sure than that and no limit was asked
    for (``limited``), within :data:`DOUBTS` times the doubt. ``k_l``: of the search.
    """
    limits = [tolerance if limited else max(tolerance, DOUBTS * _known(h.u)) for h in hits]
    if not hits or any(h.distance <= most for h, most in zip(hits, limits, strict=True)):
        return ""
    doubt = "" if limited else f", or within {DOUBTS:g} times the doubt,"
    return (
        f"Nothing within ΔE00 {tolerance:g}{doubt} of {query.target.name}: the nearest is "
        f"{hits[0].made.swatch}, {hits[0].distance:.3g} off (kL = {k_l:g})."
    )


def _known(u: float) -> float:
    return U_UNKNOWN if math.isnan(u) else u


def by_other_dyes(conn: sqlite3.Connection, query: Query, hits: Sequence[Hit]) -> list[Hit]:
    """Of these hits, those that got there with no dye in common with one another, nor with the
    swatch asked about."""
    own: frozenset[str] = frozenset()
    if query.swatch_id is not None:
        made = made_of(conn, [query.swatch_id])
        own = frozenset(d.dye for m in made.values() for d in m.dyes)
    dyed = [(hit, frozenset(d.dye for d in hit.made.dyes)) for hit in hits]
    others = [(hit, dyes) for hit, dyes in dyed if not dyes & own]
    sets, distances = [dyes for _, dyes in others], [hit.distance for hit, _ in others]
    return [others[r][0] for r in shades.other_dyes(sets, distances)]


def no_other_ways(query: Query, hits: Sequence[Hit], tolerance: float, k_l: float = 2.0) -> str:
    """Why :func:`by_other_dyes` found none among ``hits``, all that lie within the tolerance.

    ``k_l``: of the search.
    """
    near = f"within ΔE00 {tolerance:g} (kL = {k_l:g}) of {query.target.name}"
    if not hits:
        return f"no swatch {near}: ask further with --tolerance"
    dyed = sum(bool(hit.made.dyes) for hit in hits)
    told = [f"{dyed} with a dye in common"] if dyed else []
    if dyed < len(hits):
        told.append(f"{len(hits) - dyed} with no dyes written down")
    lie = "1 swatch lies" if len(hits) == 1 else f"{len(hits)} swatches lie"
    return f"no lot without a dye in common {near}: {lie} there, {', '.join(told)}"


def _searched(
    conn: sqlite3.Connection, query: Query, filters: Filters
) -> tuple[np.ndarray[Any, Any], Floats]:
    versions = versions_in_use(conn)
    several = bool(versions) and (len(versions) > 1 or query.version not in (None, *versions))
    ids, labs = speaking_labs(conn, query.version or versions[-1] if several else None)
    if filters.asks:
        wanted = swatches_where(conn, filters)
        keep = np.isin(ids, np.fromiter(wanted, dtype=np.int64, count=len(wanted)))
        ids, labs = ids[keep], labs[keep]
    if query.swatch_id is not None:
        ids, labs = ids[ids != query.swatch_id], labs[ids != query.swatch_id]
    if several and not len(ids):
        raise NotFound(
            f"no other swatch that is asked for was measured by version {query.version} of the "
            "method: measure them anew with `swatchvault remeasure --all`"
        )
    if not len(ids):
        raise NotFound(nothing_meets(filters))
    return ids, labs


def nothing_meets(filters: Filters) -> str:
    """Why a search has nothing to look among."""
    if filters.asks:
        return "no other measured swatch meets all of that: ask for less"
    return "the archive holds no measured swatch to search yet: photograph one and add it"


def hits_of(
    conn: sqlite3.Connection,
    query: Query,
    ids: Sequence[int],
    labs: Floats,
    k_l: float,
    version: str | None = None,
) -> list[Hit]:
    """Swatches found, nearest first, with how they were made, the doubt of each distance, and
    shared ranks. Distance and doubt are by the same photos.

    ``version``: of the method that measured ``labs``; looked up where it is not said.
    """
    made = made_of(conn, ids)
    wanted = version or query.version
    if wanted is None:
        versions = versions_in_use(conn)
        wanted = versions[-1] if versions else None
    photos = photos_by_swatch(conn, ids, wanted)
    frames = own_frames(conn, query.photos)
    alike = dyed_alike(conn, query, photos)
    found = [
        (apart_from(query, photos[i], lab, k_l, frames, alike[i]), i, lab)
        for i, lab in zip(ids, labs, strict=True)
    ]
    found.sort(key=lambda each: each[0].delta_e)
    ranks = shades.shared_ranks([a.delta_e for a, _, _ in found], [a.u for a, _, _ in found])
    return [
        Hit(rank, made[i], lab, a.delta_e, a.u, a.photos, *own_of(photos[i], lab), alike[i])
        for rank, (a, i, lab) in zip(ranks, found, strict=True)
    ]


def dyed_alike(
    conn: sqlite3.Connection, query: Query, photos: Mapping[int, Sequence[StoredColour]]
) -> dict[int, bool | None]:
    """By swatch, whether the records say that it was dyed as the one asked about."""
    own = query.photos[0].lot_id if query.photos else None
    lots = {i: side[-1].lot_id if side else None for i, side in photos.items()}
    known = {lot: same_dyes(conn, own, lot) for lot in set(lots.values())}
    return {i: known[lot] for i, lot in lots.items()}


def own_of(photos: Sequence[StoredColour], lab: Floats) -> tuple[list[float], bool]:
    """The doubt of a colour by itself, and whether it was measured damp."""
    photo = photo_of_lab(photos, lab)
    return u_of_lab(photos, lab), photo is not None and photo.damp


def _of_one_setup(taken: Taken | None, stored: StoredColour) -> Capture:
    """How a new photo belongs to a filed one, by the set-up that was named."""
    if taken is None or taken.setup_id is None or taken.setup_id != stored.setup_id:
        return Capture.OTHER
    return Capture.LOCKED if taken.locked and stored.locked else Capture.SAME_SETUP


def apart_from(
    query: Query,
    hit: Sequence[StoredColour],
    lab: Floats,
    k_l: float,
    frames: Mapping[int, OwnFrame],
    alike: bool | None,
) -> Apart:
    """How far what is looked for and a filed swatch are apart, with the doubt of that.

    ``hit``: the swatch's photos; ``lab``: (3,) the colour of the one that speaks for it.
    ``frames``: what repeats taught of set-ups. ``alike``: whether both were dyed alike.
    """
    spoken = photo_of_lab(hit, lab) or hit[-1]
    if query.spoken is not None:
        return apart(query.photos, hit, (query.spoken, spoken), k_l, frames, alike)
    if query.measured is not None:
        light = query.taken.light if query.taken else None
        ours = Colour.from_measurement(query.measured, light=light, neutral=query.neutral)
        theirs = as_colour(spoken)
        capture = capture_class(ours, theirs, _of_one_setup(query.taken, spoken))
        return apart_under((ours, theirs), Conditions(capture, k_l=k_l), ((), (spoken,)))
    delta_e = float(delta_e_2000(query.target.lab, lab, k_l))
    u = shades.u_to_stated(query.target.lab, spoken.lab, spoken.covariance.total, k_l)
    return Apart(delta_e, u, "a stated colour")
