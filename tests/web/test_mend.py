"""A fact put right on a page: by the dyer alone, worked out anew, and refused as it was typed."""

from __future__ import annotations

import html
import re
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from swatchvault.archive import (
    PhotoFacts,
    RegionOf,
    Swatch,
    add_swatch,
    file_photo,
    open_archive,
)
from swatchvault.archive.mend import FIELDS as MENDED
from swatchvault.archive.mend import facts_of
from swatchvault.web.mend import FIELDS, MOST_NAMES, put_right
from tests.swatchvault.factories import photo_file, photo_of

pytestmark = pytest.mark.anyio

Visitor = Callable[[str], Any]
ONCE = "a-token-of-this-test"
#: The page a thing's form stands on, of row 1 of each, and a form that mends it.
PAGES = {"stock": "/dye/1", "swatch": "/swatch/2", "lot": "/lot/1"}
NUMBERS = {"stock": 1, "swatch": 2, "lot": 1}
SENT: dict[str, dict[str, str]] = {
    "stock": {"grams": "7,5 g", "made_up_to_ml": "0.5 L", "mixed_on": "2026-01-31"},
    "swatch": {"form": "knit", "base": "Orrin four-ply"},
    "lot": {"dyed_on": "2026-02-11", "dry_g": "205.25", "colourway": ""},
}
KEPT: dict[str, dict[str, object]] = {
    "stock": {"grams": 7.5, "made_up_to_ml": 500.0, "mixed_on": "2026-01-31"},
    "swatch": {"form": "knit", "base": "Orrin four-ply", "lot": "NF-2"},
    "lot": {"dyed_on": "2026-02-11", "dry_g": 205.25, "colourway": "Ninth Furrow"},
}


def ask(studio: Path, sql: str) -> list[tuple[Any, ...]]:
    with sqlite3.connect(studio / "archive.db") as conn:
        return conn.execute(sql).fetchall()


def facts(studio: Path, kind: str) -> dict[str, object]:
    with sqlite3.connect(studio / "archive.db") as conn:
        conn.row_factory = sqlite3.Row
        return dict(facts_of(conn, kind, NUMBERS[kind]))


def judged_no_more(studio: Path) -> None:
    """Swatch 2 as if nothing had been said of its form."""
    with sqlite3.connect(studio / "archive.db") as conn:
        conn.execute("PRAGMA foreign_keys = OFF")
        for (name,) in conn.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'"):
            conn.execute(f'DROP TRIGGER "{name}"')
        conn.execute("DELETE FROM master WHERE swatch_id = 2")
        conn.execute("DELETE FROM lot_check WHERE swatch_id = 2 OR master_swatch_id = 2")


def test_the_page_offers_what_the_command_mends() -> None:
    assert {kind: tuple(f.name for f in fields) for kind, fields in FIELDS.items()} == MENDED


@pytest.mark.parametrize("value", [6.0, 0.1 + 0.2, 1e-07, 123456.789])
def test_a_field_left_as_it_is_changes_nothing(value: float) -> None:
    known = {"grams": value, "made_up_to_ml": value, "mixed_on": None, "pack": None}
    right = put_right("stock", 1, known)
    assert len(right["fields"]) == 3  # of a dye without packs none can be told
    for field, shown in zip(FIELDS["stock"][:3], right["fields"], strict=True):
        if field.unit == "day":
            assert field.read(shown["value"], "") is None
        else:
            assert field.read(shown["value"], "") == value


@pytest.mark.parametrize("kind", PAGES)
async def test_it_is_put_right_where_it_is_read(kind: str, visitor: Visitor, studio: Path) -> None:
    judged_no_more(studio)
    number = NUMBERS[kind]
    action = f'action="/{kind}/{number}/facts"'
    assert action in (await visitor("dyer").get(PAGES[kind])).text
    before, dyes = facts(studio, kind), ask(studio, "SELECT * FROM lot_dye")
    kept: dict[str, object] = {**({"pack": None} if kind == "stock" else {}), **KEPT[kind]}
    assert before != kept
    for _ in range(2):  # a second tap does nothing more
        sent = {"once": ONCE, **SENT[kind]}
        answer = await visitor("dyer").post(f"/{kind}/{number}/facts", sent)
        assert (answer.status_code, answer.headers["location"]) == (303, PAGES[kind])
    assert facts(studio, kind) == kept
    assert (ask(studio, "SELECT * FROM lot_dye") != dyes) is (kind == "stock")
    alone = html.unescape((await visitor("dyer").get(f"/{kind}/{number}/facts")).text)
    assert action in alone and ("7.5 g" in alone) is (kind == "stock")


async def test_the_pack_of_a_stock_is_chosen_from_its_dyes(visitor: Visitor, studio: Path) -> None:
    sql = "SELECT stock.id, dye_id, dye_pack.code FROM stock JOIN dye_pack USING (dye_id) LIMIT 1"
    ((number, dye, pack),) = ask(studio, sql)
    ((other,),) = ask(studio, f"SELECT code FROM dye_pack WHERE dye_id <> {dye} LIMIT 1")
    dyer, path = visitor("dyer"), f"/stock/{number}/facts"
    offered = (await dyer.get(path)).text.partition('name="pack"')[2].partition("</select>")[0]
    assert f">{pack}</option>" in offered and other not in offered
    refused = await dyer.post(path, {"once": ONCE, "pack": other})
    assert refused.status_code == 404
    assert (await dyer.post(path, {"once": ONCE + "2", "pack": pack})).status_code == 303
    sql = "SELECT dye_pack.code FROM stock JOIN dye_pack ON dye_pack.id = dye_pack_id "
    assert ask(studio, f"{sql} WHERE stock.id = {number}") == [(pack,)]


async def test_a_swatch_filed_as_undyed_is_put_into_its_lot(visitor: Visitor, studio: Path) -> None:
    ((number, base),) = ask(
        studio, "SELECT id, base_id FROM swatch WHERE lot_id IS NULL ORDER BY id LIMIT 1"
    )
    ((lot,),) = ask(studio, f"SELECT lot_id FROM lot_base WHERE base_id = {base} LIMIT 1")
    ((code,),) = ask(studio, f"SELECT code FROM lot WHERE id = {lot}")
    page = f"/swatch/{number}"
    dyer = visitor("dyer")
    assert 'name="lot"' in (await dyer.get(page)).text
    form = {"once": ONCE, "lot": code}
    answer = await dyer.post(f"{page}/facts", form)
    assert (answer.status_code, answer.headers["location"]) == (303, page)
    assert ask(studio, f"SELECT lot_id FROM swatch WHERE id = {number}") == [(lot,)]
    text = (await dyer.get(page)).text
    assert f'<a href="/lot/{lot}">' in text
    assert re.search(rf'name="lot" value="{re.escape(html.escape(code))}"', text)


async def test_dye_that_went_in_follows_the_stock(visitor: Visitor, studio: Path) -> None:
    sql = "SELECT dye_g FROM lot_dye WHERE stock_id = 1 AND amount_ml IS NOT NULL ORDER BY id"
    before = [row[0] for row in ask(studio, sql)]
    assert before
    grams = facts(studio, "stock")["grams"]
    sent = {"once": ONCE, "grams": f"{2 * float(str(grams))} g"}
    assert (await visitor("dyer").post("/stock/1/facts", sent)).status_code == 303
    assert [row[0] for row in ask(studio, sql)] == pytest.approx([2 * g for g in before])


@pytest.mark.parametrize("kind", PAGES)
async def test_a_helper_is_not_offered_it_and_cannot(
    kind: str, visitor: Visitor, studio: Path
) -> None:
    before, path = facts(studio, kind), f"/{kind}/{NUMBERS[kind]}/facts"
    assert "/facts" not in (await visitor("helper").get(PAGES[kind])).text
    for role in ("helper", "anyone"):
        assert (await visitor(role).get(path)).status_code == 403
        answer = await visitor(role).post(path, {"once": ONCE, **SENT[kind]})
        assert answer.status_code == 403
    assert facts(studio, kind) == before


@pytest.mark.parametrize(
    ("kind", "name", "typed", "words"),
    [
        ("stock", "grams", "-5 g", "cannot be read"),
        ("stock", "grams", "0", "must be above 0"),
        ("stock", "grams", "5 mL", "5 mL"),
        ("stock", "made_up_to_ml", "much", "cannot be read"),
        ("stock", "mixed_on", "2026-02-30", "write a date such as 2026-03-01"),
        ("lot", "dyed_on", "2.4.2026", "write a date such as 2026-03-01"),
        ("stock", "mixed_on", "2199-01-01", "Mixed on is 2199-01-01, which has not come yet"),
        ("lot", "dyed_on", "2199-01-01", "Dyed on is 2199-01-01, which has not come yet"),
        ("lot", "dry_g", "1,234", "comma"),
        ("swatch", "form", "ball", "choose one of skein"),
        ("swatch", "form", "knit", "is a master or was held to one"),
    ],
)
async def test_what_cannot_be_comes_back_as_it_was_typed(
    kind: str, name: str, typed: str, words: str, visitor: Visitor, studio: Path
) -> None:
    before, path = facts(studio, kind), f"/{kind}/{NUMBERS[kind]}/facts"
    assert ask(studio, "SELECT 1 FROM lot_check WHERE swatch_id = 2 OR master_swatch_id = 2")
    answer = await visitor("dyer").post(path, {"once": ONCE, name: typed})
    page = html.unescape(answer.text)
    assert answer.status_code == 400 and 'role="alert"' in page and words in page
    shown = f"<option selected>{typed}" if name == "form" else f'name="{name}" value="{typed}"'
    assert typed == "ball" or shown in page
    assert facts(studio, kind) == before


@pytest.mark.parametrize("kind", PAGES)
async def test_a_form_sent_as_it_came_says_that_nothing_was_typed(
    kind: str, visitor: Visitor, studio: Path
) -> None:
    before, path = facts(studio, kind), f"/{kind}/{NUMBERS[kind]}/facts"
    shown = {f["name"]: f["value"] for f in put_right(kind, NUMBERS[kind], before)["fields"]}  # type: ignore[arg-type]
    for n, sent in enumerate((shown, {})):
        answer = await visitor("dyer").post(path, {"once": f"{ONCE}{n}", **sent})
        assert answer.status_code == 400 and "Nothing was typed" in answer.text
    assert facts(studio, kind) == before
    if kind != "stock":
        ((name,),) = ask(
            studio,
            f"SELECT {'label' if kind == 'swatch' else 'code'} FROM {kind} WHERE id = "
            f"{NUMBERS[kind]}",
        )
        path = f"/{kind}/{NUMBERS[kind]}/name"
        answer = await visitor("dyer").post(path, {"once": ONCE, "name": name})
        assert answer.status_code == 400 and "Nothing was typed" in answer.text


async def test_what_is_not_there_cannot_be_put_right(visitor: Visitor) -> None:
    for kind in PAGES:
        assert (await visitor("dyer").get(f"/{kind}/999999/facts")).status_code == 404
        answer = await visitor("dyer").post(f"/{kind}/999999/facts", {"once": ONCE})
        assert answer.status_code == 404
    assert (await visitor("dyer").get("/colourway/1/facts")).status_code == 404


async def test_another_base_is_asked_about_where_verdicts_hang_on_it(
    visitor: Visitor, studio: Path
) -> None:
    sql = (
        "SELECT lot_check.swatch_id FROM lot_check JOIN swatch ON swatch.id = swatch_id "
        "WHERE swatch_id NOT IN (SELECT swatch_id FROM master) AND base_id <> 1 LIMIT 1"
    )
    ((number,),) = ask(studio, sql)
    given = ask(studio, "SELECT * FROM lot_check")
    path, of = f"/swatch/{number}/facts", f"SELECT base_id FROM swatch WHERE id = {number}"
    ((base,),) = ask(studio, "SELECT name FROM base WHERE id = 1")
    before = ask(studio, of)
    sent = {"once": ONCE, "base": base}
    answer = await visitor("dyer").post(path, sent)
    page = html.unescape(answer.text)
    assert answer.status_code == 400 and "not changed yet" in page and "--yes" not in page
    assert 'name="sure"' in page and f"<option selected>{base}" in page
    assert ask(studio, of) == before
    answer = await visitor("dyer").post(path, {**sent, "once": ONCE + "-2", "sure": "yes"})
    assert answer.status_code == 303 and ask(studio, of) == [(1,)]
    assert ask(studio, "SELECT * FROM lot_check") == given


async def test_a_master_that_is_of_other_yarn_now_is_told_of_on_both_pages(
    visitor: Visitor, studio: Path
) -> None:
    sql = "SELECT swatch_id, colourway_id FROM current_masters ORDER BY master_id LIMIT 1"
    ((swatch, colourway),) = ask(studio, sql)
    dyer = visitor("dyer")
    pages = (f"/swatch/{swatch}", f"/colourway/{colourway}")
    for page in pages:
        assert "stands no longer" not in (await dyer.get(page)).text
    with sqlite3.connect(studio / "archive.db") as conn:
        other = "(SELECT id FROM base WHERE id NOT IN (SELECT base_id FROM swatch WHERE id = ?))"
        conn.execute(
            f"UPDATE swatch SET base_id = {other}, skein_id = NULL WHERE id = ?", (swatch, swatch)
        )
    for page in pages:
        text = html.unescape((await dyer.get(page)).text)
        assert "is of other yarn now: it stands no longer" in text, page
        assert "This swatch is the master of" not in text


@pytest.mark.parametrize("kind", ["base", "colourway", "lot", "swatch", "dye", "stock", "recipe"])
async def test_what_nothing_belongs_to_is_let_go_on_its_page(
    kind: str, visitor: Visitor, studio: Path
) -> None:
    made = {
        "base": "INSERT INTO base (name) VALUES ('Slip')",
        "colourway": "INSERT INTO colourway (name) VALUES ('Slip')",
        "lot": "INSERT INTO lot (code) VALUES ('Slip')",
        "swatch": "INSERT INTO swatch (label, base_id, form) VALUES ('Slip', 1, 'knit')",
        "dye": "INSERT INTO dye (name) VALUES ('Slip')",
        "stock": "INSERT INTO stock (dye_id, code, grams, made_up_to_ml) VALUES (1, 'Slip', 1, 1)",
        "recipe": "INSERT INTO recipe (colourway_id, base_id, version, added_at) "
        "VALUES (1, 4, 9, '2026-01-01T10:00:00Z')",
    }[kind]
    with sqlite3.connect(studio / "archive.db") as conn:
        number = conn.execute(made).lastrowid
    there = f"SELECT 1 FROM {kind} WHERE id = {number}"
    path = f"/{kind}/{number}/gone"
    page = "/dye/1" if kind == "stock" else f"/{kind}/{number}"
    assert f'href="{path}"' in (await visitor("dyer").get(page)).text
    assert "Nothing belongs to it" in (await visitor("dyer").get(path)).text
    assert (await visitor("helper").post(path, {"once": ONCE})).status_code == 403
    assert ask(studio, there) == [(1,)]
    for _ in range(2):  # a second tap does nothing more
        answer = await visitor("dyer").post(path, {"once": ONCE})
        assert answer.status_code == 303
    assert ask(studio, there) == []
    assert (await visitor("dyer").get(answer.headers["location"])).status_code == 200
    assert (await visitor("dyer").get(path)).status_code == 404


@pytest.mark.parametrize("kind", ["base", "colourway", "lot", "swatch", "dye", "stock", "recipe"])
async def test_what_something_belongs_to_stays_and_the_page_says_what(
    kind: str, visitor: Visitor, studio: Path
) -> None:
    before = ask(studio, f"SELECT * FROM {kind}")
    page = (await visitor("dyer").get(f"/{kind}/1/gone")).text
    rests = "on it rest" if kind in ("dye", "stock", "recipe") else "to it belong"
    assert f"It stays: {rests} " in page and "<button" not in page.split("<main")[1]
    answer = await visitor("dyer").post(f"/{kind}/1/gone", {"once": ONCE})
    assert answer.status_code == 400 and 'role="alert"' in answer.text
    assert ask(studio, f"SELECT * FROM {kind}") == before


async def test_only_a_stock_that_was_never_used_is_offered_to_be_let_go(
    visitor: Visitor, studio: Path
) -> None:
    used = {stock for (stock,) in ask(studio, "SELECT DISTINCT stock_id FROM lot_dye")} - {None}
    assert used
    for stock in used:
        [(dye,)] = ask(studio, f"SELECT dye_id FROM stock WHERE id = {stock}")
        page = (await visitor("dyer").get(f"/dye/{dye}")).text
        assert "Put stock " in page and f"/stock/{stock}/gone" not in page


async def test_a_swatch_whose_photo_was_moved_is_let_go_on_its_page(
    visitor: Visitor, studio: Path, tmp_path: Path
) -> None:
    with open_archive(studio) as archive:
        slip = add_swatch(archive.conn, Swatch("slip", "Orrin four-ply", "knit")).id
        (right,) = archive.conn.execute(
            "SELECT id FROM swatch WHERE label = 'TF-1 knit'"
        ).fetchone()
        path = photo_file(tmp_path, "slip.jpg", b"slip")
        for swatch in (slip, right):
            regions = [RegionOf("new", swatch)]
            file_photo(archive, photo_of(path), path, regions, PhotoFacts(relabel=True))
    dyer = visitor("dyer")
    page = f"/swatch/{slip}/gone"
    text = (await dyer.get(page)).text
    assert "What was measured of <bdi>TF-1 knit</bdi> under that name stays with it." in text
    assert (await dyer.post(page, {"once": ONCE})).status_code == 303
    assert ask(studio, f"SELECT * FROM swatch WHERE id = {slip}") == []


async def test_a_name_is_typed_where_there_are_too_many_to_choose_from(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    assert '<select name="colourway">' in (await dyer.get("/lot/1/facts")).text
    with sqlite3.connect(studio / "archive.db") as conn:
        rows = [(f"Shade {n}",) for n in range(MOST_NAMES)]
        conn.executemany("INSERT INTO colourway (name) VALUES (?)", rows)
    page = (await dyer.get("/lot/1")).text
    assert '<input name="colourway" value="Ninth Furrow"' in page and "Shade 7" not in page
    told = {"once": "a-name-that-is-not-there", "colourway": "Shade 7000", "sure": "yes"}
    answer = await dyer.post("/lot/1/facts", told)
    assert answer.status_code in (400, 404) and "Shade 7000" in answer.text
    assert facts(studio, "lot")["colourway"] == "Ninth Furrow"


def _sent_by_a_tab(page: str, once: str) -> dict[str, str]:
    """The form of facts on a page as a browser sends it untouched."""
    form = page.partition('/facts">')[2].partition("</form>")[0]
    fields = dict(re.findall(r'name="([a-z_-]+)" value="([^"]*)"', form))
    return {html.unescape(k): html.unescape(v) for k, v in fields.items()} | {"once": once}


async def test_what_another_tab_put_right_stays(visitor: Visitor, studio: Path) -> None:
    dyer, path = visitor("dyer"), "/lot/1/facts"
    page = (await dyer.get(path)).text
    one, other = (_sent_by_a_tab(page, f"{ONCE}{n}") for n in (1, 2))
    assert (await dyer.post(path, {**one, "dry_g": "205 g"})).status_code == 303
    assert (await dyer.post(path, {**other, "dyed_on": "2026-02-11"})).status_code == 303
    assert (facts(studio, "lot")["dry_g"], facts(studio, "lot")["dyed_on"]) == (205.0, "2026-02-11")
    late = await dyer.post(path, {**other, "once": f"{ONCE}3", "dry_g": "210 g"})
    assert late.status_code == 400
    assert "was changed meanwhile, by another tab or phone: it is 205 g now" in late.text
    assert facts(studio, "lot")["dry_g"] == 205.0
    again = _sent_by_a_tab(late.text, f"{ONCE}4")
    assert again["dry_g"] == "210 g"
    assert (await dyer.post(path, again)).status_code == 303
    assert facts(studio, "lot")["dry_g"] == 210.0
