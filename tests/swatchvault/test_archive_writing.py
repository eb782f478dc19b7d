"""Transactions: all or nothing, two writers at once, a writer that is killed."""

import sqlite3
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor

import pytest

from swatchvault.archive import (
    Base,
    Dye,
    add_base,
    add_dye,
    create_archive,
    open_archive,
    transaction,
)
from swatchvault.errors import ArchiveError


@pytest.fixture
def archive(tmp_path):
    with create_archive(tmp_path / "yarn") as made:
        yield made


def test_an_error_inside_a_transaction_leaves_nothing(archive):
    with pytest.raises(RuntimeError), transaction(archive.conn):
        add_base(archive.conn, Base("Lumme", {"wool": 100}))
        raise RuntimeError
    assert archive.conn.execute("SELECT count(*) FROM base, base_fibre").fetchone()[0] == 0
    assert not archive.conn.in_transaction


def test_an_inner_error_undoes_the_inner_part_alone(archive):
    with transaction(archive.conn):
        add_base(archive.conn, Base("Lumme"))
        with pytest.raises(ArchiveError, match="fibres"):
            add_base(archive.conn, Base("Torva", {"wool": 50}))
        with pytest.raises(RuntimeError), transaction(archive.conn):
            add_base(archive.conn, Base("Torva"))
            raise RuntimeError
    assert [r[0] for r in archive.conn.execute("SELECT name FROM base")] == ["Lumme"]


def test_functions_work_inside_a_transaction_that_another_began(archive):
    """As in Datasette's write thread: its own connection, its own BEGIN IMMEDIATE."""
    conn = sqlite3.connect(archive.folder / "archive.db", isolation_level="IMMEDIATE")
    with conn:
        conn.execute("BEGIN IMMEDIATE")
        add_base(conn, Base("Lumme", {"wool": 100}))
        with pytest.raises(ArchiveError):
            add_base(conn, Base("Lumme", {"silk": 100}))
        assert conn.in_transaction
    conn.close()
    assert archive.conn.execute("SELECT fibre FROM base_fibre").fetchall()[0][0] == "wool"


def test_two_writers_at_once_lose_nothing(archive):
    def write(number):
        with open_archive(archive.folder) as own:
            for i in range(25):
                add_dye(own.conn, Dye(f"dye {number}-{i}"))
                add_dye(own.conn, Dye(f"shared {i}"))

    with ThreadPoolExecutor(2) as pool:
        list(pool.map(write, (1, 2)))
    assert archive.conn.execute("SELECT count(*) FROM dye").fetchone()[0] == 75


def test_a_writer_that_holds_on_is_told_and_nothing_is_half_done(archive, monkeypatch):
    with open_archive(archive.folder) as other:
        archive.conn.execute("PRAGMA busy_timeout = 50")
        with transaction(other.conn):
            with pytest.raises(ArchiveError, match="another program is writing"):
                add_base(archive.conn, Base("Lumme"))
            assert not archive.conn.in_transaction
        add_base(archive.conn, Base("Lumme"))


def test_a_killed_writer_leaves_what_it_had_committed(archive):
    """A process that ends without closing anything: committed rows stay, the open one goes."""
    program = (
        "import os, sys\n"
        "from swatchvault.archive import Dye, add_dye, open_archive\n"
        "archive = open_archive(sys.argv[1])\n"
        "add_dye(archive.conn, Dye('kept'))\n"
        "archive.conn.execute('BEGIN IMMEDIATE')\n"
        "add_dye(archive.conn, Dye('lost'))\n"
        "os._exit(9)\n"
    )
    done = subprocess.run([sys.executable, "-c", program, str(archive.folder)], check=False)
    assert done.returncode == 9
    assert [r[0] for r in archive.conn.execute("SELECT name FROM dye")] == ["kept"]
    add_dye(archive.conn, Dye("next"))
