"""What every test shares: where outside photographs lie."""

import os
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
