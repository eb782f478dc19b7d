"""Facts that were typed wrong, put right, and what was worked out from them."""

import json
import sqlite3
from dataclasses import replace

import pytest

from swatchvault.archive import (
    Base,
    BaseLot,
    Colourway,
    Dye,
    DyeIn,
    DyePack,
    Lot,
    LotCheck,
    Master,
    Notes,
    PhotoFacts,
    RegionOf,
    Skein,
    Stock,
    Swatch,
    add_stock,
    add_swatch,
    apply_notes,
    create_archive,
    current_master,
    file_photo,
    get_stock,
    open_archive,
    record_check,
    set_master,
    start_pot,
    swatch_id_of,
)
from swatchvault.archive.aside import set_aside
from swatchvault.archive.pages_yarn import master_of_swatch, masters_of_colourway
from swatchvault.archive.standing import no_longer
from swatchvault.archive.wall import wall
from swatchvault.errors import ArchiveError
from tests.swatchvault.factories import photo_file, photo_of, studio
from tests.swatchvault.running import run

STOCK = "SELECT stock.* FROM stock JOIN dye ON dye.id = dye_id WHERE code = 'S1' AND name = 'Ember'"
LOT, SWATCH = "SELECT * FROM lot WHERE code = 'T'", "SELECT * FROM swatch WHERE label = 'sun 9'"


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """An archive with a lot whose dye came from stock S1 of Ember; another dye has an S1 too."""
    place = tmp_path / "yarn"
    with create_archive(place) as made:
        studio(made.conn)
        dyes = (DyeIn("Ember", "10 mL", stock="S1"), DyeIn("Ember", "0.2 g"))
        lot = Lot("T", ("Lumme",), "Low sun", dry_g=100.0, dyes_in=dyes)
        apply_notes(made.conn, Notes(lots=(lot,)))
        add_swatch(made.conn, Swatch("sun 9", "Lumme", "skein", "T"))
    monkeypatch.setenv("SWATCHVAULT_ARCHIVE", str(place))
    return place


def row_of(folder, sql):
    with open_archive(folder) as archive:
        return dict(archive.conn.execute(sql).fetchone())


def dye_of(folder):
    with open_archive(folder) as archive:
        sql = "SELECT dye_g FROM lot_dye JOIN lot ON lot.id = lot_id WHERE code = 'T'"
        return [row[0] for row in archive.conn.execute(f"{sql} ORDER BY position")]


def test_a_stock_put_right_is_worked_out_anew_in_every_lot(folder, capsys):
    was, before = row_of(folder, STOCK), dye_of(folder)
    asked = ("mend", "stock", "S1", "--of", "Ember", "--grams", 3 * was["grams"])
    ran = run(capsys, *asked, "--mixed-on", "2026-02-01")
    assert ran.code == 0, ran.err
    assert f"grams {3 * was['grams']:g}, was {was['grams']:g}" in ran.out
    assert "worked out anew" in ran.out
    now = row_of(folder, STOCK)
    assert (now["grams"], now["mixed_on"]) == (3 * was["grams"], "2026-02-01")
    assert now["made_up_to_ml"] == was["made_up_to_ml"]
    assert dye_of(folder) == pytest.approx([3 * before[0], before[1]])  # powder stays
    assert run(capsys, "verify").code == 0
    again = json.loads(run(capsys, *asked, "--json").out)
    assert again["changes"] == [] and again["amounts"] == 0


def test_a_swatch_and_a_lot_are_put_right(folder, capsys):
    out = run(capsys, "mend", "swatch", "sun 9", "--form", "knit").out
    assert "swatch 'sun 9': form knit, was skein" in out
    out = run(capsys, "mend", "lot", "T", "--dyed-on", "2026-04-02", "--dry-g", 110).out
    assert "dry_g 110, was 100" in out and "dyed_on 2026-04-02, was not known" in out
    assert row_of(folder, SWATCH)["form"] == "knit"
    lot = row_of(folder, LOT)
    assert (lot["dyed_on"], lot["dry_g"]) == ("2026-04-02", 110)


@pytest.mark.parametrize(("typed", "grams"), [("120 g", 120), ("0,2 kg", 200), ("90.5", 90.5)])
def test_a_weight_may_carry_its_unit(folder, capsys, typed, grams):
    assert run(capsys, "mend", "lot", "T", "--dry-g", typed).code == 0
    assert row_of(folder, LOT)["dry_g"] == grams
    ran = run(capsys, "mend", "lot", "T", "--dry-g", "5 mL")
    assert ran.code == 2 and "is no mass" in ran.err


def test_a_master_keeps_its_form(folder, capsys):
    with open_archive(folder) as archive:
        set_master(archive.conn, Master("Low sun", "Lumme", "skein", "sun 9"))
    ran = run(capsys, "mend", "swatch", "sun 9", "--form", "knit")
    assert ran.code == 1 and "is a master or was held to one" in ran.err


@pytest.mark.parametrize(
    ("asked", "code", "words"),
    [
        (("stock", "S1", "--form", "knit"), 2, "of a stock can be mended: --grams"),
        (("lot", "T"), 2, "--dyed-on, --dry-g, --colourway, --remove"),
        (("lot", "T", "--base", "Torva"), 2, "of a lot can be mended: --dyed-on"),
        (("lot", "T", "--remove", "--dry-g", 5), 2, "--remove, alone"),
        (("stock", "S1", "--of", "Ember", "--remove", "--grams", 5), 2, "--remove, alone"),
        (("dye", "Ember"), 2, "of a dye can be mended: --remove, alone"),
        (("recipe", "Low sun", "--remove"), 2, "which needs it and --of its base"),
        (("lot", "T", "--remove", "--version", 1), 2, "--version goes with recipe"),
        (("recipe", "Low sun", "--version", "9" * 20, "--remove"), 2, "is no whole number"),
        (
            ("base", "Lumme"),
            2,
            "of a base can be mended: --fibres, --price-per-kg, --superwash, --remove",
        ),
        (("swatch", "sun 9", "--base", "Lume"), 1, "unknown base 'Lume'"),
        (("lot", "T", "--colourway", "Low snu"), 1, "unknown colourway 'Low snu'"),
        (("lot", "T", "--dry-g", 5, "--of", "Ember"), 2, "--of goes with stock"),
        (("lot", "nine", "--dry-g", 5), 1, "unknown lot 'nine'"),
        (("stock", "S1", "--grams", 3), 1, "say which dye with --of"),
        (("stock", "S1", "--of", "Ember", "--grams", 0), 1, "refused: grams"),
        (("lot", "T", "--dyed-on", "2.4.2026"), 1, "write a date such as 2026-03-01"),
        (("lot", "T", "--dyed-on", "2199-01-01"), 1, "--dyed-on is 2199-01-01, which has not come"),
    ],
)
def test_what_cannot_be_is_refused_in_a_line(folder, capsys, asked, code, words):
    before = (row_of(folder, STOCK), dye_of(folder), row_of(folder, LOT))
    ran = run(capsys, "mend", *asked)
    assert ran.code == code and words in ran.err, ran.err
    assert (row_of(folder, STOCK), dye_of(folder), row_of(folder, LOT)) == before


# --- what a swatch or lot is of ----------------------------------------------------------------


def ask(folder, sql):
    with open_archive(folder) as archive:
        return [tuple(row) for row in archive.conn.execute(sql)]


def tell(folder, **notes):
    with open_archive(folder) as archive:
        apply_notes(archive.conn, Notes(**notes))


def add_swatches(folder, *swatches):
    with open_archive(folder) as archive:
        for swatch in swatches:
            add_swatch(archive.conn, swatch)


def bases_of(folder, code):
    sql = (
        "SELECT name FROM lot JOIN lot_base ON lot_id = lot.id JOIN base ON base.id = base_id "
        f"WHERE code = '{code}' ORDER BY base.id"
    )
    return [name for (name,) in ask(folder, sql)]


SOK = Base("Lume")
BASE_OF = "SELECT base.name FROM swatch JOIN base ON base.id = base_id WHERE label = '{}'"


def test_a_swatch_on_a_mistyped_base_is_put_on_the_right_one_and_its_lot_with_it(folder, capsys):
    tell(folder, bases=(SOK,), lots=(Lot("T", ("Lume",), "Low sun"),))
    add_swatches(folder, Swatch("sun 10", "Lume", "knit", "T"))
    assert bases_of(folder, "T") == ["Lumme", "Lume"]
    ran = run(capsys, "mend", "swatch", "sun 10", "--base", "lumme", "--json")
    said = json.loads(ran.out)
    assert said["changes"] == [{"field": "base", "old": "Lume", "new": "Lumme"}]
    assert said["also"] == ["lot 'T' is on 'Lumme' now"]
    assert bases_of(folder, "T") == ["Lumme"]
    assert ask(folder, BASE_OF.format("sun 10")) == [("Lumme",)]
    assert run(capsys, "mend", "base", "Lume", "--remove").code == 0
    assert ask(folder, "SELECT 1 FROM base WHERE name = 'Lume'") == []
    assert run(capsys, "verify").out == "everything fits\n"
    again = json.loads(run(capsys, "mend", "swatch", "sun 10", "--base", "Lumme", "--json").out)
    assert again["changes"] == again["also"] == []


def test_a_skein_with_its_swatches_delivery_and_earlier_lot_goes_along(folder, capsys):
    skein = Skein("a", 50.0, 49.0, base_lot="D1")
    over = Skein("x", from_lot="U", from_skein="a")
    tell(
        folder,
        bases=(SOK,),
        base_lots=(BaseLot("Lume", "D1", "2026-01-02", "in a box"),),
        lots=(
            Lot("U", ("Lume",), "Low sun", skeins=(skein,)),
            Lot("V", ("Lume",), "Low sun", overdyes="U", skeins=(over,)),
        ),
    )
    swatches = [("u 1", "U", "a", "D1"), ("u 2", "U", "a", None), ("v 1", "V", "x", None)]
    add_swatches(folder, *(Swatch(n, "Lume", "knit", *of) for n, *of in swatches))
    ran = run(capsys, "mend", "swatch", "u 1", "--base", "Lumme")
    assert ran.code == 0, ran.err
    for words in ("delivery 'D1'", "skein 'x'", "swatch 'u 2'", "lot 'V' is on 'Lumme' now"):
        assert words in ran.out
    for name, *_ in swatches:
        assert ask(folder, BASE_OF.format(name)) == [("Lumme",)]
    assert bases_of(folder, "U") == bases_of(folder, "V") == ["Lumme"]
    sql = (
        "SELECT base.name, label, received_on, base_lot.note FROM base_lot "
        "JOIN base ON base.id = base_id WHERE label = 'D1'"
    )
    assert ask(folder, sql) == [("Lumme", "D1", "2026-01-02", "in a box")]
    assert run(capsys, "verify").out == "everything fits\n"
    assert run(capsys, "mend", "base", "Lume", "--remove").code == 0


DELIVERIES = (
    "SELECT base.name, received_on, base_lot.note FROM base_lot JOIN base ON base.id = base_id "
    "WHERE label = 'D1' ORDER BY base.id"
)
TOLD = ("2026-01-02", "in a box")


@pytest.mark.parametrize(
    ("there", "then", "differs"),
    [
        ((None, None), [("Torva", *TOLD)], None),
        ((None, "in a box"), [("Torva", *TOLD)], None),
        (("2026-01-02", "soft"), None, "note 'soft', not 'in a box'"),
        (("2026-02-02", None), None, "received on '2026-02-02', not '2026-01-02'"),
    ],
)
def test_what_is_told_of_a_delivery_stays_where_the_other_base_has_that_label(
    folder, capsys, there, then, differs
):
    tell(folder, base_lots=(BaseLot("Lumme", "D1", *TOLD), BaseLot("Torva", "D1", *there)))
    add_swatches(folder, Swatch("w 1", "Lumme", "knit", base_lot="D1"))
    ran = run(capsys, "mend", "swatch", "w 1", "--base", "Torva")
    assert ran.code == 0, ran.err
    assert "delivery 'D1' is of it too" in ran.out
    assert ask(folder, DELIVERIES) == (then or [("Lumme", *TOLD), ("Torva", *there)])
    assert (f"as the archive has it ({differs}); that of 'Lumme' is kept" in ran.out) == bool(
        differs
    )
    of = "SELECT base.name FROM swatch JOIN base_lot ON base_lot.id = base_lot_id JOIN base"
    assert ask(folder, f"{of} ON base.id = base_lot.base_id") == [("Torva",)]
    assert run(capsys, "verify").out == "everything fits\n"


def test_a_lot_that_would_have_one_base_more_is_asked_about(folder, capsys):
    add_swatches(folder, Swatch("sun 10", "Lumme", "knit", "T"))
    asked = ("mend", "swatch", "sun 10", "--base", "Torva")
    ran = run(capsys, *asked)
    assert ran.code == 1 and "its lot would be on one base more" in ran.err
    assert bases_of(folder, "T") == ["Lumme"]
    assert ask(folder, BASE_OF.format("sun 10")) == [("Lumme",)]
    ran = run(capsys, *asked, "--yes")
    assert "'Lumme' and 'Torva' now: swatch 'sun 9' is still on 'Lumme'" in ran.out
    assert bases_of(folder, "T") == ["Lumme", "Torva"]
    assert run(capsys, "verify").code == 0


def test_a_swatch_filed_as_undyed_is_put_into_its_lot(folder, capsys):
    add_swatches(folder, Swatch("sun 10", "Lumme", "knit"), Swatch("sun 11", "Torva", "knit"))
    ran = run(capsys, "mend", "swatch", "sun 10", "--lot", "T")
    assert ran.out.startswith("swatch 'sun 10': lot T, was not known\n")
    of = "SELECT code FROM swatch JOIN lot ON lot.id = lot_id WHERE label = '{}'"
    assert ask(folder, of.format("sun 10")) == [("T",)]
    ran = run(capsys, "mend", "swatch", "sun 11", "--lot", "T")
    assert ran.code == 1 and "its lot would be on one base more" in ran.err
    assert ask(folder, of.format("sun 11")) == [] and bases_of(folder, "T") == ["Lumme"]
    both = ("mend", "swatch", "sun 11", "--base", "Lumme", "--lot", "T")
    assert run(capsys, *both).code == 0
    assert ask(folder, of.format("sun 11")) == [("T",)]
    ran = run(capsys, "mend", "swatch", "sun 9", "--lot", "T 2")
    assert ran.code == 1 and "unknown lot 'T 2'" in ran.err
    with open_archive(folder) as archive:
        apply_notes(archive.conn, Notes(lots=(Lot("U", ("Lumme",)),)))
    ran = run(capsys, "mend", "swatch", "sun 9", "--lot", "U")
    assert ran.out.startswith("swatch 'sun 9': lot U, was T\n")
    assert ask(folder, of.format("sun 9")) == [("U",)]
    assert run(capsys, "verify").out == "everything fits\n"


def test_a_swatch_of_a_wrong_lot_leads_to_what_puts_it_right(folder, capsys):
    with open_archive(folder) as archive:
        apply_notes(archive.conn, Notes(lots=(Lot("U", ("Lumme",)),)))
        with pytest.raises(ArchiveError, match=r"mend swatch \"sun 9\" --lot \"U\"") as said:
            add_swatch(archive.conn, Swatch("sun 9", "Lumme", "knit", "U"))
    assert "'sun 9' is kept as of another lot, 'T' and not 'U'" in str(said.value)
    judged(folder)
    ran = run(capsys, "mend", "swatch", "sun 9", "--lot", "U", "--yes")
    assert ran.code == 1 and "it is a master or was held to one as that: file its photo" in ran.err
    ran = run(capsys, "mend", "swatch", "sun 1", "--lot", "U", "--yes")
    assert ran.code == 1 and "of its skein 'a': file its photo as of lot 'U'" in ran.err


def test_undyed_yarn_changes_its_base_alone(folder, capsys):
    add_swatches(folder, Swatch("bare", "Lumme", "skein"))
    ran = run(capsys, "mend", "swatch", "bare", "--base", "Torva")
    assert ran.out.splitlines()[0] == "swatch 'bare': base Torva, was Lumme"
    assert ask(folder, BASE_OF.format("bare")) == [("Torva",)]


def judged(folder):
    """Swatch "new 1" of lot N, of its own colourway and base, master and twice in a verdict."""
    lots = (Lot("N", ("Lume",), "New"),)
    tell(folder, bases=(SOK,), colourways=(Colourway("New"),), lots=lots)
    add_swatches(folder, Swatch("new 1", "Lume", "knit", "N"))
    with open_archive(folder) as archive:
        set_master(archive.conn, Master("New", "Lume", "knit", "new 1"))
        mine, other = (swatch_id_of(archive.conn, s) for s in ("new 1", "sun 9"))
        for pair in ((mine, other), (other, mine)):
            facts = ("within", 2.0, 2.0, 0.5, "same frame", "no change")
            record_check(archive.conn, LotCheck(*pair, *facts))


@pytest.mark.parametrize(
    "asked",
    [
        ("mend", "swatch", "new 1", "--base", "Torva"),
        ("mend", "lot", "N", "--colourway", "Low sun"),
    ],
    ids=["base", "colourway"],
)
def test_what_masters_and_verdicts_hang_on_is_told_first_and_they_stay(folder, capsys, asked):
    judged(folder)
    given = [ask(folder, f"SELECT * FROM {table}") for table in ("master", "lot_check")]
    before = ask(folder, "SELECT * FROM swatch"), ask(folder, "SELECT * FROM lot")
    ran = run(capsys, *asked)
    assert ran.code == 1 and ran.err.count("\n") == 1
    for words in ("was made the master of 'New' on 'Lume'", "2 verdicts", "--yes"):
        assert words in ran.err
    assert (ask(folder, "SELECT * FROM swatch"), ask(folder, "SELECT * FROM lot")) == before
    assert run(capsys, *asked, "--yes").code == 0
    assert (ask(folder, "SELECT * FROM swatch"), ask(folder, "SELECT * FROM lot")) != before
    assert [ask(folder, f"SELECT * FROM {table}") for table in ("master", "lot_check")] == given
    assert run(capsys, "verify").code == 0


MOVES = {
    "base": (("swatch", "new 1", "--base", "Torva"), ("swatch", "new 1", "--base", "Lume")),
    "colourway": (("lot", "N", "--colourway", "Low sun"), ("lot", "N", "--colourway", "New")),
}


@pytest.mark.parametrize(("there", "back"), MOVES.values(), ids=MOVES)
def test_a_master_of_other_yarn_now_stands_no_longer_and_says_so(folder, capsys, there, back):
    judged(folder)
    said = "'new 1' was made the master of 'New' on 'Lume' as knit and is of other yarn now"
    held = "SELECT swatch, colourway, base FROM current_masters WHERE colourway = 'New'"
    assert ask(folder, held) == [("new 1", "New", "Lume")]
    assert said in run(capsys, "mend", *there).err
    assert said in run(capsys, "mend", *there, "--yes").out
    assert ask(folder, held) == []
    with open_archive(folder) as archive:
        conn = archive.conn
        assert current_master(conn, "New", "Lume", "knit") is None
        (number,) = conn.execute("SELECT id FROM colourway WHERE name = 'New'").fetchone()
        swatch = swatch_id_of(conn, "new 1")
        assert masters_of_colourway(conn, number) == [] and master_of_swatch(conn, swatch) is None
        (tile,) = (c for c in wall(conn) if c.name == "New")
        assert not tile.has_master
        (line,) = no_longer(conn, "held.swatch_id = ?", (swatch,))
        assert said in line and "held to nothing" in line
    for thing, section in (("swatch", "no longer master of"), ("colourway", "masters no longer")):
        name = {"swatch": "new 1", "colourway": "New"}[thing]
        (row,) = json.loads(run(capsys, "show", thing, name, "--json").out)[section]
        assert (row["swatch"], row["colourway"], row["base"]) == ("new 1", "New", "Lume")
    ran = run(capsys, "mend", *back, "--yes")
    assert ran.code == 0 and "stands no longer" not in ran.out
    assert ask(folder, held) == [("new 1", "New", "Lume")]
    with open_archive(folder) as archive:
        (tile,) = (c for c in wall(archive.conn) if c.name == "New")
        assert tile.has_master


def test_no_earlier_master_comes_back_where_the_last_one_falls(folder, capsys):
    judged(folder)
    add_swatches(folder, Swatch("new 2", "Lume", "knit", "N"))
    with open_archive(folder) as archive:
        set_master(archive.conn, Master("New", "Lume", "knit", "new 2"))
    for swatch, base in (("new 1", "Torva"), ("new 2", "Torva"), ("new 1", "Lume")):
        assert run(capsys, "mend", "swatch", swatch, "--base", base, "--yes").code == 0
    with open_archive(folder) as archive:
        assert current_master(archive.conn, "New", "Lume", "knit") is None
        (tile,) = (c for c in wall(archive.conn) if c.name == "New")
        assert not tile.has_master
        set_master(archive.conn, Master("New", "Lume", "knit", "new 1"))
        assert current_master(archive.conn, "New", "Lume", "knit").swatch == "new 1"
        assert no_longer(archive.conn, "held.form = ?", ("knit",)) == []


@pytest.mark.parametrize("kind", ["swatch", "lot"])
def test_a_master_that_others_are_held_to_stays_what_it_is(folder, capsys, kind):
    with open_archive(folder) as archive:
        set_master(archive.conn, Master("Low sun", "Lumme", "skein", "sun 9"))
    of = {"swatch": ("sun 9", "--base", "Torva"), "lot": ("T", "--colourway", "Wet slate")}[kind]
    ran = run(capsys, "mend", kind, *of, "--yes")
    assert ran.code == 1 and "is held to it: make another the master there first" in ran.err
    assert ask(folder, BASE_OF.format("sun 9")) == [("Lumme",)]


def test_the_colourway_of_a_lot_is_put_right_unless_it_follows_a_recipe(folder, capsys):
    ran = run(capsys, "mend", "lot", "T", "--colourway", "wet slate")
    assert "lot 'T': colourway Wet slate, was Low sun" in ran.out
    sql = "SELECT name FROM lot JOIN colourway ON colourway.id = colourway_id WHERE code = '{}'"
    assert ask(folder, sql.format("T")) == [("Wet slate",)]
    ran = run(capsys, "mend", "lot", "L1", "--colourway", "Wet slate", "--yes")
    assert ran.code == 1 and "follows version 1 of 'Low sun' on 'Lumme'" in ran.err
    assert ask(folder, sql.format("L1")) == [("Low sun",)]


def test_an_error_sends_only_to_what_mend_mends(folder):
    tell(folder, bases=(SOK,), lots=(Lot("T", ("Lume",)),))
    for swatch, hint in (
        (Swatch("sun 9", "Lume", "skein", "T"), True),
        (Swatch("sun 9", "Lumme", "knit", "L1"), True),
        (Swatch("sun 1", "Lumme", "skein", "L2"), False),  # of a skein of its lot
    ):
        with open_archive(folder) as archive, pytest.raises(ArchiveError) as error:
            add_swatch(archive.conn, swatch)
        assert ("swatchvault mend" in str(error.value)) is hint


# --- let go ------------------------------------------------------------------------------------


def test_the_pack_of_a_stock_is_put_right(folder, capsys):
    def mend(pack):
        return run(capsys, "mend", "stock", "S1", "--of", "Ember", "--pack", pack)

    packs = "SELECT dye_pack.code FROM stock JOIN dye_pack ON dye_pack.id = dye_pack_id "
    packs += "JOIN dye ON dye.id = stock.dye_id WHERE stock.code = 'S1' AND dye.name = 'Ember'"
    ((was,),) = ask(folder, packs)
    now = {"E1": "E2", "E2": "E1"}[was]
    with open_archive(folder) as archive, pytest.raises(ArchiveError, match="swatchvault mend"):
        add_stock(archive.conn, replace(get_stock(archive.conn, "Ember", "S1"), pack=now))
    assert mend("T1").code == 1  # of another dye
    out = mend(now.lower()).out
    assert f"pack {now}, was {was}" in out and "anew" not in out
    assert ask(folder, packs) == [(now,)]
    lot = Lot("B", ("Lumme",), dyes_in=(DyeIn("Ember", "1 mL", now, "S1"),))
    tell(folder, lots=(lot,))
    assert f"lot 'B' says that what it took from this stock was of another pack than '{was}'" in (
        mend(was).err
    )
    assert ask(folder, packs) == [(now,)]


@pytest.mark.parametrize(
    ("kind", "name", "words"),
    [
        ("base", "Lumme", "2 recipes, 4 lots, 3 swatches. Only"),
        ("colourway", "Wet slate", "to it belong 1 lot. Only"),
        ("lot", "L1", "2 dyes that went in, 2 steps of its log, 2 skeins, 1 swatch. Only"),
        ("lot", "T", "2 dyes that went in, 1 swatch. Only"),
        ("dye", "Ember", "versions of recipes that name it, "),
        ("stock", "S1", "lots that it went into. Only"),
    ],
)
def test_what_something_belongs_to_stays_and_says_so(folder, capsys, kind, name, words):
    of = ("--of", "Ember") if kind == "stock" else ()
    ran = run(capsys, "mend", kind, name, *of, "--remove")
    assert ran.code == 1 and words in ran.err, ran.err


def test_a_judged_swatch_stays(folder, capsys):
    judged(folder)
    ran = run(capsys, "mend", "swatch", "new 1", "--remove")
    assert ran.code == 1 and "1 master that was set, 2 verdicts" in ran.err
    assert "1 swatch, 1 verdict. Only" in run(capsys, "mend", "lot", "N", "--remove").err


def test_what_nothing_belongs_to_can_go_and_its_old_names_with_it(folder, capsys):
    lots = (Lot("N", ("Fine",), "New"),)
    bases = (Base("Fine", {"wool": 100.0}),)
    tell(folder, bases=bases, colourways=(Colourway("New"),), lots=lots)
    add_swatches(folder, Swatch("new 1", "Fine", "knit", "N"))
    run(capsys, "rename", "base", "Fine", "Finer")
    for kind, name in (("swatch", "new 1"), ("lot", "N"), ("colourway", "New"), ("base", "Finer")):
        ran = run(capsys, "mend", kind, name, "--remove")
        assert ran.code == 0 and "is gone" in ran.out, ran.err
    assert ask(folder, "SELECT * FROM renamed") == []
    tell(folder, bases=(Base("Next"),))
    tell(folder, bases=(Base("Fine"),))  # was never the name of what has that number now
    assert run(capsys, "verify").out == "everything fits\n"
    said = run(capsys, "mend", "base", "Next", "--remove", "--json").out
    assert json.loads(said) == {"kind": "base", "name": "Next", "removed": True}


OF_LUMME = ("--of", "Lumme")


def test_a_dye_and_a_stock_that_were_never_used_can_go(folder, capsys):
    stocks = (Stock("Moss", "S1", 1.0, 100.0), Stock("Ember", "S9", 1.0, 100.0))
    tell(folder, dyes=(Dye("Moss"),), packs=(DyePack("Moss", "M1"),), stocks=stocks)
    ran = run(capsys, "rename", "pack", "M1", "M2")
    assert ran.code == 0 and len(ask(folder, "SELECT * FROM renamed")) == 1, ran.err
    ran = run(capsys, "mend", "dye", "Moss", "--remove")
    assert ran.code == 1 and "on it rest 1 stock. Only" in ran.err
    for told in (
        ("stock", "S1", "--of", "Moss"),
        ("dye", "Moss"),
        ("stock", "S9", "--of", "Ember"),
    ):
        ran = run(capsys, "mend", *told, "--remove")
        assert ran.code == 0 and "is gone" in ran.out, ran.err
    assert ask(folder, "SELECT name FROM dye ORDER BY name") == [("Ember",), ("Tarn",)]
    assert ask(folder, "SELECT code FROM dye_pack ORDER BY code") == [("E1",), ("E2",), ("T1",)]
    assert ask(folder, "SELECT * FROM renamed") == []
    assert run(capsys, "verify").out.splitlines()[-1] == "everything fits"


def test_a_stock_that_a_pot_is_planned_from_stays(folder, capsys):
    tell(folder, stocks=(Stock("Ember", "S9", 1.0, 100.0),))
    with open_archive(folder) as archive:
        lot = Lot("P1", ("Lumme",), "Low sun", recipe_version=2)
        start_pot(archive.conn, lot, "2026-05-01T10:00", {"ember": "s9"})
    ran = run(capsys, "mend", "stock", "S9", "--of", "Ember", "--remove")
    assert ran.code == 1 and "on it rest 1 pot planned from it. Only" in ran.err


def test_the_newest_version_of_a_recipe_can_go_where_none_was_dyed_by_it(folder, capsys):
    def gone(version):
        return run(
            capsys, *("mend", "recipe", "Low sun", *OF_LUMME), "--version", version, "--remove"
        )

    before = ask(folder, "SELECT count(*) FROM recipe_step")
    ran = gone(1)
    assert ran.code == 1 and "1 lot dyed by it, 1 version that came from it. Only" in ran.err
    assert "recipe 'Low sun on Lumme, version 1' stays" in ran.err
    assert ask(folder, "SELECT count(*) FROM recipe_step") == before
    assert gone(7).code == 1
    assert gone(2).out.startswith("recipe 'Low sun on Lumme, version 2' is gone")
    assert ask(folder, "SELECT version FROM recipe") == [(1,)]
    sql = "SELECT 1 FROM recipe_part WHERE recipe_id NOT IN (SELECT id FROM recipe)"
    assert ask(folder, sql) == [] and run(capsys, "verify").code == 0


def relabelled(folder):
    """Swatch "slip", filed by mistake and set aside, and its photo moved to "sun 9" since."""
    add_swatches(folder, Swatch("slip", "Lumme", "skein", "T"))
    with open_archive(folder) as archive:
        slip, right = (swatch_id_of(archive.conn, name) for name in ("slip", "sun 9"))
        path = photo_file(folder.parent, "slip.jpg", b"slip")
        file_photo(archive, photo_of(path), path, [RegionOf("new", slip)])
        file_photo(archive, photo_of(path, version="2"), path, [RegionOf("new", slip)])
        set_aside(archive.conn, slip, photo_of(path).sha256, "the lamp was on")
        moved = photo_of(path, version="2")
        file_photo(archive, moved, path, [RegionOf("new", right)], PhotoFacts(relabel=True))


def test_a_swatch_whose_photo_was_moved_to_another_can_go_and_nothing_is_lost(folder, capsys):
    relabelled(folder)
    ((slip,), (right,)) = ask(folder, "SELECT DISTINCT swatch_id FROM measurement ORDER BY id")
    of = "SELECT id, swatch_id, superseded_by FROM measurement ORDER BY id"
    assert ask(folder, of) == [(1, slip, 2), (2, slip, 3), (3, right, None)]
    lab = "SELECT id, lab_l, measured_at, tonality FROM measurement ORDER BY id"
    schema = "SELECT name, sql FROM sqlite_master ORDER BY name"
    before = ask(folder, lab), ask(folder, schema)
    said = run(capsys, "mend", "swatch", "slip", "--remove").out
    assert "what was measured of 'sun 9' under that name stays with it" in said
    assert ask(folder, "SELECT * FROM swatch WHERE label = 'slip'") == []
    assert ask(folder, of) == [(1, right, 2), (2, right, 3), (3, right, None)]
    assert (ask(folder, lab), ask(folder, schema)) == before
    assert ask(folder, "SELECT swatch_id, taken_back_at IS NULL FROM set_aside") == [(right, 0)]
    assert ask(folder, "SELECT swatch FROM colours") == [("sun 9",)]
    problems = run(capsys, "verify").out
    assert problems == "everything fits\n"
    with open_archive(folder) as archive, pytest.raises(sqlite3.IntegrityError, match="kept"):
        archive.conn.execute("UPDATE measurement SET swatch_id = 1 WHERE id = 1")


def test_one_that_still_has_a_measurement_of_its_own_stays(folder, capsys):
    relabelled(folder)
    with open_archive(folder) as archive:
        slip = swatch_id_of(archive.conn, "slip")
        path = photo_file(folder.parent, "own.jpg", b"own")
        file_photo(archive, photo_of(path), path, [RegionOf("new", slip)])
    before = ask(folder, "SELECT id, swatch_id FROM measurement ORDER BY id")
    ran = run(capsys, "mend", "swatch", "slip", "--remove")
    assert ran.code == 1 and "to it belong 1 measurement, earlier ones too. Only" in ran.err
    assert ask(folder, "SELECT id, swatch_id FROM measurement ORDER BY id") == before


def test_one_that_a_word_hangs_on_stays(folder, capsys):
    relabelled(folder)
    run(capsys, "eye", "slip", "solid")
    ran = run(capsys, "mend", "swatch", "slip", "--remove")
    assert ran.code == 1 and "to it belong 1 word on its evenness. Only" in ran.err


def test_a_stock_is_not_put_right_to_more_than_its_own_weight_of_dye(folder, capsys):
    with sqlite3.connect(folder / "archive.db") as conn:
        code, dye, ml = conn.execute(
            "SELECT stock.code, dye.name, made_up_to_ml FROM stock JOIN dye ON dye.id = dye_id"
        ).fetchone()
    grams = f"{2 * ml:g}"
    ran = run(capsys, "mend", "stock", code, "--of", dye, "--grams", grams, "--archive", folder)
    assert ran.code != 0 and f"stock {code!r}: the strength of the stock is 200 g/100 mL" in ran.err
