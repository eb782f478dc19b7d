"""The published copy: nothing of the making in any byte, and nobody may do more than look."""

from __future__ import annotations

import shlex
import sqlite3
from pathlib import Path

import pytest

from swatchvault.archive import (
    Archive,
    LotCheck,
    PotStep,
    open_archive,
    record_check,
    record_step,
    strike_last,
    verify,
)
from swatchvault.archive.listing import LISTS
from swatchvault.archive.publishing import publish
from swatchvault.archive.speaking import speaking
from swatchvault.errors import ArchiveError
from tests.swatchvault.running import run
from tests.swatchvault.test_archive_speaking import doubt, photographed


@pytest.fixture(scope="module")
def archive_folder(demo: Path) -> Path:
    with open_archive(demo) as archive:
        archive.conn.execute("UPDATE lot SET note = 'swirled two petrel blues', water = 'well'")
        archive.conn.execute("UPDATE base SET price_per_kg = 71.25")
        archive.conn.execute("""CREATE TABLE "my ""customers" (who TEXT, note TEXT)""")
        archive.conn.execute("""INSERT INTO "my ""customers" VALUES ('at the harbour', 'a')""")
        archive.conn.execute("CREATE VIRTUAL TABLE searched USING fts5(words)")
        archive.conn.execute("INSERT INTO searched VALUES ('letters of customers')")
        archive.conn.execute(
            "CREATE TRIGGER owed AFTER INSERT ON lot BEGIN SELECT 'owed by the bakery'; END"
        )
        archive.conn.execute("""CREATE VIEW "my ""own" AS SELECT 'kept for myself' AS why""")
        archive.conn.execute(
            """CREATE TRIGGER own INSTEAD OF INSERT ON "my ""own" BEGIN SELECT 1; END"""
        )
        step = PotStep("look", "2026-05-01T10:00", note="marbled by the lid")
        record_step(archive.conn, "NF-1", step)
        strike_last(archive.conn, "NF-1")
    return demo


#: What the owner's own tables and triggers say.
OWN = {"at the harbour", "letters of customers", "owed by the bakery"}


def secrets(folder: Path) -> set[str]:
    """Every text of the making that an archive holds, eight characters or longer."""
    tables = ("dye", "dye_pack", "stock", "recipe", "recipe_part", "recipe_step", "lot_dye")
    found: set[str] = {"swirled two petrel blues", "marbled by the lid", "kept for myself"} | OWN
    with sqlite3.connect(folder / "archive.db") as conn:
        for table in (*tables, "pot_step", "pot"):
            for row in conn.execute(f"SELECT * FROM {table}"):
                found |= {v for v in row if isinstance(v, str) and len(v) >= 8}
        dated = {r[0] for r in conn.execute("SELECT dyed_on FROM lot")}
    return {s for s in found if s[:10] not in dated and not s.startswith("20")}


def holding(folder: Path, words: set[str]) -> set[str]:
    held = set()
    for path in folder.rglob("*"):
        if path.is_file():
            body = path.read_bytes().lower()
            held |= {w for w in words if w.lower().encode() in body}
    return held


def test_no_byte_of_the_making(archive_folder: Path, tmp_path: Path) -> None:
    words = secrets(archive_folder)
    assert len(words) > 20
    with open_archive(archive_folder) as archive:
        publish(archive, tmp_path / "plain")
        publish(archive, tmp_path / "full", recipes=True)
    # Words of the schema itself, such as kinds of step in a CHECK, are no secret.
    schema = {w for w in words if w in {"levelling agent in", "other auxiliary in"}}
    assert holding(tmp_path / "plain", words) <= schema
    assert len(holding(tmp_path / "full", words)) > 20
    assert not holding(tmp_path / "full", OWN)


def test_colours_and_checks_stay(archive_folder: Path, tmp_path: Path) -> None:
    with open_archive(archive_folder) as archive:
        publish(archive, tmp_path / "copy")
    for sql in ("SELECT * FROM colours", "SELECT verdict, delta_e_00 FROM lot_check"):
        with (
            sqlite3.connect(archive_folder / "archive.db") as before,
            sqlite3.connect(tmp_path / "copy" / "archive.db") as after,
        ):
            assert after.execute(sql).fetchall() == before.execute(sql).fetchall()
    assert not list((tmp_path / "copy").glob("archive.db-*"))
    assert list((tmp_path / "copy" / "thumbs").glob("*.jpg"))
    assert not (tmp_path / "copy" / "photos").exists()


def test_which_lot_was_dyed_over_is_of_the_making(archive_folder: Path, tmp_path: Path) -> None:
    with open_archive(archive_folder) as archive:
        archive.conn.execute("UPDATE lot SET overdyes_lot_id = 1 WHERE id = 2")
        publish(archive, tmp_path / "plain")
        publish(archive, tmp_path / "full", recipes=True)
    for name, there in (("plain", 0), ("full", 1)):
        with sqlite3.connect(tmp_path / name / "archive.db") as conn:
            sql = "SELECT count(*) FROM lot WHERE overdyes_lot_id IS NOT NULL"
            assert conn.execute(sql).fetchone() == (there,)


def test_the_same_photo_speaks_in_the_copy(tmp_path: Path) -> None:
    """Without the pot's times, one from before the last dye would speak again: it is surer."""
    with photographed(tmp_path, (41, {}), (43, doubt(2.0))) as archive:
        record_step(archive.conn, "L1", PotStep("dye in", "2026-05-01T18:00", "5 mL"))
        assert speaking(archive.conn, [1]) == {1: 2}
        assert len(publish_and_read(archive, tmp_path / "full", recipes=True)) == 2
        assert publish_and_read(archive, tmp_path / "plain") == [43.0]
        check = LotCheck(
            *(1, 1, "within", 2.0, 2.0, 0.1, "same frame", "Alike."),
            master_measurements=(1,),
            lot_measurements=(2,),
        )
        record_check(archive.conn, check)
        with sqlite3.connect(publish(archive, tmp_path / "judged")) as conn:
            (row,) = conn.execute(LISTS["checks"]).fetchall()
            (since,) = (v for v in row if "photo" in str(v))
            assert since.endswith("the master's photo from before the last dye")  # not "set aside"
        record_step(archive.conn, "L1", PotStep("dye in", "2026-05-04T18:00", "5 mL"))
        assert len(publish_and_read(archive, tmp_path / "early")) == 2  # there is no later one


def publish_and_read(archive: Archive, folder: Path, **how: bool) -> list[float]:
    """L* of what counts of the first swatch in a copy."""
    with sqlite3.connect(publish(archive, folder, **how)) as conn:
        rows = conn.execute("SELECT lab_l FROM current_measurement WHERE swatch_id = 1")
        return [row[0] for row in rows]


def test_the_archive_itself_is_untouched(archive_folder: Path, tmp_path: Path) -> None:
    with open_archive(archive_folder) as archive:
        before = list(archive.conn.iterdump())
        publish(archive, tmp_path / "copy")
        assert list(archive.conn.iterdump()) == before
        assert not list(verify(archive))


def test_a_folder_that_is_there_is_refused(archive_folder: Path, tmp_path: Path) -> None:
    with (
        open_archive(archive_folder) as archive,
        pytest.raises(ArchiveError, match="there already"),
    ):
        publish(archive, tmp_path)
    assert not list(tmp_path.parent.glob(".part-*"))


def test_the_command_says_how_to_serve_it(
    archive_folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ran = run(capsys, "publish", tmp_path / "copy", "--archive", archive_folder)
    assert ran.code == 0
    assert "datasette --immutable" in ran.out
    assert (tmp_path / "copy" / "datasette.json").is_file()


def test_the_line_that_serves_it_can_be_copied_to_a_shell(
    archive_folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    to = tmp_path / "for my friends"
    ran = run(capsys, "publish", to, "--archive", archive_folder)
    (line,) = [line for line in ran.out.splitlines() if "--immutable" in line]
    assert shlex.split(line)[2:] == [str(to / "archive.db"), "--config", str(to / "datasette.json")]


@pytest.mark.parametrize("name", ["copy #1", "copy?", "100%25"])
def test_a_folder_that_datasette_would_miss_is_refused(
    archive_folder: Path, tmp_path: Path, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    ran = run(capsys, "publish", tmp_path / name, "--archive", archive_folder)
    assert ran.code == 1
    assert "name a folder without" in ran.err
    assert not list(tmp_path.iterdir())


def test_files_that_no_row_names_stay_at_home(archive_folder: Path, tmp_path: Path) -> None:
    with open_archive(archive_folder) as archive:
        (sha256,) = archive.conn.execute("SELECT sha256 FROM photo LIMIT 1").fetchone()
        strays = [archive.thumbs / f"{'0' * 64}.jpg", archive.photos / "of a customer.jpg"]
        strays += [archive.photos / ".part-1"]
        for path in strays:
            path.write_bytes(b"nobody's")
        try:
            publish(archive, tmp_path / "copy", photos=True)
        finally:
            for path in strays:
                path.unlink()
        count = archive.conn.execute("SELECT count(*) FROM photo").fetchone()[0]
    for folder in ("photos", "thumbs"):
        names = {path.stem for path in (tmp_path / "copy" / folder).iterdir()}
        assert len(names) == count and sha256 in names and "of a customer" not in names


def test_originals_come_with_a_word_on_where_they_were_taken(
    archive_folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    said = [
        run(capsys, "publish", tmp_path / name, *more, "--archive", archive_folder).out
        for name, *more in (("a",), ("b", "--photos"))
    ]
    assert ["where a photo was taken" in words for words in said] == [False, True]
