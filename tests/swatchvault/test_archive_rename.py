"""A name mended in place: what follows it, what is refused, and old notes read again."""

import pytest

from swatchvault.archive import (
    Base,
    BaseLot,
    Lot,
    Notes,
    OwnedReference,
    PhotoNote,
    Setup,
    add_base_lot,
    add_colourway,
    add_lot,
    add_reference,
    add_setup,
    apply_notes,
    create_archive,
    find,
    get_lot,
    get_pot,
    get_swatch,
    listing,
    show,
    start_pot,
    verify,
)
from swatchvault.archive.entities import Colourway
from swatchvault.archive.migrate import migrate
from swatchvault.archive.names import NAMED_BY, NAMED_WITHIN
from swatchvault.archive.publishing import publish
from swatchvault.archive.rename import earlier_names, id_of, name_of, rename
from swatchvault.archive.schema_renamed import TABLES
from swatchvault.errors import ArchiveError, NotFound
from tests.swatchvault.factories import STUDIO, dump, studio

#: Of each table something that the studio has, and of what it is where several could be.
THERE = {
    "colourway": ("Low sun", None),
    "lot": ("L1", None),
    "skein": ("b", None),
    "swatch": ("sun 1", None),
    "base": ("Lumme", None),
    "base_lot": ("spring", None),
    "dye": ("Ember", None),
    "dye_pack": ("E1", None),
    "stock": ("S1", "Ember"),
    "setup": ("bench", None),
    "reference": ("grey", None),
}


@pytest.fixture
def archive(tmp_path):
    with create_archive(tmp_path / "yarn") as made:
        studio(made.conn)
        add_base_lot(made.conn, BaseLot("Lumme", "spring"))
        add_reference(made.conn, OwnedReference("grey", "card", (0.18,)))
        add_setup(made.conn, Setup("bench", reference="grey"))
        yield made


def mend(conn, table, old, new, owner=None):
    return rename(conn, table, id_of(conn, table, old, owner), new)


def test_every_table_of_named_things_can_be_mended():
    assert set(TABLES) == set(THERE) == {*NAMED_BY, *NAMED_WITHIN}


@pytest.mark.parametrize("table", THERE)
def test_one_name_changes_and_the_old_one_is_kept_beside_it(archive, table):
    old, owner = THERE[table]
    before = dump(archive.conn)
    row_id = id_of(archive.conn, table, old.upper(), owner)
    done = rename(archive.conn, table, row_id, "  Another \n name ")
    assert (done.old, done.new, done.changed) == (old, "Another name", True)
    assert name_of(archive.conn, table, row_id) == "Another name"
    after = dump(archive.conn)
    assert [t for t in before if before[t] != after[t]] == sorted((table, "renamed"))
    assert earlier_names(archive.conn, table, row_id).records()[0]["old_name"] == old
    assert verify(archive) == []


@pytest.mark.parametrize("table", THERE)
def test_an_old_name_is_told_where_something_is_looked_for(archive, table):
    old, owner = THERE[table]
    mend(archive.conn, table, old, "Another", owner)
    owner = owner or {"skein": "L1", "base_lot": "Lumme", "dye_pack": "Ember"}.get(table)
    with pytest.raises(NotFound, match=f"'{old}' was renamed to 'Another' on 20.*write 'Another'"):
        id_of(archive.conn, table, old, owner)


def test_what_belongs_to_it_shows_the_new_name(archive):
    mend(archive.conn, "colourway", "Low sun", "Low Sun at Noon")
    mend(archive.conn, "base", "Lumme", "Lumme 4")
    mend(archive.conn, "lot", "L1", "L01")
    mend(archive.conn, "stock", "S1", "S01", "Ember")
    lot = get_lot(archive.conn, "L01")
    assert (lot.colourway, lot.bases, lot.dyes_in[0].stock) == (
        "Low Sun at Noon", ("Lumme 4",), "S01"
    )  # fmt: skip
    assert lot.dyes_in[1].stock == "S1"  # of the other dye
    assert get_swatch(archive.conn, "sun 1").lot == "L01"
    shown = dict(show(archive.conn, "lot", "L01"))
    assert [r["old_name"] for r in shown["earlier names"].records()] == ["L1"]
    told = listing(archive.conn, "renamed").records()
    assert [(r["kind"], r["old_name"], r["new_name"]) for r in told] == [
        ("stock", "S1", "S01"),
        ("lot", "L1", "L01"),
        ("base", "Lumme", "Lumme 4"),
        ("colourway", "Low sun", "Low Sun at Noon"),
    ]


def test_the_stocks_that_a_pot_is_planned_from_follow(archive):
    plan = {"ember": "s1", "Tarn": "S1"}
    start_pot(archive.conn, Lot("L9", ("Lumme",), "Low sun"), "2026-05-01T10:00", plan)
    mend(archive.conn, "stock", "S1", "S01", "Ember")
    assert get_pot(archive.conn, "L9").planned_from == {"ember": "S01", "Tarn": "S1"}
    mend(archive.conn, "dye", "Ember", "Embers")
    assert get_pot(archive.conn, "L9").planned_from == {"Embers": "S01", "Tarn": "S1"}
    mend(archive.conn, "colourway", "Low sun", "Tarn")
    assert get_pot(archive.conn, "L9").planned_from == {"Embers": "S01", "Tarn": "S1"}


def test_case_alone_may_change_and_the_same_name_changes_nothing(archive):
    assert mend(archive.conn, "colourway", "low sun", "LOW SUN").old == "Low sun"
    before = dump(archive.conn)
    assert not mend(archive.conn, "colourway", "low sun", "LOW SUN").changed
    assert dump(archive.conn) == before
    assert len(before["renamed"]) == 1


@pytest.mark.parametrize(
    ("table", "old", "new", "said"),
    [
        ("colourway", "Low sun", "wet  SLATE", "'wet SLATE' is taken by the colourway 'Wet slate'"),
        ("lot", "L1", "l2", "'l2' is taken by the lot 'L2' of colourway Low sun, dyed on 2026-04-"),
        ("lot", "L2", "W1", "'W1' is taken by the lot 'W1' of colourway Wet slate: choose another"),
        ("swatch", "sun 1", "Sun 2", "by the swatch 'sun 2' of lot L2: choose another name; two "),
        ("dye_pack", "E1", "E2", "'E2' is taken by the dye pack 'E2' of dye Ember: choose another"),
        ("skein", "a", "B", "'B' is taken by the skein 'b' of lot L1: choose another name"),
        ("base", "Lumme", " \t ", "new name of the base is blank: give it a name"),
        ("base", "Lumme", "x" * 121, "has 121 characters: 120 is the most"),
        ("base", "Lumme", "Lu\x07mme", "holds invisible control characters: type it anew"),
    ],
)
def test_a_name_that_cannot_be_is_refused(archive, table, old, new, said):
    before = dump(archive.conn)
    with pytest.raises(ArchiveError, match=said):
        mend(archive.conn, table, old, new)
    assert dump(archive.conn) == before


def test_names_within_another_are_free_elsewhere(archive):
    assert mend(archive.conn, "dye_pack", "T1", "E1").new == "E1"
    with pytest.raises(
        ArchiveError, match="'E1' could be that of dye Ember, that of dye Tarn: say"
    ):
        id_of(archive.conn, "dye_pack", "E1")
    with pytest.raises(NotFound, match="unknown dye pack 'Q': the archive has 'E1', 'E2'"):
        id_of(archive.conn, "dye_pack", "Q")
    # the old name of a pack of one dye says nothing of another's
    with pytest.raises(NotFound, match="unknown dye pack 'T1'"):
        id_of(archive.conn, "dye_pack", "T1", "Ember")


@pytest.mark.parametrize("table", ["colourway", "lot", "base", "dye", "dye_pack", "stock", "skein"])
def test_old_notes_read_again_are_refused_and_change_nothing(archive, table):
    old, owner = THERE[table]
    mend(archive.conn, table, old, "Another", owner)
    before = dump(archive.conn)
    with pytest.raises(ArchiveError, match=f"'{old}' was renamed to 'Another'"):
        apply_notes(archive.conn, STUDIO)
    assert dump(archive.conn) == before


@pytest.mark.parametrize(
    ("table", "row"),
    [
        ("swatch", PhotoNote("p.jpg", "sun 1", base="Lumme", lot="L1", form="skein", where="2")),
        ("swatch", PhotoNote("p.jpg", "sun 1", where="2")),
        ("lot", PhotoNote("p.jpg", "sun 1", lot="L1", where="2")),
        ("colourway", PhotoNote("p.jpg", "sun 1", colourway="Low sun", lot="L1", where="2")),
        ("base", PhotoNote("p.jpg", "sun 1", base="Lumme", where="2")),
        ("setup", PhotoNote("p.jpg", "sun 1", setup="bench", where="2")),
    ],
)
def test_a_row_of_old_photo_notes_is_told_the_new_name(archive, table, row):
    old, _ = THERE[table]
    assert apply_notes(archive.conn, Notes(photos=(row,))).added == 0
    mend(archive.conn, table, old, "Another")
    before = dump(archive.conn)
    with pytest.raises(ArchiveError, match=f"^2: .*'{old}' was renamed to 'Another'.*'Another'"):
        apply_notes(archive.conn, Notes(photos=(row,)))
    assert dump(archive.conn) == before


def test_a_set_up_is_called_so_in_what_is_said(archive):
    mend(archive.conn, "setup", "bench", "sill")
    with pytest.raises(ArchiveError, match=r"^set-up 'bench' was renamed to 'sill' on 20"):
        add_setup(archive.conn, Setup("bench"))


def test_the_same_notes_with_the_new_name_change_nothing(archive):
    mend(archive.conn, "base", "Torva", "Torva haze")
    before = dump(archive.conn)
    apply_notes(archive.conn, Notes(bases=(Base("Torva haze", {"mohair": 100.0}),)))
    assert dump(archive.conn) == before


def test_another_thing_takes_a_free_name_when_it_is_renamed_to_it(archive):
    mend(archive.conn, "lot", "L1", "L8")
    with pytest.raises(ArchiveError, match="if another is meant, add it by a name of its own and"):
        add_lot(archive.conn, Lot("L1", ("Lumme",)))
    other = add_lot(archive.conn, Lot("L1 new", ("Lumme",))).id
    assert rename(archive.conn, "lot", other, "L1").before == "L8"
    assert find(archive.conn, "lot", "L1") == other
    assert add_lot(archive.conn, Lot("L1", ("Lumme",))).change == "same"


def test_back_and_forth_ends_where_it_began(archive):
    for old, new in (("Low sun", "Noon"), ("Noon", "Low sun")):
        assert mend(archive.conn, "colourway", old, new).before is None
    assert add_colourway(archive.conn, Colourway("Low sun")).change == "same"
    with pytest.raises(ArchiveError, match="'Noon' was renamed to 'Low sun'"):
        add_colourway(archive.conn, Colourway("Noon"))


def test_of_several_that_had_a_name_the_last_is_told(archive):
    mend(archive.conn, "lot", "L1", "A")
    mend(archive.conn, "lot", "L2", "L1")
    mend(archive.conn, "lot", "L1", "B")
    mend(archive.conn, "lot", "B", "C")
    with pytest.raises(NotFound, match="'L1' was renamed to 'C'"):
        find(archive.conn, "lot", "L1")


def test_a_published_copy_has_the_new_names_alone(archive, tmp_path):
    mend(archive.conn, "colourway", "Wet slate", "Rained-on roof")
    for name in ("plain", "full"):
        publish(archive, tmp_path / name, recipes=name == "full")
        body = (tmp_path / name / "archive.db").read_bytes()
        assert b"Rained-on roof" in body
        assert b"Wet slate" not in body


def test_a_row_that_is_not_there_is_said(archive):
    with pytest.raises(NotFound, match=r"There is no dye pack of the number 99 in the archive"):
        rename(archive.conn, "dye_pack", 99, "x")
    assert migrate(archive.conn) == 0
