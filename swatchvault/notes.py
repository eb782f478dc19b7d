"""Notes beside photos: ``photos.csv`` and ``studio.toml`` read into frozen data.

The format is our own. Every mistake is told in one line: file, line or table, key, what is
allowed. Nothing here knows of the archive's database; ``apply_notes`` there writes what was read.
"""

from __future__ import annotations

import csv
import io
import re
import tomllib
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

from swatchvault.archive.entities import Notes, PhotoNote
from swatchvault.errors import SwatchvaultError
from swatchvault.notetables import PHOTO, TABLES, photo_note, refuse_unknown
from swatchvault.typed_numbers import separator

PHOTOS_CSV = "photos.csv"
STUDIO_TOML = "studio.toml"


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
    """The rows of a photos.csv, its columns parted by commas or semicolons; blank lines are passed
    over. Raises :class:`SwatchvaultError`, with the line, for what cannot be read."""
    text = _text(path)
    parted = separator(text)
    mark = "comma" if parted == "," else "semicolon"
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=parted, strict=True)
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
                    f"a {mark} in double quotes"
                )
            told = {k: c.strip() for k, c in zip(header, cells, strict=True) if c.strip()}
            rows.append(photo_note(told, where))
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
    """The tables of a studio.toml. Raises :class:`SwatchvaultError` for what cannot be read."""
    try:
        text = _text(path)
        told = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SwatchvaultError(_not_read(path.name, text, str(error))) from error
    refuse_unknown(told, TABLES, path.name, "table")
    found: dict[str, tuple[Any, ...]] = {}
    for name, (field, read) in TABLES.items():
        tables = told.get(name, [])
        if not isinstance(tables, list):
            raise SwatchvaultError(f"{path.name}: write [[{name}]], with two brackets")
        found[field] = tuple(
            read(table, f"{path.name}, [[{name}]] {number}")
            for number, table in enumerate(tables, 1)
        )
    return Notes(**found)


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise SwatchvaultError(f"{path.name} is not UTF-8: save it again as UTF-8") from error
    except OSError as error:
        raise SwatchvaultError(f"cannot read {path}: {error.strerror or error}") from error


def _header(cells: list[str], where: str) -> list[str]:
    names = [cell.strip().casefold() for cell in cells]
    if len(names) == 1 and "\t" in names[0]:
        raise SwatchvaultError(
            f"{where}: the columns are not separated by commas or semicolons: save it so"
        )
    refuse_unknown(names, PHOTO.keys, where, "column")
    for name in names:
        if names.count(name) > 1:
            raise SwatchvaultError(f"{where}: column {name!r} is there twice: keep one")
    for needed in PHOTO.needed:
        if needed not in names:
            raise SwatchvaultError(f"{where}: there is no column {needed!r}: add it")
    return names


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
