"""The class of a measurement that was stored, by other thresholds than those it was made with.

A record's key ``rule`` holds every figure that the rule of its version reads. One of an older
version reads other figures, so it cannot be classed anew before it is measured anew.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from typing import Any

from ingest.evenness_rule import Class, RuleFigures, Thresholds, class_of

#: Flags under which a region got no class, whatever its figures (see ingest.evenness_doubt).
STOPPED_BY = frozenset(
    {
        "evenness not judged",
        "scale doubtful",
        "too little yarn for evenness",
        "out of focus",
        "perhaps two swatches",
    }
)
#: Flags under which how even it is cannot be compared with another swatch either.
STOPS_A_COMPARISON = STOPPED_BY | {"scale estimated", "clipped beyond use", "photo too dark"}
#: Thresholds of the border that a gradient lies beyond.
GRADIENT_BORDER = (
    *("gradient_span", "gradient_least"),
    *("gradient_sure_span", "gradient_sure_least"),
)
#: Thresholds of the border between solid and semi-solid.
SOLID_BORDER = ("floor", "floor_per_doubt", "floor_most", "solid_share")


def figures_of_record(record: Mapping[str, Any] | None) -> RuleFigures | None:
    """What the rule read of a stored region; None where the record does not hold just that."""
    if record is None:
        return None
    told = record.get("rule")
    names = {f.name for f in fields(RuleFigures)}
    return RuleFigures(**told) if told is not None and set(told) == names else None


def class_of_record(
    record: Mapping[str, Any] | None, flags: frozenset[str], limits: Thresholds
) -> Class | None:
    """The class of a stored region by ``limits``; None where the record cannot say.

    ``flags``: of its measurement; under those that stop a class there is none by any rule.
    """
    if record is None or record.get("class", "") == "":
        return None
    between = record.get("between")
    pair = (str(between[0]), str(between[1])) if between else None
    if flags & STOPPED_BY:
        return Class(None, pair, ())
    read = figures_of_record(record)
    return None if read is None else class_of(read, limits)
