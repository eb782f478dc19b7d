"""What a search found: how each swatch was made, how far off it is and how sure that is."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from ingest.colour import Floats, delta_e_2000
from ingest.model import none_if_nan
from swatchvault import shades
from swatchvault.archive import StoredColour, same_dyes
from swatchvault.archive.made import Made, made_of
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


def hits_of(
    conn: sqlite3.Connection,
    query: Query,
    ids: Sequence[int],
    labs: Floats,
    k_l: float,
    version: str | None,
) -> list[Hit]:
    """Swatches found, nearest first, with how they were made, the doubt of each distance, and
    shared ranks. Distance and doubt are by the same photos.

    ``version``: of the method that measured ``labs``.
    """
    made = made_of(conn, ids)
    photos = photos_by_swatch(conn, ids, version)
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
        ours = Colour.from_measurement(query.measured, light=light, greys=query.greys)
        theirs = as_colour(spoken)
        capture = capture_class(ours, theirs, _of_one_setup(query.taken, spoken))
        return apart_under((ours, theirs), Conditions(capture, k_l=k_l), ((), (spoken,)))
    delta_e = float(delta_e_2000(query.target.lab, lab, k_l))
    u = shades.u_to_stated(query.target.lab, spoken.lab, spoken.covariance.total, k_l)
    return Apart(delta_e, u, "a stated colour")
