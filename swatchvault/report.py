"""Words from data, for people: no reading, no writing, no decisions."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any

from ingest.doubt import NEUTRALS_FOR_A_CURVE
from ingest.evenness_stored import STOPPED_BY
from ingest.flags import FLAGS
from ingest.model import Measurement, PhotoMeasurement
from swatchvault.archive import LotDye
from swatchvault.checking import Checks
from swatchvault.colour_words import delta_e_words, lab_words
from swatchvault.compare import Comparison
from swatchvault.days import by_photo_words, day_cell, when
from swatchvault.families import CoursePoint, Family
from swatchvault.lotcheck import LeftOut
from swatchvault.tables import table_lines
from swatchvault.tonal_words import figure

#: What corrected a photo, in words.
CORRECTED_BY = {
    "chart": "a 24-patch chart",
    "steps": "neutral steps",
    "card": "one grey card",
    "none": "nothing (the camera's own colours)",
}
#: Share of a swatch's pixels that are clipped from which it is told. Our choice.
CLIPPED_TOLD = 0.005
#: From which score of a search on what is said of it; our choice.
LIKELY = ((0.9, "looks right"), (0.75, "may be right"), (0.0, "look closely"))
_KIND = {"card": "grey card", "steps": "neutral steps", "chart24": "24-patch chart"}


def likely_words(score: float) -> str:
    """How well what was found by search looks as it should; ``score``: 0 to 1, of its shape and
    colours, which is no probability.

    >>> likely_words(1.0)
    'looks right'
    """
    return next(words for least, words in LIKELY if score >= least)


def photo_lines(photo: PhotoMeasurement) -> list[str]:
    """A measured photo, in a few lines."""
    taken = f", taken {when(photo.taken_at)}" if photo.taken_at else ""
    lines = [
        f"{photo.path.rsplit('/', 1)[-1]}: {photo.width} x {photo.height}, {photo.format}, "
        f"{photo.encoding}{taken}"
    ]
    for reading in photo.references:
        ref = reading.reference
        sure = f", {likely_words(ref.confidence)}" if ref.located == "search" else ""
        used = "" if reading.used else ", as a check"
        lines.append(f"  reference: {_KIND[ref.kind]}, by {ref.located}{sure}{used}")
    if not photo.swatches:
        lines.append("  no swatch in this photo")
    for swatch in photo.swatches:
        lines += [f"  {line}" for line in swatch_lines(swatch, _corrected_by(photo, swatch))]
    return lines + _flags_of_photo(photo)


def _flags_of_photo(photo: PhotoMeasurement) -> list[str]:
    """Each flag with its sentence and, of those that some of several swatches have, which."""
    own = {s.name: _gravest(s.flags) for s in photo.swatches}
    lines = []
    for flag in sorted(_gravest(photo.flags).union(*own.values())):
        of = [name for name, flags in own.items() if flag in flags]
        some = flag not in photo.flags and len(of) < len(own)
        where = f" ({', '.join(of)})" if some else ""
        lines.append(f"  ! {flag}{where}: {FLAGS[flag]}")
    return lines


def _gravest(names: Iterable[str]) -> set[str]:
    """Of two flags on one fact the graver."""
    told = set(names)
    return told - ({"clipped"} if "clipped beyond use" in told else set())


def _corrected_by(photo: PhotoMeasurement, swatch: Measurement) -> str:
    """What corrected a swatch's photo, where neutrals are too few to count as steps too."""
    used = [r for r in photo.references if r.used]
    if swatch.reference != "card" or not used or used[0].reference.kind != "steps":
        return CORRECTED_BY[swatch.reference]
    count, clipped = len(used[0].reference.patches), sum("clipped" in p for p in used[0].patches)
    of = f"{count - clipped} of {count} neutral steps ({clipped} clipped)"
    steps = of if clipped else f"{count} neutral steps"
    return f"{steps}; fewer than {NEUTRALS_FOR_A_CURVE} count as one grey card"


def swatch_lines(swatch: Measurement, by: str | None = None) -> list[str]:
    """A swatch's colour with its doubt, in two lines. ``by``: what corrected it, if known."""
    return [
        f"{swatch.name}: {lab_words(swatch.lab, swatch.covariance.total)}",
        f"  corrected by {by or CORRECTED_BY[swatch.reference]}; {swatch.pixels} pixels"
        + "".join(f", {v:.1%} left out as {k}" for k, v in swatch.left_out.items() if v > 0.0005)
        + (f", {swatch.clipped_share:.1%} clipped" if swatch.clipped_share >= CLIPPED_TOLD else ""),
        *(f"  {line}" for line in evenness_lines(swatch.tonality, swatch.flags)),
    ]


def evenness_lines(
    tonality: Mapping[str, Any] | None, flags: Collection[str] = frozenset()
) -> list[str]:
    """How even a swatch is, in a line or two; nothing where nothing could be measured.

    ``flags``: of its measurement; under those that stop a class no class and no figure is told.
    """
    if tonality is None:
        return []
    if tonality["class"] is None and STOPPED_BY & set(flags):
        return [
            "evenness: cannot be judged in this photo",
            *(f"  {reason}" for reason in tonality.get("reasons", ())),
        ]
    kind, between = tonality["class"], tonality["between"]
    words = kind or (f"cannot tell {between[0]} from {between[1]}" if between else "cannot tell")
    value, doubt = tonality["unevenness"], tonality["u_unevenness"]
    if kind is None and tonality.get("range"):
        words += ", unevenness somewhere between {:.1f} and {:.1f}".format(*tonality["range"])
    elif kind is not None and value is not None and doubt is not None:
        words += f", unevenness {figure(value, doubt)}"
    if tonality["patch_length"]:
        words += f", {tonality['patch_length']} patches"
    return [f"evenness: {words}", *(f"  {reason}" for reason in tonality.get("reasons", ()))]


#: Flags that figures of differences already carry; the others are told with them.
STANDING_FLAGS = frozenset(
    {"tone curve not removed", "camera colours not corrected", "no profile", "scale unknown"}
)


def flag_lines(names: Iterable[str], indent: str = "") -> list[str]:
    """Each flag with its sentence; of two on one fact the graver."""
    return [f"{indent}! {name}: {FLAGS[name]}" for name in sorted(_gravest(names))]


def comparison_lines(comparison: Comparison) -> list[str]:
    """A lot check: the verdict first, then figures, then what weakens it."""
    return list(comparison.sentences)


def matrix_lines(family: Family) -> list[str]:
    """All lots against each other: ΔE00 with its doubt, and a letter for the verdict of a pair."""
    letters = {"within": "w", "outside": "o", "cannot tell": "?"}
    first, width = (max(least, *(len(n) + 2 for n in family.names)) for least in (8, 15))
    lines = [" " * first + "".join(f"{name:>{width}}" for name in family.names)]
    for i, name in enumerate(family.names):
        cells = []
        for j in range(len(family.names)):
            pair = family.pairs.get((min(i, j), max(i, j)))
            none = "-" if i == j else "left out"
            cells.append(none if pair is None else f"{_reading(pair)} {letters[pair.verdict]}")
        lines.append(f"{name:<{first}}" + "".join(f"{cell:>{width}}" for cell in cells))
    lines.append("w within, o outside, ? cannot tell; ± is the standard uncertainty of a reading")
    return [*lines, *(f"left out: {note}" for note in family.notes)]


def course_lines(points: Sequence[CoursePoint]) -> list[str]:
    """Lots over time against the master, a swatch by its name where its lot has several; with the
    verdict on its evenness, where there is one."""
    tonal = [f"{p.evenness.shown}, " if p.evenness else "" for p in points]
    tonal = [f"evenness: {word}" if word.startswith("cannot") else word for word in tonal]
    undated = {p.comparison.new.name: p.by_photo for p in points}  # a lot may have several
    said = by_photo_words([lot for lot, by_photo in undated.items() if by_photo], len(undated))
    lots = [p.comparison.new.name for p in points]
    several = {lot for lot in lots if lots.count(lot) > 1}
    names = [
        p.swatch or lot if lot in several else lot for lot, p in zip(lots, points, strict=True)
    ]
    width = max([16, *(len(name) + 2 for name in names)])
    lines = [
        f"{day_cell(p.when, p.by_photo):<14}{name:<{width}}"
        f"ΔE00 {_reading(p.comparison):<13}{p.comparison.verdict.value:<12}"
        f"{word}{p.comparison.words}"
        for p, word, name in zip(points, tonal, names, strict=True)
    ]
    return [*lines, *([said] if said else [])]


def _reading(comparison: Comparison) -> str:
    """ΔE00 as read, with its standard uncertainty."""
    return delta_e_words(comparison.difference.delta_e_00, comparison.difference.u_reading)


def dyes_missing(lots: Mapping[str, Sequence[LotDye]]) -> str:
    """What the records of some lots lack to tell whether their dyes were the same; "" if nothing.

    >>> dyes_missing({"7": [], "8": [LotDye("Ember", None, "S1", None, None)]})
    "lot 7 has no dyes written down; the pack of Ember's stock S1 is not told"
    """
    bare = [f"lot {name} has no dyes written down" for name, dyes in lots.items() if not dyes]
    packs = [
        f"the pack of {d.dye}'s stock {d.stock} is not told"
        if d.stock
        else f"the pack of {d.dye} in lot {name} is not told"
        for name, dyes in lots.items()
        for d in dyes
        if d.pack is None
    ]
    return "; ".join(dict.fromkeys([*bare, *packs]))


def left_out_lines(left_out: Sequence[LeftOut]) -> list[str]:
    """Swatches that could not be held to another, and why."""
    return [f"swatch {one.swatch} is not held to {one.against}: {one.why}" for one in left_out]


def check_table(checks: Checks) -> list[str]:
    """Many lot checks, a line each, what they have in common, and what was left out."""
    header = ("colourway", "base", "swatch", "ΔE00", "±", "verdict", "which way", "photos")
    rows = []
    for check in checks.given:
        c, s = check.checked.comparison, check.swatch
        d = c.difference
        rows.append(
            (
                s.colourway,
                s.base,
                s.swatch,
                f"{d.delta_e_00:.2f}",
                f"{d.u_reading:.2f}",
                c.verdict.value,
                c.words.rstrip("."),
                d.conditions.capture.value,
            )
        )
    rest = left_out_lines(checks.left_out)
    if not rows:
        return rest or ["no lot has both a master and a measured swatch"]
    settings = {(c.master.tolerance, c.master.k_l) for c in checks.given}
    said = ", ".join(f"tolerance {t:g} at kL = {k:g}" for t, k in sorted(settings))
    settled = f"({said}; ± is the standard uncertainty of the reading)"
    return [*table_lines(header, rows), settled, *rest]
