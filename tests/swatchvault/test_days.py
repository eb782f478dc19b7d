"""Days as they are typed: read, and refused where they have not come yet."""

from datetime import date

import pytest

from swatchvault.days import (
    WRITTEN_ON,
    by_photo_words,
    day_cell,
    here,
    not_to_come,
    past_day,
    time_read,
    when,
)
from swatchvault.errors import SwatchvaultError
from swatchvault.notevalues import moment

TODAY = date(2030, 5, 31)


@pytest.mark.parametrize("told", ["2026-03-01", "2030-05-31", "2030-06-01", " 1999-12-31 "])
def test_a_day_up_to_tomorrow_is_taken(told):
    assert past_day(told, "mixed on", TODAY) == told.strip()


@pytest.mark.parametrize("told", ["2030-06-02", "2031-01-01", "9999-12-31"])
def test_a_day_after_tomorrow_is_refused_with_the_clock_it_was_held_to(told):
    words = f"mixed on is {told}, which has not come yet: this computer's clock says 2030-05-31"
    with pytest.raises(SwatchvaultError, match=words):
        past_day(told, "mixed on", TODAY)


def test_a_time_counts_by_its_day():
    assert not_to_come("2030-06-01T23:59:59", "since", TODAY) == "2030-06-01T23:59:59"
    with pytest.raises(SwatchvaultError, match="since is 2030-06-02T00:00"):
        not_to_come("2030-06-02T00:00", "since", TODAY)


def test_a_clock_that_stands_at_its_beginning_refuses_no_day_of_before_the_program():
    assert past_day(f"{WRITTEN_ON}", "dyed on", date(1970, 1, 1)) == f"{WRITTEN_ON}"
    with pytest.raises(SwatchvaultError, match="clock says 1970-01-01"):
        past_day("2199-01-01", "dyed on", date(1970, 1, 1))


@pytest.mark.parametrize("told", ["", "soon", "2026-02-30", "1.3.2026"])
def test_what_is_no_day_is_told(told):
    with pytest.raises(SwatchvaultError, match="write a date such as 2026-03-01"):
        past_day(told, "dyed on", TODAY)


def test_lots_without_a_date_are_told():
    assert by_photo_words([], 2) == ""
    assert by_photo_words(["B"], 2).startswith("Lot B has no date: it stands at the day of its")
    assert by_photo_words(["B", "C"], 3).startswith("2 lots have no date (B, C): they stand at")
    assert by_photo_words(["B", "C"], 2).startswith("No lot has a date")
    assert "B, C, D, E, F, G …)" in by_photo_words(list("BCDEFGH"), 9)


def test_a_day_by_a_photo_is_told_from_a_day_that_was_told():
    told = [day_cell("2026-03-01", by_photo) for by_photo in (False, True)]
    assert told == ["2026-03-01", "(2026-03-01)"]
    assert day_cell(None, False) == "no date"


@pytest.fixture
def eight_behind(clock_in):
    """A clock eight hours behind UTC."""
    clock_in("EIGHT8")


@pytest.mark.parametrize(
    ("told", "shown"),
    [
        ("2026-11-28T03:36:10Z", "2026-11-27T19:36:10"),
        ("2026-11-28T03:36:10.25Z", "2026-11-27T19:36:10"),
        ("2026-11-28T03:36:10+00:00", "2026-11-27T19:36:10"),
        ("2026-11-28T03:36:10", "2026-11-28T03:36:10"),  # as a camera wrote it
        ("2026-11-28T03:36:10+01:00", "2026-11-28T03:36:10+01:00"),
        ("2026-11-28", "2026-11-28"),
        ("seen at 2026-11-28T03:36:10Z", "seen at 2026-11-28T03:36:10Z"),  # a note
    ],
)
def test_a_time_in_utc_is_shown_by_this_clock(told, shown, eight_behind):
    assert here(told) == shown


@pytest.mark.parametrize(
    ("told", "shown"),
    [
        ("2026-11-28T03:36:10Z", "2026-11-27 19:36"),
        ("2026-11-28T03:36:10.25Z", "2026-11-27 19:36"),
        ("2026-11-28T03:36", "2026-11-28 03:36"),
        ("2026-11-28T03:36:10+01:00", "2026-11-28 03:36"),
        ("2026-11-28", "2026-11-28"),
        ("seen at 2026-11-28T03:36:10Z", "seen at 2026-11-28T03:36:10Z"),
        ("", ""),
    ],
)
def test_a_stored_text_that_is_a_time_is_read_to_the_minute(told, shown, eight_behind):
    assert time_read(told) == shown


@pytest.mark.parametrize("told", ["2026-03-01T10:05:00Z", "2026-03-01T10:05Z"])
def test_a_time_in_utc_in_notes_is_shown_as_one_that_was_stored(told, eight_behind):
    assert here(moment(told, "at")) == here(told) == "2026-03-01T02:05:00"


def test_a_time_is_read_to_the_minute(eight_behind):
    assert when("2026-11-28T03:36:10Z") == "2026-11-27 19:36"
    assert when(None) == when("") == "no date"
