"""Which dyes get to a colour, on its page: the command's own ranking, figures and refusals."""

from __future__ import annotations

import html
import json
import re
import sqlite3
from collections.abc import Callable
from pathlib import Path
from urllib.parse import urlencode

import pytest

from swatchvault.archive import create_archive
from swatchvault.web.studio import datasette_of
from tests.swatchvault.running import run
from tests.swatchvault.test_shade_commands import fill
from tests.web.conftest import Client

pytestmark = pytest.mark.anyio

Visitor = Callable[[str], Client]


@pytest.fixture(scope="module")
def yarn(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A base whose lots know several dyes, of other dyes and of mixtures."""
    folder = tmp_path_factory.mktemp("ways")
    with create_archive(folder / "yarn") as archive:
        fill(archive, folder)
    return folder / "yarn"


@pytest.fixture
async def kitchen(yarn: Path) -> Visitor:
    served = datasette_of(yarn)
    await served.invoke_startup()
    return lambda role: Client(served, role)


def number(folder: Path, table: str, column: str, name: str) -> int:
    with sqlite3.connect(folder / "archive.db") as conn:
        sql = f"SELECT id FROM {table} WHERE {column} = ?"
        return int(conn.execute(sql, (name,)).fetchone()[0])


async def page_of(visitor: Visitor, path: str, status: int = 200, role: str = "dyer") -> str:
    answer = await visitor(role).get(path)
    assert answer.status_code == status, answer.text
    return html.unescape(answer.text)


def ways_in(page: str) -> list[str]:
    listed = page.split('<ol class="hits">')[1].split("</ol>")[0]
    return listed.split("<li>")[1:]


async def test_it_ranks_as_the_command_does(
    kitchen: Visitor, yarn: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    options = ["--base", "Sock Fine", "--without", "Tarn", "--most-dyes", "2", "--k-l", "1"]
    told = json.loads(run(capsys, "reach", "s5", *options, "--archive", yarn, "--json").out)
    asked = {"swatch": number(yarn, "swatch", "label", "s5"), "without": "Tarn", "most": "2"}
    page = await page_of(kitchen, f"/ways?{urlencode({**asked, 'k_l': '1'})}")
    shown = ways_in(page)
    assert len(shown) == len(told["recipes"]) > 3
    for way, record in zip(shown, told["recipes"], strict=True):
        figures = f"ΔE00 {record['delta_e_00']:.1f}; 19 of 20 within"
        assert f"{figures} {record['target_within_95']:.1f}<" in way
        for value, u in zip(record["lab"], record["u_lab"], strict=True):
            assert f"{value:.1f} ± {u:.1f}" in way
        assert ("other dyes" if record["other_dyes"] else "same dyes") in way
        assert all(f"{dye} {depth:.2g} %" in way for dye, depth in record["recipe"].items())
        assert "Tarn" not in way
    assert told["could_another"].removeprefix("s") in page
    untried = ", ".join(told["not_tried_on_this_base"])
    assert f"Not tried on this base, so not proposed: {untried}." in page
    assert "part under another light" in page and "A prediction is no dyed swatch" in page
    assert f"The {told['lots']} lots it is learned from, and 8 left out" in page
    assert "kL = 1" in page


async def test_a_way_is_written_down_and_foretold_by_those_who_may(
    kitchen: Visitor, yarn: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = f"/ways?{urlencode({'what': '45,20,-10', 'base': 'Sock Fine'})}"
    ran = run(capsys, "reach", "45,20,-10", "--base", "Sock Fine", "--archive", yarn, "--json")
    best = json.loads(ran.out)["recipes"][0]
    first = ways_in(await page_of(kitchen, asked))[0]
    address = first.split('href="/recipe/new?')[1].split('"')[0]
    form = await page_of(kitchen, f"/recipe/new?{address}")
    assert "<option selected>Sock Fine</option>" in form
    for dye, depth in best["recipe"].items():
        assert f"<option selected>{dye}</option>" in form
        assert f'value="{float(f"{depth:.3g}"):.4g}" inputmode' in form
    foretold = await page_of(kitchen, f"/foretell?{first.split('/foretell?')[1].split(chr(34))[0]}")
    shown = re.findall(r"[Lab]\* -?[\d.]+ ± [\d.]+", foretold)
    assert shown == [
        f"{name}* {value:.1f} ± {u:.1f}"
        for name, value, u in zip("Lab", best["lab"], best["u_lab"], strict=True)
    ]
    helper = ways_in(await page_of(kitchen, asked, role="helper"))[0]
    assert "/recipe/new" not in helper and "/foretell?" in helper


async def test_notes_of_the_target_stand_above(kitchen: Visitor, yarn: Path) -> None:
    knit = {"swatch": number(yarn, "swatch", "label", "goal knit")}
    page = await page_of(kitchen, f"/ways?{urlencode(knit)}")
    assert "<strong>Note:</strong> The target is a knit, the lots are each a wound card" in page
    page = await page_of(kitchen, f"/ways?{urlencode({'what': '#7a4b90', 'base': 'Sock Fine'})}")
    assert "<strong>Note:</strong> A hex colour is a screen's" in page
    picked = urlencode({"by": "colour", "l": "50", "c": "150", "h": "30", "base": "Sock Fine"})
    assert "No surface that only reflects" in await page_of(kitchen, f"/ways?{picked}")


@pytest.mark.parametrize(
    ("asked", "said", "status"),
    [
        ({"what": "50,0,0", "base": "Thin Air"}, "at least 6 measured lots", 200),
        ({"what": "50,0,0", "base": "Untouched"}, "photograph its lots", 200),
        ({"what": "50,0,0", "base": "Nowhere"}, "unknown base", 404),
        ({"what": "nonsense", "base": "Sock Fine"}, "unknown swatch", 404),
        ({"swatch": "999999"}, "not in the archive", 404),
        ({"what": "50,0,0", "base": "Sock Fine", "most": "9"}, "choose 1, 2, 3, 4", 400),
        ({"what": "50,0,0", "base": "Sock Fine", "without": "Nix"}, "unknown dye", 404),
        ({"what": "50,0,0", "base": "Sock Fine", "k_l": "-1"}, "must be above 0", 400),
        ({"by": "photo", "photo": "gone", "base": "Sock Fine"}, "not kept any more", 400),
    ],
)
async def test_what_it_cannot_tell_it_says(
    kitchen: Visitor, asked: dict[str, str], said: str, status: int
) -> None:
    page = await page_of(kitchen, f"/ways?{urlencode(asked)}", status)
    told = page.split('role="alert"')[1].split("</p>")[0]
    assert said.casefold() in told.casefold()
    assert 'class="hits"' not in page


async def test_without_a_base_it_asks_for_one(kitchen: Visitor) -> None:
    page = await page_of(kitchen, "/ways?what=50,0,0")
    assert "alert" not in page.split("<main")[1] and 'class="hits"' not in page
    assert 'name="what" value="50,0,0"' in page.split("<form")[1]
    assert "The colour wanted: a swatch" in await page_of(kitchen, "/ways")


async def test_a_swatch_a_colourway_and_find_lead_there(visitor: Visitor, studio: Path) -> None:
    swatch = number(studio, "swatch", "label", "NF-1 card")
    colourway = number(studio, "colourway", "name", "Ninth Furrow")
    for path in (f"/swatch/{swatch}", f"/colourway/{colourway}"):
        assert f'href="/ways?swatch={swatch}"' in await page_of(visitor, path)
    picked = {"by": "colour", "l": "38", "c": "27", "h": "26", "base": "Orrin four-ply"}
    found = await page_of(visitor, f"/find?{urlencode({**picked, 'n': '5', 'what': 'x'})}")
    led = found.split('href="/ways?')[1].split('"')[0]
    assert led == urlencode(picked)
    assert "<strong><bdi>Brackle brown" in ways_in(await page_of(visitor, f"/ways?{led}"))[0]


async def test_a_copy_without_recipes_says_that_it_is_not_in_it(
    studio: Path, tmp_path: Path
) -> None:
    from swatchvault.archive import open_archive
    from swatchvault.archive.publishing import publish

    swatch = number(studio, "swatch", "label", "NF-1 card")
    colourway = number(studio, "colourway", "name", "Ninth Furrow")
    for recipes, status in ((False, 404), (True, 200)):
        with open_archive(studio) as archive:
            publish(archive, tmp_path / f"copy {recipes}", recipes=recipes)
        served = datasette_of(tmp_path / f"copy {recipes}", public=True)
        await served.invoke_startup()
        answer = await served.client.get(f"/ways?swatch={swatch}")
        assert answer.status_code == status
        assert ("How colours were made is not in this copy" in answer.text) == (not recipes)
        assert ("Pellow red" in answer.text) == recipes
        for path in (f"/swatch/{swatch}", f"/colourway/{colourway}", "/find?what=45,20,10"):
            assert ("/ways" in (await served.client.get(path)).text) == recipes, path
