"""Sentences that are written for the command line, as a page says them. Pure: text in, text out."""

from __future__ import annotations

import json
import re
from collections.abc import Collection, Mapping, Sequence
from typing import Any

NO_CARD = "Measure even where no reference is marked"  # the label of the tick box
CREATE = "Make base, colourway and lot if they are new"  # the label of the tick box
REALLY_NEW = "They really are new"  # the label of the tick box
MOVE = "The earlier label was wrong: move it"  # the label of the tick box
UNDYED = "It is undyed yarn, of no lot"  # the label of the tick box
OVERDYED = "Learn from lots that were dyed over others, too"  # the label of the tick box
IS_NEW = "It really is new"  # the same of one name, on the shelf
CHANGE = "It is that one: change what is kept of it"  # the label of the tick box

#: What only the command line can do, and what is done on the page in its place.
#: Of a form that puts right, sent as it came.
NOTHING_TYPED = "Nothing was typed that is not so already: nothing is changed."
_ON_THE_PAGE = (
    (
        r"; say where it is in a marks file, say what your steps are \(--steps\), or measure "
        r"without one on purpose \(--no-card[^)]*\)",
        f": mark it where it lies, or tick “{NO_CARD}”",
    ),
    (
        r"; steps need their values \(--steps\), or mark the reference by hand",
        ": mark the reference by hand; steps need what they reflect",
    ),
    (
        r"; name the right photo, or add it with --relabel if that label was wrong",
        f". Write that label, or, where it is wrong, tick “{MOVE}”",
    ),
    (r"Look with --show, and mark anew", "Mark it anew"),
    (r"See with --show which, and mark each that you mean", "Mark each that you mean"),
    (r"See with --show what was taken instead, and mark", "Look what was taken instead, and mark"),
    (r" with `swatchvault (aside|mend swatch) [^`]*`", " on its page"),
    (r" the master with `swatchvault master SWATCH`", " the master on its page"),
    (r"say the colour wanted with --to", "name the colour wanted, below"),
    (r" and say it with --to", " and name it below"),
    (r"say --overdyed to reckon", f"tick “{OVERDYED}” to reckon"),
    (r" \(the archive's by `swatchvault mend`\)", " (the archive's under “Put right”, beside it)"),
    (r", and say so with --dilution", ", and say so beside it"),
    (r"as a swatch named \"white\"", "under the name white"),
    (r"`swatchvault pot edit` corrects one", "“Correct” beside a step of the log corrects one"),
    (r"\s*\(--[a-z-]+\)", ""),
)


def on_page(words: str) -> str:
    """A sentence of the command line's as a page says it.

    >>> on_page("6 neutral steps, but of their reflectances none; give one for each (--steps)")
    '6 neutral steps, but of their reflectances none; give one for each'
    """
    said = " ".join(words.split())
    for command, page in _ON_THE_PAGE:
        said = re.sub(command, page, said)
    return said


def not_marked(marks: Mapping[str, Any], about: Mapping[str, Any]) -> bool:
    """Whether measuring would fail because no reference is marked and none is waived."""
    return not (
        marks.get("references") or about.get("no_card") or about.get("light") == "black light"
    )


def missed(found: Mapping[str, Any]) -> list[str]:
    """What the program looked for in a photo and did not find; ``found``: as `described`."""
    kinds = {h["what"] for h in found.get("how", ())}
    out = [] if kinds & {"card", "steps", "chart24"} else ["a grey card, steps or a chart"]
    return out if found["marks"].get("swatches") else [*out, "the yarn"]


def lacking(told: Mapping[str, Any], known: Collection[tuple[str, str]]) -> list[str]:
    """What must still be filled in before new things can be made, a phrase each.

    ``known``: kind and name, as typed, of the swatches and lots that the archive has. A new lot
    needs its base; a new swatch needs base, form and, where it names a colourway, its lot.
    """
    out = []
    for row in told["regions"]:
        if not row["swatch"]:
            continue
        of = f" of region {row['region']}" if row["region"] else ""
        new_swatch = ("swatch", row["swatch"]) not in known
        new_lot = bool(row["lot"]) and ("lot", row["lot"]) not in known
        needed = [
            ("Base", "base", new_swatch or new_lot),
            ("Form", "form", new_swatch),
            ("Lot", "lot", new_swatch and bool(row["colourway"])),
        ]
        blank = [label for label, key, need in needed if need and not row[key]]
        if blank:
            out.append(f"{' and '.join(blank)}{of}")
    return out


def not_kept(words: str, missing: Sequence[str], *, create: bool, may_create: bool) -> str:
    """Why what was told is not kept, and what to do on the page; ``missing``: as `lacking` says.

    ``create``: the tick box was ticked. ``may_create``: the visitor has that box.
    """
    where = "under “If the swatch is new: what it is of”"
    fill = f"still missing: {'; '.join(missing)}, to be filled in {where}" if missing else ""
    if UNDYED in words:
        return f"{words}; {fill}" if fill else words
    if "(--really-new)" in words:
        return words.replace("say that it really is new (--really-new)", f"tick “{REALLY_NEW}”")
    new = re.match(r"unknown (base|colourway|lot) ", words)
    if not new and not re.search(r" is new: give its | names no lot: ", words):
        return words
    said = words.removesuffix("; add it first")
    if not new:
        return f"{said}; they are filled in {where}"
    if create:
        return fill or said
    if not may_create:
        return f"{said}. If it is new, ask the dyer to make it"
    ticked = f"{said}. If it is new, tick “{CREATE}” and keep it again"
    return f"{ticked}; {fill}" if fill else ticked


def recipe_toml(colourway: str, base: str, dye: str) -> str:
    """A small recipe as `add` reads it from studio.toml."""

    def text(value: str) -> str:
        return json.dumps(value, ensure_ascii=False)

    return (
        "[[recipe]]\n"
        f"colourway = {text(colourway)}\n"
        f"base = {text(base)}\n"
        "version = 1\n"
        "\n"
        "[[recipe.parts]]\n"
        'name = "whole"\n'
        "share_percent = 100.0\n"
        f"dyes = [{{dye = {text(dye)}, depth_percent = 0.5}}]\n"
        "steps = [\n"
        '  {kind = "dye in"},\n'
        '  {kind = "hold", temperature_c = 85, minutes = 40},\n'
        "]\n"
    )


def difference_parts(
    check: Mapping[str, Any], doubts: Sequence[float | None] | None
) -> list[tuple[str, str]]:
    """ΔL*, ΔC*, ΔH* with their ±; a check given before those were kept has none."""
    from swatchvault.words import signed_figure

    told = [(name, check[f"delta_{name[1].lower()}"]) for name in ("ΔL*", "ΔC*", "ΔH*")]
    return [
        (name, "–" if value is None else signed_figure(value, u))
        for (name, value), u in zip(told, doubts or (None, None, None), strict=True)
    ]
