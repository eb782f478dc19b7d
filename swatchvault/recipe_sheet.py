"""A recipe on a weight of goods as words and as a page to print, and what changed in it: pure.

Only :func:`write_sheet` touches a file.
"""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING

from swatchvault.cautions import CAUTIONS
from swatchvault.colour_words import lab_line
from swatchvault.measuring import pour_words, weigh_words
from swatchvault.recipe_parts import dose_words, part_words, together_lines
from swatchvault.writing import write_text_file

if TYPE_CHECKING:
    from swatchvault.archive.entities import PlannedStep, Recipe, RecipePart
    from swatchvault.pot import Dose, PotPlan, StepPlan


@dataclass(frozen=True)
class RecipeSheet:
    """All that a recipe's page shows. ``thumb`` is a JPEG; ``None`` is not known.

    ``u_lab``: standard uncertainties of ``lab``. ``against_base``: the base of the version that it
    is set against, where it is another; ``other_base``: what to know of a recipe that came from
    another base, a sentence each; ``again``: an earlier version that plans the same.
    """

    recipe: Recipe
    plan: PotPlan
    changes: tuple[str, ...] | None = None
    against: int | None = None
    lab: tuple[float, float, float] | None = None
    lab_of: str | None = None
    u_lab: tuple[float, float, float] | None = None
    thumb: bytes | None = None
    to_try: str | None = None
    against_base: str | None = None
    other_base: tuple[str, ...] = ()
    again: int | None = None

    @property
    def is_again(self) -> tuple[str, ...]:
        """That an earlier version plans the same, in words."""
        return () if self.again is None else (again_words(self.again),)

    @property
    def set_against(self) -> str:
        """The version that it is set against, in words."""
        on = "" if self.against_base is None else f" on {self.against_base}"
        return f"version {self.against}{on}"


# ---------------------------------------------------------------------------------------------
# What changed
# ---------------------------------------------------------------------------------------------


def recipe_changes(old: Recipe, new: Recipe) -> list[str]:
    """What differs in ``new`` from ``old``, a sentence each; empty where nothing does."""
    lines = []
    parts = {p.name.casefold(): p for p in old.parts}
    for part in new.parts:
        before = parts.pop(part.name.casefold(), None)
        if before is None:
            lines.append(f"part {part.name}: new, {part.share_percent:g} % of the goods")
            lines += [f"part {part.name}: + {d.dye} {d.depth_percent:g} %" for d in part.dyes]
        else:
            lines += [f"part {part.name}: {change}" for change in _part_changes(before, part)]
    return lines + [f"part {p.name}: left out" for p in parts.values()]


def _part_changes(old: RecipePart, new: RecipePart) -> list[str]:
    lines = []
    if old.share_percent != new.share_percent:
        lines.append(f"share {old.share_percent:g} -> {new.share_percent:g} % of the goods")
    was = {d.dye.casefold(): d for d in old.dyes}
    for dye in new.dyes:
        before = was.pop(dye.dye.casefold(), None)
        if before is None:
            lines.append(f"+ {dye.dye} {dye.depth_percent:g} %")
        elif before.depth_percent != dye.depth_percent:
            lines.append(f"{dye.dye} {before.depth_percent:g} -> {dye.depth_percent:g} %")
    lines += [f"- {d.dye} (was {d.depth_percent:g} %)" for d in was.values()]
    return lines + _step_changes(old.steps, new.steps)


def _step_changes(old: Sequence[PlannedStep], new: Sequence[PlannedStep]) -> list[str]:
    """Steps taken out and put in, in order; a step that was altered is both."""
    from difflib import SequenceMatcher

    before, after = [planned_words(s) for s in old], [planned_words(s) for s in new]
    lines = []
    for tag, i, j, k, n in SequenceMatcher(a=before, b=after, autojunk=False).get_opcodes():
        if tag != "equal":
            lines += [f"- step: {words}" for words in before[i:j]]
            lines += [f"+ step: {words}" for words in after[k:n]]
    return lines


def planned_words(step: PlannedStep) -> str:
    """A planned step as `read_step` of revision reads it again: ``hold, 85 °C, 30 min``."""
    facts = [
        step.amount,
        None if step.temperature_c is None else f"{step.temperature_c:g} °C",
        None if step.minutes is None else f"{step.minutes:g} min",
        step.note,
    ]
    return step.kind + "".join(f", {f}" for f in facts if f)


# ---------------------------------------------------------------------------------------------
# Words
# ---------------------------------------------------------------------------------------------


def step_plan_words(step: StepPlan) -> str:
    """A planned step with its number, on one line."""
    facts = [
        step.amount,
        None if step.temperature_c is None else f"{step.temperature_c:g} °C",
        None if step.minutes is None else f"{step.minutes:g} min",
        step.note,
    ]
    return f"{step.number}. {step.kind}" + "".join(f", {f}" for f in facts if f)


def plan_lines(plan: PotPlan) -> list[str]:
    """A plan's amounts, steps and hints."""
    lines = [f"goods {weigh_words(plan.goods_g)[0]}, dry"]
    if plan.liquor_ml is not None and plan.water_ml is not None:
        lines.append(
            f"liquor {pour_words(plan.liquor_ml)[0]}; "
            f"water besides all that is added {pour_words(plan.water_ml)[0]}"
        )
    for part in plan.parts:
        lines.append(part_words(plan, part))
        lines += [f"  {dose_words(d)}" for d in part.doses]
        lines += [f"  {step_plan_words(s)}" for s in part.steps]
    return lines + together_lines(plan) + [f"note: {h}" for h in plan.hints]


def sheet_lines(sheet: RecipeSheet) -> list[str]:
    """The sheet as text, without its cautions."""
    lines = [title_of(sheet.recipe), *sheet.is_again, *sheet.other_base]
    lines += [f"its note: {sheet.recipe.note}"] if sheet.recipe.note else []
    lines += plan_lines(sheet.plan)
    lines += [f"note: {p.name}: {p.note}" for p in sheet.recipe.parts if p.note]
    lines += [f"note: {sheet.to_try}"] if sheet.to_try else []
    if sheet.lab is not None:
        lines.append(f"colour {_lab_words(sheet)} ({sheet.lab_of})")
    if sheet.changes is not None:
        lines.append(f"against {sheet.set_against}:")
        lines += [f"  {c}" for c in sheet.changes] or ["  nothing changed"]
    return lines


def again_words(version: int) -> str:
    """That a recipe plans what an earlier version of it did."""
    return f"this is version {version} again: the same dyes and steps"


def title_of(recipe: Recipe) -> str:
    """A recipe by its names and version, and the version on the same base that it came from."""
    here = recipe.parent is not None and recipe.parent_base is None
    origin = f", from version {recipe.parent}" if here else ""
    return f"{recipe.colourway} on {recipe.base}, version {recipe.version}{origin}"


def _lab_words(sheet: RecipeSheet) -> str:
    return f"{lab_line(sheet.lab or (), sheet.u_lab)} (D65, 2°)"


# ---------------------------------------------------------------------------------------------
# The page
# ---------------------------------------------------------------------------------------------

_STYLE = """body { font: 9.5pt/1.25 sans-serif; color: #000; background: #fff; max-width: 182mm;
  margin: 0 auto } @media screen { body { padding: min(10mm, 3vw) } }
h1 { font-size: 16pt; margin: 0 0 1mm } h2 { font-size: 11pt; margin: 3.5mm 0 0.5mm; clear: none }
h1, h2, p, li { overflow-wrap: anywhere }
p { margin: 1mm 0 } ul { margin: 0; padding-left: 5mm } h2, tr { break-after: avoid }
table { border-collapse: collapse; width: 100% } th { text-align: left; font-weight: normal }
td, th { padding: 0.6mm 2mm; border-bottom: 0.3pt solid #999; vertical-align: top }
@media screen and (max-width: 480px) { td, th { padding: 0.6mm 0.8mm; overflow-wrap: anywhere }
  table { font-size: 8.5pt } }
td.n { white-space: nowrap } .n { text-align: right } td.box { width: 28mm } td.tick { width: 6mm }
img { float: right; width: 40mm; margin: 0 0 3mm 5mm } .caution { font-size: 8pt;
  border: 0.8pt solid #000; padding: 1.5mm 3mm; margin-top: 4mm } .caution p { margin: 0 0 0.4mm }
tr, .caution { break-inside: avoid } @media print { .back { display: none } }
@media print and (max-width: 130mm) { body { font-size: 8.5pt } h1 { font-size: 12pt }
  img { width: 22mm } td, th { padding: 0.4mm 0.8mm } td.box { width: 14mm } h2 { margin-top: 2mm }
  tr { break-after: auto } .caution { font-size: 7.5pt; margin-top: 2mm; padding: 1mm 2mm } }
@page { margin: 14mm } @media (max-width: 130mm) { @page { margin: 8mm } }"""


def sheet_html(sheet: RecipeSheet, back: str = "") -> str:
    """One page, complete in itself (the picture is inside it), with the full cautions.

    ``back``: address of the page that it was asked on, which no print shows.
    """
    title = escape(title_of(sheet.recipe))
    link = f'<p class="back"><a href="{escape(back)}">Back to the recipe</a></p>' if back else ""
    body = [f"<h1>{title}</h1>"]
    if sheet.thumb is not None:
        data = base64.b64encode(sheet.thumb).decode("ascii")
        body.insert(0, f'<img alt="photo of the yarn" src="data:image/jpeg;base64,{data}">')
    said = (*sheet.is_again, *sheet.other_base)
    body += [f"<p>{escape(_sentence(line))}</p>" for line in said]
    body += [f"<p>Note: {escape(sheet.recipe.note)}</p>"] if sheet.recipe.note else []
    body.append(f"<p>{escape(_goods_words(sheet.plan))}</p>")
    if sheet.lab is not None:
        body.append(f"<p>{escape(_lab_words(sheet))}<br>{escape(sheet.lab_of or '')}</p>")
    for part, planned in zip(sheet.recipe.parts, sheet.plan.parts, strict=True):
        body.append(f"<h2>{escape(part_words(sheet.plan, planned))}</h2>")
        body += [f"<p>{escape(part.note)}</p>"] if part.note else []
        body.append(_dose_table(planned.doses) + _step_table(planned.steps))
    body += [f"<p>{escape(_sentence(line))}</p>" for line in together_lines(sheet.plan)]
    body += _list("To look at", [*sheet.plan.hints, *([sheet.to_try] if sheet.to_try else [])])
    if sheet.changes is not None:
        body += _list(f"Against {sheet.set_against}", sheet.changes or ("nothing changed",))
    shown = [line for key, line in CAUTIONS.items() if key != "photo" or sheet.lab is not None]
    cautions = "".join(f"<p>{escape(line)}</p>" for line in shown)
    body.append(f'<div class="caution"><p><b>Before you mix, heat or pour</b></p>{cautions}</div>')
    return (
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{title}</title>"
        f"<style>{_STYLE}</style></head>\n<body><main>{link}"
        + "\n".join(body)
        + "</main></body></html>\n"
    )


def _sentence(line: str) -> str:
    return f"{line[:1].upper()}{line[1:]}."


def _goods_words(plan: PotPlan) -> str:
    words = f"Goods {weigh_words(plan.goods_g)[0]}, dry."
    if plan.liquor_ml is not None and plan.water_ml is not None:
        liquor, water = pour_words(plan.liquor_ml)[0], pour_words(plan.water_ml)[0]
        words += f" Liquor {liquor}; water besides all that is added {water}."
    return words


def _dose_table(doses: Sequence[Dose]) -> str:
    if not doses:
        return ""
    rows = "".join(
        f'<tr><td>{escape(d.dye)}</td><td class="n">{d.depth_percent:g} %</td>'
        f'<td class="n"><b>{escape(d.words)}</b></td>'
        f"<td>{escape('powder' if d.stock is None else f'stock {d.stock}')}</td>"
        f'<td class="n">{escape(d.held)}</td></tr>'
        for d in doses
    )
    head = (
        '<tr><th>dye</th><th class="n">depth of shade</th><th class="n">take</th><th>from</th>'
        '<th class="n">dry dye</th></tr>'
    )
    return f"<table>{head}{rows}</table>"


def _step_table(steps: Sequence[StepPlan]) -> str:
    if not steps:
        return ""
    rows = "".join(
        f'<tr><td class="tick">☐</td><td>{escape(step_plan_words(s))}</td>'
        f'<td class="box"></td></tr>'
        for s in steps
    )
    return f"<table><tr><th>tick</th><th>step</th><th>done at</th></tr>{rows}</table>"


def _list(title: str, lines: Sequence[str]) -> list[str]:
    if not lines:
        return []
    items = "".join(f"<li>{escape(line)}</li>" for line in lines)
    return [f"<h2>{escape(title)}</h2><ul>{items}</ul>"]


def write_sheet(path: Path, sheet: RecipeSheet) -> None:
    """Write the page as ``.html`` or ``.txt``. Raises ``SwatchvaultError`` for another ending."""
    text = sheet_html(sheet)
    if path.suffix.lower() == ".txt":
        text = "\n".join([*sheet_lines(sheet), "", *CAUTIONS.values()]) + "\n"
    write_text_file(path, text, ".html", ".txt")
