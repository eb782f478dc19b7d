"""Small yarns of the third renderer, for tests."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

from tests.tonality.third_draws import draw
from tests.tonality.third_dyeing import Dyeing
from tests.tonality.third_dyes import DYES, Recipe, Wool
from tests.tonality.third_yarn import Case, Drawn, draw_yarn

#: Px per mm at which they are drawn, and the wool.
PX, WOOL = 12.0, Wool(0.78, 0.2)


def only(name: str, amount: float = 1.0) -> Recipe:
    """A recipe of one dye."""
    return tuple(amount if n == name else 0.0 for n in DYES)


def small(form: str, kind: str = "semi-solid", hard: bool = False, px_per_mm: float = PX) -> Case:
    """A case of a few strands, quickly drawn."""
    case = draw(5, hard)
    recipes = (only("blue", 2.0), only("scarlet", 2.0))
    dyeing = Dyeing(WOOL, kind, recipes[: 1 if kind in ("solid", "semi-solid") else 2], 1.0)
    return replace(
        case,
        kind=kind,
        form=form,
        yarn=replace(case.yarn, width_mm=2.0),
        dyeing=dyeing,
        camera=replace(case.camera, px_per_mm=px_per_mm),
        size_mm=(24.0, 18.0),
        turned=False,
    )


@cache
def drawn(form: str, kind: str = "semi-solid", hard: bool = False) -> Drawn:
    """Its yarn, drawn once."""
    return draw_yarn(small(form, kind, hard))
