"""What a correction leaves in a photo's record: its steps, with their residuals."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from ingest.lightfield import LightField
from ingest.lightleft import LightLeft, lit_at
from ingest.model import Photo, Polygon, Step
from ingest.neutrals import NeutralFit
from ingest.sampling import rounded


def encoding_undone(photo: Photo) -> Step:
    """The first step of every correction."""
    return Step("encoding undone", {"encoding": photo.encoding.name})


def neutral_steps(fit: NeutralFit) -> list[Step]:
    """Steps of a correction by neutrals, each ΔE00 of a patch left out of the fit among them."""
    detail: dict[str, Any] = {
        "neutrals": len(fit.usable),
        "delta_e_00_left_out": rounded(fit.errors),
        "mean_delta_e_00_left_out": round(fit.misfit, 3),
        "tried": fit.trials,
    }
    steps = [Step("tone curve, exposure and white through neutrals", detail)]
    steps += field_steps(fit.field)
    if fit.colours.model != "none":
        steps.append(
            Step(
                "camera colours by the chart",
                {"model": fit.colours.model, "weights": rounded(fit.colours.weights)},
            )
        )
    return steps


def field_steps(field: LightField | None) -> list[Step]:
    """The light field that was divided out; none where there is none."""
    if field is None:
        return []
    detail = {
        "source": field.source,
        "scatter": round(field.scatter, 4),
        "share": round(field.share, 4),
        "coefficients": rounded(field.coefficients),
    }
    return [Step("light field divided out", detail)]


def light_steps(left: LightLeft | None, swatches: Sequence[Polygon]) -> list[Step]:
    """The light on each swatch over that on the reference that is left, by the paper about them."""
    if left is None or left.light.paper is None:
        return []
    each = [lit_at(left.light, left.share, outline) for outline in swatches]
    over = [float((lit.ln - left.reference.ln).mean()) for lit in each]
    percent = [round(100.0 * math.expm1(v), 1) for v in over]
    return [Step("light by the paper about each swatch", {"over_reference_percent": percent})]
