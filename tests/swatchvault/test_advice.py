"""Advice: what would make a verdict certain, with a doubt that the change really reaches."""

import math
from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from swatchvault.advice import AT_THE_EDGE, BY_EYE, REFERENCE_AGAIN, what_next
from swatchvault.compare import compare
from swatchvault.difference import judge
from swatchvault.pair import Capture, Colour, Conditions
from swatchvault.pairdoubt import pair_doubt


def colours(reference="card", region=0.01, lab=(55, 20, 30), change=(1.0, 0, 0)):
    cov = region * np.eye(3)
    one = np.array(lab, dtype=float)
    return Colour(one, cov, reference), Colour(one + change, cov, reference)


def advice(pair, conditions):
    return what_next(*pair, judge(*pair, conditions))


def by_text(found, part):
    return next(a for a in found if part in a.text)


def test_no_advice_where_the_verdict_is_certain():
    pair = colours("steps")
    assert advice(pair, Conditions("same frame", light="daylight", same_dyes=True)) == ()


def test_each_change_is_weighed_as_if_it_were_made():
    card, steps = colours("card"), colours("steps")
    loose = Conditions("same set-up", light="daylight", same_dyes=True)
    found = advice(card, loose)

    def reached(pair, **how):
        fields = {"light": "daylight", "same_dyes": True, **how}
        return pair_doubt(*pair, Conditions(**fields)).u(2.0)

    expect = {
        "a piece of both in one frame": reached(card, capture="same frame"),
        "in one frame with six or more": reached(steps, capture="same frame"),
        "settings locked": reached(card, capture="locked set-up"),
        "in place of a card": reached(steps, capture="same set-up"),
    }
    for part, u in expect.items():
        assert by_text(found, part).u_at_tolerance == pytest.approx(u, rel=1e-12), part
        assert f"to {u:.2f}" in by_text(found, part).text
    more = [Colour(c.lab, c.region_cov / 2, "card", n_photos=2) for c in card]
    assert by_text(found, "one more photo").u_at_tolerance == pytest.approx(
        reached(more, capture="same set-up"), rel=1e-12
    )
    assert [a.u_at_tolerance for a in found] == sorted(a.u_at_tolerance for a in found)
    assert by_text(found, "six or more neutral steps").enough


@pytest.mark.parametrize("flag", ["perhaps background", "perhaps two swatches"])
def test_doubtful_marks_are_looked_at_before_another_photo(flag):
    one, other = colours("card")
    pair = one, replace(other, name="moss-8", flags=frozenset({flag}))
    loose = Conditions("same set-up", light="daylight", same_dyes=True)
    first, *others = advice(pair, loose)
    assert "region of moss-8" in first.text and math.isnan(first.u_at_tolerance)
    assert others == list(advice((one, other), loose)) and not first.enough


def test_plain_paper_is_advised_where_nothing_shows_the_light():
    pair = [replace(c, flags=frozenset({"light not seen"})) for c in colours("card")]
    loose = Conditions("same set-up", light="daylight", same_dyes=True)
    first, *rest = advice(pair, loose)
    assert first.text.startswith("Lay all on plain paper") and math.isnan(first.u_at_tolerance)
    others = [a.text for a in advice(colours("card"), loose)]
    swapped = [t.replace("of each and", "of each, with their places swapped, and") for t in others]
    assert [a.text for a in rest] == swapped != others
    shown = compare(*pair, loose).best_next
    assert shown[0] == first and len(shown) > 1


@pytest.mark.parametrize("flag", ["light uneven", "light of two colours"])
def test_one_even_light_is_advised_where_it_differs_between_the_swatches(flag):
    pair = [replace(c, flags=frozenset({flag})) for c in colours("card")]
    loose = Conditions("same set-up", light="daylight", same_dyes=True)
    first, *rest = advice(pair, loose)
    assert first.text.startswith("Photograph them again in one even light")
    assert [a.text for a in rest] == [a.text for a in advice(colours("card"), loose)]


def test_daylight_and_dyes_are_asked_for_only_where_not_stated():
    pair = colours("steps")
    texts = " ".join(a.text for a in advice(pair, Conditions("same set-up")))
    assert "daylight" in texts and "same dyes" in texts
    told = Conditions("other", light="daylight", same_dyes=False)
    texts = " ".join(a.text for a in advice(pair, told))
    assert "by daylight, and say so" not in texts and "Say so" not in texts
    assert "locked" in texts


def test_several_changes_together_where_none_is_enough_alone():
    found = advice(colours("card"), Conditions("other"))
    assert found[0].enough and "one frame, by daylight, with six" in found[0].text
    assert not any(a.enough for a in found[1:])


def test_no_advice_that_hardly_helps():
    pair = colours("steps", region=1e-6, change=(3.9, 0, 0))
    conditions = Conditions("same frame", light="daylight", same_dyes=True)
    (only,) = advice(pair, conditions)
    assert only.text == AT_THE_EDGE and math.isnan(only.u_at_tolerance)


CAPTURES = ("same frame", "locked set-up", "same set-up")


def test_a_small_doubt_gets_smaller_only_where_that_decides_the_reading():
    kinds = set()
    for region, capture, change in product((0.01, 0.05, 0.2), CAPTURES, (3.2, 3.4, 3.6, 3.9, 4.3)):
        pair = colours("steps", region=region, change=(change, 0, 0))
        conditions = Conditions(capture, light="daylight", same_dyes=True)
        diff = judge(*pair, conditions)
        if diff.verdict.value != "cannot tell" or diff.u_at_tolerance > 2.0 / 3.0:
            continue
        after = judge(
            *(replace(c, region_cov=c.region_cov / 2, n_photos=2) for c in pair), conditions
        )
        helps = after.u_at_tolerance < 0.9 * diff.u_at_tolerance
        decided = helps and after.verdict.value != "cannot tell"
        found = advice(pair, conditions)
        told = [a.text for a in found if "one more photo" in a.text]
        assert len(told) == int(decided)
        assert all(f"this same reading would then be {after.verdict.value}" in t for t in told)
        if capture == "same frame" and not told:
            assert [a.text for a in found] == [AT_THE_EDGE]
        for a in found:
            if not a.enough and a.text != AT_THE_EDGE:
                assert a.u_at_tolerance < 0.5 * diff.u_at_tolerance and "would still not" in a.text
        kinds |= {(decided, found[0].enough)}
    assert kinds >= {(True, True), (False, True), (False, False)}


def test_dark_colours_are_sent_to_the_eye():
    pair = colours("steps", lab=(18, 5, 5), change=(0.1, 0, 0))
    (only,) = advice(pair, Conditions("same frame", light="daylight", same_dyes=True))
    assert only.text == BY_EYE
    loose = advice(pair, Conditions("other", light="other"))
    assert loose and not any(a.enough for a in loose)


def test_a_stopped_verdict_asks_for_another_photo():
    one, two = colours("steps")
    flagged = Colour(one.lab, one.region_cov, "steps", flags=frozenset({"clipped beyond use"}))
    (only,) = advice((flagged, two), Conditions(Capture.SAME_FRAME))
    assert "photograph again" in only.text


@pytest.mark.parametrize("flag", ["reference does not fit", "card in shadow"])
def test_a_reference_that_keeps_two_photos_apart_is_put_right_first(flag):
    pair = [replace(c, flags=frozenset({flag})) for c in colours("steps")]
    apart = Conditions("locked set-up", light="daylight", same_dyes=True)
    (only,) = advice(pair, apart)
    assert only.text == REFERENCE_AGAIN
    (only,) = advice([replace(c, flags=c.flags | {"clipped beyond use"}) for c in pair], apart)
    assert "Put right what is said above" in only.text


def test_a_region_that_may_hold_two_things_is_marked_anew():
    one, two = colours("steps", change=(12.0, 0, 0))
    flagged = replace(two, name="new", flags=frozenset({"perhaps two swatches"}))
    (only,) = advice((one, flagged), Conditions(Capture.SAME_FRAME))
    assert "Mark the yarn alone" in only.text and "new" in only.text
