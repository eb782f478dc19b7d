"""A lot against its master: refusals, flags, the record."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from swatchvault import words
from swatchvault.compare import (
    PAIR_FLAGS,
    as_record,
    compare,
)
from swatchvault.difference import Verdict
from swatchvault.errors import CompareError
from swatchvault.pair import Colour, Conditions

LAB = np.array([55.0, 22.0, 30.0])
SURE = Conditions("same frame", light="daylight", same_dyes=True)


def colour(change=(0, 0, 0), reference="steps", **known):
    return Colour(LAB + np.array(change, dtype=float), 0.01 * np.eye(3), reference, **known)


def test_defaults_are_two_and_two_and_nothing_is_assumed():
    c = compare(colour(), colour(), Conditions("same frame")).difference.conditions
    assert (c.tolerance, c.k_l, c.light, c.same_dyes) == (2.0, 2.0, None, None)


def test_the_difference_is_new_minus_master():
    c = compare(colour(), colour((-5, 0, 0)), SURE)
    assert c.difference.d_lch[0] == -5.0 and c.words == "much darker"
    assert c.verdict is Verdict.OUTSIDE


@pytest.mark.parametrize("bad", [{"capture": "best"}, {"tolerance": 0}, {"k_l": math.nan}])
def test_nonsense_is_refused_in_one_line(bad):
    with pytest.raises(CompareError) as error:
        compare(colour(), colour(), replace(SURE, **bad))
    assert "\n" not in str(error.value)


def test_one_frame_cannot_be_claimed_for_two_photos():
    a, b = colour(photo_ids=frozenset({"a"})), colour(photo_ids=frozenset({"b"}))
    with pytest.raises(CompareError, match="different photos"):
        compare(a, b, SURE)
    compare(a, colour(photo_ids=frozenset({"a"})), SURE)


@pytest.mark.parametrize("reference", ["card", "steps", "chart"])
def test_one_sharp_and_one_blurred_in_one_frame_are_not_judged(reference):
    far = (-12, 0, 0)
    sharp = colour(reference=reference)
    blurred = colour(far, reference, flags=frozenset({"out of focus"}))
    told = compare(sharp, blurred, SURE)
    assert told.verdict is Verdict.CANNOT_TELL and told.flags == {"one is blurred"}
    assert PAIR_FLAGS["one is blurred"] in told.difference.stops
    both = compare(replace(sharp, flags=blurred.flags), blurred, SURE)
    apart = compare(sharp, blurred, replace(SURE, capture="locked set-up"))
    assert both.verdict is apart.verdict is Verdict.OUTSIDE


def test_forms():
    skein, knit, unsaid = colour(form="skein"), colour(form="knit"), colour()
    with pytest.raises(CompareError, match=r"skein.*knit"):
        compare(skein, knit, SURE)
    across = compare(skein, knit, SURE, across_forms=True)
    assert across.flags == {"forms differ"} and PAIR_FLAGS["forms differ"] in across.notes
    assert compare(skein, unsaid, SURE).flags == {"form unknown"}
    assert compare(skein, colour(form="skein"), SURE).flags == set()
    assert compare(unsaid, unsaid, SURE).flags == set()


@pytest.mark.parametrize(
    ("one", "two", "flagged"),
    [
        (0.10, 0.14, True),
        (0.14, 0.10, True),
        (0.10, 0.131, True),
        (0.10, 0.13, False),
        (0.2, 0.2, False),
        (math.nan, 0.5, False),
    ],
)
def test_shadow_between_strands(one, two, flagged):
    found = compare(colour(shadow_sd=one), colour(shadow_sd=two), SURE)
    assert ("shadow differs" in found.flags) is flagged
    assert (PAIR_FLAGS["shadow differs"] in found.notes) is flagged


def test_wet_is_not_held_to_dry():
    wet = colour((-4, 0, 0), flags=frozenset({"not dry"}))
    found = compare(colour(), wet, SURE)
    assert found.verdict is Verdict.CANNOT_TELL
    assert PAIR_FLAGS["one is wet"] in found.reasons
    assert compare(wet, wet, SURE).verdict is Verdict.WITHIN


@pytest.mark.parametrize(
    ("lightness", "verdict", "told"),
    [
        (20.0, Verdict.CANNOT_TELL, False),  # its own sentence says that none is called within
        (26.0, Verdict.WITHIN, True),
        (29.0, Verdict.WITHIN, True),
        (31.0, Verdict.WITHIN, False),
    ],
)
def test_what_dark_colours_were_wrong_by_is_told_where_one_is_called_within(
    lightness, verdict, told
):
    dark = Colour(np.array([lightness, 5, 5]), 0.01 * np.eye(3), "steps")
    found = compare(dark, dark, SURE)
    assert found.verdict is verdict and ("dark" in found.flags) is told
    assert (PAIR_FLAGS["dark"] in found.notes) is told
    assert any("L* is 20" in r for r in found.reasons) is (lightness == 20.0)


@pytest.mark.parametrize(
    ("stated", "one", "two", "counts_as"),
    [
        (None, {"p1"}, {"p1"}, True),
        (None, {"p1"}, {"p1", "p2"}, False),
        (None, {"p1"}, None, None),
        (True, {"p1"}, {"p2"}, True),
        (False, {"p1"}, {"p1"}, False),
    ],
)
def test_the_dyes_come_from_the_records_unless_stated(stated, one, two, counts_as):
    sides = (colour(dyes=None if d is None else frozenset(d)) for d in (one, two))
    found = compare(*sides, replace(SURE, same_dyes=stated))
    assert found.difference.conditions.same_dyes is counts_as
    assert (words.SAME_DYES_ONLY in found.notes) is (counts_as is None)
    assert (words.DYES_DIFFER in found.notes) is (counts_as is False)


CONTRACT = {
    "delta_e_00", "k_l", "d_lch", "u", "capture", "words", "tolerance", "verdict", "p_within",
    "p_outside",
}  # fmt: skip


def test_record_holds_the_contract_and_is_json():
    new = colour((3.4, 0.3, 0), flags=frozenset({"glare"}))
    found = compare(colour(), new, Conditions("other"))
    record = json.loads(json.dumps(as_record(found), allow_nan=False))
    assert set(record) >= CONTRACT
    assert set(record["u"]) == {"reading", "at_tolerance", "d_lch"}
    assert record["verdict"] == "cannot tell" and record["capture"] == "other"
    assert record["d_lch"][0] == pytest.approx(3.4)
    assert record["flags"] == ["new: glare"]
    assert record["what_next"][0]["u_at_tolerance"] < record["u"]["at_tolerance"]
    assert record["words"] == found.words


def test_unknown_becomes_null():
    found = compare(colour(reference="none"), colour(), SURE)
    record = json.loads(json.dumps(as_record(found), allow_nan=False))
    assert record["verdict"] == "cannot tell"
    assert record["u"] == {"reading": None, "at_tolerance": None, "d_lch": [None, None, None]}
    assert record["p_within"] is None and record["p_outside"] is None
    assert record["reasons"]


def test_sentences_are_ready_to_print():
    for capture in ("same frame", "other"):
        for change in ((0.1, 0, 0), (3.9, 0, 0), (-20, 10, 0)):
            lines = compare(colour(), colour(change), Conditions(capture)).sentences
            assert lines[0].startswith("ΔE00") and "kL = 2" in lines[0]
            assert words.MEANT_FOR in lines and words.SAME_DYES_ONLY in lines
            for line in lines:
                assert line[-1] == "." and "\n" not in line and "nan" not in line, line


@pytest.mark.parametrize(
    ("capture", "verdict", "flag"),
    [
        ("same frame", "within", "fluorescent"),
        ("locked set-up", "cannot tell", "fluorescent, two photos"),
    ],
)
def test_fluorescent_yarn_is_compared_in_one_frame_only(capture, verdict, flag):
    one = colour(flags=frozenset({"fluorescent"}), light="daylight")
    found = compare(one, one, Conditions(capture, same_dyes=True))
    assert found.verdict.value == verdict
    assert flag in found.flags
    assert any("fluoresces" in s for s in found.sentences)
