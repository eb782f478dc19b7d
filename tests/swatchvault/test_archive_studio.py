"""Yarn, dyes, recipes, lots and swatches: stored once, read back, and refused where they clash."""

from dataclasses import replace

import pytest

from swatchvault.amounts import SpoonSizes
from swatchvault.archive import (
    Base,
    BaseLot,
    Colourway,
    Dye,
    DyeIn,
    DyePack,
    Lot,
    OwnedReference,
    PlannedDye,
    PlannedStep,
    PotStep,
    Recipe,
    RecipePart,
    Setup,
    Skein,
    Stock,
    Swatch,
    add_base,
    add_base_lot,
    add_colourway,
    add_dye,
    add_dye_pack,
    add_lot,
    add_recipe,
    add_reference,
    add_setup,
    add_skein,
    add_stock,
    add_swatch,
    create_archive,
    end_pot,
    export_rows,
    find,
    get_base,
    get_base_lot,
    get_colourway,
    get_dye,
    get_dye_pack,
    get_lot,
    get_pot,
    get_recipe,
    get_reference,
    get_setup,
    get_stock,
    get_swatch,
    set_spoons,
)
from swatchvault.archive.names import find_of
from swatchvault.errors import AmountError, ArchiveError, NotFound
from tests.swatchvault.factories import STUDIO, dump

LOT = next(lot for lot in STUDIO.lots if lot.code == "L1")
SUN_1 = Swatch("sun 1", "Lumme", "skein", "L1", "a")

# (function, thing, how to read it back)
THINGS = [
    (add_base, Base("Osk", {"wool": 99.95}, False, "2 ply", "none", 30.0, "hand washed"),
     lambda c: get_base(c, "Osk")),
    (add_base_lot, BaseLot("Lumme", "2026-01", "2026-01-15", "box 3"),
     lambda c: get_base_lot(c, "Lumme", "2026-01")),
    (add_dye, Dye("Rook", "milling acid", "dusty"), lambda c: get_dye(c, "Rook")),
    (add_dye_pack, DyePack("Tarn", "T2", "2026-02-03", "gift"),
     lambda c: get_dye_pack(c, "Tarn", "T2")),
    (add_stock, Stock("Tarn", "S9", 1.5, 150.0, "T1", "2026-02-04", 40.0, "2026-03-04", "shaken"),
     lambda c: get_stock(c, "Tarn", "S9")),
    (add_colourway, Colourway("First frost", "for winter"),
     lambda c: get_colourway(c, "First frost")),
    (add_recipe, Recipe("Wet slate", "Torva", 1, None,
        (RecipePart("dipped end", 40.0, (PlannedDye("Tarn", 1.25),), (PlannedStep("soak", "2 L"),)),
         RecipePart("whole", 60.0)), "try"),
     lambda c: get_recipe(c, "Wet slate", "Torva")),
    (add_lot, Lot("L9", ("Torva", "Lumme"), "Low sun", None, "L1", "2026-05-01", 80.0, 2000.0,
        "rain", (DyeIn("Tarn", "12 mL", "T1", None), DyeIn("Ember")),
        (PotStep("heat", "2026-05-01T09:00", None, 60.0, 20.0, 4.5, "some", "slow"),),
        (Skein("x", 40.0, 39.5, "Torva", None, "L1", "a", "over the old one"),), "second bath"),
     lambda c: get_lot(c, "L9")),
    (add_swatch, Swatch("slate 1", "Torva", "wound card", "W1", None, None, True, "label red"),
     lambda c: get_swatch(c, "slate 1")),
    (add_reference, OwnedReference("my steps", "steps", (0.9, 0.2, 0.04), None, None, 0.5, "me"),
     lambda c: get_reference(c, "my steps")),
    (add_reference, OwnedReference("card", "card", None, ((50.0, 0.0, 0.5),), None),
     lambda c: get_reference(c, "card")),
    (add_setup, Setup("window", "old phone", "daylight", True, None, "north"),
     lambda c: get_setup(c, "window")),
]  # fmt: skip


@pytest.mark.parametrize(("add", "thing", "get"), THINGS, ids=lambda v: getattr(v, "__name__", ""))
def test_each_thing_is_read_back_as_told_and_adding_it_again_changes_nothing(conn, add, thing, get):
    assert add(conn, thing).change == "added"
    assert get(conn) == thing
    before = dump(conn)
    assert add(conn, thing).change == "same"
    assert dump(conn) == before


def test_names_are_one_whatever_their_case_and_spaces(conn):
    assert add_base(conn, Base("  lumme ")).change == "same"
    assert find(conn, "base", "LUMME") == find(conn, "base", "Lumme")
    assert add_dye(conn, Dye("Cafe\u0301")).id == add_dye(conn, Dye("Caf\u00e9")).id


def test_a_blank_never_erases_and_a_new_fact_replaces(conn):
    assert add_base(conn, Base("Lumme")).change == "same"
    assert get_base(conn, "Lumme").price_per_kg == 48.0
    assert add_base(conn, Base("Lumme", price_per_kg=52.0)).change == "changed"
    assert get_base(conn, "Lumme") == replace(STUDIO.bases[0], price_per_kg=52.0)


@pytest.mark.parametrize(
    ("add", "thing", "words"),
    [
        (add_base, Base("Lumme", {"wool": 100.0}), "80 % wool, 20 % silk"),
        (add_stock, Stock("Ember", "S1", 4.0, 200.0), "grams 2.0, not 4.0"),
        (add_stock, Stock("Ember", "S1", 2.0, 200.0, "E2"), "another dye pack"),
        (add_recipe, replace(STUDIO.recipes[1], parts=()), "next version number"),
        (add_lot, replace(LOT, colourway="Wet slate", recipe_version=None), "another colourway"),
        (add_lot, replace(LOT, dyes_in=(DyeIn("Ember", "81 mL", stock="S1"),)), "other dyes"),
        (add_lot, replace(LOT, steps=LOT.steps[1:]), "other pot steps"),
        (add_swatch, replace(SUN_1, form="knit"), "form 'skein', not 'knit'"),
        (add_swatch, replace(SUN_1, lot="L2", skein=None), "another lot"),
    ],
)
def test_what_tells_one_thing_from_another_is_not_rewritten(conn, add, thing, words):
    before = dump(conn)
    with pytest.raises(ArchiveError, match=words) as error:
        add(conn, thing)
    assert "\n" not in str(error.value)
    assert dump(conn) == before


@pytest.mark.parametrize(
    ("add", "thing", "words"),
    [
        (add_base, Base("Osk", {"wool": 80.0, "silk": 19.8}), "sum to 99.8 %"),
        (add_base, Base("Osk", {"wool": float("nan")}), "100 % is needed"),
        (add_base, Base("Osk", {"wool": 120.0, "silk": -20.0}), "percent of a fibre"),
        (add_base, Base("  "), "blank"),
        (add_base, Base("a\x1b[31mred"), "control characters"),
        (add_swatch, Swatch("s" * 500, "Lumme", "skein", "L1"), "name of the swatch has 500 char"),
        (add_lot, Lot("L" * 121, ("Lumme",)), "name of the lot has 121 characters: 120 is the m"),
        (add_dye_pack, DyePack("Ember", "E" * 121), "name of the dye pack has 121 characters"),
        (add_base, Base("Osk", halo="huge"), "halo must be none, slight or strong"),
        (add_base, Base("Osk", price_per_kg=-1.0), "price_per_kg must not be below 0"),
        (add_dye_pack, DyePack("Ember", "E9", "1 March"), "opened_on must be a date"),
        (add_stock, Stock("Ember", "S9", 0.0, 100.0), "grams must be above 0"),
        (add_stock, Stock("Ember", "S9", 1.0, 100.0, "T1"), "of the dye 'Tarn'.*'E1', 'E2'"),
        (add_stock, Stock("Ember", "S9", 1.0, 100.0, "Q7"), "unknown dye pack 'Q7'.*'E1', 'E2'"),
        (add_recipe, Recipe("Low sun", "Lumme", 3, parent=3), "come from itself"),
        (add_recipe, Recipe("Low sun", "Lumme", 3, parent=7), "there are versions 1, 2"),
        (add_recipe, Recipe("Low sun", "Lumme", 0), "version must be 1 or more"),
        (add_recipe, Recipe("Low sun", "Lumme", 3, parts=(RecipePart(
            dyes=(PlannedDye("Ember", -1.0),)),)), "depth_percent must be above 0"),
        (add_recipe, Recipe("Low sun", "Lumme", 3, parts=(RecipePart(
            steps=(PlannedStep("stir well"),)),)), "unknown kind of step 'stir well': use"),
        (add_lot, Lot("L9", ()), "names no base"),
        (add_lot, Lot("L1", ("Lumme",), overdyes="L1"), "overdye itself"),
        (add_lot, Lot("L9", ("Lumme",), recipe_version=1), "names no colourway"),
        (add_lot, Lot("L9", ("Lumme",), steps=(PotStep("look", ph=15.0),)), "pH must be between"),
        (add_lot, Lot("L9", ("Lumme",), steps=(PotStep("look", at="soon"),)), "at must be a date"),
        (add_lot, Lot("L9", ("Lumme",), dyes_in=(DyeIn("Ember", stock="S1", pack="E2"),)),
         "mixed from another pack"),
        (add_swatch, Swatch("s", "Torva", "skein", "L1"), "the lot holds 'Lumme'"),
        (add_swatch, Swatch("s", "Lumme", "ball", "L1"), "form must be skein, wound card or knit"),
        (add_swatch, Swatch("s", "Lumme", "skein", None, "a"), "names a skein but no lot"),
        (add_swatch, Swatch("s", "Lumme", "skein", "L1", "c"), "unknown skein 'c'.*'a', 'b'"),
        (add_setup, Setup("s", light="moon"), "light must be daylight, other or black light"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_in_one_line_and_leaves_nothing(conn, add, thing, words):
    before = dump(conn)
    with pytest.raises(ArchiveError, match=words) as error:
        add(conn, thing)
    assert "\n" not in str(error.value)
    assert dump(conn) == before


def test_an_amount_that_cannot_be_read_is_an_error_and_words_are_kept(conn):
    lot = Lot("L9", ("Lumme",), steps=(PotStep("acid in", amount="a splash"),))
    add_lot(conn, lot)
    assert get_lot(conn, "L9").steps[0].amount == "a splash"
    with pytest.raises(AmountError):
        add_lot(conn, Lot("L8", ("Lumme",), dyes_in=(DyeIn("Ember", "12 mk"),)))


def test_an_unknown_name_is_told_with_those_there_are(conn):
    with pytest.raises(NotFound) as error:
        find(conn, "base", "Torvo")
    assert str(error.value) == "unknown base 'Torvo': the archive has 'Torva', 'Lumme'"
    with pytest.raises(NotFound, match="has none yet"):
        find(conn, "reference", "card")


def test_a_pot_log_goes_on_from_the_one_kept(conn):
    more = replace(LOT, steps=(*LOT.steps, PotStep("rinse", "2026-03-01T12:00")))
    assert add_lot(conn, more).change == "changed"
    assert get_lot(conn, "L1").steps == more.steps
    assert add_lot(conn, LOT).change == "same"  # the shorter, older notes take nothing away
    assert get_lot(conn, "L1").steps == more.steps


def test_what_was_not_written_down_can_be_filled_in_later(conn):
    add_dye_pack(conn, DyePack("Tarn", "T2"))
    ember, tarn = LOT.dyes_in
    assert (
        add_lot(conn, replace(LOT, dyes_in=(ember, replace(tarn, pack="T2")))).change == "changed"
    )
    with pytest.raises(ArchiveError, match="other dyes"):
        add_lot(conn, replace(LOT, dyes_in=(ember, replace(tarn, pack="T1"))))
    add_stock(conn, Stock("Tarn", "S1", 1.0, 100.0, pack="T2"))  # the jar's own label found later
    assert add_lot(conn, LOT).change == "same"
    assert [d.pack for d in get_lot(conn, "L1").dyes_in] == [None, "T2"]


def test_a_circle_of_overdyeing_is_refused(conn):
    add_lot(conn, Lot("L2", ("Lumme",), overdyes="L1"))
    with pytest.raises(ArchiveError, match="overdye itself"):
        add_lot(conn, Lot("L1", ("Lumme",), overdyes="L2"))


def test_a_skein_that_broke_has_lost_what_its_pieces_leave(conn):
    def lost():
        rows = export_rows(conn, "skeins").records()
        return next(r["lost_percent"] for r in rows if r["skein"] == "big")

    add_skein(conn, "L1", Skein("big", 100.0))
    assert lost() is None
    for label, grams in (("big 1", 41.2), ("big 2", None)):
        add_skein(conn, "L1", Skein(label, grams_out=grams, from_skein="big"))
    assert lost() is None  # one piece is still to be weighed
    add_skein(conn, "L1", Skein("big 2", grams_out=57.9, from_skein="big"))
    assert lost() == pytest.approx(0.9)  # derived: 99.1 g of 100 g
    add_lot(conn, Lot("L2", ("Lumme",)))
    add_skein(conn, "L2", Skein("over", 41.2, 41.0, from_skein="big", from_lot="L1"))  # overdyed
    assert lost() == pytest.approx(0.9)


def test_a_broken_skein_keeps_what_it_was(conn):
    for label, grams in (("a1", 41.2), ("a2", 57.9)):
        add_skein(conn, "L1", Skein(label, grams_out=grams, from_skein="a"))
    rows = [r for r in export_rows(conn, "skeins").records() if r["was_skein"]]
    assert [(r["was_lot"], r["was_skein"], r["grams_out"]) for r in rows] == [
        ("L1", "a", 41.2),
        ("L1", "a", 57.9),
    ]


KEPT = {
    "2 %": (None, None, 2.0, None),
    "3 g / 100 g": (None, None, 3.0, None),
    "5 mL per 100 g": (None, None, None, 5.0),
    "20 mL of 56 % acetic acid": (None, 20.0, None, None),
    "0.5 kg": (500.0, None, None, None),
    "a handful": (None, None, None, None),
}
FIGURES = "amount_g, amount_ml, percent_of_goods, ml_per_100_g"


def figures(conn):
    """What is kept of each planned amount of version 7."""
    sql = (
        f"SELECT amount, {FIGURES} FROM recipe_step JOIN recipe_part AS part ON part.id = "
        "recipe_part_id JOIN recipe ON recipe.id = recipe_id WHERE version = 7"
    )
    return {row[0]: tuple(row)[1:] for row in conn.execute(sql)}


def test_a_planned_amount_is_kept_as_typed_and_worked_out(conn):
    steps = tuple(PlannedStep("acid in", amount) for amount in KEPT)
    add_recipe(conn, Recipe("Low sun", "Lumme", 7, parts=(RecipePart(steps=steps),)))
    assert figures(conn) == KEPT


def test_an_amount_that_cannot_be_read_is_refused_with_its_step_and_kept_from_another_archive(conn):
    parts = (
        RecipePart(steps=(PlannedStep("soak"),)),
        RecipePart("end", steps=(PlannedStep("acid in", "5 % vinegar"),)),
    )
    recipe = Recipe("Low sun", "Lumme", 7, parts=parts)
    with pytest.raises(AmountError, match=r"step 2, acid in: .*write '5 % of goods, vinegar'"):
        add_recipe(conn, recipe)
    add_recipe(conn, recipe, as_kept=True)
    unknown = {None: (None,) * 4, "5 % vinegar": (None,) * 4}
    assert figures(conn) == unknown
    conn.execute("UPDATE recipe_step SET percent_of_goods = 5 WHERE amount = '5 % vinegar'")
    set_spoons(conn, SpoonSizes())  # worked out anew
    assert figures(conn) == unknown
    assert add_recipe(conn, recipe).change == "same"


def test_depth_of_shade_is_of_what_went_in_beside_the_plan(conn):
    rows = {r["dye"]: r for r in export_rows(conn, "dyes_used").records() if r["lot"] == "L1"}
    # 80 mL and 20 mL of 1 % stocks on 100 g of dry goods: dry dye / goods x 100
    assert rows["Ember"]["dye_g"] == pytest.approx(0.8)
    assert rows["Ember"]["depth_percent"] == pytest.approx(0.8)
    assert rows["Tarn"]["depth_percent"] == pytest.approx(0.2)
    assert rows["Ember"]["planned_depth_percent"] == pytest.approx(0.8)
    assert rows["Ember"]["pack"] == "E1"  # by its stock


def test_a_dye_whose_amount_is_unknown_leaves_the_depth_unknown(conn):
    add_lot(conn, Lot("L9", ("Lumme",), dry_g=100.0, dyes_in=(
        DyeIn("Ember", "2 g"), DyeIn("Tarn", "3 mL"))))  # fmt: skip
    made = {r["lot"]: r for r in export_rows(conn, "shades_made").records()}
    assert made["L9"]["depth_percent"] is None  # 3 mL of powder has no mass
    assert made["L1"]["depth_percent"] == pytest.approx(1.0)
    used = [r["dye_g"] for r in export_rows(conn, "dyes_used").records() if r["lot"] == "L9"]
    assert used == [2.0, None]


def test_a_stock_says_its_strength_and_what_should_be_left(conn):
    rows = {(r["dye"], r["stock"]): r for r in export_rows(conn, "stocks").records()}
    assert rows["Ember", "S1"]["strength_percent"] == pytest.approx(1.0)
    assert rows["Ember", "S1"]["left_ml"] == pytest.approx(120.0)
    add_stock(conn, Stock("Ember", "S1", 2.0, 200.0, left_ml=100.0, left_seen_on="2026-03-01"))
    add_lot(conn, Lot("L9", ("Lumme",), dyed_on="2026-03-05", dyes_in=(
        DyeIn("Ember", "10 mL", stock="S1"),)))  # fmt: skip
    rows = {(r["dye"], r["stock"]): r for r in export_rows(conn, "stocks").records()}
    assert rows["Ember", "S1"]["left_ml"] == pytest.approx(90.0)


def test_what_followed_what(conn):
    add_lot(conn, Lot("L2", ("Lumme",), overdyes="L1"))
    rows = {
        (r["kind"], r["earlier"], r["later"]) for r in export_rows(conn, "what_followed").records()
    }
    assert rows == {
        ("recipe", "version 1", "version 2"),
        ("lot of a recipe", "version 1", "L1"),
        ("overdyed lot", "L1", "L2"),
    }


def test_the_end_of_a_pot_that_was_never_started_here_is_kept(tmp_path):
    with create_archive(tmp_path / "a") as archive:
        add_base(archive.conn, Base("Lumme"))
        add_lot(archive.conn, Lot("P9", ("Lumme",)))
        end_pot(
            archive.conn, "P9", "2026-05-01T12:00", {"success": "yes", "next_time": "less acid"}
        )
        end = get_pot(archive.conn, "P9").end
    assert (end["success"], end["next_time"]) == ("yes", "less acid")


def test_a_name_of_another_owner_is_said_to_be_there(conn):
    with pytest.raises(NotFound) as said:
        find_of(conn, "dye_pack", find(conn, "dye", "Tarn"), "E2")
    assert str(said.value) == ("dye pack 'E2' is of the dye 'Ember', not of 'Tarn', which has 'T1'")
    with pytest.raises(NotFound, match="unknown dye pack 'X9'"):
        find_of(conn, "dye_pack", find(conn, "dye", "Tarn"), "X9")
