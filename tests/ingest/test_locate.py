"""Marks files: the round trip, every mistake in its words, and the geometry of a chart."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.errors import MarksError, ReferenceMissing
from ingest.expected import expected_xyz, named_edition
from ingest.locate import (
    as_marks,
    chart_patches,
    marks_path,
    mm_per_px,
    parse_marks,
    read_marks,
)
from ingest.model import Layout, Reference, Scale, Settings, SwatchRegion
from ingest.overlap import lie_over

SQUARE = [[0.1, 0.1], [0.3, 0.1], [0.3, 0.3], [0.1, 0.3]]
CORNERS = [[0.2, 0.2], [0.8, 0.25], [0.75, 0.7], [0.22, 0.72]]

# --- there and back ----------------------------------------------------------------------------

unit = st.floats(0.0, 1.0, allow_subnormal=False)
reflectance = st.floats(0.001, 1.0)
lab = st.tuples(st.floats(0.1, 100.0), st.floats(-128.0, 128.0), st.floats(-128.0, 128.0))
grey = st.tuples(st.floats(0.1, 100.0), st.floats(-14.0, 14.0), st.floats(-14.0, 14.0))

EARLIER = "before-2014-11"


@st.composite
def boxes(draw, top=0.0):
    """Four corners in the half of the picture from ``top`` down, so that yarn is on no card."""
    x, y = draw(st.floats(0.0, 0.6)), top + draw(st.floats(0.0, 0.25))
    w, h = draw(st.floats(0.01, 0.39)), draw(st.floats(0.01, 0.24))
    lean = draw(st.floats(0.0, 0.5)) * w
    return ((x + lean, y), (x + w, y), (x + w - lean, y + h), (x, y + h))


@st.composite
def references(draw):
    kind = draw(st.sampled_from(["card", "steps", "chart24"]))
    measured = draw(st.booleans())
    if kind == "card":
        value = (
            {"lab_d50": (draw(grey),)}
            if measured
            else {"y": draw(st.none() | st.tuples(reflectance))}
        )
        return Reference("card", (draw(boxes()),), **value)
    if kind == "steps":
        n = draw(st.integers(2, 8))
        patches = tuple(draw(boxes()) for _ in range(n))
        if measured:
            return Reference("steps", patches, lab_d50=tuple(draw(grey) for _ in range(n)))
        return Reference("steps", patches, y=tuple(draw(reflectance) for _ in range(n)))
    corners = draw(boxes())
    values = (
        {"lab_d50": tuple(draw(lab) for _ in range(24))}
        if measured
        else {"edition": draw(st.sampled_from(["before-2014-11", "after-2014-11"]))}
    )
    return Reference("chart24", chart_patches(corners), corners=corners, **values)


@st.composite
def layouts(draw):
    named = st.text(min_size=1, max_size=200).filter(str.strip)
    names = draw(st.lists(named, max_size=3, unique=True))
    scale = None
    if draw(st.booleans()):
        start = (draw(st.floats(0.0, 0.4)), draw(unit))
        end = (draw(st.floats(0.5, 1.0)), draw(unit))
        scale = Scale(start, end, draw(st.floats(0.1, 1000.0)))
    return Layout(
        tuple(draw(st.lists(references(), max_size=3))),
        tuple(
            SwatchRegion(n, draw(boxes(0.5)), across_mm=draw(st.none() | st.floats(0.1, 1e5)))
            for n in names
        ),
        scale,
    )


@settings(max_examples=60, deadline=None)
@given(layouts())
def test_marks_give_the_same_layout_back_through_json(layout):
    assert parse_marks(json.loads(json.dumps(as_marks(layout)))) == layout


def test_any_key_may_be_absent():
    assert parse_marks({}) == Layout()


def test_a_card_without_a_value_has_none_of_its_own():
    (card,) = parse_marks({"references": [{"kind": "card", "polygon": SQUARE}]}).references
    assert card.y is None and card.lab_d50 is None and card.located == "marks"


def test_a_chart_without_an_edition_is_the_later_one():
    (chart,) = parse_marks({"references": [{"kind": "chart24", "corners": CORNERS}]}).references
    assert len(chart.patches) == 24
    assert named_edition(chart, Settings()).edition == "after-2014-11"
    assert named_edition(chart, Settings(chart_edition="before-2014-11")).edition == EARLIER


def test_steps_without_values_take_those_that_are_owned_or_say_so():
    (steps,) = parse_marks({"references": [{"kind": "steps", "patches": STEPS}]}).references
    owned = Settings(steps_y=(0.9, 0.1))
    assert expected_xyz(steps, owned)[:, 1].tolist() == [0.9, 0.1]
    for told in (Settings(), Settings(steps_y=(0.9, 0.5, 0.1))):
        with pytest.raises(ReferenceMissing, match="2 neutral steps"):
            expected_xyz(steps, told)


# --- mistakes ----------------------------------------------------------------------------------


def refs(**item):
    return {"references": [item]}


def swatch(**item):
    return {"swatches": [item]}


STEPS = [SQUARE, [[0.4, 0.1], [0.6, 0.1], [0.6, 0.3], [0.4, 0.3]]]

MISTAKES = {
    "not an object": ([], "expected an object with references and swatches"),
    "unknown key": ({"swatch": []}, "unknown key 'swatch'; known are"),
    "references no list": ({"references": "card"}, "references: expected a list"),
    "reference no object": ({"references": [3]}, "reference 1: expected an object"),
    "reference key": (refs(kind="card", polygon=SQUARE, colour=1), "unknown key 'colour'"),
    "kind absent": (refs(polygon=SQUARE), "kind is None; it can be card, steps or chart24"),
    "kind unknown": (refs(kind="tile"), "kind is 'tile'"),
    "no polygon": (refs(kind="card"), "found 0 corners; needed at least 3"),
    "two corners": (refs(kind="card", polygon=SQUARE[:2]), "found 2 corners"),
    "crosses itself": (
        refs(kind="card", polygon=[SQUARE[i] for i in (0, 2, 1, 3)]),
        "its outline crosses itself",
    ),
    "no area": (
        refs(kind="card", polygon=[[0.1, 0.1], [0.2, 0.2], [0.3, 0.3]]),
        "its outline holds no area",
    ),
    "point of three": (refs(kind="card", polygon=[[0, 0, 0], *SQUARE]), "found 3 numbers"),
    "point of text": (refs(kind="card", polygon=[["a", 0], *SQUARE]), "'a' is not a number"),
    "point true": (refs(kind="card", polygon=[[True, 0], *SQUARE]), "True is not a number"),
    "point nan": (refs(kind="card", polygon=[[math.nan, 0], *SQUARE]), "nan is not a number"),
    "point in pixels": (refs(kind="card", polygon=[[400, 20], *SQUARE]), "outside the picture"),
    "point a number": (refs(kind="card", polygon=[1, 2, 3]), "expected a list, found 1"),
    "y a density": (
        refs(kind="card", polygon=SQUARE, y=1.05),
        "1.05 % is 0.0105, and a density of 1.05 is 0.0891",
    ),
    "y nought": (refs(kind="card", polygon=SQUARE, y=0), "y is 0; a reflectance lies above 0"),
    "y in per cent": (refs(kind="card", polygon=SQUARE, y=18), "up to 1: 18 % is 0.18"),
    "y endless": (refs(kind="card", polygon=SQUARE, y=10**400), "is not a number that marks"),
    "lab of two": (refs(kind="card", polygon=SQUARE, lab_d50=[50, 0]), "found 2 numbers"),
    "lab impossible": (refs(kind="card", polygon=SQUARE, lab_d50=[120, 0, 0]), "no surface colour"),
    "lab of no grey": (refs(kind="card", polygon=SQUARE, lab_d50=[50, 90, 0]), "is no grey"),
    "step of no grey": (
        refs(kind="steps", patches=STEPS, lab_d50=[[90, 0, 0], [20, 0, 25]]),
        "(20, 0, 25) is no grey",
    ),
    "card of two values": (
        refs(kind="card", polygon=SQUARE, y=0.18, lab_d50=[50, 0, 0]),
        "has both y and lab_d50; give the one",
    ),
    "steps of two values": (
        refs(kind="steps", patches=STEPS, y=[0.9, 0.2], lab_d50=[[90, 0, 0], [50, 0, 0]]),
        "has both y and lab_d50; give the one",
    ),
    "yarn on the card": (
        {**refs(kind="card", polygon=SQUARE), **swatch(name="a", polygon=CORNERS)},
        "swatch 'a' and reference 1 (card) lie over each other",
    ),
    "one step": (refs(kind="steps", patches=[SQUARE], y=[0.9]), "found 1 steps; needed at least 2"),
    "steps and values": (refs(kind="steps", patches=STEPS, y=[0.9]), "2 steps but 1 values"),
    "step's corner": (
        refs(kind="steps", patches=[SQUARE, SQUARE[:2]], y=[0.9, 0.1]),
        "reference 1, step 2: found 2 corners",
    ),
    "chart of three": (refs(kind="chart24", corners=CORNERS[:3]), "needs its four outer corners"),
    "chart bent in": (
        refs(kind="chart24", corners=[*CORNERS[:2], [0.4, 0.4], CORNERS[3]]),
        "needs its four outer corners",
    ),
    "edition": (refs(kind="chart24", corners=CORNERS, edition="2005"), "edition is '2005'"),
    "chart of 23": (
        refs(kind="chart24", corners=CORNERS, lab_d50=[[50, 0, 0]] * 23),
        "found 23 rows of lab_d50; needed 24",
    ),
    "swatch no object": ({"swatches": ["new"]}, "swatch 1: expected an object"),
    "swatch key": (swatch(name="a", polygon=SQUARE, lot=1), "unknown key 'lot'"),
    "swatch name": (swatch(name=" ", polygon=SQUARE), "text of 1 to 200 characters"),
    "swatch name long": (swatch(name="a" * 201, polygon=SQUARE), "text of 1 to 200 characters"),
    "swatch names": (
        {"swatches": [{"name": "a", "polygon": SQUARE}] * 2},
        "two swatches are named 'a'",
    ),
    "swatch scale": (swatch(name="a", polygon=SQUARE, across_mm=0), "across_mm is 0; needed 0.1"),
    "swatch corners": (swatch(name="a"), "found 0 corners"),
    "scale of no length": (
        {"scale": {"from": [0, 0], "to": [1, 0], "mm": None}},
        "a known length is marked, but not how many mm it is",
    ),
    "scale no object": ({"scale": 3}, "scale needs from, to and mm"),
    "scale key": ({"scale": {"from": [0, 0], "to": [1, 1], "cm": 1}}, "unknown key 'cm'"),
    "scale length": ({"scale": {"from": [0, 0], "to": [1, 1], "mm": 0}}, "a length in millimetres"),
    "scale points": ({"scale": {"from": [0, 0], "to": [0, 0], "mm": 9}}, "two different points"),
    "scale text": ({"scale": {"from": [0, 0], "to": [1, 1], "mm": "9"}}, "'9' is not a number"),
    "scale absent": ({"scale": {"mm": 9}}, "a point is [x, y]; found 0 numbers"),
}


@pytest.mark.parametrize(("marks", "words"), MISTAKES.values(), ids=MISTAKES)
def test_a_mistake_is_told_in_one_line(marks, words):
    with pytest.raises(MarksError) as caught:
        parse_marks(marks, "lot.marks.json")
    message = str(caught.value)
    assert words in message
    assert message.startswith("lot.marks.json") and "\n" not in message


def square(x, y, side):
    return ((x, y), (x + side, y), (x + side, y + side), (x, y + side))


@pytest.mark.parametrize(
    ("x", "side", "over"),
    [
        (0.30, 0.2, False),  # side by side
        (0.29, 0.2, False),  # by a rim of 5 %
        (0.27, 0.2, True),
        (0.15, 0.05, True),  # yarn within the card
        (0.0, 0.9, True),  # the card within the yarn
    ],
)
def test_what_lies_over_the_card_and_what_beside_it(x, side, over):
    card = square(0.1, 0.1, 0.2)
    assert lie_over(square(x, 0.1, side), (square(0.7, 0.7, 0.1), card)) is over
    assert lie_over(card, (square(x, 0.1, side),)) is over


def test_files_that_cannot_be_read_are_told_in_one_line(tmp_path):
    bad = tmp_path / "a.marks.json"
    for content in (b"{", b"\xff\xfe\x00", b"[" * 100_000):
        bad.write_bytes(content)
        with pytest.raises(MarksError, match=r"^a\.marks\.json: is not JSON"):
            read_marks(bad)
    with pytest.raises(MarksError, match=r"^b\.marks\.json: cannot be read"):
        read_marks(tmp_path / "b.marks.json")


def test_marks_lie_beside_the_photo():
    assert marks_path("folder/lot.3.jpg").as_posix() == "folder/lot.3.marks.json"


# --- geometry ----------------------------------------------------------------------------------


def homography(source, target):
    """(3, 3) by the direct linear transform, in float64 (Hartley and Zisserman 2004, 4.1)."""
    rows = []
    for (u, v), (x, y) in zip(source, target, strict=True):
        rows.append([u, v, 1, 0, 0, 0, -u * x, -v * x, -x])
        rows.append([0, 0, 0, u, v, 1, -u * y, -v * y, -y])
    return np.linalg.svd(np.array(rows))[2][-1].reshape(3, 3)


def test_chart_patches_follow_a_homography():
    h = homography([(0, 0), (6, 0), (6, 4), (0, 4)], CORNERS)
    patches = chart_patches(tuple(tuple(c) for c in CORNERS))
    for index, patch in enumerate(patches):
        row, column = divmod(index, 6)
        want = []
        for du, dv in ((-0.2, -0.2), (0.2, -0.2), (0.2, 0.2), (-0.2, 0.2)):
            x, y, w = h @ (column + 0.5 + du, row + 0.5 + dv, 1.0)
            want.append((x / w, y / w))
        assert np.allclose(patch, want, atol=2e-6)


def test_the_first_patch_lies_at_the_first_corner_and_the_sixth_at_the_second():
    patches = [np.mean(p, axis=0) for p in chart_patches(tuple(tuple(c) for c in CORNERS))]
    nearest = [int(np.argmin([np.hypot(*(p - c)) for p in patches])) for c in CORNERS]
    assert nearest == [0, 5, 23, 18]


def test_millimetres_per_pixel():
    # 0.3 of 1000 px across and 0.4 of 1000 px down: 500 px for 100 mm.
    new = SwatchRegion("new", ((0.1, 0.1), (0.2, 0.1), (0.2, 0.2)))

    def of(scale, width, height, swatch=new):
        return mm_per_px(Layout(swatches=(swatch,), scale=scale), swatch, width, height)

    assert of(Scale((0.1, 0.1), (0.4, 0.5), 100.0), 1000, 1000) == pytest.approx(0.2)
    # The same fractions in a picture twice as wide are not the same pixels.
    assert of(Scale((0.0, 0.5), (1.0, 0.5), 100.0), 2000, 1000) == pytest.approx(0.05)
    assert of(Scale((0.5, 0.0), (0.5, 1.0), 100.0), 2000, 1000) == pytest.approx(0.1)
    assert math.isnan(of(None, 10, 10))
    # What the place itself says goes before the length elsewhere.
    own = replace(new, across_mm=150.0)
    assert of(Scale((0.5, 0.0), (0.5, 1.0), 100.0), 2000, 1000, own) == pytest.approx(0.075)
    assert of(None, 2000, 1000, own) == pytest.approx(0.075)
