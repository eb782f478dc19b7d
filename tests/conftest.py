"""What every test shares: where outside photographs lie, the demo archive, and a clock's zone."""

import os
import shutil
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def outside_photos() -> Path:
    """The folder named in SWATCHVAULT_TEST_PHOTOS; tests that need it are skipped without it."""
    named = os.environ.get("SWATCHVAULT_TEST_PHOTOS")
    if not named:
        pytest.skip("SWATCHVAULT_TEST_PHOTOS names no folder of outside photographs")
    folder = Path(named)
    if not folder.is_dir():
        pytest.fail(f"SWATCHVAULT_TEST_PHOTOS is {named!r}, which is no folder")
    return folder


@pytest.fixture
def clock_in(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[str], None]]:
    """Sets this computer's clock to a zone, as TZ names it, for one test."""

    def set_to(zone: str) -> None:
        monkeypatch.setenv("TZ", zone)
        time.tzset()

    yield set_to
    monkeypatch.undo()
    time.tzset()


@pytest.fixture(scope="session")
def demo_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo archive, built once; do not write to it."""
    from swatchvault.cli import main

    folder = tmp_path_factory.mktemp("demo") / "studio"
    with pytest.raises(SystemExit) as stop:
        main(["demo", "--to", str(folder)])
    assert stop.value.code == 0
    return folder


@pytest.fixture(scope="module")
def demo(demo_once: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the demo archive for the tests of one file."""
    return Path(shutil.copytree(demo_once, tmp_path_factory.mktemp("demo_of_file") / "demo"))
