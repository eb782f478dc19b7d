"""Swatches that look like another: by colours, shares and evenness, in any white balance."""

from __future__ import annotations

import math
import sqlite3
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.colour import Floats
from swatchvault import shades
from swatchvault.archive.looks import speaking_looks
from swatchvault.archive.made import Filters, made_of
from swatchvault.archive.pages_find import newest_row
from swatchvault.finding import Hit, own_of
from swatchvault.likeness import CHARGE, CHARGE_WITHOUT_REFERENCE
from swatchvault.nearby import Stamp, may_be_found
from swatchvault.photodoubt import photos_by_swatch
from swatchvault.queries import Query


@dataclass(frozen=True, eq=False)
class KeptLooks:
    """Looks of the measured swatches by one version of both methods, with their index."""

    stamp: Stamp
    ids: NDArray[np.int64]
    labs: Floats
    index: shades.LookIndex


def keep_looks(conn: sqlite3.Connection, query: Query) -> KeptLooks:
    """Read the looks that a query can be held against and build their index."""
    stamp = newest_row(conn)
    ids, labs, records = speaking_looks(conn, query.version, query.evenness_method)
    looks = [shades.look_of(lab, record) for lab, record in zip(labs, records, strict=True)]
    return KeptLooks(stamp, ids, labs, shades.LookIndex(looks))


def like(
    conn: sqlite3.Connection,
    query: Query,
    filters: Filters,
    *,
    k: int = 10,
    kept: KeptLooks | None = None,
) -> list[Hit]:
    """Swatches that look most like the query: colours, shares and evenness; ranks as they come.

    ``kept``: what :func:`keep_looks` gave for this query's versions, where that is at hand.
    """
    kept = kept or keep_looks(conn, query)
    wanted = may_be_found(conn, kept.ids, query, filters)
    search = _search_of_looks(query, kept.index)
    ask, total = k + 1, len(kept.ids)
    rows, distances = search(ask)
    while int(wanted[rows].sum()) < k and ask < total:
        ask = min(total, ask * 8)
        rows, distances = search(ask)
    rows, distances = rows[wanted[rows]][:k], distances[wanted[rows]][:k]
    found = [int(kept.ids[r]) for r in rows]
    made, photos = made_of(conn, found), photos_by_swatch(conn, found, query.version)
    return [
        Hit(rank, made[i], lab, float(d), math.nan, "", *own_of(photos[i], lab))
        for rank, (i, lab, d) in enumerate(zip(found, kept.labs[rows], distances, strict=True), 1)
    ]


def _search_of_looks(
    query: Query, index: shades.LookIndex
) -> Callable[[int], tuple[NDArray[np.intp], Floats]]:
    """The k most alike; a photo's white may be off, more so with no reference in it."""
    look = shades.look_of(query.target.lab, query.tonality)
    photo = query.measured or query.spoken
    if photo is None:
        return lambda k: index.nearest(look, k)
    charge = CHARGE_WITHOUT_REFERENCE if photo.reference == "none" else CHARGE
    return lambda k: index.nearest_in_any_balance(look, k, charge)
