"""Values of a marks file, checked one by one: places, outlines, reflectances, colours, numbers.

Each takes a value as JSON gives it, and raises :class:`MarksError` where it is none. ``where``
names the value in what the error says.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from ingest.errors import MarksError
from ingest.model import Lab, Point, Polygon

#: Area of a region, as a share of the picture, under which it cannot be meant. Our choice.
_SMALLEST_AREA = 1e-6
_MOST_CORNERS = 400  # our choice; the crossing test grows with its square
#: C*ab over which no grey card or step lies, however yellowed. Our choice.
CARD_CHROMA = 20.0
#: Density over which no step of a wedge on paper or film lies. Our choice.
_MOST_DENSITY = 4.0
#: No place, reflectance or length in millimetres is beyond this. Our choice.
_LARGEST_NUMBER = 1e6


def polygon(value: Any, where: str) -> Polygon:
    """Three corners or more, in order around, that hold an area; ``None`` is none."""
    points = tuple(point(p, where) for p in listed(value, where))
    if len(points) < 3:
        raise MarksError(f"{where}: found {len(points)} corners; needed at least 3")
    if len(points) > _MOST_CORNERS:
        raise MarksError(f"{where}: found {len(points)} corners; up to {_MOST_CORNERS} will do")
    if _crosses(points):
        raise MarksError(f"{where}: its outline crosses itself; give the corners in order around")
    if abs(_area(points)) < _SMALLEST_AREA:
        raise MarksError(f"{where}: its outline holds no area; mark a larger region")
    return points


def point(value: Any, where: str) -> Point:
    """[x, y] in fractions of the picture's width and height, each 0 to 1."""
    pair = listed(value, where)
    if len(pair) != 2:
        raise MarksError(f"{where}: a point is [x, y]; found {len(pair)} numbers")
    x, y = (number(v, where) for v in pair)
    if not (0.0 <= x <= 1.0 and 0.0 <= y <= 1.0):
        raise MarksError(
            f"{where}: point ({x:g}, {y:g}) lies outside the picture; "
            "points are fractions of width and height, 0 to 1"
        )
    return x, y


def reflectance(value: Any, where: str) -> float:
    """A luminous reflectance, above 0 and up to 1."""
    y = number(value, where)
    if not 0.0 < y <= 1.0:
        raise MarksError(f"{where}: y is {y:g}; {no_reflectance([y])}")
    return y


def no_reflectance(values: Sequence[float]) -> str:
    """What is wrong with values of which one is no reflectance, and how that is written: per cent
    as a share, a density as the light that it lets back.

    >>> no_reflectance([90.0])
    'a reflectance lies above 0 and up to 1: 90 % is 0.9'
    >>> no_reflectance([0.05, 1.05])
    'a reflectance lies above 0 and up to 1: 1.05 % is 0.0105, and a density of 1.05 is 0.0891'
    """
    said = "a reflectance lies above 0 and up to 1"
    over = next((v for v in values if 1.0 < v <= 100.0), None)
    if over is None:
        return f"{said} (0.18)"
    density = f", and a density of {over:g} is {10.0**-over:.3g}" if over <= _MOST_DENSITY else ""
    return f"{said}: {over:g} % is {over / 100.0:g}{density}"


def colour(value: Any, where: str) -> Lab:
    """[L, a, b] of a surface: L* above 0 and up to 100, a* and b* from -128 to 128."""
    triple = listed(value, where)
    if len(triple) != 3:
        raise MarksError(f"{where}: lab_d50 is [L, a, b]; found {len(triple)} numbers")
    lightness, a, b = (number(v, where) for v in triple)
    if not (0.0 < lightness <= 100.0 and abs(a) <= 128.0 and abs(b) <= 128.0):
        raise MarksError(f"{where}: lab_d50 ({lightness:g}, {a:g}, {b:g}) is no surface colour")
    return lightness, a, b


def grey(value: Any, where: str) -> Lab:
    """A :func:`colour` whose C*ab is :data:`CARD_CHROMA` at most."""
    lightness, a, b = colour(value, where)
    if math.hypot(a, b) > CARD_CHROMA:
        raise MarksError(
            f"{where}: lab_d50 ({lightness:g}, {a:g}, {b:g}) is no grey; a card and steps have "
            "a and b near 0"
        )
    return lightness, a, b


def number(value: Any, where: str) -> float:
    """A finite number, of 1e6 at most either way; true and false are none."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise MarksError(f"{where}: {value!r:.40} is not a number")
    # A whole number in JSON may be too long for a float.
    if not abs(value) <= _LARGEST_NUMBER:
        raise MarksError(f"{where}: {value!r:.40} is not a number that marks can hold")
    return float(value)


def listed(value: Any, where: str) -> Sequence[Any]:
    """A list; an absent one is empty."""
    if value is None:
        return ()
    if isinstance(value, str) or not isinstance(value, Sequence):
        raise MarksError(f"{where}: expected a list, found {value!r:.40}")
    return value


def known_keys_only(item: Mapping[str, Any], allowed: set[str], where: str) -> None:
    """Refuse a key that is not ``allowed``."""
    unknown = sorted(set(item) - allowed)
    if unknown:
        known = ", ".join(sorted(allowed))
        raise MarksError(f"{where}: unknown key {unknown[0]!r}; known are {known}")


def _area(points: Polygon) -> float:
    x, y = np.asarray(points, dtype=float).T
    return 0.5 * float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))


def _turn(a: Point, b: Point, c: Point) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def is_convex(points: Polygon) -> bool:
    """Whether an outline turns the same way at every corner."""
    n = len(points)
    turns = [_turn(points[i], points[(i + 1) % n], points[(i + 2) % n]) for i in range(n)]
    return all(t > 0 for t in turns) or all(t < 0 for t in turns)


def _crosses(points: Polygon) -> bool:
    n = len(points)
    for i in range(n):
        for j in range(i + 2, n):
            if i == 0 and j == n - 1:
                continue
            a, b, c, d = points[i], points[(i + 1) % n], points[j], points[(j + 1) % n]
            if _turn(a, b, c) * _turn(a, b, d) < 0 and _turn(c, d, a) * _turn(c, d, b) < 0:
                return True
    return False
