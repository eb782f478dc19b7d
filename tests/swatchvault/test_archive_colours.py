"""What is read back: colours with their doubt, lots of a colourway, masters, verdicts, lists."""

import json
from dataclasses import replace

import numpy as np
import pytest

from swatchvault.archive import (
    ABOUT,
    LISTS,
    DyeIn,
    Lot,
    LotCheck,
    LotDye,
    Master,
    PhotoFacts,
    RegionOf,
    Setup,
    Swatch,
    add_lot,
    add_setup,
    add_swatch,
    colours,
    create_archive,
    current_master,
    decide_same_dyes,
    export_rows,
    file_photo,
    listing,
    lot_dyes,
    measured_or_not_found,
    record_check,
    same_dyes,
    set_master,
    show,
    swatch_colours,
    swatches_of_colourway,
)
from swatchvault.archive.listing import Rows, in_order
from swatchvault.archive.lot_verdict import check_of
from swatchvault.archive.made import made_of, speaking_labs
from swatchvault.archive.pages_check import checks_of_lot
from swatchvault.archive.repeat_sets import learned_of_setup
from swatchvault.errors import ArchiveError, NotFound
from tests.swatchvault.factories import (
    LAB,
    STUDIO,
    covariance,
    dump,
    measured,
    photo_file,
    photo_of,
    studio,
)


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    """Two swatches in one photo, then the first alone and a month later."""
    folder = tmp_path_factory.mktemp("template")
    with create_archive(folder / "yarn") as made:
        studio(made.conn)
        window = add_setup(made.conn, Setup("window", locked=True, light="daylight")).id
        both = photo_file(folder, "both.jpg", b"both")
        pair = [measured("a"), measured("b", (44.0, 30.0, -7.0))]
        file_photo(made, photo_of(both, pair), both, [RegionOf("a", 1, True), RegionOf("b", 2)])
        late = photo_file(folder, "late.jpg", b"late")
        alone = photo_of(late, [measured("a", (41.0, 31.0, -9.0))], taken_at="2026-04-02T11:00:00")
        file_photo(made, alone, late, [RegionOf("a", 1)], PhotoFacts(window))
    return folder / "yarn"


def test_a_stored_colour_holds_all_that_a_comparison_needs(archive):
    first, late = swatch_colours(archive.conn, 1)
    assert tuple(first.lab) == LAB
    assert np.array_equal(first.covariance.total, covariance().total)
    assert first.flags == {"glare", "scale unknown"}
    assert (first.swatch_id, first.swatch, first.lot, first.skein) == (1, "sun 1", "L1", "a")
    assert (first.colourway, first.base, first.form, first.dry) == (
        "Low sun",
        "Lumme",
        "skein",
        True,
    )
    assert (first.reference, first.shadow_sd, first.clipped_share) == ("steps", 0.12, 0.01)
    assert np.isnan(first.mm_per_px)
    assert first.tonality == {"evenness": 1.5}
    assert (first.setup, first.locked, first.light) == (None, None, None)
    assert (late.setup, late.locked, late.light) == ("window", True, "daylight")
    assert late.taken_at == "2026-04-02T11:00:00"


def test_an_unknown_doubt_comes_back_as_nan(archive, tmp_path):
    source = photo_file(tmp_path, "c.jpg", b"c")
    unknown = replace(covariance(), profile=np.full((3, 3), np.nan))
    found = photo_of(source, [measured(covariance=unknown, shadow_sd=float("nan"))])
    file_photo(archive, found, source, [RegionOf("new", 2)])
    stored = swatch_colours(archive.conn, 2)[-1]
    assert np.all(np.isnan(stored.covariance.profile))
    assert np.isnan(stored.shadow_sd)
    assert np.array_equal(stored.covariance.frame, covariance().frame)


def test_swatches_of_one_frame_are_found_by_their_photo(archive):
    (other,) = swatch_colours(archive.conn, 2)
    found = colours(archive.conn, photo_sha256=other.photo_sha256)
    assert {c.swatch for c in found} == {"sun 1", "sun 2"}


@pytest.mark.parametrize(
    ("limits", "number"),
    [
        ({}, 3),
        ({"colourway": "low sun"}, 3),
        ({"base": "Torva"}, 0),
        ({"form": "knit"}, 0),
        ({"swatch_ids": [2]}, 1),
        ({"swatch_ids": []}, 0),
        ({"colourway": "Low sun", "base": "Lumme", "form": "skein", "swatch_ids": [1, 2]}, 3),
    ],
)
def test_colours_meet_every_condition(archive, limits, number):
    assert len(colours(archive.conn, **limits)) == number


def test_the_newest_of_equals_speaks_for_each_swatch(archive):
    ids, labs = speaking_labs(archive.conn)
    assert ids.tolist() == [1, 2]
    assert labs.tolist() == [[41.0, 31.0, -9.0], [44.0, 30.0, -7.0]]
    rows = {r["swatch"]: r for r in export_rows(archive.conn, "latest_colours").records()}
    assert rows["sun 1"]["lab_l"] == 41.0
    # u^2 of L*: 0.1 x (1 + 2 + 3 + 4), the four parts of the factory summed
    assert rows["sun 1"]["variance_l"] == pytest.approx(1.0)
    assert rows["sun 1"]["flags"] == "glare; scale unknown"


def test_an_empty_archive_has_no_colours(tmp_path):
    with create_archive(tmp_path / "new") as empty:
        ids, labs = speaking_labs(empty.conn)
    assert ids.tolist() == []
    assert labs.shape == (0, 3)


def test_a_swatch_without_a_photo_is_told(archive):
    add_swatch(archive.conn, Swatch("bare", "Lumme", "knit", "L1"))
    with pytest.raises(NotFound, match="'bare' has no measured photo yet"):
        measured_or_not_found(archive.conn, "bare")
    with pytest.raises(NotFound, match=r"unknown swatch 'sun 3'.*'sun 2', 'sun 1'"):
        measured_or_not_found(archive.conn, "sun 3")
    assert len(measured_or_not_found(archive.conn, "sun 1")) == 2


def test_lots_of_a_colourway_stand_by_their_day_else_their_first_photo(archive):
    conn = archive.conn

    def lots():
        return [r for r in listing(conn, "lots").records() if r["colourway"] == "Low sun"]

    def stand():
        found = swatches_of_colourway(conn, "Low sun", form="skein")
        by_id = made_of(conn, [2, 1])
        assert [(m.swatch, m.day, m.by_photo) for m in by_id.values()] == [
            (s.swatch, s.day, s.by_photo) for s in found
        ]
        assert [row["lot"] for row in lots()] == [s.lot for s in found]
        return [(s.lot, s.day, s.by_photo) for s in found]

    assert stand() == [("L1", "2026-03-01", False), ("L2", "2026-04-01", False)]
    photographed = conn.execute("SELECT min(substr(taken_at, 1, 10)) FROM photo").fetchone()[0]
    conn.execute("UPDATE lot SET dyed_on = NULL WHERE code = 'L1'")
    conn.execute("UPDATE lot SET dyed_on = '2020-01-01' WHERE code = 'L2'")
    assert stand() == [("L2", "2020-01-01", False), ("L1", photographed, True)]
    assert [row["first_photo_on"] for row in lots()] == [None, photographed]
    conn.execute("UPDATE lot SET dyed_on = NULL")
    assert [lot for lot, *_ in stand()] == ["L1", "L2"]  # one photo shows both: as entered


# --- the same dyes? ----------------------------------------------------------------------------


def dyes(*pairs):
    return [LotDye(dye, pack, None, None, None) for dye, pack in pairs]


E1, E2, T1 = ("Ember", "E1"), ("Ember", "E2"), ("Tarn", "T1")
UNKNOWN = ("Ember", None)


@pytest.mark.parametrize(
    ("a", "b", "same"),
    [
        ([E1, T1], [T1, E1], True),
        ([E1, E2], [E2, E1, E1], True),
        ([E1], [E2], False),
        ([E1], [T1], False),
        ([E1], [E1, T1], False),
        ([E1], [E1, E2], False),
        ([UNKNOWN], [T1], False),  # the dyes differ, whatever the packs
        ([UNKNOWN, T1], [E1, ("Tarn", "T2")], False),  # one pack is known to differ
        ([UNKNOWN], [E1], None),
        ([UNKNOWN], [UNKNOWN], None),
        ([], [E1], None),
        ([], [], None),
    ],
)
def test_same_dyes_is_yes_no_or_unknown(a, b, same):
    assert decide_same_dyes(dyes(*a), dyes(*b)) is same
    assert decide_same_dyes(dyes(*b), dyes(*a)) is same


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        (("S1", None), ("S1", None), True),  # a stock is of one pack, whatever its name
        (("S1", None), ("S2", None), None),
        (("S1", None), (None, None), None),
        ((None, None), (None, None), None),
        (("S1", "E1"), ("S2", "E1"), True),
        (("S1", "E1"), ("S2", None), None),
    ],
)
def test_one_stock_is_of_one_pack(one, other, same):
    lots = [[LotDye("Ember", pack, stock, None, None)] for stock, pack in (one, other)]
    assert decide_same_dyes(*lots) is same and decide_same_dyes(*reversed(lots)) is same


def test_same_dyes_of_lots_by_their_own_records(archive):
    conn = archive.conn
    one, two = (c.lot_id for c in (swatch_colours(conn, 1)[0], swatch_colours(conn, 2)[0]))
    assert [(d.dye, d.pack, d.stock) for d in lot_dyes(conn, one)] == [
        ("Ember", "E1", "S1"),
        ("Tarn", None, "S1"),
    ]
    assert same_dyes(conn, one, two) is None
    add_lot(conn, Lot("L2", ("Lumme",), dyes_in=(DyeIn("Ember", stock="S2"), DyeIn("Tarn"))))
    assert same_dyes(conn, one, two) is False
    assert same_dyes(conn, one, None) is None


# --- masters -----------------------------------------------------------------------------------

SUN = Master("Low sun", "Lumme", "skein", "sun 1", since="2026-03-03", reason="first good one")


def test_the_latest_master_is_in_force_and_the_earlier_ones_stay(archive):
    conn = archive.conn
    assert current_master(conn, "Low sun", "Lumme", "skein") is None
    assert set_master(conn, SUN).change == "added"
    later = replace(SUN, swatch="sun 2", tolerance=1.5, since="2026-05-01", reason="new water")
    set_master(conn, later)
    held = current_master(conn, "low sun", "lumme", "skein")
    assert (held.swatch, held.tolerance, held.k_l, held.reason) == ("sun 2", 1.5, 2.0, "new water")
    # told late, but of an earlier day: kept, not in force
    set_master(conn, replace(SUN, tolerance=3.0, since="2026-04-01"))
    assert current_master(conn, "Low sun", "Lumme", "skein") == held
    assert len(export_rows(conn, "master").rows) == 3
    before = dump(conn)
    for again in (SUN, later, replace(later, since=None)):
        assert set_master(conn, again).change == "same"
    assert dump(conn) == before
    with pytest.raises(Exception, match="kept as it was"):
        conn.execute("UPDATE master SET tolerance = 9")


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"form": "knit"}, "of another form"),
        ({"base": "Torva"}, "of another base"),
        ({"colourway": "Wet slate", "form": "knit"}, "of another colourway and form"),
        ({"tolerance": 0.0}, "tolerance must be above 0"),
        ({"since": "spring"}, "since must be a date"),
        ({"swatch": "sun 9"}, "unknown swatch 'sun 9'"),
    ],
)
def test_a_master_that_cannot_be_is_refused(archive, changes, words):
    with pytest.raises(ArchiveError, match=words):
        set_master(archive.conn, replace(SUN, **changes))
    assert export_rows(archive.conn, "master").rows == ()


def test_lots_stand_beside_their_master_with_the_last_verdict(archive):
    conn = archive.conn
    master = set_master(conn, SUN).id
    check = LotCheck(
        1, 2, "cannot tell", 2.0, 2.0, 1.9, "same frame", "Cannot tell.",
        master_measurements=(1,), lot_measurements=(2,), master_id=master,
        d_lch=(1.75, -0.5, 0.25), p_within=0.3, same_dyes=None, checked_at="2026-05-01T10:00:00Z",
        detail={"reasons": ["doubt"], "u": float("nan")},
    )  # fmt: skip
    record_check(conn, check)
    record_check(conn, replace(check, verdict="within", checked_at="2026-05-02T10:00:00Z"))
    (row,) = export_rows(conn, "lots_against_master").records()
    assert (row["lot"], row["master_swatch"], row["last_verdict"]) == ("L2", "sun 1", "within")
    assert (row["delta_l"], row["delta_c"], row["delta_h"]) == (1.75, -0.5, 0.25)
    assert (row["delta_e_00"], row["photos"]) == (1.9, "same frame")
    kept = export_rows(conn, "lot_check").records()
    assert [r["verdict"] for r in kept] == ["cannot tell", "within"]
    assert (kept[0]["delta_l"], kept[0]["delta_h"], kept[0]["same_dyes"]) == (1.75, 0.25, None)
    assert json.loads(kept[0]["detail"]) == {"reasons": ["doubt"], "u": None}
    assert len(export_rows(conn, "lot_check_measurement").rows) == 4
    with pytest.raises(Exception, match="kept as it was"):
        conn.execute("DELETE FROM lot_check")
    with pytest.raises(ArchiveError, match="refused: verdict"):
        record_check(conn, replace(check, verdict="fine"))


# --- lists -------------------------------------------------------------------------------------


@pytest.mark.parametrize("what", LISTS)
def test_every_list_can_be_asked_for(archive, what):
    assert listing(archive.conn, what).columns


def test_a_list_can_be_narrowed_by_a_text(archive):
    assert [r[0] for r in listing(archive.conn, "swatches", "SUN 2").rows] == ["sun 2"]
    assert listing(archive.conn, "bases").records()[0]["fibres"] == "80 % wool, 20 % silk"
    with pytest.raises(NotFound, match="there are bases, "):
        listing(archive.conn, "yarns")


@pytest.mark.parametrize(
    ("what", "name", "titles"),
    [
        ("base", "lumme", {"base", "fibres", "swatches"}),
        ("dye", "Ember", {"dye", "packs", "stocks", "lots"}),
        ("colourway", "low sun", {"colourway", "recipes", "plan", "lots"}),
        ("lot", "l1", {"lot", "dyes that went in", "pot log", "skeins", "colours"}),
        ("swatch", "sun 1", {"swatch", "colours", "how even it is"}),
        ("setup", "window", {"setup", "photos"}),
    ],
)
def test_one_thing_is_shown_with_all_that_belongs_to_it(archive, what, name, titles):
    assert {title for title, _ in show(archive.conn, what, name)} == titles


def test_what_cannot_be_shown_is_told(archive):
    with pytest.raises(NotFound, match="there are base, "):
        show(archive.conn, "yarn", "x")
    with pytest.raises(NotFound, match=r"unknown lot 'L9'.*'L1', 'L2', 'W1'"):
        show(archive.conn, "lot", "L9")


@pytest.mark.parametrize("name", ABOUT)
def test_every_table_and_view_can_be_exported(archive, name):
    rows = export_rows(archive.conn, name)
    assert len(set(rows.columns)) == len(rows.columns)
    json.dumps(rows.records())


@pytest.mark.parametrize(
    ("largest_first", "order"), [(False, [2, 10, "a", "B", None]), (True, ["B", "a", 10, 2, None])]
)
def test_rows_by_a_column_of_numbers_and_words(largest_first, order):
    rows = Rows(("seen",), (("B",), (10,), (None,), ("a",), (2,)))
    assert [r[0] for r in in_order(rows, "seen", largest_first).rows] == order


@pytest.mark.parametrize("name", ["sqlite_master", 'base" --', "nothing"])
def test_nothing_else_can_be_exported(archive, name):
    with pytest.raises(NotFound, match="unknown table or view"):
        export_rows(archive.conn, name)


def test_lists_work_whatever_the_row_factory(archive):
    archive.conn.row_factory = None
    assert swatch_colours(archive.conn, 1)[0].swatch == "sun 1"
    assert listing(archive.conn, "lots").records()[0]["lot"] == "W1"
    assert STUDIO.lots[0].code in {r["lot"] for r in export_rows(archive.conn, "lots").records()}


@pytest.mark.parametrize("what", ["swatches", "colours"])
def test_unevenness_is_listed_with_its_doubt(archive, what):
    columns = listing(archive.conn, what).columns
    assert columns.index("u_unevenness") == columns.index("unevenness") + 1


def test_what_was_given_last_counts_also_if_the_clock_went_back(archive):
    """A computer whose clock stood in 2031 for a day hides nothing of what came after."""
    conn = archive.conn
    master = set_master(conn, SUN).id
    told = LotCheck(
        1, 2, "within", 2.0, 2.0, 1.9, "same frame", "Alike.",
        master_measurements=(1,), lot_measurements=(2,), master_id=master,
        checked_at="2031-05-01T10:00:00Z",
    )  # fmt: skip
    record_check(conn, told)
    last = record_check(conn, replace(told, verdict="outside", checked_at="2026-05-02T10:00:00Z"))
    (row,) = export_rows(conn, "lots_against_master").records()
    assert row["last_verdict"] == "outside"
    (lot,) = conn.execute("SELECT id FROM lot WHERE code = 'L2'").fetchone()
    assert conn.execute(f"SELECT {check_of(str(lot))}").fetchone()[0] == last
    assert [c["id"] for c in checks_of_lot(conn, lot)] == [last, last - 1]
    (setup,) = conn.execute("INSERT INTO setup (name) VALUES ('cellar') RETURNING id").fetchone()
    sql = "INSERT INTO repeat_set (setup_id, learned_at, learned) VALUES (?, ?, ?)"
    conn.execute(sql, (setup, "2031-05-01T10:00:00Z", '{"of": "the wrong day"}'))
    conn.execute(sql, (setup, "2026-05-02T10:00:00Z", '{"of": "today"}'))
    assert learned_of_setup(conn, setup) == {"of": "today"}
