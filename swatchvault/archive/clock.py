"""Stored times in SQL: by this computer's clock, and which of two came first. A time carries its
zone (``Z``, ``+02:00``) or is as a clock here showed it: `swatchvault.days` has the same in words.
"""

from __future__ import annotations


def _zoned(told: str) -> str:
    return f"COALESCE(substr({told}, 17) GLOB '*[-+Z]*', 0)"


def local_time(told: str) -> str:
    """SQL: a stored time (``told``, SQL too) as ``2026-03-01 10:40:00`` by this computer's clock,
    a day alone as its first second; NULL for none."""
    return f"datetime({told}, CASE WHEN {_zoned(told)} THEN 'localtime' ELSE '+0 days' END)"


def earlier(one: str, other: str) -> str:
    """SQL: 1 where one stored time is before the other, 0 where it is not, NULL where one is
    unknown. Two that carry their zones are held against each other as they are."""
    return (
        f"CASE WHEN {_zoned(one)} = {_zoned(other)} THEN datetime({one}) < datetime({other}) "
        f"ELSE {local_time(one)} < {local_time(other)} END"
    )
