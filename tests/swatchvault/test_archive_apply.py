"""Notes written to an archive: all or nothing, again without change, every mistake placed."""

from dataclasses import replace

import pytest

from swatchvault.archive import (
    Colourway,
    Lot,
    Master,
    Notes,
    PhotoNote,
    Recipe,
    Setup,
    apply_notes,
    create_archive,
    current_master,
    export_rows,
    get_setup,
    get_swatch,
    set_master,
)
from swatchvault.errors import ArchiveError, NotFound
from swatchvault.notes import read_notes
from tests.swatchvault.factories import STUDIO, dump


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    folder = tmp_path_factory.mktemp("template") / "yarn"
    create_archive(folder).close()
    return folder


ROW = PhotoNote(
    photo="1.jpg",
    swatch="sun 1",
    region="new",
    base="Lumme",
    form="skein",
    colourway="Low sun",
    lot="L1",
    skein="a",
    dry=True,
    light="daylight",
    setup="window",
    locked=True,
    note="north",
    where="photos.csv, line 2",
)
MASTER = Master("Low sun", "Lumme", "skein", "sun 1", since="2026-03-02")
WHOLE = replace(STUDIO, photos=(ROW,), masters=(MASTER,))


def test_everything_is_written_and_rows_are_resolved(conn):
    applied = apply_notes(conn, WHOLE)
    (region,) = applied.regions
    assert (region.photo, region.region, region.dry, region.light) == (
        "1.jpg",
        "new",
        True,
        "daylight",
    )
    assert get_swatch(conn, "sun 1").skein == "a"
    assert get_setup(conn, "window").locked is True
    assert current_master(conn, "Low sun", "Lumme", "skein").swatch_id == region.swatch_id
    assert (applied.changed, applied.same) == (0, 0)


def test_the_same_notes_again_change_nothing(conn):
    first = apply_notes(conn, WHOLE)
    before = dump(conn)
    again = apply_notes(conn, WHOLE)
    assert dump(conn) == before
    assert (again.added, again.changed, again.same) == (0, 0, first.added)
    assert again.regions == first.regions


def test_a_swatch_seen_wet_and_dry_is_one_swatch_and_settles(conn):
    wet = replace(ROW, photo="0.jpg", dry=False)
    notes = replace(WHOLE, photos=(wet, ROW))
    assert len({r.swatch_id for r in apply_notes(conn, notes).regions}) == 1
    before = dump(conn)
    apply_notes(conn, notes)
    assert dump(conn) == before


def test_a_known_swatch_needs_only_its_label(conn):
    more = PhotoNote("2.jpg", "SUN 1")
    regions = apply_notes(conn, replace(WHOLE, photos=(ROW, more))).regions
    assert regions[0].swatch_id == regions[1].swatch_id
    assert apply_notes(conn, Notes(photos=(more,))).regions[0].swatch_id == regions[0].swatch_id


def test_undyed_yarn_has_no_lot(conn):
    bare = PhotoNote("3.jpg", "plain", base="Torva", form="wound card")
    apply_notes(conn, replace(STUDIO, photos=(bare,)))
    swatch = get_swatch(conn, "plain")
    assert (swatch.lot, swatch.base) == (None, "Torva")
    with pytest.raises(ArchiveError, match="kept as undyed yarn"):
        apply_notes(conn, Notes(photos=(replace(bare, lot="W1"),)))


def test_masters_are_set_oldest_first_and_their_history_settles(conn):
    second = replace(ROW, photo="2.jpg", swatch="sun 2", lot="L2", skein=None)
    later = replace(MASTER, swatch="sun 2", since="2026-05-01")
    undated = replace(MASTER, tolerance=1.0, since=None)
    notes = replace(WHOLE, photos=(ROW, second), masters=(undated, later, MASTER))
    for _ in range(2):
        apply_notes(conn, notes)
        kept = export_rows(conn, "master").records()
        assert [r["since"] for r in kept][:2] == ["2026-03-02", "2026-05-01"]
        assert len(kept) == 3


def test_a_master_without_a_date_in_the_notes_does_not_undo_a_later_choice(conn):
    second = replace(ROW, photo="2.jpg", swatch="sun 2", lot="L2", skein=None)
    notes = replace(WHOLE, photos=(ROW, second), masters=(replace(MASTER, since=None),))
    apply_notes(conn, notes)
    set_master(conn, replace(MASTER, swatch="sun 2", since="2999-01-01"))
    apply_notes(conn, notes)
    assert current_master(conn, "Low sun", "Lumme", "skein").swatch == "sun 2"
    assert len(export_rows(conn, "master").rows) == 2


def test_recipes_may_stand_in_any_order_but_not_in_a_circle(conn):
    turned = replace(STUDIO, recipes=STUDIO.recipes[::-1])
    apply_notes(conn, turned)
    assert len(export_rows(conn, "recipe").rows) == 2
    circle = Notes(recipes=(
        Recipe("Wet slate", "Torva", 1, parent=2), Recipe("Wet slate", "Torva", 2, parent=1),
    ))  # fmt: skip
    with pytest.raises(ArchiveError, match="through its parents"):
        apply_notes(conn, circle)


@pytest.mark.parametrize(
    ("changes", "kind", "words"),
    [
        ({"base": "Lume"}, NotFound, "unknown base 'Lume': the archive has 'Lumme', 'Torva'"),
        ({"lot": "L7"}, NotFound, "unknown lot 'L7': the archive has 'L1', 'L2', 'W1'"),
        ({"skein": "z"}, NotFound, "unknown skein 'z'.*pot skein LOT SKEIN. records one"),
        ({"colourway": "High sun"}, NotFound, "unknown colourway 'High sun'"),
        ({"colourway": "Wet slate"}, ArchiveError, "its lot 'L1' is of colourway 'Low sun'"),
        ({"lot": None, "skein": None}, ArchiveError, "leave the colourway blank for undyed"),
        ({"base": "Torva"}, ArchiveError, "the lot holds 'Lumme'"),
        ({"base": None}, ArchiveError, "is new: give its base and its form"),
        ({"form": None}, ArchiveError, "is new: give its base and its form"),
        ({"locked": False}, ArchiveError, "setup 'window' already has locked 1, not 0"),
    ],
)
def test_a_mistake_is_placed_and_nothing_at_all_is_written(conn, changes, kind, words):
    notes = replace(
        WHOLE, setups=(Setup("window", locked=True),), photos=(replace(ROW, **changes),)
    )
    before = dump(conn)
    with pytest.raises(kind, match=words) as error:
        apply_notes(conn, notes)
    assert str(error.value).startswith("photos.csv, line 2: ")
    assert "\n" not in str(error.value)
    assert dump(conn) == before


def test_a_mistake_late_in_the_notes_undoes_the_early_ones(conn):
    with pytest.raises(NotFound, match="unknown base 'Nowhere'"):
        apply_notes(conn, Notes(colourways=(Colourway("x"),), lots=(Lot("q", ("Nowhere",)),)))
    assert export_rows(conn, "colourway").rows == ()


def test_notes_from_files_reach_the_archive(conn, tmp_path):
    (tmp_path / "studio.toml").write_text(
        """
[[base]]
name = "Lumme"
fibres = {wool = 80, silk = 20}
[[dye]]
name = "Ember"
[[stock]]
dye = "Ember"
code = "S1"
grams = 1
made_up_to_ml = 100
[[colourway]]
name = "Low sun"
[[lot]]
code = "L1"
base = "Lumme"
colourway = "Low sun"
dyed_on = 2026-03-01
dry_g = 50
dyes_in = [{dye = "Ember", stock = "S1", amount = "40 mL"}]
""",
        encoding="utf-8",
    )
    (tmp_path / "photos.csv").write_text(
        "photo,swatch,base,form,lot\n1.jpg,sun 1,Lumme,skein,L1\n", encoding="utf-8"
    )
    apply_notes(conn, read_notes(tmp_path))
    (used,) = export_rows(conn, "dyes_used").records()
    assert used["depth_percent"] == pytest.approx(0.8)  # 40 mL x 1 g / 100 mL on 50 g
    assert get_swatch(conn, "sun 1").lot == "L1"
