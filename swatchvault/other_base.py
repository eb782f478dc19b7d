"""A recipe that came from another base: where from, and what to doubt until a lot is dyed."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping

from swatchvault.archive import Recipe, get_base, get_recipe
from swatchvault.archive.known import lots_on_base
from swatchvault.customary import SILK_C
from swatchvault.errors import SwatchvaultError


def origin_of(conn: sqlite3.Connection, recipe: Recipe) -> Recipe | None:
    """The version on another base that a recipe comes from through its parents, the nearest."""
    seen: set[int] = set()  # a damaged archive may hold a loop, which `verify` tells
    while recipe.parent is not None and recipe.version not in seen:
        seen.add(recipe.version)
        if recipe.parent_base is not None:
            return get_recipe(conn, recipe.colourway, recipe.parent_base, recipe.parent)
        recipe = get_recipe(conn, recipe.colourway, recipe.base, recipe.parent)
    return None


def other_base_lines(conn: sqlite3.Connection, recipe: Recipe) -> tuple[str, ...]:
    """What to know of a recipe that came from another base, a sentence each; else nothing.

    Until a lot of its colourway is on its base, the doubt of that is told, and what the base's
    other lots foretell of it where they can.
    """
    origin = origin_of(conn, recipe)
    if origin is None:
        return ()
    came = f"from version {origin.version} on {origin.base}"
    if lots_on_base(conn, recipe.colourway, recipe.base):
        return (came,)
    said = f"{came}; no lot of {recipe.colourway} on {recipe.base} yet: dye a trial"
    there, here = (get_base(conn, base).fibres for base in (origin.base, recipe.base))
    differ = fibres_differ((origin.base, there), (recipe.base, here))
    hottest = max(
        (s.temperature_c for p in recipe.parts for s in p.steps if s.temperature_c is not None),
        default=0.0,
    )
    more = (silk_words(there, here, hottest), _foretold(conn, recipe))
    return (said, differ, *(line for line in more if line))


def fibres_differ(
    there: tuple[str, Mapping[str, float]], here: tuple[str, Mapping[str, float]]
) -> str:
    """Why dye may be taken otherwise; bases by name with their fibres in %, none if not known.

    >>> fibres_differ(("Sock", {"wool": 100.0}), ("Lace", {"silk": 100.0}))
    'Lace is 100 % silk, Sock 100 % wool: other fibres take dye differently'
    >>> fibres_differ(("Sock", {"wool": 100.0}), ("Lace", {}))
    'another base takes dye differently'
    """
    (old, was), (new, now) = there, here
    if not was or not now or was == now:
        return "another base takes dye differently"
    return f"{new} is {_blend(now)}, {old} {_blend(was)}: other fibres take dye differently"


def silk_words(
    there: Mapping[str, float], here: Mapping[str, float], hottest_c: float
) -> str | None:
    """A word on heat where silk is new to a recipe, fibres in %; ``None`` where there is none.

    >>> silk_words({"wool": 100.0}, {"wool": 70.0, "silk": 30.0}, 90.0)
    'silk is customarily kept at 85 °C or under (common practice): this recipe goes to 90 °C'
    """
    had, has = (any("silk" in name.casefold() for name in fibres) for fibres in (there, here))
    if had or not has or hottest_c <= SILK_C:
        return None
    return (
        f"silk is customarily kept at {SILK_C:g} °C or under (common practice): this recipe goes "
        f"to {hottest_c:g} °C"
    )


def _blend(fibres: Mapping[str, float]) -> str:
    return ", ".join(f"{percent:g} % {fibre}" for fibre, percent in fibres.items())


def _foretold(conn: sqlite3.Connection, recipe: Recipe) -> str:
    """What `predict` says of it on its base, in a sentence; "" where it can say nothing."""
    from swatchvault.archive.dyed import dyed_on_base
    from swatchvault.colour_words import lab_words
    from swatchvault.foretell import foretell
    from swatchvault.knownbase import know_base

    if len(recipe.parts) != 1 or recipe.parts[0].share_percent < 100.0:
        return ""
    depths = {dye.dye: dye.depth_percent for dye in recipe.parts[0].dyes}
    try:
        found = foretell(know_base(dyed_on_base(conn, recipe.base)), depths)
    except SwatchvaultError:  # too few lots on it, or dyes that they have not seen
        return ""
    if not found.shade.inside:
        return ""
    colour = lab_words(found.shade.lab, found.shade.covariance)
    return (
        f"predicted on {found.known.title}: {colour}; 19 of 20 such pots should lie within "
        f"ΔE00 {found.shade.within_95:.1f} of it (kL = {found.known.k_l:g})"
    )
