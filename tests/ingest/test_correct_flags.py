"""What a photo's reference says against its correction: values that no picture can have."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import example_archive
from ingest.correct import correct
from ingest.correct_flags import untold_tone
from ingest.flags import FLAGS_THAT_STOP_A_VERDICT
from ingest.locate import parse_marks
from ingest.model import Settings
from ingest.pipeline import measure_photo
from ingest.tone import unlike_a_display
from tests.ingest.builders import photo_of_light, steps_at, steps_scene

DEMO = Path(example_archive.__file__).parent
UNLIKE = "steps unlike a photo"
TRUE_Y = (0.9, 0.59, 0.36, 0.2, 0.09, 0.03)


def measured(y):
    marks = json.loads((DEMO / "furrow-3.marks.json").read_text(encoding="utf-8"))
    marks["references"][0]["y"] = list(y)
    return measure_photo(DEMO / "furrow-3.jpg", layout=parse_marks(marks, "marks"))


@pytest.mark.parametrize(
    "y",
    [
        (0.96, 0.81, 0.67, 0.51, 0.36, 0.21),  # lightness L* typed for reflectance
        (0.95, 0.8, 0.7, 0.6, 0.5, 0.4),
        (0.9, 0.3, 0.1, 0.03, 0.01, 0.0015),
    ],
)
def test_values_that_no_picture_has_are_told_and_stop_a_verdict(y):
    assert UNLIKE in measured(y).flags and UNLIKE in FLAGS_THAT_STOP_A_VERDICT


def test_true_values_and_worn_ones_are_taken():
    assert UNLIKE not in measured(TRUE_Y).flags
    assert UNLIKE not in measured([0.9 * v + 0.01 for v in TRUE_Y]).flags


def test_a_camera_without_a_display_curve_is_not_held_to_one():
    light = np.array(TRUE_Y)
    assert unlike_a_display(light**2.2, light)  # and only formats of phones are asked
    assert not unlike_a_display(light**1.2, light)


def test_camera_raw_has_no_tone_curve_to_remove():
    photo = photo_of_light(np.full((60, 80, 3), 0.4))
    assert untold_tone(photo) == {"tone curve not removed"}
    assert untold_tone(replace(photo, flags=frozenset({"raw"}))) == set()


@pytest.mark.parametrize(("gain", "told"), [(1.18, False), (1.3, True)])
def test_steps_that_look_coloured_as_taken_are_told_as_a_card_is(gain, told):
    light, boxes = steps_scene()
    photo = photo_of_light(0.7 * light * [gain, 1.0, 1.0 / gain])
    made = correct(photo, [steps_at(boxes, photo.pixels)], Settings())
    assert ("card coloured" in made.flags) is told
