"""A form sent twice does its work once."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from swatchvault.archive import Colourway, add_colourway, create_archive, once
from swatchvault.errors import ArchiveError

TOKEN = "a-token-of-a-form-0001"


def _add(conn: sqlite3.Connection) -> str:
    (count,) = conn.execute("SELECT count(*) FROM colourway").fetchone()
    return f"/colourway/{add_colourway(conn, Colourway(f'Number {count}')).id}"


def test_the_same_form_again_changes_nothing(tmp_path: Path) -> None:
    with create_archive(tmp_path / "a") as archive:
        first = once(archive.conn, TOKEN, _add)
        assert once(archive.conn, TOKEN, _add) == first
        assert once(archive.conn, TOKEN + "x", _add) != first
        assert archive.conn.execute("SELECT count(*) FROM colourway").fetchone()[0] == 2


def test_work_that_failed_may_be_sent_again(tmp_path: Path) -> None:
    def fails(conn: sqlite3.Connection) -> str:
        _add(conn)
        raise ArchiveError("no")

    with create_archive(tmp_path / "a") as archive:
        with pytest.raises(ArchiveError, match="no"):
            once(archive.conn, TOKEN, fails)
        assert archive.conn.execute("SELECT count(*) FROM colourway").fetchone()[0] == 0
        once(archive.conn, TOKEN, _add)
        assert archive.conn.execute("SELECT count(*) FROM colourway").fetchone()[0] == 1


@pytest.mark.parametrize("token", ["", "short", "x" * 65, "ü" * 20])
def test_a_form_without_its_token_is_refused(tmp_path: Path, token: str) -> None:
    with create_archive(tmp_path / "a") as archive, pytest.raises(ArchiveError, match="token"):
        once(archive.conn, token, _add)
