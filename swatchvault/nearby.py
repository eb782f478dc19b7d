"""Searches by colour over an index that is kept while a server runs: the same hits, at once.

`finding` builds its index anew for each search; here it is built once and used until the archive
has a newer measurement.
"""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.colour import Floats
from swatchvault import finding, shades
from swatchvault.archive.evenness import versions_in_use
from swatchvault.archive.made import Filters, speaking_labs, swatches_where
from swatchvault.archive.pages_find import newest_row
from swatchvault.errors import NotFound
from swatchvault.queries import Query

Stamp = tuple[int, int, int, int]


@dataclass(frozen=True, eq=False)
class KeptColours:
    """Newest colours of the measured swatches by one version of the method, with their index."""

    stamp: Stamp
    version: str | None
    ids: NDArray[np.int64]
    labs: Floats
    index: shades.LabIndex


def keep_colours(conn: sqlite3.Connection, version: str | None = None) -> KeptColours:
    """Read the colours and build the index. ``version``: of the query, if it was measured."""
    stamp = newest_row(conn)
    versions = versions_in_use(conn)
    wanted = version or (versions[-1] if versions else None)
    several = len(versions) > 1 or version not in (None, *versions)
    ids, labs = speaking_labs(conn, wanted if several else None)
    return KeptColours(stamp, wanted, ids, labs, shades.LabIndex(labs))


def near(
    conn: sqlite3.Connection,
    kept: KeptColours,
    query: Query,
    filters: Filters,
    *,
    k: int = 10,
    k_l: float = 2.0,
) -> list[finding.Hit]:
    """As :func:`swatchvault.finding.near`."""
    wanted = _wanted(conn, kept, query, filters)
    total = len(kept.index)
    ask = k + 1
    while True:
        rows, _ = kept.index.nearest(query.target.lab, min(ask, total), k_l=k_l)
        good = wanted[rows]
        if int(good.sum()) >= k or ask >= total:
            rows = finding.with_companions(conn, query, kept.ids, rows[good][:k], wanted)
            return _hits(conn, kept, query, rows, k_l)[:k]
        ask = min(total, ask * 8)


def within(
    conn: sqlite3.Connection,
    kept: KeptColours,
    query: Query,
    filters: Filters,
    tolerance: float,
    k_l: float,
) -> list[finding.Hit]:
    """As :func:`swatchvault.finding.within`."""
    wanted = _wanted(conn, kept, query, filters)
    rows, _ = kept.index.within(query.target.lab, tolerance, k_l=k_l)
    rows = finding.with_companions(conn, query, kept.ids, rows[wanted[rows]], wanted)
    return [h for h in _hits(conn, kept, query, rows, k_l) if h.distance <= tolerance]


def _wanted(
    conn: sqlite3.Connection, kept: KeptColours, query: Query, filters: Filters
) -> NDArray[np.bool_]:
    """(n,) which of the kept colours may be found. Raises ``NotFound`` where none may."""
    wanted = kept.ids != (query.swatch_id or -1)
    if filters.asks:
        ids = swatches_where(conn, filters)
        wanted &= np.isin(kept.ids, np.fromiter(ids, dtype=np.int64, count=len(ids)))
    if not wanted.any():
        raise NotFound(
            "no other measured swatch meets all of that: ask for less"
            if filters.asks
            else "the archive holds no measured swatch to search yet: photograph one and add it"
        )
    return np.asarray(wanted)


def _hits(
    conn: sqlite3.Connection,
    kept: KeptColours,
    query: Query,
    rows: NDArray[np.intp],
    k_l: float,
) -> list[finding.Hit]:
    ids = kept.ids[rows].tolist()
    return finding.hits_of(conn, query, ids, kept.labs[rows], k_l, kept.version)
