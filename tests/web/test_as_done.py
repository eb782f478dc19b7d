"""The next version of a recipe from what went into a lot: filled in, stored when it is sent."""

from __future__ import annotations

import html
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from swatchvault.archive import DyeIn, Lot, PotStep, add_lot, edit_dye_in, get_recipe, open_archive
from tests.web.test_new_recipe import counts
from tests.web.test_pots import start, step, token
from tests.web.test_yarn import ask

pytestmark = pytest.mark.anyio
Visitor = Callable[[str], Any]

OFFER = "Next version from what was done here"


def lot_of(studio: Path, code: str) -> int:
    return int(ask(studio, "SELECT id FROM lot WHERE code = ?", code)[0][0])


def rows_of(page: str) -> list[tuple[str, str, str]]:
    """Dye, depth and what is marked of it, row by row."""
    found = []
    for row in page.split('class="dye-row"')[1:]:
        dye = re.search(r"<option selected>([^<]*)", row)
        depth = re.search(r'name="depth\d+" value="([^"]*)"', row)
        marked = re.search(r'class="departs">([^<]*)', row.split("</div>")[0])
        if dye and depth:
            found.append((dye[1], depth[1], marked[1] if marked else ""))
    return found


def sent_from(page: str) -> dict[str, str]:
    """The form as a browser would send it back, untouched."""
    form = page[page.index('id="recipe"') :]
    told = dict(re.findall(r'<input[^>]* name="([^"]+)" value="([^"]*)"', form))
    told |= dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', form))
    for name, options in re.findall(r'<select name="([^"]+)"[^>]*>(.*?)</select>', form, re.S):
        chosen = re.search(r"<option selected>([^<]*)", options)
        told[name] = chosen[1] if chosen else ""
    told["steps"] = re.search(r'<textarea name="steps"[^>]*>([^<]*)', form)[1]  # type: ignore[index]
    return {name: html.unescape(value) for name, value in told.items()}


async def test_what_went_in_fills_the_next_version(visitor: Visitor, studio: Path) -> None:
    """NF-3 of the demo had about twice the dye of version 1."""
    dyer, lot = visitor("dyer"), lot_of(studio, "NF-3")
    assert (
        f'<a class="button" href="/recipe/new?lot={lot}">{OFFER}'
        in (await dyer.get(f"/lot/{lot}")).text
    )
    before = counts(studio)
    page = (await dyer.get(f"/recipe/new?lot={lot}")).text
    assert rows_of(page) == [
        ("Pellow red", "0.585", "planned at 0.3 %"),
        ("Brackle brown", "0.8325", "planned at 0.45 %"),
    ]
    assert counts(studio) == before  # nothing is stored before it is sent
    told = sent_from(page)
    refused = await dyer.post("/recipe/new", {**told, "depth1": "much"})
    assert refused.status_code == 400 and "planned at 0.45 %" in refused.text
    answer = await dyer.post("/recipe/new", told)
    assert answer.status_code == 303, answer.text
    with open_archive(studio) as archive:
        new = get_recipe(archive.conn, "Ninth Furrow", "Orrin four-ply")
        old = get_recipe(archive.conn, "Ninth Furrow", "Orrin four-ply", 1)
    assert (new.version, new.parent, new.note) == (2, 1, "as lot NF-3 was done")
    assert [(d.dye, d.depth_percent) for d in new.parts[0].dyes] == [
        ("Pellow red", 0.585),
        ("Brackle brown", 0.8325),
    ]
    assert new.parts[0].steps == old.parts[0].steps


async def test_a_dye_left_out_and_one_not_planned_are_marked(
    visitor: Visitor, studio: Path
) -> None:
    dyes = (DyeIn("Pellow red", "0.6 g"), DyeIn("Marn blue", "0.1 g"))
    with open_archive(studio) as archive:
        lot = Lot("NF-X", ("Orrin four-ply",), "Ninth Furrow", recipe_version=1, dry_g=200.0)
        add_lot(archive.conn, Lot(**{**vars(lot), "dyes_in": dyes}))
    page = (await visitor("dyer").get(f"/recipe/new?lot={lot_of(studio, 'NF-X')}")).text
    assert rows_of(page) == [("Pellow red", "0.3", ""), ("Marn blue", "0.05", "not planned")]
    assert "Brackle brown: planned at 0.45 %, and none went in" in page


async def test_a_dye_put_right_to_nothing_is_no_dye_of_the_next_version(
    visitor: Visitor, studio: Path
) -> None:
    lot = lot_of(studio, "NF-3")
    with open_archive(studio) as archive:
        edit_dye_in(archive.conn, "NF-3", "Pellow red", "0 mL")
    page = (await visitor("dyer").get(f"/recipe/new?lot={lot}")).text
    assert rows_of(page) == [("Brackle brown", "0.8325", "planned at 0.45 %")]
    assert "Pellow red: planned at 0.3 %, and none went in" in page


async def test_it_is_offered_only_where_it_can_be(visitor: Visitor, studio: Path) -> None:
    dyer = visitor("dyer")
    as_planned, several = lot_of(studio, "NF-1"), lot_of(studio, "CG-1")
    with open_archive(studio) as archive:
        steps = (PotStep("soak", "2026-11-01T10:00"),)
        one = {"recipe_version": 1, "dry_g": 200.0, "steps": steps}
        dyes = (DyeIn("Pellow red", "0.9 g"),)
        add_lot(archive.conn, Lot("NF-Y", ("Orrin four-ply",), "Ninth Furrow", dyes_in=dyes, **one))
        archive.conn.execute(
            "INSERT INTO pot (lot_id, started_at, planned_from) "
            "SELECT id, '2026-11-01T09:00:00+00:00', '{}' FROM lot WHERE code = 'NF-Y'"
        )
    still_open = lot_of(studio, "NF-Y")
    for lot in (as_planned, several, still_open):
        assert OFFER not in (await dyer.get(f"/lot/{lot}")).text, lot
    assert OFFER not in (await visitor("helper").get(f"/lot/{lot_of(studio, 'NF-3')}")).text
    answer = await dyer.get(f"/recipe/new?lot={several}")
    assert answer.status_code == 400 and "does not say which of the recipe" in answer.text
    answer = await dyer.get(f"/recipe/new?lot={still_open}")
    assert answer.status_code == 400 and "has not ended" in answer.text
    with open_archive(studio) as archive:
        archive.conn.execute("UPDATE pot SET ended_at = '2026-11-01T12:00:00+00:00'")
    assert OFFER in (await dyer.get(f"/lot/{still_open}")).text


async def test_depths_of_a_recipe_of_parts_say_of_what_they_are(
    visitor: Visitor, studio: Path
) -> None:
    dyer = visitor("dyer")
    for code, said in (("CG-1", True), ("NF-3", False)):
        for page in ("pot", "lot"):
            text = (await dyer.get(f"/{page}/{lot_of(studio, code)}")).text
            assert "depth of shade" in text
            assert ("depth of shade on all the goods" in text) is said, (code, page)


async def test_steps_that_departed_are_told_beside_the_form(visitor: Visitor, studio: Path) -> None:
    dyer = visitor("dyer")
    path = await start(dyer)
    await dyer.post(path, step("dye", what="2"))
    page = (await dyer.get(path)).text
    number, temperature = re.findall(r"\?step=(\d+)#next[^<]*</a> <span>[^<]*hold, (\d+) °C", page)[
        0
    ]
    await dyer.post(path, step("cold", what=number, temperature="50"))
    await dyer.post(path, {"once": token("end"), "do": "end", "all_the_same": "yes"})
    said = f"step {number}, hold: 50 °C instead of {temperature} °C"
    lot = path.rsplit("/", 1)[1]
    for address in (path, f"/lot/{lot}", f"/recipe/new?lot={lot}"):
        answer = html.unescape((await dyer.get(address)).text)
        assert said in answer, address
