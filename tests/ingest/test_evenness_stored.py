"""The rule by other thresholds, and stored measurements classed again by them."""

from dataclasses import replace

import pytest

from ingest.evenness_rule import DEFAULT, RuleFigures, Thresholds, class_of
from ingest.evenness_stored import STOPPED_BY, class_of_record, figures_of_record, only_solid_border
from ingest.flags import FLAGS

PLAIN = RuleFigures(
    rank=0.1,
    plane=0.1,
    span=0.2,
    tied=0.3,
    dots_percent=0.1,
    dots_mm=0.5,
    tail=2.0,
    reach=1.0,
    ground=1.0,
    colours=1,
    unevenness=0.2,
    strand_contrast=0.2,
    depth_off=0.3,
    whole=0.5,
)
SHIFTED = replace(DEFAULT, floor=0.72, floor_per_contrast=1.44, floor_most=1.6)


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ({}, "solid"),
        ({"unevenness": 0.5}, "semi-solid"),
        ({"unevenness": 0.33}, None),
        ({"rank": 0.9, "plane": 0.7, "span": 2.0, "tied": 1.0}, "gradient"),
        ({"dots_percent": 5.0, "tail": 4.0, "ground": 0.9}, "speckled"),
        ({"reach": 9.0}, "variegated"),
        ({"reach": 6.0, "colours": 2, "ground": 0.6}, "variegated"),
        ({"reach": 7.5}, None),
    ],
)
def test_classes_by_the_default_thresholds(change, name):
    assert class_of(replace(PLAIN, **change)).name == name


@pytest.mark.parametrize(
    ("limits", "change", "name"),
    [
        ({"floor": 0.1}, {}, "semi-solid"),
        ({"floor": 1.0, "floor_most": 1.0}, {"unevenness": 0.5}, "solid"),
        ({"variegated_reach": 20.0}, {"reach": 9.0, "unevenness": 2.0}, "semi-solid"),
        ({"dots_percent": 6.0}, {"dots_percent": 5.0, "tail": 4.0}, "solid"),
        ({"gradient_span": 3.0}, {"rank": 0.9, "plane": 0.7, "span": 2.0, "tied": 1.0}, "solid"),
    ],
)
def test_other_thresholds_move_their_own_border(limits, change, name):
    assert class_of(replace(PLAIN, **change), replace(DEFAULT, **limits)).name == name


def test_figures_come_back_from_their_record_whole():
    record = {"class": "solid", "between": None, "rule": PLAIN.record()}
    assert figures_of_record(record) == PLAIN
    assert figures_of_record({**record, "rule": {"rank": 1.0}}) is None  # of another version
    assert figures_of_record(None) is None


def older(name, unevenness, between=None, contrast=0.2, depth_off=0.3):
    """A record without the rule's own figures, as earlier measurements are stored."""
    return {
        "class": name,
        "between": between,
        "unevenness": unevenness,
        "strand_contrast": contrast,
        "depth_off": depth_off,
    }


@pytest.mark.parametrize(
    "record",
    [
        older("solid", 0.2),
        older("semi-solid", 0.5),
        older(None, 0.33, ["solid", "semi-solid"]),
        older(None, 0.1, ["solid", "semi-solid"], depth_off=0.01),  # hidden: differs in all
        older("variegated", 5.0),
        older("gradient", 3.0),
    ],
)
def test_the_default_thresholds_give_a_stored_record_the_class_it_has(record):
    assert class_of_record(record, frozenset(), DEFAULT).name == record["class"]


def test_an_older_record_can_be_classed_across_its_one_known_border_only():
    record = older("semi-solid", 0.5)
    assert class_of_record(record, frozenset(), SHIFTED).name == "solid"
    assert class_of_record(older("variegated", 5.0), frozenset(), SHIFTED).name == "variegated"
    other = replace(DEFAULT, variegated_reach=3.0)
    assert not only_solid_border(other)
    assert class_of_record(record, frozenset(), other) is None


def test_a_photo_that_stops_a_class_stops_it_by_any_rule():
    record = {**older(None, 0.2, ["solid", "semi-solid"]), "rule": PLAIN.record()}
    for flag in STOPPED_BY:
        assert class_of_record(record, frozenset({flag}), Thresholds()).name is None
    assert set(FLAGS) >= STOPPED_BY
    assert class_of_record(record, frozenset(), Thresholds()).name == "solid"


def test_nothing_is_said_of_what_was_not_measured():
    assert class_of_record(None, frozenset(), DEFAULT) is None
    assert class_of_record({"evenness": 1.5}, frozenset(), DEFAULT) is None
    assert class_of_record(older("solid", None), frozenset(), DEFAULT) is None
