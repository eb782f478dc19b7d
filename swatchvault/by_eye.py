"""A record of evenness as it is told where a rule fitted to the dyer's eye is in force."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

from ingest.evenness_rule import Class
from ingest.evenness_stored import STOPPED_BY, class_of_record
from swatchvault.archive.eye import EyeRule

Record = Mapping[str, Any]


def class_by(record: Record | None, flags: Collection[str], rule: EyeRule | None) -> Class | None:
    """The class of a measurement by the rule; ``None`` where none is in force, or it cannot say."""
    if rule is None or record is None or record.get("method") != rule.method:
        return None
    return class_of_record(record, frozenset(flags), rule.limits)


def as_told(record: Record | None, flags: Collection[str], rule: EyeRule | None) -> Record | None:
    """The record with the class by the rule, and a sentence that says so; as it is where the rule
    cannot say. Figures stay as they were measured.
    """
    found = class_by(record, flags, rule)
    if found is None or record is None:
        return record
    one_colour = {"solid": ("core_halo", "core_halo_unseen"), "gradient": ("gradient",)}
    gone = [k for name, keys in one_colour.items() if name != found.name for k in keys]
    if found.name not in ("semi-solid", "variegated"):
        gone.append("patch_length")
    reasons = list(found.reasons)
    if frozenset(flags) & STOPPED_BY or found.name == record["class"]:
        reasons = list(record.get("reasons") or ())
    told = record["class"] or "cannot tell"
    same = "says the same" if found.name == record["class"] else f"says {told}"
    note = f"Classed by a rule fitted to the dyer's eye; the program's own {same}."
    return {
        **record,
        **{k: None for k in gone if k in record},
        "class": found.name,
        "between": None if found.between is None else list(found.between),
        "reasons": [*reasons, note],
    }
