"""The kinds of record that a file of recipes and lots holds, and how their values are checked.

What is not so raises ``SwatchvaultError``, which says where, what was found and what is needed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from swatchvault import notevalues as values
from swatchvault.errors import SwatchvaultError

_MOST_WHOLE = 1_000_000  # versions and steps are counted by hand; our choice


def counted(value: Any, where: str) -> int:
    """A whole number from 0 to a million."""
    number = values.whole_number(value, where)
    if not 0 <= number <= _MOST_WHOLE:
        raise SwatchvaultError(f"{where} is {number}: 0 to {_MOST_WHOLE} is needed")
    return number


def a_number(value: Any, where: str) -> float:
    """A finite number."""
    try:
        return values.number(value, where)
    except OverflowError as error:
        raise SwatchvaultError(f"{where} is too large a number") from error


@dataclass(frozen=True)
class Kind:
    """A kind of record: its fields by what they hold, those it needs, and what it can own."""

    name: str
    text: str = ""
    number: str = ""
    whole: str = ""
    truth: str = ""
    needed: str = ""
    inner: tuple[Kind, ...] = ()

    @property
    def readers(self) -> dict[str, Callable[[Any, str], Any]]:
        """Each field and how its value is checked."""
        return {
            **dict.fromkeys(self.text.split(), values.text),
            **dict.fromkeys(self.number.split(), a_number),
            **dict.fromkeys(self.whole.split(), counted),
            **dict.fromkeys(self.truth.split(), values.yes_or_no),
        }


@dataclass(frozen=True)
class Record:
    """One thing with what it owns; a field that is not known is not in ``facts``."""

    kind: str
    facts: Mapping[str, Any]
    inner: tuple[Record, ...] = ()

    def of(self, kind: str) -> tuple[Record, ...]:
        """What it owns of a kind, in order."""
        return tuple(r for r in self.inner if r.kind == kind)


_PART = Kind(
    "part",
    "name note",
    "share_percent",
    needed="name share_percent",
    inner=(
        Kind("planned dye", "dye", "depth_percent", needed="dye depth_percent"),
        Kind("planned step", "kind amount note", "temperature_c minutes", needed="kind"),
    ),
)
_LOT_INNER = (
    Kind("in the pot", "base", needed="base"),
    Kind("pot", "started_at ended_at bled handle success next_time"),
    Kind("planned from", "dye stock", needed="dye"),
    Kind("dye in", "dye amount pack stock", "amount_ml amount_g dye_g", "with_step", needed="dye"),
    Kind(
        "step",
        "kind at amount colour_left note",
        "temperature_c minutes ph amount_ml amount_g",
        "planned_step",
        needed="kind",
    ),
    Kind(
        "struck step",
        "kind at amount colour_left note struck_at",
        "temperature_c minutes ph",
        "number",
        needed="kind number struck_at",
        inner=(Kind("struck dye", "dye amount pack stock", needed="dye"),),
    ),
    Kind(
        "skein",
        "label base base_lot from_lot from_skein note",
        "grams_in grams_out",
        needed="label",
    ),
)

#: Every kind of record, in the order in which they are written.
KINDS: tuple[Kind, ...] = (
    Kind("spoons", number="tsp_ml tbsp_ml cup_ml"),
    Kind(
        "base",
        "name construction halo note",
        "price_per_kg",
        truth="superwash",
        needed="name",
        inner=(Kind("fibre", "fibre", "percent", needed="fibre percent"),),
    ),
    Kind("base lot", "base label received_on note", needed="base label"),
    Kind("dye", "name family note", needed="name"),
    Kind("dye pack", "dye code opened_on note", needed="dye code"),
    Kind(
        "stock",
        "dye code pack mixed_on left_seen_on note",
        "grams made_up_to_ml left_ml",
        needed="dye code grams made_up_to_ml",
    ),
    Kind("colourway", "name note", needed="name"),
    Kind(
        "recipe",
        "colourway base parent_base added_at note",
        "",
        "version parent",
        needed="colourway base version",
        inner=(_PART,),
    ),
    Kind(
        "lot",
        "code colourway overdyes dyed_on water note",
        "dry_g liquor_ml",
        "recipe_version",
        needed="code",
        inner=_LOT_INNER,
    ),
)


def _under(kinds: Iterable[Kind], owner: Kind | None = None) -> dict[str, tuple[Kind, Kind | None]]:
    found: dict[str, tuple[Kind, Kind | None]] = {}
    for kind in kinds:
        found |= {kind.name: (kind, owner), **_under(kind.inner, kind)}
    return found


#: Each kind by its name, with the kind that owns it.
OWNERS: Mapping[str, tuple[Kind, Kind | None]] = _under(KINDS)

#: The columns of the CSV.
COLUMNS = ("record", *dict.fromkeys(f for kind, _ in OWNERS.values() for f in kind.readers))


def checked(kind: Kind, facts: Mapping[str, Any], where: str) -> dict[str, Any]:
    """The facts as their kind holds them; ``None`` is not known."""
    told = {k: v for k, v in facts.items() if v is not None}
    for name in kind.needed.split():
        if name not in told:
            raise SwatchvaultError(f"{where} has no {name!r}: add it")
    return {k: kind.readers[k](v, f"{where}, {k}") for k, v in told.items()}
