"""Unevenness by class: the rule's for solid and semi-solid, read off for several colours."""

from types import SimpleNamespace

import numpy as np
import pytest

from ingest import tonality
from ingest.evenness_model import Estimate, reaching, root, seen_estimate
from ingest.evenness_rule import Class, RuleFigures
from ingest.evenness_seen import by_class
from ingest.tonality import measure_tonality

BY_RULE = Estimate(0.5, 0.1, 0.3, 0.8, 0.7, 0.1)


def ruled(**change):
    figures = {
        **dict.fromkeys(("rank", "plane", "span", "turn", "tied", "dots_percent", "reach"), 0.1),
        "dots_off": 9.0,
        "bulk": 0.3,
        "run": 0.1,
        "unevenness": 0.5,
        "doubt": 0.1,
        "depth_off": 0.8,
        "whole": 1.0,
        "chroma": 40.0,
    }
    return RuleFigures(**{**figures, **change})


def found(mcdm=4.0, contrast=0.3, tied=3.0, cells=2.0):
    return SimpleNamespace(
        shade=SimpleNamespace(contrast=contrast),
        plain=SimpleNamespace(mcdm=mcdm),
        crest=SimpleNamespace(tied=tied),
        reach=SimpleNamespace(unevenness=cells),
    )


def of(name, between=None):
    return Class(name, between, ())


@pytest.mark.parametrize(("value", "u"), [(2.0, 0.2), (0.5, 0.01), (0.0, 0.0)])
def test_what_is_read_off_has_its_doubt_in_the_root_scale_too(value, u):
    made = seen_estimate(value, u / value if value else 0.1)
    assert made.u == pytest.approx(u) and made.root == pytest.approx(float(root(value)))
    assert made.sd == pytest.approx(float(root(value + u) - root(value)), rel=0.05)
    wider = reaching(made, 0.0, value + 3.0)
    assert wider.u == 1.5 and wider.sd == pytest.approx(1.5 / (2.0 * made.root))


@pytest.mark.parametrize("kind", [of("solid"), of("semi-solid"), of(None, ("solid", "semi-solid"))])
def test_the_rule_speaks_for_what_may_be_one_colour(kind):
    assert by_class(found(), ruled(), kind, BY_RULE) is BY_RULE


# What neighbouring blocks share (w), and by hand: (1.04 - 0.13 (w / 4)²) 4, and its doubt.
@pytest.mark.parametrize(
    ("whole", "value", "u"),
    [(0.0, 4.16, 0.208), (2.0, 4.03, 0.4433), (4.0, 3.64, 0.6188), (9.0, 3.64, 0.6188)],
)
def test_light_in_folds_is_taken_off_speckled_yarn(whole, value, u):
    made = by_class(found(), ruled(whole=whole), of("speckled"), BY_RULE)
    assert (made.value, made.u) == (pytest.approx(value), pytest.approx(u))
    assert made.low == pytest.approx(value - 2 * u) and made.high == pytest.approx(value + 2 * u)


@pytest.mark.parametrize(
    ("kind", "value", "u"),
    [
        (of("variegated"), 4.16, 0.11 * 4.16),
        (of(None, ("semi-solid", "variegated")), 4.16, 0.11 * 4.16),
        (of("gradient"), 3.3, 0.2 * 3.3),
    ],
)
def test_several_colours_and_gradients_are_read_off(kind, value, u):
    made = by_class(found(), ruled(), kind, BY_RULE)
    assert (made.value, made.u) == (pytest.approx(value), pytest.approx(u))


def test_what_may_be_a_gradient_reaches_from_none_to_all_of_it():
    made = by_class(found(tied=3.0), ruled(), of(None, ("solid", "gradient")), BY_RULE)
    assert (made.value, made.u) == (pytest.approx(3.3), pytest.approx(1.65))
    assert (made.low, made.high) == (0.0, pytest.approx(3.3 * 1.4))


def test_a_grey_may_reach_as_far_as_what_is_seen():
    made = by_class(found(), ruled(chroma=3.0, whole=2.0), of("semi-solid"), BY_RULE)
    assert (made.low, made.high) == (BY_RULE.low, 2.5)


@pytest.mark.parametrize(
    ("value", "name", "low"),
    [(0.15, "solid", 0.0), (0.25, None, 0.0), (0.5, "semi-solid", 0.4)],
)
def test_what_may_be_solid_may_have_no_unevenness(monkeypatch, value, name, low):
    told = Estimate(value, 0.05, value - 0.1, value + 0.1, 0.4, 0.1)
    monkeypatch.setattr(tonality, "estimate", lambda found: told)
    monkeypatch.setattr(tonality, "stops", lambda *known: ())
    strands = 0.3 + 0.05 * np.sin(np.arange(400) / 2.0)
    red = (strands[None, :, None] * np.array([1.0, 0.4, 0.2])).astype(np.float32)
    region = np.repeat(red, 300, axis=0)
    to_xyz = lambda rgb: rgb @ np.array([[0.41, 0.21, 0.02], [0.36, 0.72, 0.12], [0.18, 0.07, 0.95]])  # fmt: skip # noqa: E501, E731
    made = measure_tonality(region, np.ones((300, 400), bool), 0.15, to_xyz)
    assert (made.name, made.low) == (name, pytest.approx(low))
