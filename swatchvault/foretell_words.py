"""What a dyer reads of a prediction, a correction of a pot, and the ways to a colour.

Each sentence is made once: lines for the command line, and the same sentences on pages.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from ingest.colour import Floats
from swatchvault.colour_words import lab_words
from swatchvault.foretell import Correction, Foretold, Ways
from swatchvault.knownbase import KnownBase, left_out_words, recipe_words
from swatchvault.pot import Dose, PotPlan, StockChoice
from swatchvault.tables import table_lines

#: What every answer ends with.
TRIAL_LINE = "A prediction is no dyed swatch: dye a trial before you rely on it."
OTHER_LIGHT_LINE = (
    "Recipes of different dyes may match by daylight and part under another light: look at a "
    "trial in both."
)
#: How an addition goes in.
PORTIONS_LINE = (
    "Add it in portions, dissolved and well stirred; hold, dry a snippet and measure again."
)


# -- one sentence each, without its end where it begins small -----------------------------------


def sure_words(found: Foretold) -> str:
    """How sure a predicted colour is, and what that is learned from."""
    return (
        f"19 of 20 such pots should lie within ΔE00 {found.shade.within_95:.1f} of it, "
        f"{found.known.model.learned}"
    )


def away_words(found: Foretold) -> str:
    """How far a prediction lies from the colour it is held to; "" where there is none."""
    if found.target is None or math.isnan(found.delta_e_00):
        return ""
    return (
        f"{found.target.name}: ΔE00 {found.delta_e_00:.1f} away; 19 of 20 such "
        f"pots within {found.within_95:.1f}"
    )


def source_words(dose: Dose, stocks: Mapping[str, StockChoice]) -> str:
    """What a dose is taken from."""
    if dose.stock is None:
        return "as powder"
    return f"of stock {dose.stock!r} ({stocks[dose.dye].strength_percent:g} %)"


def end_words(found: Correction) -> str:
    """How near a pot should end."""
    return (
        f"19 of 20 such pots should end within ΔE00 {found.additions.within_95:.1f} of the target, "
        f"{found.known.model.learned}"
    )


def hints_of(plan: PotPlan) -> list[str]:
    """What to look at in an addition's plan; that it is small is meant so."""
    return [hint for hint in plan.hints if "customary" not in hint]


def rank_words(found: Ways) -> str:
    """What ranks the ways to a colour, and what "19 of 20" is learned from."""
    return (
        f"19 of 20 is {found.known.model.learned}; one more dye must bring it ΔE00 0.5 nearer "
        "to rank higher"
    )


def untried_words(found: Ways) -> str:
    """Dyes that no lot of the base holds; "" where there are none."""
    if not found.untried:
        return ""
    return f"not tried on this base, so not proposed: {', '.join(found.untried)}"


def shared_words(known: KnownBase, lab: Floats) -> str:
    """What is not in the ±, the photos' common error; "" where that is not known."""
    size = known.shared_delta_e(lab)
    if math.isnan(size):
        return ""
    return (
        f"as your photos see it: what they all get wrong alike, about ΔE00 {size:.1f}, is not "
        "in the ±"
    )


def k_l_words(known: KnownBase) -> str:
    """The kL of every ΔE00."""
    return f"ΔE00 with kL = {known.k_l:g} throughout."


# -- lines ---------------------------------------------------------------------------------------


def foretold_lines(found: Foretold) -> list[str]:
    """What a recipe gives, how sure that is, and how far it lies from a target."""
    known, shade = found.known, found.shade
    lines = [f"{recipe_words(found.depths)} on {known.title}"]
    if not shade.inside:
        lines += ["no prediction: outside what the lots have seen", f"  {shade.why}"]
        return lines + after_lines(known)
    away = away_words(found)
    return [
        *lines,
        f"  {lab_words(shade.lab, shade.covariance)}",
        f"  {sure_words(found)}",
        f"  inside what the lots have seen. {shade.why}",
        *([f"  {away}"] if away else []),
        *shared_lines(known, shade.lab),
        *after_lines(known),
    ]


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
        source = source_words(dose, stocks)
        lines.append(f"  {dose.dye}: {dose.words} {source}, {dose.depth_percent:.2g} % depth")
    return [
        *lines,
        got.why,
        f"  then {lab_words(got.lab, got.covariance)}",
        f"  {end_words(found)}",
        *shared_lines(found.known, got.lab),
        *(f"! {hint}" for hint in hints_of(plan)),
        PORTIONS_LINE,
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
    lines += [*table_lines(header, rows), f"({rank_words(found)})"]
    lines += [said for said in (found.could_another(), untried_words(found)) if said]
    lines += [*shared_lines(known, found.found[0].shade.lab), OTHER_LIGHT_LINE]
    return lines + after_lines(known)


def shared_lines(known: KnownBase, lab: Floats) -> list[str]:
    """What is not in the ±."""
    said = shared_words(known, lab)
    return [f"  {said}"] if said else []


def after_lines(known: KnownBase) -> list[str]:
    """What was left out, the kL of it all, and what a prediction is not."""
    left = left_out_words(known.left_out)
    return [*([f"({left})"] if left else []), k_l_words(known), TRIAL_LINE]
