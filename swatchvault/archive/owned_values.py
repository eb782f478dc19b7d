"""Values of a card, steps or chart that cannot be: refused wherever they are told or put right."""

from __future__ import annotations

from ingest.charts import CHART24_COLUMNS, CHART24_ROWS
from ingest.errors import MarksError
from ingest.marks_values import colour, grey, reflectance
from swatchvault.archive.entities import OwnedReference
from swatchvault.errors import ArchiveError
from swatchvault.kinds import EDITIONS

#: Largest tolerance in ΔE00 that is believed of a reference; our choice.
MOST_TOLERANCE = 20.0
#: What each kind is called, and what it is told by.
_TOLD_BY = {
    "card": "a card is told by its reflectance (0.18) or by its L* a* b*",
    "steps": "steps are told by their reflectances, lightest first (0.9 0.59 0.36 0.2 0.09 0.03)",
    "chart24": "a chart is told by its edition or by the measured colours of its 24 patches",
}


def refuse_impossible(reference: OwnedReference) -> None:
    """Raise ``ArchiveError`` where the values of a reference are none of its kind, or no surface
    has them; the kind itself is checked where it is stored."""
    kind, y, lab = reference.kind, reference.y, reference.lab_d50
    where = f"reference {reference.name!r}"
    if kind not in _TOLD_BY:
        return
    if y is not None and lab is not None:
        raise ArchiveError(f"{where}: both reflectance and L* a* b* are told: give one of them")
    expected = {"card": 1, "chart24": CHART24_ROWS * CHART24_COLUMNS}.get(kind)
    many = y if y is not None else lab
    wrong_kind = (kind == "chart24" and y is not None) or (kind != "chart24" and reference.edition)
    wrong_number = many is not None and expected is not None and len(many) != expected
    if wrong_kind or wrong_number or (kind == "steps" and y is None):
        raise ArchiveError(f"{where}: {_TOLD_BY[kind]}")
    if reference.edition is not None and reference.edition not in EDITIONS:
        known = " or ".join(EDITIONS)
        raise ArchiveError(f"{where}: edition is {reference.edition!r}; needed {known}")
    try:
        for value in y or ():
            reflectance(value, where)
        for triple in lab or ():
            (colour if kind == "chart24" else grey)(triple, where)
    except MarksError as error:
        raise ArchiveError(str(error)) from None
    tolerance = reference.tolerance_delta_e
    if tolerance is not None and not 0.0 <= tolerance <= MOST_TOLERANCE:
        raise ArchiveError(
            f"{where}: its tolerance is {tolerance:g}; needed a ΔE00 from 0 to {MOST_TOLERANCE:g}"
        )
