"""Values as they are stored: clean words, names that fit, times, JSON, yes and no."""

from __future__ import annotations

import json
import math
import unicodedata
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from swatchvault.errors import ArchiveError

#: Most characters of a new name: what a label, a card and a list have room for; our choice.
LONGEST_NAME = 120
_ALLOWED = "\t\r\n\u200c\u200d"  # white space, and the joiners that some scripts and emoji need


def clean(text: str | None, what: str) -> str | None:
    """Text as one line: NFC, single spaces, blank as ``None``. Control characters are refused."""
    if text is None:
        return None
    if any(unicodedata.category(c) in {"Cc", "Cf", "Cs"} and c not in _ALLOWED for c in text):
        raise ArchiveError(f"{what} holds invisible control characters: type it anew")
    return " ".join(unicodedata.normalize("NFC", text).split()) or None


def named(text: str | None, what: str) -> str:
    """Like :func:`clean`, but it must not be blank: :class:`ArchiveError` else."""
    cleaned = clean(text, what)
    if cleaned is None:
        raise ArchiveError(f"{what} is blank: give it a name")
    return cleaned


def check_length(name: str, what: str) -> None:
    """Raise ``ArchiveError`` for a name of more than :data:`LONGEST_NAME` characters."""
    if len(name) > LONGEST_NAME:
        raise ArchiveError(
            f"{what} has {len(name)} characters: {LONGEST_NAME} is the most, so shorten it, or put "
            "more into a note"
        )


def now() -> str:
    """The time in UTC, to the second, as ISO 8601."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def to_json(value: object, figures: int | None = None) -> str:
    """Plain data as JSON text; NaN and infinity become null.

    ``figures``: significant figures that numbers are rounded to; all of them if not given.
    """
    plain = _plain(value, figures)
    return json.dumps(plain, ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def _plain(value: Any, figures: int | None) -> Any:
    if isinstance(value, Mapping):
        return {str(k): _plain(v, figures) for k, v in value.items()}
    if isinstance(value, set | frozenset):
        return sorted(_plain(v, figures) for v in value)
    if hasattr(value, "tolist"):  # arrays and their scalars
        return _plain(value.tolist(), figures)
    if isinstance(value, list | tuple):
        return [_plain(v, figures) for v in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, float) and figures is not None:
        return float(f"{value:.{figures}g}")
    return value


def yes_no(value: bool | None) -> int | None:
    """SQLite's 1, 0 or NULL."""
    return None if value is None else int(value)


def tri(value: int | None) -> bool | None:
    """The other way round: yes, no or unknown."""
    return None if value is None else bool(value)
