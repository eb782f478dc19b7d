"""Photos and thumbs on disk: whole or not at all, and never altered once there."""

from __future__ import annotations

import hashlib
import io
import os
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from typing import IO, Any

from ingest.model import Array
from swatchvault.errors import ArchiveError

#: A file under this prefix was being written: left behind only by a program that was stopped.
PART_PREFIX = ".part-"

#: Digits of a photo's sha256 that name it; fewer could be a file's name. Our choice.
LEAST_DIGITS = 8

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


def is_digest(text: str) -> bool:
    """Whether text, in lower case, can be the beginning of a photo's sha256."""
    return len(text) >= LEAST_DIGITS and not set(text) - set("0123456789abcdef")


def hash_of(path: Path) -> str:
    """sha256 of a file's bytes, in hexadecimal."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def store_picture(
    photos: Path, thumbs: Path, source: Path, sha256: str, suffix: str, preview: Array
) -> int:
    """Copy ``source`` to ``photos`` and write its thumb, both under its sha256; return its bytes.

    ``preview``: (height, width, 3) uint8 sRGB. A whole copy or thumb that is there already is
    adopted, a damaged copy replaced. Raises ``ArchiveError`` if the source is no longer the file
    that was measured, or one of the two cannot be written; then neither appears.
    """
    copy, thumb = photos / f"{sha256}{suffix}", thumbs / f"{sha256}.jpg"
    try:
        wanted = [] if copy.is_file() and hash_of(copy) == sha256 else [copy]
        if not (thumb.is_file() and thumb.stat().st_size > 0):
            wanted.append(thumb)
        with whole_files(*wanted) as files:
            for target, file in zip(wanted, files, strict=True):
                if target == thumb:
                    file.write(_jpeg(preview))
                elif _copy(source, file) != sha256:
                    raise ArchiveError(
                        f"{source} changed after it was measured: measure and add it again"
                    )
        return copy.stat().st_size
    except OSError as error:
        raise ArchiveError(
            f"cannot copy {source} into the archive: {error.strerror or error}"
        ) from error


def _jpeg(preview: Array) -> bytes:
    from PIL import Image

    coded = io.BytesIO()
    Image.fromarray(preview).save(coded, "JPEG", quality=_THUMB_QUALITY)
    return coded.getvalue()


@contextmanager
def whole_file(target: Path) -> Iterator[IO[bytes]]:
    """A new file that appears under its name only when it is whole and on the disk."""
    with whole_files(target) as (file,):
        yield file


@contextmanager
def whole_files(*targets: Path) -> Iterator[list[IO[bytes]]]:
    """New files that appear under their names only when all are whole and on the disk.

    They are brought to the disk at the same time: waiting for it is most of what filing costs.
    """
    files: list[IO[bytes]] = []
    parts: list[Path] = []
    try:
        with ExitStack() as opened:
            for target in targets:
                number, part = _new_part(target.parent)
                parts.append(part)
                files.append(opened.enter_context(os.fdopen(number, "wb")))
            yield files
            for file in files:
                file.flush()
            _at_once(os.fsync, [file.fileno() for file in files])
            if os.name != "nt":  # renamed while locked, so that nobody takes it for abandoned
                _put_in_place(parts, targets)
        if os.name == "nt":  # there an open file cannot be renamed, nor removed by others
            _put_in_place(parts, targets)
    except BaseException:
        for part in parts:
            with suppress(OSError):
                part.unlink(missing_ok=True)
        raise
    _at_once(_sync_folder, list({target.parent for target in targets}))


def _at_once(work: Callable[[Any], None], items: Sequence[Any]) -> None:
    """Do the work on every item, the first in this thread and the others beside it."""
    from concurrent.futures import ThreadPoolExecutor

    if len(items) < 2:
        for item in items:
            work(item)
        return
    with ThreadPoolExecutor(len(items) - 1) as beside:
        others = [beside.submit(work, item) for item in items[1:]]
        work(items[0])
        for other in others:
            other.result()


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


def _put_in_place(parts: Sequence[Path], targets: Sequence[Path]) -> None:
    for part, target in zip(parts, targets, strict=True):
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
