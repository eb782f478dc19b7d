"""Recipes and lots to a file and back: nothing is lost, and what cannot be read is told."""

import csv
import io
import json
import re
import sqlite3
import unicodedata

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from swatchvault.amounts import SpoonSizes
from swatchvault.archive import (
    Base,
    BaseLot,
    Colourway,
    Dye,
    DyeIn,
    DyePack,
    Lot,
    Notes,
    PlannedDye,
    PlannedStep,
    PotStep,
    Recipe,
    RecipePart,
    Skein,
    Stock,
    add_recipe,
    apply_notes,
    create_archive,
    end_pot,
    get_lot,
    open_archive,
    prepare_connection,
    record_step,
    set_spoons,
    start_pot,
    strike_last,
    verify,
)
from swatchvault.archive.exchange import Making, gather_making
from swatchvault.archive.migrate import migrate
from swatchvault.archive.receive import Received, receive_making
from swatchvault.errors import AmountError, ArchiveError
from swatchvault.making_records import making_of, making_records
from swatchvault.record_kinds import COLUMNS, KINDS, Record, a_number, counted
from swatchvault.roundtrip import read_records, write_records
from tests.swatchvault.factories import STUDIO, dump, studio
from tests.swatchvault.running import run

FORMS = ("csv", "json")


def tidy(text):
    return " ".join(unicodedata.normalize("NFC", text).split())


# Marks that a CSV, a spreadsheet or JSON may take for its own, and letters of other scripts.
WORDS = st.text(st.sampled_from("aBc,;\"'=+-@|\\/{}[]<>&#%é½\u4e2d\u0623 \u2028"), max_size=8)
WORDS = WORDS.map(tidy).filter(bool)
NUMBERS = st.floats(allow_nan=False, allow_infinity=False)


# --- any records ------------------------------------------------------------------------------


@st.composite
def records_of(draw, kinds):
    made = []
    for kind in kinds:
        for _ in range(draw(st.integers(0, 2))):
            facts = {}
            for name, reader in kind.readers.items():
                if name not in kind.needed.split() and draw(st.booleans()):
                    continue
                value = WORDS
                if reader is a_number:
                    value = NUMBERS
                elif reader is counted:
                    value = st.integers(0, 1000)
                elif name in kind.truth.split():
                    value = st.booleans()
                facts[name] = draw(value)
            made.append(Record(kind.name, facts, draw(records_of(kind.inner))))
    return tuple(made)


@pytest.mark.parametrize("form", FORMS)
@settings(max_examples=60, suppress_health_check=[HealthCheck.too_slow])
@given(records=records_of(KINDS))
def test_records_come_back_as_they_were(form, records):
    assert read_records(write_records(records, form), form) == records


def test_no_cell_begins_as_a_formula():
    told = (Record("dye", {"name": "=1+1", "note": "'-tick", "family": "@x"}),)
    text = write_records(told, "csv")
    cells = [c for row in csv.reader(io.StringIO(text)) for c in row]
    assert not [c for c in cells if c.startswith(("=", "+", "-", "@"))]
    assert read_records(text, "csv") == told


def test_a_table_that_a_spreadsheet_with_decimal_commas_saved_is_the_same(folder):
    with open_archive(folder) as archive:
        told = making_records(gather_making(archive.conn))
    rows = csv.reader(io.StringIO(write_records(told, "csv")))
    out = io.StringIO()
    for row in rows:
        cells = [re.sub(r"^(-?\d+)\.(\d+)$", r"\1,\2", cell) for cell in row]
        csv.writer(out, delimiter=";").writerow(cells)
    assert re.search(r";\d+,\d+;", out.getvalue())
    assert read_records(out.getvalue(), "csv") == told


# --- whole archives ---------------------------------------------------------------------------


def empty():
    conn = sqlite3.connect(":memory:", isolation_level=None)
    prepare_connection(conn)
    migrate(conn)
    return conn


def carried(conn, form, colourways=()):
    """What another archive holds after the file was read there."""
    text = write_records(making_records(gather_making(conn, colourways)), form)
    other = empty()
    receive_making(other, making_of(read_records(text, form)))
    return other


PLANNED_AMOUNTS = st.sampled_from([None, "2 %", "5 mL per 100 g", "1/2 tsp", "12,5 g", "a splash"])
AMOUNTS = st.sampled_from([None, "80 mL", "1 1/2 tbsp", "0.1 g", "2 fl oz", "a splash"])
POSITIVE = st.floats(0.001, 1000)
MAYBE = st.none() | WORDS
DAYS = st.sampled_from([None, "2026-03-01", "2025-12-31"])
TIMES = st.sampled_from([None, "2026-03-01T10:05:00+01:00", "2026-03-01", "2026-03-02T09:00"])


def several(draw, make, least=1, most=3):
    names = draw(st.lists(WORDS, min_size=least, max_size=most, unique_by=str.casefold))
    return tuple(make(name) for name in names)


@st.composite
def studios(draw):
    bases = several(
        draw, lambda n: Base(n, draw(FIBRES), draw(st.none() | st.booleans()), note=draw(MAYBE))
    )
    dyes = several(draw, lambda n: Dye(n, draw(MAYBE), draw(MAYBE)))
    packs = tuple(DyePack(d.name, "p", draw(DAYS)) for d in dyes if draw(st.booleans()))
    owned = {p.dye for p in packs}
    stocks = tuple(
        Stock(
            d.name,
            "s",
            draw(POSITIVE),
            draw(POSITIVE),
            "p" if d.name in owned else None,
            draw(DAYS),
        )
        for d in dyes
    )
    ways = several(draw, lambda n: Colourway(n, draw(MAYBE)), most=2)
    base, way = st.sampled_from(bases), st.sampled_from(ways)
    recipes = []
    for version in range(1, draw(st.integers(1, 4))):
        parents = [r.version for r in recipes]
        parent = draw(st.none() | st.sampled_from(parents)) if parents else None
        parts = several(draw, lambda n: draw(parts_of(n, dyes)), least=0)
        recipes.append(Recipe(ways[0].name, bases[0].name, version, parent, parts, draw(MAYBE)))
    lots = []
    for code in draw(st.lists(WORDS, max_size=3, unique_by=str.casefold)):
        follows = draw(st.none() | st.sampled_from(recipes)) if recipes else None
        first = bases[0] if follows else draw(base)
        skeins = several(draw, lambda n: Skein(n, draw(POSITIVE), None, note=draw(MAYBE)), 0, 2)
        if len(skeins) == 2:
            skeins = (skeins[0], Skein(skeins[1].label, from_skein=skeins[0].label))
        lots.append(Lot(
            code, (first.name,), ways[0].name if follows else draw(way).name,
            follows.version if follows else None,
            draw(st.none() | st.sampled_from([x.code for x in lots])) if lots else None,
            draw(DAYS), draw(st.none() | POSITIVE), draw(st.none() | POSITIVE), draw(MAYBE),
            draw(st.lists(went_in(dyes), max_size=3).map(tuple)),
            draw(st.lists(STEPS, max_size=3).map(tuple)), skeins, draw(MAYBE),
        ))  # fmt: skip
    base_lots = tuple(BaseLot(b.name, "d", draw(DAYS)) for b in bases)
    return Notes(bases, base_lots, dyes, packs, stocks, ways, tuple(recipes), tuple(lots))


FIBRES = st.sampled_from(
    [{}, {"wool": 100.0}, {"wool": 80.0, "silk": 20.0}, {"a": 33.3, "b": 66.7}]
)
STEPS = st.builds(
    PotStep,
    st.sampled_from(["dye in", "hold", "look"]),
    TIMES,
    AMOUNTS,
    st.none() | st.floats(0, 100),
    st.none() | POSITIVE,
    st.none() | st.floats(0, 14),
    st.sampled_from([None, "trace", "15 %"]),
    MAYBE,
)


@st.composite
def parts_of(draw, name, dyes):
    chosen = draw(st.lists(st.sampled_from(dyes), unique_by=lambda d: d.name, max_size=3))
    steps = st.builds(
        PlannedStep, st.sampled_from(["soak", "acid in"]), PLANNED_AMOUNTS,
        st.none() | st.floats(0, 100), st.none() | POSITIVE, MAYBE,
    )  # fmt: skip
    planned = tuple(PlannedDye(d.name, draw(st.floats(0.001, 10))) for d in chosen)
    share = draw(st.floats(1, 100))
    return RecipePart(
        name, share, planned, draw(st.lists(steps, max_size=3).map(tuple)), draw(MAYBE)
    )


def went_in(dyes):
    return st.builds(
        lambda dye, amount, stock: DyeIn(dye.name, amount, None, "s" if stock else None),
        st.sampled_from(dyes),
        AMOUNTS,
        st.booleans(),
    )


@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(notes=studios(), form=st.sampled_from(FORMS))
def test_an_archive_carried_over_is_the_same(notes, form):
    conn = empty()
    apply_notes(conn, notes)
    conn.execute("UPDATE recipe SET added_at = '2025-01-01T00:00:00Z'")
    conn.execute("UPDATE lot_dye SET dye_g = 0.125 WHERE position = 1")  # of a spoon now changed
    other = carried(conn, form)
    assert gather_making(other) == gather_making(conn)
    assert other.execute("PRAGMA foreign_key_check").fetchone() is None
    for table in ("lot_dye", "recipe_step", "pot_step", "skein", "stock", "recipe", "base_fibre"):
        assert sorted(map(repr, dump(other)[table])) == sorted(map(repr, dump(conn)[table])), table
    conn.close(), other.close()


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    with create_archive(tmp_path_factory.mktemp("exchange") / "yarn") as made:
        studio(made.conn)
        lot = Lot("P1", ("Lumme",), "Low sun", 1, "L1", "2026-05-01", 100.0)
        start_pot(made.conn, lot, "2026-05-01T09:00", {"Ember": "S2", "Tarn": None})
        step = PotStep("acid in", "2026-05-01T09:30", "1 tbsp", ph=5.0)
        record_step(made.conn, "P1", step, 2)
        record_step(made.conn, "P1", PotStep("dye in"), None, [DyeIn("Ember", "50 mL", stock="S2")])
        end_pot(made.conn, "P1", "2026-05-01T12:00", {"bled": "a little", "next_time": "less acid"})
        return made.folder


@pytest.mark.parametrize("form", FORMS)
def test_the_log_of_a_pot_goes_along(folder, form):
    with open_archive(folder) as archive:
        made = gather_making(archive.conn)
        other = carried(archive.conn, form)
    assert gather_making(other) == made
    kept = next(k for k in made.kept if k.lot == "P1")
    assert kept.steps[0].plan_number == 2
    assert kept.planned_from == {"Ember": "S2", "Tarn": None}
    assert kept.pot["next_time"] == "less acid"


@pytest.mark.parametrize("form", FORMS)
def test_a_struck_step_goes_along_and_does_not_come_back(folder, form):
    with open_archive(folder) as archive:
        ended = strike_last(archive.conn, "P1")
        before = gather_making(archive.conn)
        other, third = carried(archive.conn, form), carried(archive.conn, form)
        struck = strike_last(archive.conn, "P1")
        assert [d.amount for d in struck.dyes] == ["50 mL"]
        made = gather_making(archive.conn)
        assert next(k for k in made.kept if k.lot == "P1").struck == (ended, struck)
        new = carried(archive.conn, form)
    assert gather_making(new) == made
    assert strike_last(other, "P1").dyes == struck.dyes  # it is known what the step put in
    with pytest.raises(ArchiveError, match="was struck on"):
        receive_making(other, before)
    with pytest.raises(ArchiveError, match="was struck on"):
        receive_making(new, before)
    with pytest.raises(ArchiveError, match="was struck in what you read in, and stands here"):
        receive_making(third, made)
    assert len(get_lot(third, "P1").steps) == 2
    record_step(new, "P1", struck.step)  # really done after all
    assert receive_making(new, gather_making(new)).changed == 0


@pytest.mark.parametrize("form", FORMS)
def test_a_struck_end_goes_along_and_does_not_come_back(folder, form):
    with open_archive(folder) as archive:
        ended = next(k for k in gather_making(archive.conn).kept if k.lot == "P1").pot["ended_at"]
        assert ended
        before = gather_making(archive.conn)
        other = carried(archive.conn, form)
        struck = strike_last(archive.conn, "P1")
        assert (struck.step.kind, struck.step.at) == ("end", ended)
        made = gather_making(archive.conn)
        new = carried(archive.conn, form)
    kept = next(k for k in made.kept if k.lot == "P1")
    assert kept.struck == (struck,) and not kept.pot.get("ended_at")
    assert gather_making(new) == made
    assert receive_making(new, made).changed == 0
    with pytest.raises(ArchiveError, match="its end was taken back on"):
        receive_making(new, before)
    with pytest.raises(ArchiveError, match="taken back in what you read in, and stands here"):
        receive_making(other, made)


def test_one_colourway_brings_what_it_names_and_no_more(folder):
    with open_archive(folder) as archive:
        made = gather_making(archive.conn, ["wet slate"])
        assert {lot.code for lot in made.notes.lots} == {"W1"}
        assert made.notes.dyes == made.notes.recipes == ()
        overdyed = Lot("W2", ("Lumme",), "Wet slate", overdyes="L1")
        apply_notes(archive.conn, Notes(lots=(overdyed,)))
        made = gather_making(archive.conn, ["Wet slate"])
        assert {lot.code for lot in made.notes.lots} == {"W1", "W2", "L1"}
        assert [r.version for r in made.notes.recipes] == [1]
        assert gather_making(carried(archive.conn, "csv", ["Wet slate"]), ["Wet slate"]) == made


# --- the commands -----------------------------------------------------------------------------


@pytest.mark.parametrize("form", FORMS)
def test_share_and_import_again_changes_nothing(folder, tmp_path, capsys, form):
    file = tmp_path / f"making.{form}"
    assert "wrote 2 recipes and 4 lots" in run(capsys, "share", file, "--archive", folder).out
    assert "is there already" in run(capsys, "share", file, "--archive", folder).err
    run(capsys, "new", tmp_path / "other")
    first = run(capsys, "import", file, "--archive", tmp_path / "other")
    assert first.code == 0, first.err
    with open_archive(tmp_path / "other") as other:
        before = dump(other.conn)
        assert get_lot(other.conn, "P1").overdyes == "L1"
        assert not verify(other)
    again = run(capsys, "import", file, "--archive", tmp_path / "other")
    assert again.out.startswith("0 added, 0 changed")
    with open_archive(tmp_path / "other") as other:
        assert dump(other.conn) == before


def test_a_longer_log_goes_on_from_the_one_that_is_there(folder):
    with open_archive(folder) as archive:
        other = carried(archive.conn, "json")
        record_step(archive.conn, "P1", PotStep("rinse", "2026-05-01T13:00"))
        longer = gather_making(archive.conn)
        end_pot(archive.conn, "P1", "2026-05-01T13:00", {"handle": "soft"})
        ended_anew = gather_making(archive.conn)
    for made in (longer, ended_anew):
        got = receive_making(other, made)
        assert (got.added, got.changed) == (0, 1)
        assert gather_making(other) == made


def test_other_facts_under_a_known_name_are_refused_whole(folder):
    clash = Recipe("Low sun", "Lumme", 1, parts=(RecipePart(),))
    notes = Notes(colourways=(Colourway("New one"),), recipes=(clash,))
    with open_archive(folder) as archive:
        before = dump(archive.conn)
        with pytest.raises(ArchiveError, match="kept with other contents"):
            receive_making(archive.conn, Making(notes, ("2026-01-01T00:00:00Z",)))
        assert dump(archive.conn) == before


@pytest.mark.parametrize("form", FORMS)
def test_an_amount_that_was_not_refused_when_it_was_kept_goes_along(folder, form):
    step = PlannedStep("acid in", "5 % vinegar", note="60 mL")
    recipe = Recipe("Low sun", "Lumme", 7, parts=(RecipePart(steps=(step,)),))
    with open_archive(folder) as archive:
        add_recipe(archive.conn, recipe, as_kept=True)
        made = gather_making(archive.conn)
        assert recipe in made.notes.recipes
        other = carried(archive.conn, form)
    assert gather_making(other) == made
    with pytest.raises(AmountError, match=r"step 1, acid in: .*two ways"):
        apply_notes(
            empty(), Notes(bases=STUDIO.bases, colourways=STUDIO.colourways, recipes=(recipe,))
        )


def test_spoons_go_along_and_must_agree(folder, tmp_path, capsys):
    with open_archive(folder) as archive:
        step = PlannedStep("acid in", "2 tsp per 100 g")
        recipe = Recipe("Low sun", "Lumme", 7, parts=(RecipePart(steps=(step,)),))
        apply_notes(archive.conn, Notes(recipes=(recipe,)))
        other = empty()
        apply_notes(other, STUDIO)
        receive_making(other, gather_making(archive.conn))
        set_spoons(archive.conn, SpoonSizes(tsp_ml=4.0))
        made = gather_making(archive.conn)
        assert gather_making(carried(archive.conn, "csv")) == made
        before = dump(other)
        with pytest.raises(ArchiveError, match="'2 tsp per 100 g' is another amount here"):
            receive_making(other, made)
        assert dump(other) == before


def told(**records):
    return json.dumps({"holds": "recipes and lots", "version": 1, **records})


RECIPE = {"colourway": "Low sun", "base": "Lumme"}
LOOP = [{**RECIPE, "version": 8, "parent": 9}, {**RECIPE, "version": 9, "parent": 8}]
LOT = {"code": "X", "in the pot": [{"base": "Lumme"}]}


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("a.json", "{", "no JSON"),
        ("a.json", "[" * 100_000, "no JSON"),
        ("a.json", "{}", "does not hold recipes and lots"),
        ("a.json", told(version=2), "version 2"),
        ("a.json", told(recipe=LOOP), "come from itself through its parents"),
        ("a.json", told(recipe=[{**RECIPE, "version": "1"}]), "a whole number is needed"),
        ("a.json", told(recipe=[{**RECIPE, "version": 10**30}]), "is needed"),
        ("a.json", told(lot=[{"code": "X"}]), "which base went in"),
        ("a.json", told(lot=[{**LOT, "dry_g": 10**400}]), "too large"),
        ("a.json", told(lot=[{**LOT, "dry_g": -1}]), "dry_g must be above 0"),
        ("a.json", told(lot=[{**LOT, "step": [{"kind": "stir"}]}]), "unknown kind of step"),
        ("a.json", told(lot=[{**LOT, "dye in": [{"dye": "Ember", "amount": "2 pots"}]}]), "units"),
        ("a.json", told(lot=[{**LOT, "step": [{"kind": "look", "planned_step": 3}]}]), "has 0"),
        ("a.json", told(lots=[]), "unknown key 'lots'"),
        ("a.json", told(lot={}), "needs a list"),
        ("a.json", told(lot=[3]), "an object with keys is needed"),
        ("a.json", told(stock=[{"dye": "Ember", "code": "Z"}]), "has no 'grams'"),
        ("a.csv", "", "is empty"),
        ("a.csv", "name\nx\n", "no column 'record'"),
        ("a.csv", "record,colour\ndye,x\n", "unknown column 'colour'"),
        ("a.csv", "record,name,name\n", "is there twice"),
        ("a.csv", "record,name\npaint,x\n", "line 2: unknown record 'paint'"),
        ("a.csv", "record,name\ndye,x,y\n", "line 2: 3 values for 2 columns"),
        ("a.csv", "record,name\ndye,\n", "line 2 (dye) has no 'name'"),
        ("a.csv", "record,name,grams\ndye,x,3\n", "it has no 'grams'"),
        ("a.csv", "record,dye,depth_percent\nplanned dye,Ember,1\n", "needs the 'part'"),
        ("a.csv", "record,colourway,base,version\nrecipe,Low sun,Lumme,one\n", "a whole number"),
        ("a.csv", "record,code,dry_g\nlot,X,12 g\n", "a number such as 12.5"),
        ("a.csv", "record,code,dry_g\nlot,X,nan\n", "a number is needed"),
        ("a.csv", 'record,name\ndye,"x\n', "line"),
        ("a.txt", "", "neither .csv nor .json"),
    ],
)
def test_a_file_that_cannot_be_read_is_one_line_and_changes_nothing(
    folder, tmp_path, capsys, name, text, said
):
    (tmp_path / name).write_text(text, encoding="utf-8")
    with open_archive(folder) as archive:
        before = dump(archive.conn)
    ran = run(capsys, "import", tmp_path / name, "--archive", folder)
    assert ran.code == 1
    assert said in ran.err
    assert len(ran.err.splitlines()) == 1
    with open_archive(folder) as archive:
        assert dump(archive.conn) == before


def test_a_file_that_is_not_there_or_not_text(folder, tmp_path, capsys):
    (tmp_path / "a.csv").write_bytes(b"record,name\ndye,\xff\n")
    assert "not UTF-8" in run(capsys, "import", tmp_path / "a.csv", "--archive", folder).err
    assert "cannot read" in run(capsys, "import", tmp_path / "b.csv", "--archive", folder).err


def test_what_the_factories_hold_is_held_by_the_records():
    conn = empty()
    apply_notes(conn, STUDIO)
    again = receive_making(conn, gather_making(conn))
    assert isinstance(again, Received)
    assert (again.added, again.changed) == (0, 0)
    assert COLUMNS[0] == "record"
