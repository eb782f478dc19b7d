"""Text in an SVG that fits its place whatever is written: measured wide, wrapped, cut, escaped.

Widths are a careful guess, since who shows the picture chooses the font: most characters are
counted wider than common sans-serif fonts draw them.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from html import escape

#: Width over font size of narrow, common and wide Latin characters, of all others, and of those of
#: full width; bold over plain. Over what a wide common font (DejaVu Sans) needs, by its metrics.
NARROW, COMMON, WIDE, OTHER, FULL, BOLD = 0.41, 0.65, 1.07, 0.93, 1.07, 1.12
_NARROW = frozenset("iljtfI.,:;'!|()[] ")
_WIDE = frozenset("mwMW@%ΔŒœÆæŴ—…")
#: Unicode isolates: what is inside keeps its own direction, what is around does not change.
_ISOLATE, _END = "\u2068", "\u2069"


def clean(words: str) -> str:
    """Without what XML cannot hold, line breaks, or marks that turn the text around them."""
    kept = []
    for c in words:
        kind = unicodedata.category(c)
        if kind in ("Zs", "Zl", "Zp") or c in "\t\n\r":
            kept.append(" ")
        elif kind not in ("Cc", "Cs", "Cn", "Co") and c not in "\u202a\u202b\u202c\u202d\u202e":
            kept.append(c)
    return " ".join("".join(kept).split())


def isolated(words: str) -> str:
    """A name to be set among other words: its direction is its own."""
    inside = "".join(c for c in clean(words) if c not in "\u2066\u2067\u2068\u2069")
    return f"{_ISOLATE}{inside}{_END}"


def width(words: str, size: float) -> float:
    """At most this wide at a font size, in its unit."""
    return size * sum(_share(c) for c in words)


def _share(c: str) -> float:
    if unicodedata.category(c) in ("Mn", "Me", "Cf"):
        return 0.0
    if unicodedata.east_asian_width(c) in ("W", "F"):
        return FULL
    if c in _NARROW:
        return NARROW
    if c in _WIDE:
        return WIDE
    if c.isascii():
        return COMMON + 0.20 * (c.isupper() or c in "&+<=>~^#%")
    return OTHER


def cut(words: str, room: float, size: float) -> str:
    """As much as fits, with an ellipsis where something is left out."""
    if width(words, size) <= room:
        return words
    kept = words
    while kept and width(kept + "…", size) > room:
        kept = kept[:-1]
        while kept and unicodedata.combining(kept[-1]):
            kept = kept[:-1]
    open_ = kept.count(_ISOLATE) - kept.count(_END)
    return kept.rstrip() + "…" + _END * max(open_, 0)


def wrap(words: str, room: float, size: float, most: int = 99) -> list[str]:
    """Lines that fit; the last of ``most`` is cut. A word longer than a line is broken."""
    lines: list[str] = []
    line = ""
    for word in (piece for long in words.split() for piece in _broken(long, room, size)):
        longer = f"{line} {word}" if line else word
        if not line or width(longer, size) <= room:
            line = longer
        else:
            lines.append(line)
            line = word
    lines = [*lines, line] if line else lines
    if len(lines) > most:
        lines = [*lines[: most - 1], " ".join(lines[most - 1 :])]
    return [cut(x, room, size) for x in lines]


def in_pieces(pieces: Sequence[str], room: float, size: float, most: int = 99) -> list[str]:
    """Pieces with a dot between them, as lines that fit: none begins with a dot, or ends in one.

    A piece longer than a line is wrapped. Where there are more than ``most`` lines the longest
    pieces are cut, so that each is still told of.
    """
    lines, longest = _joined(pieces, room, size), most * room
    while len(lines) > most and longest > size:
        longest *= 0.9
        lines = _joined([cut(piece, longest, size) for piece in pieces], room, size)
    return [cut(line, room, size) for line in lines[:most]]


def _joined(pieces: Sequence[str], room: float, size: float) -> list[str]:
    lines: list[str] = []
    for piece in pieces:
        longer = f"{lines[-1]} · {piece}" if lines else piece
        if lines and width(longer, size) <= room:
            lines[-1] = longer
        else:
            lines += wrap(piece, room, size)
    return lines


def _broken(word: str, room: float, size: float) -> list[str]:
    pieces = [""]
    for c in word:
        if pieces[-1] and not unicodedata.combining(c) and width(pieces[-1] + c, size) > room:
            pieces.append("")
        pieces[-1] += c
    return pieces


def text(
    x: float, y: float, words: str, size: float, *, anchor: str = "start", bold: bool = False
) -> str:
    """One line of text, escaped."""
    more = "" if anchor == "start" else f' text-anchor="{anchor}"'
    more += ' font-weight="600"' if bold else ""
    inside = escape(_printable(words), quote=True)
    return f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:g}"{more}>{inside}</text>'


def _printable(words: str) -> str:
    return "".join(c for c in words if unicodedata.category(c) not in ("Cc", "Cs", "Cn", "Co"))
