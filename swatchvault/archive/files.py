"""Photos and thumbs on disk: whole or not at all, and never altered once there."""

from __future__ import annotations

import hashlib
import io
import os
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO

from ingest.model import Array
from swatchvault.errors import ArchiveError

#: A file under this prefix was being written: left behind only by a program that was stopped.
PART_PREFIX = ".part-"

_CHUNK = 1 << 20
_THUMB_QUALITY = 85  # JPEG quality of thumbs; common practice, no source
_SUFFIX_BY_FORMAT = {
    "jpeg": ".jpg",
    "mpo": ".jpg",  # a JPEG with further pictures behind the first
    "png": ".png",
    "tiff": ".tif",
    "heif": ".heic",
    "heic": ".heic",
    "avif": ".avif",
    "webp": ".webp",
}


def suffix_of(photo_format: str, source: Path) -> str:
    """Lower-case suffix by content; a raw file keeps its maker's own, in lower case."""
    known = _SUFFIX_BY_FORMAT.get(photo_format.casefold())
    if known is not None:
        return known
    own = source.suffix.casefold()
    return own if own[1:].isascii() and own[1:].isalnum() and len(own) <= 6 else ".raw"


def hash_of(path: Path) -> str:
    """sha256 of a file's bytes, in hexadecimal."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def store_photo(photos: Path, source: Path, sha256: str, suffix: str) -> int:
    """Copy ``source`` to ``photos`` under its sha256; return its bytes.

    A whole copy that is there already is adopted, a damaged one replaced. Raises
    ``ArchiveError`` if the source is no longer the file that was measured, or cannot be copied.
    """
    target = photos / f"{sha256}{suffix}"
    try:
        if target.is_file() and hash_of(target) == sha256:
            return target.stat().st_size
        with whole_file(target) as file:
            if _copy(source, file) != sha256:
                raise ArchiveError(
                    f"{source} changed after it was measured: measure and add it again"
                )
        return target.stat().st_size
    except OSError as error:
        raise ArchiveError(
            f"cannot copy {source} into the archive: {error.strerror or error}"
        ) from error


def store_thumb(thumbs: Path, sha256: str, preview: Array) -> None:
    """Write ``preview`` (height, width, 3) uint8 sRGB as a JPEG, unless one is there."""
    from PIL import Image

    target = thumbs / f"{sha256}.jpg"
    if target.is_file() and target.stat().st_size > 0:
        return
    coded = io.BytesIO()
    Image.fromarray(preview).save(coded, "JPEG", quality=_THUMB_QUALITY)
    try:
        with whole_file(target) as file:
            file.write(coded.getvalue())
    except OSError as error:
        raise ArchiveError(f"cannot write the thumb {target}: {error.strerror or error}") from error


@contextmanager
def whole_file(target: Path) -> Iterator[IO[bytes]]:
    """A new file that appears under its name only when it is whole and on the disk."""
    number, part = _new_part(target.parent)
    try:
        with os.fdopen(number, "wb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
            if os.name != "nt":  # renamed while locked, so that nobody takes it for abandoned
                _put_in_place(part, target)
        if os.name == "nt":  # there an open file cannot be renamed, nor removed by others
            _put_in_place(part, target)
    except BaseException:
        with suppress(OSError):
            part.unlink(missing_ok=True)
        raise
    _sync_folder(target.parent)


def remove_abandoned(folder: Path) -> list[Path]:
    """Remove files in ``folder`` that a stopped program left half-written; return what went.

    A file that is being written is locked by its writer, and the system opens that lock however
    the writer ends; so this may run beside others at work. What cannot be removed is left.
    """
    gone = []
    for part in sorted(folder.glob(f"{PART_PREFIX}*")):
        with suppress(OSError):
            number = os.open(part, os.O_RDWR)
            try:
                _lock(number, wait=False)
                if os.name != "nt":
                    part.unlink()
            finally:
                os.close(number)
            if os.name == "nt":
                part.unlink()
            gone.append(part)
    return gone


def _new_part(folder: Path) -> tuple[int, Path]:
    """A new file, open, locked, and surely still there: descriptor and path."""
    while True:
        number, name = tempfile.mkstemp(prefix=PART_PREFIX, dir=folder)
        try:
            with suppress(OSError):  # a file system without locks: sweeping goes by age alone
                _lock(number, wait=True)
            if Path(name).exists():  # else taken for abandoned before it was locked
                return number, Path(name)
        except BaseException:
            os.close(number)
            raise
        os.close(number)


def _lock(number: int, *, wait: bool) -> None:
    """Lock an open file until it is closed; OSError if another holds it and ``wait`` is false."""
    if sys.platform == "win32":
        return  # an open file is safe from others by itself
    import fcntl

    fcntl.flock(number, fcntl.LOCK_EX if wait else fcntl.LOCK_EX | fcntl.LOCK_NB)


def _put_in_place(part: Path, target: Path) -> None:
    part.chmod(0o644)  # mkstemp makes files for one user only
    part.replace(target)


def _copy(source: Path, to: IO[bytes]) -> str:
    digest = hashlib.sha256()
    with source.open("rb") as file:
        while chunk := file.read(_CHUNK):
            digest.update(chunk)
            to.write(chunk)
    return digest.hexdigest()


def _sync_folder(folder: Path) -> None:
    """Bring the new name itself to the disk, where the system can (not on Windows)."""
    if os.name == "nt":
        return
    number = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(number)
    finally:
        os.close(number)
