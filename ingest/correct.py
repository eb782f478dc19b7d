"""From coded pixels to light relative to a reference: tone, light field, exposure, white, colour.

Making a :class:`~ingest.correction.Correction` reads only the reference's patches and, for the
light field, a small copy of the picture.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ingest.colour import delta_e_2000, xyz_to_lab
from ingest.correct_flags import card_value_flag, display_flag, parted, untold_tone
from ingest.correct_record import encoding_undone, field_steps, light_steps, neutral_steps
from ingest.correction import Correction as Correction
from ingest.errors import ReferenceMissing
from ingest.expected import expected_rgb, expected_xyz, named_edition, value_flags
from ingest.lightleft import (
    LEFT_BY_A_CARD,
    WORTH_DIVIDING,
    card_field,
    light_flags,
    light_left,
    middles,
)
from ingest.model import Photo, Polygon, Reference, ReferenceReading, Settings, Step
from ingest.neutrals import (
    NeutralFit,
    exposure_sd,
    fit_neutrals,
    neutral_indices,
    usable_neutrals,
)
from ingest.paper import Light
from ingest.reading import PatchReading, card_flags, coloured_flag, exposure_flags
from ingest.sampling import (
    all_neutrals,
    as_taken,
    hull,
    located_flags,
    mid_neutral,
    outlines,
    patch_records,
    rank,
    read_patches,
    refuse_turned,
    refuse_unusable,
    rounded,
    sampled,
)
from ingest.surround import Surround, surround_light
from ingest.tone import fit_tone

Floats = NDArray[np.float64]

#: Relative standard uncertainty of a reflectance stated without a tolerance: 0.5 of 18 %,
#: the rounding of "18 %" and a little wear. Common practice, no source.
VALUE_SD = 0.028
#: Relative change of reflectance for one ΔE00 at a mid grey: dY/Y = 3 dL*/(L* + 16), SL = 1.
#: Derived, at L* = 50.
RELATIVE_PER_DELTA_E = 3.0 / 66.0
#: ΔE00 of a second neutral after correction from which the tone varies in the frame. Our choice.
NEUTRALS_DISAGREE = 3.0


def correct(
    photo: Photo,
    references: Sequence[Reference],
    settings: Settings,
    occupied: Sequence[Polygon] = (),
    sheets: Sequence[Polygon] = (),
) -> Correction:
    """Make the correction that the references support; the best of them decides.

    ``occupied``: outlines of swatches, so that they are not taken for a plain surround.
    ``sheets``: pieces of bare paper, where they are known. Raises
    :class:`ReferenceMissing` where no reference can be used and ``settings`` do not allow an
    uncorrected reading.
    """
    if not references:
        if settings.allow_uncorrected:
            return _uncorrected(photo)
        raise ReferenceMissing(
            "no grey card, steps or chart was found or marked; say where it is in a marks file, "
            "say what your steps are (--steps), or measure without one on purpose "
            "(--no-card of measure, add and tonal)"
        )
    best = max(references, key=rank)
    main = named_edition(best, settings)
    patches = read_patches(photo, main)
    refuse_unusable(main, patches)
    taken = (*occupied, *(p for r in references for p in outlines(r)))
    greys = [sampled(main)[i] for i in neutral_indices(main)]
    surround = Surround(taken, tuple(sheets), tuple(greys))
    if main.kind == "card":
        made = _from_card(photo, main, patches[0], settings, surround, occupied)
    else:
        made = _from_neutrals(photo, main, patches, settings, surround, occupied)
    others = [_second_reading(photo, made, r, settings) for r in references if r is not best]
    lifted = {"tone varies in the frame", "values differ"}
    flags = made.flags.union(*(o.flags & lifted for o in others))
    return replace(made, readings=(*made.readings, *others), flags=flags)


def _from_card(
    photo: Photo,
    reference: Reference,
    patch: PatchReading,
    settings: Settings,
    surround: Surround,
    swatches: Sequence[Polygon],
) -> Correction:
    expected = expected_rgb(reference, photo.encoding, settings)[0]
    gain = expected / patch.linear
    curve = (photo.encoding.curve * gain).astype(np.float32)
    stated, found = (photo.encoding.to_xyz @ v for v in (expected, patch.mean_of(curve)))
    flags = card_flags(patch) | located_flags(reference) | exposure_flags([patch], stated[None, 1])
    flags |= value_flags(reference, settings)
    around = hull(reference)
    light = surround_light(photo, curve, photo.encoding.to_xyz, surround, around)
    field = card_field(light.field, middles(reference.patches, surround.occupied))
    share = LEFT_BY_A_CARD if field else None
    left = light_left(light, share, around, swatches, (photo.width, photo.height))
    flags |= light_flags(light, share, around, reference.patches, swatches)
    flags |= card_value_flag(patch, float(stated[1]), light, photo.encoding.to_xyz)
    flags |= {"light field corrected"} if field else set()
    reading = ReferenceReading(
        reference,
        flags,
        patch_records(reference, stated[None], found[None]),
        neutral=tuple(float(v) for v in patch.linear),
        neutrals=(as_taken(patch.linear, patch.clipped), _paper_as_taken(light, gain, around)),
    )
    step = Step("exposure and white to the card", {"gain": rounded(gain), **patch.detail()})
    return Correction(
        curve=curve,
        to_xyz=photo.encoding.to_xyz,
        reference="card",
        reading_sd=patch.relative_sd,
        value_sd=_value_sd(settings, reference),
        steps=(
            encoding_undone(photo),
            step,
            *field_steps(field),
            *light_steps(left, swatches),
        ),
        readings=(reading,),
        flags=flags | untold_tone(photo) | {"camera colours not corrected"},
        field=field,
        left=left,
    )


def _from_neutrals(
    photo: Photo,
    reference: Reference,
    patches: list[PatchReading],
    settings: Settings,
    surround: Surround,
    swatches: Sequence[Polygon],
) -> Correction:
    expected = expected_rgb(reference, photo.encoding, settings)
    if reference.kind == "chart24":
        refuse_turned(photo, patches, expected)
    light = _look_at_light(photo, reference, patches, expected, surround)
    measured, around = light.field, hull(reference)
    places = middles(reference.patches, surround.occupied)
    worth = measured is not None and measured.spread(places) >= WORTH_DIVIDING
    fit = fit_neutrals(photo.encoding, reference, patches, expected, measured if worth else None)
    share = 0.0 if fit.field else None
    left = light_left(light, share, around, swatches, (photo.width, photo.height))
    stated = expected @ photo.encoding.to_xyz.T
    flags = _flags_of_neutrals(photo, reference, patches, fit, stated)
    flags |= value_flags(reference, settings)
    middle = mid_neutral(reference, patches, stated[:, 1])
    flags |= coloured_flag(np.array(middle))
    flags |= light_flags(light, share, around, reference.patches, swatches)
    records = patch_records(reference, stated, fit.xyz, fit.left_out, [p.clipped for p in patches])
    return Correction(
        curve=fit.table,
        to_xyz=photo.encoding.to_xyz,
        reference=fit.reference,
        reading_sd=exposure_sd(fit, stated[:, 1]),
        value_sd=_value_sd(settings, reference) / float(np.sqrt(len(fit.usable))),
        steps=(encoding_undone(photo), *neutral_steps(fit), *light_steps(left, swatches)),
        readings=(
            ReferenceReading(
                reference,
                flags,
                records,
                neutral=middle,
                neutrals=all_neutrals(reference, patches, stated[:, 1]),
            ),
        ),
        flags=flags,
        field=fit.field,
        colours=fit.colours,
        left=left,
        misfit_sd=fit.misfit_sd,
    )


def _flags_of_neutrals(
    photo: Photo,
    reference: Reference,
    patches: list[PatchReading],
    fit: NeutralFit,
    stated: Floats,
) -> frozenset[str]:
    """What steps or a chart tell of themselves; ``stated``: their XYZ (patches, 3)."""
    usable = list(fit.usable)
    used, used_y = [patches[i] for i in usable], stated[usable, 1]
    shaded = parted(photo, reference, patches, fit, stated)
    told = {
        "reference far off": fit.far_off,
        "reference does not fit": not fit.fits and not fit.far_off,
        "steps not in order": not fit.in_order,
        "card in shadow": shaded or any("card in shadow" in card_flags(p) for p in patches),
        "card clipped": len(usable) < len(neutral_indices(reference)),
        "light field corrected": fit.field is not None,
        "camera colours not corrected": fit.colours.model == "none",
    }
    return (
        frozenset(flag for flag, holds in told.items() if holds)
        | located_flags(reference)
        | display_flag(photo, reference, used, used_y)
        | exposure_flags(used, used_y)
        | (untold_tone(photo) if fit.reference == "card" else frozenset())
    )


def _paper_as_taken(light: Light, gain: Floats, around: Polygon) -> tuple[float, ...] | None:
    """Linear RGB of the plain surround beside a card, its encoding undone and nothing else.
    ``gain``: the card's, (3,)."""
    if light.paper is None:
        return None
    return tuple(float(v) for v in light.paper.beside(around) / gain)


def _value_sd(settings: Settings, reference: Reference) -> float:
    """Relative standard uncertainty of a stated reflectance: a tolerance is rectangular."""
    of_another = settings.value_kind not in (None, reference.kind)
    if settings.value_delta_e is None or of_another:
        return VALUE_SD
    return settings.value_delta_e * RELATIVE_PER_DELTA_E / float(np.sqrt(3.0))


def _look_at_light(
    photo: Photo,
    reference: Reference,
    patches: list[PatchReading],
    expected: Floats,
    surround: Surround,
) -> Light:
    """What a plain surround shows of the light, its tone curve undone.

    The curve is found once without the field and once with it: uneven light along the neutrals
    bends the first one a little.
    """
    usable = usable_neutrals(reference, patches)
    if len(usable) < 3:
        return Light()
    centres = np.array([np.mean(p, axis=0) for p in reference.patches])
    even, seen = np.ones(len(patches)), Light()
    around = hull(reference)
    for _ in range(2):
        tone = fit_tone(photo.encoding.curve, patches, expected, usable, even, leave_out=False)
        seen = surround_light(photo, tone.table, photo.encoding.to_xyz, surround, around)
        if seen.field is None:
            return seen
        even = seen.field.centred_on(centres[usable]).at(centres)
    return seen


def _second_reading(
    photo: Photo, made: Correction, reference: Reference, settings: Settings
) -> ReferenceReading:
    """What the correction makes of another reference: a check of tone and light elsewhere."""
    expected = expected_xyz(reference, settings)
    patches = read_patches(photo, reference)
    centres = np.array([np.mean(p, axis=0) for p in reference.patches])
    rgb = np.array([p.mean_of(made.curve) for p in patches]) / made.light_at(centres)[:, None]
    found = made.xyz(rgb)
    errors = delta_e_2000(xyz_to_lab(found), xyz_to_lab(expected))
    flags = set(located_flags(reference) | value_flags(reference, settings))
    if reference.kind == "card":
        flags |= card_flags(patches[0])
    if float(np.median(errors[neutral_indices(reference)])) > NEUTRALS_DISAGREE:
        flags.add("tone varies in the frame")
    records = patch_records(reference, expected, found, found)
    return ReferenceReading(reference, frozenset(flags), records, used=False)


def _uncorrected(photo: Photo) -> Correction:
    return Correction(
        curve=photo.encoding.curve,
        to_xyz=photo.encoding.to_xyz,
        reference="none",
        reading_sd=0.0,
        value_sd=0.0,
        steps=(encoding_undone(photo),),
        readings=(),
        flags=frozenset({"no reference"}),
    )
