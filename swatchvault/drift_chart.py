"""A colourway's lots over time drawn as a control chart: figures of :mod:`swatchvault.drift`."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from swatchvault import svg_text
from swatchvault.drift import AXES, Course, LotFacts
from swatchvault.maps import svg_start, svg_words

#: What the figures of a course are in, and what its bars are.
COURSE_UNITS = (
    "In ΔE00 about the mean of the lots; up is lighter or brighter.",
    "Bar: ± one standard uncertainty of the lot's photos.",
)


def course_svg(course: Course, title: str = "") -> str:
    """The control chart: lightness, chroma and hue of each lot, the moving range, and changes."""
    step = max(46, min(90, 900 // max(len(course.lots), 1)))
    left, height, top = 120, 120, 50
    width = left + step * len(course.lots) + 150
    rows = [*range(3), 3]
    parts = [svg_start(width, top + len(rows) * (height + 26) + 122), svg_words(12, 24, title, 16)]
    xs = [left + step * (i + 0.5) for i in range(len(course.lots))]
    bottom = top + len(rows) * (height + 26) - 26
    for number, change in enumerate(course.changes):
        x = xs[change.lot] - step / 2
        parts.append(
            f'<path d="M{x:.1f} {top}V{bottom}" stroke="#777" stroke-dasharray="2 4"/>'
            + _change(x, bottom + 50 + 15 * (number % 4), change.what, width)
        )
    for axis in range(3):
        at = top + axis * (height + 26)
        parts += _strip(course, axis, xs, at, height, (left, step))
    parts += _range_strip(course, xs, top + 3 * (height + 26), height, (left, step))
    for x, lot in zip(xs, course.lots, strict=True):
        parts.append(svg_words(x, bottom + 18, lot.lot, 11, "middle"))
        parts.append(svg_words(x, bottom + 32, _short(lot), 10, "middle"))
    parts += [
        svg_words(12, bottom + 118 + 15 * i, words, 11) for i, words in enumerate(COURSE_UNITS)
    ]
    return "\n".join([*parts, "</svg>"])


def _short(lot: LotFacts) -> str:
    """Its day without the century; in brackets where it is that of its first photo."""
    day = (lot.when or "")[2:10]
    return f"({day})" if day and lot.by_photo else day


def _change(x: float, y: float, what: str, width: float) -> str:
    """What changed, beside its line: on the left of it where the right has no room."""
    left = x + 2 + svg_text.width(what, 11) > width and x > width / 2
    what = svg_text.cut(what, (x if left else width - x) - 4, 11)
    return svg_words(x - 2, y, what, 11, "end") if left else svg_words(x + 2, y, what, 11)


def _strip(
    course: Course, axis: int, xs: list[float], top: float, height: float, grid: tuple[float, float]
) -> list[str]:
    values, middle, sigma = course.values[:, axis], course.middle[axis], course.sigma[axis]
    reach = max(float(np.abs(values - middle).max()), 3.0 * float(sigma), 0.2) * 1.15

    def y(value: float) -> float:
        return top + height / 2 - (value - float(middle)) / reach * height / 2

    marks = [(0.0, "middle"), (3.0, "limit"), (-3.0, "limit")]
    parts = _frame(AXES[axis], xs, top, height, grid)
    for factor, word in marks:
        parts.append(_level(y(middle + factor * sigma), word, factor * float(sigma), xs, grid))
    parts.append(_line(xs, [y(v) for v in values]))
    for x, v, u in zip(xs, values, course.u, strict=True):
        if np.isfinite(u):
            parts.append(_whisker(x, y(v + u), y(v - u), (top, top + height)))
    broken = {b.lot for b in course.broken if b.axis == AXES[axis] and b.rule != "range"}
    parts += [_dot(x, y(v), i in broken) for i, (x, v) in enumerate(zip(xs, values, strict=True))]
    return parts


def _range_strip(
    course: Course, xs: list[float], top: float, height: float, grid: tuple[float, float]
) -> list[str]:
    """The moving range of the three axes together, as a share of each one's own limit."""
    limits = np.where(course.range_limit > 0.0, course.range_limit, np.inf)
    shares = (course.ranges / limits).max(axis=1)
    reach = max(1.0, float(shares.max())) * 1.15

    def y(value: float) -> float:
        return top + height - value / reach * height

    parts = _frame("step from last", xs, top, height, grid)
    parts.append(_level(y(1.0), "limit", None, xs, grid))
    parts.append(_line(xs[1:], [y(v) for v in shares]))
    parts += [_dot(x, y(v), bool(v > 1.0)) for x, v in zip(xs[1:], shares, strict=True)]
    return parts


def _frame(
    name: str, xs: list[float], top: float, height: float, grid: tuple[float, float]
) -> list[str]:
    left, step = grid
    width = step * len(xs)
    return [
        f'<rect x="{left}" y="{top}" width="{width}" height="{height}" fill="#f6f6f4" '
        'fill-opacity="0.7"/>',
        svg_words(12, top + height / 2 + 4, name, 13),
    ]


def _level(
    y: float, word: str, value: float | None, xs: list[float], grid: tuple[float, float]
) -> str:
    left, step = grid
    dash = "" if word == "middle" else ' stroke-dasharray="7 4"'
    label = word if not value else f"{word} {value:+.2f}"
    end = left + step * len(xs)
    line = f'<path d="M{left} {y:.1f}H{end}" stroke="#555" stroke-width="0.9"{dash}/>'
    return line + svg_words(end + 6, y + 4, label, 11)


def _whisker(x: float, high: float, low: float, strip: tuple[float, float]) -> str:
    """The doubt of a dot: a bar with an end at each ± that lies in the strip."""
    first, last = max(high, strip[0]), min(low, strip[1])
    ends = "".join(f"M{x - 4:.1f} {y:.1f}h8" for y in (high, low) if strip[0] <= y <= strip[1])
    return (
        f'<path d="M{x:.1f} {first:.1f}V{last:.1f}{ends}" fill="none" stroke="#777" '
        'stroke-width="1"/>'
    )


def _line(xs: Sequence[float], ys: Sequence[float]) -> str:
    points = " ".join(f"{x:.1f},{y:.1f}" for x, y in zip(xs, ys, strict=True))
    return f'<polyline points="{points}" fill="none" stroke="#222" stroke-width="1.2"/>'


def _dot(x: float, y: float, broken: bool) -> str:
    if broken:  # a filled square: told without colour
        return f'<rect x="{x - 5:.1f}" y="{y - 5:.1f}" width="10" height="10" fill="#111"/>'
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" fill="#fff" stroke="#222" stroke-width="1.2"/>'
