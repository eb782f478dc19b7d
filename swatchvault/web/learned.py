"""What predictions on pages have in common: which lots are learned from, told with links."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from swatchvault.kinds import FORMS
from swatchvault.web.typed import number
from swatchvault.web.visit import RefusedError

if TYPE_CHECKING:
    from swatchvault.basemodel import Shade
    from swatchvault.foretell import Foretold
    from swatchvault.foretell_asked import LearnFrom
    from swatchvault.knownbase import KnownBase

Record = dict[str, Any]

#: Fields of which lots are learned from, and of the kL that is told.
LEARN_FIELDS = ("form", "overdyed", "k_l")


def learn_from(text: Callable[[str], str]) -> LearnFrom:
    """Which lots an address or form says are to be learned from."""
    from swatchvault.foretell_asked import LearnFrom

    form = text("form").strip()
    if form and form not in FORMS:
        raise RefusedError(f"the form is {form!r}: choose one from the list")
    typed = text("k_l").strip()
    k_l = number(typed, "kL") if typed else None
    if k_l is not None and k_l <= 0:
        raise RefusedError(f"kL is {typed}, and must be above 0")
    return LearnFrom(form or None, bool(text("overdyed")), k_l)


def dyes_in_address(depths: Mapping[str, float], **more: str) -> str:
    """The query string that fills a recipe's dyes in, as its form names them; "" where it has not
    so many rows."""
    from swatchvault.recipe_typed import DYE_ROWS

    used = [(dye, depth) for dye, depth in depths.items() if depth > 0]
    if len(used) > DYE_ROWS:
        return ""
    order = sorted(used, key=lambda d: -d[1])
    fields = [(name, value) for name, value in more.items() if value]
    for row, (dye, depth) in enumerate(order, 1):
        fields += [(f"dye{row}", dye), (f"depth{row}", f"{depth:.4g}")]
    return urlencode(fields)


def recipe_address(
    conn: sqlite3.Connection, base: str, depths: Mapping[str, float], came_from: str = ""
) -> str:
    """The address of a new recipe's form with a base and dyes filled in, else as the recipe of the
    number ``came_from`` has it; "" where the dyes do not fit into it."""
    from swatchvault.archive import find

    more = {"from": came_from, "base": str(find(conn, "base", base))}
    filled = dyes_in_address(depths, **more)
    return f"/recipe/new?{filled}" if filled else ""


def dyes_asked(text: Callable[[str], str]) -> tuple[tuple[str, str], ...]:
    """Rows of dye and depth as an address has them, blank ones left out."""
    from swatchvault.recipe_typed import DYE_ROWS

    rows = ((text(f"dye{n}").strip(), text(f"depth{n}").strip()) for n in range(1, DYE_ROWS + 1))
    return tuple(row for row in rows if any(row))


def shown_shade(shade: Shade) -> Record:
    """A predicted colour for a chip and its figures."""
    import numpy as np

    return {
        "lab": [float(v) for v in shade.lab],
        "u_lab": [float(v) for v in np.sqrt(np.diag(shade.covariance))],
        "inside": shade.inside,
        "why": shade.why,
    }


def shown_foretold(conn: sqlite3.Connection, found: Foretold, notes: Sequence[str]) -> Record:
    """A prediction with its sentences."""
    from swatchvault.foretell_words import away_words, shared_words, sure_words
    from swatchvault.knownbase import recipe_words

    inside = found.shade.inside
    return {
        **shown_shade(found.shade),
        "recipe": recipe_words(found.depths),
        "base": found.known.base,
        "sure": sure_words(found) if inside else "",
        "away": away_words(found),
        "shared": shared_words(found.known, found.shade.lab) if inside else "",
        "notes": list(notes),
        "rests": rests_on(conn, found.known),
    }


def rests_on(conn: sqlite3.Connection, known: KnownBase) -> Record:
    """What predictions of a base rest on: its lots and those left out, each with its number."""
    from swatchvault.archive.pages_find import lot_numbers
    from swatchvault.foretell_words import TRIAL_LINE, k_l_words

    numbers = lot_numbers(conn, [*known.lots, *known.left_out])
    return {
        "title": known.title,
        "form": known.form,
        "lots": [(code, numbers.get(code)) for code in known.lots],
        "left_out": [(code, numbers.get(code), why) for code, why in known.left_out.items()],
        "k_l": k_l_words(known),
        "trial": TRIAL_LINE,
    }
