"""A photo's correction as a page: patches found and expected, curve, light field, what limits it.

Text for the terminal, SVG for screen and print; both from data, nothing measured here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

import numpy as np

from ingest.colour import D65, delta_e_2000, xyz_to_lab
from ingest.correction import Correction
from ingest.flags import FLAGS
from ingest.model import Encoding, ReferenceReading
from ingest.rendition import beyond
from ingest.screen import hex_of_lab, linear_of_lab

#: Mean ΔE00 over a target up to which digitisation guidelines give 4, 3, 2 and 1 stars. FADGI
#: Technical Guidelines, 2023 (to be verified); they grade whole systems, so this is a yardstick.
YARDSTICK = ((2.0, "under 2"), (3.5, "2 to 3.5"), (5.0, "3.5 to 5"), (6.5, "5 to 6.5"))


@dataclass(frozen=True, eq=False)
class Page:
    """What a calibration report shows."""

    photo: str
    correction: Correction
    encoding: Encoding

    @property
    def main(self) -> ReferenceReading | None:
        used = [r for r in self.correction.readings if r.used]
        return used[0] if used else None


def errors_of(reading: ReferenceReading, key: str) -> np.ndarray:
    """ΔE00 (patches,) of "corrected_lab" or "left_out_lab" against the stated values."""
    expected = np.array([p["expected_lab"] for p in reading.patches])
    found = np.array([p.get(key, p["corrected_lab"]) for p in reading.patches])
    return delta_e_2000(found, expected)


def fitted_to(reading: ReferenceReading) -> np.ndarray:
    """(patches,) whether a patch was fitted to: not where it is clipped."""
    return np.array(["clipped" not in p for p in reading.patches])


def page_lines(page: Page) -> list[str]:
    """The report as text."""
    lines = [f"{page.photo}: how it was corrected"]
    for number, step in enumerate(page.correction.steps, 1):
        said = [_told(k, v) for k, v in step.detail.items() if k in _SHOWN and _worth(v)]
        lines.append(f"  {number}. {step.name}" + "".join(f"; {words}" for words in said))
    for reading in page.correction.readings:
        lines += _reading_lines(reading)
    limits = limits_of(page)
    return [*lines, "  what limits it:", *(f"    {line}" for line in limits)]


#: Patches under which the largest error is told in place of the 95 % one; our choice.
FEWEST_FOR_95 = 18
#: Details of a step that are told, and how; ``tried`` is a figure by what was tried.
_SHOWN = {
    "encoding": "{}",
    "neutrals": "by {} neutrals",
    "mean_delta_e_00_left_out": "patches left out miss by ΔE00 {} (kL = 1) on the average",
    "tried": "tried: {}",
    "model": "model: {}",
    "scatter": "scatter of the light {}",
    "source": "seen on {}",
    "over_reference_percent": "over that on the reference by {} %",
}


def _worth(value: Any) -> bool:
    """Not where only one thing was tried."""
    return not isinstance(value, Mapping) or len(value) > 1


def _told(name: str, value: Any) -> str:
    if isinstance(value, list):
        value = ", ".join(f"{v:+.0f}" for v in value)
    if isinstance(value, Mapping):
        value = "; ".join(f"{k.replace('none', 'as it is')} {v}" for k, v in value.items())
    return _SHOWN[name].format(value)


def limits_of(page: Page) -> list[str]:
    """Sentences on what limits the correction, the flags first."""
    lines = [FLAGS[f] for f in sorted(page.correction.flags)]
    main = page.main
    if main is not None and len(main.patches) > 1:
        mean = float(errors_of(main, "left_out_lab")[fitted_to(main)].mean())
        where = next((words for bound, words in YARDSTICK if mean <= bound), "over 6.5")
        lines.append(
            f"Patches left out of the fit miss their stated values by ΔE00 {mean:.1f} (kL = 1) on "
            f"the average ({where}); a measured colour far from every patch may miss by more."
        )
    return lines


def _reading_lines(reading: ReferenceReading) -> list[str]:
    used = "" if reading.used else " (as a check)"
    of = f"  {reading.reference.kind}{used}"
    lines = [f"{of}: ΔE00 (kL = 1, D65) to the stated values, fitted / left out"]
    fitted, left = errors_of(reading, "corrected_lab"), errors_of(reading, "left_out_lab")
    used_for = fitted_to(reading)
    for patch, one, two in zip(reading.patches, fitted, left, strict=True):
        out = f"   {patch['clipped']:.0%} clipped, not used" if "clipped" in patch else ""
        lines.append(f"    {patch['name']:<16}{one:6.2f}{two:8.2f}{out}")
    fitted, left = fitted[used_for], left[used_for]
    if len(fitted) > 1:
        few = len(left) < FEWEST_FOR_95
        ends = f"largest {left.max():.2f}" if few else f"95 % {np.percentile(left, 95):.2f}"
        lines.append(
            f"    mean of {len(left)}: {fitted.mean():.2f} / {left.mean():.2f}; left out, {ends}"
        )
    return lines


# ---------------------------------------------------------------------------------------------
# SVG
# ---------------------------------------------------------------------------------------------

_CELL, _GAP, _TOP = 84, 8, 64
_GROUND, _LINE = "#f4f4f4", "#888"
#: Side in pixels of the corner that is cut off a colour which sRGB cannot hold.
_CORNER = 16
CORNER_WORDS = "A corner cut off: a colour that sRGB cannot hold, drawn at its edge."
_HALVES = ("expected_lab", "corrected_lab")


def page_svg(page: Page) -> str:
    """The report as one SVG page: each patch as stated beside as found, the tone curve, limits."""
    main = page.main
    parts: list[str] = []
    bottom = _TOP
    if main is not None:
        block, bottom = _patches_svg(main, _TOP)
        parts += block
    parts += _curve_svg(page, 24, bottom + 40)
    parts += _text_svg(limits_of(page), 24, bottom + 330)
    height = bottom + 350 + 22 * sum(len(_wrapped(line)) for line in limits_of(page))
    head = _say(24, 36, f"{page.photo}: how it was corrected", 20)
    body = "\n".join([head, *parts])
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 620 {height}" '
        f'font-family="sans-serif" fill="#222">\n<rect width="620" height="{height}" '
        f'fill="{_GROUND}"/>\n{body}\n</svg>\n'
    )


def _patches_svg(reading: ReferenceReading, top: int) -> tuple[list[str], int]:
    left = errors_of(reading, "left_out_lab")
    parts = [
        _say(
            24,
            top,
            "Each patch: left as stated, right as found. Number: ΔE00 (kL = 1) left out.",
            13,
        )
    ]
    for i, patch in enumerate(reading.patches):
        x = 24 + (i % 6) * (_CELL + _GAP)
        y = top + 14 + (i // 6) * (_CELL + 26)
        for half, key in enumerate(_HALVES):
            parts.append(
                f'<rect x="{x + half * _CELL / 2}" y="{y}" width="{_CELL / 2}" height="{_CELL}" '
                f'fill="{hex_of_lab(patch[key])}"/>'
            )
        parts.append(
            f'<rect x="{x}" y="{y}" width="{_CELL}" height="{_CELL}" fill="none" stroke="{_LINE}"/>'
        )
        parts += [
            _corner_svg(x + half * _CELL, y, 1 - 2 * half)
            for half, key in enumerate(_HALVES)
            if _unseen(patch, key)
        ]
        number = "clipped" if "clipped" in patch else f"{left[i]:.1f}"
        parts.append(_say(x, y + _CELL + 15, f"{number}  {patch['name']}", 11))
    rows = (len(reading.patches) + 5) // 6
    bottom = top + 14 + rows * (_CELL + 26)
    if any(_unseen(patch, key) for patch in reading.patches for key in _HALVES):
        parts.append(_say(24, bottom + 8, CORNER_WORDS, 12))
        bottom += 24
    return parts, bottom


def _unseen(patch: Mapping[str, Any], key: str) -> bool:
    """Whether sRGB, and so this page, cannot hold a patch's colour."""
    return bool(beyond(linear_of_lab(patch[key])))


def _corner_svg(x: float, y: float, way: int) -> str:
    """The corner at (x, y) cut off; ``way``: 1 where the colour lies to the right, else -1."""
    points = f"{x},{y} {x + way * _CORNER},{y} {x},{y + _CORNER}"
    return f'<polygon points="{points}" fill="{_GROUND}" stroke="{_LINE}"/>'


def _curve_svg(page: Page, x: int, y: int) -> list[str]:
    """The camera's tone curve: lightness as coded against lightness as corrected."""
    side = 240
    parts = [
        _say(x, y - 8, "Tone: L* as the file codes it (across), L* as corrected (up)", 13),
        f'<rect x="{x}" y="{y}" width="{side}" height="{side}" fill="#fff" stroke="{_LINE}"/>',
        f'<line x1="{x}" y1="{y + side}" x2="{x + side}" y2="{y}" stroke="#bbb"/>',
    ]
    levels = np.linspace(0, len(page.encoding.curve) - 1, 64).astype(int)
    for channel, dash in enumerate(("", "6 3", "2 3")):
        coded = _lightness(page.encoding.curve[levels, channel])
        found = _lightness(page.correction.curve[levels, channel])
        points = " ".join(
            f"{x + side * c / 100:.1f},{y + side * (1 - min(f, 100) / 100):.1f}"
            for c, f in zip(coded, found, strict=True)
        )
        parts.append(
            f'<polyline points="{points}" fill="none" stroke="#222" stroke-width="1.5" '
            f'stroke-dasharray="{dash}"/>'
        )
    parts.append(
        _say(
            x + side + 16,
            y + 20,
            "channels: red solid, green dashed, blue dotted",
            12,
        )
    )
    if page.correction.field is not None:
        words = f"light field divided out, scatter {page.correction.field.scatter:.1%}"
        parts.append(_say(x + side + 16, y + 42, words, 12))
    return parts


def _lightness(light: Any) -> np.ndarray:
    return xyz_to_lab(np.asarray(light, dtype=float)[:, None] * D65)[:, 0]


def _text_svg(lines: Sequence[str], x: int, y: int) -> list[str]:
    parts = [_say(x, y - 20, "What limits it", 15)]
    for line in lines:
        for piece in _wrapped(line):
            parts.append(_say(x, y, piece, 12))
            y += 20
        y += 4
    return parts


def _wrapped(line: str, width: int = 92) -> list[str]:
    import textwrap

    return textwrap.wrap(line, width)


def _say(x: float, y: float, words: str, size: int) -> str:
    return f'<text x="{x}" y="{y}" font-size="{size}">{escape(words)}</text>'
