"""The evenness card: words, comparisons of like with like, the drawing, and the command."""

import base64
import io
import json
import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from importlib.resources import files
from itertools import combinations, product
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from ingest.evenness_corehalo import NO_DIFFERENCE, TINT_LOST
from ingest.evenness_map import STEPS, EvennessMap
from ingest.evenness_rim import DEEP_SHADOW, FEW_PIXELS, LITTLE_YARN, NO_STRANDS, NO_TINT
from ingest.flags import FLAGS
from ingest.screen import hex_of_lab
from swatchvault.archive.values import to_json
from swatchvault.evenness_check import Tonal, tolerance_for
from swatchvault.evenness_read import Evenness
from swatchvault.report import evenness_lines
from swatchvault.svg_text import clean, cut, isolated, width, wrap
from swatchvault.tonal_card import STEP_WORDS, Card, card_lines, card_record, peer_lines
from swatchvault.tonal_colours import AS_SEEN, OF_CELLS, colours_of
from swatchvault.tonal_drawing import (
    GREYS,
    HEIGHT,
    MOST_BYTES,
    PAPERS,
    WIDTH,
    card_svg,
    picture_bytes,
)
from swatchvault.tonal_peers import (
    FEWEST,
    OwnForms,
    Peer,
    Peers,
    across_forms,
    beside,
    place_among,
)
from swatchvault.tonal_words import AT_CRESTS, GREY_HELP, HOW_FAR, UNSEEN, advice, how_far, say
from tests.ingest.test_evenness_stored import PLAIN
from tests.swatchvault.running import run

EXAMPLE = Path(str(files("example_archive")))
SVG = "{http://www.w3.org/2000/svg}"
METHOD = "evenness 1"


def record(kind="semi-solid", value=1.6, **more):
    """A tonality record as the measure gives it."""
    made = {
        "unevenness": value,
        "u_unevenness": 0.3,
        "range": [1.1, 2.3],
        "off_light_line": 1.2,
        "cell_unevenness": 3.0,
        "strand_contrast": 0.2,
        "patch_length": "short",
        "dots_percent": 0.0,
        "class": kind,
        "between": None,
        "palette": [{"lab": [45.0, 30.0, 10.0], "share": 1.0}],
        "mm_per_px": 0.1,
        "method": METHOD,
        "reasons": [],
        "gradient": None,
        "difference_shares": {"lightness": 0.9, "chroma": 0.08, "hue": 0.02},
    }
    return {**made, **more}


CANNOT = record(
    None, 0.4, range=[0.1, 0.8], between=["solid", "semi-solid"], reasons=["Shadow is deep."]
)
THREE = [
    {"lab": [60.0, 40.0, 20.0], "share": 0.55},
    {"lab": [40.0, -20.0, 25.0], "share": 0.41},
    {"lab": [80.0, 0.0, 10.0], "share": 0.04},
]


def a_map(colours=1, size=(48.0, 36.0)):
    rng = np.random.default_rng(1)
    rows, columns = (int((mm - 5.0) / 2.5) + 1 for mm in size[::-1])
    deviation = rng.gamma(2.0, 0.7, (rows, columns))
    deviation[0, :3] = np.nan
    h, w = (int(mm) for mm in size[::-1])
    which = rng.integers(0, colours, (h, w))
    labs = np.array([c["lab"] for c in THREE[:colours]])
    return EvennessMap(
        *(deviation, (2.75, 2.5), 2.5, size, which, 1.0, labs, np.full(colours, 1.0 / colours)),
        tenths=TENTH_LABS,
    )


TENTH_LABS = np.array([[62.0, 28.0, 9.0], [45.0, 30.0, 10.0], [31.0, 27.0, 8.0]])


def picture(height=300, width=400):
    rng = np.random.default_rng(2)
    return rng.integers(60, 180, (height, width, 3)).astype(np.uint8)


def evenness(value, form="skein", kind="semi-solid", u=0.2, method=METHOD, **more):
    return Evenness(value, u, form, method, kind, **more)


def peers(values, **more):
    return [
        Peer(f"lot {k} skein a", str(k), f"2026-0{k % 9 + 1}-01", evenness(v, **more))
        for k, v in enumerate(values)
    ]


def a_card(**more):
    made = Card("moss-7", ("Moss", "Sock Fine", "lot 7"), "skein", record(), map=a_map())
    return replace(made, **{"picture": picture(), **more})


# --- words -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("made", "headline", "said"),
    [
        (record("solid", 0.1), "Solid", "one colour all over"),
        (record(), "Semi-solid", "short patches whose shades are about as far apart as"),
        (record(patch_length=None), "Semi-solid", "one colour in patches whose shades are"),
        (
            record("variegated", palette=THREE),
            "Variegated",
            "3 colours told apart, mixtures of two where",
        ),
        (record("variegated", palette=THREE), "Variegated", "; the largest covers 55 % of it."),
        (
            record("variegated", palette=THREE[:2]),
            "Variegated",
            "2 colours told apart; the largest covers 55 % of it.",
        ),
        (record("speckled"), "Speckled", "dots of other colours"),
        (CANNOT, "Cannot tell", "not show whether it is solid or semi-solid"),
        (None, "Cannot tell", "mark a known length"),
    ],
)
def test_the_headline_and_the_sentence(made, headline, said):
    words = say(made)
    assert words.headline == headline
    assert said in words.sentence
    assert words.sentence.endswith(".")


def test_core_and_halo_are_told_where_the_record_tells_of_them():
    told = {"rim": "deeper", "delta_e": 3.1, "u": 2.2, "lch": [-2.4, 1.0, -3.2]}
    for ranged in ({"range": [1.2, 6.2]}, {}):  # older records lack the key
        words = say(record("solid", core_halo=told | ranged))
        assert words.strands == (
            "Core and halo: the rims of the strands look deeper than their crests, by ΔE00 1.2 to "
            "6.2; at 3.1 L* \N{MINUS SIGN}2.4, C* +1.0, h \N{MINUS SIGN}3.2°."
        )
    assert words.strands in words.lines and words.record()["strands"] == words.strands
    for none in (record("solid"), record("solid", core_halo=None)):  # older records lack the key
        assert (say(none).strands, say(none).unseen) == ("", "") and "" not in say(none).lines


def test_why_nothing_is_told_of_core_and_halo():
    for name in (
        NO_STRANDS,
        FEW_PIXELS,
        LITTLE_YARN,
        DEEP_SHADOW,
        NO_TINT,
        NO_DIFFERENCE,
        TINT_LOST,
    ):
        words = say(record("solid", core_halo=None, core_halo_unseen=name))
        assert words.unseen == f"Core and halo: {UNSEEN[name]}."
        assert words.unseen in words.lines and words.record()["unseen"] == words.unseen
        assert words.strands == ""
    assert set(UNSEEN) == {
        NO_STRANDS,
        FEW_PIXELS,
        LITTLE_YARN,
        DEEP_SHADOW,
        NO_TINT,
        NO_DIFFERENCE,
        TINT_LOST,
    }


HALO = {"rim": "deeper", "delta_e": 3.1, "u": 2.2, "lch": [-2.4, 1.0, -3.2]}


@pytest.mark.parametrize(
    ("told", "sentence"),
    [
        ({}, "one colour all over; what is light and dark is the strands, not the dye."),
        (
            {"light_only": True},
            "one colour all over, lighter and darker in places, by the dye or by how it lies.",
        ),
        (
            {"rule": replace(PLAIN, chroma=4.0).record()},
            "one colour all over, as far as a photo can show it in this colour.",
        ),
        (
            {"rule": replace(PLAIN, depth_off=0.0).record()},
            "one colour all over, as far as a photo can show it in this colour.",
        ),
        (
            {"core_halo": HALO, "rule": PLAIN.record()},
            "one colour from patch to patch; the rims of its strands look deeper.",
        ),
        (
            {"core_halo": HALO, "light_only": True},
            "one colour all over, lighter and darker in places, by the dye or by how it lies; the "
            "rims of its strands look deeper.",
        ),
    ],
)
def test_a_solid_says_no_more_than_its_next_lines_leave(told, sentence):
    assert say(record("solid", 0.1, **told)).sentence == sentence


@pytest.mark.parametrize(
    ("turn", "way"),
    [
        (0.0, "from left to right"),
        (92.0, "from top to bottom"),
        (-178.0, "from right to left"),
        (-90.0, "from bottom to top"),
        (45.0, "from upper left to lower right"),
        (-130.0, "from lower right to upper left"),
        (-40.0, "from lower left to upper right"),
        (359.0, "from left to right"),
    ],
)
def test_a_gradient_says_which_way_it_runs(turn, way):
    made = record("gradient", gradient={"direction_deg": turn, "ends": [[50, 0, 0], [60, 9, 9]]})
    assert way in say(made).sentence


@pytest.mark.parametrize("kind", ["solid", "semi-solid", "variegated", "speckled", "gradient"])
def test_nothing_is_said_that_was_not_tested(kind):
    """No shares of lightness, chroma and hue, and no patch length in millimetres."""
    card = Card("x", (), "skein", record(kind, patch_length="medium"), map=a_map())
    text = " ".join(card_lines(card)).lower()
    for word in ("chroma", "hue", "mostly lighter", "lightness"):
        assert word not in text
    assert not re.search(r"patches of about \d", text)


def test_cannot_tell_gives_the_range_alone_and_what_would_help():
    assert FLAGS["no reference"] in say(record("solid"), {"no reference", "glare"}).reasons
    words = say(CANNOT, {"scale estimated"})
    assert "0.1 and 0.8" in words.figures and "±" not in words.figures
    assert "known length" in words.help
    assert say(CANNOT).help == advice(()) != ""
    stopped = say(CANNOT, {"out of focus"})
    assert stopped.figures == "" and "how evenly" in stopped.sentence
    assert "sharp" in stopped.help


def test_of_greys_another_light_helps_and_going_nearer_does_not():
    grey = {**CANNOT, "rule": replace(PLAIN, chroma=4.0).record()}
    assert say(grey).help == GREY_HELP
    assert say({**CANNOT, "rule": PLAIN.record()}).help == advice(())
    assert "sharp" in say(grey, {"out of focus"}).help


def test_cannot_tell_is_said_once():
    for flags in ((), {"out of focus"}):
        first, *rest = say(CANNOT, flags).lines
        assert first.startswith("Cannot tell: this photo does not show ")
        assert "cannot tell" not in " ".join([first[12:], *rest])


def test_next_to_nothing_is_no_figure_of_noughts():
    nothing = record("solid", 0.04, u_unevenness=0.03, range=[0.0, 0.1])
    assert "Unevenness under 0.1, range 0.0 to 0.1:" in say(nothing).figures
    assert evenness_lines(nothing)[0].startswith("evenness: solid, unevenness under 0.1")
    some = record("solid", 0.04, u_unevenness=0.06, range=[0.0, 0.2])
    assert "Unevenness 0.0 ± 0.1" in say(some).figures
    peer = Peer("x", "L1", None, Evenness.of_record(nothing, "skein", frozenset()))
    peers = beside(Evenness.of_record(record(), "skein", frozenset()), [peer], [])
    (line,) = peer_lines(Card("y", (), "skein", record(), peers=peers))
    assert line.startswith("x, under 0.1: this one is ")


@pytest.mark.parametrize(
    ("kind", "held"),
    [
        ("solid", " Such ranges held in 19 of 20 rendered solids and semi-solids."),
        ("semi-solid", " Such ranges held in 19 of 20 rendered solids and semi-solids."),
        ("speckled", " Such ranges held in 63 to 94 of 100 rendered speckled yarns."),
        ("variegated", ""),
        ("gradient", ""),
    ],
)
def test_how_often_ranges_held_is_said_of_classes_where_it_was_counted(kind, held):
    assert say(record(kind)).figures.partition("from their mean.")[2] == held


@pytest.mark.parametrize(
    ("named", "made", "said"),
    [
        ("solid", record(), "To the dyer's eye: solid, which differs."),
        ("semi-solid", record(), "To the dyer's eye: semi-solid."),
        ("solid", CANNOT, "To the dyer's eye: solid."),
        (None, record(), ""),
    ],
)
def test_the_dyers_own_word_stands_on_the_card(named, made, said):
    card = a_card(record=made, named=named)
    assert card_record(card)["you_named_it"] == named
    for told in (" ".join(card_lines(card)), bars(card)[1]):
        assert said in told and ("dyer's eye" in told) is bool(said)


def test_the_words_grow_with_the_unevenness():
    values = [0.1, 1.0, 2.0, 4.0, 40.0]
    assert [how_far(v) for v in values] == [words for _, words in HOW_FAR]


def test_the_maps_steps_are_set_apart_and_none_is_nothing():
    where = a_map()
    deviation = np.full(400, 0.7)
    deviation[:100], deviation[-1] = 0.2, 9.0  # one of 400 is no whole per cent
    card = a_card(map=replace(where, deviation=deviation.reshape(20, 20)))
    (line,) = (line for line in card_lines(card) if "of its patches" in line)
    assert line.endswith(": under 0.5: 25 %; 0.5 to 1: 75 %")


def test_strands_that_look_few_may_be_blurred():
    assert "in focus" in advice({"too little yarn for evenness"})


# --- like with like ----------------------------------------------------------------------------


def test_only_the_same_form_and_version_are_compared():
    own = evenness(1.5)
    mixed = [
        *peers([1.4], form="knit"),
        *peers([1.4], method="evenness 0"),
        *peers([math_nan()]),
        *peers([1.4], flags=frozenset({"out of focus"})),
        *peers([3.0]),
    ]
    found = beside(own, mixed, mixed)
    assert [p.evenness.unevenness for p, _ in found.earlier] == [3.0]
    assert found.earlier[0][1].verdict.value == "less tonal"
    assert [p.evenness.unevenness for p in found.others] == [3.0]
    assert any("remeasure" in note for note in found.notes)


def math_nan():
    return float("nan")


MIRRORED = {"more tonal": "less tonal", "less tonal": "more tonal"}


@settings(deadline=None)
@given(*(st.floats(0.05, 4.0) for _ in range(2)), *(st.floats(0.02, 0.6) for _ in range(2)))
def test_what_is_said_of_two_lots_does_not_hang_on_which_came_first(one, other, u, v):
    pair = Evenness(one, u, "skein", "1"), Evenness(other, v, "skein", "1")
    words = []
    for own, before in (pair, pair[::-1]):
        ((_, found),) = beside(own, [Peer("before", None, None, before)], []).earlier
        words.append(found.verdict.value)
        assert found.tolerance >= max(map(tolerance_for, pair))
    if set(words) <= {"more tonal", "less tonal", "cannot tell"}:
        assert words[1] == MIRRORED.get(words[0], words[0])


def test_a_card_is_no_bolder_than_a_check_by_either_lot():
    lots = Evenness(1.56, 0.27, "skein", "1"), Evenness(2.25, 0.40, "skein", "1")
    for own, before in (lots, lots[::-1]):
        ((_, found),) = beside(own, [Peer("before", None, None, before)], []).earlier
        assert found.verdict is Tonal.CANNOT_TELL


VAGUE = {"kind": None, "between": ("solid", "semi-solid"), "u": 0.9}


@pytest.mark.parametrize(
    ("value", "span", "verdict"),
    [
        (1.0, (0.6, 1.4), Tonal.CANNOT_TELL),  # near its figure, which tells nothing
        (2.1, (1.9, 2.3), Tonal.CANNOT_TELL),  # ranges that meet
        (4.0, (3.6, 4.4), Tonal.MORE),
    ],
)
def test_what_has_no_class_has_a_range_and_no_figure(value, span, verdict):
    vague, sure = evenness(0.9, span=(0.0, 1.9), **VAGUE), evenness(value, span=span)
    ((_, found),) = beside(sure, [Peer("L5", None, None, vague)], []).earlier
    assert found.verdict is verdict
    peers = beside(sure, [Peer("L5", "L5", "2026-07-19", vague)], [])
    (line,) = peer_lines(a_card(peers=peers))
    assert line.startswith("L5 of 2026-07-19, somewhere between 0.0 and 1.9: ") and "±" not in line
    (told,) = peers.record()["earlier_lots"]
    assert (told["class"], told["range"], told["verdict"]) == (None, [0.0, 1.9], verdict.value)
    ((_, back),) = beside(vague, [Peer("L5", None, None, sure)], []).earlier
    assert back.verdict.value == MIRRORED.get(verdict.value, verdict.value)
    assert beside(vague, [Peer("L5", None, None, vague)], []).earlier[0][1].verdict.value == (
        "cannot tell"
    )


def test_the_line_of_marks_has_no_point_for_what_has_a_range_alone():
    vague = evenness(0.9, span=(0.0, 1.9), **VAGUE)
    own = record(None, 0.9, range=[0.0, 1.9], between=["solid", "semi-solid"])
    points, others = {}, peers([0.5, 1.0, 1.5, 2.0, 3.0])
    for name, made, mine in (("own", own, vague), ("other", record(), evenness(1.6))):
        before = evenness(4.0) if name == "own" else vague
        earlier = [Peer("x", None, None, before), *peers([1.0])[: name == "other"]]
        svg = card_svg(a_card(record=made, peers=beside(mine, earlier, others)))
        assert_it_fits(svg)
        points[name] = svg.count("<circle")
        assert ("▬ range of this one" in svg) is (name == "own")
        assert ("▭ ranges of earlier lots" in " ".join(b[4] for b in boxes(svg) if b[4])) is (
            name == "other"
        )
    assert points == {"own": 1, "other": 2}


def test_as_tonal_is_told_with_its_tolerance():
    found = beside(evenness(1.5), peers([1.5]), [])
    (line,) = peer_lines(a_card(peers=found))
    assert line.endswith(
        f"this one is as tonal as that, within {found.earlier[0][1].tolerance:.2g}"
    )


def test_as_tonal_is_no_more_tonal_where_only_that_was_tested():
    """Under 0.95 a semi-solid of 0.9 may hide one half as tonal."""
    found = beside(evenness(0.6, u=0.2), peers([0.9], u=0.45), [])
    (line,) = peer_lines(a_card(peers=found))
    assert line.endswith("is no more tonal than that, within 0.95; whether less, cannot be told")


def test_the_form_that_is_missing_is_asked_for():
    own = evenness(1.5, form="skein")
    knit = [replace(p, off_line=0.9) for p in peers([1.4], form="knit")]
    found = beside(own, knit, [], off_line=2.4)
    assert found.earlier == ()
    assert any("Photograph this lot as knit too" in note for note in found.notes)
    assert any("more tonal than lot 0 skein a" in note for note in found.notes)
    unknown = beside(own, knit, [])
    assert not any("light alone" in note for note in unknown.notes)
    same = beside(own, [*knit, *peers([1.4])], [])
    assert not any("Photograph" in note for note in same.notes)


def wound_and_knit():
    """Two earlier lots as wound card, the second as a knit too, oldest first."""
    first, second = (replace(p, off_line=0.5) for p in peers([1.0, 1.1], form="wound card"))
    knit = replace(second, name="lot 1 knit", evenness=evenness(1.4, form="knit"), off_line=0.9)
    return [first, second, knit]


def test_the_form_asked_for_is_the_masters_or_that_of_most_lots():
    own, earlier = evenness(1.5), wound_and_knit()
    masters = {
        "knit": OwnForms(of_masters=frozenset({"knit"})),
        "wound card": OwnForms(of_masters=frozenset({"skein"})),
    }
    for form, forms in masters.items():
        note = beside(own, earlier, [], 2.4, forms).notes[0]
        assert note.endswith(f"Photograph this lot as {form} too.")


def test_a_form_that_the_lot_has_is_not_asked_for():
    forms = OwnForms({"wound card": Peer("mine, wound", "9", None, evenness(1.2))})
    asked, across = beside(evenness(1.5), wound_and_knit(), [], 2.4, forms).notes
    assert asked.endswith("Of this lot mine, wound is measured as wound card: see its card.")
    assert "Photograph" not in asked
    assert across == (
        "Across forms, by what light alone cannot make: more tonal than lot 1 skein a (wound "
        "card); more tonal than lot 0 skein a (wound card)."
    )


def test_other_semi_solids_of_another_version_are_counted():
    own, old = evenness(1.5), peers([1.0, 1.1, 1.2], method="evenness 0")
    knits = peers([1.0], method="evenness 0", form="knit")
    (note,) = beside(own, [], [*old, *knits]).notes
    assert ": 3 other semi-solids measured as skein. `swatchvault remeasure`" in note
    (note,) = beside(own, old[:1], old).notes
    assert "1 of the earlier swatches and 3 other semi-solids" in note
    assert beside(evenness(0.1, kind="solid"), [], old).notes == ()


@pytest.mark.parametrize(
    ("own", "form", "other", "other_form", "word"),
    [
        (1.29, "skein", 1.0, "wound card", "about as tonal as"),
        (1.0, "skein", 1.0, "wound card", "about as tonal as"),
        (1.8, "skein", 1.0, "wound card", "about as tonal as"),
        (1.8, "wound card", 1.0, "wound card", "more tonal than"),
        (2.6, "skein", 1.0, "wound card", "more tonal than"),
        (1.0, "wound card", 2.6, "skein", "less tonal than"),
        (0.0, "knit", 0.0, "skein", "about as tonal as"),
    ],
)
def test_across_forms_only_a_clear_difference_counts(own, form, other, other_form, word):
    assert across_forms(own, form, other, other_form) == word


def test_a_place_among_others_and_its_doubt():
    place = place_among(evenness(1.5), [evenness(v) for v in (0.2, 0.5, 1.4, 1.6, 3.0)])
    assert (place.count, place.less, place.percentile) == (5, 3, 60)
    assert (place.surely, place.at_most) == (2, 4)


def test_a_place_is_told_with_what_doubt_leaves_of_it():
    def said(count):
        others = [evenness(v) for v in (0.2, 0.5, 1.4, 1.6, *([3.0] * (count - 4)))]
        place = place_among(evenness(1.5), others)
        return peer_lines(Card("y", (), "skein", record(), peers=Peers(place=place)))

    assert said(5) == [
        "Of 5 other semi-solids measured as skein it reads more tonal than 3; allowing for doubt, "
        "than 2 at least and 4 at most."
    ]
    assert "than 3 (percentile 15); allowing" in said(20)[0]


def test_a_place_needs_enough_semi_solids():
    own = evenness(1.5)
    few, enough = (peers(np.linspace(0.5, 3.0, n)) for n in (FEWEST - 1, FEWEST))
    assert beside(own, [], few).place is None
    assert any(f"given from {FEWEST}" in note for note in beside(own, [], few).notes)
    assert beside(own, [], enough).place.count == FEWEST
    solids = peers(np.linspace(0.0, 0.2, 9), kind="solid")
    assert beside(own, [], solids).place is None
    assert beside(evenness(0.1, kind="solid"), [], enough).place is None


def test_what_cannot_be_told_is_not_compared():
    found = beside(evenness(1.0, flags=frozenset({"scale doubtful"})), peers([1.0]), peers([1.0]))
    assert found.earlier == () and found.place is None
    assert "Not compared" in found.notes[0]


# --- the drawing -------------------------------------------------------------------------------

RTL = "\u05e9\u05dc\u05d5\u05dd \u0633\u0644\u0627\u0645"
NAMES = [
    "moss-7",
    'He said "5 < 6 & 7 > 2" </text><script>alert(1)</script>',
    RTL,
    f"{RTL} (3) \u202e txen \u2067 open",
    "W" * 200,
    "very long words of a name " * 20,
    "\u67d3\u6599\u306e\u8272" * 40,
    "a\x00b\x07c\ud800d\nnew line",
    "",
]


def boxes(svg):
    """(left, top, right, bottom) of every line of text, at its widest."""
    found = []
    for e in ElementTree.fromstring(svg).iter(f"{SVG}text"):
        x, y, size = (float(e.get(k)) for k in ("x", "y", "font-size"))
        wide = width(e.text or "", size)
        left = x - wide / 2.0 if e.get("text-anchor") == "middle" else x
        found.append((left, y - 0.78 * size, left + wide, y + 0.22 * size, e.text))
    return found


def filled(svg):
    """The boxes of pictures, squares and bars that no text may touch."""
    shapes = [
        *ElementTree.fromstring(svg).iter(f"{SVG}image"),
        *list(ElementTree.fromstring(svg).iter(f"{SVG}rect"))[1:],
    ]
    boxed = [[float(e.get(k)) for k in ("x", "y", "width", "height")] for e in shapes if fill(e)]
    return [(x, y, x + w, y + h, "a shape") for x, y, w, h in boxed]


def fill(e):
    return e.get("fill") != "none"


def assert_it_fits(svg):
    found = [b for b in boxes(svg) if b[4]]
    for left, top, right, bottom, words in found:
        assert left >= 0 and top >= 0 and right <= WIDTH and bottom <= HEIGHT, words
    for a, b in [*combinations(found, 2), *product(found, filled(svg))]:
        apart = a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]
        assert apart, (a, b)


@pytest.mark.parametrize("name", NAMES)
def test_any_name_is_escaped_and_fits(name):
    card = a_card(name=name, of=(name, name, f"lot {name}"), notes=(name,))
    svg = card_svg(card)
    root = ElementTree.fromstring(svg)
    assert {e.tag.removeprefix(SVG) for e in root.iter()} <= {
        *("svg", "rect", "text", "image", "path", "line", "circle")
    }
    assert_it_fits(svg)


def kinds():
    many = beside(evenness(1.6), peers(np.linspace(0.3, 6.0, 30)), peers(np.linspace(0.3, 4, 60)))
    ends = {"direction_deg": 10.0, "ends": [[50.0, 20.0, 0.0], [70.0, -20.0, 10.0]]}
    reasons = ["Something weakens this answer in a sentence of some length: mark more yarn."] * 9
    return {
        "semi-solid": a_card(peers=many),
        "solid": a_card(record=record("solid", 0.1, range=[0.0, 0.2])),
        "variegated": a_card(record=record("variegated", 11.0, palette=THREE), map=a_map(3)),
        "gradient": a_card(record=record("gradient", 4.0, gradient=ends)),
        "cannot tell": a_card(record={**CANNOT, "reasons": reasons}, flags=frozenset({"glare"})),
        "nothing": Card("x", (), None, None),
        "no picture": a_card(picture=None, notes=("No picture: it is gone.",)),
        "wide": a_card(picture=picture(60, 500), map=a_map(3, (100.0, 12.0)), peers=many),
        "tall": a_card(picture=picture(900, 100), map=a_map(1, (12.0, 108.0)), peers=many),
    }


@pytest.mark.parametrize("kind", sorted(kinds()))
def test_text_never_overlaps_or_leaves_the_card(kind):
    assert_it_fits(card_svg(kinds()[kind]))


def test_a_long_name_takes_neither_the_day_nor_the_form_from_the_card():
    long = "Navy & Night <deep> colourway with a rather long name for a card"
    for of in ((long, "Sock Fine", "lot O-4", "2026-04-10"), (long, long, long, "2026-04-10")):
        said = " ".join(b[4] for b in boxes(card_svg(a_card(of=of, form="wound card"))) if b[4])
        assert "2026-04-10" in said and "wound card" in said
        assert "Navy & Night" in said and "…" in said


@pytest.mark.parametrize("long", range(8, 40, 4))
def test_no_line_begins_or_ends_with_a_dot(long):
    of = ("Confetti on Gravel", "x" * long, "lot CG-1", "2026-05-13")
    told = [b[4].strip() for b in boxes(card_svg(a_card(of=of, form="wound card")))]
    assert any("·" in words for words in told)
    assert not [words for words in told if words[:1] == "·" or words[-1:] == "·"]


@pytest.mark.parametrize("kind", sorted(kinds().keys() - {"nothing", "no picture"}))
def test_no_third_of_the_card_is_empty(kind):
    svg = card_svg(kinds()[kind])
    spans = sorted((top, bottom) for _, top, _, bottom, _ in (*boxes(svg), *filled(svg)))
    gaps, low = [], 0.0
    for top, bottom in spans:
        gaps.append(top - low)
        low = max(low, bottom)
    assert max(*gaps, HEIGHT - low) < HEIGHT / 3


def test_few_words_are_drawn_larger():
    def size(card):
        root = ElementTree.fromstring(card_svg(card))
        return {e.text: float(e.get("font-size")) for e in root.iter(f"{SVG}text")}

    assert size(kinds()["variegated"])["Variegated"] > size(kinds()["wide"])["Semi-solid"]


def bars(card):
    """Fills of the bar of colours, left to right, and all text of the card."""
    root = ElementTree.fromstring(card_svg(card))
    tall = [e for e in root.iter(f"{SVG}rect") if e.get("height") == "60"]
    return [e.get("fill") for e in tall], " ".join(" ".join(root.itertext()).split())


@pytest.mark.parametrize("kind", ["semi-solid", "solid"])
def test_one_colour_is_drawn_as_its_light_middle_and_dark_tenth(kind):
    card = a_card(record=record(kind))
    fills, said = bars(card)
    assert fills == [hex_of_lab(lab) for lab in TENTH_LABS]
    for words in ("lightest tenth", "middle tenth", "darkest tenth", AS_SEEN):
        assert words in said
    line = next(line for line in card_lines(card) if "tenth" in line)
    assert "lightest tenth (62.0, 28.0, 9.0); middle tenth (45.0, 30.0, 10.0); darkest" in line
    assert any("light and shade in them" in line for line in card_lines(card))
    assert card_record(card)["map"]["tenths"] == TENTH_LABS.tolist()


CELLS = [
    {"lab": [84.5, -6.9, 32.7], "share": 0.8},
    {"lab": [60.9, 48.3, 4.7], "share": 0.11},
    {"lab": [47.5, -11.6, -28.2], "share": 0.09},
]
DOTS = {"per_dm2": 232.9, "mean_mm": 2.52, "lab": [63.1, 6.1, 1.3]}


def test_a_speckled_yarn_shows_its_dots_and_no_tenths():
    made = record("speckled", 8.8, dots=DOTS, signature=CELLS)
    fills, said = bars(a_card(record=made))
    assert fills == [hex_of_lab(c["lab"]) for c in CELLS] and "tenth" not in said
    assert all(words in said for words in ("80 %", "11 %", "9 %", OF_CELLS))
    told = " ".join(card_lines(a_card(record=made)))
    assert "dots of other colours, some 230 to the dm² and 2.5 mm wide; those that touch" in told
    assert "11 % (60.9, 48.3, 4.7)" in told and "tenth" not in told
    fine = colours_of({**made, "class": "variegated"}, TENTH_LABS)
    assert len(fine.parts) == len(CELLS) and OF_CELLS in fine.said
    assert say(record("speckled")).sentence == "a ground colour with dots of other colours."
    old = colours_of(record("speckled"), TENTH_LABS)  # a record that holds no cells
    assert [p.words for p in old.parts] == ["100 %"] and old.lines == []
    assert len(colours_of({**made, "palette": THREE}).parts) == len(THREE)
    assert_it_fits(card_svg(a_card(record={**made, "signature": CELLS * 2})))


def test_a_gradients_ends_are_named_and_given_as_text():
    ends = {"direction_deg": 10.0, "ends": [[50.0, 20.0, 0.0], [70.0, -20.0, 10.0]]}
    card = a_card(record=record("gradient", gradient=ends))
    (line,) = [line for line in card_lines(card) if "Its colours in" in line]
    assert "left end (50.0, 20.0, 0.0); right end (70.0, -20.0, 10.0)." in line
    assert "left end" in bars(card)[1] and "right end" in bars(card)[1]


def test_several_colours_and_too_few_blocks_are_drawn_as_before():
    fills, said = bars(kinds()["variegated"])
    assert len(fills) == len(THREE) and "tenth" not in said
    few = a_card(map=replace(a_map(), tenths=None))
    assert len(bars(few)[0]) == 1 and not [s for s in card_lines(few) if "tenth" in s]
    assert card_record(few)["map"]["tenths"] is None
    gradient = kinds()["gradient"]
    assert len(bars(gradient)[0]) == 2 and "tenth" not in bars(gradient)[1]
    for several in (said, bars(gradient)[1]):  # lighter than the swatch's own colour
        assert AT_CRESTS in " ".join(several.split())
    assert AT_CRESTS in " ".join(card_lines(kinds()["variegated"]))
    assert AT_CRESTS not in bars(few)[1] and AT_CRESTS not in " ".join(card_lines(few))


@pytest.mark.parametrize("paper", sorted(PAPERS))
def test_every_paper_shows_the_same_drawing(paper):
    svg = card_svg(a_card(), paper)
    root = ElementTree.fromstring(svg)
    assert root.get("viewBox") == f"0 0 {WIDTH} {HEIGHT}"
    assert root.get("width") == f"{PAPERS[paper][0]:g}mm"
    other = card_svg(a_card(), "A6")
    assert svg[svg.index("viewBox") :] == other[other.index("viewBox") :]


def test_the_map_is_in_neutral_greys_and_has_a_square_for_every_block():
    card = a_card(picture=None)
    root = ElementTree.fromstring(card_svg(card))
    fills = {e.get("fill") for e in root.iter(f"{SVG}path")}
    assert fills <= set(GREYS)
    assert all(g[1:3] == g[3:5] == g[5:7] for g in GREYS)
    assert len(GREYS) == len(STEP_WORDS) == len(STEPS) + 1
    area = sum(
        (float(x1) - float(x0)) * (float(y1) - float(y0))
        for e in root.iter(f"{SVG}path")
        for x0, y0, x1, y1 in re.findall(r"M([\d.]+) ([\d.]+)H([\d.]+)V([\d.]+)", e.get("d"))
    )
    frame = max(
        float(e.get("width")) * float(e.get("height"))
        for e in root.iter(f"{SVG}rect")
        if e.get("fill") == "none"
    )
    blocks = np.isfinite(card.map.deviation).sum()
    share = blocks * card.map.step_mm**2 / np.prod(card.map.size_mm)
    assert area / frame == pytest.approx(share, rel=1e-3)


@pytest.mark.parametrize("most", [MOST_BYTES, 20_000, 3_000])
def test_the_picture_keeps_within_its_bytes(most):
    kind, coded = picture_bytes(picture(1200, 1600), most)
    assert kind == "image/jpeg" and len(coded) <= most
    shown = Image.open(io.BytesIO(coded))
    assert shown.width / shown.height == pytest.approx(4 / 3, rel=0.05)
    assert shown.info["icc_profile"]


def test_the_photo_lies_in_the_card_itself():
    root = ElementTree.fromstring(card_svg(a_card()))
    (image,) = root.iter(f"{SVG}image")
    kind, data = image.get("href").split(",", 1)
    assert kind == "data:image/jpeg;base64"
    assert Image.open(io.BytesIO(base64.b64decode(data))).size == (400, 300)


def test_text_is_cut_and_wrapped_to_its_room():
    assert cut("short", 500, 20) == "short"
    assert cut("much too long to fit here", 100, 20).endswith("…")
    for words in NAMES:
        lines = wrap(isolated(words), 300, 20, 3)
        assert len(lines) <= 3
        assert all(width(line, 20) <= 300 for line in lines)
    assert clean("a\x00b\n c\u202e") == "ab c"


#: Advance widths over font size of DejaVu Sans 2.37, a wide font that many systems show.
DEJAVU = {"l": 0.278, "t": 0.392, "o": 0.612, "0": 0.636, "D": 0.770, "O": 0.787, "W": 0.989}


@pytest.mark.parametrize(("letter", "advance"), DEJAVU.items())
def test_a_width_is_no_less_than_a_wide_fonts(letter, advance):
    assert advance <= width(letter, 1.0) <= 1.6 * advance


def test_marks_that_take_no_room_have_no_width():
    assert width("e\u0301", 10.0) == width("e", 10.0) == width(isolated("e"), 10.0)


# --- the command -------------------------------------------------------------------------------


def test_a_photo_without_an_archive(capsys, tmp_path, monkeypatch):
    monkeypatch.delenv("SWATCHVAULT_ARCHIVE", raising=False)
    photo, svg = EXAMPLE / "awning-knit.jpg", tmp_path / "card.svg"
    ran = run(capsys, "tonal", photo, "--svg", svg, "--json")
    assert ran.code == 0, ran.err
    told = json.loads(ran.out)
    assert told["tonality"]["class"] == "variegated" == told["words"]["headline"].lower()
    rows = told["map"]["delta_e_00"]
    mean = np.nanmean(np.array(rows, dtype=float))
    assert told["map"]["mean"] == pytest.approx(mean, abs=0.01)
    assert sum(told["map"]["shares"]) == pytest.approx(1.0, abs=1e-3)
    assert_it_fits(svg.read_text(encoding="utf-8"))


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (["nowhere.jpg"], 1, "no archive named"),
        ([EXAMPLE / "furrow-2.jpg"], 1, "pick one as furrow-2.jpg:NAME"),
        ([f"{EXAMPLE / 'furrow-2.jpg'}:nobody"], 1, "no swatch named 'nobody'"),
        ([EXAMPLE / "awning-knit.jpg", "--svg", "no/such/folder/x.svg"], 1, "cannot write"),
        ([EXAMPLE / "awning-knit.jpg", "--form", "ball"], 2, "ball"),
    ],
)
def test_a_mistake_is_one_line(capsys, monkeypatch, arguments, code, said):
    monkeypatch.delenv("SWATCHVAULT_ARCHIVE", raising=False)
    ran = run(capsys, "tonal", *arguments)
    assert ran.code == code and said in ran.err
    assert code == 2 or ran.err.count("\n") == 1


def test_only_a_semi_solid_is_asked_how_it_lies_to_be_set_beside_others(capsys, tmp_path):
    folder = tmp_path / "studio"
    assert run(capsys, "new", folder).code == 0
    seen = {}
    for name in ("awning-knit", "furrow-1"):
        ran = run(capsys, "tonal", EXAMPLE / f"{name}.jpg", "--archive", folder)
        assert ran.code == 0, ran.err
        kind = ran.out.splitlines()[1].strip().partition(":")[0]
        seen[kind] = "other semi-solids" in ran.out
    assert seen == {"Variegated": False, "Solid": False}
    semi = run(capsys, "tonal", EXAMPLE / "foxgloves-1.jpg", "--archive", folder)
    assert "Semi-solid:" in semi.out and "say how the yarn lies, with --form" in semi.out


def test_a_stored_swatch_has_its_card_and_its_earlier_lots(capsys, tmp_path):
    folder = tmp_path / "studio"
    assert run(capsys, "new", folder).code == 0
    for n in (1, 3):
        more = ["--swatch", f"NF-{n} card", "--lot", f"NF-{n}", "--colourway", "Ninth Furrow"]
        more += ["--base", "Orrin", "--form", "wound card", "--create", "--archive", folder]
        region = ["--region", "new"] if n == 3 else []
        ran = run(capsys, "add", EXAMPLE / f"furrow-{n}.jpg", *region, *more)
        assert ran.code == 0, ran.err
    svg = tmp_path / "card.svg"
    ran = run(capsys, "tonal", "NF-3 card", "--archive", folder, "--svg", svg, "--paper", "A4")
    assert ran.code == 0, ran.err
    assert ran.out.startswith("NF-3 card · Ninth Furrow · Orrin · lot NF-3")
    assert "NF-1 card" in ran.out and "as tonal as that" in ran.out
    told = json.loads(run(capsys, "tonal", "NF-3 card", "--archive", folder, "--json").out)
    stored = json.loads(run(capsys, "measure", EXAMPLE / "furrow-3.jpg", "--json").out)
    new = next(s for s in stored["swatches"] if s["name"] == "new")
    assert told["tonality"] == json.loads(to_json(new["tonality"], 5))  # as a row keeps it
    assert [e["swatch"] for e in told["compared"]["earlier_lots"]] == ["NF-1 card"]
    assert_it_fits(svg.read_text(encoding="utf-8"))
    assert run(capsys, "tonal", "NF-9 card", "--archive", folder).code == 1
    next((folder / "photos").iterdir()).unlink()
    next((folder / "photos").iterdir()).unlink()
    gone = run(capsys, "tonal", "NF-3 card", "--archive", folder)
    assert gone.code == 0 and "No picture" in gone.out


def test_the_record_is_plain_json():
    told = json.loads(json.dumps(card_record(kinds()["variegated"])))
    assert told["map"]["bounds"] == list(STEPS)
    assert told["map"]["delta_e_00"][0][0] is None
    assert json.loads(json.dumps(card_record(kinds()["nothing"])))["map"] is None
