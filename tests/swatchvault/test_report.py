"""Words for people."""

from dataclasses import replace

import pytest

from ingest.model import ReferenceReading
from swatchvault.report import (
    evenness_lines,
    flag_lines,
    likely_words,
    photo_lines,
)
from tests.swatchvault.factories import layout, measured, photo_file, photo_of

EVEN = {"unevenness": 1.04, "u_unevenness": 0.31, "patch_length": "medium", "between": None}


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"class": "semi-solid"}, "semi-solid, unevenness 1.0 ± 0.3, medium patches"),
        (
            {"class": None, "between": ["solid", "semi-solid"], "unevenness": None},
            "cannot tell solid from semi-solid, medium patches",
        ),
        (
            {"class": None, "range": [0.0, 1.9], "patch_length": None},
            "cannot tell, unevenness somewhere between 0.0 and 1.9",
        ),
        ({"class": None, "unevenness": None, "patch_length": None}, "cannot tell"),
    ],
)
def test_evenness_in_words(told, words):
    assert evenness_lines({**EVEN, **told})[0] == f"evenness: {words}"
    assert evenness_lines({**EVEN, **told, "reasons": ["Go nearer."]})[1] == "  Go nearer."
    assert evenness_lines(None) == []


@pytest.mark.parametrize("between", [None, ["solid", "semi-solid"]])  # as stored, or as once
def test_what_a_photo_cannot_show_is_said_to_lie_between_no_classes(between):
    told = {**EVEN, "class": None, "between": between, "reasons": ["Go nearer."]}
    said = evenness_lines(told, {"too little yarn for evenness", "glare"})
    assert said == ["evenness: cannot be judged in this photo", "  Go nearer."]
    assert "judged" not in evenness_lines(told, {"glare"})[0]


def test_a_flag_names_the_swatches_that_have_it_where_there_are_several(tmp_path):
    seen = [
        measured("left", flags=frozenset({"glare", "out of focus", "clipped"}), tonality=None),
        measured(
            "middle", flags=frozenset({"glare", "clipped beyond use", "clipped"}), tonality=None
        ),
        measured("right", flags=frozenset({"glare", "scale unknown"}), tonality=None),
    ]
    place = photo_file(tmp_path)
    photo = photo_of(place, seen, flags=frozenset({"scale unknown"}))
    said = [line.split(": ")[0].strip() for line in photo_lines(photo) if "  ! " in line]
    assert said == [
        *("! clipped (left)", "! clipped beyond use (middle)", "! glare"),
        *("! out of focus (left)", "! scale unknown"),
    ]
    alone = photo_of(place, seen[:1], flags=frozenset())
    assert not [line for line in photo_lines(alone) if "  ! " in line and "(left)" in line]


def test_a_photo_says_how_many_of_its_steps_corrected_it_and_what_is_clipped(tmp_path):
    place = layout()
    read = ReferenceReading(place.references[0], frozenset(), ({"clipped": 0.4}, {}, {}))
    photo = photo_of(
        photo_file(tmp_path),
        [measured(reference="card", clipped_share=0.034, tonality=None)],
        references=(read,),
    )
    said = "\n".join(photo_lines(photo))
    counts = "fewer than 6 count as one grey card"
    assert f"corrected by 2 of 3 neutral steps (1 clipped); {counts}" in said
    assert ", 3.4% clipped" in said
    all_three = ReferenceReading(place.references[0], frozenset(), ({}, {}, {}))
    said = "\n".join(photo_lines(replace(photo, references=(all_three,))))
    assert f"corrected by 3 neutral steps; {counts}" in said
    whole = [measured(reference="steps", clipped_share=0.001, tonality=None)]
    said = "\n".join(photo_lines(replace(photo, swatches=tuple(whole))))
    assert "corrected by neutral steps;" in said and "% clipped" not in said


def test_a_photo_says_when_it_was_taken_to_the_minute(tmp_path):
    photo = photo_of(photo_file(tmp_path), (), taken_at="2026-03-01T10:40:12")
    assert photo_lines(photo)[0].endswith(", taken 2026-03-01 10:40")
    untold = photo_of(photo_file(tmp_path), (), taken_at=None)
    assert "taken" not in photo_lines(untold)[0]


def test_of_two_flags_on_clipping_the_graver_is_told():
    assert [line[2:8] for line in flag_lines({"clipped", "glare"})] == ["clippe", "glare:"]
    (line,) = flag_lines({"clipped", "clipped beyond use"})
    assert line.startswith("! clipped beyond use: ")


@pytest.mark.parametrize(
    ("score", "words"),
    [
        (1.0, "looks right"),
        (0.9, "looks right"),
        (0.89, "may be right"),
        (0.7, "look closely"),
        (0.0, "look closely"),
    ],
)
def test_a_score_of_a_search_is_told_in_words_and_never_as_certain(score, words, tmp_path):
    assert likely_words(score) == words
    place = layout(located="search")
    found = replace(place.references[0], located="search", confidence=score)
    reading = ReferenceReading(found, frozenset())
    bare = (measured(tonality=None),)
    photo = photo_of(photo_file(tmp_path), bare, layout=place, references=(reading,))
    (line,) = [line for line in photo_lines(photo) if "reference:" in line]
    assert line.endswith(f"by search, {words}") and "%" not in line
