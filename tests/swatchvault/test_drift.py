"""Lots over time: limits of the moving range, rules broken, changes marked."""

import math
import re

import numpy as np
import pytest

from swatchvault.drift import D2, D4, LotFacts, changes, course
from swatchvault.drift_chart import course_svg
from swatchvault.errors import CompareError

# Flow rates of the worked example in NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2:
# middle 50.81, mean moving range 1.8778, upper limit 55.8041. From memory, unverified; the three
# agree with each other and with the data.
FLOW = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)


def lots(n, **facts):
    return [LotFacts(f"L{i}", f"2026-01-{i + 1:02d}", **facts) for i in range(n)]


def greys(lightness):
    return np.array([[v, 0.0, 0.0] for v in lightness])


def test_limits_are_those_of_a_worked_example():
    from ingest.colour import difference_terms

    labs = greys(FLOW)
    found = course(labs, lots(10), k_l=1.0)
    terms = difference_terms(labs.mean(axis=0), labs)
    in_l = terms.weights[:, 0].mean()  # SL is 1 to 1.003 here
    assert np.mean(np.abs(np.diff(FLOW))) == pytest.approx(1.8778, abs=1e-3)
    assert 3 * found.sigma[0] * in_l == pytest.approx(55.8041 - 50.81, abs=0.02)
    assert found.range_limit[0] * in_l == pytest.approx(D4 * 1.8778, abs=0.02)
    assert not [b for b in found.broken if b.rule == "beyond"]


def test_the_factors_are_those_of_two_normal_draws():
    mean = 2.0 / np.sqrt(np.pi)
    assert pytest.approx(mean, abs=5e-4) == D2
    assert pytest.approx(1.0 + 3.0 * np.sqrt(2.0 - 4.0 / np.pi) / mean, abs=5e-4) == D4


def test_a_lot_that_stands_out_is_told_in_a_sentence():
    values = [50, 50.2, 49.9, 50.1, 50, 49.8, 50.1, 53, 50, 50.1]
    found = course(greys(values), lots(10), k_l=1.0)
    assert "Lot L7: lighter than the limits allow." in found.sentences
    assert {b.lot for b in found.broken if b.rule == "beyond"} == {7}


def test_a_middle_that_moved_and_a_trend_are_told():
    wiggle = np.tile([0.0, 0.6], 10)
    moved = course(greys(50 + wiggle + np.repeat([0, 0.7], 10)), lots(20), k_l=1.0)
    assert any(b.rule == "run" and b.lot >= 17 for b in moved.broken)
    rising = course(greys(50 + np.array([0, 3, 0, 0.4, 0.8, 1.2, 1.6, 2.0])), lots(8), k_l=1.0)
    assert any(b.rule == "trend" and b.lot == 7 for b in rising.broken)


def test_calm_lots_break_no_rule():
    values = 50 + np.array([0.1, -0.1, 0.2, -0.2, 0.05, -0.15, 0.1, -0.05])
    assert course(greys(values), lots(8), k_l=2.0).broken == ()
    assert course(greys([50] * 5), lots(5)).broken == ()


def test_a_rule_that_goes_on_is_told_once():
    found = course(greys([50, 50.2, 49.9, 50.1, 49.8, 54, 54.1, 54.2]), lots(8), k_l=1.0)
    assert len(found.sentences) < len(found.broken)


def test_changes_are_marked_and_silence_is_no_change():
    rows = [
        LotFacts("a", packs=frozenset({"Ember E1"}), water="tap"),
        LotFacts("b", packs=frozenset({"Ember E2"}), water="tap", base_lots=frozenset({"1"})),
        LotFacts("c", packs=frozenset(), water="rain", base_lots=frozenset({"2"})),
        LotFacts("d", packs=frozenset({"Ember E2"}), water=None),
    ]
    assert [(c.lot, c.what) for c in changes(rows)] == [
        (1, "packet Ember E2"),
        (2, "base lot 2"),
        (2, "water rain"),
    ]


def test_the_photos_own_doubt_is_weighed_against_the_spread():
    found = course(greys([50, 50.1, 49.9, 50]), lots(4), u=[2.0] * 4)
    assert any("photos' own doubt" in note for note in found.notes)
    assert any("rough" in note for note in found.notes)


@pytest.mark.parametrize("n", [0, 1])
def test_one_lot_is_no_course(n):
    with pytest.raises(CompareError, match="at least two"):
        course(greys([50] * n), lots(n))


def test_the_chart_is_svg_and_safe_from_names():
    import xml.dom.minidom

    rows = [LotFacts("<b>", None, frozenset({"x"})), LotFacts("b&c", None, frozenset({"<y>"}))]
    text = course_svg(course(greys([50, 52]), rows), 'a "<script>"')
    assert xml.dom.minidom.parseString(text)
    assert "<script>" not in text and "packet &lt;y&gt;" in text


def test_a_day_of_a_first_photo_stands_in_brackets():
    rows = [LotFacts("A", "2026-01-01"), LotFacts("B", "2026-02-01", by_photo=True)]
    text = course_svg(course(greys([50, 52]), rows))
    assert ">26-01-01<" in text and ">(26-02-01)<" in text


BAR = re.compile(r'd="M[\d.]+ ([-\d.]+)V([-\d.]+)([^"]*)" fill="none" stroke="#777"')


def test_the_chart_says_its_unit_and_draws_the_doubt_that_is_known():
    text = course_svg(course(greys([50, 52, 51]), lots(3), u=[0.2, math.nan, 40.0]))
    assert "ΔE00" in text and "± one standard uncertainty" in text
    bars = [(float(first), float(last), ends) for first, last, ends in BAR.findall(text)]
    assert len(bars) == 6  # two lots on three axes
    for first, last, ends in bars:
        strip = 50 + 146 * ((first - 50) // 146)
        assert strip <= first < last <= strip + 120
        assert ends.count("M") == (2 if last - first < 120 else 0)  # none where it leaves the strip


def test_what_changed_at_the_last_lot_stays_in_the_chart():
    rows = [LotFacts(n, None, frozenset({n * 40})) for n in "ppq"]
    text = course_svg(course(greys([50, 52, 51]), rows))
    (said,) = (line for line in text.splitlines() if "qqq" in line)
    assert 'text-anchor="end"' in said
