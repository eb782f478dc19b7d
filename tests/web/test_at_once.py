"""Writers and readers by both ways at once, for a few seconds; every form is sent twice."""

from __future__ import annotations

from tests.reliability.over_the_web import run_both_ways


def test_nothing_is_lost_or_doubled() -> None:
    report, wrong = run_both_ways(writers=2, readers=4, seconds=4.0, by_command=1)
    assert not wrong
    assert {w.kind for w in report.written} == {"photo", "pot step"}
    assert report.reads > 3  # however busy the machine
