"""Text that a command writes where it is told to: never over a photo or an archive."""

from __future__ import annotations

from pathlib import Path

from swatchvault.errors import SwatchvaultError


def write_text_file(path: Path, text: str, *endings: str) -> None:
    """Write ``text`` as UTF-8. Raises :class:`SwatchvaultError` for another ending, so that no
    photo and no archive is written over by a drawing or a table."""
    if path.suffix.lower() not in endings:
        raise SwatchvaultError(f"cannot write to {path.name}: name a file {' or '.join(endings)}")
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise cannot_write(path, error) from error


def cannot_write(path: Path, error: OSError) -> SwatchvaultError:
    """The error of a file that could not be written, and what to do."""
    return SwatchvaultError(f"cannot write {path}: {error.strerror}; name another file")
