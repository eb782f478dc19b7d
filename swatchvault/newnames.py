"""Names that are about to be made: what each could have been meant for, asked before it is made."""

from __future__ import annotations

import sqlite3
import unicodedata
from collections.abc import Iterable, Sequence

from swatchvault.archive import Lot, Notes
from swatchvault.archive.known import Kind, bases_of_lot, names_known, other_day_of_lot
from swatchvault.archive.names import folded, renamed_to
from swatchvault.archive.values import clean
from swatchvault.errors import ArchiveError

#: How the command line says that a name is meant; pages have a tick box for it.
REALLY_NEW = "say that it really is new (--really-new)"
#: From so many characters of the longer name one slip is asked about, and two; our choice.
ONE_SLIP_FROM, TWO_SLIPS_FROM = 4, 8
_NAMES_ASKED = 3


def slips_between(one: str, other: str) -> int:
    """Letters to put in, take out, change, or exchange with the next, from one name to another.

    >>> slips_between("sok", "sock"), slips_between("sokc", "sock"), slips_between("", "ab")
    (1, 1, 2)
    """
    before: list[int] = []
    row = list(range(len(other) + 1))
    for i, a in enumerate(one, 1):
        earlier, before = before, row
        row = [i]
        for j, b in enumerate(other, 1):
            best = min(before[j] + 1, row[j - 1] + 1, before[j - 1] + (a != b))
            if i > 1 and j > 1 and a == other[j - 2] and one[i - 2] == b:
                best = min(best, earlier[j - 2] + 1)
            row.append(best)
    return row[-1]


def could_be(name: str, known: Iterable[str]) -> list[str]:
    """Names that one could be a slip for, the nearest first.

    Case, accents, spaces and signs do not tell names apart here. Digits do: lots 7 and 8 are two.

    >>> could_be("Merrin Sok", ["Merrin Sock", "Dale DK"]), could_be("RW-8", ["RW-7", "rw 8"])
    (['Merrin Sock'], ['rw 8'])
    """
    mine = _letters(name)
    found = []
    for other in known:
        against = _letters(other)
        longer = max(len(mine), len(against))
        allowed = (longer >= ONE_SLIP_FROM) + (longer >= TWO_SLIPS_FROM)
        if abs(len(mine) - len(against)) > allowed or _digits(mine) != _digits(against):
            continue
        slips = slips_between(mine, against)
        if slips <= allowed:
            found.append((slips, other))
    return [other for _, other in sorted(found)]


def ask_about_new(conn: sqlite3.Connection, notes: Notes) -> None:
    """Raise ``ArchiveError`` where bases, colourways, lots or the set-ups of photos are new and
    could be slips for what is there, or where a lot that is there would be on one base more."""
    asked: list[str] = []
    told: dict[Kind, list[str]] = {
        "base": [b.name for b in notes.bases],
        "colourway": [c.name for c in notes.colourways],
        "lot": [lot.code for lot in notes.lots],
        "setup": [p.setup for p in notes.photos if p.setup is not None],
    }
    for kind, names in told.items():
        known = names_known(conn, kind) if names else []
        for name in dict.fromkeys(clean(n, kind) or "" for n in names):
            asked += _about(conn, kind, name, known)
            known.append(name)
    for lot in notes.lots:
        asked += _one_base_more(conn, lot)
    if asked:
        raise ArchiveError(f"{'; '.join(asked)} Write it so, or {REALLY_NEW}")


def question_on_name(conn: sqlite3.Connection, kind: Kind, name: str) -> str:
    """What a new ``kind`` ("base" or "dye") could be a slip for, as a question, or blank."""
    asked = _about(conn, kind, clean(name, kind) or "", names_known(conn, kind))
    return asked[0] if asked else ""


def _about(conn: sqlite3.Connection, kind: str, name: str, known: Sequence[str]) -> list[str]:
    there = {folded(k) for k in known}
    if folded(name) in there or renamed_to(conn, kind, name) is not None:
        return []
    meant = could_be(name, known)[:_NAMES_ASKED]
    if not meant:
        return []
    what = {"setup": "set-up"}.get(kind, kind)
    return [f"{what} {name!r} is new: is it the {what} {' or '.join(map(repr, meant))}?"]


def _one_base_more(conn: sqlite3.Connection, lot: Lot) -> list[str]:
    code = clean(lot.code, "lot") or ""
    held = bases_of_lot(conn, code)
    on_it = {folded(name) for name in held}
    more = [b for b in (clean(b, "base") or "" for b in lot.bases) if folded(b) not in on_it]
    if not held or not more:
        return []
    on = " and ".join(map(repr, held))
    return [f"lot {code!r} is on {on}: did {' and '.join(map(repr, more))} go into it too?"]


def refuse_other_day(conn: sqlite3.Connection, notes: Notes) -> None:
    """A day typed beside a photo never changes that of a lot: raise ``ArchiveError`` instead."""
    for lot in notes.lots:
        other = other_day_of_lot(conn, clean(lot.code, "lot"), lot.dyed_on)
        if other is not None:
            raise ArchiveError(
                f"lot {other[0]!r} was dyed on {other[1]}, not on {lot.dyed_on}: "
                "leave the day out, or put the lot's right"
            )


def _letters(name: str) -> str:
    plain = unicodedata.normalize("NFKD", name.casefold())  # an accent stands apart, as a sign
    return "".join(c for c in plain if c.isalnum())


def _digits(letters: str) -> str:
    return "".join(c for c in letters if c.isdigit())
