"""A name is one name in any case and in any of Unicode's forms, of any letters."""

import sqlite3
import unicodedata
from pathlib import Path

import pytest

from swatchvault.archive import (
    Base,
    BaseLot,
    Colourway,
    Dye,
    DyeIn,
    DyePack,
    Lot,
    Notes,
    OwnedReference,
    RegionOf,
    Setup,
    Skein,
    Stock,
    Swatch,
    add_reference,
    add_setup,
    add_swatch,
    apply_notes,
    create_archive,
    file_photo,
    listing,
    open_archive,
    show,
    start_pot,
    stocks_held,
    verify,
)
from swatchvault.archive.lots import skein_doubts
from swatchvault.archive.made import Filters, swatches_where
from swatchvault.archive.names import find, find_of, folded, renamed_to
from swatchvault.archive.rename import id_of, rename
from swatchvault.archive.wall import wall
from swatchvault.errors import ArchiveError, NotFound
from tests.swatchvault.factories import photo_file, photo_of
from tests.swatchvault.running import run

NAME = "Élan Ö"
SAME = [NAME, "élan ö", "ÉLAN Ö", unicodedata.normalize("NFD", "éLaN ö")]
OTHER = ["Elan O", "Élan", "Élan Ö 1"]
CAPITALS = unicodedata.normalize("NFD", NAME.upper())


def told(conn, name):
    """One of each kind that has a name, all called so."""
    apply_notes(conn, Notes(
        bases=(Base(name, {"Wölle": 100.0}),),
        base_lots=(BaseLot(name, name),),
        dyes=(Dye(name),),
        packs=(DyePack(name, name),),
        stocks=(Stock(name, name, 2.0, 200.0, pack=name),),
        colourways=(Colourway(name),),
        lots=(Lot(name, (name,), name, dry_g=100.0, skeins=(Skein(name, 50.0, base_lot=name),),
                  dyes_in=(DyeIn(name, "10 mL", stock=name),)),),
    ))  # fmt: skip
    add_reference(conn, OwnedReference(name, "card", y=(0.18,)))
    add_setup(conn, Setup(name, light="daylight", reference=name))
    add_swatch(conn, Swatch(name, name, "skein", name, name))


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    with create_archive(tmp_path_factory.mktemp("names") / "yarn") as made:
        told(made.conn, NAME)
        return made.folder


@pytest.mark.parametrize("asked", SAME)
@pytest.mark.parametrize(
    "table", ["base", "dye", "colourway", "lot", "swatch", "setup", "reference"]
)
def test_a_row_is_found_in_any_case(archive, table, asked):
    assert find(archive.conn, table, asked) == 1


@pytest.mark.parametrize("table", ["dye_pack", "stock", "base_lot", "skein"])
def test_a_row_within_another_is_found_in_any_case(archive, table):
    for asked in SAME:
        assert find_of(archive.conn, table, 1, asked) == id_of(archive.conn, table, asked) == 1
    apply_notes(archive.conn, Notes(bases=(Base("Brio"),), dyes=(Dye("Brio"),)))
    if table == "stock":
        with pytest.raises(NotFound, match="is of the dye 'Élan Ö', not of 'Brio'"):
            find_of(archive.conn, table, find(archive.conn, "dye", "Brio"), CAPITALS)


@pytest.mark.parametrize("asked", OTHER)
def test_another_spelling_is_another_name(archive, asked):
    with pytest.raises(NotFound, match="unknown colourway"):
        find(archive.conn, "colourway", asked)
    apply_notes(archive.conn, Notes(colourways=(Colourway(asked),)))
    assert len(listing(archive.conn, "colourways").rows) == 2


@pytest.mark.parametrize("again", SAME)
def test_the_same_told_again_in_another_case_makes_no_second_one(archive, again):
    def counts():
        tables = ("base", "base_lot", "dye", "dye_pack", "stock", "colourway", "lot", "skein",
                  "setup", "reference", "swatch", "lot_dye")  # fmt: skip
        return [archive.conn.execute(f"SELECT count(*) FROM {t}").fetchone()[0] for t in tables]

    before = counts()
    told(archive.conn, again)
    assert counts() == before == [1] * len(before)
    assert [row[0] for row in listing(archive.conn, "colourways").rows] == [NAME]


def test_what_is_asked_by_a_name_is_found(archive, capsys):
    conn = archive.conn
    assert [s.code for s in stocks_held(conn, CAPITALS)] == [NAME]
    assert dict(show(conn, "lot", CAPITALS))["skeins"].rows
    assert skein_doubts(conn, CAPITALS, CAPITALS) == []
    assert [c.name for c in wall(conn, text="LAN ö")] == [NAME] and wall(conn, text="lan o") == []
    assert len(listing(conn, "colourways", CAPITALS).rows) == 1
    path = photo_file(archive.folder.parent)
    file_photo(archive, photo_of(path), path, [RegionOf("new", 1)])
    for fibre, found in (("wÖLLE", {1}), ("wolle", set())):
        assert swatches_where(conn, Filters(fibre=fibre, base=CAPITALS, dye=CAPITALS)) == found
    with pytest.raises(ArchiveError, match="is there already"):
        start_pot(conn, Lot(CAPITALS, (NAME,)), "2026-03-01T10:00", {})
    ran = run(capsys, "show", "colourway", "élan ö", "--archive", archive.folder)
    assert ran.code == 0 and NAME in ran.out


def test_undyed_yarn_does_not_get_a_lot_by_its_label_in_another_case(archive):
    add_swatch(archive.conn, Swatch("Bär", NAME, "skein"))
    with pytest.raises(ArchiveError, match="is kept as undyed yarn"):
        add_swatch(archive.conn, Swatch("BÄR", NAME, "skein", NAME))


def test_a_taken_name_is_refused_and_case_alone_may_change(archive):
    conn = archive.conn
    apply_notes(conn, Notes(colourways=(Colourway("Brio"),)))
    with pytest.raises(ArchiveError, match="is taken by the colourway 'Élan Ö'"):
        rename(conn, "colourway", find(conn, "colourway", "brio"), "élan ö")
    done = rename(conn, "colourway", 1, "élan ö")
    assert done.changed and len(done.lines) == 1  # notes in the old case still find it
    rename(conn, "colourway", 1, "Cri")
    assert renamed_to(conn, "colourway", CAPITALS)[0] == "Cri"
    with pytest.raises(NotFound, match="was renamed to 'Cri'"):
        find(conn, "colourway", "ÉLAN Ö")
    with pytest.raises(ArchiveError, match="was renamed to 'Cri'"):
        apply_notes(conn, Notes(colourways=(Colourway("éLAN Ö"),)))


def test_an_old_archive_may_have_a_name_twice_and_opens(archive):
    conn = archive.conn
    conn.execute("INSERT INTO colourway (name) VALUES ('élan ö')")
    conn.execute("INSERT INTO dye (name) VALUES (?)", (unicodedata.normalize("NFD", "Öl"),))
    with open_archive(archive.folder) as again:
        conn = again.conn
        assert (find(conn, "colourway", NAME), find(conn, "colourway", "élan ö")) == (1, 2)
        with pytest.raises(ArchiveError, match="could be 'Élan Ö' and 'élan ö': write it as one"):
            find(conn, "colourway", "ÉLAN Ö")
        assert find(conn, "dye", "öl") == 2
        assert verify(again) == []
        rename(conn, "colourway", 2, "Brio")
        assert find(conn, "colourway", "ÉLAN Ö") == 1


def test_letters_that_case_changes_in_number_stay_as_they_are():
    assert folded("STRASSE") != folded("Straße") == folded("STRAẞE")
    assert folded("ΟΔΟΣ") == folded("Οδος") and folded("İ") != folded("i")
    assert folded("\u212bngström") == folded("ångström")  # the unit's sign is the letter


def test_plain_sqlite_reads_every_table_and_view(archive):
    conn = sqlite3.connect(Path(archive.folder) / "archive.db")
    sql = "SELECT name FROM sqlite_master WHERE type IN ('table', 'view')"
    names = conn.execute(sql).fetchall()
    assert {("measurement",), ("current_measurement",)} <= set(names)
    for (name,) in names:
        conn.execute(f'SELECT * FROM "{name}"').fetchall()
    conn.execute("REINDEX")
    conn.close()
