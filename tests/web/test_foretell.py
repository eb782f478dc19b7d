"""What a recipe will give, on its page: the command's own figures and notes, and its refusals."""

from __future__ import annotations

import html
import json
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest

from tests.swatchvault.running import run
from tests.web.conftest import Client

pytestmark = pytest.mark.anyio

Visitor = Callable[[str], Client]
BASE = "Orrin four-ply"


def ask(studio: Path, sql: str, *values: object) -> Any:
    with sqlite3.connect(studio / "archive.db") as conn:
        return conn.execute(sql, values).fetchone()


def recipe_of(studio: Path, colourway: str) -> int:
    sql = "SELECT recipe.id FROM recipe JOIN colourway AS c ON c.id = colourway_id WHERE c.name = ?"
    return int(ask(studio, sql, colourway)[0])


async def page_of(visitor: Visitor, path: str, status: int = 200, role: str = "dyer") -> str:
    answer = await visitor(role).get(path)
    assert answer.status_code == status, answer.text
    return html.unescape(answer.text)


def axes(record: dict[str, Any]) -> list[str]:
    """L*, a*, b* with their ± as the pages write them."""
    told = zip(("L*", "a*", "b*"), record["lab"], record["u_lab"], strict=True)
    return [f"{name} {value:.1f} ± {u:.1f}" for name, value, u in told]


@pytest.mark.parametrize("role", ["dyer", "helper"])
async def test_it_gives_the_command_s_figures_and_notes(
    visitor: Visitor, studio: Path, capsys: pytest.CaptureFixture[str], role: str
) -> None:
    options = ["--colourway", "Ninth Furrow", "--times", "0.5", "--against", "NF-4 card"]
    ran = run(capsys, "predict", BASE, *options, "--archive", studio, "--json")
    told = json.loads(ran.out)
    number = recipe_of(studio, "Ninth Furrow")
    asked = urlencode({"recipe": number, "times": "0.5", "against": "NF-4 card"})
    page = await page_of(visitor, f"/foretell?{asked}", role=role)
    assert told["inside"]
    for words in axes(told):
        assert words in page
    assert f"within ΔE00 {told['within_95']:.1f} of it" in page
    away = f"ΔE00 {told['delta_e_00']:.1f} away; 19 of 20 such pots within"
    assert f"Swatch NF-4 card: {away} {told['target_within_95']:.1f}" in page
    assert f"about ΔE00 {told['photos_share_delta_e_00']:.1f}, is not in the ±" in page
    assert f"The {told['lots']} lots it is learned from, and 1 left out" in page
    for lot, why in told["left_out"].items():
        (lot_id,) = ask(studio, "SELECT id FROM lot WHERE code = ?", lot)
        assert f'<a href="/lot/{lot_id}"><bdi>{lot}</bdi></a>: {why}' in page
    assert told["why"] in page and "ΔE00 with kL = 2 throughout." in page
    assert "A prediction is no dyed swatch" in page
    assert ("Write it down as a recipe" in page) == (role == "dyer")


async def test_dyes_are_typed_and_written_down(
    visitor: Visitor, studio: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ran = run(
        *(capsys, "predict", BASE, "Pellow red=0.4", "Brackle brown=0.5", "--k-l", "1"),
        *("--archive", studio, "--json"),
    )
    told = json.loads(ran.out)
    dyes = {"dye1": "Pellow red", "depth1": "0,2", "dye3": "Brackle brown", "depth3": "0.25 %"}
    asked = {"base": BASE, **dyes, "times": "2", "k_l": "1"}
    page = await page_of(visitor, f"/foretell?{urlencode(asked)}")
    assert all(words in page for words in axes(told))
    assert f"within ΔE00 {told['within_95']:.1f} of it" in page and "kL = 1" in page
    address = page.split('href="/recipe/new?')[1].split('"')[0]
    form = await page_of(visitor, f"/recipe/new?{address}")
    assert f"<option selected>{BASE}</option>" in form
    for row, (dye, depth) in enumerate([("Brackle brown", "0.5"), ("Pellow red", "0.4")], 1):
        assert f'name="depth{row}" value="{depth}"' in form
        assert f"<option selected>{dye}</option>" in form


async def test_written_down_for_another_base_a_recipe_keeps_its_steps(
    visitor: Visitor, studio: Path
) -> None:
    number = recipe_of(studio, "Ninth Furrow")
    asked = urlencode({"recipe": number, "base": BASE, "times": "0.5"})
    page = await page_of(visitor, f"/foretell?{asked}")
    form = await page_of(
        visitor, "/recipe/new?" + page.split('href="/recipe/new?')[1].split('"')[0]
    )
    assert f'name="came_from" value="{number}"' in form
    assert "hold, 90 °C, 25 min" in form
    assert 'name="depth1" value="0.225"' in form and 'name="depth2" value="0.15"' in form
    as_it_is = await page_of(visitor, f"/foretell?recipe={number}")
    assert "The prediction" in as_it_is and "Write it down" not in as_it_is


@pytest.mark.parametrize(
    ("asked", "said", "status"),
    [
        ({"base": "Tebbet double"}, "at least 6 measured lots dyed on this undyed base", 200),
        ({"base": BASE, "times": "0"}, "more than 0", 400),
        ({"base": BASE, "times": "much"}, "times the depth cannot be read", 400),
        ({"base": BASE, "times": "400"}, "at most 100 %", 400),
        ({"base": BASE, "depth1": "much"}, "depth of Pellow red cannot be read from 'much'", 400),
        ({"base": BASE, "dye2": "Pellow red", "depth2": "1"}, "there twice", 400),
        ({"base": BASE, "dye2": "Marn blue"}, "the depth of Marn blue is missing", 400),
        ({"base": BASE, "depth2": "3"}, "3 % of which dye", 400),
        ({"base": BASE, "dye1": "Nothing"}, "unknown dye", 404),
        ({"base": "Nowhere"}, "unknown base", 404),
        ({"base": BASE, "against": "nonsense"}, "unknown swatch", 404),
        ({"base": BASE, "form": "heap"}, "choose one from the list", 400),
        ({"base": BASE, "k_l": "0"}, "kL is 0, and must be above 0", 400),
        ({"base": BASE, "form": "skein"}, "no measured swatch as skein", 200),
    ],
)
async def test_what_it_cannot_foretell_it_says(
    visitor: Visitor, asked: dict[str, str], said: str, status: int
) -> None:
    dyes = {"dye1": "Pellow red", "depth1": "0.3"}
    page = await page_of(visitor, f"/foretell?{urlencode({**dyes, **asked})}", status)
    told = page.split('role="alert"')[1].split("</p>")[0]
    assert said.casefold() in told.casefold()
    assert "The prediction" not in page and "± " not in page


async def test_outside_what_the_lots_have_seen_no_colour_is_shown(
    visitor: Visitor, studio: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    dyes = urlencode({"base": BASE, "dye1": "Pellow red", "depth1": "40"})
    page = await page_of(visitor, f"/foretell?{dyes}")
    ran = run(capsys, "predict", BASE, "Pellow red=40", "--archive", studio, "--json")
    told = json.loads(ran.out)
    assert f"No prediction: outside what the lots have seen.</strong> {told['why']}" in page
    assert all(note in page for note in told["warnings"]) and told["warnings"]
    assert "predicted colour" not in page and "19 of 20 such" not in page


async def test_a_recipe_leads_there_and_one_in_parts_for_each_part(
    visitor: Visitor, studio: Path
) -> None:
    whole = recipe_of(studio, "Ninth Furrow")
    page = await page_of(visitor, f"/recipe/{whole}")
    form = page.split('action="/foretell"')[1].split("</form>")[0]
    assert f'name="recipe" value="{whole}"' in form and f"<option selected>{BASE}</option>" in form
    (parted,) = ask(
        studio, "SELECT recipe_id FROM recipe_part GROUP BY recipe_id HAVING count(*) > 1"
    )
    page = await page_of(visitor, f"/recipe/{parted}")
    assert "which have no one colour; each by itself" in page
    part = await page_of(visitor, "/foretell?" + page.split('href="/foretell?')[1].split('"')[0])
    assert "value" in part.split('name="depth1"')[1][:12]
    refused = await page_of(visitor, f"/foretell?recipe={parted}", 400)
    assert "which have no one colour: give the dyes of one part instead" in refused
    base = await page_of(visitor, "/base/1")
    assert "What a recipe will give on it" in base


async def test_it_asks_where_nothing_is_asked_yet(visitor: Visitor) -> None:
    page = await page_of(visitor, "/foretell")
    assert "alert" not in page.split("<main")[1] and "Learned from your own lots" in page
    assert (await visitor("dyer").get("/foretell?recipe=999")).status_code == 404
    assert (await visitor("dyer").get("/foretell?recipe=x")).status_code == 400


async def test_the_form_of_a_new_recipe_tells_it_without_storing(
    visitor: Visitor, studio: Path
) -> None:
    before = ask(studio, "SELECT count(*) FROM recipe")
    typed = {"once": "x" * 20, "do": "foretell", "base": BASE, "steps": "soak, 30 min"}
    dyes = {"dye1": "Brackle brown", "depth1": "0.4", "dye2": "Pellow red", "depth2": "0.3"}
    answer = await visitor("dyer").post("/recipe/new", {**typed, **dyes})
    page = html.unescape(answer.text)
    same = await page_of(visitor, f"/foretell?{urlencode({'base': BASE, **dyes})}")
    for start, end in (('<p class="row">', "</p>"), ("<p>19 of 20", "</p>")):
        assert page.split(start)[1].split(end)[0] == same.split(start)[1].split(end)[0]
    assert "soak, 30 min" in page and "/foretell?base=Orrin+four-ply&dye1=Brackle" in page
    none = dict.fromkeys(dyes, "")
    for lacking, said in (({"base": ""}, "Choose the base"), (none, "Choose a dye")):
        refused = await visitor("dyer").post("/recipe/new", {**typed, **dyes, **lacking})
        assert said in html.unescape(refused.text).split('id="foretold"')[1]
    assert ask(studio, "SELECT count(*) FROM recipe") == before


async def test_a_copy_without_recipes_says_that_it_is_not_in_it(
    studio: Path, tmp_path: Path
) -> None:
    from swatchvault.archive import open_archive
    from swatchvault.archive.publishing import publish
    from swatchvault.web.studio import datasette_of

    for recipes, status in ((False, 404), (True, 200)):
        with open_archive(studio) as archive:
            publish(archive, tmp_path / f"copy {recipes}", recipes=recipes)
        served = datasette_of(tmp_path / f"copy {recipes}", public=True)
        await served.invoke_startup()
        dyes = urlencode({"base": BASE, "dye1": "Pellow red", "depth1": "0.3"})
        for path in ("/foretell", f"/foretell?{dyes}", "/foretell?recipe=1"):
            answer = await served.client.get(path)
            assert answer.status_code == status, path
            assert ("How colours were made is not in this copy" in answer.text) == (not recipes)
            assert ("Pellow red" in answer.text) == recipes
        base = (await served.client.get("/base/1")).text
        assert ("/foretell" in base) == recipes
