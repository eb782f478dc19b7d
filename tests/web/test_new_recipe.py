"""A recipe written on its page: by the dyer alone, stored once, and refused as it was typed."""

from __future__ import annotations

import html
import re
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


async def test_a_recipe_that_does_not_fit_is_sent_to_the_command(
    visitor: Visitor, studio: Path
) -> None:
    with sqlite3.connect(studio / "archive.db") as conn:
        conn.execute("UPDATE recipe_step SET minutes = 1.0 / 3 WHERE minutes = 30")
    assert "/recipe/new?from=1" not in (await visitor("dyer").get("/recipe/1")).text
    answer = await visitor("dyer").get("/recipe/new?from=1")
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
    assert script.status_code == 400 and "would be set against itself" in script.text


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


# --- several parts -------------------------------------------------------------------------------

FIRST = {"part_name": "whole", "share": "100"}
SECOND = {
    "part_name_2": "dipped end",
    "share_2": "33,3",
    "part_note_2": "by the wire",
    "dye2_2": "Pellow red",
    "depth2_2": "1.5",
    "steps_2": "dye in\r\nhold, 85 C, 20 min",
}
SEVERAL = {**SENT, **FIRST, **SECOND}
ATTACK = "\"'><script>window.got_in=1</script>{{7*191}}"


def several_of(studio: Path) -> int:
    sql = "SELECT recipe_id FROM recipe_part GROUP BY recipe_id HAVING count(*) > 1"
    return int(ask(studio, sql)[0])


def typed_in(page: str) -> dict[str, str]:
    """What a page's form would send if it were stored as it is."""
    form = page[page.index('<form id="recipe"') : page.index("</form>")]
    told = dict(re.findall(r'<input[^>]*? name="(\w+)" value="([^"]*)"', form))
    for name, options in re.findall(r'<select name="(\w+)"[^>]*>(.*?)</select>', form, re.DOTALL):
        chosen = re.search(r"<option selected>([^<]*)<", options)
        told[name] = chosen[1] if chosen else ""
    told |= dict(re.findall(r'<textarea name="(\w+)"[^>]*>(.*?)</textarea>', form, re.DOTALL))
    return {name: html.unescape(value) for name, value in told.items()}


async def test_several_parts_are_stored(visitor: Visitor, studio: Path) -> None:
    answer = await visitor("dyer").post("/recipe/new", SEVERAL)
    assert answer.status_code == 303
    with open_archive(studio) as archive:
        recipe = get_recipe(archive.conn, "Fox at Noon", "Orrin four-ply")
    first, second = recipe.parts
    assert (first.name, first.share_percent, len(first.dyes), len(first.steps)) == (
        *("whole", 100.0),
        *(2, 3),
    )
    assert (second.name, second.share_percent, second.note) == ("dipped end", 33.3, "by the wire")
    assert [(d.dye, d.depth_percent) for d in second.dyes] == [("Pellow red", 1.5)]
    page = html.unescape((await visitor("dyer").get(answer.headers["location"])).text)
    assert "dipped end, 33.3 % of the goods: 33.3 g" in page
    # 0.4 % of 100 g and 1.5 % of 33.3 g, from the demo's stock of 1 %
    assert "In all parts together: Pellow red 90 mL of stock pellow 1 % (0.9 g of dye)." in page
    assert "The parts come to 133.3 % of the goods together" in page
    assert '--part "whole" --dye "Pellow red=0.4"' in page


async def test_the_next_version_of_several_parts_begins_as_it_was(
    visitor: Visitor, studio: Path
) -> None:
    number = several_of(studio)
    dyer = visitor("dyer")
    page = html.unescape((await dyer.get(f"/recipe/{number}")).text)
    assert f'href="/recipe/new?from={number}"' in page
    sent = typed_in((await dyer.get(f"/recipe/new?from={number}")).text)
    before = counts(studio)
    answer = await dyer.post("/recipe/new", sent)
    assert answer.status_code == 400 and "nothing differs from version 1" in answer.text
    assert counts(studio) == before
    sent |= {"once": "the-next-of-this-test", "share_2": "4"}
    answer = await dyer.post("/recipe/new", sent)
    assert answer.status_code == 303
    page = html.unescape((await dyer.get(answer.headers["location"])).text)
    changed = page[page.index("What changed against version 1") :]
    assert changed.count("<li>") == 1 and "share 3 -> 4 % of the goods" in changed


async def test_a_part_more_or_less_stores_nothing_and_keeps_what_was_typed(
    visitor: Visitor, studio: Path
) -> None:
    before, dyer = counts(studio), visitor("dyer")

    async def asked(sent: dict[str, str], button: str) -> dict[str, str]:
        answer = await dyer.post("/recipe/new", {**sent, "do": button})
        assert answer.status_code == 200
        return {k: v.replace("\r\n", "\n") for k, v in typed_in(answer.text).items()}

    wanted = {name: value.replace("\r\n", "\n") for name, value in SENT.items() if name != "once"}
    two = await asked(SENT, "add part")
    assert wanted.items() <= two.items() and FIRST.items() <= two.items()
    assert two["part_name_2"] == two["share_2"] == two["steps_2"] == "" and "steps_3" not in two
    one = await asked(SEVERAL, "remove part 1")
    assert one["part_name"] == "dipped end" and one["depth2"] == "1.5" and "steps_2" not in one
    assert one["part_note"] == "by the wire" and one["note"] == SENT["note"]
    again = await asked({**two, "once": SENT["once"]}, "remove part 2")
    assert wanted.items() <= again.items() and "share" not in again  # as simple as it was
    most = dict(SENT)
    for _ in range(6):
        most = await asked(most, "add part")
    assert "steps_6" in most and "steps_7" not in most
    assert counts(studio) == before


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"part_name_2": ""}, "Part 2: its name is missing"),
        ({"part_name_2": "Whole"}, "Part 2 is called Whole, and so is part 1"),
        ({"share": ""}, "Part 1: its share is missing"),
        ({"share_2": "0"}, "Part 2: its share of the goods is 0 %"),
        ({"share_2": "100.5"}, "at most 100 %"),
        ({"depth2_2": ""}, "Part 2, dye 2: the depth of Pellow red is missing"),
        ({"steps_2": "dye in\nboil"}, "Part 2, line 2 of the steps: unknown kind of step 'boil'"),
        ({f"steps_{n}": "soak" for n in range(3, 8)}, "There are 7 parts: 6 is the most here."),
        ({"share_3": "5"}, "Part 3: its name is missing"),
        (
            {"steps_2": "acid in, 5 % vinegar"},
            "Part 2, line 1 of the steps: amount '5 % vinegar' can",
        ),
    ],
)
async def test_what_is_wrong_in_a_part_is_shown_and_kept(
    changes: dict[str, str], words: str, visitor: Visitor, studio: Path
) -> None:
    before, sent = counts(studio), {**SEVERAL, **changes}
    answer = await visitor("dyer").post("/recipe/new", sent)
    assert answer.status_code == 400
    assert words in html.unescape(answer.text).split("</ul>")[0]
    told = typed_in(answer.text)
    for name, value in sent.items():
        if name != "once":
            assert told[name].replace("\r\n", "\n") == value.replace("\r\n", "\n"), name
    assert counts(studio) == before


async def test_only_the_dyer_adds_a_part(visitor: Visitor) -> None:
    for role in ("helper", "anyone"):
        for button in ("add part", "remove part 2"):
            answer = await visitor(role).post("/recipe/new", {**SEVERAL, "do": button})
            assert answer.status_code == 403


async def test_markup_in_a_part_is_shown_as_typed(visitor: Visitor, studio: Path) -> None:
    dyer = visitor("dyer")
    texts = ("part_name", "share", "part_note", "part_name_2", "share_2", "part_note_2", "steps_2")
    fields = (*texts, "dye1_2", "depth1_2", "do")
    for button in ({}, {"do": "add part"}, {"do": "remove part 1"}):
        sent = {**SEVERAL, **dict.fromkeys(fields, ATTACK), **button}
        answer = await dyer.post("/recipe/new", sent)
        assert answer.status_code == (200 if button else 400)
        assert "<script>window" not in answer.text and "1337" not in answer.text
        assert "script&gt;window" in answer.text
    stored = {**SEVERAL, "part_name_2": ATTACK, "part_note_2": ATTACK}
    stored["steps_2"] = "look, '><script>window.got_in</script>"
    answer = await dyer.post("/recipe/new", stored)
    assert answer.status_code == 303, answer.text
    (number,) = ask(studio, "SELECT max(id) FROM recipe")
    paths = (f"/recipe/{number}", f"/recipe/{number}/card", f"/recipe/new?from={number}")
    for path in (*paths, f"/pots?recipe={number}&goods=100"):
        text = (await dyer.get(path)).text
        assert "<script>window" not in text and "1337" not in text and "7*191" in text, path
