"""Lots over time: limits of the moving range, rules broken, changes marked."""

import json
import math
import re

import numpy as np
import pytest

from swatchvault.drift import D2, D4, ENOUGH, LotFacts, by_the_others, changes, course
from swatchvault.drift_chart import course_svg
from swatchvault.errors import CompareError
from tests import drift_limits
from tests.swatchvault.running import run

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


@pytest.mark.parametrize("n", range(3, 12))
def test_enough_lots_are_those_of_which_the_chart_can_show_one_that_is_out(n):
    """However far off, a lot amid fewer widens the limits by its own two steps."""
    one_off = [50 + 1e-3 * (i % 2) for i in range(n)]
    one_off[n // 2] += 30
    found = course(greys(one_off), lots(n), k_l=1.0)
    shown = [b.lot for b in found.broken if b.rule == "beyond"]
    assert shown == ([n // 2] if n >= ENOUGH else [])


def test_of_few_lots_it_is_not_said_that_none_is_out():
    calm = 50 + np.array([0.1, -0.1, 0.2, -0.2, 0.05, -0.15, 0.1, -0.05])
    few, more = (course(greys(calm[:n]), lots(n)) for n in (7, 8))
    assert (few.sentences, more.sentences) == ((), ())
    assert (few.enough, more.enough) == (False, True)
    assert few.quiet.startswith("7 lots are too few to tell whether one of them is out of line")
    assert more.quiet == "No lot is out of line with the others."


def test_limits_from_the_others_find_a_lot_that_hides_in_its_own():
    values = [50, 50.3, 49.8, 53, 50.1, 49.7, 50.2]
    found = course(greys(values), lots(7), k_l=1.0)
    assert [(b.lot, b.axis, b.rule) for b in found.broken] == [(3, "lightness", "apart")]
    away, limit = found.from_others[3, 0], found.others_limit[3, 0]
    assert found.sentences == (
        f"Lot L3: lighter than the other 6 lots allow, {away:+.2f} from their mean and limit "
        f"{limit:.2f}.",
    )
    assert course_svg(found).count('fill="#111"/>') == 1  # the dot of a rule that is broken
    dark = course(greys([100 - v for v in values]), lots(7), k_l=1.0)
    assert "darker than the other 6 lots allow" in dark.sentences[0]


def test_limits_from_the_others_are_those_of_one_more_draw():
    """Worked by hand: others 1, 2, 3 have mean 2 and standard deviation 1; t of 2 degrees of
    freedom at the level of three sigma is 19.207 (tables of it at 0.00135)."""
    values = np.tile(np.array([[1.0], [2.0], [3.0], [9.0]]), 3)
    away, limit = by_the_others(values, np.full(4, np.nan))
    assert away[3] == pytest.approx(7.0)
    assert limit[3] == pytest.approx(19.207 * math.sqrt(4 / 3), rel=1e-4)
    assert np.isnan(by_the_others(values[:2], np.full(2, np.nan))[1]).all()


@pytest.mark.parametrize("n", [4, 6, 9])
def test_they_are_broken_by_chance_as_often_as_three_sigma(n):
    rng, none = np.random.default_rng(3), np.full(n, np.nan)
    draws = 30000 // (3 * n)
    out = 0
    for _ in range(draws):
        away, limit = by_the_others(rng.normal(size=(n, 3)), none)
        out += int(np.count_nonzero(np.abs(away) > limit))
    assert 0.0017 < out / (draws * n * 3) < 0.0040  # 0.0027, and three times its spread


def test_of_eight_lots_the_others_find_what_the_chart_hides():
    """A short form of `tests.drift_limits`, whose figures are in DEVELOPERS.md: 100 and 22 %."""
    others, chart = drift_limits.found(np.random.default_rng(1), 8, 12.0, 2000)
    assert others > 0.99 and 0.15 < chart < 0.30


def test_what_a_lot_s_photo_is_worse_by_is_no_fault_of_the_lot():
    values = [50, 50.3, 49.8, 53, 50.1, 49.7, 50.2]
    worse = course(greys(values), lots(7), k_l=1.0, u=[0.2, 0.2, 0.2, 2.0, 0.2, 0.2, 0.2])
    alike = course(greys(values), lots(7), k_l=1.0, u=[2.0] * 7)
    assert worse.broken == ()
    assert [b.rule for b in alike.broken] == ["apart"]  # their spread holds that doubt already
    assert worse.others_limit[3, 0] > alike.others_limit[3, 0]
    assert worse.others_limit[0, 0] == pytest.approx(alike.others_limit[0, 0])


def test_a_lot_is_told_once_where_both_limits_are_broken():
    values = [50, 50.2, 49.9, 50.1, 50, 49.8, 50.1, 53, 50, 50.1]
    found = course(greys(values), lots(10), k_l=1.0)
    assert sum(s.startswith("Lot L7: lighter") for s in found.sentences) == 1
    assert abs(found.from_others[7, 0]) > found.others_limit[7, 0]


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


def test_limits_of_few_lots_are_told_as_rough_where_a_lot_is_beyond_them():
    steady = [50, 50.1, 50, 50.1, 50, 50.1]
    assert not any("rough" in n for n in course(greys(steady), lots(6)).notes)
    found = course(greys([*steady, 56]), lots(7))
    assert found.broken and any("7 lots are rough" in n for n in found.notes)
    found = course(greys([*steady, *steady, 56]), lots(13))
    assert found.broken and not any("rough" in n for n in found.notes)


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


def test_the_demo_s_five_lots_do_not_gainsay_a_check(demo, capsys):
    """`check` calls one of them outside; a chart of five can neither show that nor deny it."""
    asked = ("drift", "Ninth Furrow", "--form", "wound card", "--archive", demo)
    said, record = run(capsys, *asked).out, json.loads(run(capsys, *asked, "--json").out)
    assert run(capsys, "check", "NF-3", "--archive", demo).out.count("outside") == 1
    (told,) = record["said"]
    assert told.startswith("5 lots are too few to tell") and told in said
    assert "`check` holds a lot to its master" in said and "No lot is out" not in said
    assert (record["enough_lots"], record["broken"]) == (False, [])
    limits = [lot["others_limit"][0] for lot in record["lots"]]
    assert limits[2] == min(limits)  # that lot is in all limits but its own
