"""Photos that were sent and are not filed yet: a folder ``incoming`` of the archive.

``incoming/<sha256>/`` holds the photo under its own name and ``draft.json``, what was marked and
told so far. It is on the disk before it is acknowledged, goes when the photo is filed, and else
after a day; one of liquor, which is never filed, after a week. `verify` looks only at what the
database names, so it is never a problem there.
"""

from __future__ import annotations

import hashlib
import json
import shutil
import threading
import time
import unicodedata
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from ingest.exif import clean_text
from swatchvault.archive.files import whole_file
from swatchvault.errors import ArchiveError

INCOMING = "incoming"
KEPT_S = 24 * 3600.0  # our choice
#: Of a photo of liquor: a pot's start is held against until its last look. Our choice.
LIQUOR_KEPT_S = 7 * KEPT_S
_DRAFT = "draft.json"
_NOT_IN_NAMES = set('/\\<>:"|?*')  # on one system or another
_lock = threading.Lock()


def safe_name(said: str) -> str:
    """A file name for what the sender calls the photo; it never leaves its folder."""
    plain = "".join("_" if c in _NOT_IN_NAMES else c for c in clean_text(said, 200))
    plain = unicodedata.normalize("NFC", plain).lstrip(". ")
    stem, dot, suffix = plain.rpartition(".")
    if not dot:
        stem, suffix = plain, ""
    while len(stem.encode("utf-8", "replace")) > 150:
        stem = stem[:-1]
    suffix = suffix if suffix.isascii() and suffix.isalnum() and len(suffix) <= 6 else ""
    name = f"{stem or 'photo'}.{suffix}" if suffix else (stem or "photo")
    return "photo.json_" if name == _DRAFT else name


def keep(folder: Path, name: str, data: bytes) -> str:
    """Put an upload on the disk, whole; return its sha256. The same bytes again change nothing.

    Raises ``PhotoError`` where it is no picture that can be measured: then nothing is kept.
    """
    from ingest.decode import read_photo

    sha256 = hashlib.sha256(data).hexdigest()
    place = folder / INCOMING / sha256
    with _lock:
        if waiting(folder, sha256) is not None:
            place.touch()
            return sha256
        try:
            place.mkdir(parents=True, exist_ok=True)
            target = place / safe_name(name)
            with whole_file(target) as file:
                file.write(data)
            photo = read_photo(target)
            _write(place, {"name": target.name, "taken_at": photo.taken_at})
        except OSError as error:
            shutil.rmtree(place, ignore_errors=True)
            why = error.strerror or str(error)
            raise ArchiveError(f"the photo cannot be stored ({why}): make room, send again") from (
                error
            )
        except BaseException:
            shutil.rmtree(place, ignore_errors=True)
            raise
    return sha256


def waiting(folder: Path, sha256: str) -> Path | None:
    """The photo of that name that waits to be filed, or ``None``."""
    place = folder / INCOMING / sha256
    name = draft(folder, sha256).get("name")
    path = place / str(name)
    return path if name and path.is_file() else None


def draft(folder: Path, sha256: str) -> dict[str, Any]:
    """What was marked and told of a photo so far; empty where nothing was."""
    try:
        said = json.loads((folder / INCOMING / sha256 / _DRAFT).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return said if isinstance(said, dict) else {}


def note(folder: Path, sha256: str, changes: Mapping[str, Any]) -> dict[str, Any]:
    """Keep more of what was told; returns all of it. What is ``None`` is told no longer."""
    with _lock:
        said = {k: v for k, v in {**draft(folder, sha256), **changes}.items() if v is not None}
        place = folder / INCOMING / sha256
        try:
            place.mkdir(parents=True, exist_ok=True)
            _write(place, said)
        except OSError as error:
            why = error.strerror or str(error)
            raise ArchiveError(f"what was told cannot be stored ({why}): make room") from error
    return said


def forget(folder: Path, sha256: str) -> None:
    """The photo is filed (or not wanted): nothing of it waits any more."""
    with _lock:
        shutil.rmtree(folder / INCOMING / sha256, ignore_errors=True)


def ends_at(folder: Path, place: Path, touched: float) -> float:
    """When a photo that waits is let go, in s; ``touched``: when something of it was told last."""
    liquor = draft(folder, place.name).get("liquor")
    return touched + (LIQUOR_KEPT_S if liquor else KEPT_S)


def clean_up(folder: Path) -> None:
    """Remove what waited longer than a day, or of liquor a week."""
    for place, touched in places(folder):
        if time.time() > ends_at(folder, place, touched):
            forget(folder, place.name)


def of_liquor(folder: Path, lot_id: int) -> list[tuple[str, dict[str, Any], float]]:
    """Photos of a pot's liquor in the order in which they came: sha256, draft, and when each is
    let go, in s."""
    found = []
    for place, touched in places(folder):
        said, ends = draft(folder, place.name), ends_at(folder, place, touched)
        here = said.get("liquor") == lot_id and ends >= time.time()
        if here and waiting(folder, place.name) is not None:
            found.append((place.name, said, ends))
    return sorted(found, key=lambda one: str(one[1].get("sent_at")))


def places(folder: Path) -> list[tuple[Path, float]]:
    """The folders of photos that wait, each with when something of it was told last, in s."""
    found = []
    with suppress(OSError):
        for place in (folder / INCOMING).iterdir():
            with suppress(OSError):  # gone meanwhile
                if place.is_dir():
                    found.append((place, place.stat().st_mtime))
    return found


def _write(place: Path, said: Mapping[str, Any]) -> None:
    with whole_file(place / _DRAFT) as file:
        file.write(json.dumps(said, ensure_ascii=False).encode("utf-8", "replace"))
