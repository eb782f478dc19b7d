"""A recipe written on its page: by the dyer alone, stored once, and refused as it was typed."""

from __future__ import annotations

import html
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from swatchvault.archive import get_recipe, open_archive

pytestmark = pytest.mark.anyio

Visitor = Callable[[str], Any]
SENT = {
    "once": "a-token-of-this-test",
    "new_colourway": "Fox at Noon",
    "base": "Orrin four-ply",
    "dye1": "Pellow red",
    "depth1": "0,4",
    "dye3": "Brackle brown",
    "depth3": "0.15",
    "steps": "soak, 30 min\r\nacid in, 2 %, white vinegar\r\nhold, 85 C, 40 min",
    "note": "for the fair",
}


def ask(studio: Path, sql: str, *values: object) -> Any:
    with sqlite3.connect(studio / "archive.db") as conn:
        return conn.execute(sql, values).fetchone()


def counts(studio: Path) -> Any:
    tables = ("recipe", "recipe_dye", "recipe_step", "colourway")
    return ask(studio, "SELECT " + ", ".join(f"(SELECT count(*) FROM {t})" for t in tables))


async def test_it_is_stored_once_and_leads_to_its_page(visitor: Visitor, studio: Path) -> None:
    before = counts(studio)
    for _ in range(2):  # a second tap does nothing more
        answer = await visitor("dyer").post("/recipe/new", SENT)
        number = ask(studio, "SELECT max(id) FROM recipe")[0]
        assert (answer.status_code, answer.headers["location"]) == (303, f"/recipe/{number}")
    assert counts(studio) == tuple(n + k for n, k in zip(before, (1, 2, 3, 1), strict=True))
    with open_archive(studio) as archive:
        recipe = get_recipe(archive.conn, "Fox at Noon", "Orrin four-ply")
    (part,) = recipe.parts
    dyes = [(d.dye, d.depth_percent) for d in part.dyes]
    assert dyes == [("Pellow red", 0.4), ("Brackle brown", 0.15)]
    assert [s.kind for s in part.steps] == ["soak", "acid in", "hold"]
    assert (recipe.version, recipe.parent, recipe.note) == (1, None, "for the fair")
    page = html.unescape((await visitor("dyer").get(f"/recipe/{number}")).text)
    assert "acid in, 2 g, white vinegar" in page
    assert f'href="/recipe/new?from={number}"' in page


async def test_the_next_version_is_begun_from_the_one_before(
    visitor: Visitor, studio: Path
) -> None:
    page = html.unescape((await visitor("dyer").get("/recipe/new?from=1")).text)
    with open_archive(studio) as archive:
        row = ask(
            studio,
            "SELECT colourway.name, base.name FROM recipe JOIN colourway "
            "ON colourway.id = colourway_id JOIN base ON base.id = base_id "
            "WHERE recipe.id = 1",
        )
        before = get_recipe(archive.conn, *row)
    first = before.parts[0].dyes[0]
    assert f"<option selected>{first.dye}</option>" in page
    assert f'name="depth1" value="{first.depth_percent:g}"' in page
    sent = {"once": SENT["once"], "colourway": row[0], "base": row[1]}
    sent |= {"dye1": first.dye, "depth1": "0.99", "steps": "dye in"}
    answer = await visitor("dyer").post("/recipe/new", sent)
    assert answer.status_code == 303
    with open_archive(studio) as archive:
        after = get_recipe(archive.conn, *row)
    assert (after.version, after.parent) == (before.version + 1, before.version)
    assert after.parts[0].dyes[0].depth_percent == 0.99
    page = (await visitor("dyer").get(answer.headers["location"])).text
    assert f"What changed against version {before.version}" in page


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"base": ""}, "Which base: choose one."),
        ({"base": "Nowhere"}, "unknown base 'Nowhere'"),
        ({"dye1": "Nothing at all"}, "unknown dye 'Nothing at all'"),
        ({"depth1": "-1"}, "Dye 1: "),
        ({"new_colourway": "ninth furrow"}, "is there already: choose it in the list"),
        ({"new_colourway": ""}, "Which colourway: choose one, or name a new one."),
        ({"steps": "soak\nboil"}, "Line 2 of the steps: unknown kind of step 'boil'"),
        ({"steps": "hold, -400 C"}, "the temperature"),
        ({"once": "short"}, "lost its token"),
    ],
)
async def test_what_is_wrong_is_shown_and_what_was_typed_is_kept(
    changes: dict[str, str], words: str, visitor: Visitor, studio: Path
) -> None:
    before, sent = counts(studio), {**SENT, **changes}
    answer = await visitor("dyer").post("/recipe/new", sent)
    page = html.unescape(answer.text)
    assert answer.status_code == 400 and 'role="alert"' in page
    assert words in page.split("</ul>")[0]
    for name in ("new_colourway", "depth1", "depth3", "note"):
        assert f'name="{name}" value="{sent[name]}"' in page
    assert ">" + sent["steps"].replace("\r\n", "\n") + "</textarea>" in page.replace("\r\n", "\n")
    assert "<option selected>Brackle brown</option>" in page
    assert counts(studio) == before


async def test_a_script_is_told_in_json(visitor: Visitor, studio: Path) -> None:
    asked = {"accept": "application/json"}
    answer = await visitor("dyer").post("/recipe/new", {**SENT, "base": ""}, headers=asked)
    assert (answer.status_code, answer.json()["ok"]) == (400, False)
    assert "Which base" in answer.json()["words"]


async def test_steps_beyond_all_measure_are_refused(visitor: Visitor, studio: Path) -> None:
    before = counts(studio)
    answer = await visitor("dyer").post("/recipe/new", {**SENT, "steps": "soak\n" * 5000})
    assert answer.status_code == 400 and "is the most that is taken" in answer.text
    assert counts(studio) == before


async def test_a_helper_is_not_offered_it_and_cannot(visitor: Visitor, studio: Path) -> None:
    before = counts(studio)
    for path in ("/recipe/1", "/colourway/1", "/more", "/pots"):
        assert "/recipe/new" not in (await visitor("helper").get(path)).text, path
    for path in ("/recipe/1", "/colourway/1", "/more"):
        assert "/recipe/new" in (await visitor("dyer").get(path)).text, path
    for role in ("helper", "anyone"):
        assert (await visitor(role).get("/recipe/new")).status_code == 403
        assert (await visitor(role).post("/recipe/new", SENT)).status_code == 403
    assert counts(studio) == before


async def test_a_recipe_of_several_parts_is_sent_to_the_command(
    visitor: Visitor, studio: Path
) -> None:
    sql = "SELECT recipe_id FROM recipe_part GROUP BY recipe_id HAVING count(*) > 1"
    (several,) = ask(studio, sql)
    assert (
        f"/recipe/new?from={several}" not in (await visitor("dyer").get(f"/recipe/{several}")).text
    )
    answer = await visitor("dyer").get(f"/recipe/new?from={several}")
    assert answer.status_code == 400 and "swatchvault revise" in answer.text
    for strange in ("999999", "x"):
        answer = await visitor("dyer").get(f"/recipe/new?from={strange}")
        assert answer.status_code in (400, 404)


async def test_without_base_or_dye_the_shelf_comes_first(visitor: Visitor, tmp_path: Path) -> None:
    from swatchvault.archive import create_archive
    from swatchvault.web.studio import datasette_of

    create_archive(tmp_path / "empty").conn.close()
    datasette = datasette_of(tmp_path / "empty")
    await datasette.invoke_startup()
    cookie = {"ds_actor": datasette.sign({"a": {"id": "dyer"}}, "actor")}
    page = (await datasette.client.get("/recipe/new", cookies=cookie)).text
    assert "neither is in the archive yet" in page and 'href="/shelf"' in page
    assert "<form" not in page


# --- for another base --------------------------------------------------------------------------


def onto(studio: Path) -> tuple[int, dict[str, str]]:
    """A recipe of a colourway that is on Tebbet double alone, and the form that takes it over."""
    from swatchvault.archive import Colourway, Notes, PlannedDye, Recipe, RecipePart, apply_notes

    with open_archive(studio) as archive:
        dyes = (PlannedDye("Pellow red", 0.3), PlannedDye("Brackle brown", 0.45))
        recipe = Recipe("Fox at Noon", "Tebbet double", parts=(RecipePart(dyes=dyes),))
        notes = Notes(colourways=(Colourway("Fox at Noon"),), recipes=(recipe,))
        apply_notes(archive.conn, notes)
    (number,) = ask(studio, "SELECT max(id) FROM recipe")
    sent = {"once": "onto-of-this-test", "colourway": "Fox at Noon", "came_from": str(number)}
    sent |= {"base": "Orrin four-ply", "note": "from Tebbet", "steps": "soak, 30 min"}
    sent |= {"dye1": "Pellow red", "depth1": "0.3", "dye2": "Brackle brown", "depth2": "0.45"}
    return number, sent


async def test_it_is_taken_over_to_another_base_and_says_so(visitor: Visitor, studio: Path) -> None:
    number, sent = onto(studio)
    dyer = visitor("dyer")
    page = html.unescape((await dyer.get(f"/recipe/{number}")).text)
    assert f'href="/recipe/new?from={number}&onto=1">For another base</a>' in page
    assert "dye a trial" not in page
    page = html.unescape((await dyer.get(f"/recipe/new?from={number}&onto=1")).text)
    assert f'name="came_from" value="{number}"' in page
    assert "Choose the base it is for" in page
    assert "<option selected>Tebbet double" not in page and "<option selected>Pellow red" in page
    answer = await dyer.post("/recipe/new", sent)
    (made,) = ask(studio, "SELECT max(id) FROM recipe")
    assert answer.headers["location"] == f"/recipe/{made}"
    assert ask(studio, "SELECT parent_id, version FROM recipe WHERE id = ?", made) == (number, 1)
    page = html.unescape((await dyer.get(f"/recipe/{made}")).text)
    said = "From version 1 on Tebbet double; no lot of Fox at Noon on Orrin four-ply yet: dye a tr"
    assert said in page and "Another base takes dye differently." in page
    assert "Predicted on Orrin four-ply, wound card, from " in page
    assert "What changed against version 1 on Tebbet double" in page
    assert "Note: <bdi>from Tebbet</bdi>" in page and "<li><bdi>from Tebbet" not in page
    card = html.unescape((await dyer.get(f"/recipe/{made}/card")).text)
    assert "no lot of Fox at Noon on Orrin four-ply yet" in card and "<p>Predicted on Orrin" in card
    (colourway,) = ask(studio, "SELECT id FROM colourway WHERE name = 'Fox at Noon'")
    page = (await dyer.get(f"/colourway/{colourway}")).text
    assert "from version 1 on <bdi>Tebbet double</bdi>" in page
    script = await dyer.get(f"/recipe/{made}?against=1")  # its own version of that number
    assert "What changed against version 1</h2>" in script.text


async def test_a_base_that_has_it_gets_its_next_version(visitor: Visitor, studio: Path) -> None:
    _, sent = onto(studio)
    await visitor("dyer").post("/recipe/new", sent)
    (first,) = ask(studio, "SELECT max(id) FROM recipe")
    again = {**sent, "once": "onto-again-of-this-test", "depth1": "0.35"}
    assert (await visitor("dyer").post("/recipe/new", again)).status_code == 303
    row = ask(studio, "SELECT parent_id, version FROM recipe ORDER BY id DESC LIMIT 1")
    assert row == (first, 2)


async def test_another_colourway_comes_from_no_recipe(visitor: Visitor, studio: Path) -> None:
    _, sent = onto(studio)
    other = {**sent, "colourway": "", "new_colourway": "Fox at Dusk"}
    assert (await visitor("dyer").post("/recipe/new", other)).status_code == 303
    assert ask(studio, "SELECT parent_id FROM recipe ORDER BY id DESC LIMIT 1") == (None,)
    before = counts(studio)
    strange = {**sent, "once": "strange-of-this-test", "came_from": "99999"}
    assert (await visitor("dyer").post("/recipe/new", strange)).status_code in (400, 404)
    assert counts(studio) == before


async def test_a_recipe_that_is_an_earlier_one_again_says_so(visitor: Visitor) -> None:
    dyer, places = visitor("dyer"), []
    swapped = {"dye1": "Brackle brown", "depth1": "0.15", "dye3": "Pellow red", "depth3": "0.4"}
    for way, depths in (
        ("new_colourway", {}),
        ("colourway", {"depth1": "0,5"}),
        ("colourway", swapped),
    ):
        name = {"new_colourway": "", way: "Fox at Noon"}
        told = {**SENT, **name, **depths, "once": f"a-token-of-a-test-{len(places)}"}
        answer = await dyer.post("/recipe/new", told)
        assert answer.status_code == 303, answer.text
        places.append(answer.headers["location"])
    said = "his is version 1 again: the same dyes and steps"
    for place, there in zip(places, (False, False, True), strict=True):
        assert (f"t{said}" in (await dyer.get(place)).text) is there
        assert (f"T{said}" in (await dyer.get(f"{place}/card?goods=100+g")).text) is there
