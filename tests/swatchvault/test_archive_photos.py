"""Filing photos: once, superseded by what is newer, and whole or not at all."""

import json
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from ingest.locate import chart_reference
from ingest.model import Layout, Reference, ReferenceReading, SwatchRegion
from swatchvault.archive import (
    PhotoFacts,
    RegionOf,
    Setup,
    add_repeat_set,
    add_setup,
    create_archive,
    export_rows,
    file_photo,
    files,
    layout_from_text,
    open_archive,
    photos,
    swatch_colours,
    sweep,
    verify,
)
from swatchvault.archive.layouts import layout_to_text
from swatchvault.errors import ArchiveError
from tests.swatchvault.factories import (
    ELSEWHERE,
    LAB,
    SQUARE,
    covariance,
    dump,
    layout,
    measured,
    photo_file,
    photo_of,
    studio,
)


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    folder = tmp_path_factory.mktemp("template") / "yarn"
    with create_archive(folder) as made:
        studio(made.conn)
    return folder


@pytest.fixture
def source(tmp_path):
    return photo_file(tmp_path)


def count(archive, table):
    return archive.conn.execute(f"SELECT count(*) FROM {table}").fetchone()[0]


def names(folder):
    return sorted(p.name for p in folder.iterdir())


def test_a_photo_is_filed_with_its_original_its_thumb_and_its_rows(archive, source):
    found = photo_of(source)
    filed = file_photo(archive, found, source, [RegionOf("new", 1, True)])
    assert (filed.photo_sha256, filed.new, filed.measured) == (found.sha256, True, 1)
    copy = archive.photos / f"{found.sha256}.jpg"  # lower case, by content
    assert copy.read_bytes() == source.read_bytes()
    with Image.open(archive.thumbs / f"{found.sha256}.jpg") as thumb:
        assert (thumb.format, thumb.size) == ("JPEG", (64, 48))
    (row,) = export_rows(archive.conn, "measurement").records()
    assert (row["lab_l"], row["lab_a"], row["lab_b"]) == LAB
    assert json.loads(row["flags"]) == ["glare", "scale unknown"]
    assert row["mm_per_px"] is None  # unknown, not 0
    assert (row["shadow_sd"], row["clipped_share"], row["reference"]) == (0.12, 0.01, "steps")
    assert np.allclose(json.loads(row["cov_setup"]), covariance().setup, rtol=5e-5, atol=0)
    (corrected,) = export_rows(archive.conn, "correction").records()
    assert row["correction_id"] == corrected["id"]
    provenance = json.loads(corrected["provenance"])
    assert provenance["steps"] == [{"name": "tone curve", "left_over": 0.004}]
    assert provenance["flags"] == ["light uneven"]
    assert verify(archive) == []


@pytest.mark.parametrize(
    ("photo_format", "name", "suffix"),
    [
        ("JPEG", "a.PNG", ".jpg"),
        ("PNG", "a", ".png"),
        ("TIFF", "a.tiff", ".tif"),
        ("HEIC", "a.HEIC", ".heic"),
        ("raw", "a.DNG", ".dng"),
        ("raw", "a.x y z", ".raw"),
    ],
)
def test_the_suffix_is_by_content(tmp_path, photo_format, name, suffix):
    assert files.suffix_of(photo_format, tmp_path / name) == suffix


def test_the_same_photo_again_changes_nothing_and_says_so(archive, source):
    first = file_photo(archive, photo_of(source), source, [RegionOf("new", 1, True)])
    before, on_disk = dump(archive.conn), names(archive.photos) + names(archive.thumbs)
    jitter = measured(lab=np.array(LAB) + 1e-9)  # another machine's last digits
    for again in (photo_of(source), photo_of(source, [jitter])):
        second = file_photo(archive, again, source, [RegionOf("new", 1)])
        assert (second.new, second.measured) == (False, 0)
        assert second.measurement_ids == first.measurement_ids
    assert dump(archive.conn) == before
    assert names(archive.photos) + names(archive.thumbs) == on_disk


EVENNESS = {
    "unevenness": 1.2,
    "patch_length": None,
    "between": None,
    "gradient": None,
    "core_halo": None,
    "core_halo_unseen": None,
    "difference_shares": None,
    "reasons": [],
    "light_only": False,
    "dots": {"per_dm2": 0.0, "mean_mm": 0.0, "lab": None},
    "method": "evenness 3",
    "rule": {"rank": 0.134723},
}


def test_a_row_of_an_older_version_says_the_same_in_more_digits_and_words(archive, source):
    third = ((1 / 3, 0.1), (0.5, 0.1), (0.5, 2 / 7))
    place = layout()
    place = replace(place, swatches=(replace(place.swatches[0], polygon=third),))
    found = photo_of(source, [measured(tonality=EVENNESS)], layout=place)
    filed = file_photo(archive, found, source, [RegionOf("new", 1, True)])
    plain = {"kind": "steps", "located": "marks", "confidence": 1.0, "used": True, "flags": []}
    told = {
        "steps": [{"name": "tone curve", "left_over": 0.004}],
        "references": [{**plain, "edition": None, "neutral": None, "expected_lab": [[90, 0, 0]]}],
        "flags": ["light uneven"],
        "encoding": "sRGB",
        "version": "1",
    }
    new = json.loads(layout_to_text(place))
    marks = {
        "located": "marks",
        "references": [{**new["references"][0], "located": "marks", "confidence": 1.0}],
        "swatches": [{**new["swatches"][0], "polygon": third, "located": "marks"}],
        "scale": new["scale"],
    }
    cov = [[0.30004, 0, 0], [0, 0.6, 0], [0, 0, 0.9]]
    for table in ("layout", "correction", "measurement"):
        archive.conn.execute(f"DROP TRIGGER {table}_is_not_changed")
    for sql, value in (
        ("layout SET marks", marks),
        ("correction SET provenance", told),
        ("measurement SET cov_setup", cov),
        ("measurement SET tonality", EVENNESS),
    ):
        archive.conn.execute(f"UPDATE {sql} = ?", (json.dumps(value),))
    before = dump(archive.conn)
    again = file_photo(archive, found, source, [RegionOf("new", 1)])
    assert (again.measured, again.measurement_ids) == (0, filed.measurement_ids)
    assert dump(archive.conn) == before


NOTHING_READ = {k: v for k, v in EVENNESS.items() if k not in ("light_only", "dots", "rule")}
DOTTED = {"per_dm2": 12.0, "mean_mm": 2.5, "lab": [50.0, 1.0, 2.0]}


@pytest.mark.parametrize(
    ("record", "kept"),
    [
        (EVENNESS, {"unevenness", "method", "rule"}),
        ({**EVENNESS, "reasons": ["Too deep."]}, {"unevenness", "method", "rule", "reasons"}),
        ({**EVENNESS, "light_only": True}, {"unevenness", "method", "rule", "light_only"}),
        ({**EVENNESS, "dots": DOTTED}, {"unevenness", "method", "rule", "dots"}),
        ({**EVENNESS, "between": ["a", "b"]}, {"unevenness", "method", "rule", "between"}),
        (NOTHING_READ, {"unevenness", "method"}),
    ],
)
def test_what_evenness_says_nothing_of_is_left_out_of_a_row_and_put_back(
    archive, source, record, kept
):
    file_photo(archive, photo_of(source, [measured(tonality=record)]), source, [RegionOf("new", 1)])
    (text,) = archive.conn.execute("SELECT tonality FROM measurement").fetchone()
    assert set(json.loads(text)) == kept
    (stored,) = swatch_colours(archive.conn, 1)
    rule = {"rule": {"rank": 0.13472}} if "rule" in record else {}
    assert stored.tonality == {**record, **rule}


def test_a_photo_of_two_swatches_tells_its_correction_once(archive, source):
    both = [RegionOf("new", 1), RegionOf("master", 2)]
    two = [measured(), measured("master")]
    file_photo(archive, photo_of(source, two), source, both)
    assert count(archive, "correction") == 1
    anew = photo_of(source, two, "2", flags=frozenset({"light field corrected"}))
    assert file_photo(archive, anew, source, both).measured == 2
    by = "SELECT correction_id, count(*) FROM measurement GROUP BY correction_id"
    assert [tuple(r) for r in archive.conn.execute(by)] == [(1, 2), (2, 2)]
    told = archive.conn.execute("SELECT provenance FROM current_measurement").fetchall()
    assert {tuple(json.loads(r[0])["flags"]) for r in told} == {("light field corrected",)}
    assert verify(archive) == []


def test_what_a_layout_states_of_a_reference_is_not_told_again(archive, source):
    place = layout()
    steps = place.references[0]
    unstated = replace(steps, y=None)
    said = tuple({"name": f"step {i}", "expected_lab": [90.0, 0.0, 0.0]} for i in (1, 2, 3))

    def told(reference, found):
        read = ReferenceReading(reference, frozenset(), said, neutral=(0.2, 0.2, 0.2))
        file_photo(archive, photo_of(source, references=(read,), layout=found), source,
                   [RegionOf("new", 1)])  # fmt: skip
        sql = "SELECT provenance FROM correction ORDER BY id DESC LIMIT 1"
        return json.loads(archive.conn.execute(sql).fetchone()[0])["references"][0]

    assert told(steps, place) == {
        "kind": "steps",
        "used": True,
        "flags": [],
        "neutral": [0.2, 0.2, 0.2],
    }
    other = told(unstated, replace(place, references=(unstated,)))
    assert other["expected_lab"] == [[90.0, 0.0, 0.0]] * 3


@pytest.mark.parametrize(
    ("changes", "swatch_id", "layouts"),
    [
        ({"version": "2"}, 1, 1),
        ({"layout": replace(layout(), located="mat")}, 1, 2),
        ({"swatches": [measured(lab=(42.3, 31.5, -8.1))]}, 1, 1),
        ({"swatches": [measured(tonality=None)]}, 1, 1),
        ({"swatches": [measured(covariance=covariance(2.0))]}, 1, 1),
        ({}, 2, 1),
    ],
    ids=["version", "layout", "colour", "tonality", "doubt", "swatch"],
)
def test_what_is_new_supersedes_and_the_old_is_kept(archive, source, changes, swatch_id, layouts):
    first = file_photo(archive, photo_of(source), source, [RegionOf("new", 1)])
    old = export_rows(archive.conn, "measurement").records()[0]
    regions, facts = [RegionOf("new", swatch_id)], PhotoFacts(relabel=swatch_id != 1)
    second = file_photo(archive, photo_of(source, **changes), source, regions, facts)
    assert (second.new, second.measured) == (False, 1)
    kept, new = export_rows(archive.conn, "measurement").records()
    assert kept == {**old, "superseded_by": new["id"]}
    assert (kept["id"],) == first.measurement_ids
    assert (new["id"],) == second.measurement_ids
    assert count(archive, "layout") == layouts
    assert [c.measurement_id for c in swatch_colours(archive.conn, swatch_id)] == [new["id"]]
    assert verify(archive) == []


def test_in_a_large_archive_a_neighbouring_number_is_another_row(archive, source, tmp_path):
    other = photo_file(tmp_path, "other.jpg", b"other bytes")
    file_photo(archive, photo_of(other), other, [RegionOf("new", 2)])
    archive.conn.executescript(
        "BEGIN; UPDATE layout SET superseded_by = 400000 WHERE id = 1; INSERT INTO layout "
        "SELECT 400000, photo_id, located, marks, added_at, NULL FROM layout; "
        "INSERT INTO correction SELECT 400000, 400000, provenance FROM correction; COMMIT"
    )
    file_photo(archive, photo_of(source), source, [RegionOf("new", 1)])
    moved = photo_of(source, layout=replace(layout(), located="mat"))
    assert file_photo(archive, moved, source, [RegionOf("new", 1)]).measured == 1
    assert len(swatch_colours(archive.conn, 1)) == 1  # by the new layout, not lost with the old


def test_the_same_picture_under_another_label_is_refused_and_changes_nothing(archive, source):
    file_photo(archive, photo_of(source), source, [RegionOf("new", 1)])
    before = list(archive.conn.iterdump())
    with pytest.raises(ArchiveError, match=r"filed already.*--relabel"):
        file_photo(archive, photo_of(source), source, [RegionOf("new", 2)])
    assert list(archive.conn.iterdump()) == before
    assert len(swatch_colours(archive.conn, 1)) == 1


def test_a_region_that_a_new_layout_drops_is_no_longer_current(archive, source):
    two = photo_of(source, [measured("new"), measured("master")])
    file_photo(archive, two, source, [RegionOf("new", 1), RegionOf("master", 2)])
    one = photo_of(source, [measured("new")])
    file_photo(archive, one, source, [RegionOf("new", 1)])
    assert swatch_colours(archive.conn, 2) == []
    assert len(swatch_colours(archive.conn, 1)) == 1
    file_photo(archive, two, source, [RegionOf("new", 1), RegionOf("master", 2)])
    assert len(swatch_colours(archive.conn, 2)) == 1
    assert verify(archive) == []


def test_another_mark_leaves_what_was_filed_of_the_first(archive, source):
    file_photo(archive, photo_of(source, [measured("new")]), source, [RegionOf("new", 1, True)])
    two = photo_of(source, [measured("new"), measured("master")])
    filed = file_photo(archive, two, source, [RegionOf("master", 2)], PhotoFacts(carry=True))
    assert (filed.measured, filed.aside) == (2, ())
    (first,), (second,) = swatch_colours(archive.conn, 1), swatch_colours(archive.conn, 2)
    assert (first.region, second.region) == ("new", "master")
    assert bool(first.dry)  # with what was said of it
    assert verify(archive) == []


def test_a_region_named_anew_is_not_carried_and_what_is_set_aside_is_named(archive, source):
    two = photo_of(source, [measured("new"), measured("master")])
    file_photo(archive, two, source, [RegionOf("new", 1), RegionOf("master", 2)])
    (label,) = archive.conn.execute("SELECT label FROM swatch WHERE id = 2").fetchone()
    # The second swatch was the first region all along, and nothing else is marked any more.
    facts = PhotoFacts(relabel=True, carry=True)
    moved = file_photo(
        archive, photo_of(source, [measured("new")]), source, [RegionOf("new", 2)], facts
    )
    (first,) = archive.conn.execute("SELECT label FROM swatch WHERE id = 1").fetchone()
    assert moved.aside == (first,)
    back = file_photo(archive, two, source, [RegionOf("new", 1)], facts)
    assert back.aside == (label,)  # carried by region, not by swatch: none is left of it
    assert verify(archive) == []


def test_measurements_and_layouts_cannot_be_rewritten(archive, source):
    file_photo(archive, photo_of(source), source, [RegionOf("new", 1)])
    for sql in (
        "UPDATE measurement SET lab_l = 50",
        "UPDATE layout SET marks = '{}'",
        "DELETE FROM measurement",
        "DELETE FROM layout",
    ):
        with pytest.raises(Exception, match="kept as it was"):
            archive.conn.execute(sql)
    file_photo(archive, photo_of(source, version="2"), source, [RegionOf("new", 1)])
    with pytest.raises(Exception, match="superseded once"):
        archive.conn.execute("UPDATE measurement SET superseded_by = NULL WHERE id = 1")


def test_what_is_said_of_a_photo_is_kept_and_a_blank_does_not_erase(archive, source):
    window = add_setup(archive.conn, Setup("window", light="daylight", locked=True)).id
    regions = [RegionOf("new", 1, False)]
    file_photo(archive, photo_of(source), source, regions, PhotoFacts(window, None, "by hand"))
    file_photo(archive, photo_of(source), source, [RegionOf("new", 1)])
    (colour,) = swatch_colours(archive.conn, 1)
    assert (colour.setup, colour.locked, colour.light, colour.dry) == (
        "window",
        True,
        "daylight",
        False,
    )
    for light in ("other", "daylight", "other"):
        file_photo(archive, photo_of(source), source, regions, PhotoFacts(light=light))
        assert swatch_colours(archive.conn, 1)[0].light == light
    assert export_rows(archive.conn, "photo").records()[0]["note"] == "by hand"


@pytest.mark.parametrize(
    ("regions", "swatches", "words"),
    [
        ([RegionOf("old", 1)], None, "no region 'old' was measured; there are 'new'"),
        ([RegionOf("new", 1), RegionOf("new", 2)], None, "told twice"),
        ([RegionOf("new", 99)], None, "does not fit"),
        ([RegionOf("new", 1)], [measured(lab=(float("nan"), 0, 0))], "has no colour"),
        ([RegionOf("new", 1)], [measured(reference="guess")], "refused: reference"),
    ],
)
def test_what_cannot_be_filed_leaves_no_row(archive, source, regions, swatches, words):
    before = dump(archive.conn)
    with pytest.raises(ArchiveError, match=words):
        file_photo(archive, photo_of(source, swatches), source, regions)
    assert dump(archive.conn) == before


def test_a_source_that_changed_since_it_was_measured_is_refused(archive, source):
    found = photo_of(source)
    source.write_bytes(b"edited")
    with pytest.raises(ArchiveError, match="changed after it was measured"):
        file_photo(archive, found, source, [RegionOf("new", 1)])
    assert names(archive.photos) == []
    assert count(archive, "photo") == 0


def test_a_source_that_is_gone_is_told(archive, source):
    found = photo_of(source)
    source.unlink()
    with pytest.raises(ArchiveError, match="cannot copy"):
        file_photo(archive, found, source, [RegionOf("new", 1)])
    assert names(archive.photos) == []


def test_a_full_disk_leaves_nothing_half_written(archive, source, monkeypatch):
    def full(number):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(files.os, "fsync", full)
    with pytest.raises(ArchiveError, match="No space left"):
        file_photo(archive, photo_of(source), source, [RegionOf("new", 1)])
    assert names(archive.photos) == []
    assert count(archive, "photo") == 0


@pytest.mark.parametrize("folder", ["photos", "thumbs"])
def test_a_photo_and_its_thumb_appear_together_or_not_at_all(archive, source, monkeypatch, folder):
    real = files.os.fsync

    def full(number):
        if f"/{folder}/.part-" in files.os.readlink(f"/proc/self/fd/{number}"):
            raise OSError(28, "No space left on device")
        real(number)

    monkeypatch.setattr(files.os, "fsync", full)
    with pytest.raises(ArchiveError, match="No space left"):
        file_photo(archive, photo_of(source), source, [RegionOf("new", 1)])
    assert names(archive.photos) == names(archive.thumbs) == []


def test_a_damaged_copy_is_made_whole_when_the_photo_is_added_again(archive, source):
    filed = file_photo(archive, photo_of(source), source, [RegionOf("new", 1)])
    copy = archive.photos / f"{filed.photo_sha256}.jpg"
    copy.write_bytes(b"bit rot")
    (archive.thumbs / copy.name).unlink()
    assert {p.kind for p in verify(archive)} == {"photo altered", "thumb missing"}
    again = file_photo(archive, photo_of(source), source, [RegionOf("new", 1)])
    assert (again.new, again.measured) == (False, 0)
    assert verify(archive) == []


KILLED = """
import os, sys
from pathlib import Path
from swatchvault.archive import RegionOf, file_photo, files, open_archive, photos
from tests.swatchvault.factories import photo_of
archive, source, where = open_archive(sys.argv[1]), Path(sys.argv[2]), sys.argv[3]
if where == "copying":
    files._copy = lambda source, to: (to.write(b"half"), to.flush(), os._exit(9))
elif where == "before the rows":
    photos.record_photo = lambda *_: os._exit(9)
elif where == "before the commit":
    photos._put_measurement = lambda *_: os._exit(9)
file_photo(archive, photo_of(source), source, [RegionOf("new", 1)])
os._exit(9)
"""


@pytest.mark.parametrize(
    ("where", "kinds", "rows"),
    [
        ("copying", ["half-written file", "half-written file"], 0),  # the photo, its thumb
        ("before the rows", ["file without row", "file without row"], 0),
        ("before the commit", ["file without row", "file without row"], 0),
        ("after the commit", [], 1),
    ],
)
def test_a_killed_run_leaves_at_most_a_stray_file(archive, source, where, kinds, rows):
    program = [sys.executable, "-c", KILLED, str(archive.folder), str(source), where]
    assert subprocess.run(program, check=False).returncode == 9
    assert [p.kind for p in verify(archive)] == kinds
    assert count(archive, "photo") == rows
    assert sweep(archive) == []  # too young: a run may be at work
    filed = file_photo(archive, photo_of(source), source, [RegionOf("new", 1)])
    assert filed.new is (rows == 0)
    left = [p.kind for p in verify(archive)]
    assert left == (kinds if where == "copying" else [])
    assert len(sweep(archive, min_age_s=0.0)) == len(left)
    assert verify(archive) == []
    assert count(archive, "measurement") == 1


def test_a_file_swept_away_before_the_rows_is_noticed(archive, source, monkeypatch):
    stored = photos.store_files

    def store_then_lose(*arguments):
        size = stored(*arguments)
        sweep(archive, min_age_s=0.0)
        return size

    monkeypatch.setattr(photos, "store_files", store_then_lose)
    with pytest.raises(ArchiveError, match="add the photo again"):
        file_photo(archive, photo_of(source), source, [RegionOf("new", 1)])
    assert count(archive, "photo") == 0


def test_two_programs_filing_the_same_photos_lose_and_double_nothing(archive, tmp_path):
    sources = [photo_file(tmp_path, f"{i}.jpg", f"photo {i}".encode()) for i in range(8)]

    def run(_):
        with open_archive(archive.folder) as own:
            return [file_photo(own, photo_of(s), s, [RegionOf("new", 1)]).new for s in sources]

    with ThreadPoolExecutor(2) as pool:
        both = list(pool.map(run, range(2)))
    assert [sorted(pair) for pair in zip(*both, strict=True)] == [[False, True]] * 8
    assert (count(archive, "photo"), count(archive, "measurement")) == (8, 8)
    assert verify(archive) == []


def test_a_layout_is_kept_whole(archive):
    card = Reference("card", (SQUARE,), (0.18,), ((50.0, 0.0, 0.0),), None, "search", 0.5)
    chart = Reference(
        "chart24",
        (SQUARE,) * 24,
        None,
        ((50.0, 1.0, 2.0),) * 24,
        "after-2014-11",
        corners=ELSEWHERE,
    )
    own_scale = Layout(swatches=(SwatchRegion("a", SQUARE, across_mm=312.5),), located="mat")
    for place in (layout(("a", "b")), Layout(), Layout((card, chart), located="search"), own_scale):
        assert layout_from_text(layout_to_text(place)) == place


def test_a_layout_is_told_in_few_words():
    corners = ((0.1, 0.1), (0.9, 0.123456789), (0.9, 0.8), (0.1, 0.8))
    chart = chart_reference(corners, edition="after-2014-11")
    place = Layout((chart,), (SwatchRegion("new", SQUARE),))
    text = layout_to_text(place)
    assert json.loads(text) == {
        "references": [
            {
                "kind": "chart24",
                "corners": [[0.1, 0.1], [0.9, 0.123457], [0.9, 0.8], [0.1, 0.8]],
                "edition": "after-2014-11",
            }
        ],
        "swatches": [{"name": "new", "polygon": [list(p) for p in SQUARE]}],
    }
    back = layout_from_text(text)
    assert layout_to_text(back) == text
    near = (np.array(back.references[0].patches), np.array(chart.patches))
    assert np.allclose(*near, rtol=0, atol=1e-6)  # a hundredth of a pixel in 10,000
    moved = replace(chart, patches=(SQUARE, *chart.patches[1:]))
    assert layout_from_text(layout_to_text(Layout((moved,)))).references[0].patches[0] == SQUARE


def test_a_set_of_repeats_names_its_photos(archive, source):
    filed = file_photo(archive, photo_of(source), source, [RegionOf("new", 1)])
    window = add_setup(archive.conn, Setup("window")).id
    add_repeat_set(archive.conn, window, [filed.photo_sha256], 0.31, {"swatches": 4})
    assert export_rows(archive.conn, "repeat_set").records()[0]["frame_variance"] == 0.31
    with pytest.raises(ArchiveError, match="does not fit"):
        add_repeat_set(archive.conn, window, ["0" * 64], 0.31, {})
    assert count(archive, "repeat_set") == 1
