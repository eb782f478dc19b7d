"""Swatches grouped from an archive: which of their photos they are taken from, and the doubt."""

import json
from dataclasses import replace

import numpy as np
import pytest

from swatchvault.archive import (
    PhotoFacts,
    PotStep,
    RegionOf,
    Setup,
    Swatch,
    add_repeat_set,
    add_setup,
    add_swatch,
    create_archive,
    file_photo,
    find,
    record_step,
)
from swatchvault.lotcheck import as_colour
from swatchvault.pair import Capture, Conditions, mean_of_photos
from swatchvault.pairdoubt import pair_doubt
from swatchvault.shades import u_pairs
from swatchvault.together import group_swatches, standard_lab, table_of
from tests.swatchvault.factories import covariance, measured, photo_file, photo_of, studio
from tests.swatchvault.running import run

#: What photos show, each a set-up and the L* of the swatches in it.
NEWEST_ONLY = (("w", {"a": 42.0}), ("w", {"b": 43.5}), ("w", {"c": 42.4}))
SEVERAL = (
    *(("w", {"a": L}) for L in (41.8, 42.0, 42.5)),
    *(("w", {"b": L}) for L in (43.0, 43.4)),
    *(("w", {"c": L}) for L in (42.6, 42.2)),
)
NAMES = ("a", "b", "c")


def archive_of(folder, photos, flags=frozenset(), scale=1.0):
    """Photos filed oldest first; ``flags``: of the last; ``scale``: of each region's doubt."""
    made = create_archive(folder / "yarn")
    studio(made.conn)
    setups = {n: add_setup(made.conn, Setup(n, light="daylight", locked=True)).id for n in "wt"}
    ids = {n: add_swatch(made.conn, Swatch(n, "Lumme", "skein", "L1")).id for n in NAMES}
    for number, (setup, shown) in enumerate(photos):
        path = photo_file(folder, f"{number}.jpg", f"photo {number}".encode())
        last = number == len(photos) - 1
        found = [
            measured(
                name,
                (L, 31.0, -8.0),
                flags=flags if last else frozenset(),
                covariance=covariance(scale),
            )
            for name, L in shown.items()
        ]
        facts = photo_of(path, found, taken_at=f"2026-03-{number + 1:02d}T11:00:00")
        regions = [RegionOf(name, ids[name]) for name in shown]
        file_photo(made, facts, path, regions, PhotoFacts(setups[setup[0]]))
    return made


def taught(archive, variance=4.0):
    learned = {"capture": "locked set-up", "cov": np.diag([variance] * 3).tolist()}
    add_repeat_set(archive.conn, find(archive.conn, "setup", "w"), [], variance, learned)


def grouped(archive, tolerance=2.0):
    return group_swatches(table_of(archive.conn, NAMES), tolerance, 2.0)


def test_one_photo_of_each_is_the_newest_of_equals(tmp_path):
    with archive_of(tmp_path, NEWEST_ONLY) as archive:
        found = grouped(archive)
    assert found.by == "each swatch by its photo of least doubt"
    assert found.labs[:, 0].tolist() == [42.0, 43.5, 42.4]


def test_several_photos_of_one_set_up_are_averaged(tmp_path):
    with archive_of(tmp_path, SEVERAL) as archive:
        found = grouped(archive)
    assert found.by == "each swatch by its photos in the set-up w"
    assert found.labs[:, 0].tolist() == pytest.approx([42.1, 43.2, 42.4])


def test_a_photo_that_shows_all_goes_before_newer_ones(tmp_path):
    both = (("w", {"a": 42.0, "b": 43.0, "c": 42.4}), ("w", {"a": 42.6}), ("t", {"b": 43.5}))
    with archive_of(tmp_path, both, scale=0.01) as archive:
        found = grouped(archive)
    assert found.by == "each swatch by the photos that show them all"
    assert found.labs[:, 0].tolist() == [42.0, 43.0, 42.4]


def test_photos_that_disagree_are_not_averaged(tmp_path):
    odd = (("w", {"a": 20.0}), *NEWEST_ONLY)
    with archive_of(tmp_path, odd) as archive:
        found = grouped(archive)
    assert found.by == "each swatch by its photo of least doubt"
    assert found.labs[0, 0] == 42.0


def test_a_photo_that_allows_no_verdict_is_left_out_where_another_remains(tmp_path):
    clipped = (*NEWEST_ONLY, ("t", {"c": 49.0}))
    with archive_of(tmp_path, clipped, frozenset({"clipped beyond use"})) as archive:
        assert table_of(archive.conn, NAMES).photos[2].lab[0] == 42.4
        assert grouped(archive).labs[2, 0] == 42.4


def test_photos_from_before_the_last_dye_are_not_averaged_in(tmp_path):
    with archive_of(tmp_path, SEVERAL) as archive:
        assert grouped(archive).labs[0, 0] == pytest.approx(42.1)
        record_step(archive.conn, "L1", PotStep("dye in", "2026-03-02T18:00", "5 mL"))
        assert grouped(archive).labs[:, 0] == pytest.approx([42.5, 43.2, 42.4])


def test_the_doubt_of_means_in_a_taught_set_up_is_that_of_a_check(tmp_path):
    """Equal colours, for which the region part of `u_pairs` is exact."""
    with archive_of(tmp_path, SEVERAL) as archive:
        taught(archive)
        table = table_of(archive.conn, NAMES)
    sides = [mean_of_photos([as_colour(c) for c in several]) for several in table.every]
    sides = [replace(side, lab=np.array([42.0, 31.0, -8.0])) for side in sides]
    assert [side.n_photos for side in sides] == [3, 2, 2]
    (own,) = table.own_frames.values()
    (setup,) = table.own_frames
    u = u_pairs(sides, [(setup, True)] * 3, np.zeros((3, 3)), 2.0, table.own_frames)
    conditions = Conditions(Capture.LOCKED, k_l=2.0, own_frame=own)
    for i, j in ((0, 1), (0, 2), (1, 2)):
        assert u[i, j] == pytest.approx(pair_doubt(sides[i], sides[j], conditions).u(0.0))
    away = u_pairs(sides, [(setup, True), None, None], np.zeros((3, 3)), 2.0, table.own_frames)
    plain = pair_doubt(sides[0], sides[1], Conditions(Capture.OTHER, k_l=2.0)).u(0.0)
    assert away[0, 1] == pytest.approx(plain)


def test_groups_count_what_repeats_of_the_set_up_taught(tmp_path, capsys):
    """All three pairs are surely within 4 until the set-up is found to scatter by 2."""
    command = ("groups", *NAMES, "--tolerance", "4", "--json", "--archive", tmp_path / "yarn")
    with archive_of(tmp_path, NEWEST_ONLY) as archive:
        before = json.loads(run(capsys, *command).out)
        taught(archive)
        after = json.loads(run(capsys, *command).out)
    assert before["taken_from"] == after["taken_from"] == "each swatch by its photo of least doubt"
    assert (len(before["cannot_tell"]), len(after["cannot_tell"])) == (0, 3)


def test_the_standard_is_as_it_was_grouped(tmp_path):
    with archive_of(tmp_path, SEVERAL) as archive:
        table = table_of(archive.conn, NAMES)
        found = grouped(archive)
        assert standard_lab(archive.conn, table, found, None)[0] == pytest.approx(42.1)
        assert standard_lab(archive.conn, table, found, "b")[0] == pytest.approx(43.2)
        some = table_of(archive.conn, ["a", "c"])
        grouping = group_swatches(some, 2.0, 2.0)
        assert standard_lab(archive.conn, some, grouping, "b")[0] == 43.4  # its newest
