"""Words and tables for people."""

import pytest

from swatchvault.report import evenness_lines, sheet_lines, table_lines

EVEN = {"unevenness": 1.04, "u_unevenness": 0.31, "patch_length": "medium", "between": None}


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"class": "semi-solid"}, "semi-solid, unevenness 1.0 ± 0.3, medium patches"),
        (
            {"class": None, "between": ["solid", "semi-solid"], "unevenness": None},
            "cannot tell solid from semi-solid, medium patches",
        ),
        ({"class": None, "unevenness": None, "patch_length": None}, "cannot tell"),
    ],
)
def test_evenness_in_words(told, words):
    assert evenness_lines({**EVEN, **told})[0] == f"evenness: {words}"
    assert evenness_lines({**EVEN, **told, "reasons": ["Go nearer."]})[1] == "  Go nearer."
    assert evenness_lines(None) == []


def test_tables_line_up_and_sheets_leave_out_what_is_empty():
    lines = table_lines(("lot", "g"), [("A-1", 100.0), ("B", None)])
    assert lines == ["lot  g", "---  ---", "A-1  100", "B"]
    sheet = sheet_lines(("id", "lot", "a", "b", "c", "d"), [(1, "x", 1, 2, None, 3)])
    assert sheet == ["lot  x", "a    1", "b    2", "d    3"]


def test_thousands_are_written_out():
    lines = sheet_lines(("liquor", "ratio"), [(6000.0, 30.0), (4500.0, 29.96)])
    assert [line.split() for line in lines[-2:]] == [["6000", "30"], ["4500", "30"]]
