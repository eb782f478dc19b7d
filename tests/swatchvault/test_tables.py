"""Rows as plain tables and sheets."""

import pytest

from swatchvault.tables import sheet_lines, table_lines
from swatchvault.typed_numbers import shown


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
