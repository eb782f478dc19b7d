"""The class of a measurement that was stored, by other thresholds than those it was made with.

A record with the key ``rule`` holds every figure that the rule reads. One without it tells still
whether the yarn was called solid or semi-solid, and by which figures; so the border between these
two can be moved, and no other.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import fields, replace
from typing import Any

from ingest.evenness_rule import (
    DEFAULT,
    Class,
    RuleFigures,
    Thresholds,
    class_of,
    floor_of,
)

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
#: Thresholds of the border between solid and semi-solid.
SOLID_BORDER = ("floor", "floor_per_contrast", "floor_most", "solid_share")
_PLAIN = (("solid", "semi-solid"), ["solid", "semi-solid"])


def figures_of_record(record: Mapping[str, Any] | None) -> RuleFigures | None:
    """What the rule read of a stored region; NaN for what an older record does not hold.

    None where the record does not say enough for any class.
    """
    if record is None:
        return None
    told = record.get("rule")
    if told is not None:
        names = {f.name for f in fields(RuleFigures)}
        return RuleFigures(**told) if set(told) == names else None
    if not _between_solid_and_semi_solid(record):
        return None
    value, contrast, off = (record.get(k) for k in ("unevenness", "strand_contrast", "depth_off"))
    if value is None or contrast is None or off is None:
        return None
    # No class far under the floor: blocks differed too much in all for "solid" to be said.
    hidden = record["class"] is None and value <= DEFAULT.solid_share * floor_of(contrast)
    nan = math.nan
    return RuleFigures(
        *(nan, nan, nan, nan, nan, nan, nan, nan, nan),
        colours=1,
        unevenness=float(value),
        strand_contrast=float(contrast),
        depth_off=float(off),
        whole=math.inf if hidden else 0.0,
    )


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
    if "rule" in record:
        return None if read is None else class_of(read, limits)
    if not only_solid_border(limits):
        return None
    if read is not None:
        return class_of(read, limits)
    return Class(record["class"], pair, ()) if not _between_solid_and_semi_solid(record) else None


def only_solid_border(limits: Thresholds) -> bool:
    """Whether these are the default thresholds but for solid against semi-solid."""
    back = {name: getattr(DEFAULT, name) for name in SOLID_BORDER}
    return replace(limits, **back) == DEFAULT


def _between_solid_and_semi_solid(record: Mapping[str, Any]) -> bool:
    name = record.get("class")
    return name in ("solid", "semi-solid") or (name is None and record.get("between") in _PLAIN)
