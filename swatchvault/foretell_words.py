"""What a dyer reads of a prediction, a correction of a pot, and the ways to a colour."""

from __future__ import annotations

import math
from collections.abc import Mapping

from ingest.colour import Floats
from swatchvault.colour_words import lab_words
from swatchvault.foretell import Correction, Foretold, Ways
from swatchvault.knownbase import KnownBase, left_out_words, recipe_words
from swatchvault.pot import PotPlan, StockChoice
from swatchvault.report import table_lines

#: What every answer ends with.
TRIAL_LINE = "A prediction is no dyed swatch: dye a trial before you rely on it."
OTHER_LIGHT_LINE = (
    "Recipes of different dyes may match by daylight and part under another light: look at a "
    "trial in both."
)


def foretold_lines(found: Foretold) -> list[str]:
    """What a recipe gives, how sure that is, and how far it lies from a target."""
    known, shade = found.known, found.shade
    lines = [f"{recipe_words(found.depths)} on {known.title}"]
    if not shade.inside:
        lines += ["no prediction: outside what the lots have seen", f"  {shade.why}"]
        return lines + after_lines(known)
    lines += [
        f"  {lab_words(shade.lab, shade.covariance)}",
        f"  19 of 20 such pots should lie within ΔE00 {shade.within_95:.1f} of it, "
        f"{known.model.learned}",
        f"  inside what the lots have seen. {shade.why}",
    ]
    if found.target is not None:
        lines.append(
            f"  {found.target.name}: ΔE00 {found.delta_e_00:.1f} away; 19 of 20 such "
            f"pots within {found.within_95:.1f}"
        )
    return [*lines, *shared_lines(known, shade.lab), *after_lines(known)]


def correction_lines(
    found: Correction, plan: PotPlan | None, stocks: Mapping[str, StockChoice]
) -> list[str]:
    """What to add to a pot, in what can be measured, and where that leads."""
    got, pot = found.additions, found.pot
    lines = [
        f"lot {pot.lot.name}, {pot.goods_g:g} g of {found.known.title}; went in: "
        f"{recipe_words(pot.lot.depths)}",
        f"  {found.reading.words}",
    ]
    if plan is None:
        return [*lines, got.why, *after_lines(found.known)]
    lines.append("add to this pot")
    for dose in (d for part in plan.parts for d in part.doses):
        source = "as powder"
        if dose.stock is not None:
            source = f"of stock {dose.stock!r} ({stocks[dose.dye].strength_percent:g} %)"
        lines.append(f"  {dose.dye}: {dose.words} {source}, {dose.depth_percent:.2g} % depth")
    return [
        *lines,
        got.why,
        f"  then {lab_words(got.lab, got.covariance)}",
        f"  19 of 20 such pots should end within ΔE00 {got.within_95:.1f} of the target, "
        f"{found.known.model.learned}",
        *shared_lines(found.known, got.lab),
        # An addition is small on purpose.
        *(f"! {hint}" for hint in plan.hints if "customary" not in hint),
        "Add it in portions, dissolved and well stirred; hold, dry a snippet and measure again.",
        f'Record it: swatchvault pot did {pot.lot.name} "dye in" --dye "DYE=AMOUNT"',
        *after_lines(found.known),
    ]


def ways_lines(found: Ways) -> list[str]:
    """The recipes as a table, the nearest first, and whether other dyes could do it."""
    known = found.known
    lines = [f"{found.target.name} on {known.title}"]
    if not found.found:
        return [*lines, "no recipe inside what the lots have seen", *after_lines(known)]
    header = ("rank", "ΔE00", "19 of 20 within", "recipe", *(["dyes"] if found.used else []))
    rows = []
    for number, way in enumerate(found.found, 1):
        other = {True: "other dyes", False: "same dyes", None: ""}[found.other_dyes(way)]
        cells = (number, f"{way.delta_e_00:.1f}", f"{way.within_95:.1f}", recipe_words(way.depths))
        rows.append((*cells, other) if found.used else cells)
    lines += table_lines(header, rows)
    lines.append(
        f"(19 of 20 is {known.model.learned}; one more dye must bring it ΔE00 0.5 nearer "
        "to rank higher)"
    )
    if said := found.could_another():
        lines.append(said)
    if found.untried:
        lines.append(f"not tried on this base, so not proposed: {', '.join(found.untried)}")
    lines += [*shared_lines(known, found.found[0].shade.lab), OTHER_LIGHT_LINE]
    return lines + after_lines(known)


def shared_lines(known: KnownBase, lab: Floats) -> list[str]:
    """What is not in the ±: the photos' common error."""
    size = known.shared_delta_e(lab)
    if math.isnan(size):
        return []
    return [
        f"  as your photos see it: what they all get wrong alike, about ΔE00 {size:.1f}, is not "
        "in the ±"
    ]


def after_lines(known: KnownBase) -> list[str]:
    """What was left out, the kL of it all, and what a prediction is not."""
    left = left_out_words(known.left_out)
    said = f"ΔE00 with kL = {known.k_l:g} throughout."
    return [*([f"({left})"] if left else []), said, TRIAL_LINE]
