"""What a search must say of itself: whose classes, and what it left out. No printing."""

from __future__ import annotations

import sqlite3

from swatchvault.archive.evenness import evenness_methods_in_use, versions_in_use
from swatchvault.archive.eye import eye_rule, not_classed_by_eye
from swatchvault.queries import Query


def left_out(
    conn: sqlite3.Connection, query: Query, *, evenness: bool = False, classed: bool = False
) -> list[str]:
    """What a search leaves out because another version of the method measured it, as warnings.

    ``evenness``: it goes by evenness too. ``classed``: classes are asked for; whose rule it is.
    """
    said = "they are left out until `swatchvault remeasure --all` has measured them anew."
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
