"""Short forms of the long runs, and that each of them notices what it looks for."""

import os
import time
from dataclasses import replace
from multiprocessing import get_context

import pytest

from swatchvault.archive import create_archive, files, open_archive, photos
from tests.reliability import at_once, kills, pool, steps
from tests.reliability.content import contents, differences
from tests.reliability.mutants import BLACK_AND_WHITE, KINDS, mutant, wholes
from tests.reliability.running import preload, run_fork, wait_for


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    preload(*(f"swatchvault.commands.{m}" for m in ("look", "pots", "find")))
    return kills.prepare(tmp_path_factory.mktemp("bench"), 3, whole=False)


@pytest.mark.parametrize("number", range(1, 4))
def test_a_batch_killed_at_a_random_moment_ends_in_the_same_archive(bench, number):
    done = kills.one_round(bench, number, seed=3)
    assert done.wrong == ()


@pytest.mark.parametrize("number", [40, 57, 66, 90])
def test_a_batch_killed_before_a_change_of_the_disk_ends_in_the_same_archive(bench, number):
    done = steps.one_step(bench, number)
    assert done.killed
    assert done.wrong == ()


def say_too_early():
    """Break the program: a photo is told of before it is in the archive."""
    rows = photos.record_photo

    def told_first(archive, measurement, source, *rest):
        print(f"{source.name}: filed, one swatch", flush=True)
        if source.name == "photo-01.jpg":
            os.kill(os.getpid(), 9)
        return rows(archive, measurement, source, *rest)

    photos.record_photo = told_first


def keep_parts():
    """Break the program: what was half written stays."""
    import swatchvault.filing

    swatchvault.filing.remove_abandoned = lambda folder: []
    files._copy = lambda source, to: (to.write(b"half"), to.flush(), os.kill(os.getpid(), 9))


@pytest.mark.parametrize(
    ("harm", "words"),
    [
        (say_too_early, "photo-01.jpg was said to be filed and is lost"),
        (keep_parts, "half-written"),
    ],
)
def test_the_judge_of_kills_notices_harm(bench, tmp_path, monkeypatch, harm, words):
    archive, out = tmp_path / "archive", tmp_path / "out.txt"
    create_archive(archive).close()
    assert wait_for(kills.start(bench.photos, archive, out, False, harm)) == -9
    if harm is keep_parts:
        monkeypatch.setattr("swatchvault.filing.remove_abandoned", lambda folder: [])
    _, _, wrong = kills.judge(bench, archive, out, False)
    assert any(words in line for line in wrong)


def test_contents_differ_by_a_row_and_by_a_byte(bench, tmp_path):
    archive = tmp_path / "archive"
    create_archive(archive).close()
    assert wait_for(kills.start(bench.photos, archive, tmp_path / "out.txt", False)) == 0
    whole = contents(archive)
    assert differences(bench.wanted, whole) == []
    with open_archive(archive) as opened:
        opened.conn.execute("UPDATE lot SET note = 'x' WHERE id = 1")
        photo = next(iter(opened.photos.iterdir()))
        photo.write_bytes(photo.read_bytes() + b"x")
    lines = differences(whole, contents(archive))
    assert [line.split(":")[0] for line in lines] == ["files in photos", "lot"]


# --- broken pictures -------------------------------------------------------------------------


def test_sound_pictures_are_measured_and_mutants_are_the_same_each_time(tmp_path):
    for kind in KINDS:
        for i, data in enumerate(wholes()[kind]):
            outcome = "refused" if (kind, i) in BLACK_AND_WHITE else "measured"
            assert pool.try_bytes(0, kind, data, tmp_path).outcome == outcome
    assert mutant(7) == mutant(7)
    assert len({mutant(n)[1] for n in range(50)}) == 50


def test_mutants_are_refused_in_a_line_or_measured(tmp_path):
    found = [pool.try_bytes(n, *mutant(n, 2), tmp_path) for n in range(60)]
    assert [v for v in found if v.wrong] == []
    assert {v.outcome for v in found} == {"refused", "measured"}
    assert max(v.seconds for v in found) < pool.HANG_S


@pytest.mark.parametrize("number", [47, 330, 1594])
def test_mutants_that_once_went_wrong_do_so_no_more(tmp_path, number):
    """One colour channel in a raw file; a second colour in no piece; yarn without any light."""
    verdict = pool.try_bytes(number, *mutant(number, 1), tmp_path)
    assert verdict.wrong == ""


def test_the_pool_replaces_workers_that_hang_or_die_and_tells_of_words_and_traces(monkeypatch):
    def work(pipe, seed):
        pipe.send(pool.READY)
        while (number := pipe.recv()) is not None:
            if number == 1:
                os._exit(3)
            if number == 2:
                time.sleep(60)
            pipe.send(pool.Verdict(number, "JPEG", "refused", "", 0.0, 2000.0 * (number == 3)))

    monkeypatch.setattr(pool, "_work", work)
    monkeypatch.setattr(pool, "HANG_S", 1.0)
    monkeypatch.setattr(pool, "start_context", lambda: get_context("fork"))
    found = {v.number: v for v in pool.try_many(range(6), 1, 1)}
    assert sorted(found) == list(range(6))
    assert found[1].wrong == "the process died (3)"
    assert found[2].wrong == "no answer in 1 s"
    assert [n for n in found if found[n].wrong] == [1, 2]


@pytest.mark.parametrize(
    ("harm", "words"),
    [
        (lambda job: 1 / 0, "ZeroDivisionError"),
        (lambda job: os.write(2, b"library speaks\n") and None, "standard error"),
        (lambda job: replace(pool_outcome(job), error="two\nlines"), "not a plain line"),
    ],
)
def test_the_judge_of_mutants_notices_harm(tmp_path, monkeypatch, harm, words):
    def broken(job):
        return harm(job) or pool_outcome(job)

    monkeypatch.setattr(pool, "measure_one", broken)
    assert words in pool.try_bytes(0, "JPEG", b"no picture", tmp_path).wrong


def pool_outcome(job):
    from swatchvault.batch import measure_one

    return measure_one(job)


# --- all at once -----------------------------------------------------------------------------


def test_writers_and_readers_at_once_lose_and_double_nothing():
    report, wrong = at_once.run_by_command(3, 3, 3.0)
    assert wrong == []
    assert report.reads > 3
    assert len(report.written) > 3


def test_the_judge_of_writers_notices_what_is_missing_doubled_or_refused(tmp_path):
    archive = at_once.make_shared_archive(tmp_path / "archive")
    written = at_once.write_by_command(archive, tmp_path, "w", 1)
    assert at_once.missing_or_doubled(archive, [written]) == []
    lost = at_once.Written("photo", "lost.jpg")
    assert at_once.missing_or_doubled(archive, [written, lost]) == [
        "photo 'lost.jpg' is there 0 times"
    ]
    run_fork("pot", "look", at_once.SHARED_POT, "--note", written.name, "--archive", archive)
    assert "2 times" in at_once.missing_or_doubled(archive, [written])[0]
    assert "never told" in at_once.missing_or_doubled(archive, [])[0]

    def refused(number):
        at_once.told(run_fork("show", "lot", "nowhere", "--archive", archive))

    assert "nowhere" in at_once.run_at_once([], [refused], 0.2).errors[0]
