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
    assert "steps by search (looks right), swatch" in " ".join(re.sub("<[^>]*>", "", page).split())
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


# -- a photo that is looked for and not filed --------------------------------------------------


async def looked_for(dyer: Any, **said: str) -> str:
    files = {"photo": ("shot.jpg", jpeg("harbour-1"))}
    answer = await dyer.post("/find", {"once": "x" * 20, **said}, files=files)
    assert answer.status_code == 303, answer.text
    page = (await dyer.get(answer.headers["location"].split("#")[0])).text
    return html.unescape(page)


def lab_shown(page: str) -> tuple[list[float], list[float]]:
    pattern = "".join(rf"{n} (\S+) ± ([\d.]+).*?" for n in (r"L\*", r"a\*", r"b\*"))
    found = re.search(pattern, page, re.S)
    assert found
    values = [float(v.replace("−", "-")) for v in found.groups()]
    return values[::2], values[1::2]


@pytest.mark.parametrize(("setup", "y"), [("", B_Y), ("window C", C_Y)])
async def test_find_reads_a_photo_by_the_dyers_own_steps(
    setup: str, y: tuple[float, ...], visitor: Visitor, tmp_path: Path
) -> None:
    page = await looked_for(visitor("dyer"), setup=setup, light="daylight")
    assert np.allclose(lab_shown(page)[0], as_measured(tmp_path, y), atol=0.06)
    assert "was found in this photo" not in page  # no word that there is no reference
    assert ("taken for your 'steps B'" in page) == (not setup)
    assert "any light" not in page


async def test_find_says_where_the_doubt_is_that_of_any_light(visitor: Visitor) -> None:
    dyer = visitor("dyer")
    daylight = await looked_for(dyer, light="daylight")
    unsaid = await looked_for(dyer)
    assert "± is that of any light, since none was told." in unsaid
    assert max(lab_shown(unsaid)[1]) > max(lab_shown(daylight)[1])
    refused = await dyer.post(
        "/find", {"once": "x" * 20, "light": "x"}, files={"photo": ("a.jpg", jpeg())}
    )
    assert (refused.status_code, "light is daylight" in refused.text) == (400, True)


async def test_find_says_why_steps_were_not_looked_for(visitor: Visitor, studio: Path) -> None:
    with open_archive(studio) as archive:
        archive.conn.execute("UPDATE setup SET reference_id = NULL")
        archive.conn.execute("DELETE FROM reference")
        archive.conn.commit()
    page = await looked_for(visitor("dyer"))
    assert "No grey card, steps or chart was found in this photo" in page
    assert "Neutral steps were not looked for" in page
