"""`predict`, `correct`, `reach` and `gaps` on an archive whose true colours are known."""

import json
import re
import shutil
import sqlite3
import xml.dom.minidom

import numpy as np
import pytest

from ingest.colour import delta_e_2000
from swatchvault.archive import (
    Base,
    Colourway,
    Dye,
    DyeIn,
    Lot,
    Master,
    Notes,
    PhotoFacts,
    PlannedDye,
    PotStep,
    Recipe,
    RecipePart,
    RegionOf,
    Setup,
    Stock,
    Swatch,
    add_setup,
    add_swatch,
    apply_notes,
    create_archive,
    file_photo,
    open_archive,
    record_step,
    set_master,
)
from swatchvault.archive.dyed import dyed_on_base, pot_as_dyed
from swatchvault.basefit import usable_lots
from swatchvault.errors import ArchiveError, NotFound, SwatchvaultError
from swatchvault.experiments import ORDER
from swatchvault.fluorescing import IS_FLUORESCENT, MAY_BE_FLUORESCENT
from swatchvault.knownbase import know_base, left_out_words
from swatchvault.predict import correct_pot, fit_base, recipes_for
from swatchvault.reachable import MOST_RECIPES, spread_recipes
from tests.prediction.worlds import N_DYES, dye_pots, random_world, recipes
from tests.swatchvault.factories import covariance, measured, photo_file, photo_of
from tests.swatchvault.running import run

DYES = ("Ember", "Gorse", "Peat", "Sloe", "Tarn")
USABLE = 14
WORLD = random_world(np.random.default_rng(5), "published")


def row_of(depths):
    return np.array([depths.get(d, 0.0) for d in DYES])


def depths_of(row):
    return {d: float(c) for d, c in zip(DYES, row, strict=True) if c > 0}


def dyes_in(depths):
    """What went into 100 g: millilitres of a stock of 1 %."""
    return tuple(DyeIn(d, f"{100 * c:.6f} mL", stock=f"{d} 1") for d, c in depths.items())


def lot(code, depths, **facts):
    return Lot(
        code, **{"bases": ("Sock Fine",), "dry_g": 100.0, "dyes_in": dyes_in(depths), **facts}
    )


PAIR = {"Ember": 0.5, "Tarn": 0.3}


def world_rows():
    rng = np.random.default_rng(11)
    rows = recipes(rng, USABLE)
    return rows, dye_pots(rng, WORLD, rows)


ROWS, LABS = world_rows()
# The pot that is off took a quarter more of one dye's colour and a quarter less of another's.
PLANNED = depths_of(ROWS[3])
TOOK = row_of(PLANNED) * np.exp(np.array([-0.3, 0.2, -0.3, 0.2, -0.3]))


def notes():
    parts = (
        RecipePart("dipped", 50.0, (PlannedDye("Ember", 1.0),)),
        RecipePart("rest", 50.0, (PlannedDye("Tarn", 1.0),)),
    )
    whole = (RecipePart(dyes=tuple(PlannedDye(d, c) for d, c in PLANNED.items())),)
    lots = [lot(f"L{i}", depths_of(row)) for i, row in enumerate(ROWS)]
    lots += [
        lot("off", PLANNED, colourway="Low sun"),
        lot("over", PAIR, overdyes="L0"),
        lot("parts", PAIR, colourway="Two ends", recipe_version=1),
        lot("bits", PAIR),
        lot("wet", PAIR),
        lot("glow", {"Zing": 0.5}),
        lot("unweighed", PAIR, dry_g=None),
        lot("unseen", PAIR),
        lot("both", PAIR, bases=("Sock Fine", "Thin Air")),
        *(lot(f"thin {i}", {"Ember": 0.2 * (i + 1)}, bases=("Thin Air",)) for i in range(3)),
        *(lot(f"same {i}", {"Ember": 0.5}, bases=("One Pot",)) for i in range(6)),
    ]
    return Notes(
        bases=(Base("Sock Fine"), Base("Thin Air"), Base("One Pot"), Base("Untouched")),
        dyes=(*map(Dye, DYES), Dye("Zing", "acid, fluorescent"), Dye("Unused")),
        stocks=tuple(
            Stock(d, f"{d} 1", 100.0, 10000.0, mixed_on="2026-02-01") for d in (*DYES, "Zing")
        ),
        colourways=(Colourway("Low sun"), Colourway("Two ends")),
        recipes=(
            Recipe("Low sun", "Sock Fine", parts=whole),
            Recipe("Two ends", "Sock Fine", parts=parts),
        ),
        lots=tuple(lots),
    )


def colours():
    """(label, base, lot, Lab, changes of the measurement, dry) of every swatch."""
    pair = WORLD.lab(row_of(PAIR))
    variegated = {"tonality": {"class": "variegated"}}
    rows = [(f"s{i}", "Sock Fine", f"L{i}", lab, {}, True) for i, lab in enumerate(LABS)]
    rows += [
        ("s off", "Sock Fine", "off", WORLD.lab(TOOK), {}, True),
        ("s over", "Sock Fine", "over", pair, {}, True),
        ("s parts", "Sock Fine", "parts", pair, {}, True),
        ("s bits", "Sock Fine", "bits", pair, variegated, True),
        ("s wet", "Sock Fine", "wet", pair, {}, False),
        ("s glow", "Sock Fine", "glow", (70, 60, 60), {}, True),
        ("s unweighed", "Sock Fine", "unweighed", pair, {}, True),
        ("s both", "Sock Fine", "both", pair, {}, True),
        ("undyed", "Sock Fine", None, WORLD.lab(np.zeros(N_DYES)), {}, True),
        ("goal", "Sock Fine", "L3", WORLD.lab(row_of(PLANNED)), {}, True),
        ("goal knit", "Sock Fine", "L3", WORLD.lab(row_of(PLANNED)), {}, True),
    ]
    rows += [
        (f"t{i}", "Thin Air", f"thin {i}", (60 - 5 * i, 9 * i * i, 3), {}, True) for i in range(3)
    ]
    rows += [("t b", "Thin Air", None, (90, 0, 9), {}, True)]
    rows += [(f"o{i}", "One Pot", f"same {i}", (50, 30, i), {}, True) for i in range(6)]
    return rows


FORM = {"goal knit": "knit"}


def fill(archive, folder):
    apply_notes(archive.conn, notes())
    setup = add_setup(archive.conn, Setup("window", light="daylight", locked=True)).id
    for number, (label, base, code, lab, changes, dry) in enumerate(colours()):
        swatch = add_swatch(
            archive.conn, Swatch(label, base, FORM.get(label, "wound card"), code)
        ).id
        source = photo_file(folder, f"{number}.jpg", f"photo {number}".encode())
        facts = {"flags": frozenset(), "tonality": None, "covariance": covariance(0.02)}
        found = measured(lab=lab, **{**facts, **changes})
        file_photo(
            archive,
            photo_of(source, (found,)),
            source,
            [RegionOf("new", swatch, dry=dry)],
            PhotoFacts(setup),
        )
    set_master(archive.conn, Master("Low sun", "Sock Fine", "wound card", "s off"))


@pytest.fixture(scope="module")
def yarn(tmp_path_factory):
    folder = tmp_path_factory.mktemp("shade")
    with create_archive(folder / "yarn") as archive:
        fill(archive, folder)
    return folder / "yarn"


@pytest.fixture(scope="module", autouse=True)
def each_fit_once():
    """The same lots give the same model: fit them once for all tests of this file."""
    kept = {}

    def fit_once(lots, undyed, **asked):
        key = (tuple(lot.name for lot in lots), repr(sorted(asked.items())))
        if key not in kept:
            kept[key] = fit_base(lots, undyed, **asked)
        return kept[key]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("swatchvault.knownbase.fit_base", fit_once)
        yield


@pytest.fixture(scope="module")
def known(yarn):
    with open_archive(yarn) as archive:
        return know_base(dyed_on_base(archive.conn, "Sock Fine"))


@pytest.fixture
def ask(yarn, capsys):
    def asked(*arguments):
        return run(capsys, *arguments, "--archive", yarn)

    return asked


# -- the archive's lots -------------------------------------------------------------------------


def test_lots_come_with_their_depths_and_colours(yarn):
    with open_archive(yarn) as archive:
        found = dyed_on_base(archive.conn, "sock fine")
    by_name = {lot.name: lot for lot in found.lots}
    assert (found.base, found.form) == ("Sock Fine", "wound card")
    assert found.fluorescent == {"Zing": IS_FLUORESCENT}
    for i, row in enumerate(ROWS[:3]):
        assert row_of(by_name[f"L{i}"].depths) == pytest.approx(row, abs=1e-6)
        assert by_name[f"L{i}"].lab.tolist() == pytest.approx(LABS[i].tolist())
    # one set-up took every photo: what it gets wrong alike is apart from each lot's own doubt
    own = covariance(0.02)
    assert by_name["L0"].covariance == pytest.approx(own.region + own.frame)
    (undyed,) = found.undyed
    assert undyed.lab.tolist() == pytest.approx(WORLD.lab(np.zeros(N_DYES)).tolist())
    assert undyed.covariance == pytest.approx(own.region + own.frame)
    assert found.shared == pytest.approx(own.setup + own.profile)


@pytest.mark.parametrize(
    ("note", "said"),
    [("neon", IS_FLUORESCENT), ("never fluorescent", None), ("fluorescent?", MAY_BE_FLUORESCENT)],
)
def test_a_dye_is_fluorescent_as_its_words_say_and_what_they_leave_open_is_told(
    note, said, yarn, tmp_path
):
    shutil.copytree(yarn, tmp_path / "yarn")
    with open_archive(tmp_path / "yarn") as archive:
        archive.conn.execute(
            "UPDATE dye SET family = 'acid', note = ? WHERE name = 'Zing'", (note,)
        )
        found = dyed_on_base(archive.conn, "Sock Fine")
    assert found.fluorescent == ({} if said is None else {"Zing": said})
    _, left_out = usable_lots(found.lots, False, found.fluorescent)
    assert left_out.get("glow") == (None if said is None else f"it holds Zing, which {said}")


def test_undyed_yarn_of_another_set_up_is_doubted_as_a_lot_of_it_would_be(yarn, tmp_path):
    shutil.copytree(yarn, tmp_path / "yarn")
    with open_archive(tmp_path / "yarn") as archive:
        archive.conn.execute(
            "UPDATE photo SET setup_id = NULL WHERE id = (SELECT photo_id FROM current_measurement "
            "JOIN swatch ON swatch.id = swatch_id WHERE label = 'undyed')"
        )
        (undyed,) = dyed_on_base(archive.conn, "Sock Fine").undyed
    own = covariance(0.02)
    assert undyed.covariance == pytest.approx(own.region + own.frame + own.setup)


def test_what_lies_under_an_overdyed_lot_counts(yarn):
    with open_archive(yarn) as archive:
        (over,) = (x for x in dyed_on_base(archive.conn, "Sock Fine").lots if x.name == "over")
    assert over.overdyes
    assert row_of(over.depths) == pytest.approx(ROWS[0] + row_of(PAIR), abs=1e-6)


@pytest.mark.parametrize(
    ("code", "why"),
    [
        ("parts", "in several parts"),
        ("bits", "variegated"),
        ("wet", "measured wet"),
        ("unweighed", "dry weight"),
        ("unseen", "no measured wound card"),
        ("both", "several bases"),
        ("over", "over an earlier lot"),
        ("glow", "Zing, which is fluorescent"),
    ],
)
def test_what_does_not_fit_is_left_out_with_its_reason(known, code, why):
    assert why in known.left_out[code]
    assert code in left_out_words(known.left_out)


def test_left_out_lots_are_counted_and_the_rest_is_used(known):
    assert len(known.left_out) == 8
    assert known.model.n_lots == USABLE + 1  # and "off"
    assert left_out_words({}) == ""
    assert (
        left_out_words({"a": "x", "b": "x", "c": "y"}) == "3 lots left out: x (2: a, b); y (1: c)"
    )


def test_a_form_that_is_not_there_says_what_is(yarn):
    with open_archive(yarn) as archive:
        with pytest.raises(NotFound, match=r"as skein .* wound card \(\d+ lots\)"):
            dyed_on_base(archive.conn, "Sock Fine", "skein")
        with pytest.raises(NotFound, match="photograph its lots"):
            dyed_on_base(archive.conn, "Untouched")
        with pytest.raises(NotFound, match="measured wet"):
            pot_as_dyed(archive.conn, "wet")
        with pytest.raises(ArchiveError, match="in several parts"):
            pot_as_dyed(archive.conn, "parts")


# -- predict --------------------------------------------------------------------------------------


def inside_recipes(known, count=12):
    rng = np.random.default_rng(3)
    rows = (r for r in recipes(rng, 500) if known.model.why_outside(depths_of(r)) is None)
    return [depths_of(next(rows)) for _ in range(count)]


def test_predictions_are_near_the_truth_and_say_how_near(known, ask):
    shades = [(known.model.predict(d, 2.0), WORLD.lab(row_of(d))) for d in inside_recipes(known)]
    misses = [float(delta_e_2000(shade.lab, truth, 2.0)) for shade, truth in shades]
    assert np.median(misses) < 2.0
    assert np.mean([m <= s.within_95 for m, (s, _) in zip(misses, shades, strict=True)]) >= 0.75
    (depths,) = inside_recipes(known, 1)
    typed = [f"{dye}={depth}" for dye, depth in depths.items()]
    answer = json.loads(ask("predict", "Sock Fine", *typed, "--json").out)
    assert answer["inside"]
    assert answer["lab"] == pytest.approx(shades[0][0].lab.tolist())
    assert answer["within_95"] == pytest.approx(shades[0][0].within_95)
    assert answer["u_lab"] == pytest.approx(np.sqrt(np.diag(answer["cov_lab"])).tolist())


def test_predict_says_what_it_rests_on(known, ask):
    (depths,) = inside_recipes(known, 1)
    typed = [f"{dye}={depth:.3f} %" for dye, depth in depths.items()]
    said = ask("predict", "Sock Fine", *typed, "--against", "s1").out
    assert "on Sock Fine, wound card, from 15 lots" in said
    differ = len(ROWS)  # lot "off" follows one of them again
    assert re.search(
        rf"19 of 20 such pots [^\n]*, learned from {differ} recipes in {USABLE + 1} lots\n", said
    )
    assert "swatch s1: ΔE00" in said
    assert "ΔE00 with kL = 2 throughout." in said
    assert "8 lots left out" in said
    assert "is not in the ±" in said
    assert said.strip().endswith("before you rely on it.")


def test_against_gives_the_difference(known, ask):
    typed = [f"{dye}={depth}" for dye, depth in PLANNED.items()]
    answer = json.loads(ask("predict", "Sock Fine", *typed, "--against", "goal", "--json").out)
    assert answer["delta_e_00"] == pytest.approx(
        float(delta_e_2000(answer["lab"], answer["target_lab"], 2.0))
    )
    assert answer["target_lab"] == pytest.approx(WORLD.lab(row_of(PLANNED)).tolist())


def test_a_colourway_s_recipe_at_half_the_depth(ask):
    record = json.loads(
        ask("predict", "Sock Fine", "--colourway", "Low sun", "--times", "0.5", "--json").out
    )
    assert row_of(record["recipe"]) == pytest.approx(0.5 * row_of(PLANNED))


@pytest.mark.parametrize(
    ("recipe", "why"),
    [
        (["Zing=0.5"], "fluorescent"),
        (["Unused=0.5"], "none of the measured lots"),
        (["Ember=40"], "deeper than any lot"),
    ],
)
def test_outside_what_was_seen_nothing_is_said(ask, recipe, why):
    ran = ask("predict", "Sock Fine", *recipe)
    assert ran.code == 0
    assert "no prediction" in ran.out
    assert why in ran.out
    answer = json.loads(ask("predict", "Sock Fine", *recipe, "--json").out)
    assert (answer["inside"], answer["lab"], answer["within_95"]) == (False, [None] * 3, None)


def test_overdyed_lots_are_learned_from_only_when_asked(ask):
    plain = json.loads(ask("predict", "Sock Fine", "Ember=0.3", "--json").out)
    asked = json.loads(ask("predict", "Sock Fine", "Ember=0.3", "--overdyed", "--json").out)
    assert asked["lots"] == plain["lots"] + 1
    assert "over" in plain["left_out"]
    assert "over" not in asked["left_out"]


@pytest.mark.parametrize(
    ("arguments", "what"),
    [
        (["predict", "Sock Fine", "Nothing=1"], "unknown dye"),
        (["predict", "Sock Fine", "Ember"], "write the dye, ="),
        (["predict", "Sock Fine", "Ember=much"], "cannot be read"),
        (["predict", "Sock Fine", "Ember=1,250"], "write 1.250 or 1250"),
        (["predict", "Sock Fine", "Ember=1", "ember=2"], "named twice"),
        (["predict", "Sock Fine", "Ember=-1"], "at least 0 %"),
        (["predict", "Sock Fine", "Ember=400"], "at most 100 %"),
        (["predict", "Sock Fine", "Ember=nan"], "cannot be read"),
        (["predict", "Nowhere", "Ember=1"], "unknown base"),
        (["predict", "Thin Air", "Ember=1"], "3 lots on this base can be used, at least 6"),
        (["predict", "One Pot", "Ember=1"], "follow 1 recipe"),
        (["predict", "Untouched", "Ember=1"], "no measured swatch"),
        (["predict", "Sock Fine", "Ember=1", "--against", "nonsense"], "unknown swatch"),
        (["predict", "Sock Fine", "Ember=1", "--against", "500,0,0"], "is no colour"),
        (["predict", "Sock Fine", "--colourway", "Two ends"], "2 part(s)"),
        (["predict", "Sock Fine", "--colourway", "Low sun", "--times", "0"], "more than 0"),
        (["reach", "nonsense", "--base", "Sock Fine"], "unknown swatch"),
        (["reach", "#12", "--base", "Sock Fine"], "no hex colour"),
        (["reach", "50,0,0", "--base", "Sock Fine", "--dye", "Unused"], "none of these dyes"),
        (["reach", "50,0,0", "--base", "Sock Fine", "--without", "Nix"], "unknown dye"),
        (["reach", "50,0,0", "--base", "Thin Air"], "at least 6"),
        (["correct", "Nope"], "unknown lot"),
        (["correct", "L1"], "no master"),
        (["correct", "wet", "--to", "50,0,0"], "measured wet"),
        (["correct", "parts", "--to", "50,0,0"], "in several parts"),
        (["correct", "unweighed", "--to", "50,0,0"], "dry weight"),
        (["correct", "over", "--to", "50,0,0"], "--overdyed"),
        (["correct", "L1", "--to", "not-a-colour"], "unknown swatch"),
    ],
)
def test_a_mistake_is_one_plain_line(ask, arguments, what):
    ran = ask(*arguments)
    assert ran.code == 1, ran.out
    assert what in ran.err
    assert len(ran.err.strip().splitlines()) == 1


def test_dyes_and_a_colourway_at_once_are_wrong_use(ask):
    assert ask("predict", "Sock Fine").code == 2
    assert ask("predict", "Sock Fine", "Ember=1", "--colourway", "Low sun").code == 2


# -- correct --------------------------------------------------------------------------------------


def test_a_pot_that_is_off_is_brought_nearer(ask):
    target = WORLD.lab(row_of(PLANNED) * 1.3)
    typed = ",".join(f"{v:.3f}" for v in target)
    answer = json.loads(ask("correct", "off", "--to", typed, "--json").out)
    assert answer["goods_g"] == 100.0
    before = float(delta_e_2000(WORLD.lab(TOOK), target, 2.0))
    assert answer["delta_e_before"] == pytest.approx(before, abs=0.01)
    really = WORLD.lab(TOOK + row_of(answer["add"]))
    assert float(delta_e_2000(really, target, 2.0)) < 0.5 * before
    for one in answer["amounts"]:
        assert one["stock"] == f"{one['dye']} 1"
        assert one["dye_g"] == pytest.approx(one["depth_percent"])  # % of 100 g
        assert one["stock_ml"] == pytest.approx(100 * one["dye_g"])
    # the pot itself is not among the lots that it is judged by
    assert answer["lots"] == USABLE


def test_correct_prints_what_to_pour_and_its_caution(ask):
    target = ",".join(f"{v:.3f}" for v in WORLD.lab(row_of(PLANNED) * 1.3))
    said = ask("correct", "off", "--to", target).out
    assert "of stock" in said
    assert "mL" in said
    # "off" is left out of what it is judged by, and its recipe stays with the lot that had it first
    assert re.search(
        rf"19 of 20 such pots [^\n]*, learned from {len(ROWS)} recipes in {USABLE} lots\n", said
    )
    assert "caution:" in said
    assert 'pot did off "dye in"' in said
    only = json.loads(ask("correct", "off", "--to", target, "--dye", "Ember", "--json").out)
    assert set(only["add"]) <= {"Ember"}


def test_a_pot_that_is_too_deep_is_told_so(ask):
    pale = ",".join(f"{v:.3f}" for v in WORLD.lab(np.zeros(N_DYES)))
    ran = ask("correct", "L1", "--to", pale)
    assert ran.code == 0
    assert "Dye can be added, not taken out" in ran.out
    assert "add to this pot" not in ran.out


def test_no_k_l_darkens_a_pot_that_is_too_deep(known):
    """Counting lightness by half, more of the other dyes would come nearer in hue."""
    pale, depths = WORLD.lab(np.zeros(N_DYES)), depths_of(ROWS[1])
    for k_l in (1.0, 2.0, 4.0):
        assert correct_pot(known.model, depths, LABS[1], pale, k_l=k_l).add == {}


def test_without_a_target_a_lot_is_held_to_its_master(ask):
    answer = json.loads(ask("correct", "off", "--json").out)
    assert answer["target"] == "swatch s off"
    assert (answer["delta_e_before"], answer["add"]) == (0.0, {})


def test_no_amounts_are_told_where_dye_went_in_after_the_photo(yarn, ask):
    with open_archive(yarn) as archive:
        record_step(archive.conn, "L2", PotStep("dye in", "2026-03-02T12:00:00+00:00"))
    refused = ask("correct", "L2", "--to", "40,0,0", "--json")
    assert refused.code == 1 and "after the photo of s2" in refused.err
    assert "mL" not in refused.out
    none = json.loads(ask("correct", "L1", "--to", "40,0,0", "--json").out)["warnings"]
    assert not any("after the photo" in w for w in none)
    predicted = json.loads(ask("predict", "Sock Fine", "Ember=0.5", "--json").out)
    assert predicted["lots"] == USABLE and "before its last dye" in predicted["left_out"]["L2"]
    with sqlite3.connect(yarn / "archive.db") as conn:  # the tests below learn from that lot too
        conn.execute("UPDATE pot_step SET at = '2026-02-01T12:00:00+00:00'")


# -- reach ----------------------------------------------------------------------------------------


def test_recipes_for_a_colour_really_reach_it(ask):
    goal = ROWS[5]
    typed = ",".join(f"{v:.3f}" for v in WORLD.lab(goal))
    answer = json.loads(ask("reach", typed, "--base", "Sock Fine", "--json").out)
    best = answer["recipes"][0]
    assert float(delta_e_2000(WORLD.lab(row_of(best["recipe"])), WORLD.lab(goal), 2.0)) < 3.0
    costs = [r["delta_e_00"] + 0.5 * len(r["recipe"]) for r in answer["recipes"]]
    assert np.all(np.diff(costs) > -1e-9)  # in order, and what costs the same in any
    assert answer["not_tried_on_this_base"] == ["Unused", "Zing"]
    assert best["other_dyes"] is None


def test_recipes_are_searched_by_the_k_l_they_are_ranked_by(known):
    target = (75.0, 5.0, -25.0)  # paler than these dyes give so strong a blue
    one, two = (recipes_for(known.model, target, k_l=k)[0] for k in (1.0, 2.0))
    for k_l, best, other in ((1.0, one, two), (2.0, two, one)):
        assert best.delta_e_00 == pytest.approx(float(delta_e_2000(best.shade.lab, target, k_l)))
        assert best.delta_e_00 < float(delta_e_2000(other.shade.lab, target, k_l)) - 0.1


def test_reach_leaves_out_and_asks_whether_other_dyes_could(ask):
    used = sorted(depths_of(ROWS[5]))
    answer = json.loads(ask("reach", "s5", "--base", "Sock Fine", "--json").out)
    assert answer["target_dyes"] == used
    assert any(r["other_dyes"] is False for r in answer["recipes"])
    assert answer["could_another"].startswith(f"swatch s5 was dyed with {', '.join(used)}")
    left = json.loads(ask("reach", "s5", "--base", "Sock Fine", "--without", used[0], "--json").out)
    assert all(used[0] not in r["recipe"] for r in left["recipes"])
    said = ask("reach", "s5", "--base", "Sock Fine", "-n", "3").out
    assert f"19 of 20 is learned from {len(ROWS)} recipes in {USABLE + 1} lots" in said
    assert "same dyes" in said
    assert "under another light" in said


def test_a_target_in_another_form_is_noted(ask):
    for arguments in (
        ("reach", "goal knit", "--base", "Sock Fine"),
        ("correct", "L1", "--to", "goal knit"),
    ):
        (note, *_) = json.loads(ask(*arguments, "--json").out)["warnings"]
        assert "is a knit" in note
        assert "form alone changes the colour" in note
    refused = ask("reach", "goal", "--base", "Sock Fine", "--form", "knit")
    assert (refused.code, "knit: 1 lots" in refused.err) == (1, True)


def test_a_hex_is_reached_with_a_warning(ask):
    said = ask("reach", "#7a4b90", "--base", "Sock Fine").out
    assert said.startswith("! A hex colour is a screen's")


# -- gaps -----------------------------------------------------------------------------------------


def test_recipes_are_spread_inside_what_was_seen(known):
    reach = spread_recipes(known.model)
    assert 300 < len(reach.depths) <= MOST_RECIPES
    assert all(known.model.why_outside(reach.recipe(i)) is None for i in range(len(reach.depths)))
    lab, _ = known.model.estimate(reach.depths[:20])
    assert reach.lab[:20] == pytest.approx(lab)
    counts = {int((row > 0).sum()) for row in reach.depths}
    assert counts == {1, 2, 3}
    assert recipes_for(known.model, reach.lab[5])[0].delta_e_00 < 0.5


def test_gaps_come_with_the_recipe_that_lands_there(ask, known, tmp_path):
    answer = json.loads(ask("gaps", "Sock Fine", "-n", "3", "--json").out)
    assert answer["by"] == "reach of the dyes"
    assert answer["lots"] == USABLE + 1
    assert len(answer["gaps"]) == 3
    made = np.array([lab for _, base, _, lab, _, _ in colours() if base == "Sock Fine"])
    for gap in answer["gaps"]:
        there = WORLD.lab(row_of(gap["recipe"]))
        assert float(delta_e_2000(there, gap["lab"], 2.0)) <= 1.5 * gap["within_95"]
        sure = known.model.predict(gap["recipe"], 2.0).within_95
        assert gap["within_95"] == pytest.approx(sure, rel=1e-6)
        assert sure < known.model.predict(gap["recipe"], 1.0).within_95
        assert gap["delta_e"] == pytest.approx(float(delta_e_2000(gap["lab"], made, 2.0).min()))
    svg = tmp_path / "map.svg"
    said = ask("gaps", "Sock Fine", "-n", "3", "--svg", svg).out
    assert said.count("dye next: ") == 3
    assert "kL = 1" not in said and said.endswith("ΔE00 with kL = 2.\n")
    assert ORDER in said
    assert "Inside what the dyes are predicted to reach" in said
    assert f"; 19 of 20 is learned from {len(ROWS)} recipes in {USABLE + 1} lots." in said
    assert (answer["different_recipes"], answer["lots"]) == (len(ROWS), USABLE + 1)
    text = svg.read_text(encoding="utf-8")
    assert xml.dom.minidom.parseString(text)
    assert text.count("19 of 20 such pots") == 3


def test_with_few_lots_gaps_are_sought_as_before_and_it_says_so(ask):
    said = ask("gaps", "Thin Air").out
    assert "Inside what 4 swatches span" in said
    assert "3 lots on this base can be used" in said
    assert "dye next" not in said and ORDER in said
    answer = json.loads(ask("gaps", "Thin Air", "--json").out)
    assert answer["by"] == "span of the colours"
    assert "at least 6" in answer["why_not_by_reach"]
    assert all(g["recipe"] is None for g in answer["gaps"])


def test_the_reasons_stand_in_the_refusal(yarn):
    with (
        open_archive(yarn) as archive,
        pytest.raises(SwatchvaultError, match=r"1 lot left out: .*\(1: both\)"),
    ):
        know_base(dyed_on_base(archive.conn, "Thin Air"))


def test_what_is_learned_from_several_packs_is_told(yarn, tmp_path, capsys):
    """Half of the lots with Ember took it from a pack opened later."""
    folder = shutil.copytree(yarn, tmp_path / "yarn")
    typed = ("predict", "Sock Fine", "Ember=0.3", "--archive", folder)
    assert "several packs" not in run(capsys, *typed).out
    with sqlite3.connect(folder / "archive.db") as conn:
        dye = "(SELECT id FROM dye WHERE name = 'Ember')"
        for code, day in (("E-2", "2026-05-01"), ("E-1", "2026-01-01")):
            sql = f"INSERT INTO dye_pack (dye_id, code, opened_on) VALUES ({dye}, ?, ?)"
            conn.execute(sql, (code, day))
            conn.execute(
                "UPDATE lot_dye SET dye_pack_id = (SELECT id FROM dye_pack WHERE code = ?), "
                f"stock_id = NULL WHERE dye_id = {dye} AND lot_id % 2 = ?",
                (code, code == "E-1"),
            )
    said = run(capsys, *typed).out
    assert re.search(r"several packs count alike: Ember \(E-1: \d, E-2: \d\)\. Where a maker", said)
    other = run(capsys, "predict", "Sock Fine", "Tarn=0.3", "--archive", folder)
    assert "several packs" not in other.out
