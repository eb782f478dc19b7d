"""The rule by other thresholds, and stored measurements classed again by them."""

from dataclasses import replace

import pytest

from ingest.evenness_rule import DEFAULT, RuleFigures, Thresholds, class_of
from ingest.evenness_stored import STOPPED_BY, class_of_record, figures_of_record
from ingest.flags import FLAGS

PLAIN = RuleFigures(
    rank=0.1,
    plane=0.1,
    span=0.2,
    turn=1.0,
    tied=0.3,
    dots_percent=0.1,
    dots_off=9.0,
    reach=1.0,
    bulk=0.6,
    run=0.3,
    unevenness=0.2,
    doubt=0.1,
    depth_off=0.3,
    whole=0.5,
    chroma=30.0,
)
SLOPE = {"rank": 0.95, "plane": 0.7, "span": 2.0, "tied": 1.0}
DOTS = {"bulk": 0.2, "run": 0.1}


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ({}, "solid"),
        ({"unevenness": 0.5}, "semi-solid"),
        ({"unevenness": 0.5, "doubt": 0.3}, "solid"),  # no more than its own doubt
        ({"unevenness": 0.25}, None),
        (SLOPE, "gradient"),
        ({**SLOPE, "rank": 0.9}, "solid"),
        ({**SLOPE, "turn": 0.4}, None),  # along the light line: light may fall off
        ({**SLOPE, "span": 1.0}, None),  # so faint that two lamps may make it
        ({**SLOPE, "tied": 0.7}, None),
        ({"dots_percent": 5.0, **DOTS}, "speckled"),
        ({"reach": 9.0, **DOTS}, "speckled"),
        (DOTS, "solid"),
        ({"reach": 9.0}, "variegated"),
        ({"reach": 9.0, "bulk": 0.2, "run": 0.5}, "variegated"),  # streaks run on
        ({"reach": 9.0, "bulk": 0.6, "run": 0.1}, "variegated"),  # no ground
        ({"reach": 7.5}, None),
        ({"dots_percent": 9.0}, "solid"),  # holes between strands, and no colour beside
        ({"dots_percent": 5.0, "bulk": 0.3, "run": 0.25}, "solid"),  # holes run on, dots do not
        ({"dots_percent": 5.0, "reach": 8.0, "bulk": 0.3, "run": 0.25}, "speckled"),
        ({"dots_percent": 5.0, **DOTS}, "speckled"),
        ({"dots_percent": 5.0, "bulk": 0.32, "run": 0.14}, "speckled"),
        ({"dots_percent": 5.0, "bulk": 0.32, "run": 0.14, "dots_off": 0.25}, "solid"),  # dark gaps
        ({"dots_percent": 5.0, **DOTS, "dots_off": 0.25}, "speckled"),  # black, on an even ground
        ({"dots_percent": 9.0, "reach": 5.4}, None),
        ({"dots_percent": 9.0, "reach": 7.2}, "variegated"),
    ],
)
def test_classes_by_the_default_thresholds(change, name):
    assert class_of(replace(PLAIN, **change)).name == name


@pytest.mark.parametrize(
    ("limits", "change", "name"),
    [
        ({"floor": 0.1}, {}, "semi-solid"),
        ({"floor": 1.0, "floor_most": 1.0}, {"unevenness": 0.5}, "solid"),
        ({"floor_per_doubt": 0.0}, {"unevenness": 0.5, "doubt": 0.3}, "semi-solid"),
        ({"variegated_reach": 20.0}, {"reach": 9.0, "unevenness": 2.0}, "semi-solid"),
        ({"dots_percent": 6.0}, {"dots_percent": 5.0, **DOTS}, "solid"),
        ({"speckled_bulk": 0.1}, {"reach": 9.0, **DOTS}, "variegated"),
        ({"speckled_run": 0.05}, {"reach": 9.0, **DOTS}, "variegated"),
        ({"gradient_span": 3.0}, SLOPE, "solid"),
    ],
)
def test_other_thresholds_move_their_own_border(limits, change, name):
    assert class_of(replace(PLAIN, **change), replace(DEFAULT, **limits)).name == name


def test_figures_come_back_from_their_record_whole():
    record = {"class": "solid", "between": None, "rule": PLAIN.record()}
    assert figures_of_record(record) == PLAIN
    assert figures_of_record({**record, "rule": {"rank": 1.0}}) is None  # of another version
    assert figures_of_record(None) is None


def stored(name, between=None, **figures):
    """A record as it is stored."""
    rule = replace(PLAIN, **figures).record()
    return {"class": name, "between": between, "rule": rule}


@pytest.mark.parametrize(
    "record",
    [
        stored("solid", unevenness=0.2),
        stored("semi-solid", unevenness=0.5),
        stored(None, ["solid", "semi-solid"], unevenness=0.25),
        stored(None, ["solid", "semi-solid"], depth_off=0.01, whole=2.0),
        stored("variegated", reach=9.0),
        stored("gradient", **SLOPE),
    ],
)
def test_the_default_thresholds_give_a_stored_record_the_class_it_has(record):
    assert class_of_record(record, frozenset(), DEFAULT).name == record["class"]


def test_a_record_of_an_older_version_is_not_classed_anew():
    record = stored("semi-solid", unevenness=0.5)
    del record["rule"]["doubt"]
    assert class_of_record(record, frozenset(), DEFAULT) is None
    del record["rule"]
    assert figures_of_record(record) is None
    assert class_of_record(record, frozenset(), DEFAULT) is None


def test_a_photo_that_stops_a_class_stops_it_by_any_rule():
    record = stored(None, ["solid", "semi-solid"])
    for flag in STOPPED_BY:
        assert class_of_record(record, frozenset({flag}), Thresholds()).name is None
    assert set(FLAGS) >= STOPPED_BY
    assert class_of_record(record, frozenset(), Thresholds()).name == "solid"


def test_nothing_is_said_of_what_was_not_measured():
    assert class_of_record(None, frozenset(), DEFAULT) is None
    assert class_of_record({"evenness": 1.5}, frozenset(), DEFAULT) is None
