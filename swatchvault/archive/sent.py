"""A form sent twice (a second tap, a lost answer, a page loaded again) does its work once."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable

from swatchvault.archive.rows import transaction
from swatchvault.archive.values import now
from swatchvault.errors import ArchiveError

_KEPT_DAYS = 30  # far longer than a page stays open; our choice


def once(conn: sqlite3.Connection, token: str, work: Callable[[sqlite3.Connection], str]) -> str:
    """Run ``work`` unless a form with this ``token`` did it already; return its outcome.

    Work and token are stored in one transaction, so a work that fails may be sent again.
    ``outcome`` is text, such as the page to go to. Raises ``ArchiveError`` for a token that no
    page of ours gives out, and whatever ``work`` raises.
    """
    if not 16 <= len(token) <= 64 or not token.isascii():
        raise ArchiveError("the form has lost its token: load the page again and send it once more")
    with transaction(conn):
        row = conn.execute("SELECT outcome FROM form_sent WHERE token = ?", (token,)).fetchone()
        if row is not None:
            return str(row[0])
        outcome = work(conn)
        conn.execute(
            "INSERT INTO form_sent (token, at, outcome) VALUES (?, ?, ?)", (token, now(), outcome)
        )
        conn.execute(
            "DELETE FROM form_sent WHERE at < datetime(?, ?)", (now(), f"-{_KEPT_DAYS} days")
        )
    return outcome
