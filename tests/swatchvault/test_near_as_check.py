"""A pair as `near` sees it, as `check` does: how the photos belong together, and the dyes."""

import json

import numpy as np
import pytest

from ingest.model import ReferenceReading
from swatchvault.archive import (
    DyeIn,
    Lot,
    Master,
    PhotoFacts,
    RegionOf,
    Setup,
    Swatch,
    add_lot,
    add_setup,
    add_swatch,
    create_archive,
    file_photo,
    open_archive,
    set_master,
)
from swatchvault.pair import Capture, Colour, Conditions
from swatchvault.pairdoubt import pair_doubt
from swatchvault.shades import u_pairs
from swatchvault.together import group_swatches, table_of
from tests.swatchvault.factories import covariance, layout, measured, photo_file, photo_of, studio
from tests.swatchvault.running import run

GREY = (0.2, 0.2, 0.2)
#: Lot, its stocks of Ember, the grey of its photo; "far" is so far off that doubt has grown.
LOTS = {
    "like": (("S1",), GREY),
    "moved": (("S1",), (0.2, 0.2, 0.22)),  # the white balance moved by a tenth
    "bent": (("S1",), GREY),  # the paper beside the card tells of another curve of tone
    "other": (("S2",), GREY),
    "bare": ((), GREY),
    "far": (("S1",), GREY),
}
FAR_L = 48.0


def dyed(conn, code, stocks):
    dyes = tuple(DyeIn("Ember", "80 mL", stock=s) for s in stocks)
    add_lot(conn, Lot(code, ("Lumme",), "Low sun", dry_g=100.0, dyes_in=dyes))


@pytest.fixture(scope="module")
def archive(tmp_path_factory):
    folder = tmp_path_factory.mktemp("as check")
    with create_archive(folder / "yarn") as made:
        studio(made.conn)
        setup = add_setup(made.conn, Setup("window", light="daylight", locked=True)).id
        dyed(made.conn, "first", ("S1",))
        swatches = [("master", "first", GREY), ("again", "first", GREY)]
        for code, (stocks, grey) in LOTS.items():
            dyed(made.conn, code, stocks)
            swatches.append((code, code, grey))
        for number, (label, lot, grey) in enumerate(swatches):
            swatch = add_swatch(made.conn, Swatch(label, "Lumme", "skein", lot)).id
            source = photo_file(folder, f"{label}.jpg", f"photo {number}".encode())
            lightness = FAR_L if label == "far" else 42 + 0.1 * number
            lab, doubt = (lightness, 31.5, -8.0), covariance(0.02)
            found = measured(lab=lab, covariance=doubt, flags=frozenset())
            place = layout()
            neutrals = (grey, (0.9 if label == "bent" else 0.8,) * 3)
            read = {"neutral": grey, "neutrals": neutrals}
            reading = ReferenceReading(place.references[0], frozenset(), **read)
            photo = photo_of(source, (found,), layout=place, references=(reading,))
            file_photo(made, photo, source, [RegionOf("new", swatch)], PhotoFacts(setup))
        set_master(made.conn, Master("Low sun", "Lumme", "skein", "master"))
    return folder / "yarn"


@pytest.fixture
def hits(archive, capsys):
    said = run(capsys, "near", "master", "--archive", archive, "--json").out
    return {h["swatch"]: h for h in json.loads(said)["hits"]}


@pytest.mark.parametrize("lot", LOTS)
def test_near_says_of_a_pair_what_check_says(archive, hits, capsys, lot):
    (check,) = json.loads(run(capsys, "check", lot, "--archive", archive, "--json").out)
    assert hits[lot]["photos"] == check["capture"]
    assert hits[lot]["same_dyes"] == check["same_dyes"]
    assert hits[lot]["u"] == pytest.approx(check["u"]["reading"], rel=0.01)


def test_greys_that_differ_are_no_locked_set_up(archive, hits):
    locked = dict.fromkeys(("again", "like", "other", "bare", "far"), "locked set-up")
    free = dict.fromkeys(("moved", "bent"), "same set-up")
    assert {n: h["photos"] for n, h in hits.items()} == locked | free


def test_groups_see_the_greys_too():
    grey, lab = [GREY, GREY, (0.2, 0.2, 0.22), None], np.array([42.0, 31.5, -8.0])
    sides = [
        Colour(lab, np.zeros((3, 3)), "steps", light="daylight", greys=g and (g,)) for g in grey
    ]
    apart = u_pairs(sides, [(1, True)] * 4, np.full((4, 4), 1.0), 2.0)
    locked, free = (
        pair_doubt(sides[0], sides[0], Conditions(way, k_l=2.0)).u(1.0)
        for way in (Capture.LOCKED, Capture.SAME_SETUP)
    )
    assert locked < free
    assert apart[0, [1, 2, 3]] == pytest.approx([locked, free, locked])


def test_same_dyes_are_known_from_the_records(hits):
    known = {name: hit["same_dyes"] for name, hit in hits.items()}
    alike = dict.fromkeys(("again", "like", "moved", "bent", "far"), True)
    assert known == {**alike, "other": False, "bare": None}
    assert hits["like"]["u"] < 0.5 * hits["bare"]["u"]
    assert hits["other"]["u"] == pytest.approx(hits["bare"]["u"], rel=0.1)


def test_a_list_of_hits_says_where_dyes_are_not_known_to_be_the_same(archive, capsys):
    last = run(capsys, "near", "master", "--archive", archive).out.splitlines()[-1]
    if "share a rank" in last:
        last = run(capsys, "near", "master", "--archive", archive).out.splitlines()[-2]
    assert last.startswith("± allows for other dyes or packs")
    assert sorted(last.split(": ")[1].split(", ")) == ["bare", "other"]
    assert "± allows" not in run(capsys, "near", "42,31,-8", "--archive", archive).out


@pytest.mark.parametrize("lot", LOTS)
def test_groups_tell_the_doubt_of_a_pair_that_check_tells(archive, capsys, lot):
    (check,) = json.loads(run(capsys, "check", lot, "--archive", archive, "--json").out)
    with open_archive(archive) as opened:
        table = table_of(opened.conn, ["master", lot])
        found = group_swatches(table, 2.0, 2.0)
    i, j = table.names.index("master"), table.names.index(lot)
    assert found.u_of(i, j) == pytest.approx(check["u"]["reading"], rel=0.01)
    assert found.u_of(j, i) == pytest.approx(found.u_of(i, j))
