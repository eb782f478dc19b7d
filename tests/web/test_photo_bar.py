"""The mat's bar as measured on a print: the page stores what the command line stores."""

from __future__ import annotations

import html
import io
import json
import re
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from ingest.errors import MarksError
from ingest.mat import find_mat
from ingest.matsheet import LEAST_BAR_MM, MOST_BAR_MM
from swatchvault.archive import create_archive
from swatchvault.web.matbar import bar_of_text, by_bar
from tests.render.mat import random_view
from tests.swatchvault.running import run
from tests.web.newphotos import jpeg, marks
from tests.web.test_photos import marked, measured, once, sent

pytestmark = pytest.mark.anyio
Visitor = Callable[[str], Any]


def on_mat() -> bytes:
    from PIL import Image

    coded = io.BytesIO()
    Image.fromarray(random_view(0, 2000).pixels).save(coded, "JPEG", quality=90)
    return coded.getvalue()


def offered(page: str) -> dict[str, Any]:
    text = re.search(r'<textarea id="marks"[^>]*>(.*?)</textarea>', page, re.DOTALL)
    assert text
    found: dict[str, Any] = json.loads(html.unescape(text.group(1)))
    return found


def lengths(folder: Path) -> list[tuple[float, dict[str, float]]]:
    """Of each photo on a mat: the scale's mm, and of each swatch how wide the picture is there."""
    with sqlite3.connect(folder / "archive.db") as conn:
        rows = conn.execute("SELECT marks FROM layout WHERE superseded_by IS NULL ORDER BY id")
        said = [json.loads(text) for (text,) in rows]
    return [
        (s["scale"]["mm"], {w["name"]: w["across_mm"] for w in s["swatches"]})
        for s in said
        if "across_mm" in s["swatches"][0]
    ]


async def test_the_page_stores_the_lengths_that_the_command_line_stores(
    visitor: Visitor, studio: Path, tmp_path: Path, capsys: Any
) -> None:
    picture = tmp_path / "mat.jpg"
    picture.write_bytes(on_mat())
    with create_archive(tmp_path / "other"):
        pass
    dyer = visitor("dyer")
    sha256 = await sent(dyer, on_mat())
    found = offered((await dyer.get(f"/photos/{sha256}/mark")).text)
    assert found["scale"]["mm"] == 100.0
    names = [s["name"] for s in found["swatches"]]
    asked: list[Any] = [
        "add",
        picture,
        "--archive",
        tmp_path / "other",
        "--no-card",
        "--bar-mm",
        90,
    ]
    asked += ["--region", names[0], "--swatch", "m 1", "--base", "Lumme", "--form", "skein"]
    ran = run(capsys, *asked, "--create")
    assert ran.code == 0, ran.err
    ((mm, widths),) = lengths(tmp_path / "other")
    assert mm == 90.0

    told = {"no_card": "yes", "bar_mm": "95"}
    await marked(dyer, sha256, found, **told)
    again = (await dyer.get(f"/photos/{sha256}/mark")).text
    assert 'name="bar_mm" value="95"' in again
    assert offered(again)["scale"]["mm"] == 95.0
    answer = await marked(dyer, sha256, offered(again), **{**told, "bar_mm": "90 mm"})
    assert answer.status_code == 303, answer.text
    await measured(dyer, sha256)
    page = (await dyer.get(f"/photos/{sha256}/shows")).text
    form = {"once": once(page), "swatch_0": "m 1", "base_0": "Tebbet double", "form_0": "skein"}
    form["undyed_0"] = "yes"
    kept = await dyer.post(f"/photos/{sha256}/shows", form)
    assert kept.status_code == 303, kept.text
    ((on_page, widths_on_page),) = lengths(studio)
    assert on_page == 90.0 and widths_on_page == pytest.approx(widths, rel=1e-6)

    anew = (await dyer.get(f"/photos/{sha256}/mark")).text  # and marked anew it is known
    assert 'name="bar_mm" value="90"' in anew
    await marked(dyer, sha256, offered(anew), no_card="yes", bar_mm="90")
    assert offered((await dyer.get(f"/photos/{sha256}/mark")).text)["scale"]["mm"] == 90.0


def test_a_length_of_the_persons_own_stays() -> None:
    of_mat = {"from": [0.2, 0.5], "to": [0.8, 0.5], "mm": 100.0}
    found = {"located": "mat", "marks": {"scale": of_mat, "swatches": [{"across_mm": 400.0}]}}
    ruler = {"scale": {**of_mat, "mm": 60.0}, "swatches": [{"name": "new"}]}
    kept, after = by_bar(ruler, found, 90.0)
    assert kept == ruler
    assert after["marks"]["scale"]["mm"] == 90.0
    assert after["marks"]["swatches"] == [{"across_mm": 360.0}]
    searched = {**found, "located": "search"}
    assert by_bar(found["marks"], searched, 90.0) == (found["marks"], searched)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("typed", "mm"),
    [
        ("", 100.0), ("97", 97.0), ("97.5 MM", 97.5),
        ("97,5", 97.5), ("90 mm", 90.0), ("90mm", 90.0), ("9.2 cm", 92.0),
        ("3.5 in", 88.9), ("3,5 inches", 88.9), ('3.9"', 99.06), ("4 IN.", 101.6),
    ],
)  # fmt: skip
def test_a_bar_is_read_with_its_unit(typed: str, mm: float) -> None:
    assert bar_of_text(typed) == pytest.approx(mm)


@pytest.mark.parametrize(
    "typed", ["60", "131", "3.5", "90 m", "90 kg", "long", "1,250", "-90", "nan"]
)
async def test_a_bar_that_cannot_be_is_told_and_the_marks_stay(
    typed: str, visitor: Visitor
) -> None:
    dyer = visitor("dyer")
    sha256 = await sent(dyer, jpeg())
    moved = marks()
    moved["swatches"][0]["polygon"][0] = [0.111, 0.222]
    answer = await marked(dyer, sha256, moved, light="daylight", bar_mm=typed)
    said = html.unescape(answer.text)
    assert answer.status_code == 400
    assert f"The mat's bar is '{typed}', and must be 70 to 130 mm" in said
    assert offered(answer.text) == moved
    assert f'name="bar_mm" value="{typed}"' in said


@pytest.mark.parametrize("bar_mm", [LEAST_BAR_MM - 0.1, MOST_BAR_MM + 0.1])
def test_the_range_is_that_of_the_command_line(bar_mm: float) -> None:
    photo = random_view(0, 600)
    with pytest.raises(MarksError, match="70 to 130"):
        find_mat(photo, bar_mm=bar_mm)
