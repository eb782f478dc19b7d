"""The shelf and the sums: what is added, by whom, and what is refused in a sentence."""

from __future__ import annotations

import html
import re
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest

from swatchvault.archive import BaseLot, add_base_lot, open_archive
from swatchvault.customary import CUSTOMS, FIRST
from swatchvault.web.said import CHANGE

pytestmark = pytest.mark.anyio

ADDED: dict[str, tuple[dict[str, str], str]] = {
    "dye": ({"name": "Nettle <b>green</b>", "family": "acid"}, "SELECT count(*) FROM dye"),
    "pack": ({"dye": "Marn blue", "code": "MAR-2"}, "SELECT count(*) FROM dye_pack"),
    "stock": (
        {"dye": "Marn blue", "code": "marn 2 %", "grams": "10", "made_up_to": "500"},
        "SELECT count(*) FROM stock WHERE grams = 10 AND made_up_to_ml = 500",
    ),
    "base": (
        {
            "name": "Ulm sock",
            "fibre1": "wool",
            "percent1": "75 %",
            "fibre2": "nylon",
            "percent2": "25",
        },
        "SELECT count(*) FROM base_fibre",
    ),
    "base lot": ({"base": "Pask haze", "label": "L7"}, "SELECT count(*) FROM base_lot"),
    "left": (
        {"stock": "1", "left": "120,5", "seen_on": "2026-10-01"},
        "SELECT count(*) FROM stock WHERE left_ml = 120.5 AND left_seen_on = '2026-10-01'",
    ),
}


_MARN = {"dye": "Marn blue", "code": "x"}
_TABLES = ("dye", "stock", "base", "dye_pack")


def one(folder: Path, sql: str) -> int:
    with sqlite3.connect(folder / "archive.db") as conn:
        return int(conn.execute(sql).fetchone()[0])


def form(what: str, **fields: str) -> dict[str, str]:
    return {"once": f"a-token-of-a-test-{what.replace(' ', '-')}", "add": what, **fields}


@pytest.mark.parametrize("what", ADDED)
async def test_the_dyer_adds_and_twice_is_once(
    what: str, visitor: Callable[[str], Any], studio: Path
) -> None:
    fields, sql = ADDED[what]
    before = one(studio, sql)
    for _ in range(2):
        answer = await visitor("dyer").post("/shelf", form(what, **fields))
        assert answer.status_code == 303, answer.text
    assert one(studio, sql) == before + (2 if what == "base" else 1)
    assert (await visitor("dyer").get(answer.headers["location"])).status_code == 200
    shelf = (await visitor("dyer").get("/shelf")).text
    assert "<b>green</b>" not in shelf


@pytest.mark.parametrize("what", ADDED)
async def test_a_helper_adds_nothing(
    what: str, visitor: Callable[[str], Any], studio: Path
) -> None:
    fields, sql = ADDED[what]
    before = one(studio, sql)
    assert (await visitor("helper").post("/shelf", form(what, **fields))).status_code == 403
    assert one(studio, sql) == before
    page = (await visitor("helper").get("/shelf")).text
    assert "Marn blue" in page and "<form" not in page


@pytest.mark.parametrize(
    ("what", "fields", "words"),
    [
        ("dye", {"name": ""}, "name is missing"),
        ("dye", {"name": "a\u0007b"}, "control characters"),
        ("pack", {"dye": "No such", "code": "x"}, "unknown dye"),
        ("pack", {"dye": "Marn blue", "code": "x", "opened_on": "soon"}, "write a date"),
        ("pack", {"dye": "Marn blue", "code": "x", "opened_on": "2199-01-01"}, "has not come yet"),
        (
            "stock",
            {**_MARN, "grams": "5", "made_up_to": "500", "mixed_on": "2199-01-01"},
            "has not come yet",
        ),
        ("base lot", {"base": "x", "label": "x", "received_on": "2199-01-01"}, "has not come yet"),
        ("left", {"stock": "1", "left": "5", "seen_on": "2199-01-01"}, "has not come yet"),
        (
            "stock",
            {**_MARN, "grams": "5 mL", "made_up_to": "500"},
            "no mass",
        ),
        (
            "stock",
            {**_MARN, "grams": "0", "made_up_to": "500"},
            "more than",
        ),
        (
            "stock",
            {**_MARN, "grams": "5", "made_up_to": "2"},
            "at most 100",
        ),
        (
            "stock",
            {"dye": "Marn blue", "code": "marn 1 %", "grams": "7", "made_up_to": "500"},
            "already has",
        ),
        ("base", {"name": "New", "fibre1": "wool", "percent1": "60"}, "100 % is needed"),
        ("base", {"name": "New", "fibre1": "wool"}, "how much wool"),
        ("base", {"name": "New", "percent1": "50"}, "which fibre"),
        ("base", {"name": "New", "price_per_kg": "-3"}, "must not be below 0"),
        ("base lot", {"base": "No such", "label": "x"}, "unknown base"),
        ("left", {"stock": "1", "left": "-5"}, "cannot be left"),
        ("left", {"stock": "1", "left": "2000"}, "check the decimal point"),
        ("left", {"stock": "999", "left": "5"}, "not on the shelf"),
        ("left", {"stock": "1", "left": "half"}, "cannot be read"),
    ],
)
async def test_what_cannot_be_is_a_sentence_and_stays_typed(
    what: str, fields: dict[str, str], words: str, visitor: Callable[[str], Any], studio: Path
) -> None:
    counts = [one(studio, f"SELECT count(*) FROM {t}") for t in _TABLES]
    answer = await visitor("dyer").post("/shelf", form(what, **fields))
    assert answer.status_code == 400
    assert words in answer.text
    assert counts == [one(studio, f"SELECT count(*) FROM {t}") for t in _TABLES]
    typed = next((v for n, v in fields.items() if n in ("code", "label", "left", "fibre1")), "")
    assert f'value="{typed}"' in answer.text


@pytest.mark.parametrize(
    ("what", "name", "like"),
    [("dye", "Märn blu", "Marn blue"), ("base", "Pask haize", "Pask haze")],
)
async def test_a_name_that_could_be_a_slip_is_asked_about(
    what: str, name: str, like: str, visitor: Callable[[str], Any], studio: Path
) -> None:
    before = one(studio, f"SELECT count(*) FROM {what}")
    dyer = visitor("dyer")
    refused = await dyer.post("/shelf", form(what, name=name))
    page = html.unescape(refused.text)
    assert refused.status_code == 400
    assert f"is it the {what} '{like}'? Write it so, or tick “It really is new”" in page
    part = page.split(f'name="add" value="{what}"')[1].split("</form>")[0]
    assert 'name="really_new"' in part and f'value="{name}"' in part
    assert page.count('name="really_new"') == 1
    assert one(studio, f"SELECT count(*) FROM {what}") == before
    assert (await dyer.post("/shelf", form(what, name=name, really_new="yes"))).status_code == 303
    assert one(studio, f"SELECT count(*) FROM {what}") == before + 1
    assert 'name="really_new"' not in (await dyer.get("/shelf")).text


@pytest.mark.parametrize(
    ("sent", "kept"),
    [
        (
            {"add": "dye", "name": "Pellow red", "family": "another"},
            "SELECT family FROM dye WHERE name = 'Pellow red'",
        ),
        (
            {"add": "pack", "dye": "Pellow red", "code": "PEL-1", "opened_on": "2020-02-03"},
            "SELECT opened_on FROM dye_pack WHERE code = 'PEL-1'",
        ),
        (
            {"add": "base", "name": "Orrin four-ply", "construction": "another"},
            "SELECT construction FROM base WHERE name = 'Orrin four-ply'",
        ),
        (
            {
                "add": "base lot",
                "base": "Orrin four-ply",
                "label": "D",
                "received_on": "2020-02-03",
            },
            "SELECT received_on FROM base_lot WHERE label = 'D'",
        ),
    ],
    ids=["dye", "pack", "base", "delivery"],
)
async def test_what_is_kept_under_a_name_is_not_changed_without_a_word(
    sent: dict[str, str], kept: str, visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    with open_archive(studio) as archive:
        add_base_lot(archive.conn, BaseLot("Orrin four-ply", "D", "2021-01-01"))
        (before,) = archive.conn.execute(kept).fetchone()
    refused = await dyer.post("/shelf", {"once": "o" * 20, **sent})
    assert refused.status_code == 400 and "is there already" in refused.text
    tick = f'<input type="checkbox" name="change" value="yes" autofocus> {CHANGE}</label>'
    assert refused.text.count(tick) == 1
    with open_archive(studio) as archive:
        assert tuple(archive.conn.execute(kept).fetchone()) == (before,)
    told = {"once": "p" * 20, "change": "yes", **sent}
    assert (await dyer.post("/shelf", told)).status_code == 303
    with open_archive(studio) as archive:
        (after,) = archive.conn.execute(kept).fetchone()
    assert after == list(sent.values())[-1] != before


async def test_a_clash_sends_to_the_page_and_to_no_command(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    sql = "SELECT dye.name, stock.code FROM stock JOIN dye ON dye.id = dye_id LIMIT 1"
    with sqlite3.connect(studio / "archive.db") as conn:
        dye, code = conn.execute(sql).fetchone()
    told = {"add": "stock", "dye": dye, "code": code, "grams": "77 g", "made_up_to": "1000 mL"}
    page = (await visitor("dyer").post("/shelf", {"once": "q" * 20, **told})).text
    words = page.partition('role="alert">')[2].partition("</p>")[0]
    assert "already has" in words and "“Put right”" in words and "swatchvault" not in words


async def test_a_stock_that_is_old_or_overdrawn_says_so(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    page = (await visitor("dyer").get("/shelf")).text
    assert "Mixed more than six months ago" in page
    assert "of it went in (lots" not in page
    with sqlite3.connect(studio / "archive.db") as conn:
        conn.execute("UPDATE stock SET made_up_to_ml = 500 WHERE code = 'brackle 1 %'")
    page = (await visitor("dyer").get("/shelf")).text
    assert "mL of it went in (lots" in page and "and 500 mL were mixed" in page
    assert (await visitor("dyer").get("/dye/999")).status_code == 404


SUMS = {
    "dye": (
        {"goods": "454", "depth1": "2", "stock1": "1", "name1": "Ember"},
        "910 mL of stock 1 %",
    ),
    "stock": ({"goods": "200 g", "amount1": "80", "stock1": "1 %"}, "0.4 % depth of shade"),
    "mix": ({"volume": "500", "strength": "1,0 %"}, "5 g of powder made up to 500 mL"),
    "acid": (
        {
            "have_acid": "acetic",
            "have_strength": "56",
            "have_basis": "g/100 g",
            "have_density": "1.06",
            "dilute_to": "5",
            "make_up_to": "500",
        },
        "made up to 500 mL",
    ),
    "water": ({"goods": "200", "ratio": "30", "added1": "80"}, "water to put in 5920 mL"),
    "cost": (
        {
            "kind1": "powder",
            "amount1": "2.5",
            "price1": "90",
            "kind2": "base",
            "amount2": "200 g",
            "price2": "58",
            "skein1": "100",
            "skein2": "100",
        },
        "the lot 11.8",
    ),
}


@pytest.mark.parametrize("which", SUMS)
async def test_a_sum(which: str, visitor: Callable[[str], Any]) -> None:
    fields, words = SUMS[which]
    answer = await visitor("helper").get("/sums?" + urlencode({"sum": which, **fields}))
    assert answer.status_code == 200
    assert words in answer.text
    assert ("Safety data sheet first" in answer.text) == (which != "cost")


async def test_what_is_customary_stands_there_with_its_source(
    visitor: Callable[[str], Any],
) -> None:
    page = html.unescape((await visitor("dyer").get("/sums")).text)
    assert f"<p>{FIRST}</p>" in page
    for custom in CUSTOMS:
        assert f"<dt>{custom.of}</dt><dd>{custom.usual} " in page and custom.source in page


async def test_sums_are_the_commands(visitor: Callable[[str], Any]) -> None:
    """The page and the command say the same lines."""
    from click.testing import CliRunner

    from swatchvault.commands.sums import sums_command

    for args, fields in (
        (["dye", "454 g", "Ember 2 from 1"], {"sum": "dye", **SUMS["dye"][0]}),
        (["mix", "500 mL", "1"], {"sum": "mix", **SUMS["mix"][0]}),
        (["water", "200 g", "30", "80 mL"], {"sum": "water", **SUMS["water"][0]}),
    ):
        said = CliRunner().invoke(sums_command, args).output.splitlines()
        page = (await visitor("dyer").get("/sums?" + urlencode(fields))).text
        for line in (x for x in said if not x.startswith(("caution", "note"))):
            assert line in page


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"sum": "dye"}, "dry weight of the goods is missing"),
        ({"sum": "dye", "goods": "100"}, "depth is missing"),
        ({"sum": "dye", "goods": "-1", "depth1": "1"}, "cannot be read"),
        ({"sum": "dye", "goods": "100", "depth1": "1", "stock1": "0"}, "more than 0"),
        ({"sum": "dye", "goods": "1 cup", "depth1": "1"}, "no mass"),
        ({"sum": "stock", "goods": "100", "amount1": "5"}, "strength of stock 1 is missing"),
        ({"sum": "mix", "volume": "5"}, "either the strength"),
        ({"sum": "mix", "volume": "5", "strength": "1", "powder": "1"}, "either the strength"),
        (
            {
                "sum": "acid",
                "have_acid": "acetic",
                "have_strength": "5",
                "dilute_to": "1",
                "make_up_to": "5",
            },
            "can be read as g/100 mL or as g/100 g, by mass: choose",
        ),
        (
            {
                "sum": "acid",
                "have_acid": "acetic",
                "have_strength": "56",
                "have_basis": "g/100 g",
                "dilute_to": "1",
                "make_up_to": "5",
            },
            "density is needed too. Fill it in, in g/mL",
        ),
        ({"sum": "water", "goods": "100", "ratio": "1", "added1": "500"}, "exceed the liquor"),
        ({"sum": "cost"}, "what was used is missing"),
        ({"sum": "cost", "amount1": "2 tsp", "price1": "90"}, "is no mass"),
        ({"sum": "cost", "kind1": "base", "amount1": "200 mL", "price1": "58"}, "is no mass"),
        ({"sum": "cost", "amount1": "5", "price1": "9", "minutes": "5"}, "both the minutes"),
    ],
)
async def test_a_sum_that_cannot_be(
    fields: dict[str, str], words: str, visitor: Callable[[str], Any]
) -> None:
    answer = await visitor("dyer").get("/sums?" + urlencode(fields))
    assert answer.status_code == 400
    assert words in answer.text


async def test_too_small_to_measure_offers_a_dilution(visitor: Callable[[str], Any]) -> None:
    page = await visitor("dyer").get("/sums?sum=dye&goods=100&depth1=0.001&stock1=1")
    assert "dilute 1:10" in page.text


def test_a_comma_that_may_be_thousands_is_refused() -> None:
    from swatchvault.web.typed import number
    from swatchvault.web.visit import RefusedError

    assert (number("2,5", "it"), number("0,125", "it"), number("-1.5", "it")) == (2.5, 0.125, -1.5)
    with pytest.raises(RefusedError, match=r"write 1\.000 or 1000"):
        number("1,000", "the ratio")


async def test_the_shelf_says_when_what_is_left_was_seen(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    async def told() -> str:
        page = re.sub(r"<[^>]+>", "", (await visitor("dyer").get("/shelf")).text)
        return page.partition("stock pellow 1 %")[2].partition("%\n")[2].partition("\n\n")[0]

    assert "never looked at since" in await told()
    with sqlite3.connect(studio / "archive.db") as conn:
        conn.execute("UPDATE stock SET left_ml = 150 WHERE code = 'pellow 1 %'")
    seen = await told()
    assert "150 mL seen, on a day that is not told" in seen
    assert "say on which day so much was left (until then it counts as poured since)" in seen
    with sqlite3.connect(studio / "archive.db") as conn:
        conn.execute("UPDATE stock SET left_seen_on = '2099-01-01' WHERE code = 'pellow 1 %'")
    assert "150 mL left" in await told()
    assert "150 mL seen 2099-01-01, after that day" in await told()


async def test_a_shelf_of_many_stocks_shows_the_newest_of_each_dye(
    studio: Path, visitor: Callable[[str], Any]
) -> None:
    with sqlite3.connect(studio / "archive.db") as conn:
        (dye,) = conn.execute("SELECT id FROM dye WHERE name = 'Marn blue'").fetchone()
        conn.executemany(
            "INSERT INTO stock (dye_id, code, grams, made_up_to_ml, mixed_on) "
            "VALUES (?, ?, 10, 1000, ?)",
            [(dye, f"batch {n}.", f"2020-01-{n:02d}") for n in range(1, 10)],
        )
        rows = conn.execute("SELECT id, code FROM stock WHERE dye_id = ?", (dye,)).fetchall()
        (oldest,) = [number for number, code in rows if code == "batch 1."]
    dyer = visitor("dyer")
    page = (await dyer.get("/shelf")).text
    shown = [code for _, code in rows if f"<bdi>{code}</bdi>" in page]
    assert len(shown) == 6 and "batch 9." in shown and "batch 1." not in shown
    assert f"newest 6 stand here; {len(rows) - 6} older ones stand on" in page
    assert f'<option value="{oldest}"' not in page
    own = (await dyer.get(f"/dye/{dye}")).text
    assert all(
        f"<bdi>{code}</bdi>" in own and f"Marn blue, {code}</option>" in own for _, code in rows
    )
    assert "Say what is left" not in (await visitor("helper").get(f"/dye/{dye}")).text
    # What is told of an older one on its dye's page, and refused, comes back with it chosen.
    answer = await dyer.post("/shelf", form("left", stock=str(oldest), left="-5"))
    assert answer.status_code == 400
    assert f'<option value="{oldest}" selected>' in answer.text and 'value="-5"' in answer.text
    await dyer.post("/shelf", form("left", stock=str(oldest), left="7", seen_on="2026-10-01"))
    assert one(studio, f"SELECT left_ml FROM stock WHERE id = {oldest}") == 7
