"""What a search must say of itself: whose classes, what it left out, why it found nothing."""

from __future__ import annotations

import math
import sqlite3
from collections.abc import Sequence

from swatchvault.archive.evenness import evenness_methods_in_use, versions_in_use
from swatchvault.archive.eye import eye_rule, not_classed_by_eye
from swatchvault.archive.made import Filters
from swatchvault.finding import Hit
from swatchvault.groups import U_UNKNOWN
from swatchvault.lotcheck import MEASURE_ANEW
from swatchvault.queries import Query

#: A hit farther off than this many standard uncertainties is not near; our choice, 99.7 % of a
#: normal.
DOUBTS = 3.0


def left_out(
    conn: sqlite3.Connection, query: Query, *, evenness: bool = False, classed: bool = False
) -> list[str]:
    """What a search leaves out because another version of the method measured it, as warnings.

    ``evenness``: it goes by evenness too. ``classed``: classes are asked for; whose rule it is.
    """
    said = f"they are left out; {MEASURE_ANEW}."
    out = []
    if classed and eye_rule(conn) is not None:
        rest = not_classed_by_eye(conn)
        several = "1 swatch" if rest == 1 else f"{rest} swatches"
        more = f"; of {several} that it cannot class, by the program's" if rest else ""
        out.append(f"Classes are by your eye's rule{more}.")
    versions = versions_in_use(conn)
    wanted = query.version or (versions[-1] if versions else "")
    if set(versions) - {wanted}:
        out.append(f"Some colours were measured by another version of the method: {said}")
    mine = query.evenness_method
    if evenness and mine and set(evenness_methods_in_use(conn)) - {mine}:
        out.append(f"Some evenness was measured by another version of its method: {said}")
    return out


def nothing_meets(filters: Filters, *, of_another_version: bool = False) -> str:
    """Why a search has nothing to look among. ``of_another_version``: swatches that are asked for
    are measured, by versions of the method that are not set against what is looked for."""
    if of_another_version:
        return (
            "no other swatch that is asked for was measured by the version of the method that is "
            f"searched: {MEASURE_ANEW}"
        )
    if filters.asks:
        return "no other measured swatch meets all of that: ask for less"
    return "the archive holds no measured swatch to search yet: photograph one and add it"


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


def no_other_ways(query: Query, hits: Sequence[Hit], tolerance: float, k_l: float = 2.0) -> str:
    """Why `by_other_dyes` found none among ``hits``, all that lie within the tolerance.

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
