"""Stored photos measured anew: old figures kept, nothing twice, stopped and run again."""

from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import pytest

import ingest.pipeline
import ingest.tonality
from ingest.model import Settings
from ingest.pipeline import measure_photo
from swatchvault.archive import (
    PhotoFacts,
    RegionOf,
    Swatch,
    add_swatch,
    colours,
    create_archive,
    file_photo,
    layout_from_text,
    verify,
)
from swatchvault.archive.again import stored_photos
from swatchvault.archive.aside import set_aside, take_back
from swatchvault.archive.layouts import layout_to_text
from swatchvault.errors import NotFound
from swatchvault.remeasure import measure_anew, out_of_date, settings_of
from tests.swatchvault.factories import ELSEWHERE, SQUARE, copy_of, dump, layout, studio
from tests.swatchvault.running import run

EXAMPLE = Path(str(files("example_archive")))
#: Version of the method that the template is measured with.
MADE_BY = ingest.pipeline.METHOD_VERSION
PHOTOS = ("furrow-2.jpg", "furrow-3.jpg", "furrow-4.jpg")


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    """Three photos of the demo, really measured; a card's reflectance told beside one."""
    folder = tmp_path_factory.mktemp("template") / "yarn"
    with create_archive(folder) as archive:
        studio(archive.conn)
        for i, name in enumerate(PHOTOS):
            found = measure_photo(EXAMPLE / name, settings=Settings(light="daylight"))
            region = found.swatches[-1].name
            swatch = add_swatch(archive.conn, Swatch(f"f{i}", "Lumme", "wound card", "L2")).id
            shown = [RegionOf(region, swatch, True)]
            file_photo(archive, found, EXAMPLE / name, shown, PhotoFacts(None, "daylight"))
    return folder


@pytest.fixture
def newer(monkeypatch):
    """A program whose method is of another version; its figures are the same here."""
    monkeypatch.setattr(ingest.pipeline, "METHOD_VERSION", "next")
    monkeypatch.setattr(ingest.tonality, "METHOD", "evenness next")


def rows_of(conn, current):
    sql = "SELECT * FROM measurement WHERE (superseded_by IS NULL) = ? ORDER BY id"
    cursor = conn.execute(sql, (int(current),))
    names = [d[0] for d in cursor.description]
    return [dict(zip(names, row, strict=True)) for row in cursor]


def test_the_same_version_has_nothing_to_do_and_gives_the_same_figures(archive, capsys):
    before = dump(archive.conn)
    ran = run(capsys, "remeasure", "--all", "--archive", archive.folder)
    assert "every measurement asked for is by this version" in ran.out
    ran = run(capsys, "remeasure", "--all", "--again", "--archive", archive.folder)
    assert ran.out.count("the same figures") == len(PHOTOS)
    assert ran.out.splitlines()[-1] == "nothing new: the figures are as they were"
    assert dump(archive.conn) == before


def test_a_newer_version_supersedes_and_keeps_the_old_figures(archive, newer, capsys):
    before = rows_of(archive.conn, current=True)
    assert [o.old for o in out_of_date(archive)] == [1, 1, 1]
    ran = run(capsys, "remeasure", "--all", "--dry-run", "--archive", archive.folder)
    assert "3 photos to measure anew; 3 measurements" in ran.out
    assert rows_of(archive.conn, current=True) == before
    ran = run(capsys, "remeasure", "--all", "--workers", 1, "--archive", archive.folder)
    assert (ran.code, "3 new measurements" in ran.out) == (0, True)
    old, new = rows_of(archive.conn, current=False), rows_of(archive.conn, current=True)
    changed = {"superseded_by"}
    kept = [{k: v for k, v in row.items() if k not in changed} for row in old]
    assert kept == [{k: v for k, v in row.items() if k not in changed} for row in before]
    assert {row["version"] for row in new} == {"next"}
    for one, other in zip(before, new, strict=True):
        for name in ("lab_l", "lab_a", "lab_b", "dry", "swatch_id", "layout_id", "cov_frame"):
            assert one[name] == other[name]
    assert verify(archive) == []
    again = run(capsys, "remeasure", "--all", "--archive", archive.folder)
    assert "every measurement asked for" in again.out


def test_what_is_set_aside_is_measured_anew_and_stays_so(archive, newer, capsys):
    (photo,) = out_of_date(archive, ["f1"])
    set_aside(archive.conn, photo.regions[0].swatch_id, photo.sha256, "lamp on")
    assert [p.sha256 for p in out_of_date(archive, ["f1"])] == [photo.sha256]
    ran = run(capsys, "remeasure", "--all", "--workers", 1, "--archive", archive.folder)
    assert (ran.code, "3 new measurements" in ran.out) == (0, True)
    assert {c.swatch for c in colours(archive.conn)} == {"f0", "f2"}
    take_back(archive.conn, photo.regions[0].swatch_id, photo.sha256)
    assert {(c.swatch, c.version) for c in colours(archive.conn)} == {
        *(("f0", "next"), ("f1", "next"), ("f2", "next"))
    }
    assert verify(archive) == []


@pytest.mark.parametrize(
    ("module", "name"), [(ingest.tonality, "METHOD"), (ingest.pipeline, "METHOD_VERSION")]
)
def test_either_method_alone_is_enough(archive, monkeypatch, module, name):
    monkeypatch.setattr(module, name, "next")
    assert len(out_of_date(archive)) == len(PHOTOS)


def test_stopped_half_way_it_goes_on_where_it_was(archive, newer, template, tmp_path):
    photos = out_of_date(archive)
    run_one = measure_anew(archive, photos, workers=1)
    assert next(run_one).measured == 1
    run_one.close()  # as when the program ends
    left = out_of_date(archive)
    assert [p.sha256 for p in left] == [p.sha256 for p in photos[1:]]
    # versions are mixed now, and stay apart: each photo is of one version
    assert {c.version for c in colours(archive.conn)} == {MADE_BY, "next"}
    assert [a.measured for a in measure_anew(archive, left, workers=1)] == [1, 1]
    with copy_of(template, tmp_path / "whole") as whole:
        assert all(a.error is None for a in measure_anew(whole, out_of_date(whole), workers=1))
        want, have = (without_times(a.conn) for a in (whole, archive))
    assert have == want


def without_times(conn):
    return [
        {k: v for k, v in row.items() if k != "measured_at"}
        for current in (True, False)
        for row in rows_of(conn, current)
    ]


def test_photos_are_named_by_swatch_file_or_sha256(archive, newer):
    (by_swatch,) = out_of_date(archive, ["f1"])
    (by_name,) = out_of_date(archive, ["FURROW-3.jpg"])
    (by_sha,) = out_of_date(archive, [by_swatch.sha256[:10]])
    assert by_swatch.sha256 == by_name.sha256 == by_sha.sha256
    assert len(out_of_date(archive, ["f0", "furrow-2.jpg"])) == 1  # the same photo
    with pytest.raises(NotFound):
        out_of_date(archive, ["nobody"])
    with pytest.raises(NotFound, match="no measured photo"):
        out_of_date(archive, ["sun 1"])


def test_wrong_use(archive, capsys):
    for wrong in ([], ["f1", "--all"]):
        assert run(capsys, "remeasure", *wrong, "--archive", archive.folder).code == 2


def test_a_photo_that_is_gone_or_altered_is_told_and_passed(archive, newer, capsys):
    first, second, _ = out_of_date(archive)
    (archive.photos / first.file).unlink()
    with (archive.photos / second.file).open("ab") as file:
        file.write(b"more")  # behind the picture, which looks as before
    ran = run(capsys, "remeasure", "--all", "--workers", 1, "--archive", archive.folder)
    assert ran.code == 1
    assert "1 new measurement; the old one is kept, superseded" in ran.out
    assert len(ran.err.splitlines()) == 2
    assert (
        "furrow-2.jpg: the archive's copy is gone, so its figures stay as they were: add" in ran.err
    )
    assert "furrow-3.jpg: the archive's copy was altered" in ran.err
    assert len(out_of_date(archive)) == 2


def test_marks_that_were_changed_meanwhile_are_not_put_back(archive, newer):
    photos = out_of_date(archive)
    anew = measure_anew(archive, photos[:1], workers=1)
    # another program files the photo with other marks while this one measures
    found = measure_photo(archive.photos / photos[0].file, layout=photos[0].layout)
    moved = layout((photos[0].regions[0].region,))
    place = found.layout.__class__(found.layout.references, moved.swatches, found.layout.scale)
    other = found.__class__(**{**vars(found), "layout": place})
    file_photo(archive, other, archive.photos / photos[0].file, photos[0].regions)
    (told,) = list(anew)
    assert "marks were changed" in told.error


def test_a_mats_bare_paper_is_kept_with_the_layout():
    place = replace(layout(), surround=(SQUARE, ELSEWHERE), flags=frozenset({"mat not flat"}))
    assert layout_from_text(layout_to_text(place)) == place


def test_what_was_told_beside_a_photo_is_found_again(archive):
    photo = stored_photos(archive.conn, version="none", evenness="none")[0]
    assert settings_of(archive, photo).light == "daylight"
    assert not settings_of(archive, photo).search  # its layout says what it was measured by
    record = {"kind": "card", "patches": [{"expected_lab": [60.0, 0.0, 0.0]}]}
    told = photo.__class__(**{**vars(photo), "references": (record,)})
    # L* 60 is Y = ((60 + 16) / 116)^3 = 0.2812 (CIE 015:2018, 8.2.1)
    assert settings_of(archive, told).card_y == pytest.approx(0.28123, abs=1e-4)
    usual = {"kind": "card", "patches": [{"expected_lab": [49.4961, 0.0, 0.0]}]}
    told = photo.__class__(**{**vars(photo), "references": (usual,)})
    assert settings_of(archive, told).card_y == 0.18
    tinted = {"kind": "card", "patches": [{"expected_lab": [60.0, 3.0, -4.0]}]}
    told = photo.__class__(**{**vars(photo), "references": (tinted,)})
    assert settings_of(archive, told).card_lab_d50 is not None
    steps = {"kind": "steps", "patches": [{"expected_lab": [60.0, 0.0, 0.0]}] * 3}
    told = photo.__class__(**{**vars(photo), "references": (steps,)})
    assert settings_of(archive, told).steps_y == pytest.approx((0.28123,) * 3, abs=1e-4)
