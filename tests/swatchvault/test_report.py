"""Words and tables for people."""

from dataclasses import replace

import pytest

from ingest.model import ReferenceReading
from swatchvault.report import (
    evenness_lines,
    flag_lines,
    likely_words,
    photo_lines,
    sheet_lines,
    table_lines,
)
from swatchvault.typed_numbers import shown
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


def test_tables_line_up_and_sheets_leave_out_what_is_empty():
    lines = table_lines(("lot", "g"), [("A-1", 100.0), ("B", None)])
    assert lines == ["lot  g", "---  ---", "A-1  100", "B"]
    sheet = sheet_lines(("id", "lot", "a", "b", "c", "d"), [(1, "x", 1, 2, None, 3)])
    assert sheet == ["lot  x", "a    1", "b    2", "d    3"]


def test_a_sheet_has_doubts_in_place_of_variances_and_yes_in_place_of_1():
    header = ("swatch", "dry", "lab_l", "lab_a", "variance_l", "variance_a", "same_dyes")
    (one,) = [("s", 1, 36.5, -4.0, 63.5, None, 0)]
    lines = [line.split(None, 1) for line in sheet_lines(header, [one])]
    assert lines == [
        ["swatch", "s"],
        ["dry", "yes"],
        ["lab_l", "36.5 ± 8.0"],
        ["lab_a", "-4.0"],
        ["same_dyes", "no"],
    ]
    several = sheet_lines(header, [one, ("t", None, 40.0, 2.0, 1.0, 4.0, None)])
    assert several[0].split() == ["swatch", "dry", "lab_l", "lab_a", "same_dyes"]
    assert several[3].split() == ["t", "40.0", "±", "1.0", "2.0", "±", "2.0"]


def test_thousands_are_written_out():
    lines = sheet_lines(("liquor", "ratio"), [(6000.0, 30.0), (4500.0, 29.96)])
    assert [line.split() for line in lines[-2:]] == [["6000", "30"], ["4500", "30"]]


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (100.6, "100.6"),
        (166.5, "166.5"),
        (100.65, "100.65"),
        (1234.5, "1234.5"),
        (28.349523125, "28.35"),
        (0.1 + 0.2, "0.3"),
        (100.6 - 0.4, "100.2"),
        (0.0624999, "0.0625"),
        (0.00000012, "1.2e-07"),
        (-7.834, "-7.83"),
        (0.0, "0"),
        (6000.0, "6000"),
        (40, "40"),
    ],
)
def test_what_was_weighed_is_shown_as_it_was_weighed(value, said):
    for name in ("grams_in", "amount_ml", "dye_g"):
        assert table_lines((name,), [[value]])[2] == said
    assert shown(value) == said


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
