"""Each kind of damage, done to a sound archive by hand, is found and told in one line."""

import os

import pytest

from swatchvault.archive import (
    RegionOf,
    create_archive,
    file_photo,
    open_archive,
    sweep,
    verify,
)
from swatchvault.errors import ArchiveError
from tests.swatchvault.factories import dump, measured, photo_file, photo_of, studio


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    """A photo measured once, and one measured twice, so that one row is superseded."""
    folder = tmp_path_factory.mktemp("template")
    with create_archive(folder / "yarn") as made:
        studio(made.conn)
        for name in ("one", "two"):
            source = photo_file(folder, f"{name}.jpg", name.encode())
            file_photo(made, photo_of(source), source, [RegionOf("new", 1)])
        file_photo(made, photo_of(source, version="2"), source, [RegionOf("new", 1)])
    return folder / "yarn"


def damage(archive, *statements):
    """Change rows as no program of ours can: rules and triggers off, then put back."""
    conn = archive.conn
    conn.execute("PRAGMA synchronous = OFF")
    triggers = conn.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
    conn.execute("PRAGMA foreign_keys = OFF")
    conn.execute("PRAGMA ignore_check_constraints = ON")
    for name, _ in triggers:
        conn.execute(f"DROP TRIGGER {name}")
    for statement in statements:
        conn.execute(statement)
    for _, sql in triggers:
        conn.execute(sql)
    conn.execute("PRAGMA ignore_check_constraints = OFF")
    conn.execute("PRAGMA foreign_keys = ON")


def test_a_sound_archive_has_no_problem_and_verify_changes_nothing(archive):
    before = dump(archive.conn)
    assert verify(archive) == []
    assert dump(archive.conn) == before


DAMAGED_ROWS = [
    ("row fits no other", ["UPDATE skein SET lot_id = 77 WHERE id = 1"]),
    ("row fits no other", ["UPDATE lot_dye SET dye_pack_id = 3 WHERE id = 1"]),
    ("row breaks a rule", ["UPDATE lot SET dry_g = -5 WHERE id = 1"]),
    ("JSON does not parse", ["UPDATE measurement SET flags = '[' WHERE id = 1"]),
    ("JSON does not parse", ["UPDATE layout SET marks = '{' WHERE id = 1"]),
    ("fibres do not sum to 100", ["UPDATE base_fibre SET percent = 60 WHERE fibre = 'wool'"]),
    ("loop", ["UPDATE recipe SET parent_id = 2 WHERE id = 1"]),
    ("loop", [f"UPDATE lot SET overdyes_lot_id = {b} WHERE id = {a}" for a, b in ((1, 2), (2, 1))]),
    ("loop", [f"UPDATE skein SET from_skein_id = {b} WHERE id = {a}" for a, b in ((1, 2), (2, 1))]),
    ("chain broken", ["UPDATE measurement SET superseded_by = 99 WHERE id = 2"]),
    ("chain broken", ["UPDATE measurement SET superseded_by = 3 WHERE id = 1"]),
    ("chain broken", ["UPDATE layout SET superseded_by = 2 WHERE id = 1"]),
    ("photo without layout", ["DELETE FROM measurement WHERE layout_id = 1",
                              "DELETE FROM layout WHERE id = 1"]),
    ("measurement without layout",
     ["UPDATE measurement SET layout_id = 2, region = 'x' WHERE id = 1"]),
    ("measurement without layout", ["DELETE FROM layout WHERE id = 1"]),
    ("measurement without layout", ["UPDATE correction SET layout_id = 2 WHERE id = 1"]),
    ("JSON does not parse", ["UPDATE correction SET provenance = '{' WHERE id = 1"]),
    ("measurement without region", ["UPDATE measurement SET region = 'old' WHERE id = 1"]),
    ("no colour", ["UPDATE measurement SET lab_a = 9e999 WHERE id = 1"]),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "statements"), DAMAGED_ROWS)
def test_damage_to_rows_is_found(archive, kind, statements):
    damage(archive, *statements)
    found = verify(archive)
    assert kind in {p.kind for p in found}
    for problem in found:
        assert "\n" not in str(problem)
        assert problem.where
        assert problem.do


def lose(path):
    path.unlink()


def alter(path):
    path.write_bytes(path.read_bytes() + b" ")


def empty(path):
    path.write_bytes(b"")


@pytest.mark.parametrize(
    ("folder", "harm", "kind"),
    [
        ("photos", lose, "photo missing"),
        ("photos", alter, "photo altered"),
        ("photos", empty, "photo altered"),
        ("thumbs", lose, "thumb missing"),
        ("thumbs", empty, "thumb missing"),
    ],
)
def test_damage_to_files_is_found(archive, folder, harm, kind):
    path = sorted((archive.folder / folder).iterdir())[0]
    harm(path)
    (found,) = verify(archive)
    assert (found.kind, found.where) == (kind, f"{folder}/{path.name}")


@pytest.mark.parametrize(
    ("folder", "name", "kind"),
    [
        ("photos", "0" * 64 + ".jpg", "file without row"),
        ("thumbs", "0" * 64 + ".jpg", "file without row"),
        ("photos", "holiday.png", "file without row"),
        ("photos", ".part-x1y2", "half-written file"),
        ("thumbs", ".part-x1y2", "half-written file"),
    ],
)
def test_a_stray_file_is_found_and_swept_once_it_is_old(archive, folder, name, kind):
    stray = archive.folder / folder / name
    stray.write_bytes(b"left behind")
    (found,) = verify(archive)
    assert (found.kind, found.where) == (kind, f"{folder}/{name}")
    assert sweep(archive) == []
    os.utime(stray, (0, 0))
    assert sweep(archive) == [stray]
    assert verify(archive) == []


def test_a_sweep_leaves_what_rows_name(archive):
    for path in (*archive.photos.iterdir(), *archive.thumbs.iterdir()):
        os.utime(path, (0, 0))
    assert sweep(archive) == []


def test_a_changed_schema_is_found(archive):
    archive.conn.execute("DROP TRIGGER master_is_not_changed")
    archive.conn.execute("DROP VIEW lots")
    archive.conn.execute("CREATE VIEW lots AS SELECT 1 AS one")
    found = {(p.kind, p.where, p.what) for p in verify(archive)}
    assert ("schema differs", "trigger master_is_not_changed", "is missing") in found
    assert ("schema differs", "view lots", "is not as made") in found


def test_a_table_of_the_dyers_own_is_no_problem(archive):
    archive.conn.execute("CREATE TABLE my_notes (note TEXT)")
    assert verify(archive) == []


@pytest.mark.parametrize("name", ["lot_by_colourway", "base_fibre", "photo"])
def test_a_damaged_page_is_found(archive, name):
    (page, size) = (
        archive.conn.execute(sql).fetchone()[0]
        for sql in (
            f"SELECT rootpage FROM sqlite_master WHERE name = '{name}'",
            "PRAGMA page_size",
        )
    )
    archive.close()
    database = archive.folder / "archive.db"
    data = bytearray(database.read_bytes())
    data[(page - 1) * size : page * size] = b"\x55" * size
    database.write_bytes(data)
    with open_archive(archive.folder) as harmed:
        kinds = {p.kind for p in verify(harmed)}
    assert kinds == {"database damaged"}


def test_many_regions_and_photos_verify_clean(archive, tmp_path):
    source = photo_file(tmp_path, "three.jpg", b"three")
    regions = [measured("a"), measured("b")]
    file_photo(archive, photo_of(source, regions), source, [RegionOf("a", 1), RegionOf("b", 2)])
    assert verify(archive) == []


def test_verify_works_on_a_connection_of_another_row_factory(archive):
    archive.conn.row_factory = None
    assert verify(archive) == []


def test_a_folder_of_photos_that_was_moved_is_one_line(archive):
    archive.photos.rename(archive.folder / "elsewhere")
    archive.close()
    with open_archive(archive.folder) as opened:
        (problem,) = [p for p in verify(opened) if p.kind.startswith("photo")]
    assert "none of the 2 photos is in the folder" in str(problem)
    assert "put the folder back" in problem.do


def test_a_link_to_a_disk_that_is_not_there_is_told(archive):
    archive.photos.rename(archive.folder / "elsewhere")
    archive.photos.symlink_to(archive.folder / "not connected")
    archive.close()
    with pytest.raises(ArchiveError, match=r"photos is no folder: .* connect that first"):
        open_archive(archive.folder)


def test_a_sweep_takes_no_photos_that_another_database_may_name(archive):
    """Beside a database made anew, or an old copy of it, all that was filed since looks stray."""
    strays = [archive.photos / f"{n:064d}.jpg" for n in range(12)]
    for path in strays:
        path.write_bytes(b"of an archive that is not open here")
        os.utime(path, (0, 0))
    with pytest.raises(ArchiveError, match=r"12 are named by no row, and 2 are: .*Nothing was rem"):
        sweep(archive)
    assert all(path.is_file() for path in strays)
    for path in strays[10:]:
        path.unlink()
    assert sweep(archive) == strays[:10]  # what a run that was stopped may leave
