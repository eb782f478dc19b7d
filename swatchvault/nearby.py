"""Searches by colour over an index, which a command builds and a server keeps. No printing."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.colour import Floats
from swatchvault.archive.evenness import versions_in_use
from swatchvault.archive.made import Filters, speaking_labs, swatches_where
from swatchvault.archive.pages_find import newest_row, shown_with
from swatchvault.errors import NotFound
from swatchvault.finding import Hit, hits_of
from swatchvault.lab_index import LabIndex
from swatchvault.queries import Query
from swatchvault.search_notes import nothing_meets

Stamp = tuple[int, int, int, int]


@dataclass(frozen=True, eq=False)
class KeptColours:
    """Newest colours of the measured swatches by one version of the method, with their index."""

    stamp: Stamp
    version: str | None
    ids: NDArray[np.int64]
    labs: Floats
    index: LabIndex


def keep_colours(conn: sqlite3.Connection, version: str | None = None) -> KeptColours:
    """Read the colours and build the index. ``version``: of the query, if it was measured."""
    stamp = newest_row(conn)
    versions = versions_in_use(conn)
    wanted = version or (versions[-1] if versions else None)
    several = len(versions) > 1 or version not in (None, *versions)
    ids, labs = speaking_labs(conn, wanted if several else None)
    return KeptColours(stamp, wanted, ids, labs, LabIndex(labs))


def near(
    conn: sqlite3.Connection,
    kept: KeptColours,
    query: Query,
    filters: Filters,
    *,
    k: int = 10,
    k_l: float = 2.0,
) -> list[Hit]:
    """The nearest swatches by ΔE00, those that cannot be told apart sharing a rank.

    ``kept``: what :func:`keep_colours` gave for the query's version. Raises ``NotFound`` where
    nothing measured meets the filters.
    """
    wanted = may_be_found(conn, kept.ids, query, filters)
    total = len(kept.index)
    ask = k + 1
    while True:
        rows, _ = kept.index.nearest(query.target.lab, min(ask, total), k_l=k_l)
        good = wanted[rows]
        if int(good.sum()) >= k or ask >= total:
            rows = _with_companions(conn, kept, query, rows[good][:k], wanted)
            return _hits(conn, kept, query, rows, k_l)[:k]
        ask = min(total, ask * 8)


def within(
    conn: sqlite3.Connection,
    kept: KeptColours,
    query: Query,
    filters: Filters,
    tolerance: float,
    k_l: float,
) -> list[Hit]:
    """Every swatch within ``tolerance`` of the query; may be none. ``kept``: as of :func:`near`."""
    wanted = may_be_found(conn, kept.ids, query, filters)
    rows, _ = kept.index.within(query.target.lab, tolerance, k_l=k_l)
    rows = _with_companions(conn, kept, query, rows[wanted[rows]], wanted)
    return [h for h in _hits(conn, kept, query, rows, k_l) if h.distance <= tolerance]


def may_be_found(
    conn: sqlite3.Connection, ids: NDArray[np.int64], query: Query, filters: Filters
) -> NDArray[np.bool_]:
    """(n,) which of the swatches that a search looks among may be found: those that meet the
    filters, without the one asked about. Raises ``NotFound`` where none may."""
    wanted = ids != (query.swatch_id or -1)
    if filters.asks:
        meet = swatches_where(conn, filters)
        wanted &= np.isin(ids, np.fromiter(meet, dtype=np.int64, count=len(meet)))
    if not wanted.any():
        unlike = swatches_where(conn, filters) - {query.swatch_id}  # by another version
        raise NotFound(nothing_meets(filters, of_another_version=bool(unlike)))
    return np.asarray(wanted)


def _with_companions(
    conn: sqlite3.Connection,
    kept: KeptColours,
    query: Query,
    rows: NDArray[np.intp],
    wanted: NDArray[np.bool_],
) -> NDArray[np.intp]:
    """The rows found and those of swatches that share a photo with the one asked about: that photo
    may say that they lie nearer. ``wanted``: (n,) which of the kept may be found."""
    if query.swatch_id is None:
        return rows
    beside = np.isin(kept.ids, list(shown_with(conn, query.swatch_id)))
    return np.union1d(rows, np.flatnonzero(beside & wanted))


def _hits(
    conn: sqlite3.Connection,
    kept: KeptColours,
    query: Query,
    rows: NDArray[np.intp],
    k_l: float,
) -> list[Hit]:
    ids = kept.ids[rows].tolist()
    return hits_of(conn, query, ids, kept.labs[rows], k_l, kept.version)
