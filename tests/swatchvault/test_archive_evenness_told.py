"""Which photo tells how even a swatch is: one rule, read by every list, page and check."""

import pytest

from ingest.evenness_stored import STOPS_A_COMPARISON
from swatchvault.archive import (
    Master,
    PotStep,
    RegionOf,
    file_photo,
    listing,
    record_step,
    set_master,
    swatch_colours,
    tells_evenness,
)
from swatchvault.archive.made import Filters, swatches_where
from swatchvault.archive.pages_yarn import lots_of_colourway, swatches_of_colourway_id
from swatchvault.archive.speaking import speaking, telling_evenness
from swatchvault.archive.wall import wall
from swatchvault.checking import Ask, check_lot
from swatchvault.evenness_read import STOPS
from swatchvault.tonal_of import card_of_swatch, told_from
from tests.swatchvault.factories import measured, photo_file, photo_of
from tests.swatchvault.running import run
from tests.swatchvault.test_archive_speaking import doubt, photographed
from tests.swatchvault.test_tonal_master import file_one, tonality


def even(value, u, flags=(), **facts):
    """What a photo is that finds a swatch so uneven, its colour's doubt the usual."""
    damp = facts.pop("damp", False)
    low, high = (None, None) if u is None else (max(value - 2 * u, 0.0), value + 2 * u)
    record = {**tonality(value, u, **facts), "range": [low, high], "patch_length": None}
    return {"tonality": record, "flags": frozenset(flags), "damp": damp}


UNKNOWN = even(None, None)
CASES = {
    "the newest of equals": ([even(1, 0.2), even(1.1, 0.2)], 1.1),
    "not a newer one of more doubt": ([even(1, 0.2), even(1, 0.3)], 1),
    "a newer one of less": ([even(1, 0.2), even(1.5, 0.15)], 1.5),
    "not whichever reads lowest, whose plain doubt is least": ([even(2, 0.2), even(0.5, 0.19)], 2),
    "not one of unknown doubt": ([even(1, 0.9), UNKNOWN], 1),
    "not one that cannot be judged": ([even(1, 0.9), even(2, 0.1, ["out of focus"])], 1),
    "not one whose scale is a guess": ([even(1, 0.9), even(2, 0.1, ["scale estimated"])], 1),
    "not one between two measures": (
        [even(1, 0.9), even(2, 0.1, name=None, between=["semi-solid", "variegated"])],
        1,
    ),
    "not a damp one": ([even(1, 0.9), even(2, 0.1, damp=True)], 1),
    "a damp one where no dry one can be judged": (
        [even(1, 0.9, ["out of focus"]), even(2, 0.1, damp=True)],
        2,
    ),
    "by the newest version of the measure": (
        [even(1, 0.1), even(2, 0.9, method="evenness 2")],
        2,
    ),
    "by an older one where the newest cannot judge": (
        [even(1, 0.1), even(2, 0.9, ["out of focus"], method="evenness 2")],
        1,
    ),
    "where none can be judged the newest says why": (
        [even(1, 0.1, ["out of focus"]), even(2, 0.9, ["scale doubtful"])],
        2,
    ),
}


@pytest.mark.parametrize(("photos", "told"), CASES.values(), ids=CASES)
def test_the_photo_that_tells_how_even(photos, told, tmp_path):
    with photographed(tmp_path, *((40, facts) for facts in photos)) as archive:
        found = tells_evenness(archive.conn, swatch_colours(archive.conn, 1))
        assert found[1].tonality["unevenness"] == told


def test_what_keeps_evenness_from_being_compared_is_one_list():
    assert frozenset(STOPS) == STOPS_A_COMPARISON


def test_a_version_asked_for_comes_first(tmp_path):
    photos = [even(1, 0.1), even(2, 0.9, method="evenness 2")]
    with photographed(tmp_path, *((40, facts) for facts in photos)) as archive:
        assert telling_evenness(archive.conn, [1]) == {1: 2}
        assert telling_evenness(archive.conn, [1], "evenness 1") == {1: 1}
        assert telling_evenness(archive.conn, [1, 2, 77], "none such") == {1: 1}


@pytest.fixture
def archive(tmp_path):
    """Of three photos the first leaves least doubt of evenness, the second of the colour."""
    best = (41, {**even(1.0, 0.1), **doubt(2.0)})
    plain = (42, even(2.4, 0.8, name="variegated"))
    newest = (43, {**even(3.1, 0.9, name="speckled"), **doubt(1.5)})
    with photographed(tmp_path, best, plain, newest) as opened:
        yield opened


def test_every_reader_goes_by_it(archive, capsys):
    conn = archive.conn
    set_master(conn, Master("Low sun", "Lumme", "skein", "sun 1", 2.0, 2.0))
    (colourway,) = (c for c in wall(conn) if c.name == "Low sun")
    number = colourway.colourway_id
    assert colourway.lab[0] == 42.0  # the colour by another photo
    seen = {
        "wall": colourway.evenness,
        "swatches": next(s["evenness"] for s in swatches_of_colourway_id(conn, number) if s["lab"]),
        "lots": next(lot["evenness"] for lot in lots_of_colourway(conn, number) if lot["lab"]),
        "colours": listing(conn, "colours").records()[0]["evenness"],
        "swatch list": listing(conn, "swatches").records()[0]["evenness"],
        "evenness list": listing(conn, "evenness").records()[0]["class"],
        "view": conn.execute("SELECT class FROM how_even").fetchone()[0],
        "card": card_of_swatch(archive, "sun 1").record["class"],
    }
    assert seen == dict.fromkeys(seen, "semi-solid")
    for kind in ("semi-solid", "variegated", "speckled"):
        found = swatches_where(conn, Filters(tonality=kind))
        assert found == ({1} if kind == "semi-solid" else set())
    said = run(capsys, "master", "sun 1", "--evenness", "--archive", archive.folder).out
    assert "unevenness 1.00 ± 0.10" in said


def test_the_card_says_which_of_several_photos_it_is_told_from(archive, tmp_path, capsys):
    said = run(capsys, "tonal", "sun 1", "--archive", archive.folder).out
    assert "Told from the photo of 2026-05-01 10:00, of 3 photos the one that leaves least" in said
    file_one(archive, tmp_path, 2, tonality(), "only")
    assert told_from(swatch_colours(archive.conn, 2), swatch_colours(archive.conn, 2)[0]) == ()


def test_a_lot_and_a_swatch_beside_it_are_judged_by_it(archive, tmp_path, capsys):
    """A newer photo of the lot in worse light says nothing where an older one says all."""
    conn = archive.conn
    for day, (value, u) in enumerate(((2.4, 0.1), (1.0, 0.9)), 11):
        path = photo_file(tmp_path, f"two {day}.jpg", f"two {day}".encode())
        found = measured("new", tonality=tonality(value, u), flags=frozenset(), clipped_share=0.0)
        photo = photo_of(path, [found], taken_at=f"2026-05-{day}T10:00:00")
        file_photo(archive, photo, path, [RegionOf("new", 2)])
    set_master(conn, Master("Low sun", "Lumme", "skein", "sun 1", 2.0, 2.0))
    run(capsys, "master", "sun 1", "--evenness", "--archive", archive.folder)
    (check,) = check_lot(conn, "L2", Ask()).given
    assert check.evenness.comparison.record()["unevenness"] == 2.4
    assert check.evenness.comparison.verdict.value == "more tonal"
    ((peer, held),) = card_of_swatch(archive, "sun 2").peers.earlier
    assert (peer.evenness.unevenness, held.new.unevenness) == (1.0, 2.4)


def test_a_photo_from_before_the_last_dye_speaks_only_where_there_is_no_later_one(tmp_path):
    early, late = even(1.0, 0.1, name="solid"), even(3.0, 0.9, name="semi-solid")
    worse = {**late, **doubt(2.0)}
    with photographed(tmp_path, (41, early), (43, worse)) as archive:
        conn = archive.conn

        def heard():
            (colour,), (told,) = speaking(conn, [1]).values(), telling_evenness(conn, [1]).values()
            early = [c.before_last_dye for c in swatch_colours(conn, 1)]
            return colour, told, early

        assert heard() == (1, 1, [False, False])
        record_step(conn, "L1", PotStep("dye in", "2026-05-01", "5 mL"))  # no time of day
        record_step(conn, "L1", PotStep("soak", "2026-05-02T18:00"))
        assert heard() == (1, 1, [False, False])
        record_step(conn, "L1", PotStep("dye in", "2026-05-01T18:00", "5 mL"))
        assert heard() == (2, 2, [True, False])
        record_step(conn, "L1", PotStep("dye in", "2026-05-04T18:00", "5 mL"))
        assert heard() == (1, 1, [True, True])


@pytest.mark.parametrize("what", ["swatches", "colours", "evenness"])
def test_of_what_has_no_class_a_list_tells_the_range_alone(what, tmp_path):
    vague = even(0.9, 0.4, name=None, between=["solid", "semi-solid"])
    for number, (facts, figure) in enumerate(((even(1.0, 0.4), 1.0), (vague, None))):
        (folder := tmp_path / f"{number}").mkdir()
        with photographed(folder, (40, facts)) as archive:
            row = listing(archive.conn, what).records()[0]
        assert (row["unevenness"], row["u_unevenness"]) == (figure, figure and 0.4)
        assert row["range_high"] == pytest.approx(1.7 if figure is None else 1.8)
        assert row["method"] == "evenness 1"
