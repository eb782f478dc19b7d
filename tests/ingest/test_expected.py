"""What a reference is stated to be, where marks, set-up and person may each say it."""

from dataclasses import replace

import numpy as np
import pytest

from ingest.errors import MarksError
from ingest.expected import unused_flag, value_flags, with_found_values
from ingest.model import Layout, Reference, Settings
from ingest.where import locate
from tests.ingest.builders import photo_of_light

BOX = ((0.1, 0.1), (0.3, 0.1), (0.3, 0.3), (0.1, 0.3))
CARD = Reference("card", (BOX,), y=(0.18,))
STEPS = Reference("steps", (BOX,) * 3, y=(0.9, 0.2, 0.05))
GREY = ((46.1, 0.0, 0.0),)


@pytest.mark.parametrize(
    ("reference", "stated", "differ"),
    [
        (CARD, {"card_y": 0.18}, False),
        (CARD, {"card_y": 0.25}, True),
        (CARD, {"card_lab_d50": (60.0, 0.0, 0.0)}, True),
        (replace(CARD, y=None), {"card_y": 0.25}, False),
        (replace(CARD, y=None, lab_d50=GREY), {"card_lab_d50": GREY[0]}, False),
        (replace(CARD, y=None, lab_d50=GREY), {"card_y": 0.25}, True),
        (STEPS, {"steps_y": (0.9, 0.2, 0.05)}, False),
        (STEPS, {"steps_y": (0.85, 0.2, 0.05)}, True),
        (STEPS, {"steps_y": (0.9, 0.2)}, True),
        (replace(STEPS, y=None), {"steps_y": (0.85, 0.2, 0.05)}, False),
    ],
)
def test_marks_and_set_up_that_differ_are_told(reference, stated, differ):
    known = frozenset({reference.kind})
    assert value_flags(reference, Settings(**stated)) == frozenset()  # nobody stated it
    flags = value_flags(reference, Settings(**stated, of_setup=known))
    assert flags == ({"values differ"} if differ else set())
    told = Settings(**stated, told=known)
    if not differ:
        assert value_flags(reference, told) == frozenset()
        return
    with pytest.raises(MarksError, match=r"the marks say .*, and told is --"):
        value_flags(reference, told)


def test_an_error_names_both_values():
    with pytest.raises(MarksError) as stop:
        value_flags(CARD, Settings(card_y=0.25, told=frozenset({"card"})))
    assert "say 0.18" in str(stop.value) and "--card-y 0.25" in str(stop.value)


@pytest.mark.parametrize(
    ("references", "located", "told", "of_setup", "unused"),
    [
        ((CARD,), "marks", {"card"}, set(), False),
        ((CARD,), "search", {"steps"}, set(), True),
        ((CARD,), "search", set(), {"steps"}, True),
        ((CARD, STEPS), "marks", {"steps"}, {"card"}, False),
        ((CARD, STEPS), "marks", {"mat"}, set(), True),
        ((CARD,), "mat", {"mat"}, set(), False),
        ((), "search", {"card"}, set(), True),
        ((), "search", set(), set(), False),
    ],
)
def test_what_was_told_of_nothing_in_the_photo_is_flagged(
    references, located, told, of_setup, unused
):
    layout = Layout(references, located=located)
    flags = unused_flag(layout, Settings(told=frozenset(told), of_setup=frozenset(of_setup)))
    assert flags == ({"told and not found"} if unused else set())


@pytest.mark.parametrize("located", ["search", "mat", "marks"])
def test_steps_that_were_found_take_another_set_ups_values(located):
    other = (0.85, 0.2, 0.05)
    found = replace(STEPS, located=located)
    photo = photo_of_light(np.full((60, 80, 3), 0.4))
    (kept,) = locate(photo, Layout((found,)), Settings(steps_y=other)).references
    assert kept.y == (STEPS.y if located == "marks" else other)
    assert with_found_values(found, Settings(steps_y=other[:2])).y == STEPS.y
    assert with_found_values(found, Settings()).y == STEPS.y
