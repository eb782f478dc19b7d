"""Steps that the page found, and the set-up that is chosen after: whose values count."""

from __future__ import annotations

import html
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ingest.model import Settings
from ingest.pipeline import measure_photo
from swatchvault.archive import OwnedReference, Setup, add_reference, add_setup, open_archive
from tests.web.newphotos import jpeg
from tests.web.test_photos import marked, measured, sent

pytestmark = pytest.mark.anyio
Visitor = Callable[[str], Any]

B_Y = (0.9, 0.59, 0.36, 0.195, 0.09, 0.032)
C_Y = (0.85, 0.495, 0.27, 0.15, 0.08, 0.045)


@pytest.fixture
def studio(studio: Path) -> Path:
    """The demo archive, with steps of the dyer's own and a set-up of each."""
    with open_archive(studio) as archive:
        for name, y in (("steps C", C_Y), ("steps B", B_Y)):
            add_reference(archive.conn, OwnedReference(name, "steps", y=y))
            add_setup(archive.conn, Setup(f"window {name[-1]}", reference=name))
        add_setup(archive.conn, Setup("bare window"))
    return studio


def marks_of(page: str) -> dict[str, Any]:
    found = re.search(r"<textarea[^>]*>(.*?)</textarea>", page, re.S)
    assert found
    said: dict[str, Any] = json.loads(html.unescape(found.group(1)))
    return said


def as_measured(tmp_path: Path, y: tuple[float, ...]) -> Any:
    photo = tmp_path / "alone.jpg"
    photo.write_bytes(jpeg("harbour-1"))
    return measure_photo(photo, settings=Settings(steps_y=y, light="daylight")).swatches[0].lab


@pytest.mark.parametrize(
    ("setup", "y"), [("window C", C_Y), ("window B", B_Y), ("bare window", B_Y), ("", B_Y)]
)
async def test_the_chosen_set_ups_steps_count(
    setup: str, y: tuple[float, ...], visitor: Visitor, tmp_path: Path
) -> None:
    dyer = visitor("dyer")
    sha256 = await sent(dyer, jpeg("harbour-1"))
    page = (await dyer.get(f"/photos/{sha256}/mark")).text
    marks = marks_of(page)
    (steps,) = marks["references"]  # no photo of a set-up is filed: the newest reference was tried
    assert steps["kind"] == "steps" and "y" not in steps
    assert 'data-steps="0.9 0.59' in page and 'data-steps-of="steps B"' in page
    await marked(dyer, sha256, marks, light="daylight", setup=setup)
    (region,) = (await measured(dyer, sha256))["regions"]
    assert np.allclose(region["lab"], as_measured(tmp_path, y), atol=0.02)


async def test_values_that_were_typed_count_and_are_said_to_differ(
    visitor: Visitor, tmp_path: Path
) -> None:
    dyer = visitor("dyer")
    sha256 = await sent(dyer, jpeg("harbour-1"))
    marks = marks_of((await dyer.get(f"/photos/{sha256}/mark")).text)
    marks["references"][0]["y"] = list(B_Y)
    await marked(dyer, sha256, marks, light="daylight", setup="window C")
    (region,) = (await measured(dyer, sha256))["regions"]
    assert np.allclose(region["lab"], as_measured(tmp_path, B_Y), atol=0.02)
    assert "values differ" in [name for name, _ in region["flags"]]
