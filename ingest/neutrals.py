"""Correction by neutral steps, or by a 24-patch chart: tone, light field, white, colours.

Each step is taken only where the reference itself says that it helps, judged on patches that
were left out of the fit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ingest import charts
from ingest.camera_colours import UNCHANGED, CameraColours, fit_chart
from ingest.colour import delta_e_2000, xyz_to_lab
from ingest.doubt import NEUTRALS_FOR_A_CURVE
from ingest.errors import ReferenceMissing
from ingest.flags import CLIPPED_NOTED
from ingest.lightfield import LightField
from ingest.model import Array, Encoding, Reference
from ingest.reading import PatchReading
from ingest.tone import fit_tone

Floats = NDArray[np.float64]

#: Mean ΔE00 of left-out patches from which a chart, or steps, do not fit their values. Our choice:
#: rendered steps stay under 1 and go over 2 with a shadow across; ten of twelve real charts lie
#: under 4, the other two in very uneven light over it, one of another make at 4.6.
CHART_MISFIT, STEPS_MISFIT = 4.3, 2.0
#: The same from which nothing that was marked can be what it is said to be. Of 800 simulated
#: photos 3 of steps and 1 of a chart lie over it, all of a camera whose colours are mostly noise;
#: two values swapped, or a step marked on the yarn, give 20 and more.
CHART_FAR_OFF, STEPS_FAR_OFF = 10.0, 8.0
#: Where a reference does not fit, how many times the root mean square of what its left-out patches
#: are off by a colour is off by along each axis: greys say little of colours, and a chart's patches
#: are colours. Found on 37 colours of rendered photos in bad light (a lamp mirrored in the
#: reference, a far white balance, a blur, shadows), of which 27 lay in their stated 95 % without,
#: and 37 with it; of 58 others 41 without, and 58.
CHART_OFF_BY, STEPS_OFF_BY = 0.58, 2.5
#: A light field must lower the mean ΔE00 of left-out patches to this share. Where the surround
#: is as plain as that, it may leave it at up to the other: patches far from each other say little
#: of a slope that paper shows well. Simulated, and found on real charts.
FIELD_GAIN, PLAIN_SCATTER, PLAIN_GAIN = 0.97, 0.015, 1.05


@dataclass(frozen=True, eq=False)
class NeutralFit:
    """What a reference of several neutrals gave.

    ``table``: (levels, 3), coded to corrected linear RGB before the field is divided out.
    ``xyz``, ``left_out``: (patches, 3) XYZ with everything applied, and with the patch left out.
    ``errors``: (patches,) ΔE00 of ``left_out``. ``trials``: mean of these, by what was tried;
    ``misfit``: of what was taken. ``usable``: places of the neutrals that the curve goes through.
    """

    table: Array
    field: LightField | None
    colours: CameraColours
    xyz: Floats
    left_out: Floats
    errors: Floats
    trials: dict[str, float]
    usable: tuple[int, ...]
    in_order: bool
    reference: str

    @property
    def misfit(self) -> float:
        return float(np.mean(self.errors))

    @property
    def fits(self) -> bool:
        """Whether the patches agree with their stated values well enough."""
        return self.misfit <= (CHART_MISFIT if len(self.xyz) == 24 else STEPS_MISFIT)

    @property
    def misfit_sd(self) -> float:
        """What colours are off by along each axis of ΔE00 where the patches do not fit; else 0."""
        if self.fits:
            return 0.0
        times = CHART_OFF_BY if len(self.xyz) == 24 else STEPS_OFF_BY
        return times * float(np.sqrt(np.mean(self.errors**2)))

    @property
    def far_off(self) -> bool:
        """Whether they are so far from them that something else was marked."""
        return self.misfit > (CHART_FAR_OFF if len(self.xyz) == 24 else STEPS_FAR_OFF)


def neutral_indices(reference: Reference) -> list[int]:
    """Which patches of a reference are neutral."""
    return (
        list(charts.CHART24_NEUTRALS)
        if reference.kind == "chart24"
        else list(range(len(reference.patches)))
    )


def usable_neutrals(reference: Reference, patches: Sequence[PatchReading]) -> list[int]:
    """Which of the neutrals are clipped so little that they may shape a curve."""
    return [i for i in neutral_indices(reference) if patches[i].clipped <= CLIPPED_NOTED]


def fit_neutrals(
    encoding: Encoding,
    reference: Reference,
    patches: Sequence[PatchReading],
    expected: Floats,
    field: LightField | None,
) -> NeutralFit:
    """Fit tone, and a chart's colours, with the light field or without it: whichever does better.

    ``expected``: (patches, 3) linear RGB. Raises :class:`ReferenceMissing` where the neutrals
    are clipped or run the other way.
    """
    usable = usable_neutrals(reference, patches)
    in_order = check_order(np.array([p.linear for p in patches]), expected, usable, reference.kind)
    tries = [_fit(encoding, reference, patches, expected, usable, None)]
    if field is not None:
        tries.append(_fit(encoding, reference, patches, expected, usable, field))
    best = tries[0]
    if field is not None:
        gain = PLAIN_GAIN if field.scatter < PLAIN_SCATTER else FIELD_GAIN
        best = tries[1] if tries[1].misfit < gain * tries[0].misfit else best
    trials = {
        f"{name}{suffix}": round(value, 3)
        for t, suffix in zip(tries, ("", ", light field"), strict=False)
        for name, value in t.trials.items()
    }
    return replace(best, trials=trials, in_order=in_order)


def _fit(
    encoding: Encoding,
    reference: Reference,
    patches: Sequence[PatchReading],
    expected: Floats,
    usable: list[int],
    field: LightField | None,
) -> NeutralFit:
    centres = np.array([np.mean(p, axis=0) for p in reference.patches])
    light = np.ones(len(patches))
    if field is not None:
        field = field.centred_on(centres[usable])
        light = field.at(centres)
    tone = fit_tone(encoding.curve, patches, expected, usable, light)
    to_xyz = encoding.to_xyz
    expected_lab = xyz_to_lab(expected @ to_xyz.T)
    # A chart with its white clipped still has 18 colours that hold the curve.
    enough = len(usable) >= NEUTRALS_FOR_A_CURVE - (reference.kind == "chart24")
    kind, colours, judged = "steps" if enough else "card", UNCHANGED, list(usable)
    left_out = tone.left_out @ to_xyz.T
    trials = {}
    if reference.kind == "chart24":
        judged = [i for i in range(len(patches)) if i not in charts.CHART24_NEUTRALS]
        fit = fit_chart(tone.rgb, expected, to_xyz, _unclipped(patches), judged, tone.left_out)
        colours, trials, left_out = fit.colours, fit.trials, fit.left_out
        kind = kind if colours.model == "none" else "chart"
    errors = delta_e_2000(xyz_to_lab(left_out), expected_lab)[judged]
    trials = trials or {"none": float(errors.mean())}
    xyz = colours(tone.rgb) @ to_xyz.T
    return NeutralFit(
        tone.table, field, colours, xyz, left_out, errors, trials, tuple(usable), True, kind
    )


def _unclipped(patches: Sequence[PatchReading]) -> list[int]:
    return [i for i, p in enumerate(patches) if p.clipped <= CLIPPED_NOTED]


def check_order(
    measured: Floats, expected: Floats, usable: Sequence[int], kind: str = "steps"
) -> bool:
    """Whether the neutrals get darker as stated, those of one value in any order.

    ``measured``, ``expected``: (patches, 3) linear RGB. ``usable``: places of the neutrals. Raises
    :class:`ReferenceMissing` where they do the opposite, are stated to be all alike, or fewer than
    two are usable.
    """
    chosen = list(usable)
    if len(chosen) < 2:
        raise ReferenceMissing(
            f"only {len(chosen)} of the neutral steps are unclipped; photograph them again, darker"
        )
    light, stated = measured[chosen].mean(axis=1), expected[chosen].mean(axis=1)
    if np.ptp(stated) == 0.0:
        raise ReferenceMissing(
            "the neutral steps are all stated to reflect the same; give each step its own value"
        )
    ranks = np.corrcoef(_ranks(light, stated), _ranks(stated, light))[0, 1]
    if ranks < 0.5 and kind == "chart24":
        raise ReferenceMissing(
            "the chart's greys do not get darker from white to black; mark its corners from dark "
            "skin's, then along that row and on around, and see that nothing lies over it"
        )
    if ranks < 0.5:
        raise ReferenceMissing(
            "the neutral steps get lighter where their stated values get darker; "
            "mark them in the order of their values, on the picture as a person sees it"
        )
    return bool(ranks > 0.999)


def _ranks(values: Floats, ties: Floats) -> NDArray[np.intp]:
    """(n,) place of each value (n,) among them, equal ones in the order of ``ties``."""
    return np.argsort(np.lexsort((ties, values)))


def exposure_sd(fit: NeutralFit, expected_y: Floats) -> float:
    """Relative standard uncertainty of the curve at a mid grey, from what each neutral misses.

    A colour lies between two neutrals, so two of them, not all, carry its error. The lightest
    and the darkest are guessed from outside when left out, and do not count. ``expected_y``:
    (patches,), 0..1.
    """
    chosen = sorted(fit.usable, key=lambda i: float(expected_y[i]))
    inner = chosen[1:-1] if len(chosen) > 3 else chosen
    found, stated = fit.left_out[inner, 1], expected_y[inner]
    ratio = np.log(np.maximum(found, 1e-4) / np.maximum(stated, 1e-4))
    return float(np.sqrt(np.mean(ratio**2) / 2.0))
