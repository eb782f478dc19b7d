"""Notes beside photos: ``photos.csv`` and ``studio.toml`` read into frozen data.

The format is our own. Every mistake is told in one line: file, line or table, key, what is
allowed. Nothing here knows of the archive's database; ``apply_notes`` there writes what was read.
"""

from __future__ import annotations

import csv
import io
import re
import tomllib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path, PurePosixPath
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
    Notes,
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
from swatchvault.archive.schema_studio import FORMS
from swatchvault.errors import SwatchvaultError

PHOTOS_CSV = "photos.csv"
STUDIO_TOML = "studio.toml"

Read = Callable[[Any, str], Any]


def read_notes(path: Path | str) -> Notes:
    """Everything that ``photos.csv`` and ``studio.toml`` in a folder tell; both may be absent.

    Or what one such file tells, by whatever name, if ``path`` is a .csv or .toml file. Raises
    ``SwatchvaultError`` for a file that cannot be read, an unknown column, table or key, a value
    of the wrong kind, or a region told twice.
    """
    place = Path(path)
    if place.suffix.casefold() == ".csv":
        studio, table = None, place
    elif place.suffix.casefold() == ".toml":
        studio, table = place, None
    else:
        studio, table = place / STUDIO_TOML, place / PHOTOS_CSV
        studio, table = (p if p.exists() else None for p in (studio, table))
    notes = Notes() if studio is None else read_studio(studio)
    photos = (*(() if table is None else read_photos(table)), *notes.photos)
    _refuse_twice(photos)
    return replace(notes, photos=photos)


def read_photos(path: Path) -> tuple[PhotoNote, ...]:
    """The rows of a photos.csv; blank lines are passed over."""
    reader = csv.reader(io.StringIO(_text(path), newline=""), strict=True)
    rows: list[PhotoNote] = []
    header: list[str] = []
    try:
        for cells in reader:
            where = f"{path.name}, line {reader.line_num}"
            if not any(cell.strip() for cell in cells):
                continue
            if not header:
                header = _header(cells, where)
                continue
            if len(cells) != len(header):
                raise SwatchvaultError(
                    f"{where}: {len(cells)} values for {len(header)} columns: put text that holds "
                    "a comma in double quotes"
                )
            told = {k: c.strip() for k, c in zip(header, cells, strict=True) if c.strip()}
            rows.append(_photo(told, where))
    except csv.Error as error:
        raise SwatchvaultError(f"{path.name}, line {reader.line_num}: {error}") from error
    if not header:
        raise SwatchvaultError(f"{path.name} is empty: its first line names the columns")
    return tuple(rows)


def _not_read(name: str, text: str, error: str) -> str:
    """What a TOML reader stumbled over, with the line and what it is most likely to be."""
    found = re.search(r"at line (\d+)", error)
    lines = text.splitlines()
    number = int(found[1]) if found else len(lines)
    line = lines[number - 1].strip() if 0 < number <= len(lines) else ""
    hint = "look for a missing quote, bracket or ="
    if re.search(r"=\s*[-+]?\d+,\d", line):
        hint = "write numbers with a point: 0.5"
    elif line.count("{") != line.count("}"):
        hint = "what stands between { and } must stay on one line"
    elif re.fullmatch(r"[^=\[#]+", line):
        hint = "a line is NAME = VALUE; texts stand in quotes"
    return f"{name}, line {number} cannot be read: {line[:80]!r}; {hint}"


def read_studio(path: Path) -> Notes:
    """The tables of a studio.toml."""
    try:
        text = _text(path)
        told = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SwatchvaultError(_not_read(path.name, text, str(error))) from error
    _refuse_unknown(told, _TABLES, path.name, "table")
    found: dict[str, tuple[Any, ...]] = {}
    for name, (field, read) in _TABLES.items():
        tables = told.get(name, [])
        if not isinstance(tables, list):
            raise SwatchvaultError(f"{path.name}: write [[{name}]], with two brackets")
        found[field] = tuple(
            read(table, f"{path.name}, [[{name}]] {number}")
            for number, table in enumerate(tables, 1)
        )
    return Notes(**found)


# --- tables ---


@dataclass(frozen=True)
class _Table:
    """How to read one kind of table: what it makes, its keys, and those it cannot do without."""

    make: Callable[..., Any]
    keys: Mapping[str, Read]
    needed: tuple[str, ...] = ()
    renamed: tuple[tuple[str, str], ...] = ()

    def __call__(self, value: Any, where: str) -> Any:
        if not isinstance(value, dict):
            raise SwatchvaultError(f"{where} is {value!r}: a table with keys is needed")
        told: dict[str, Any] = value
        _refuse_unknown(told, self.keys, where, "key")
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


_PLANNED_DYE = _Table(PlannedDye, _keys("dye", "depth_percent"), ("dye", "depth_percent"))
_PLANNED_STEP = _Table(
    PlannedStep, _keys("kind amount note", "temperature_c minutes"), needed=("kind",)
)
_PART = _Table(
    RecipePart,
    _keys("name note", "share_percent", dyes=_each(_PLANNED_DYE), steps=_each(_PLANNED_STEP)),
)
_DYE_IN = _Table(DyeIn, _keys("dye amount pack stock"), ("dye",))
_POT_STEP = _Table(
    PotStep,
    _keys("kind amount colour_left note", "temperature_c minutes ph", at=values.moment),
    ("kind",),
)
_SKEIN = _Table(
    Skein, _keys("label base base_lot from_lot from_skein note", "grams_in grams_out"), ("label",)
)
_PHOTO_TEXT = "photo region swatch colourway base lot skein base_lot form light setup note"
_PHOTO = _Table(
    PhotoNote,
    _keys(_PHOTO_TEXT, dry=values.yes_or_no, locked=values.yes_or_no),
    ("photo", "swatch"),
)


def _photo(told: Mapping[str, Any], where: str) -> PhotoNote:
    note: PhotoNote = _PHOTO(dict(told), where)
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


#: Table name in studio.toml -> (field of Notes, how one of them is read).
_TABLES: Mapping[str, tuple[str, Read]] = {
    "base": (
        "bases",
        _Table(
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
        _Table(BaseLot, _keys("base label note", received_on=values.day), ("base", "label")),
    ),
    "dye": ("dyes", _Table(Dye, _keys("name family note"), ("name",))),
    "dye_pack": (
        "packs",
        _Table(DyePack, _keys("dye code note", opened_on=values.day), ("dye", "code")),
    ),
    "stock": (
        "stocks",
        _Table(
            Stock,
            _keys(
                "dye code pack note",
                "grams made_up_to_ml left_ml",
                mixed_on=values.day,
                left_seen_on=values.day,
            ),
            ("dye", "code", "grams", "made_up_to_ml"),
        ),
    ),
    "colourway": ("colourways", _Table(Colourway, _keys("name note"), ("name",))),
    "recipe": (
        "recipes",
        _Table(
            Recipe,
            _keys(
                "colourway base note",
                version=values.whole_number,
                parent=values.whole_number,
                parts=_each(_PART),
            ),
            ("colourway", "base", "version"),
        ),
    ),
    "lot": (
        "lots",
        _Table(
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
        _Table(
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
        _Table(Setup, _keys("name phone light reference note", locked=values.yes_or_no), ("name",)),
    ),
    "master": (
        "masters",
        _Table(
            Master,
            _keys("colourway base form swatch reason", "tolerance k_l", since=values.moment),
            ("colourway", "base", "form", "swatch"),
        ),
    ),
    "photo": ("photos", _photo),
}


# --- files and names ---


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise SwatchvaultError(f"{path.name} is not UTF-8: save it again as UTF-8") from error
    except OSError as error:
        raise SwatchvaultError(f"cannot read {path}: {error.strerror or error}") from error


def _header(cells: list[str], where: str) -> list[str]:
    names = [cell.strip().casefold() for cell in cells]
    if len(names) == 1 and any(mark in names[0] for mark in ";\t"):
        raise SwatchvaultError(f"{where}: the columns are not separated by commas: save it so")
    _refuse_unknown(names, _PHOTO.keys, where, "column")
    for name in names:
        if names.count(name) > 1:
            raise SwatchvaultError(f"{where}: column {name!r} is there twice: keep one")
    for needed in _PHOTO.needed:
        if needed not in names:
            raise SwatchvaultError(f"{where}: there is no column {needed!r}: add it")
    return names


def _refuse_unknown(names: Iterable[str], allowed: Iterable[str], where: str, what: str) -> None:
    known = list(allowed)
    for name in names:
        if name not in known:
            raise SwatchvaultError(
                f"{where}: unknown {what} {name!r}; allowed are {', '.join(known)}"
            )


def _refuse_twice(photos: Iterable[PhotoNote]) -> None:
    """One row per region; a photo with several rows names the region in each."""
    seen: dict[str, dict[str | None, PhotoNote]] = {}
    for row in photos:
        regions = seen.setdefault(row.photo, {})
        if row.region in regions:
            told = "its only swatch" if row.region is None else f"region {row.region!r}"
            raise SwatchvaultError(
                f"{row.where}: {told} of photo {row.photo!r} is told already in "
                f"{regions[row.region].where}: keep one, or name the regions"
            )
        regions[row.region] = row
        if None in regions and len(regions) > 1:
            raise SwatchvaultError(
                f"{row.where}: photo {row.photo!r} has several rows: name the region in each"
            )
