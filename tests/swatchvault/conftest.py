"""What several files of this folder share: a small studio's archive, the pot's commands, the demo.

A file whose studio holds more brings its own ``template``; the fixtures after it copy that one.
"""

import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from swatchvault.archive import Archive, create_archive
from tests.swatchvault.factories import copy_of, studio
from tests.swatchvault.running import run


@pytest.fixture(scope="session")
def template(tmp_path_factory) -> Path:
    """The archive of the studio of `factories.py`, made once; do not write to it."""
    with create_archive(tmp_path_factory.mktemp("template") / "yarn") as made:
        studio(made.conn)
        return made.folder


@pytest.fixture
def archive(template, tmp_path) -> Iterator[Archive]:
    """A copy of ``template``, opened, that a test may change."""
    with copy_of(template, tmp_path / "yarn") as opened:
        yield opened


@pytest.fixture
def conn(archive) -> sqlite3.Connection:
    """Its database."""
    return archive.conn


@pytest.fixture
def folder(template, tmp_path, monkeypatch) -> Path:
    """A copy of ``template`` that a test may change; commands know it without ``--archive``."""
    copy_of(template, tmp_path / "yarn").close()
    monkeypatch.setenv("SWATCHVAULT_ARCHIVE", str(tmp_path / "yarn"))
    return tmp_path / "yarn"


@pytest.fixture
def pot(folder, capsys):
    """The pot's commands: what one prints, of its error where it is to end with another code."""

    def at_the_pot(*arguments, code=0):
        ran = run(capsys, "pot", *arguments)
        assert ran.code == code, ran.err or ran.out
        return ran.out if code == 0 else ran.err

    return at_the_pot


@pytest.fixture
def ask(demo, capsys):
    """What a command prints of the demo archive."""

    def asked(*arguments):
        ran = run(capsys, *arguments, "--archive", demo)
        assert ran.code == 0, ran.err
        return ran.out

    return asked
