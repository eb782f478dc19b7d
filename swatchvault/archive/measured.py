"""What a measurement's row and its correction's row say, and whether two say the same."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any

from ingest.model import Layout, Measurement, PhotoMeasurement, ReferenceReading, none_if_nan
from swatchvault.archive.values import to_json, yes_no

#: Significant figures of what is stored as JSON. A doubt is known to two at best; the figures of
#: evenness keep five, because a rule of the dyer's classes them again.
_DOUBT_FIGURES, _EVENNESS_FIGURES, _PROVENANCE_FIGURES = 4, 5, 6
#: Keys of a record of evenness that a row leaves out where they are null.
_LEFT_OUT_IF_NULL = (
    *("patch_length", "between", "difference_shares", "gradient"),
    *("core_halo", "core_halo_unseen"),
)
# Floats that differ by less are the same measurement made anew; far below any colour seen. Our
# choice.
_SAME = 2e-5
#: The same for rounded figures: two units of the last one.
_SAME_DOUBT, _SAME_EVENNESS = 2e-3, 2e-4


def columns(
    measured: Measurement, swatch_id: int, dry: bool | None, version: str
) -> dict[str, Any]:
    """What one photo says of one swatch, by the columns of ``measurement``."""
    cov = measured.covariance
    lightness, a, b = (float(v) for v in measured.lab)
    return {
        "region": measured.name,
        "swatch_id": swatch_id,
        "dry": yes_no(dry),
        "lab_l": lightness,
        "lab_a": a,
        "lab_b": b,
        "cov_region": to_json(cov.region, _DOUBT_FIGURES),
        "cov_frame": to_json(cov.frame, _DOUBT_FIGURES),
        "cov_setup": to_json(cov.setup, _DOUBT_FIGURES),
        "cov_profile": to_json(cov.profile, _DOUBT_FIGURES),
        "flags": to_json(measured.flags),
        "reference": measured.reference,
        "pixels": int(measured.pixels),
        "left_out": to_json(measured.left_out),
        "clipped_share": none_if_nan(float(measured.clipped_share)),
        "shadow_sd": none_if_nan(float(measured.shadow_sd)),
        "mm_per_px": none_if_nan(float(measured.mm_per_px)),
        "tonality": _tonality_text(measured.tonality),
        "version": version,
    }


def _tonality_text(record: Mapping[str, Any] | None) -> str | None:
    if record is None:
        return None
    spare = _left_out(record)
    said = {k: v for k, v in record.items() if k not in spare or v != spare[k]}
    return to_json(said, _EVENNESS_FIGURES)


def _left_out(record: Mapping[str, Any]) -> dict[str, Any]:
    """What is meant where a row of such a record says nothing; made anew each time."""
    meant: dict[str, Any] = {**dict.fromkeys(_LEFT_OUT_IF_NULL), "reasons": []}
    if "rule" in record:  # of figures that were read
        meant["light_only"] = False
        meant["dots"] = {"per_dm2": 0.0, "mean_mm": 0.0, "lab": None}
    return meant


def tonality_from(text: str | None) -> dict[str, Any] | None:
    """The record of evenness that a row keeps, what was left out put back."""
    record: dict[str, Any] | None = None if text is None else json.loads(text)
    if record is not None and "method" in record:
        record = {**_left_out(record), **record}
    return record


def provenance_of(measurement: PhotoMeasurement) -> str:
    """How a photo was corrected, without what stands beside it or follows from its layout.

    The encoding is the photo's, the version its measurements'. Of a reference's patches what they
    were stated to be stays (a chart's is its edition) unless the layout states it; their readings
    are in `calibration`, their left-out residuals in the steps.
    """
    record = measurement.record()
    told = zip(measurement.references, record["references"], strict=True)
    references = [_stated(reading, plain, measurement.layout) for reading, plain in told]
    kept = {key: record[key] for key in ("steps", "flags")}
    return to_json({**kept, "references": references}, _PROVENANCE_FIGURES)


def _stated(reading: ReferenceReading, plain: Mapping[str, Any], layout: Layout) -> dict[str, Any]:
    reference = reading.reference
    inside = reference in layout.references
    spare = {"patches", *(("located", "confidence") if inside else ())}
    spare |= set() if reading.neutrals else {"neutrals"}
    short = {key: value for key, value in plain.items() if key not in spare and value is not None}
    if reference.edition is None and not (inside and (reference.y or reference.lab_d50)):
        short["expected_lab"] = [p["expected_lab"] for p in reading.patches]
    return short


#: How near the numbers in a JSON column have to be.
_NEAR: Mapping[str, float] = {
    **dict.fromkeys(("cov_region", "cov_frame", "cov_setup", "cov_profile"), _SAME_DOUBT),
    **dict.fromkeys(("flags", "left_out"), _SAME),
    "tonality": _SAME_EVENNESS,
}


def alike(column: str, old: Any, new: Any) -> bool:
    """Whether a column's stored value says what the new one says; a number of a row exactly."""
    if column.endswith("_id"):
        return bool(old == new)
    if column in _NEAR and old is not None and new is not None:
        read = tonality_from if column == "tonality" else json.loads
        old, new = read(old), read(new)
    return _close(old, new, _NEAR.get(column, _SAME)) and (
        not isinstance(old, dict) or old.keys() == new.keys()
    )


def says(old: str, new: str) -> bool:
    """Whether one provenance says all that the newer says; older ones say more."""
    return _close(json.loads(old), json.loads(new), _SAME)


def _close(old: Any, new: Any, near: float) -> bool:
    if isinstance(old, dict) and isinstance(new, dict):
        return all(k in old and _close(old[k], new[k], near) for k in new)
    if isinstance(old, list) and isinstance(new, list):
        return len(old) == len(new) and all(
            _close(a, b, near) for a, b in zip(old, new, strict=True)
        )
    if isinstance(old, int | float) and isinstance(new, int | float):
        return math.isclose(old, new, rel_tol=near, abs_tol=_SAME)
    return bool(old == new)
