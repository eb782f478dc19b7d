"""Pairs that a check would not judge are not sure in groups: held to `compare` pair by pair."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest

from ingest.model import FLAGS, FLAGS_THAT_STOP_A_VERDICT
from swatchvault import shades
from swatchvault.compare import compare, verdict_stopped
from swatchvault.difference import STOPPING_APART, STOPPING_ONE, Verdict
from swatchvault.pair import Capture, Colour, Conditions, OwnFrame
from swatchvault.pairdoubt import MISFIT, pair_doubt
from swatchvault.shades import group
from swatchvault.unjudged import HAVE_A_PART, NEVER_WITHIN, pairs_unjudged
from tests.swatchvault.running import run
from tests.swatchvault.test_together import NEWEST_ONLY, archive_of, grouped

MORE_FLAGS = sorted(
    {STOPPING_ONE, *STOPPING_APART, "channel at zero", "fluorescent", "not dry", "out of focus"}
)
LAB = np.array([42.0, 31.0, -8.0])


def side(flags=(), photos="a", lab=LAB, reference="steps"):
    return Colour(
        lab,
        np.eye(3) * 0.001,
        reference,
        photo_ids=frozenset(photos),
        light="daylight",
        flags=frozenset(flags),
        dyes=frozenset({"the same"}),
    )


def capture_of(one, other):
    return Capture.SAME_FRAME if one.photo_ids == other.photo_ids else Capture.OTHER


#: Sides of one photo, of two, of both, with every flag that matters, two at once, dark, and bare.
SIDES = [
    *(side((f,), p) for f in (*sorted(FLAGS_THAT_STOP_A_VERDICT), *MORE_FLAGS) for p in ("a", "b")),
    *(side(photos=p) for p in ("a", "b", "ab")),
    side(("card in shadow", "light not seen")),
    side(("card in shadow",), reference="card"),
    side(("card in shadow", "light not seen"), "a", reference="card"),
    side(("light not seen", "card in shadow", "not dry"), "a", reference="card"),
    side(lab=np.array([20.0, 5.0, -8.0])),
    side(reference="none"),
]


def test_what_is_not_judged_is_what_a_check_does_not_judge():
    captures = shades.captures(SIDES, [None] * len(SIDES))
    found = pairs_unjudged(SIDES, captures)
    for i, j in itertools.combinations(range(len(SIDES)), 2):
        one, other = SIDES[i], SIDES[j]
        checked = compare(one, other, Conditions(capture_of(one, other), tolerance=50.0))
        assert found.stopped[i, j] == bool(checked.difference.stops), (one.flags, other.flags)
        assert found.barred[i, j] == bool(checked.difference.bars)
        said = set().union(*found.because(i, j))
        assert all(any(s in stop for s in said) for stop in checked.difference.stops)
        if checked.verdict is Verdict.WITHIN:
            assert not found.stopped[i, j] and not found.barred[i, j]
    assert found.stopped.any() and found.barred.any() and not found.stopped.all()


@pytest.mark.parametrize("flag", sorted(FLAGS.keys() - HAVE_A_PART))
def test_no_other_flag_leaves_a_pair_unjudged(flag):
    for photos in ("a", "b"):
        one, other = side((flag,)), side(photos=photos)
        for pair in ((one, other), (one, side((flag,), photos))):
            assert verdict_stopped(*pair, capture_of(*pair)) == (set(), set())


@pytest.mark.parametrize("flag", ["clipped beyond use", "reference does not fit"])
def test_groups_are_not_sure_where_a_check_cannot_tell(tmp_path, capsys, flag):
    command = ("groups", "a", "b", "c", "--tolerance", "8", "--archive", tmp_path / "yarn")
    with archive_of(tmp_path, NEWEST_ONLY, frozenset({flag})) as archive:
        found = grouped(archive, 8.0)
        printed = run(capsys, *command).out
    assert set(found.unsure) == {(0, 2), (1, 2)}
    assert found.why == (f"c: {FLAGS[flag]}",)
    assert f"c: {FLAGS[flag]}" in printed


def test_a_swatch_that_no_check_calls_within_is_not_sure_in_a_group(tmp_path):
    dark = (*NEWEST_ONLY[:2], ("w", {"c": 24.0}))
    with archive_of(tmp_path, dark) as archive:
        found = grouped(archive, 30.0)
    assert set(found.unsure) == {(0, 2), (1, 2)}
    assert found.why == (f"c: {NEVER_WITHIN}",)


def test_a_barred_pair_is_never_sure():
    labs = LAB + np.outer([0.0, 0.5, 9.0], [1.0, 0.0, 0.0])
    u = np.full((3, 3), 0.1)
    assert group(labs, 2.0, u=u).unsure == ()
    never = np.zeros((3, 3), dtype=bool)
    never[0] = never[:, 0] = True
    assert group(labs, 2.0, u=u, barred=never).unsure == ((0, 1),)


def test_the_doubt_of_a_pair_is_that_of_a_check_where_light_or_reference_is_poor():
    """Of a taught set-up, too, where the photo's own frame part had been dropped."""
    plain = replace(side(photos="a"), frame_cov=np.eye(3) * 4.0)
    other = replace(side(photos="b"), frame_cov=np.eye(3) * 4.0)
    odd = side((MISFIT,), photos="c")
    own = OwnFrame(np.eye(3) * 0.1, Capture.LOCKED)
    sides, at = [plain, other, odd], np.full((3, 3), 3.0)
    u = shades.u_pairs(sides, [(7, True)] * 3, at, 1.0, {7: own})
    for i, j in ((0, 1), (0, 2), (1, 2)):
        conditions = Conditions(Capture.LOCKED, k_l=1.0, own_frame=own)
        told = pair_doubt(sides[i], sides[j], conditions).u(3.0)
        assert math.isclose(u[i, j], told, rel_tol=1e-6)
