"""Which photo speaks for a swatch: one rule, read by every list, page and search."""

import sqlite3

import numpy as np
import pytest

from swatchvault.archive import (
    Master,
    PotStep,
    RegionOf,
    create_archive,
    file_photo,
    listing,
    open_archive,
    recipe_colour,
    record_step,
    set_master,
)
from swatchvault.archive.colours import colours
from swatchvault.archive.looks import speaking_looks
from swatchvault.archive.made import speaking_labs
from swatchvault.archive.pages_yarn import (
    lots_of_colourway,
    masters_of_colourway,
    swatches_of_colourway_id,
)
from swatchvault.archive.speaking import speaking
from swatchvault.archive.views import VIEWS
from swatchvault.archive.wall import wall
from swatchvault.queries import query_of_swatch
from swatchvault.together import table_of
from tests.swatchvault.factories import covariance, measured, photo_file, photo_of, studio


def photographed(folder, *photos, dry=True):
    """An archive with a swatch photographed on days one after the other: (L*, what is other)."""
    made = create_archive(folder / "yarn")
    studio(made.conn)
    for day, (lightness, facts) in enumerate(photos, 1):
        facts = dict(facts)
        damp, version = facts.pop("damp", False), facts.pop("version", "1")
        path = photo_file(folder, f"{day}.jpg", f"{day}".encode())
        found = measured(lab=(lightness, 30.0, -8.0), **{"flags": frozenset(), **facts})
        photo = photo_of(path, [found], version, taken_at=f"2026-05-{day:02d}T10:00:00")
        file_photo(made, photo, path, [RegionOf("new", 1, dry=dry and not damp)])
    return made


def doubt(u):
    """A covariance whose standard uncertainties are ``u`` times the usual ones."""
    return {"covariance": covariance(u**2)}


UNKNOWN = {"covariance": covariance(np.nan), "reference": "none"}
CASES = {
    "the newest of equals": ([(41, {}), (42, {})], 42),
    "a newer one of more doubt does not": ([(41, {}), (42, doubt(1.3))], 41),
    "a newer one within 10 % does": ([(41, {}), (42, doubt(1.09))], 42),
    "one beyond 10 % does not": ([(41, {}), (42, doubt(1.11))], 41),
    "not a chain of tenths": ([(41, {}), (42, doubt(1.09)), (43, doubt(1.18))], 42),
    "one of less doubt, before or after": ([(41, doubt(1.3)), (42, {}), (43, doubt(1.3))], 42),
    "one of unknown doubt speaks last": ([(41, doubt(9.0)), (42, UNKNOWN)], 41),
    "of unknown ones the newest": ([(41, UNKNOWN), (42, UNKNOWN)], 42),
    "not one that allows no verdict": (
        [(41, doubt(3.0)), (42, {"flags": frozenset({"clipped beyond use"})})],
        41,
    ),
    "not a damp one": ([(41, doubt(3.0)), (42, {"damp": True})], 41),
    "a damp one where all are": ([(41, {"damp": True}), (42, {"damp": True})], 42),
}


@pytest.mark.parametrize(("photos", "speaks"), CASES.values(), ids=CASES)
def test_the_photo_that_speaks(photos, speaks, tmp_path):
    with photographed(tmp_path, *photos) as archive:
        _, labs = speaking_labs(archive.conn)
    assert labs[:, 0].tolist() == [speaks]


def test_every_reader_goes_by_it(tmp_path):
    with photographed(tmp_path, (41, {}), (49, doubt(2.0))) as archive:
        conn = archive.conn
        set_master(conn, Master("Low sun", "Lumme", "skein", "sun 1", 2.0, 2.0))
        first = (41.0, 30.0, -8.0)
        (colourway,) = (c for c in wall(conn) if c.name == "Low sun")
        number = colourway.colourway_id
        (row,) = listing(conn, "colours").records()
        seen = {
            "list": (row["lab_l"], row["lab_a"], row["lab_b"]),
            "wall": colourway.lab,
            "swatches": next(s["lab"] for s in swatches_of_colourway_id(conn, number) if s["lab"]),
            "lots": next(lot["lab"] for lot in lots_of_colourway(conn, number) if lot["lab"]),
            "master": masters_of_colourway(conn, number)[0]["lab"],
            "near": tuple(query_of_swatch(conn, "sun 1").target.lab),
            "looks": tuple(speaking_looks(conn)[1][0]),
            "table": tuple(table_of(conn, ["sun 1"]).labs[0]),
            "recipe": recipe_colour(conn, "Low sun", "Lumme", 1).lab,
        }
    assert seen == dict.fromkeys(seen, first)


def test_only_by_the_version_asked_for_and_else_by_the_newest(tmp_path):
    worse = {**doubt(3.0), "version": "2"}
    with photographed(tmp_path, (41, {}), (42, worse)) as archive:
        assert speaking(archive.conn, [1]) == {1: 2}
        assert speaking(archive.conn, [1], "1") == {1: 1}
        assert speaking(archive.conn, [1, 2, 77], "none such") == {}


@pytest.mark.parametrize(
    ("zone", "taken", "dyed", "before"),
    [
        ("EIGHT8", "2026-05-01T10:00:00", "2026-05-01T10:00:30", True),  # neither has a zone
        ("EIGHT8", "2026-05-01T10:00:30", "2026-05-01T10:00", False),
        ("EIGHT8", "2026-05-01T10:00:00", "2026-05-01T17:00:00+00:00", False),  # 9:00 here
        ("EIGHT8", "2026-05-01T10:00:00", "2026-05-01T18:30Z", True),  # 10:30 here
        ("EIGHT8", "2026-05-01T10:00:00+02:00", "2026-05-01T09:00:00+00:00", True),
        ("EIGHT8", "2026-05-01T10:00:00+02:00", "2026-05-01T00:30", True),
        ("EIGHT8", "2026-05-01T10:00:00-03:00", "2026-05-01T06:30:00.5+00:00", False),
        ("EIGHT8", None, "2026-05-01T18:30Z", False),
        # As the clocks are put back an hour comes twice: 40 minutes later, and told as 20 before.
        (
            "CET-1CEST,M3.5.0,M10.5.0/3",
            "2026-10-25T02:40:00+02:00",
            "2026-10-25T02:20:00+01:00",
            True,
        ),
    ],
)
def test_times_that_carry_a_zone_are_held_against_those_of_this_clock(
    zone, taken, dyed, before, clock_in, tmp_path
):
    clock_in(zone)
    with photographed(tmp_path, (41, {}), dry=False) as archive:
        conn = archive.conn
        conn.execute("UPDATE photo SET taken_at = ?", (taken,))
        conn.execute("DELETE FROM pot_step")
        record_step(conn, "L1", PotStep("dye in", dyed))
        (colour,) = colours(conn)
    assert colour.before_last_dye is before


def test_views_of_an_earlier_program_are_made_anew(tmp_path):
    with photographed(tmp_path, (41, {}), (49, doubt(2.0))) as archive:
        archive.conn.execute("DROP VIEW latest_colours")
        archive.conn.execute("CREATE VIEW latest_colours AS SELECT * FROM colours")
        archive.conn.commit()
    with open_archive(tmp_path / "yarn") as archive:
        assert len(listing(archive.conn, "colours").rows) == 1
        sql = "SELECT sql FROM sqlite_master WHERE name = 'latest_colours'"
        assert archive.conn.execute(sql).fetchone()[0] == VIEWS["latest_colours"]


def test_the_rule_is_plain_sql(tmp_path):
    """Whoever opens the file with any SQLite program sees what the pages show."""
    photographed(tmp_path, (41, {}), (49, doubt(2.0))).close()
    conn = sqlite3.connect(tmp_path / "yarn" / "archive.db")
    assert conn.execute("SELECT lab_l, place FROM latest_colours").fetchall() == [(41.0, 1)]
    conn.close()
