"""Which photo of a lot a prediction learns from, and a correction starts from."""

import pytest

from swatchvault.archive import (
    DyeIn,
    PotStep,
    RegionOf,
    Swatch,
    add_swatch,
    file_photo,
    record_step,
)
from swatchvault.archive.dyed import dyed_on_base, pot_as_dyed
from swatchvault.errors import ArchiveError, NotFound
from swatchvault.foretell_asked import refuse_dyed_after_photo
from tests.swatchvault.factories import measured, photo_file, photo_of
from tests.swatchvault.test_archive_evenness_told import even
from tests.swatchvault.test_archive_speaking import doubt, photographed

STOPPED = {"flags": frozenset({"clipped beyond use"})}


def learned(conn):
    """L* of what a prediction on Lumme learns of each lot, and why others are left out."""
    found = dyed_on_base(conn, "Lumme", "skein")
    return {lot.name: float(lot.lab[0]) for lot in found.lots}, found.left_out


def lightness_of(pot):
    """L* of the photo that speaks for a pot."""
    return float(pot.colour.lab[0])


CASES = {
    "not a newer one of more doubt": ([(41, {}), (42, doubt(1.3))], 41),
    "a newer one of no more": ([(41, {}), (42, {})], 42),
    "not a newer one that is clipped": ([(41, doubt(3.0)), (42, STOPPED)], 41),
    "not a newer one of damp yarn": ([(41, doubt(3.0)), (42, {"damp": True})], 41),
}


@pytest.mark.parametrize(("photos", "lightness"), CASES.values(), ids=CASES)
def test_it_learns_from_the_photo_that_speaks(photos, lightness, tmp_path):
    with photographed(tmp_path, *photos) as archive:
        assert learned(archive.conn)[0] == {"L1": lightness}
        pot = pot_as_dyed(archive.conn, "L1")
        assert (pot.lot.lab[0], pot.taken_at[:10]) == (lightness, f"2026-05-{lightness - 40:02d}")


def test_one_colour_or_several_is_told_by_the_photo_that_tells_it(tmp_path):
    sure, unsure = even(2.0, 0.1, name="variegated"), even(1.0, 0.9)
    with photographed(tmp_path, (41, {**sure, **doubt(2.0)}), (42, unsure)) as archive:
        lots, left_out = learned(archive.conn)
        assert (lots, left_out["L1"]) == ({}, "its swatch is variegated, not of one colour")
    other = tmp_path / "other"
    other.mkdir()
    unsure = even(2.0, 0.9, name="variegated")
    with photographed(other, (41, even(1.0, 0.1)), (42, unsure)) as archive:
        assert learned(archive.conn)[0] == {"L1": 42}


def test_the_swatch_photographed_last_stands_for_its_lot(tmp_path):
    with photographed(tmp_path, (41, {})) as archive:
        snippet = add_swatch(archive.conn, Swatch("sun 3", "Lumme", "skein", "L1")).id
        path = photo_file(tmp_path, "snippet.jpg", b"snippet")
        found = measured(lab=(45, 30, -8), flags=frozenset(), **doubt(2.0))
        photo = photo_of(path, [found], taken_at="2026-05-20T10:00:00")
        file_photo(archive, photo, path, [RegionOf("new", snippet)])
        assert learned(archive.conn)[0] == {"L1": 45}
        assert pot_as_dyed(archive.conn, "L1").swatch == "sun 3"
        path = photo_file(tmp_path, "again.jpg", b"again")
        photo = photo_of(path, [found], taken_at="2026-05-25T10:00:00")
        file_photo(archive, photo, path, [RegionOf("new", 1)])
        assert learned(archive.conn)[0] == {"L1": 41}
        assert pot_as_dyed(archive.conn, "L1").swatch == "sun 1"


def test_a_photo_from_before_the_last_dye_went_in_speaks_only_where_it_must(tmp_path):
    """Photographed anew, if worse, a pot is no longer told to be photographed again."""
    with photographed(tmp_path, (41, {}), (43, doubt(2.0))) as archive:
        conn = archive.conn
        refuse_dyed_after_photo(conn, pot_as_dyed(conn, "L1"))
        assert lightness_of(pot_as_dyed(conn, "L1")) == 41
        record_step(conn, "L1", PotStep("dye in", "2026-05-01T18:00", "5 mL"))
        assert learned(conn)[0] == {"L1": 43}
        assert lightness_of(pot_as_dyed(conn, "L1")) == 43
        refuse_dyed_after_photo(conn, pot_as_dyed(conn, "L1"))
        record_step(conn, "L1", PotStep("dye in", "2026-05-03T18:00", "5 mL"))
        lots, left_out = learned(conn)
        assert (lots, left_out["L1"][:42]) == ({}, "its photo is from before its last dye: pho")
        assert lightness_of(pot_as_dyed(conn, "L1")) == 41
        said = r"2026-05-03 18:00, after the photo of sun 1 \(2026-05-01 10:00\)"
        with pytest.raises(ArchiveError, match=said):
            refuse_dyed_after_photo(conn, pot_as_dyed(conn, "L1"))


def test_a_pot_with_no_valid_photo_says_why_of_the_last(tmp_path):
    with (
        photographed(tmp_path, (41, STOPPED), (42, {"damp": True})) as archive,
        pytest.raises(NotFound, match="measured wet"),
    ):
        pot_as_dyed(archive.conn, "L1")


@pytest.mark.parametrize(
    ("filed", "early"), [("2026-05-03T15:59:00Z", True), ("2026-05-04T08:00:00Z", False)]
)
def test_a_photo_without_a_time_of_its_own_is_early_where_it_was_filed_early(
    filed, early, tmp_path
):
    """A picture that a program took the time out of, filed before the last dye went in."""
    with photographed(tmp_path, (41, {})) as archive:
        conn = archive.conn
        conn.execute("UPDATE photo SET taken_at = NULL, added_at = ?", (filed,))
        record_step(conn, "L1", PotStep("dye in", "2026-05-03T18:00:00+00:00", "5 mL"))
        assert pot_as_dyed(conn, "L1").colour.before_last_dye == early


def test_a_dye_that_was_corrected_to_nothing_is_in_no_shade(tmp_path):
    with photographed(tmp_path, (41, {})) as archive:
        sql = "SELECT dyes, depth_percent FROM shades_made WHERE lot = 'L1'"
        before = archive.conn.execute(sql).fetchone()
        record_step(archive.conn, "L1", PotStep("dye in"), dyes=[DyeIn("Tarn", "0 mL")])
        added = "SELECT amount_ml, dye_g FROM lot_dye ORDER BY id DESC LIMIT 1"
        assert tuple(archive.conn.execute(added).fetchone()) == (0, None)
        after = archive.conn.execute(sql).fetchone()
    assert tuple(after) == tuple(before) and before[1] > 0
