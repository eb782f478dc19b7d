"""How sure a swatch of the archive is, and the difference of two, by their photos."""

from __future__ import annotations

import math
import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ingest.colour import Floats, delta_e_2000
from ingest.model import Array, LabCovariance
from swatchvault.archive import StoredColour, colours, learned_of_setup
from swatchvault.lotcheck import as_colour, groups, one_version, usable
from swatchvault.pair import Capture, Colour, Conditions, OwnFrame, capture_class, mean_of_photos
from swatchvault.pairdoubt import lab_covariance, pair_doubt


def own_frames(conn: sqlite3.Connection, photos: Sequence[StoredColour]) -> dict[int, OwnFrame]:
    """What repeats taught of the set-ups of these photos, by the set-up's id."""
    setups = {c.setup_id for c in photos} - {None}
    learned = {s: learned_of_setup(conn, s) for s in setups if s is not None}
    return {s: OwnFrame(np.array(k["cov"]), Capture(k["capture"])) for s, k in learned.items() if k}


def doubt_of_swatches(
    one: Sequence[StoredColour],
    other: Sequence[StoredColour],
    delta_e: float,
    k_l: float,
    frames: Mapping[int, OwnFrame],
) -> tuple[float, str]:
    """Standard uncertainty of a ΔE00 by the best photos of both, and how these belong together.

    ``frames``: what repeats taught of a set-up; it says nothing of photos that do not share it.
    """
    capture, ours, theirs = groups(one, other)[0]
    of_a_setup = capture in (Capture.LOCKED, Capture.SAME_SETUP)
    own = frames.get(ours[0].setup_id or -1) if of_a_setup else None
    pair = [mean_of_photos([as_colour(c) for c in side]) for side in (ours, theirs)]
    capture = capture_class(pair[0], pair[1], capture)
    doubt = pair_doubt(pair[0], pair[1], Conditions(capture, k_l=k_l, own_frame=own))
    return doubt.u(delta_e), capture.value


@dataclass(frozen=True, eq=False)
class Pair:
    """The two sides that were set against each other, and the photos that each is the mean of.

    ``covariance``: (3, 3) of their difference in Lab, as a check states it of the reading; NaN
    where unknown. ``photos``: none of a side that is not filed.
    """

    sides: tuple[Colour, Colour]
    covariance: Floats
    photos: tuple[Sequence[StoredColour], Sequence[StoredColour]]


@dataclass(frozen=True)
class Apart:
    """How far two swatches are apart: ΔE00, its standard uncertainty as a check of the two states
    it, and by which photos. ``pair``: ``None`` where one is a stated colour."""

    delta_e: float
    u: float
    photos: str
    pair: Pair | None = None


def apart(
    one: Sequence[StoredColour],
    other: Sequence[StoredColour],
    spoken: tuple[StoredColour, StoredColour],
    k_l: float,
    frames: Mapping[int, OwnFrame],
    same_dyes: bool | None = None,
) -> Apart:
    """ΔE00 of two swatches with its doubt, both by the same photos: those that belong together
    best, averaged where they agree, else the two that speak for the swatches (``spoken``).
    ``same_dyes``: whether both were dyed alike; None: not known."""
    ways = groups(*(usable(side) for side in one_version(one, other)))
    best = [way for way in ways if way[0] is ways[0][0]]
    agreeing = (way for way in best if all(_agree(side, k_l) for side in way[1:]))
    capture, ours, theirs = next(agreeing, None) or groups([spoken[0]], [spoken[1]])[0]
    of_a_setup = capture in (Capture.LOCKED, Capture.SAME_SETUP)
    own = frames.get(ours[0].setup_id or -1) if of_a_setup else None
    pair = [mean_of_photos([as_colour(c) for c in side]) for side in (ours, theirs)]
    capture = capture_class(pair[0], pair[1], capture)
    conditions = Conditions(capture, k_l=k_l, same_dyes=same_dyes, own_frame=own)
    return apart_under((pair[0], pair[1]), conditions, (ours, theirs))


def apart_under(
    sides: tuple[Colour, Colour],
    conditions: Conditions,
    photos: tuple[Sequence[StoredColour], Sequence[StoredColour]] = ((), ()),
) -> Apart:
    """How far two colours are apart under these conditions. ``photos``: that they are means of."""
    labs, k_l = (sides[0].lab, sides[1].lab), conditions.k_l
    doubt = pair_doubt(*sides, conditions)
    delta_e = float(delta_e_2000(*labs, k_l))
    covariance = lab_covariance(*labs, k_l, doubt.stated(delta_e))
    capture = conditions.capture.value
    return Apart(delta_e, doubt.u_stated(delta_e), capture, Pair(sides, covariance, photos))


def _agree(photos: Sequence[StoredColour], k_l: float) -> bool:
    """Whether no photo of a swatch is further from their mean than the usual tolerance."""
    if len(photos) == 1:
        return True
    labs = np.array([c.lab for c in photos])
    if k_l >= 1.0 and np.ptp(labs, axis=0).max() < 0.5:  # under 1.3 ΔE00 then, and quick
        return True
    away = delta_e_2000(np.broadcast_to(labs.mean(axis=0), labs.shape), labs, k_l)
    return bool((away <= Conditions.tolerance).all())


def u_of_mean(
    covariances: Sequence[LabCovariance],
    setups: Sequence[int | None],
    photos: Sequence[str] | None = None,
) -> list[float]:
    """Standard uncertainties (3,) of a mean of measured Lab; NaN where unknown.

    What is fresh in each region falls with their number. What regions of one photo share falls only
    with the number of photos (``photos``: which photo each is of; each of its own if not said),
    what photos of one set-up share only with the number of set-ups (photos of no known one count as
    one), and what all share stays.
    """
    of_photos = range(len(covariances)) if photos is None else photos
    variance = (
        _of_mean([c.region for c in covariances], range(len(covariances)))
        + _of_mean([c.frame for c in covariances], of_photos)
        + _of_mean([c.setup for c in covariances], setups)
        + _of_mean([c.profile for c in covariances], [0] * len(covariances))
    )
    return [float(v) for v in np.sqrt(np.diag(variance))]


def _of_mean(parts: Sequence[Array], shared: Sequence[object]) -> Array:
    """(3, 3) covariance of a mean of which members of equal ``shared`` are wrong alike."""
    found = np.zeros((3, 3))
    for key in set(shared):
        alike = [part for part, own in zip(parts, shared, strict=True) if own == key]
        found = found + (len(alike) / len(parts)) ** 2 * np.mean(alike, axis=0)
    return found


def u_of_photos(photos: Sequence[StoredColour]) -> list[float]:
    """Standard uncertainties (3,) of the mean Lab of these measurements, of one swatch or several;
    NaN where unknown."""
    covariances, setups = [c.covariance for c in photos], [c.setup_id for c in photos]
    return u_of_mean(covariances, setups, [c.photo_sha256 for c in photos])


def photos_by_swatch(
    conn: sqlite3.Connection, swatch_ids: Sequence[int], version: str | None = None
) -> dict[int, list[StoredColour]]:
    """Current measurements of each of these swatches, oldest photo first.

    ``version``: only those by that version of the method.
    """
    photos: dict[int, list[StoredColour]] = {}
    for stored in colours(conn, swatch_ids=swatch_ids):
        if version is None or stored.version == version:
            photos.setdefault(stored.swatch_id, []).append(stored)
    return photos


def u_of_lab(photos: Sequence[StoredColour], lab: Floats) -> list[float]:
    """Standard uncertainties of ``lab`` (3,), that of one of these photos; NaN where unknown."""
    photo = photo_of_lab(photos, lab)
    return [math.nan] * 3 if photo is None else photo.covariance.standard_total()


def photo_of_lab(photos: Sequence[StoredColour], lab: Floats) -> StoredColour | None:
    """The one of these photos whose colour ``lab`` (3,) is; ``None``: it is a mean of several."""
    return next((c for c in reversed(photos) if np.array_equal(c.lab, lab)), None)
