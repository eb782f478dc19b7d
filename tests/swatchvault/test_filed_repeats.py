"""Repeat photos of the archive teach what the same photos teach as files; which of them count."""

import json
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from ingest.model import Settings
from ingest.pipeline import measure_photo
from swatchvault.archive import (
    PhotoFacts,
    RegionOf,
    Setup,
    Swatch,
    add_setup,
    add_swatch,
    file_photo,
    learned_of_setup,
    open_archive,
)
from swatchvault.archive.aside import set_aside
from swatchvault.errors import CompareError
from swatchvault.filed_repeats import (
    DAMP,
    EARLY,
    ONCE,
    filed_repeats,
    learn_filed,
    lesson_of,
    lock_words,
)
from swatchvault.pair import Capture
from swatchvault.repeat_shots import shot_of
from swatchvault.repeats import learn, words
from tests.swatchvault.factories import dump
from tests.swatchvault.repeat_photos import file_repeats, shots, without_grey
from tests.swatchvault.running import run
from tests.swatchvault.test_liquor_command import photograph

LOCKED = ("--capture", "locked set-up")


@pytest.fixture
def archive(folder):
    with open_archive(folder) as opened:
        yield opened


def as_before(photo):
    return replace(photo, version="3")


def setup_of(archive, name="sill"):
    return archive.conn.execute("SELECT id FROM setup WHERE name = ?", (name,)).fetchone()[0]


def taught(archive, capture=Capture.LOCKED, chosen=None):
    there = filed_repeats(archive.conn, setup_of(archive))
    there = there if chosen is None else there.chosen(chosen)
    return learn_filed(lesson_of(archive, there), capture)


def test_filed_photos_teach_what_they_teach_as_files(archive, tmp_path):
    filed, seen = file_repeats(archive, tmp_path, "Lumme", scatter=1.0)
    by_files = learn([shot_of(photo, "daylight") for photo in seen], Capture.LOCKED)
    by_archive = taught(archive)
    assert words(by_archive) == words(by_files)
    assert np.allclose(by_archive.own.cov, by_files.own.cov, rtol=1e-9)
    assert set(by_archive.photos) == set(filed) and by_archive.swatches == by_files.swatches
    assert by_archive.to_be_said == ()


def test_the_command_learns_from_filed_photos_keeps_and_takes_back(archive, tmp_path, capsys):
    filed, seen = file_repeats(archive, tmp_path, "Lumme", scatter=1.0)
    by_files = learn([shot_of(photo, "daylight") for photo in seen], Capture.LOCKED)
    told = ("repeat", "--setup", "sill", "--filed", *LOCKED)
    ran = run(capsys, *told, "--dry-run")
    assert (ran.code, ran.out.splitlines()) == (0, words(by_files))
    assert learned_of_setup(archive.conn, setup_of(archive)) is None
    ran = run(capsys, *told)
    assert ran.code == 0 and ran.out.splitlines()[:-1] == words(by_files)
    assert "kept for the set-up 'sill'" in ran.out
    kept = learned_of_setup(archive.conn, setup_of(archive))
    assert set(kept["photos"]) == set(filed)
    linked = archive.conn.execute("SELECT photo_sha256 FROM repeat_photo").fetchall()
    assert {r[0] for r in linked} == set(filed)
    ran = run(capsys, *told, "--without", "repeat-0-3.jpg", "--without", filed[5][:12], "--json")
    assert set(json.loads(ran.out)["photos"]) == set(filed) - {filed[3], filed[5]}
    assert run(capsys, "repeat", "--setup", "sill", "--take-back").code == 0
    assert learned_of_setup(archive.conn, setup_of(archive)) == kept


@pytest.fixture(scope="module")
def rendered(tmp_path_factory):
    """Ten photos of four colours, each set up anew in its own light, and what they show."""
    folder, rng = tmp_path_factory.mktemp("rendered"), np.random.default_rng(1)
    colours = {"white": (0.5, 0.4, 0.12), "red": (0.3, 0.08, 0.06)}
    colours |= {"green": (0.07, 0.25, 0.1), "blue": (0.06, 0.1, 0.3)}
    found = []
    for number in range(10):
        light = 1.0 + 0.02 * rng.normal(size=3)
        seen = {name: np.array(rgb) * light for name, rgb in colours.items()}
        path = folder / f"repeat-{number}.png"
        photograph(path, seen, seed=number, moved=2 * number)
        found.append((path, measure_photo(path, settings=Settings(light="daylight"))))
    return found


@pytest.mark.parametrize(
    ("as_filed", "anew"),
    [
        ({}, 0),
        ({3: without_grey}, 1),
        ({2: as_before, 3: as_before}, 2),
        (dict.fromkeys(range(10), as_before), 0),
        ({**dict.fromkeys(range(9), as_before), 9: without_grey}, 10),
    ],
    ids=["all as needed", "no grey", "two of another version", "all of it", "mixed"],
)
def test_what_was_filed_without_all_that_is_needed_is_measured_anew(
    as_filed, anew, rendered, archive
):
    add_setup(archive.conn, Setup("sill", light="daylight"))
    names = sorted(s.name for s in rendered[0][1].swatches)
    ids = {n: add_swatch(archive.conn, Swatch(n, "Lumme", "wound card")).id for n in names}
    regions = [RegionOf(n, i) for n, i in ids.items()]
    for number, (path, found) in enumerate(rendered):
        filed = as_filed.get(number, lambda photo: photo)(found)
        file_photo(archive, filed, path, regions, PhotoFacts(setup_of(archive)))
    before = dump(archive.conn)
    right = learn([shot_of(photo, "daylight") for _, photo in rendered], Capture.SAME_SETUP)
    there = filed_repeats(archive.conn, setup_of(archive))
    lesson = lesson_of(archive, there)
    assert len(lesson.anew) == anew
    found = learn_filed(lesson, Capture.SAME_SETUP)
    assert words(found) == words(right)
    # places are kept to six decimals
    assert np.allclose(found.own.cov, right.own.cov, atol=1e-4)
    assert len(found.to_be_said) == bool(anew)
    assert not anew or "measured anew for this from the stored original" in found.to_be_said[0]
    assert dump(archive.conn) == before


def test_what_was_set_aside_or_is_damp_does_not_count(archive, tmp_path):
    filed, _ = file_repeats(archive, tmp_path, "Lumme", count=13)
    red = archive.conn.execute("SELECT id FROM swatch WHERE label = 'red'").fetchone()[0]
    set_aside(archive.conn, red, filed[0], "lamp on")
    archive.conn.execute("DROP TRIGGER measurement_is_not_changed")
    photo = "(SELECT id FROM layout WHERE photo_id = 2)"
    archive.conn.execute(f"UPDATE measurement SET dry = 0 WHERE layout_id = {photo}")
    there = filed_repeats(archive.conn, setup_of(archive))
    assert there.swatches == {"red": 11, "yellow": 12, "green": 12, "blue": 12}
    assert filed[1] not in {s.sha256 for s in there.shots}
    assert there.left_out == {DAMP: 4}
    assert [s.first.taken_at for s in there.shots] == sorted(
        (s.first.taken_at for s in there.shots), reverse=True
    )


def test_photos_from_before_the_last_dye_do_not_mix_with_later_ones(archive, tmp_path):
    """Dye went into lot L1 on 1 March: what was photographed in February is another colour."""
    names = ("red", "yellow", "green", "blue")
    add_swatch(archive.conn, Swatch("red", "Lumme", "wound card", "L1"))
    file_repeats(archive, tmp_path, "Lumme", names=names[1:])
    red = archive.conn.execute("SELECT id FROM swatch WHERE label = 'red'").fetchone()[0]
    for i, (path, found) in enumerate(shots(tmp_path, names=("red",), seed=1)):
        day = "2026-02-20" if i < 2 else "2026-03-20"
        one = replace(found, taken_at=f"{day}T10:00:{i:02d}")
        file_photo(archive, one, path, [RegionOf("red", red)])
    archive.conn.execute("UPDATE photo SET setup_id = ?", (setup_of(archive),))
    there = filed_repeats(archive.conn, setup_of(archive))
    assert (there.swatches["red"], there.left_out) == (10, {EARLY: 2})
    assert "2 from before the last dye went in" in there.left_out_words
    assert len(taught(archive).swatches) == 4


def test_a_swatch_in_one_photo_alone_is_not_offered(archive, tmp_path):
    file_repeats(archive, tmp_path, "Lumme", count=1)
    there = filed_repeats(archive.conn, setup_of(archive))
    assert (there.shots, there.left_out) == ((), {ONCE: 4})
    with pytest.raises(CompareError, match="no photos to learn from: needed 10"):
        learn_filed(lesson_of(archive, there), Capture.LOCKED)


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ({"count": 9}, "too few photos: needed 10 of each of 4 swatches .* 'blue' is in 9"),
        ({"names": ("red", "blue", "green")}, "3 different hues, needed 4: add swatches"),
    ],
)
def test_too_little_is_refused_in_one_line(how, said, archive, tmp_path, capsys):
    file_repeats(archive, tmp_path, "Lumme", **how)
    with pytest.raises(CompareError, match=said):
        taught(archive)
    ran = run(capsys, "repeat", "--setup", "sill", "--filed", *LOCKED)
    assert (ran.code, ran.err.count("\n")) == (1, 1)


def test_a_swatch_in_too_few_photos_is_left_out_and_told(archive, tmp_path):
    filed, seen = file_repeats(archive, tmp_path, "Lumme", count=12)
    blue = archive.conn.execute("SELECT id FROM swatch WHERE label = 'blue'").fetchone()[0]
    for sha256 in filed[:4]:
        set_aside(archive.conn, blue, sha256, "lamp on")
    with pytest.raises(CompareError, match="needed 4: add swatches; 'blue' is in 8 of the photos"):
        taught(archive)
    more = [shot_of(photo, "daylight") for photo in seen]
    later = shots(tmp_path, names=("red",), seed=2, count=2)
    more += [shot_of(replace(p, taken_at=None), "daylight") for _, p in later]
    odd = replace(more[0], colours={**more[0].colours, "ochre": more[0].colours["yellow"]})
    found = learn([odd, *more[1:]], Capture.LOCKED)
    assert found.swatches == ("blue", "green", "red", "yellow") and len(found.photos) == 14
    assert found.to_be_said == ("Left out, for needed are 10 photos: 'ochre' is in 1.",)


def test_copies_of_one_shot_are_kept_for_no_set_up(archive, tmp_path, capsys):
    file_repeats(archive, tmp_path, "Lumme", scatter=0.01)
    archive.conn.execute("UPDATE photo SET taken_at = '2026-04-01T10:00:00'")
    told = ("repeat", "--setup", "sill", "--filed", *LOCKED)
    assert "They look like copies of one shot" in run(capsys, *told, "--dry-run").out
    ran = run(capsys, *told)
    assert ran.code == 1 and "nothing is kept for the set-up 'sill'" in ran.err
    assert learned_of_setup(archive.conn, setup_of(archive)) is None


def test_filed_copies_are_known_by_their_small_pictures(archive, tmp_path):
    filed, _ = file_repeats(archive, tmp_path, "Lumme")
    folder = archive.thumbs
    for number, sha256 in enumerate(filed[1:4], 1):
        with Image.open(folder / f"{filed[0]}.jpg") as first:
            first.save(folder / f"{sha256}.jpg", quality=94 + number)
    found = taught(archive)
    assert found.one_shot == (
        "repeat-0-3.jpg, repeat-0-2.jpg, repeat-0-1.jpg and 1 more are one picture, in which "
        "nothing moved",
    )
    assert "nothing is certified" in " ".join(words(found))
    for sha256 in filed[:4]:
        (folder / f"{sha256}.jpg").write_bytes(b"no picture")
    (line,) = taught(archive).to_be_said
    assert line.startswith("The picture of 4 of the photos shows nothing to know copies by")


def test_greys_that_are_not_as_locked_settings_give_them_are_told(archive, tmp_path):
    _, seen = file_repeats(archive, tmp_path, "Lumme")
    known = [shot_of(photo, "daylight") for photo in seen]
    brighter = [replace(s, greys=(tuple(1.3 * g for g in s.greys[0]),)) for s in known[:2]]
    free = learn([*brighter, *known[2:]], Capture.LOCKED)
    (line,) = free.to_be_said
    assert line.startswith("The greys of 2 of the photos differ more than locked settings let them")
    assert "(repeat-0-0.jpg, repeat-0-1.jpg)" in line
    assert free.own.capture is Capture.SAME_SETUP and ", same set-up: two frames" in words(free)[0]
    half = [replace(s, greys=(tuple(1.3 * g for g in s.greys[0]),)) for s in known[:6]]
    (line,) = learn([*half, *known[6:]], Capture.LOCKED).to_be_said
    assert line.startswith("The greys of 6 of the photos differ")
    assert learn([*brighter, *known[2:]], Capture.SAME_SETUP).to_be_said == ()
    (line,) = learn([replace(known[0], greys=None), *known[1:]], Capture.LOCKED).to_be_said
    assert line.startswith("The grey of 1 of the photos is not known")
    free = learn([replace(known[0], greys=None), *known[1:]], Capture.SAME_SETUP)
    assert free.to_be_said == ()


def test_figures_of_two_versions_do_not_mix(tmp_path):
    both = [shot_of(p) for _, p in shots(tmp_path)]
    both += [shot_of(p) for _, p in shots(tmp_path, version="3", seed=1)]
    with pytest.raises(CompareError, match="versions 3 and 4 of the method"):
        learn(both, Capture.LOCKED)


@pytest.mark.parametrize(
    ("locked", "capture", "said"),
    [
        (True, Capture.LOCKED, ""),
        (True, Capture.SAME_SETUP, "use what locked photos teach, and not this"),
        (False, Capture.LOCKED, "is not told to be locked"),
        (None, Capture.LOCKED, "is not told to be locked"),
        (False, Capture.SAME_SETUP, ""),
    ],
)
def test_a_lock_that_is_told_otherwise_is_said(locked, capture, said):
    told = " ".join(lock_words(Setup("sill", locked=locked), capture))
    assert said in told and bool(said) == bool(told)


@pytest.mark.parametrize(
    "told",
    [
        ("--filed", *LOCKED),
        ("a.jpg", "--filed", "--setup", "sill", *LOCKED),
        ("--filed", "--setup", "sill"),
        ("--filed", "--setup", "sill", *LOCKED, "--light", "daylight"),
        ("--filed", "--setup", "sill", *LOCKED, "--card-y", "0.2"),
        ("a.jpg", *LOCKED, "--without", "a.jpg"),
        ("--filed", "--setup", "sill", "--take-back"),
    ],
)
def test_what_does_not_go_together_is_wrong_use(told, folder, capsys):
    assert run(capsys, "repeat", *told).code == 2
