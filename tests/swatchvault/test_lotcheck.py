"""Which photos a lot is judged on: the strongest there are, and none that says nothing."""

import dataclasses
import math

import numpy as np
import pytest

from ingest.model import LabCovariance
from swatchvault.archive.colours import StoredColour
from swatchvault.commands.lots import judged_on, weakened
from swatchvault.difference import Verdict
from swatchvault.lotcheck import Held, check_swatch, groups
from swatchvault.pair import Capture

LAB = np.array([50.0, 20.0, 10.0])


def photo(number, reference="steps", *, lab=LAB, flags=(), setup=1, **changes):
    """A stored measurement of its own photo."""
    region = LabCovariance(*(np.eye(3) * 1e-4 for _ in dataclasses.fields(LabCovariance)))
    fields = {
        "measurement_id": number,
        "swatch_id": 1,
        "swatch": "s",
        "region": "s",
        "lab": lab,
        "covariance": region,
        "flags": frozenset(flags),
        "reference": reference,
        "clipped_share": 0.0,
        "shadow_sd": math.nan,
        "mm_per_px": math.nan,
        "tonality": None,
        "photo_sha256": f"{number:064x}",
        "taken_at": None,
        "added_at": "2026-03-01",
        "setup_id": setup,
        "setup": "window",
        "locked": False,
        "light": "daylight",
        "form": "wound card",
        "dry": True,
        "lot_id": 1,
        "lot": "7",
        "skein": None,
        "colourway": "Moss",
        "base": "Sock",
        "version": "1",
        **changes,
    }
    return StoredColour(**fields)


def judged(master, lot):
    checked = check_swatch(master, lot, Held(same_dyes=True))
    return checked, checked.master_measurements, checked.lot_measurements


@pytest.mark.parametrize("poorer", [{"reference": "card"}, {"light": "other"}, {"light": None}])
def test_one_poorer_photo_does_not_bring_its_doubt_upon_the_others(poorer):
    good, lot = [photo(1), photo(2)], [photo(10)]
    checked, master, _ = judged([*good, photo(3, **poorer)], lot)
    alone, *_ = judged(good, lot)
    assert master == (1, 2)
    ours, theirs = (c.comparison.difference.u_at_tolerance for c in (checked, alone))
    assert ours == theirs


def test_a_poorer_photo_counts_where_there_is_no_better_one_of_the_other_side():
    checked, master, lot = judged([photo(1, "card"), photo(2, "chart")], [photo(10, "card")])
    assert master == (1, 2) and lot == (10,)
    assert checked.comparison.difference.doubt.reference == "card"


def test_a_chart_counts_with_steps_where_the_lot_has_steps_alone():
    _, master, _ = judged([photo(1, "card"), photo(2, "chart"), photo(3)], [photo(10)])
    assert master == (2, 3)


def test_ways_come_best_first_and_none_twice():
    ways = groups([photo(1), photo(2, "card")], [photo(10)])
    assert [w[0] for w in ways] == [Capture.SAME_SETUP] * 2 + [Capture.OTHER] * 2
    ids = [[c.measurement_id for c in ours] for _, ours, _ in ways]
    assert ids == [[1], [1, 2], [1], [1, 2]]


@pytest.mark.parametrize("flag", ["steps not in order", "reference far off"])
def test_a_photo_of_a_broken_reference_is_left_out_and_alone_gives_no_verdict(flag):
    wild = photo(3, lab=LAB + np.array([40.0, -20.0, 0.0]), flags=[flag])
    checked, master, _ = judged([photo(1), wild], [photo(10)])
    assert master == (1,) and checked.comparison.difference.delta_e_00 < 0.1
    alone, *_ = judged([wild], [photo(10)])
    assert alone.comparison.verdict is Verdict.CANNOT_TELL
    assert alone.comparison.difference.stops


@pytest.mark.parametrize("flag", ["card in shadow", "reference does not fit"])
def test_a_photo_that_is_held_to_no_other_is_left_out_but_within_it_lots_are_judged(flag):
    off = LAB + np.array([6.0, -8.0, 0.0])
    checked, master, lot = judged([photo(1)], [photo(10), photo(11, lab=off, flags=[flag])])
    assert (master, lot) == ((1,), (10,)) and checked.comparison.verdict is Verdict.WITHIN
    alone, *_ = judged([photo(1)], [photo(11, lab=off, flags=[flag])])
    assert alone.comparison.verdict is Verdict.CANNOT_TELL
    frame = {"photo_sha256": "f" * 64, "flags": [flag], "lab": off, "reference": "card"}
    both, master, lot = judged([photo(1), photo(2, **frame)], [photo(12, **frame)])
    assert (master, lot) == ((2,), (12,)) and both.comparison.verdict is Verdict.WITHIN


def test_a_photo_whose_curve_is_bent_by_a_shadow_gives_way_to_any_other():
    frame = {"photo_sha256": "f" * 64, "flags": ["card in shadow"], "lab": LAB + 9.0}
    checked, master, lot = judged([photo(1), photo(2, **frame)], [photo(10), photo(12, **frame)])
    assert (master, lot) == ((1,), (10,)) and checked.comparison.verdict is Verdict.WITHIN
    checked, *_ = judged([photo(2, **frame)], [photo(12, **frame)])
    assert checked.comparison.verdict is Verdict.CANNOT_TELL


def test_a_photo_whose_marks_may_hold_two_things_is_left_out_where_another_remains():
    wrong = photo(11, lab=LAB + 9.0, flags=["perhaps two swatches"])
    checked, _, lot = judged([photo(1)], [photo(10), wrong])
    assert lot == (10,) and checked.comparison.verdict is Verdict.WITHIN


def both_in(number, blurred):
    """One photo of master and lot; which of them is blurred in it."""
    sides = ((number, "master"), (number + 100, "lot"))
    sha = {"photo_sha256": f"{number:064x}"}
    return [photo(n, flags={"out of focus"} if side in blurred else (), **sha) for n, side in sides]


def test_a_photo_in_which_one_is_sharp_and_the_other_blurred_gives_way_to_any_other():
    (bad, bad_lot), (good, good_lot) = both_in(1, {"master"}), both_in(2, {"master", "lot"})
    alone, *_ = judged([bad], [bad_lot])
    assert alone.comparison.verdict is Verdict.CANNOT_TELL
    assert alone.comparison.flags == {"one is blurred"}
    assert alone.comparison.difference.conditions.capture is Capture.SAME_FRAME
    checked, master, lot = judged([bad, good], [bad_lot, good_lot])
    assert checked.comparison.verdict is Verdict.WITHIN and (master, lot) == ((2,), (102,))
    checked, master, lot = judged([bad, photo(3, "chart")], [bad_lot, photo(13, "chart")])
    assert not checked.comparison.flags and (master, lot) == ((3,), (13,))


def test_a_photo_from_before_the_last_dye_is_left_out_and_told():
    early = photo(10, lab=LAB + 9.0, before_last_dye=True)
    checked, _, lot = judged([photo(1)], [early, photo(11)])
    assert lot == (11,) and checked.comparison.verdict is Verdict.WITHIN
    left_out = "Left out: 1 photo of s from before the last dye went in, by the pot's times."
    assert left_out in checked.comparison.notes
    checked, _, lot = judged([photo(1)], [early])
    assert lot == (10,) and checked.comparison.verdict is Verdict.OUTSIDE
    (said,) = [n for n in checked.comparison.notes if "before the last dye" in n]
    assert said.startswith("Judged on 1 photo of s") and said.endswith("as it came out.")
    assert not any("last dye" in n for n in judged([photo(1)], [photo(11)])[0].comparison.notes)


def test_a_photo_of_damp_yarn_is_left_out_where_there_is_one_of_dry():
    damp = photo(10, lab=LAB + 9.0, dry=False)
    checked, _, lot = judged([photo(1)], [damp, photo(11)])
    assert lot == (11,) and checked.comparison.verdict is Verdict.WITHIN
    checked, master, _ = judged([photo(1), photo(2, lab=LAB + 9.0, dry=False)], [photo(11)])
    assert master == (1,) and checked.comparison.verdict is Verdict.WITHIN
    assert judged([photo(1)], [damp])[0].comparison.verdict is Verdict.CANNOT_TELL


def test_a_lock_whose_photos_only_agree_on_average_counts_as_none():
    def lit(number, level):
        greys = tuple((level * y,) * 3 for y in (0.2, 0.04, 0.6))
        return photo(number, locked=True, greys=greys)

    even = groups([lit(1, 1.0), lit(2, 1.01)], [lit(11, 1.0)])
    assert even[0][0] is Capture.LOCKED
    apart = groups([lit(1, 0.7), lit(2, 1.3)], [lit(11, 1.0)])
    assert apart[0][0] is Capture.SAME_SETUP


def test_a_check_names_its_photos_and_tells_what_weakens_it_once():
    flags = ["glare", "scale unknown", "steps not in order"]
    checked, *_ = judged([photo(1), photo(2)], [photo(10, flags=flags)])
    names = {1: "a.jpg", 2: "b.jpg", 10: "new.jpg"}
    assert judged_on(checked, names) == "Judged on new.jpg, the master on a.jpg, b.jpg."
    (line,) = weakened(checked.comparison)
    assert line.startswith("! glare: ")
    misfit, *_ = judged([photo(1)], [photo(10, flags=["reference does not fit"])])
    assert "does not fit" not in " ".join(weakened(misfit.comparison))  # it is among the reasons
    assert sum("do not agree with their stated" in s for s in misfit.comparison.sentences) == 1
    many = dataclasses.replace(checked, master_measurements=(1, 2, 3, 4, 5))
    names = {i: f"{i}.jpg" for i in (1, 2, 3, 4, 5, 10)}
    assert judged_on(many, names).endswith("the master on 1.jpg, 2.jpg, 3.jpg and 2 more.")
    one = dataclasses.replace(checked, master_measurements=(10,))
    assert judged_on(one, names) == "Judged on 10.jpg."
