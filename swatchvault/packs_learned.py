"""Packs of one dye among the lots that a prediction is learned from: told, for they count alike."""

from __future__ import annotations

import sqlite3
from collections.abc import Collection, Mapping


def packs_noted(
    conn: sqlite3.Connection, lots: Collection[str], dyes: Collection[str]
) -> list[str]:
    """A note where any of these dyes went into these lots, by code, from several packs."""
    from swatchvault.archive.made import several_packs

    return packs_words(several_packs(conn, lots, dyes))


def packs_words(packs: Mapping[str, Mapping[str, int]]) -> list[str]:
    """A note on dyes of several packs, of each pack how many lots; none of no dye."""
    told = [
        f"{dye} ({', '.join(f'{pack}: {n}' for pack, n in of_it.items())})"
        for dye, of_it in packs.items()
    ]
    if not told:
        return []
    return [
        f"Lots by several packs count alike: {'; '.join(told)}. Where a maker changed the dye, or "
        "one pack is weaker, no pack is foretold rightly."
    ]
