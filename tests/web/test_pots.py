"""The pot's pages without a browser: starting, logging, correcting, ending, and refusals."""

from __future__ import annotations

import html
import re
import sqlite3
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

pytestmark = pytest.mark.anyio

ODD = '<script>alert(1)</script> "Ö" \u05d0\u05d1 🧶'


def rows(folder: Path, sql: str, *values: object) -> list[tuple[Any, ...]]:
    with sqlite3.connect(folder / "archive.db") as conn:
        found = conn.execute(sql, values).fetchall()
    conn.close()
    return found


def token(name: str) -> str:
    return f"a-token-of-a-test-{name}"


def begun(code: str = "T-1", **more: str) -> dict[str, str]:
    return {
        "once": token(str(abs(hash(code)))),
        "recipe": "1",
        "goods": "200 g",
        "ratio": "30",
        "code": code,
        **more,
    }


async def start(client: Any, code: str = "T-1", **more: str) -> str:
    answer = await client.post("/pots", begun(code, **more))
    assert answer.status_code == 303, answer.text
    return str(answer.headers["location"])


def step(name: str, **fields: str) -> dict[str, str]:
    return {"once": token(name), "do": "step", **fields}


async def test_amounts_come_before_the_start(visitor: Callable[[str], Any], studio: Path) -> None:
    page = (await visitor("helper").get("/pots?recipe=1&goods=200&ratio=30")).text
    assert "60 mL" in page and "90 mL" in page  # 0.3 % and 0.45 % of 200 g from stocks of 1 %
    assert "liquor 6000 mL" in page
    assert "Safety data sheet first" in page
    assert 'value="NF-6"' in page
    assert rows(studio, "SELECT count(*) FROM pot") == [(0,)]


async def test_a_strength_that_was_kept_as_an_amount_is_told_on_every_page_and_not_reckoned(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    with sqlite3.connect(studio / "archive.db") as conn:
        kept = "UPDATE recipe_step SET amount = '56 % acetic acid' WHERE kind = 'acid in'"
        assert conn.execute(kept).rowcount
    helper = visitor("helper")
    asked = "recipe=1&goods=200&ratio=30"
    for path in (
        await start(helper),
        f"/pots?{asked}",
        f"/recipe/1?{asked}",
        f"/recipe/1/card?{asked}",
    ):
        page = html.unescape((await helper.get(path)).text)
        assert "56 % acetic acid (not reckoned: it cannot be read)" in page and "112 g" not in page
        if "?" in path:
            assert "two ways, as 56 % of the goods and as 56 % strong" in page
    path = await start(helper, "T-2")
    number = rows(studio, "SELECT position FROM recipe_step WHERE kind = 'acid in'")[0][0]
    answer = await helper.post(path, step("as planned", what=str(number)))
    assert answer.status_code == 400 and "cannot be read" in html.unescape(answer.text)
    told = step("told", what=str(number), amount="20 mL of 56 % acetic acid")
    assert (await helper.post(path, told)).status_code == 303
    sql = "SELECT amount, amount_ml FROM pot_step WHERE kind = 'acid in' ORDER BY id DESC LIMIT 1"
    assert rows(studio, sql) == [("20 mL of 56 % acetic acid", 20.0)]


async def test_a_recipes_dye_is_that_of_what_is_poured(visitor: Callable[[str], Any]) -> None:
    page = (await visitor("helper").get("/recipe/1?goods=3020")).text  # 906 mL of 1 %: 9.06 g
    assert "<strong>905 mL</strong>" in page and '<td class="n">9.05 g</td>' in page


async def test_stocks_are_as_old_as_they_were_at_the_start(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    """The demo's were mixed in February 2026."""
    helper, asked = visitor("helper"), "/pots?recipe=1&goods=200&ratio=30&at=2026-03-01T10:00"
    assert "six months ago" not in (await helper.get(asked)).text
    with sqlite3.connect(studio / "archive.db") as conn:
        conn.execute("UPDATE stock SET mixed_on = '2025-03-01'")
    assert "six months ago" in (await helper.get(asked)).text


async def test_a_pot_from_start_to_end(visitor: Callable[[str], Any], studio: Path) -> None:
    helper = visitor("helper")
    path = await start(helper)
    lot = int(path.rsplit("/", 1)[1])
    assert rows(studio, "SELECT code, dry_g, liquor_ml, recipe_id FROM lot WHERE id = ?", lot) == [
        ("T-1", 200.0, 6000.0, 1)
    ]
    assert "T-1" in (await helper.get("/pots")).text
    for number in ("1", "2"):
        answer = await helper.post(path, step(f"plan{number}", what=number))
        assert answer.status_code == 303, answer.text
    dyes = "SELECT amount, dye_g FROM lot_dye WHERE lot_id = ? ORDER BY position"
    assert rows(studio, dyes, lot) == [("60 mL", 0.6), ("90 mL", 0.9)]
    await helper.post(path, step("look", kind="look", left_percent="15", ph="4,5"))
    seen = "SELECT kind, colour_left, ph FROM pot_step WHERE lot_id = ? AND kind = 'look'"
    assert rows(studio, seen, lot) == [("look", "15 %", 4.5)]
    await helper.post(
        path,
        {"once": token("skein"), "do": "skein", "label": "a", "grams_in": "100", "grams_out": "99"},
    )
    assert rows(studio, "SELECT grams_in, grams_out FROM skein WHERE lot_id = ?", lot) == [
        (100.0, 99.0)
    ]
    page = (await helper.get(path)).text
    assert "planned step 2" in page and "colour left: 15 %" in page and ">100<" in page
    await helper.post(path, {"once": token("end"), "do": "end", "success": "yes", "next_time": ODD})
    page = (await helper.get(path)).text
    assert "<script>alert" not in page and "&lt;script&gt;alert" in page
    departs = re.findall(r"Departs from the plan: ([^<]*)</p>", page)
    assert len(departs) == 1  # all in a moment
    assert re.fullmatch(r"soak of 30 min ended after \d min \d\d s, by dye in\.", departs[0])
    ended = "SELECT ended_at IS NOT NULL, success FROM pot WHERE lot_id = ?"
    assert rows(studio, ended, lot) == [(1, "yes")]


async def test_a_pot_of_several_parts_says_which_part_is_meant(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    sql = "SELECT recipe_id FROM recipe_part GROUP BY recipe_id HAVING count(*) > 3"
    ((several,),) = rows(studio, sql)
    helper = visitor("helper")
    page = (await helper.get(f"/pots?recipe={several}&goods=200")).text
    assert "sprinkled red, 3 % of the goods: 6 g" in page and "Sallow black (0.018 %)" in page
    assert "In all parts together: Sallow black 3.6 mL of stock sallow 1 %" in page
    path = await start(helper, recipe=str(several))
    page = (await helper.get(path)).text
    assert "<bdi>ground, 91 % of the goods: 182 g</bdi>" in page
    assert "2. dye in (ground)</span>" in page
    assert "Pellow red 0.45 %: 2.7 mL of stock pellow 1 % (0.027 g of dye)" in page
    for number in range(1, 8):
        told = {"what": str(number), "ends_hold": "yes"}
        answer = await helper.post(path, step(f"several{number}", **told))
        assert answer.status_code == 303, answer.text
    page = (await helper.get(path)).text
    assert "All planned steps are done" in page and "Pellow red 0.45 %: 2.7 mL" in page
    assert "0.0165 % depth of shade" in page  # 3.3 mL of 1 % on 200 g; the sprinkles want the rest
    assert "instead of" not in page  # the hold was cut short, as it says, and no more
    assert page.count("Departs from the plan: hold of ") == 1
    await helper.post(path, {"once": token("end-several"), "do": "end", "success": "yes"})
    page = (await helper.get(path)).text
    assert "no planned step puts in" not in page
    assert "Departs from the plan: Sallow black 0.0165 % instead of 0.018 %" in page
    page = (await helper.get(await start(helper, code="T-2"))).text
    assert "(whole)" not in page and "next-part" not in page
    assert "no planned step puts in" not in page


async def test_a_form_sent_twice_is_one_step(visitor: Callable[[str], Any], studio: Path) -> None:
    dyer = visitor("dyer")
    path = await start(dyer)
    assert await start(dyer) == path  # the start too
    for _ in range(2):
        answer = await dyer.post(path, step("same", kind="look", note="once"))
        assert answer.status_code == 303
    assert rows(studio, "SELECT count(*) FROM pot_step WHERE note = 'once'") == [(1,)]
    assert rows(studio, "SELECT count(*) FROM lot WHERE code = 'T-1'") == [(1,)]


async def test_the_time_is_that_of_the_tap(visitor: Callable[[str], Any], studio: Path) -> None:
    dyer = visitor("dyer")
    path = await start(
        dyer, at=f"{datetime.now().astimezone() - timedelta(hours=1):%Y-%m-%dT%H:%M}"
    )
    tapped = datetime.now(UTC) - timedelta(minutes=20)
    said = tapped.isoformat(timespec="milliseconds").replace("+00:00", "Z")
    await dyer.post(path, step("late", kind="hold", minutes="30", tapped=said))
    (((at,)),) = rows(
        studio, "SELECT at FROM pot_step WHERE kind = 'hold' ORDER BY id DESC LIMIT 1"
    )
    assert abs(datetime.fromisoformat(at) - tapped) < timedelta(seconds=1.5)
    page = (await dyer.get(path)).text
    ends = datetime.fromisoformat(re.search(r'data-ends="([^"]*)"', page)[1])  # type: ignore[index]
    assert abs(ends - tapped - timedelta(minutes=30)) < timedelta(seconds=1.5)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"code": ""}, "code is missing"),
        ({"code": "nf-1"}, "is there already"),
        ({"goods": ""}, "weight of the goods is missing"),
        ({"goods": "12 parsecs"}, "cannot be read"),
        ({"goods": "200 mL"}, "is no mass"),
        ({"goods": "0 g"}, "more than 0 g is needed"),
        ({"ratio": "many"}, "liquor ratio cannot be read"),
        ({"ratio": "0.1"}, "exceed the liquor"),
        ({"recipe": "999"}, "recipe is not in the archive"),
        ({"recipe": "x"}, "recipe cannot be read"),
        ({"over": "no such lot"}, "unknown lot"),
        ({"at": "tomorrow"}, "cannot be read"),
        ({"from-3": "999"}, "not on the shelf any more"),
    ],
)
async def test_a_start_that_cannot_be(
    more: dict[str, str], words: str, visitor: Callable[[str], Any], studio: Path
) -> None:
    before = rows(studio, "SELECT count(*) FROM lot")
    answer = await visitor("dyer").post("/pots", {**begun("T-9"), **more})
    assert answer.status_code == 400
    assert words in answer.text
    assert rows(studio, "SELECT count(*) FROM lot") == before


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"kind": "look"}, "what was seen"),
        ({"kind": "hold"}, "needs its minutes"),
        ({"kind": "hold", "minutes": "1e308"}, "cannot be timed"),
        ({"kind": "dance", "note": "x"}, "unknown kind of step"),
        ({"note": "no kind"}, "What was done is missing"),
        ({"kind": "heat", "temperature": "hot"}, "temperature cannot be read"),
        ({"kind": "heat", "temperature": "400"}, "between -5 and 110"),
        ({"kind": "look", "ph": "15"}, "between 0 and 14"),
        ({"kind": "look", "left_percent": "140"}, "colour left"),
        ({"kind": "look", "note": "x", "at": "2020-01-01T10:00"}, "before the lot began"),
        ({"kind": "look", "note": "x", "at": "2999-01-01T10:00"}, "has not come yet"),
        ({"kind": "dye in"}, "say which dye went in"),
        ({"kind": "rinse", "dye1": "1:1", "amount1": "5 mL"}, "not with"),
        ({"kind": "dye in", "dye1": "", "amount1": "5 mL"}, "choose which dye"),
        ({"what": "77"}, "has no step 77"),
        ({"what": "-1"}, "planned step cannot be read"),
    ],
)
async def test_a_step_that_cannot_be_comes_back_with_what_was_typed(
    fields: dict[str, str], words: str, visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    path = await start(dyer)
    before = rows(studio, "SELECT count(*) FROM pot_step")
    keeps = fields.get("kind") not in (None, "look", "dance")
    more = {"note": "typed with wet hands"} if keeps else {}
    answer = await dyer.post(path, step("bad", **more, **fields))
    assert answer.status_code == 400
    assert words in answer.text
    if keeps:
        assert 'value="typed with wet hands"' in answer.text
    assert rows(studio, "SELECT count(*) FROM pot_step") == before


async def test_a_planned_step_is_done_once(visitor: Callable[[str], Any]) -> None:
    dyer = visitor("dyer")
    path = await start(dyer)
    await dyer.post(path, step("one", what="1"))
    answer = await dyer.post(path, step("another-tab", what="1"))
    assert answer.status_code == 400
    assert "in the log already, as its step 1" in answer.text
    told = await dyer.post(path, step("a-script", what="1"), headers={"Accept": "application/json"})
    assert told.status_code == 400 and "in the log already" in told.json()["words"]


async def test_a_correction_of_what_another_tab_changed_is_refused(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    path = await start(dyer)
    await dyer.post(path, step("one", kind="look", note="first"))
    page = (await dyer.get(f"{path}?edit=1")).text
    was = re.search(r'name="was" value="([^"]*)"', page)[1]  # type: ignore[index]
    at = re.search(r'name="at" value="([^"]*)"', page)[1]  # type: ignore[index]
    assert re.fullmatch(r"\d{4}-\d\d-\d\d \d\d:\d\d", at) and was.startswith(f"{at}  look")
    edit = {"do": "edit", "number": "1", "was": was, "kind": "look", "at": at}
    first = await dyer.post(path, {**edit, "once": token("e1"), "note": "second"})
    assert first.status_code == 303
    late = await dyer.post(path, {**edit, "once": token("e2"), "note": "mine is not lost"})
    assert late.status_code == 400
    assert "changed meanwhile" in late.text and "second" in late.text
    assert 'value="mine is not lost"' in late.text
    assert rows(studio, "SELECT note FROM pot_step ORDER BY id DESC LIMIT 1") == [("second",)]
    (stored,) = rows(studio, "SELECT at FROM pot_step ORDER BY id DESC LIMIT 1")[0]
    assert stored[:16].replace("T", " ") == at


async def test_a_correction_of_a_dye_that_another_tab_corrected_is_refused(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    path = await start(dyer)
    await dyer.post(path, step("dye", what="2"))
    part = (await dyer.get(f"{path}?edit=1")).text.split('id="correct"')[1].split("</section>")[0]
    fields = dict(re.findall(r'name="(was|at|dye1|dye2|amount1|amount2)" value="([^"]*)"', part))
    edit = {**fields, "do": "edit", "number": "1", "kind": "dye in"}
    first = await dyer.post(path, {**edit, "amount1": "55 mL", "once": token("e1")})
    assert first.status_code == 303, first.text
    late = await dyer.post(path, {**edit, "note": "a note alone", "once": token("e2")})
    assert late.status_code == 400 and "changed meanwhile" in late.text and "55 mL" in late.text


async def test_what_went_in_can_be_corrected(visitor: Callable[[str], Any], studio: Path) -> None:
    dyer = visitor("dyer")
    path = await start(dyer)
    await dyer.post(path, step("dye", what="2"))
    page = (await dyer.get(f"{path}?edit=1")).text
    part = page.split('id="correct"')[1].split("</section>")[0]
    fields = dict(re.findall(r'name="(was|at|dye1|dye2|amount1|amount2)" value="([^"]*)"', part))
    assert fields["amount1"] == "60 mL"
    edit = {**fields, "do": "edit", "number": "1", "kind": "dye in", "amount1": "55 mL"}
    answer = await dyer.post(path, {**edit, "once": token("e")})
    assert answer.status_code == 303, answer.text
    lot = int(path.rsplit("/", 1)[1])
    got = rows(studio, "SELECT amount, dye_g FROM lot_dye WHERE lot_id = ? ORDER BY position", lot)
    assert got == [("55 mL", pytest.approx(0.55)), ("90 mL", pytest.approx(0.9))]
    assert "Departs from the plan: Pellow red" in (await dyer.get(path)).text


async def test_a_lot_that_is_gone_is_a_sentence_and_nothing_typed_is_lost(
    visitor: Callable[[str], Any],
) -> None:
    answer = await visitor("dyer").post("/pot/999999", step("gone", kind="look", note="typed"))
    assert answer.status_code == 404
    assert "not in the archive" in answer.text and "typed" in answer.text
    assert (await visitor("dyer").get("/pot/999999")).status_code == 404
    assert (await visitor("dyer").get("/pot/1?edit=99")).status_code == 404


async def test_odd_names_are_shown_as_typed(visitor: Callable[[str], Any]) -> None:
    dyer = visitor("dyer")
    path = await start(dyer, ODD)
    for page in (await dyer.get(path), await dyer.get("/pots")):
        assert "<script>alert" not in page.text
        assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page.text and "🧶" in page.text
    await dyer.post(path, step("odd", kind="other", note=ODD))
    assert "<script>alert" not in (await dyer.get(f"{path}?edit=1")).text


async def test_a_form_without_its_token_is_refused(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    path = await start(dyer)
    answer = await dyer.post(path, {"do": "step", "kind": "look", "note": "x"})
    assert answer.status_code == 400 and "lost its token" in answer.text
    assert (await dyer.post(path, {"once": token("what")})).status_code == 400


async def test_a_lot_written_down_afterwards_plans_nothing(visitor: Callable[[str], Any]) -> None:
    page = (await visitor("dyer").get("/pot/5")).text
    assert "Written down afterwards" in page
    assert "Done as planned" not in page
    assert 'class="timer' not in page and ">Timer<" not in page
    said = re.search(r"Written down afterwards</h2>\s*<p>(.*?)</p>", page)
    assert said is not None and said[1].startswith("What was done is in the log below")


async def test_a_pot_without_a_recipe_says_so_in_one_sentence(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    with sqlite3.connect(studio / "archive.db") as conn:
        (lot,) = conn.execute("INSERT INTO lot (code) VALUES ('L2') RETURNING id").fetchone()
    conn.close()
    page = (await visitor("dyer").get(f"/pot/{lot}")).text
    assert f'<p>Without a recipe. <a href="/lot/{lot}">The lot</a></p>' in page


async def test_a_hold_that_runs_is_not_ended_by_a_slip(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    path = await start(dyer)
    await dyer.post(path, step("hold", kind="hold", minutes="30"))
    for kind in ("cool", "rinse", "dry"):
        refused = await dyer.post(path, step(f"slip-{kind}", kind=kind))
        assert refused.status_code == 400 and "a hold is still running" in refused.text
        assert 'name="ends_hold"' in refused.text and "End the hold" in refused.text
    assert 'name="ends_hold"' not in (await dyer.get(path)).text
    assert (await dyer.post(path, step("look", kind="look", note="trace"))).status_code == 303
    told = step("really", kind="cool", ends_hold="yes")
    assert (await dyer.post(path, told)).status_code == 303
    assert (await dyer.post(path, step("dry", kind="dry"))).status_code == 303


def undo_fields(page: str, name: str, summary: str = "Undo the last step") -> dict[str, str]:
    part = page.split(summary)[1].split("</form>")[0]
    found = dict(re.findall(r'name="(do|number|was)" value="([^"]*)"', part))
    assert found["do"] == "undo"
    return {**found, "once": token(name)}


async def test_the_last_step_is_undone(visitor: Callable[[str], Any], studio: Path) -> None:
    helper = visitor("helper")
    path = await start(helper)
    lot = int(path.rsplit("/", 1)[1])
    assert "Undo the last step" not in (await helper.get(path)).text
    await helper.post(path, step("hold", kind="hold", minutes="30"))
    await helper.post(path, step("cool", kind="cool", ends_hold="yes"))
    page = (await helper.get(path)).text
    assert 'class="timer' not in page and "Strike step 2" in page
    undo = undo_fields(page, "u1")
    for _ in range(2):  # sent twice, it strikes one step
        assert (await helper.post(path, undo)).status_code == 303
    page = (await helper.get(path)).text
    assert 'class="timer' in page and "Strike step 1" in page
    assert "<del>2. " in page and "Struck, and counted nowhere" in page
    kinds = "SELECT kind FROM pot_step WHERE lot_id = ?"
    assert rows(studio, kinds, lot) == [("hold",)]
    late = await helper.post(path, {**undo, "once": token("u2")})  # from an older page
    assert late.status_code == 400 and "Its last step is now step 1: " in late.text
    assert rows(studio, kinds, lot) == [("hold",)]


async def test_an_end_is_taken_back_before_the_last_step(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    helper = visitor("helper")
    path = await start(helper)
    lot = int(path.rsplit("/", 1)[1])
    await helper.post(path, step("look", kind="look", left="trace"))
    before = undo_fields((await helper.get(path)).text, "e0")
    told = {"do": "end", "next_time": "less brown", "success": "no"}
    assert (await helper.post(path, {"once": token("end"), **told})).status_code == 303
    page = (await helper.get(path)).text
    assert "Undo the last step" not in page and "<p>Success: no</p>" in page
    late = await helper.post(path, before)  # from a page of before the end
    assert late.status_code == 400 and "it is ended 20" in late.text
    undo = undo_fields(page, "e1", "Take back the end")
    for _ in range(2):
        assert (await helper.post(path, undo)).status_code == 303
    page = (await helper.get(path)).text
    assert "Take back the end" not in page and "Strike step 1" in page
    assert "end, success: no; next time: less brown (struck" in page and "Success: no" not in page
    sql = "SELECT ended_at, success, next_time FROM pot WHERE lot_id = ?"
    assert rows(studio, sql, lot) == [(None, None, None)]
    late = await helper.post(path, {**undo, "once": token("e2")})
    assert late.status_code == 400 and "it is not ended now" in late.text


async def test_the_log_says_what_went_in_with_which_step(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    path = await start(dyer)
    await dyer.post(path, step("dye", what="2"))
    ((red,),) = rows(studio, "SELECT id FROM dye WHERE name = 'Pellow red'")
    powder = {"kind": "dye in", "dye1": f"{red}:powder", "amount1": "0.5 g"}
    assert (await dyer.post(path, step("more", **powder))).status_code == 303
    for address in (path, path.replace("/pot/", "/lot/")):
        page = " ".join(html.unescape((await dyer.get(address)).text).split())
        assert "dye in, with 60 mL of Pellow red, 90 mL of Brackle brown" in page
        assert "dye in, with 0.5 g of Pellow red" in page
    page = (await dyer.get(path)).text
    assert "depth of shade; step 1" in page and "depth of shade; step 2" in page


@pytest.mark.parametrize("typed", ["85.5", "85,5 C", "85,5 °C", "85.5c"])
async def test_a_temperature_and_minutes_may_have_their_unit(
    typed: str, visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    path = await start(dyer)
    told = {"kind": "hold", "temperature": typed, "minutes": "40 min"}
    assert (await dyer.post(path, step("hold", **told))).status_code == 303
    sql = "SELECT temperature_c, minutes FROM pot_step WHERE lot_id = ?"
    assert rows(studio, sql, int(path.rsplit("/", 1)[1])) == [(85.5, 40.0)]
    refused = await dyer.post(path, step("hot", kind="heat", temperature="185 F"))
    assert refused.status_code == 400


async def test_a_pot_started_by_a_slip_is_let_go(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    path = await start(dyer)
    lot = int(path.rsplit("/", 1)[1])
    gone = f"/lot/{lot}/gone"
    assert f'href="{gone}"' in (await dyer.get(path)).text
    assert f'href="{gone}"' not in (await visitor("helper").get(path)).text
    await dyer.post(path, step("dye", what="2"))
    assert f'href="{gone}"' not in (await dyer.get(path)).text
    stays = (await dyer.post(gone, {"once": token("no")})).text
    assert "2 dyes that went in, 1 step of its log." in stays and f'href="{path}#log"' in stays
    await dyer.post(path, undo_fields((await dyer.get(path)).text, "u"))
    assert "With it goes the step that was struck" in (await dyer.get(gone)).text
    assert (await dyer.post(gone, {"once": token("go")})).status_code == 303
    for table in ("pot", "struck_step", "lot_base"):
        assert rows(studio, f"SELECT * FROM {table} WHERE lot_id = ?", lot) == []
    assert (await dyer.get(path)).status_code == 404
    with sqlite3.connect(studio / "archive.db") as conn:
        kept = "INSERT INTO struck_step (lot_id, position, step, dyes, struck_at) "
        conn.execute(kept + "VALUES (1, 1, '{}', '[]', '2026-03-01T10:00:00Z')")
        with pytest.raises(sqlite3.IntegrityError, match="is kept"):  # of others, as before
            conn.execute("DELETE FROM struck_step")


async def test_undo_takes_its_dye_out_again(visitor: Callable[[str], Any], studio: Path) -> None:
    dyer = visitor("dyer")
    path = await start(dyer)
    lot = int(path.rsplit("/", 1)[1])
    await dyer.post(path, step("dye", what="2"))
    left = "SELECT sum(left_ml) FROM stocks"
    page = (await dyer.get(path)).text
    assert "Went in" in page
    (((before,)),) = rows(studio, left)
    await dyer.post(path, undo_fields(page, "u"))
    assert rows(studio, left) == [(pytest.approx(before + 150.0),)]
    assert rows(studio, "SELECT count(*) FROM lot_dye WHERE lot_id = ?", lot) == [(0,)]
    page = (await dyer.get(path)).text
    assert "Went in" not in page and "with 60 mL of Pellow red, 90 mL of Brackle brown" in page
    assert (await dyer.post(path, step("again", what="2"))).status_code == 303


async def test_grams_of_powder_are_not_taken_for_stock(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    path = await start(dyer)
    page = (await dyer.get(f"{path}?step=2")).text
    source = re.search(r'name="dye1" value="([0-9]+:[0-9]+)"', page)
    assert source is not None
    dye = {"what": "2", "dye1": source[1], "amount1": "0.6 g"}
    refused = await dyer.post(path, step("powder", **dye))
    assert refused.status_code == 400
    assert "holds 0.006 g of dye, where 0.6 g are planned" in refused.text
    assert 'name="really"' in refused.text and 'value="0.6 g"' in refused.text
    assert (await dyer.post(path, step("sure", **dye, really="yes"))).status_code == 303


async def test_a_skein_heavier_than_it_went_in_is_asked_about(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    path = await start(dyer)
    told = {"do": "skein", "label": "a", "grams_in": "62", "grams_out": "71"}
    refused = await dyer.post(path, {**told, "once": token("s1")})
    page = html.unescape(refused.text)
    assert refused.status_code == 400
    assert "it went in with 62 g and came out with 71 g: is it damp still" in page
    form = page.split('value="skein"')[1].split("</form>")[0]
    assert 'name="weighed"' in form and 'value="71"' in form
    lot = int(path.rsplit("/", 1)[1])
    assert rows(studio, "SELECT label FROM skein WHERE lot_id = ?", lot) == []
    asked = await dyer.post(path, {**told, "weighed": "yes", "once": token("s2")})
    assert asked.status_code == 303
    assert rows(studio, "SELECT grams_out FROM skein WHERE lot_id = ?", lot) == [(71.0,)]
    more = {"do": "skein", "label": "b", "grams_in": "100.65", "once": token("s3")}
    assert (await dyer.post(path, more)).status_code == 303
    for address in (path, f"/lot/{lot}"):
        assert '<td class="n">100.65</td>' in (await dyer.get(address)).text


async def test_a_correction_to_grams_of_powder_is_asked_about_and_stores_nothing(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    path = await start(dyer)
    await dyer.post(path, step("dye", what="2"))
    page = (await dyer.get(f"{path}?edit=1")).text
    part = page.split('id="correct"')[1].split("</section>")[0]
    fields = dict(re.findall(r'name="(was|at|dye1|dye2|amount1|amount2)" value="([^"]*)"', part))
    edit = {**fields, "do": "edit", "number": "1", "kind": "dye in", "note": "weighed"}
    refused = await dyer.post(path, {**edit, "amount1": "0.6 g", "once": token("e1")})
    assert refused.status_code == 400 and "holds 0.006 g of dye" in refused.text
    assert 'name="really"' in refused.text
    lot = int(path.rsplit("/", 1)[1])
    amounts = "SELECT amount FROM lot_dye WHERE lot_id = ? ORDER BY position"
    assert rows(studio, amounts, lot) == [("60 mL",), ("90 mL",)]
    assert rows(studio, "SELECT note FROM pot_step WHERE lot_id = ? AND at > ''", lot) == [(None,)]
    told = {**edit, "amount1": "0.6 g", "really": "yes", "once": token("e2")}
    assert (await dyer.post(path, told)).status_code == 303
    assert rows(studio, amounts, lot) == [("0.6 g",), ("90 mL",)]


async def test_a_pot_that_has_ended_holds_nothing(visitor: Callable[[str], Any]) -> None:
    dyer = visitor("dyer")
    path = await start(dyer)
    await dyer.post(path, step("hold", kind="hold", minutes="30"))
    end = {"once": token("end"), "do": "end", "all_the_same": "yes"}
    assert (await dyer.post(path, end)).status_code == 303
    assert (await dyer.post(path, step("rinse", kind="rinse"))).status_code == 303


@pytest.mark.parametrize("typed", ["30", "1:30", "1 : 30", "30,0"])
async def test_a_ratio_may_be_typed_as_it_is_said(
    visitor: Callable[[str], Any], typed: str
) -> None:
    page = await visitor("dyer").get(f"/pots?recipe=1&goods=200&ratio={typed}")
    assert "liquor 6000 mL" in page.text


async def test_a_planned_soak_is_begun_with_its_timer_or_over_already(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    now = datetime.now().astimezone()
    path = await start(dyer, at=f"{now - timedelta(hours=1):%Y-%m-%dT%H:%M}")
    page = (await dyer.get(path)).text
    assert "Begin the soak" in page and 'name="already"' in page
    await dyer.post(path, step("soak", what="1"))
    page = (await dyer.get(path)).text
    assert 'data-kind="soak" data-minutes="30.0"' in page and "soak of 30 min since" in page
    assert 'name="already"' not in page and "Done as planned" in page  # the dye goes in next
    assert "all_the_same" not in page  # no hold runs, though a soak does
    await dyer.post(path, undo_fields(page, "undo"))
    tapped = now.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    await dyer.post(path, step("over", what="1", already="yes", tapped=tapped))
    sql = "SELECT at, minutes FROM pot_step WHERE kind = 'soak' ORDER BY id DESC LIMIT 1"
    (((at, minutes)),) = rows(studio, sql)
    assert minutes == 30.0
    assert datetime.fromisoformat(at) == (now - timedelta(minutes=30)).replace(microsecond=0)
    late = await start(dyer, "T-2")  # only begun: soaked before
    told = step("now", what="1", already="yes")
    assert (await dyer.post(late, told)).status_code == 303
    (((at, _)),) = rows(studio, sql)
    ago = datetime.now().astimezone() - datetime.fromisoformat(at)
    assert timedelta(minutes=30) <= ago < timedelta(minutes=31)
    assert 'class="timer' not in (await dyer.get(late)).text
    await dyer.post(late, step("put-in", what="2"))
    await dyer.post(late, step("heated", what="3", already="yes"))
    sql = "SELECT kind, at FROM pot_step ORDER BY id DESC LIMIT 2"
    ((heat, heat_at), (dye, dye_at)) = rows(studio, sql)
    assert (heat, dye) == ("heat", "dye in")
    assert heat_at == dye_at  # its 50 minutes would reach back before the dye


async def test_a_pot_began_with_the_soak_that_was_over_before(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    path = await start(dyer)
    before = f"{datetime.now().astimezone() - timedelta(minutes=10):%Y-%m-%dT%H:%M}"
    look = {"kind": "look", "left": "some", "at": before}
    refused = await dyer.post(path, step("early", **look))
    assert refused.status_code == 400 and "before the lot began" in refused.text
    await dyer.post(path, step("over", what="1", already="yes"))
    begun = "SELECT started_at = at FROM pot JOIN pot_step USING (lot_id) WHERE kind = 'soak' "
    assert rows(studio, begun + "ORDER BY pot_step.id DESC LIMIT 1") == [(1,)]
    assert (await dyer.post(path, step("within", **look))).status_code == 303


def fold(page: str) -> str:
    found = re.search(r"<details( open)?><summary>A look, a hold, or what", page)
    assert found is not None
    return "open" if found[1] else "folded"


async def test_something_else_is_folded_until_an_error_comes_back(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    path = await start(dyer)
    assert fold((await dyer.get(path)).text) == "folded"
    assert fold((await dyer.post(path, step("bad", kind="look"))).text) == "open"
    assert fold((await dyer.post(path, step("bad2", what="77"))).text) == "folded"
    with sqlite3.connect(studio / "archive.db") as conn:  # no recipe is followed: all is else
        conn.execute("UPDATE lot SET recipe_id = NULL WHERE code = 'T-1'")
    conn.close()
    assert fold((await dyer.get(path)).text) == "open"


async def test_a_stock_overdrawn_is_noted_on_its_pages(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    path = await start(dyer)
    await dyer.post(path, step("dye", what="2"))
    ((stock, dye, had),) = rows(
        studio,
        "SELECT stock.id, stock.dye_id, made_up_to_ml FROM stock JOIN lot_dye ON stock_id = "
        "stock.id ORDER BY lot_dye.id DESC LIMIT 1",
    )
    pages = (path, f"/dye/{dye}", "/shelf")
    for page in pages:
        assert "of it went in (lots" not in (await dyer.get(page)).text
    with sqlite3.connect(studio / "archive.db") as conn:
        conn.execute("UPDATE stock SET made_up_to_ml = 80, mixed_on = '2030-01-01' WHERE id = ?",
                     (stock,))  # fmt: skip
    conn.close()
    assert had > 80
    for page in pages:
        text = (await dyer.get(page)).text
        assert "80 mL were mixed" in text and "NF-1" in text
        assert "and it was mixed on 2030-01-01" in text


async def test_the_page_and_the_printed_card_round_the_same(visitor: Callable[[str], Any]) -> None:
    dyer = visitor("dyer")
    page = (await dyer.get("/pots?recipe=1&goods=213.4&ratio=30")).text
    card = (await dyer.get("/recipe/1/card?goods=213.4+g&ratio=30")).text
    said = r"[Ll]iquor ([0-9.]+ mL)[,;] water besides all that is added ([0-9.]+ mL)"
    on_page, on_card = re.search(said, page), re.search(said, card)
    assert on_page is not None and on_card is not None
    assert on_page.groups() == on_card.groups() == ("6400 mL", "6200 mL")
