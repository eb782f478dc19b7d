"""The tables of ``studio.toml``: which keys each has, how a value is read, what it makes.

A row of ``photos.csv`` is one of them. Every mistake is told in one line: where, what, what is
allowed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import PurePosixPath
from typing import Any

from swatchvault import notevalues as values
from swatchvault.archive.entities import (
    Base,
    BaseLot,
    Colourway,
    Dye,
    DyeIn,
    DyePack,
    Lot,
    Master,
    OwnedReference,
    PhotoNote,
    PlannedDye,
    PlannedStep,
    PotStep,
    Recipe,
    RecipePart,
    Setup,
    Skein,
    Stock,
)
from swatchvault.archive.schema_photos import LIGHTS
from swatchvault.dyeing import check_left, stock_strength_percent
from swatchvault.errors import AmountError, SwatchvaultError
from swatchvault.kinds import FORMS

Read = Callable[[Any, str], Any]


def refuse_unknown(names: Iterable[str], allowed: Iterable[str], where: str, what: str) -> None:
    """Raise ``SwatchvaultError`` for a name that is none of the allowed."""
    known = list(allowed)
    for name in names:
        if name not in known:
            raise SwatchvaultError(
                f"{where}: unknown {what} {name!r}; allowed are {', '.join(known)}"
            )


@dataclass(frozen=True)
class Table:
    """How to read one kind of table: what it makes, its keys, and those it cannot do without."""

    make: Callable[..., Any]
    keys: Mapping[str, Read]
    needed: tuple[str, ...] = ()
    renamed: tuple[tuple[str, str], ...] = ()

    def __call__(self, value: Any, where: str) -> Any:
        if not isinstance(value, dict):
            raise SwatchvaultError(f"{where} is {value!r}: a table with keys is needed")
        told: dict[str, Any] = value
        refuse_unknown(told, self.keys, where, "key")
        for key in self.needed:
            if key not in told:
                raise SwatchvaultError(f"{where} has no {key!r}: add it")
        names = dict(self.renamed)
        return self.make(
            **{names.get(k, k): self.keys[k](v, f"{where}, {k}") for k, v in told.items()}
        )


def _each(read: Read) -> Read:
    def read_all(value: Any, where: str) -> tuple[Any, ...]:
        if not isinstance(value, list):
            raise SwatchvaultError(f"{where} is {value!r}: a list of tables is needed")
        return tuple(read(v, f"{where} {number}") for number, v in enumerate(value, 1))

    return read_all


def _keys(text: str = "", number: str = "", **others: Read) -> dict[str, Read]:
    """Keys of a table by the kind of their value."""
    return {
        **dict.fromkeys(text.split(), values.text),
        **dict.fromkeys(number.split(), values.number),
        **others,
    }


_PLANNED_DYE = Table(PlannedDye, _keys("dye", "depth_percent"), ("dye", "depth_percent"))
_PLANNED_STEP = Table(
    PlannedStep, _keys("kind amount note", "temperature_c minutes"), needed=("kind",)
)
_PART = Table(
    RecipePart,
    _keys("name note", "share_percent", dyes=_each(_PLANNED_DYE), steps=_each(_PLANNED_STEP)),
)
_DYE_IN = Table(DyeIn, _keys("dye amount pack stock"), ("dye",))
_POT_STEP = Table(
    PotStep,
    _keys("kind amount colour_left note", "temperature_c minutes ph", at=values.moment),
    ("kind",),
)
_SKEIN = Table(
    Skein, _keys("label base base_lot from_lot from_skein note", "grams_in grams_out"), ("label",)
)
_PHOTO_TEXT = "photo region swatch colourway base lot skein base_lot form light setup note"
PHOTO = Table(
    PhotoNote,
    _keys(_PHOTO_TEXT, dry=values.yes_or_no, locked=values.yes_or_no),
    ("photo", "swatch"),
)


def photo_note(told: Mapping[str, Any], where: str) -> PhotoNote:
    """What one row tells of a photo. Raises ``SwatchvaultError`` for a name outside the folder."""
    note: PhotoNote = PHOTO(dict(told), where)
    inside = PurePosixPath(note.photo.replace("\\", "/"))
    if inside.is_absolute() or ".." in inside.parts or ":" in inside.parts[0]:
        raise SwatchvaultError(
            f"{where}: photo {note.photo!r} lies outside the folder of the notes: name a file in it"
        )
    light, form = (None if v is None else v.casefold() for v in (note.light, note.form))
    if light not in (None, *LIGHTS):
        raise SwatchvaultError(
            f"{where}: light is {light!r}: daylight, other, black light or blank is needed"
        )
    if form not in (None, *FORMS):
        raise SwatchvaultError(f"{where}: form is {form!r}: {', '.join(FORMS)} or blank is needed")
    return replace(note, photo=str(inside), light=light, form=form, where=where)


_STOCK = Table(
    Stock,
    _keys(
        "dye code pack note",
        "grams made_up_to_ml left_ml",
        mixed_on=values.day,
        left_seen_on=values.day,
    ),
    ("dye", "code", "grams", "made_up_to_ml"),
)


def _stock(value: Any, where: str) -> Stock:
    """What one table tells of a stock. Raises ``SwatchvaultError`` for one of more dye than
    solution, or of which more is left than was mixed, as by a slip of the point."""
    stock: Stock = _STOCK(value, where)
    try:
        stock_strength_percent(stock.grams, stock.made_up_to_ml)
        check_left(stock.left_ml or 0.0, stock.made_up_to_ml)
    except AmountError as error:
        raise SwatchvaultError(f"{where}: {error}") from error
    return stock


#: Table name in studio.toml -> (field of Notes, how one of them is read).
TABLES: Mapping[str, tuple[str, Read]] = {
    "base": (
        "bases",
        Table(
            Base,
            _keys(
                "name construction halo note",
                "price_per_kg",
                fibres=values.fibres,
                superwash=values.yes_or_no,
            ),
            ("name",),
        ),
    ),
    "base_lot": (
        "base_lots",
        Table(BaseLot, _keys("base label note", received_on=values.day), ("base", "label")),
    ),
    "dye": ("dyes", Table(Dye, _keys("name family note"), ("name",))),
    "dye_pack": (
        "packs",
        Table(DyePack, _keys("dye code note", opened_on=values.day), ("dye", "code")),
    ),
    "stock": ("stocks", _stock),
    "colourway": ("colourways", Table(Colourway, _keys("name note"), ("name",))),
    "recipe": (
        "recipes",
        Table(
            Recipe,
            _keys(
                "colourway base parent_base note",
                version=values.whole_number,
                parent=values.whole_number,
                parts=_each(_PART),
            ),
            ("colourway", "base", "version"),
        ),
    ),
    "lot": (
        "lots",
        Table(
            Lot,
            _keys(
                "code colourway overdyes water note",
                "dry_g liquor_ml",
                base=values.texts,
                recipe_version=values.whole_number,
                dyed_on=values.day,
                dyes_in=_each(_DYE_IN),
                steps=_each(_POT_STEP),
                skeins=_each(_SKEIN),
            ),
            ("code", "base"),
            (("base", "bases"),),
        ),
    ),
    "reference": (
        "references",
        Table(
            OwnedReference,
            _keys(
                "name kind edition source note",
                "tolerance_delta_e",
                y=values.numbers,
                lab_d50=values.labs,
            ),
            ("name", "kind"),
        ),
    ),
    "setup": (
        "setups",
        Table(Setup, _keys("name phone light reference note", locked=values.yes_or_no), ("name",)),
    ),
    "master": (
        "masters",
        Table(
            Master,
            _keys("colourway base form swatch reason", "tolerance k_l", since=values.moment),
            ("colourway", "base", "form", "swatch"),
        ),
    ),
    "photo": ("photos", photo_note),
}
