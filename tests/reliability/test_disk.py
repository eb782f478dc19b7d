"""Disks full or closed, photos that vanish, clocks that go back, names alike but for case."""

import errno
import json
import os
import shutil
import sqlite3
import subprocess
import sys
import time
from contextlib import contextmanager
from functools import partial
from pathlib import Path

import pytest

from swatchvault.archive import (
    Base,
    Dye,
    Master,
    add_base,
    add_dye,
    backup,
    create_archive,
    open_archive,
    set_master,
    verify,
)
from tests.reliability import kills, steps
from tests.reliability.content import contents, differences, integrity
from tests.reliability.running import has_ended, preload, run_fork, start_fork, wait_for
from tests.swatchvault.factories import studio


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    preload("swatchvault.commands.look", "swatchvault.commands.archive")
    return kills.prepare(tmp_path_factory.mktemp("bench"), 3, whole=False)


@pytest.fixture(scope="module")
def wanted_any_order(bench):
    return contents(bench.folder / "undisturbed-False", ids=False)


def add(bench, archive):
    return run_fork("add", bench.photos, "--archive", archive, "--workers", "1")


def told_plainly(text, *words):
    """Lines for a person, one of which has one of ``words``."""
    assert "Traceback" not in text
    assert any(w in text for w in words), text


# --- disk full -------------------------------------------------------------------------------


def fail_before(number):
    """From now on, the ``number``-th change of the archive on disk finds the disk full, once."""

    def full(name):
        if name == "execute":
            raise sqlite3.OperationalError("database or disk is full")
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    steps.watch_changes(number, full)


@pytest.mark.parametrize("number", [0, 20, 40, *range(60, 130, 8)])
def test_a_disk_that_is_full_at_any_write_is_told_and_harms_nothing(
    bench, wanted_any_order, tmp_path, number
):
    archive, out = tmp_path / "archive", tmp_path / "out.txt"
    create_archive(archive).close()
    words = ["add", str(bench.photos), "--archive", str(archive), "--workers", "1"]
    code = wait_for(start_fork(words, out, partial(fail_before, number)))
    text = out.read_text()
    assert code in (0, 1)  # 0 where only a part was left behind or closing was refused
    if code == 1:
        told_plainly(text, "No space left", "disk is full")
    assert integrity(archive) == "ok"
    assert {p.kind for p in kills.verify_folder(archive)} <= kills.LEFT_BY_A_KILL
    assert kills.filed_lines(out) <= kills.filed_in(archive)
    assert add(bench, archive)[0] == 0
    assert kills.verify_folder(archive) == []
    assert differences(wanted_any_order, contents(archive, ids=False)) == []


@contextmanager
def small_disk(place, size):
    """A file system of its own of ``size``; the test is skipped where none may be made."""
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(place)]
    if sys.platform != "linux" or shutil.which("mount") is None:
        pytest.skip("no small file system can be made here")
    if subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("a small file system needs the right to mount one")
    try:
        yield lambda option: subprocess.run(
            ["mount", "-o", f"remount,{option}", str(place)], check=True
        )
    finally:
        subprocess.run(["umount", "-l", str(place)], check=True)


@pytest.mark.parametrize("room_k", [40, 250, 520])
def test_a_full_disk_is_told_and_more_room_ends_in_the_same_archive(
    bench, wanted_any_order, tmp_path, room_k
):
    disk = tmp_path / "disk"
    with small_disk(disk, "64m") as remount:
        create_archive(disk / "archive").close()
        used_k = (shutil.disk_usage(disk).used + 1023) // 1024
        remount(f"size={used_k + room_k}k")
        code, text = add(bench, disk / "archive")
        assert code == 1
        told_plainly(text, "No space left", "disk is full", "make room")
        assert integrity(disk / "archive") == "ok"
        remount("size=64m")
        assert {p.kind for p in kills.verify_folder(disk / "archive")} <= kills.LEFT_BY_A_KILL
        assert add(bench, disk / "archive")[0] == 0
        assert kills.verify_folder(disk / "archive") == []
        assert differences(wanted_any_order, contents(disk / "archive", ids=False)) == []
        remount(f"size={(shutil.disk_usage(disk).used + 1023) // 1024}k")
        code, text = run_fork("backup", disk / "copy.db", "--archive", disk / "archive")
        assert code == 1
        told_plainly(text, "cannot write the copy", "make room")
        assert not (disk / "copy.db").exists()


@pytest.mark.parametrize("leave", [True, False], ids=["reader left", "disk full"])
def test_words_that_cannot_be_printed_are_no_trace(leave):
    if not leave and not Path("/dev/full").exists():
        pytest.skip("there is no device that is always full here")
    program = [sys.executable, "-m", "swatchvault", "--help"]
    with open("/dev/full" if not leave else os.devnull, "wb") as full:  # noqa: PTH123
        out = subprocess.PIPE if leave else full
        with subprocess.Popen(program, stdout=out, stderr=subprocess.PIPE, text=True) as ran:
            if leave:
                ran.stdout.close()
            said = ran.stderr.read()
    assert ran.returncode == 1
    assert "Traceback" not in said
    assert "Exception" not in said
    assert ("No space left" in said) is not leave


def test_a_database_that_cannot_be_read_is_one_line(bench, tmp_path):
    def broken():
        import swatchvault.archive as archive

        def unreadable(*_, **__):
            raise sqlite3.OperationalError("disk I/O error")

        archive.listing = unreadable

    archive, out = tmp_path / "archive", tmp_path / "out.txt"
    create_archive(archive).close()
    assert wait_for(start_fork(["list", "lots", "--archive", str(archive)], out, broken)) == 1
    assert out.read_text().count("\n") == 1
    told_plainly(out.read_text(), "make room if the disk is full")


def test_a_read_only_disk_is_told_and_nothing_changes(bench, tmp_path):
    disk = tmp_path / "disk"
    with small_disk(disk, "64m") as remount:
        create_archive(disk / "archive").close()
        before = contents(disk / "archive")
        remount("ro")
        for words in (("add", bench.photos), ("list", "lots")):
            code, text = run_fork(*words, "--archive", disk / "archive")
            assert code == 1
            told_plainly(text, "is read-only: allow writing")
        remount("rw")
        assert contents(disk / "archive") == before


# --- photos that vanish ----------------------------------------------------------------------


@pytest.mark.parametrize("when", ["measuring", "copying"])
def test_a_photo_that_vanishes_is_told_and_the_others_are_filed(bench, tmp_path, when):
    folder, archive, out = tmp_path / "batch", tmp_path / "archive", tmp_path / "out.txt"
    shutil.copytree(bench.photos, folder)
    create_archive(archive).close()
    gone = folder / "photo-01.jpg"

    def vanish():
        import ingest.decode
        from swatchvault.archive import files

        holder, name = (ingest.decode, "_read_bytes") if when == "measuring" else (files, "_copy")
        real = getattr(holder, name)

        def first_gone(path, *rest):
            if Path(path).name == gone.name:
                gone.unlink()
            return real(path, *rest)

        setattr(holder, name, first_gone)

    words = ["add", str(folder), "--archive", str(archive), "--workers", "1"]
    assert wait_for(start_fork(words, out, vanish)) == 1
    told_plainly(out.read_text(), "photo-01.jpg: there is no such file", "photo-01.jpg into the")
    assert kills.filed_lines(out) == {"photo-00.jpg", "photo-02.jpg"}
    assert kills.verify_folder(archive) == []
    shutil.copy(bench.photos / gone.name, gone)
    assert run_fork(*words)[0] == 0
    assert kills.filed_in(archive) == {f"photo-0{i}.jpg" for i in range(3)}


# --- clocks and names ------------------------------------------------------------------------


def test_a_clock_that_goes_back_loses_nothing(bench, tmp_path):
    archive = tmp_path / "archive"
    create_archive(archive).close()
    assert add(bench, archive)[0] == 0
    marks = tmp_path / "batch"
    shutil.copytree(bench.photos, marks)
    for path in marks.glob("*.marks.json"):  # a corner of the swatch is moved
        told = json.loads(path.read_text())
        told["swatches"][0]["polygon"][0][0] += 0.01
        path.write_text(json.dumps(told))

    def long_ago():
        from swatchvault.archive import photos

        photos.now = lambda: "1999-01-01T00:00:00Z"

    words = ["add", str(marks), "--archive", str(archive), "--workers", "1"]
    assert wait_for(start_fork(words, tmp_path / "out.txt", long_ago)) == 0
    assert (tmp_path / "out.txt").read_text().count("measured anew") == 3
    with open_archive(archive) as opened:
        assert verify(opened) == []
        sql = "SELECT max(measured_at), count(*) FROM current_measurement"
        assert tuple(opened.conn.execute(sql).fetchone()) == ("1999-01-01T00:00:00Z", 3)


def test_a_master_set_after_the_clock_went_back_is_the_master(tmp_path, monkeypatch):
    with create_archive(tmp_path / "archive") as archive:
        _, second = studio(archive.conn)
        set_master(archive.conn, Master("Low sun", "Lumme", "skein", "sun 1"))
        monkeypatch.setattr("swatchvault.archive.masters.now", lambda: "1999-01-01T00:00:00Z")
        set_master(archive.conn, Master("Low sun", "Lumme", "skein", "sun 2"))
        row = archive.conn.execute("SELECT swatch_id FROM current_masters").fetchall()
        assert [r[0] for r in row] == [second]


def test_photos_whose_names_differ_in_case_alone_are_two_photos(bench, tmp_path):
    folder, archive = tmp_path / "batch", tmp_path / "archive"
    shutil.copytree(bench.photos, folder)
    for old, new in (("photo-00", "Lot"), ("photo-01", "LOT")):
        for end in (".jpg", ".marks.json"):
            (folder / f"{old}{end}").rename(folder / f"{new}{end}")
        notes = folder / "photos.csv"
        notes.write_text(notes.read_text().replace(f"{old}.jpg", f"{new}.jpg"))
    if len(list(folder.glob("*.jpg"))) < 3:
        pytest.skip("this file system holds names that differ in case to be one")
    create_archive(archive).close()
    assert run_fork("add", folder, "--archive", archive, "--workers", "1")[0] == 0
    assert kills.verify_folder(archive) == []
    names = [p.name for p in (archive / "photos").iterdir()]
    assert len(names) == len({n.casefold() for n in names}) == 3


# --- copies ----------------------------------------------------------------------------------


def test_a_backup_taken_while_a_batch_is_filed_is_whole_and_restores(bench, tmp_path):
    archive, out = tmp_path / "archive", tmp_path / "out.txt"
    create_archive(archive).close()
    pid = kills.start(bench.photos, archive, out, False)
    copies = []
    while not has_ended(pid):
        time.sleep(0.03)
        copies.append(tmp_path / f"copy-{len(copies)}.db")
        with open_archive(archive) as opened:
            backup(opened.conn, copies[-1])
    assert wait_for(pid) == 0
    for copy in copies[:: max(len(copies) // 3, 1)]:
        restored = tmp_path / f"restored-{copy.stem}"
        restored.mkdir()
        copy.rename(restored / "archive.db")
        for place in ("photos", "thumbs"):
            shutil.copytree(archive / place, restored / place)
        assert integrity(restored) == "ok"
        # Photos copied after the database may be more than it knows of, never fewer.
        assert {p.kind for p in kills.verify_folder(restored)} <= {"file without row"}
        assert add(bench, restored)[0] == 0
        assert differences(bench.wanted, contents(restored)) == []


def test_an_archive_that_was_copied_closed_is_the_same(bench, tmp_path):
    archive = tmp_path / "archive"
    with create_archive(archive) as opened:
        add_base(opened.conn, Base("Lumme"))
        add_dye(opened.conn, Dye("Ember"))
    assert add(bench, archive)[0] == 0
    copy = shutil.copytree(archive, tmp_path / "copy")
    assert contents(copy) == contents(archive)
    assert kills.verify_folder(copy) == []
