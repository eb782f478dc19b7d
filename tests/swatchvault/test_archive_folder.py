"""The folder: made, opened, upgraded, refused in one line, copied."""

import os
import shutil
import sqlite3
import tempfile
import threading
from contextlib import contextmanager
from pathlib import Path

import pytest

from swatchvault.archive import (
    Base,
    Dye,
    add_base,
    add_dye,
    backup,
    connect,
    create_archive,
    migrate,
    open_archive,
    verify,
)
from swatchvault.errors import ArchiveError
from tests.swatchvault.factories import dump, studio


@pytest.fixture
def archive(tmp_path):
    with create_archive(tmp_path / "yarn") as made:
        yield made


def bytes_of(folder):
    return {p.name: p.read_bytes() for p in folder.iterdir() if p.is_file()}


def test_a_new_archive_holds_its_folders_and_habits(archive):
    assert archive.photos.is_dir()
    assert archive.thumbs.is_dir()
    pragma = {
        name: archive.conn.execute(f"PRAGMA {name}").fetchone()[0]
        for name in ("journal_mode", "foreign_keys", "synchronous", "user_version")
    }
    assert pragma == {
        "journal_mode": "wal",
        "foreign_keys": 1,
        "synchronous": 2,  # FULL, sqlite.org/pragma.html#pragma_synchronous
        "user_version": len(migrate.MIGRATIONS),
    }


def test_opening_twice_is_one_archive(archive):
    add_base(archive.conn, Base("Lumme"))
    with open_archive(archive.folder) as again:
        assert again.conn.execute("SELECT name FROM base").fetchone()[0] == "Lumme"


def test_what_was_stored_is_there_after_closing(tmp_path):
    with create_archive(tmp_path / "a") as archive:
        add_base(archive.conn, Base("Lumme"))
    with open_archive(tmp_path / "a") as archive:
        assert archive.conn.execute("SELECT count(*) FROM base").fetchone()[0] == 1


def test_an_archive_is_not_made_over_another(archive):
    before = dump(archive.conn)
    with pytest.raises(ArchiveError, match="already holds an archive"):
        create_archive(archive.folder)
    archive.close()
    with pytest.raises(ArchiveError, match="already holds an archive"):
        create_archive(archive.folder)
    with open_archive(archive.folder) as again:
        assert dump(again.conn) == before


def test_an_empty_file_left_by_a_stopped_program_is_made_whole(tmp_path):
    (tmp_path / "archive.db").touch()
    with pytest.raises(ArchiveError, match="not an archive's database"):
        open_archive(tmp_path)
    create_archive(tmp_path).close()
    open_archive(tmp_path).close()


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (None, "no archive in"),
        (b"SQLite format 3\x00 but no more", "not an SQLite file"),
        (b"plain words" * 20, "not an SQLite file"),
        ("other database", "not an archive's database"),
    ],
)
def test_what_is_no_archive_is_refused_in_one_line(tmp_path, content, words):
    database = tmp_path / "archive.db"
    if content == "other database":
        other = sqlite3.connect(database)
        other.execute("CREATE TABLE stranger (id)")
        other.close()
    elif content is not None:
        database.write_bytes(content)
    before = bytes_of(tmp_path)
    with pytest.raises(ArchiveError, match=words) as error:
        open_archive(tmp_path)
    assert "\n" not in str(error.value)
    assert bytes_of(tmp_path) == before
    if content == "other database":
        with pytest.raises(ArchiveError, match="another program's database"):
            create_archive(tmp_path)
        assert database.read_bytes() == before["archive.db"]


def test_a_folder_that_is_a_file_is_refused(tmp_path):
    (tmp_path / "file").touch()
    with pytest.raises(ArchiveError, match="cannot make an archive"):
        create_archive(tmp_path / "file")
    with pytest.raises(ArchiveError, match=r"no archive in|cannot open"):
        open_archive(tmp_path / "file")


def test_a_newer_archive_is_refused_with_its_bytes_untouched(archive):
    archive.conn.execute(f"PRAGMA user_version = {len(migrate.MIGRATIONS) + 1}")
    archive.close()
    before = bytes_of(archive.folder)
    with pytest.raises(ArchiveError, match="newer swatchvault") as error:
        open_archive(archive.folder)
    assert "\n" not in str(error.value)
    assert bytes_of(archive.folder) == before


def test_a_newer_version_in_the_log_alone_is_refused_too(archive, tmp_path):
    """As a program leaves it that was stopped: the header lies behind an unfinished log."""
    archive.conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    archive.conn.execute("PRAGMA wal_autocheckpoint = 0")
    archive.conn.execute(f"PRAGMA user_version = {len(migrate.MIGRATIONS) + 1}")
    left = shutil.copytree(archive.folder, tmp_path / "left")
    (left / "archive.db-shm").unlink()
    assert connect._header(left / "archive.db")[1] == len(migrate.MIGRATIONS)
    before = (left / "archive.db").read_bytes(), (left / "archive.db-wal").read_bytes()
    assert before[1]
    with pytest.raises(ArchiveError, match="newer swatchvault"):
        open_archive(left)
    assert ((left / "archive.db").read_bytes(), (left / "archive.db-wal").read_bytes()) == before


@contextmanager
def as_someone_else():
    """Permissions do not bind root, so root steps down to a user who owns nothing here."""
    if not hasattr(os, "setresuid"):
        pytest.skip("this system cannot step down to another user and back")
    if os.geteuid() != 0:
        yield
        return
    os.setresuid(65534, 65534, 0)
    try:
        yield
    finally:
        os.setresuid(0, 0, 0)


@pytest.mark.parametrize(
    ("mode", "words"),
    [(0o555, "is read-only: allow writing"), (0o000, "Permission denied")],
)
def test_a_folder_without_permission_is_told(mode, words):
    with tempfile.TemporaryDirectory() as place:  # tmp_path lies where only its owner may look
        Path(place).chmod(0o755)
        folder = Path(place) / "yarn"
        create_archive(folder).close()
        folder.chmod(mode)
        try:
            with as_someone_else():
                for use in (open_archive, create_archive):
                    with pytest.raises(ArchiveError) as error:
                        use(folder)
                    assert use is create_archive or words in str(error.value)
                    assert "\n" not in str(error.value)
        finally:
            folder.chmod(0o755)
        open_archive(folder).close()


def test_a_folder_that_may_not_be_written_is_told(archive, monkeypatch):
    archive.close()
    monkeypatch.setattr(connect.os, "access", lambda place, mode: place != archive.folder)
    with pytest.raises(ArchiveError, match="is read-only: allow writing"):
        open_archive(archive.folder)


def test_writing_through_a_read_only_connection_is_told(archive):
    archive.conn.execute("PRAGMA query_only = ON")
    with pytest.raises(ArchiveError, match="read-only"):
        add_base(archive.conn, Base("Lumme"))


# --- upgrades ----------------------------------------------------------------------------------


def add_shade_card(conn):
    conn.execute("CREATE TABLE shade_card (id INTEGER PRIMARY KEY) STRICT")


def fail(conn):
    conn.execute("DROP TABLE dye_pack")
    raise ArchiveError("stopped half way")


def orphan(conn):
    conn.execute("INSERT INTO base_fibre VALUES (99, 'wool', 100)")


def test_an_older_archive_is_upgraded_when_opened(archive, monkeypatch):
    add_base(archive.conn, Base("Lumme"))
    archive.close()
    before = len(migrate.MIGRATIONS)
    monkeypatch.setattr(migrate, "MIGRATIONS", (*migrate.MIGRATIONS, add_shade_card))
    monkeypatch.setattr(connect, "MIGRATIONS", migrate.MIGRATIONS)
    with open_archive(archive.folder) as upgraded:
        assert migrate.version_of(upgraded.conn) == before + 1
        upgraded.conn.execute("SELECT * FROM shade_card, base, lots_against_master")
        assert upgraded.conn.execute("PRAGMA foreign_keys").fetchone()[0] == 1
        assert migrate.migrate(upgraded.conn) == 0  # a second time does nothing


@pytest.mark.parametrize("bad", [fail, orphan])
def test_a_failed_upgrade_leaves_the_archive_as_it_was(archive, bad):
    before = list(archive.conn.iterdump())
    with pytest.raises(ArchiveError, match=r"half way|do not fit"):
        migrate.migrate(archive.conn, (*migrate.MIGRATIONS, add_shade_card, bad))
    assert list(archive.conn.iterdump()) == before
    assert migrate.version_of(archive.conn) == len(migrate.MIGRATIONS)
    assert archive.conn.execute("PRAGMA foreign_keys").fetchone()[0] == 1


# --- copies ------------------------------------------------------------------------------------


def test_a_backup_holds_everything_while_another_writes(archive, tmp_path):
    studio(archive.conn)
    stop = threading.Event()

    def keep_writing():
        with open_archive(archive.folder) as own:
            number = 0
            while not stop.is_set():
                number += 1
                add_dye(own.conn, Dye(f"later {number}"))

    writer = threading.Thread(target=keep_writing)
    writer.start()
    try:
        copy = backup(archive.conn, tmp_path / "copy.db")
    finally:
        stop.set()
        writer.join()
    assert sorted(p.name for p in tmp_path.iterdir()) == ["copy.db", "yarn"]
    assert copy.read_bytes()[18] == 1  # no log beside it (sqlite.org/fileformat.html, 1.3.3)
    with sqlite3.connect(copy) as conn:
        assert conn.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        assert conn.execute("SELECT count(*) FROM lot").fetchone()[0] == 3
    conn.close()
    with pytest.raises(ArchiveError, match="there already"):
        backup(archive.conn, copy)


def test_a_backup_opens_as_an_archive(archive, tmp_path):
    studio(archive.conn)
    folder = tmp_path / "restored"
    folder.mkdir()
    backup(archive.conn, folder / "archive.db")
    with open_archive(folder) as restored:
        assert dump(restored.conn) == dump(archive.conn)


def test_a_backup_that_cannot_be_written_is_told(archive, tmp_path):
    with pytest.raises(ArchiveError, match="cannot write the copy"):
        backup(archive.conn, tmp_path / "nowhere" / "copy.db")


def test_a_damaged_database_is_not_copied_over_a_good_backup(archive, tmp_path):
    studio(archive.conn)
    (root,) = archive.conn.execute(
        "SELECT rootpage FROM sqlite_master WHERE name = 'lot_by_colourway'"
    ).fetchone()
    size = archive.conn.execute("PRAGMA page_size").fetchone()[0]
    archive.close()
    database = archive.folder / "archive.db"
    with database.open("r+b") as file:
        file.seek((root - 1) * size)
        file.write(b"\x0d" * 64)  # a page that nothing in it fits
    with (
        open_archive(archive.folder) as damaged,
        pytest.raises(ArchiveError, match=r"damaged .*Keep the backups that you have"),
    ):
        backup(damaged.conn, tmp_path / "copy.db")
    assert [p.name for p in tmp_path.iterdir()] == ["yarn"]


def test_a_row_that_breaks_a_rule_is_copied_as_it_is(archive, tmp_path):
    studio(archive.conn)
    archive.conn.execute("PRAGMA ignore_check_constraints = ON")
    archive.conn.execute("UPDATE lot SET dry_g = -1 WHERE code = 'L1'")
    with sqlite3.connect(backup(archive.conn, tmp_path / "copy.db")) as conn:
        assert conn.execute("SELECT dry_g FROM lot WHERE code = 'L1'").fetchone() == (-1,)


@pytest.mark.parametrize(("bytes_left", "words"), [(0, "is empty"), (3 * 8192, "is damaged")])
def test_a_database_cut_short_says_what_to_do(archive, bytes_left, words):
    studio(archive.conn)
    archive.close()
    with (archive.folder / "archive.db").open("r+b") as file:
        file.truncate(bytes_left)
    with pytest.raises(ArchiveError, match=f"{words}.*put the last good one back"):
        open_archive(archive.folder)


def test_a_backup_put_back_beside_another_databases_log_is_not_mixed_with_it(archive, tmp_path):
    """As after a kill, where the log is left behind."""
    studio(archive.conn)
    copy = backup(archive.conn, tmp_path / "copy.db")
    for n in range(300):
        add_dye(archive.conn, Dye(f"later {n}"))
    log = archive.folder / "archive.db-wal"
    left = log.read_bytes()
    archive.close()
    (archive.folder / "archive.db").write_bytes(copy.read_bytes())
    log.write_bytes(left)
    with pytest.raises(ArchiveError, match=r"move archive\.db-wal and archive\.db-shm out"):
        open_archive(archive.folder)
    assert (archive.folder / "archive.db").read_bytes() == copy.read_bytes()
    log.unlink()
    with open_archive(archive.folder) as opened:
        later = "SELECT count(*) FROM dye WHERE name LIKE 'later%'"
        assert opened.conn.execute(later).fetchone()[0] == 0
        assert verify(opened) == []
