"""Near a colour: what is asked for, ranks, other dyes; held to outside data."""

import math
import re
import warnings

import numpy as np
import pytest

from ingest.colour import D50, D65, bradford, delta_e_2000, xyz_to_lab
from ingest.screen import hex_of_lab
from swatchvault import shades
from swatchvault.colour_words import lab_cell, lab_words
from swatchvault.errors import CompareError
from swatchvault.maps import gaps, map_svg
from swatchvault.pair import Capture, Colour, Conditions
from swatchvault.pairdoubt import pair_doubt


@pytest.fixture(scope="module")
def outside():
    """colour-science, which is slow to import and speaks of its plotting on the way."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    return colour


def test_rankings_are_those_of_colour_science(outside):
    rng = np.random.default_rng(4)
    labs = np.stack([rng.uniform(15, 92, 6000), *rng.normal(0, 28, (2, 6000))], axis=1)
    for query in labs[:5] + 0.7:
        theirs = outside.difference.delta_E_CIE2000(query, labs)
        rows, distance = shades.LabIndex(labs).nearest(query, 20)
        assert rows.tolist() == np.argsort(theirs, kind="stable")[:20].tolist()
        assert np.allclose(distance, theirs[rows], atol=1e-9)


ILLUMINANT_C = np.array([0.98074, 1.0, 1.18232])  # CIE 15


@pytest.fixture(scope="module")
def chips(outside):
    """Names (hue, value, chroma) and Lab of the renotation's real chips, as colour-science carries
    them (illuminant C; Newhall, Nickerson, Judd 1943)."""
    rows = outside.MUNSELL_COLOURS["real"]
    xyy = np.array([[*r[1][:2], r[1][2] / 100.0] for r in rows])
    xyz = np.stack(
        [xyy[:, 0] / xyy[:, 1], np.ones(len(xyy)), (1 - xyy[:, 0] - xyy[:, 1]) / xyy[:, 1]], axis=1
    )
    return [tuple(r[0]) for r in rows], xyz_to_lab(xyz * xyy[:, 2:] * 0.975, ILLUMINANT_C)


def test_the_nearest_munsell_chip_is_the_one_in_the_middle_of_its_neighbours(chips):
    """A chip of a hue, moved a third of the way to the next chroma step, is still nearest to it."""
    names, labs = chips
    index, place = shades.LabIndex(labs), {name: i for i, name in enumerate(names)}
    tried = 0
    for hue in ("5R", "5Y", "5G", "5B", "5P"):
        for value, chroma in ((4.0, 4.0), (6.0, 4.0), (7.0, 6.0)):
            this, following = place.get((hue, value, chroma)), place.get((hue, value, chroma + 2))
            if this is None or following is None:
                continue
            tried += 1
            moved = labs[this] + 0.3 * (labs[following] - labs[this])
            assert names[index.nearest(moved, 1)[0][0]] == (hue, value, chroma)
    assert tried >= 12


def test_measured_chips_find_their_published_notation(outside, chips):
    """Reflectances of the 15 test samples of the Color Quality Scale 9.0 (Ohno and Davis, NIST),
    as colour-science carries them, with the approximate Munsell notations published for them.

    Each notation is among the three nearest chips, and 14 in 15 times the nearest has its hue.
    """
    from colour.quality.datasets.vs import (
        APPROXIMATE_MUNSELL_NOTATIONS_VS_NISTCQS90 as NOTATIONS,
    )
    from colour.quality.datasets.vs import SDS_VS

    names, labs = chips
    index, same_hue = shades.LabIndex(labs), 0
    observer = outside.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    light = outside.SDS_ILLUMINANTS["C"]
    for sample, reflectance in SDS_VS["NIST CQS 9.0"].items():
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # it says how it aligns wavelengths
            xyz = outside.sd_to_XYZ(reflectance, observer, light) / 100.0
        found = [names[r] for r in index.nearest(xyz_to_lab(xyz, ILLUMINANT_C), 3)[0]]
        hue, rest = NOTATIONS[sample].replace("-", "/").split()  # one is printed as 8-12
        value, chroma = (float(v) for v in rest.split("/"))
        assert (hue, value, chroma) in found, sample
        same_hue += found[0][0] == hue
    assert same_hue >= 14


def test_published_reflectances_have_the_neighbours_that_colour_science_gives_them(outside):
    """The 99 samples of CIE 224:2017 under D65: textiles are among the materials that they were
    chosen from, but which are textiles is not carried along with them."""
    from tests.render.spectra import WAVELENGTHS, lab, published_samples

    samples = published_samples()
    theirs = []
    observer = outside.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    for sample in samples:
        sd = outside.SpectralDistribution(sample, WAVELENGTHS)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # it says how it aligns wavelengths
            xyz = outside.sd_to_XYZ(sd, observer, outside.SDS_ILLUMINANTS["D65"]) / 100.0
        theirs.append(outside.XYZ_to_Lab(xyz, (0.3127, 0.3290)))
    index = shades.LabIndex(lab(samples))
    alike = 0
    for row, query in enumerate(theirs):
        away = outside.difference.delta_E_CIE2000(query, np.array(theirs))
        rows, distance = index.nearest(lab(samples)[row], 6)
        assert np.allclose(distance, np.sort(away)[:6], atol=0.1)
        alike += rows.tolist() == np.argsort(away, kind="stable")[:6].tolist()
    assert alike == 99


def test_chart_patches_find_their_own_in_the_other_edition(outside):
    """The two published editions of the 24-patch chart differ by little; each patch finds its own.

    colour-science carries both; D50 values are adapted by Bradford.
    """
    charts = outside.CCS_COLOURCHECKERS
    keys = ("ColorChecker24 - Before November 2014", "ColorChecker24 - After November 2014")
    adapt, labs = bradford(D50, D65), []
    for key in keys:
        xyy = np.array(list(charts[key].data.values()))
        labs.append(xyz_to_lab(outside.xyY_to_XYZ(xyy) @ adapt.T))
    before, after = labs
    index = shades.LabIndex(after)
    assert [int(index.nearest(lab, 1)[0][0]) for lab in before] == list(range(24))


def test_hex_colours():
    assert shades.lab_of_hex("#ffffff") == pytest.approx([100, 0, 0], abs=0.02)
    # sRGB red under D65, IEC 61966-2-1 and CIE 15: the usual published rounding
    assert shades.lab_of_hex("#f00") == pytest.approx([53.24, 80.09, 67.20], abs=0.05)
    for text in ("#12", "#gggggg", ""):
        with pytest.raises(CompareError, match="hex"):
            shades.lab_of_hex(text)


def test_a_screen_colour_comes_back():
    for text in ("#7a4b90", "#10a0b0", "#333333"):
        assert hex_of_lab(shades.lab_of_hex(text)) == text


def test_targets():
    assert shades.parse_target("45, 20,-10.5").lab.tolist() == [45, 20, -10.5]
    assert shades.parse_target("45 20 -10").warnings == ()
    assert shades.parse_target("#7a4b90").warnings == (shades.HEX_WARNING,)
    assert shades.parse_target("moss-7") is None
    covariance = np.diag([0.64, 0.36, 0.81])
    for text in (
        "L* 42.1 a* -5.2 b* -18.2",
        lab_words((42.1, -5.2, -18.2), covariance),
        lab_cell((42.1, -5.2, -18.2), (0.8, 0.6, 0.9)),
        lab_cell((42.1, -5.2, -18.2), (math.nan,) * 3),
        "L* 42.1 ± 0.8\u00a0a* \u22125.2 ± 0.6 b* \u221218.2 ± 0.9, ± not known",
        "L*=42,1; a*=-5,2; b*=-18,2",
        "L 42.1, a -5.2, b -18.2",
        "l*42,1 ± 0,8, a*-5,2 ± 0,6, b*-18,2 ± ?",
    ):
        found = shades.parse_target(text)
        assert found is not None and found.lab.tolist() == [42.1, -5.2, -18.2], text
        assert found.name == "L* 42.1 a* -5.2 b* -18.2"
    for text in ("a* 42.1 b* 3 L* 4", "lab 1 2 3", "± 1 ± 2 ± 3", "L* 42.1 a* -5.2"):
        assert shades.parse_target(text) is None, text
    with pytest.raises(CompareError, match="'45,20' is two numbers"):
        shades.parse_target("45,20")
    for text in ("120,0,0", "50,300,0", "-3,0,0"):
        with pytest.raises(CompareError, match="no colour"):
            shades.parse_target(text)


@pytest.mark.parametrize(
    ("distance", "u", "ranks"),
    [
        ([], [], []),
        ([1, 1.1, 1.2], [0.01] * 3, [1, 2, 3]),
        ([1, 1.1, 4.0], [0.5] * 3, [1, 1, 3]),
        ([1, 4, 9], [np.nan, 0.1, 0.1], [1, 1, 1]),
        ([1, 2, 2.0], [0.1, 0.1, np.nan], [1, 2, 2]),
        # without a reference some 10 off, 1.96 times: 19.6
        ([1.14, 20.5, 21.0, 38.5], [np.nan] * 4, [1, 1, 3, 3]),
        ([1.14, 38.5], [0.1, np.nan], [1, 2]),
    ],
)
def test_hits_that_cannot_be_told_apart_share_a_rank(distance, u, ranks):
    assert shades.shared_ranks(distance, u) == ranks


def test_other_dyes_are_as_many_ways_as_there_are():
    sets = [frozenset(s) for s in ("ab", "a", "b", "c", "", "ab", "cd")]
    # the nearest, "ab", blocks two ways; without it there are three
    assert shades.other_dyes(sets, [0.1, 0.5, 0.6, 0.7, 0.0, 0.05, 0.2]) == [6, 1, 2]
    assert shades.other_dyes(sets[:1], [1.0]) == [0]
    assert shades.other_dyes([], []) == []


def one(lab, photo, reference="steps"):
    cov = np.diag([0.05, 0.1, 0.1])
    return Colour(np.array(lab), cov, reference, photo_ids=frozenset({photo}), light="daylight")


@pytest.mark.parametrize("darker", [0.0, 16.0])  # dark colours have a doubt of their own
def test_doubt_of_many_pairs_is_that_of_each(darker):
    colours = [
        one([45 - darker, 20, -10], "a"),
        one([45.5 - darker, 20, -10.5], "a"),
        one([44.6 - darker, 19.5, -10], "b", "chart24"),
        one([45 - darker, 20.5, -9.5], "c", "none"),
    ]
    setups = [(1, True), (1, True), (1, True), (1, False)]
    ways = {(0, 1): Capture.SAME_FRAME, (0, 2): Capture.LOCKED, (1, 2): Capture.LOCKED}
    delta_e = 4.0 * shades.pairwise([c.lab for c in colours], 2.0)
    table = shades.u_pairs(colours, setups, delta_e, 2.0)
    for (i, j), way in ways.items():
        exact = pair_doubt(colours[i], colours[j], Conditions(way, k_l=2.0)).u(delta_e[i, j])
        assert [table[i, j], table[j, i]] == pytest.approx([exact, exact], rel=0.02)
    assert np.isnan(table[0, 3])
    assert shades.u_pairs(colours[:3], [None] * 3, delta_e[:3, :3], 2.0)[0, 2] > table[0, 2]


def test_doubt_to_a_stated_colour_is_all_the_measurements():
    grey = [50.0, 0.0, 0.0]
    # at L* 50 SL is 1: u of the three axes is 1.5 sqrt((1 + 0 + 0) / 3)
    assert shades.u_to_stated(grey, grey, np.diag([1.0, 0, 0]), 1.0) == pytest.approx(
        1.5 / np.sqrt(3)
    )
    assert np.isnan(shades.u_to_stated(grey, grey, np.full((3, 3), np.nan), 1.0))


def test_gaps_lie_where_nothing_is():
    rng = np.random.default_rng(2)
    labs = np.stack([rng.uniform(20, 90, 500), *rng.uniform(-40, 40, (2, 500))], axis=1)
    hole = np.array([55.0, 10.0, 10.0])
    labs = labs[np.linalg.norm(labs - hole, axis=1) > 18]
    found = gaps(labs, count=3)
    assert np.linalg.norm(np.array(found[0].lab) - hole) < 14  # inside it, not at its rim
    assert [g.delta_e for g in found] == sorted((g.delta_e for g in found), reverse=True)
    for gap in found:
        assert gap.delta_e == pytest.approx(delta_e_2000(gap.lab, labs).min())
        assert gap.delta_e == pytest.approx(float(delta_e_2000(gap.lab, labs[gap.nearest])))


def test_gaps_among_what_recipes_reach():
    made = [[50, 0, 0], [60, 0, 0]]
    reachable = [[50, 0, 1], [55, 30, 0], [60, 1, 0], [55, 29, 1]]
    first, second = gaps(made, count=2, reachable=reachable)
    assert (first.reach, second.reach is not None) == (1, True)
    assert second.reach != 3  # filled by the first
    assert gaps(made, reachable=np.zeros((0, 3))) == []


@pytest.mark.parametrize("labs", [[], [[50, 0, 0]] * 6, [[40, 0, 0], [50, 0, 0], [60, 0, 0]]])
def test_too_little_for_gaps(labs):
    with pytest.raises(CompareError):
        gaps(labs)


def test_a_map_leaves_out_bands_in_which_nothing_lies():
    text = map_svg([[45, 5, 5], [60, 50, 0]], ["a", "b"], title="x")
    assert [s for s in ("0 to 25", "25 to 40", "40 to 55", "55 to 70", "70 to") if s in text] == [
        *("40 to 55", "55 to 70")
    ]
    first = re.search(r'<text x="([\d.]+)"[^>]*>L\* 40 to 55<', text)
    assert first is not None and float(first[1]) < 20  # where a narrow screen begins
    wide = re.search(r'viewBox="0 0 ([\d.]+) ', text)
    longest = max(re.findall(r'font-size="12"[^>]*>([^<]*)<', text), key=len)
    assert wide is not None and float(wide[1]) > 6.5 * len(longest)  # no line leaves it
    crossed = map_svg([[45, 5, 5]], ["a"], gaps(np.array([[45, 5, 5], [46, 9, 5], [47, 5, 9],
                      [45, 8, 8]]), reachable=[[80, 0, 0]]))  # fmt: skip
    assert "70 to 100" in crossed  # a gap keeps its band


def test_the_map_is_svg_with_each_colour_once():
    import xml.dom.minidom

    labs = [[20, 5, 5], [40, 50, 0], [99, 0, 0]]
    text = map_svg(labs, ["a", "<b>", "c"], gaps(labs, reachable=[[50, 0, 0]]), "x & y")
    assert xml.dom.minidom.parseString(text)
    assert text.count("<circle") - text.count('fill="none"') == 3
    assert "gap 1" in text and "&lt;b&gt;" in text
