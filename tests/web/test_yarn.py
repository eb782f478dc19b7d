"""Pages of colourways, lots, swatches, bases and recipes; a swatch made the master."""

from __future__ import annotations

import html
import re
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from swatchvault.web.studio import datasette_of
from tests.swatchvault.running import run
from tests.web.test_finds import command

pytestmark = pytest.mark.anyio

KINDS = {
    "colourway": "colourway",
    "lot": "lot",
    "swatch": "swatch",
    "base": "base",
    "recipe": "recipe",
    "check": "lot_check",
}
ODD = "<script>alert('x')</script> \"Löffel\" & שלום 🧶"


def ids(folder: Path, table: str) -> list[int]:
    with sqlite3.connect(folder / "archive.db") as conn:
        return [int(r[0]) for r in conn.execute(f"SELECT id FROM {table} ORDER BY id")]


def ask(folder: Path, sql: str, *values: object) -> Any:
    with sqlite3.connect(folder / "archive.db") as conn:
        return conn.execute(sql, values).fetchall()


def once(text: str) -> str:
    found = re.search(r'name="once" value="([^"]+)"', text)
    assert found is not None
    return found[1]


@pytest.mark.parametrize("kind", KINDS)
async def test_every_one_of_the_demo_has_its_page(
    kind: str, visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    rows = ids(studio, KINDS[kind])
    assert rows
    for row_id in rows:
        answer = await dyer.get(f"/{kind}/{row_id}")
        assert answer.status_code == 200, (kind, row_id)
        assert answer.text.count("<h1") == 1


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("row_id", ["999999", "0", "999999999999999999"])
async def test_an_unknown_number_is_a_sentence(
    kind: str, row_id: str, visitor: Callable[[str], Any]
) -> None:
    answer = await visitor("dyer").get(f"/{kind}/{row_id}")
    assert answer.status_code == 404
    assert f"There is no {kind}" in answer.text


async def test_odd_names_are_shown_as_typed(visitor: Callable[[str], Any], studio: Path) -> None:
    odd = {
        "colourway": ("name", ODD),
        "lot": ("code", ODD + " lot"),
        "swatch": ("label", ODD + " swatch"),
        "base": ("name", ODD + " base"),
        "dye": ("name", ODD + " dye"),
    }
    with sqlite3.connect(studio / "archive.db") as conn:
        for table, (column, name) in odd.items():
            conn.execute(f"UPDATE {table} SET {column} = ? WHERE id = 1", (name,))
            if table != "swatch":
                conn.execute(f"UPDATE {table} SET note = ? WHERE id = 1", (ODD + " note",))
    dyer = visitor("dyer")
    paths = ["/colourway/1", "/lot/1", "/swatch/1", "/base/1", "/recipe/1", "/recipe/1/card"]
    paths += ["/lot/1/card", "/lot/1/label", "/check/new?lot=1", "/archive/latest_colours"]
    for path in paths:
        answer = await dyer.get(path)
        assert answer.status_code == 200, path
        assert "<script>alert" not in answer.text, path
        assert "🧶" in html.unescape(answer.text), path
        assert ODD in html.unescape(answer.text), path


async def test_a_lot_with_nothing_at_all(visitor: Callable[[str], Any], studio: Path) -> None:
    with sqlite3.connect(studio / "archive.db") as conn:
        lot = conn.execute("INSERT INTO lot (code) VALUES ('bare')").lastrowid
        colourway = conn.execute("INSERT INTO colourway (name) VALUES ('bare')").lastrowid
        base = conn.execute("INSERT INTO base (name) VALUES ('bare')").lastrowid
        sql = "INSERT INTO swatch (label, base_id, form) VALUES ('bare', ?, 'skein')"
        swatch = conn.execute(sql, (base,)).lastrowid
    dyer = visitor("dyer")
    for path in (
        *(f"/lot/{lot}", f"/lot/{lot}/card", f"/lot/{lot}/label", f"/check/new?lot={lot}"),
        *(f"/colourway/{colourway}", f"/base/{base}", f"/swatch/{swatch}"),
    ):
        answer = await dyer.get(path)
        assert answer.status_code == 200, path
        assert "None" not in re.sub(r"None yet", "", answer.text), path
    page = await dyer.get(f"/swatch/{swatch}/tonal")
    assert page.status_code == 404


async def test_a_swatch_says_its_colour_its_doubt_and_its_flags(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    from ingest.flags import FLAGS

    text = html.unescape((await visitor("dyer").get("/swatch/1")).text)
    (name,) = ask(studio, "SELECT value FROM measurement, json_each(flags) LIMIT 1")[0]
    assert FLAGS[name] in text
    for part in ("region", "frame", "set-up", "profile"):
        assert f"<strong>{part}</strong>" in text
    assert re.search(r"L\* \d+\.\d ± \d", text)
    assert '<svg class="palette"' in text
    assert text.count("<polygon") >= 4  # swatches and reference, each drawn twice


async def test_a_swatch_says_from_which_of_its_photos_how_even_it_is_is_told(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    (swatch, spoken) = ask(studio, "SELECT swatch_id, measurement_id FROM latest_colours")[0]
    (best,) = ask(
        studio,
        "SELECT measurement_id, photo_sha256 FROM colours WHERE swatch_id = ? "
        "AND measurement_id <> ? ORDER BY measurement_id LIMIT 1",
        *(swatch, spoken),
    )
    with sqlite3.connect(studio / "archive.db") as conn:
        of = "type = 'trigger' AND tbl_name = 'measurement'"  # they keep a row as it was
        for (name,) in ask(studio, f"SELECT name FROM sqlite_master WHERE {of}"):
            conn.execute(f"DROP TRIGGER {name}")
        put = "UPDATE measurement SET tonality = json_set(tonality, '$.unevenness', 7.77, "
        conn.execute(f"{put}'$.u_unevenness', 0.01) WHERE id = ?", best[:1])
    dyer = visitor("dyer")
    text = " ".join((await dyer.get(f"/swatch/{swatch}")).text.split())
    assert "7.8 ±" in text
    assert f'Told from <a href="/photos/{best[1]}">the photo of' in text
    card = (await dyer.get(f"/swatch/{swatch}/tonal")).text
    assert "7.8 ±" in card and "the one that leaves least doubt of how even it is" in card
    with sqlite3.connect(studio / "archive.db") as conn:
        conn.execute(f"{put}'$.u_unevenness', 0.001) WHERE id = ?", (spoken,))
    assert "Told from the same photo" in (await dyer.get(f"/swatch/{swatch}")).text


async def test_a_lots_evenness_is_named_where_its_column_is_not_seen(
    visitor: Callable[[str], Any],
) -> None:
    for page in ("/colourway/1", "/base/1"):
        text = (await visitor("dyer").get(page)).text
        cells = re.findall(r"<td([^>]*)>(?:solid|semi-solid|cannot tell)[^<]*</td>", text)
        assert cells and set(cells) == {' data-label="evenness"'}, page


async def test_the_master_is_set_once_by_a_form(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    (swatch, colourway) = ask(
        studio,
        "SELECT swatch.id, lot.colourway_id FROM swatch JOIN lot ON lot.id = lot_id "
        "WHERE swatch.id NOT IN (SELECT swatch_id FROM master) AND swatch.form = 'wound card' "
        "AND lot.colourway_id IN (SELECT colourway_id FROM master)",
    )[0]
    page = f"/colourway/{colourway}"
    form = {
        "once": once((await dyer.get(page)).text),
        "swatch": str(swatch),
        "tolerance": "1,5",
        "k_l": "1",
        "reason": ODD,
    }
    before = len(ids(studio, "master"))
    for _ in range(2):
        answer = await dyer.post(page, form)
        assert answer.status_code == 303
        assert answer.headers["location"] == page
    rows = ask(studio, "SELECT swatch_id, tolerance, k_l, reason FROM master ORDER BY id DESC")
    assert len(rows) == before + 1
    assert rows[0] == (swatch, 1.5, 1.0, ODD)
    assert html.escape(ODD, quote=False).split("&quot;")[0][:8] in (await dyer.get(page)).text


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"tolerance": "much"}, "tolerance cannot be read"),
        ({"tolerance": "0"}, "must be above 0"),
        ({"k_l": "-1"}, "must be above 0"),
        ({"tolerance": "nan"}, "tolerance cannot be read"),
        ({"swatch": ""}, "swatch is missing"),
        ({"swatch": "one"}, "swatch cannot be read"),
        ({"swatch": "999999"}, "no swatch of the number"),
        ({"since": "yesterday"}, "write a date such as 2026-03-01"),
        ({"once": "short"}, "token"),
        ({"swatch": "{undyed}"}, "undyed yarn"),
        ({"swatch": "{other}"}, "another colourway"),
    ],
)
async def test_a_master_that_cannot_be(
    changed: dict[str, str], words: str, visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    sql = "SELECT swatch.id, colourway_id FROM swatch JOIN lot ON lot.id = lot_id ORDER BY 1"
    swatches = ask(studio, sql)
    swatch, colourway = swatches[0]
    other = next(s for s, c in swatches if c != colourway)
    (undyed,) = ask(studio, "SELECT id FROM swatch WHERE lot_id IS NULL")[0]
    page = f"/colourway/{colourway}"
    form = {"once": once((await dyer.get(page)).text), "swatch": str(swatch), "tolerance": "2"}
    form |= {k: v.format(undyed=undyed, other=other) for k, v in changed.items()}
    before = ids(studio, "master")
    answer = await dyer.post(page, form)
    assert answer.status_code in (400, 404)
    assert words in html.unescape(answer.text)
    assert ids(studio, "master") == before


async def test_a_helper_reads_and_does_not_set_masters(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    helper = visitor("helper")
    for page in ("/colourway/1", "/swatch/1"):
        text = (await helper.get(page)).text
        assert "Hold later lots to this swatch" not in text
        form = {"once": "a" * 22, "swatch": "1", "tolerance": "2"}
        assert (await helper.post(page, form)).status_code == 403
    assert 'action="/check/new"' in (await helper.get("/lot/2")).text


async def test_how_even_the_master_is_can_be_held_to(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    (swatch,) = ask(
        studio,
        "SELECT m.swatch_id FROM master JOIN measurement AS m USING (swatch_id) "
        "WHERE json_extract(m.tonality, '$.class') = 'semi-solid'",
    )[0]
    page = f"/swatch/{swatch}"
    form = {"once": once((await dyer.get(page)).text), "swatch": str(swatch), "evenness": "yes"}
    assert (await dyer.post(page, form)).status_code == 303
    (stated,) = ask(studio, "SELECT unevenness FROM master_evenness ORDER BY id DESC")[0]
    assert stated is not None
    (colourway,) = ask(
        studio, "SELECT colourway_id FROM lot JOIN swatch ON lot_id = lot.id WHERE swatch.id = ?",
        swatch,
    )[0]  # fmt: skip
    told = ask(
        studio, "SELECT unevenness, u_unevenness, tolerance FROM master_evenness "
        "ORDER BY id DESC",
    )[0]  # fmt: skip
    words = "unevenness {:.2f} ± {:.2f}, tolerance {:.2g}".format(*told)
    for shown in (page, f"/colourway/{colourway}"):
        text = (await dyer.get(shown)).text
        assert words in text
        assert ("no lot can be called less tonal" in text) == (told[2] >= told[0])
    form = {"once": once((await dyer.get(page)).text), "swatch": str(swatch), "evenness": "no"}
    assert (await dyer.post(page, form)).status_code == 303
    (stated,) = ask(studio, "SELECT unevenness FROM master_evenness ORDER BY id DESC")[0]
    assert stated is None
    assert "and not to how even it is" in (await dyer.get(page)).text
    assert "unevenness" not in (await dyer.get(f"/colourway/{colourway}")).text.split("Masters")[1]


async def test_the_course_is_drawn_without_style_or_script(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    (colourway,) = ask(studio, "SELECT colourway_id FROM master")[0]
    text = (await visitor("dyer").get(f"/colourway/{colourway}")).text
    assert "<polyline" in text
    assert " style=" not in text
    assert not re.search(r"\son\w+=", text)


async def test_a_quiet_course_does_not_gainsay_a_verdict(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    sql = "SELECT colourway_id FROM lot_check JOIN lot ON lot.id = lot_id WHERE verdict = 'outside'"
    texts = [(await dyer.get(f"/colourway/{c}")).text for (c,) in ask(studio, sql)]
    few = "lots are too few to tell whether one of them is out of line"
    assert texts and all(few in t and "No lot is out of line" not in t for t in texts)
    for text in texts:  # which it says of no course of its own
        assert text.count("Verdicts against the master stand above.") == text.count(few)


async def test_times_are_read_by_people(visitor: Callable[[str], Any], studio: Path) -> None:
    dyer = visitor("dyer")
    taken = ask(studio, "SELECT sha256 FROM photo WHERE taken_at LIKE '%T%' LIMIT 3")
    assert len(taken) == 3
    for (sha256,) in taken:
        text = (await dyer.get(f"/photos/{sha256}")).text
        shown = re.sub(r"<[^>]*>", " ", text)
        assert not re.search(r"\d{4}-\d\d-\d\dT\d\d:", shown)
        assert re.search(r"Taken\s+\d{4}-\d\d-\d\d \d\d:\d\d\s", shown)


async def test_groups_are_counted_in_words(visitor: Callable[[str], Any], studio: Path) -> None:
    sql = "SELECT colourway_id FROM lot JOIN swatch ON lot_id = lot.id GROUP BY 1 "
    sql += "HAVING count(DISTINCT form || base_id) = 1 AND count(*) > 2"
    (colourway,) = ask(studio, sql)[0]
    text = (await visitor("dyer").get(f"/groups?colourway={colourway}&go=1")).text
    assert re.search(r"<h2>\d+ swatches in \d+ groups?</h2>", text)


async def test_a_recipe_on_a_weight_of_goods(visitor: Callable[[str], Any], studio: Path) -> None:
    from swatchvault.archive import open_archive, stocks_held

    dyer = visitor("dyer")
    sql = (
        "SELECT recipe.id, dye.name, depth_percent FROM recipe JOIN recipe_part AS part ON "
        "part.recipe_id = recipe.id JOIN recipe_dye ON recipe_part_id = part.id JOIN dye ON "
        "dye.id = dye_id WHERE share_percent = 100"
    )
    recipe, dye, depth = ask(studio, sql)[0]
    with open_archive(studio) as archive:
        strength = stocks_held(archive.conn, dye)[0].strength_percent
    text = (await dyer.get(f"/recipe/{recipe}?goods=400+g&ratio=20")).text
    taken = 400 * depth / strength  # g of goods x % / % of g per 100 mL, in mL
    assert f"{taken:g} mL" in text
    assert "Liquor 8000 mL" in text
    bare = (await dyer.get(f"/recipe/{recipe}?goods=400&ratio=20")).text
    assert f"{taken:g} mL" in bare and "400 g" in bare
    card = (await dyer.get(f"/recipe/{recipe}/card?goods=400+g&ratio=20")).text
    assert f"{taken:g} mL" in card


async def test_a_recipe_says_what_changed_against_its_parent(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    from dataclasses import replace

    from swatchvault.archive import PlannedDye, add_recipe, open_archive
    from swatchvault.archive.recipes import recipe_by_id

    with open_archive(studio) as archive:
        old = recipe_by_id(archive.conn, 1)
        part = old.parts[0]
        (dye, *others) = part.dyes
        deeper = PlannedDye(dye.dye, 2 * dye.depth_percent)
        new = replace(
            old,
            version=2,
            parent=1,
            parts=(replace(part, dyes=(deeper, *others)), *old.parts[1:]),
        )
        recipe_id = add_recipe(archive.conn, new).id
    dyer = visitor("dyer")
    text = html.unescape((await dyer.get(f"/recipe/{recipe_id}")).text)
    assert "What changed against version 1" in text
    assert f"{dye.dye} {dye.depth_percent:g} -> {deeper.depth_percent:g} %" in text
    back = html.unescape((await dyer.get("/recipe/1?against=2")).text)
    assert f"{dye.dye} {deeper.depth_percent:g} -> {dye.depth_percent:g} %" in back
    assert (await dyer.get("/recipe/1?against=77")).status_code == 404
    itself = await dyer.get("/recipe/1?against=1")
    assert itself.status_code == 400 and "would be set against itself" in itself.text
    plain = (await dyer.get("/recipe/1")).text
    assert '<option value="">nothing</option>' in plain and "What changed" not in plain
    assert "from version 1" in (await dyer.get(f"/colourway/{recipe_row(studio)}")).text


async def test_the_page_and_the_command_print_one_sheet_for_the_same_least_volume(
    visitor: Callable[[str], Any], studio: Path, tmp_path: Path, capsys: Any
) -> None:
    (names,) = ask(
        studio,
        "SELECT colourway.name, base.name FROM recipe JOIN colourway ON colourway.id = "
        "colourway_id JOIN base ON base.id = base_id WHERE recipe.id = 1",
    )
    told = ("--goods", "20 g", "--ratio", "20")
    for least in ("0.5", "40"):
        sheet = tmp_path / f"{least}.html"
        more = ("--smallest", least, "--print", sheet, "--archive", studio)
        assert run(capsys, "recipe", *names, *told, *more).code == 0
        asked = f"goods=20+g&ratio=20&smallest={least}"
        page = (await visitor("dyer").get(f"/recipe/1?{asked}")).text
        link = re.search(r'href="(/recipe/1/card[^"]*)"', page)
        card = (await visitor("dyer").get(html.unescape(link[1] if link else ""))).text
        assert re.sub(r'<p class="back">.*?</p>', "", card) == sheet.read_text("utf-8")
        said = "is under the 40 mL that you can measure"
        assert (said in page, said in card) == (least == "40",) * 2
        assert f'name="smallest" value="{least}"' in page
    bad = await visitor("dyer").get("/recipe/1?smallest=little")
    assert bad.status_code == 400 and "the least you can measure cannot be read" in bad.text


def recipe_row(folder: Path) -> int:
    """Colourway of the first recipe."""
    return int(ask(folder, "SELECT colourway_id FROM recipe WHERE id = 1")[0][0])


@pytest.mark.parametrize("goods", ["much", "-3 g", "0 g", "12 parsecs"])
async def test_goods_that_cannot_be_weighed(goods: str, visitor: Callable[[str], Any]) -> None:
    answer = await visitor("dyer").get("/recipe/1", params={"goods": goods})
    assert answer.status_code == 400
    assert 'role="alert"' in answer.text
    assert html.escape(goods) in answer.text  # what was typed stays in the form
    assert (await visitor("dyer").get("/recipe/1/card?goods=x")).status_code == 400


async def test_a_published_copy_without_recipes_has_its_pages(studio: Path) -> None:
    from swatchvault.archive import open_archive
    from swatchvault.archive.publishing import publish

    to = studio.parent / "shown"
    with open_archive(studio) as archive:
        publish(archive, to)
    datasette = datasette_of(to, public=True)
    await datasette.invoke_startup()
    for kind, table in KINDS.items():
        for row_id in ids(to, table):
            answer = await datasette.client.get(f"/{kind}/{row_id}")
            assert answer.status_code == 200, (kind, row_id)
            assert "<form" not in answer.text or 'method="post"' not in answer.text
    for path in ("/lot/1/card", "/lot/1/label", "/more", "/cautions", "/mat.pdf"):
        assert (await datasette.client.get(path)).status_code == 200
    assert (await datasette.client.get("/recipe/1")).status_code == 404
    with sqlite3.connect(studio / "archive.db") as conn:
        sql = "SELECT lot_id FROM pot_step JOIN lot ON lot.id = lot_id WHERE recipe_id IS NOT NULL"
        (lot,) = conn.execute(sql).fetchone()
    pot = (await datasette.client.get(f"/pot/{lot}")).text
    assert "Its recipe and its log are not in this copy" in pot and "Not in this copy." in pot
    assert "Nothing done yet" not in pot and "Without a recipe" not in pot


async def test_a_lot_without_a_date_stands_by_its_first_photo_wherever_lots_are_in_time(
    visitor: Callable[[str], Any], studio: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sql = (
        "SELECT lot.colourway_id FROM lot JOIN swatch ON lot_id = lot.id JOIN master "
        "ON master.colourway_id = lot.colourway_id GROUP BY 1 HAVING count(DISTINCT lot.id) > 3 "
        "AND count(DISTINCT swatch.form || swatch.base_id) = 1"
    )
    (colourway,) = ask(studio, sql)[0]
    dyer = visitor("dyer")
    assert "first photo" not in (await dyer.get(f"/colourway/{colourway}")).text
    codes = [c for (c,) in ask(studio, "SELECT code FROM lot WHERE colourway_id = ?", colourway)]
    odd, last = codes[2], codes[-1]
    ((day,),) = ask(studio, "SELECT dyed_on FROM lot WHERE code = ?", codes[0])
    with sqlite3.connect(studio / "archive.db") as conn:
        conn.execute("UPDATE lot SET dyed_on = NULL WHERE code = ?", (odd,))
        conn.execute(
            "UPDATE photo SET taken_at = ? || 'T10:00:00' WHERE id IN (SELECT photo_id FROM "
            "current_measurement AS m JOIN swatch ON swatch.id = m.swatch_id JOIN lot "
            "ON lot.id = swatch.lot_id WHERE lot.code = ?)",
            (day, odd),
        )
        (name,) = conn.execute("SELECT name FROM colourway WHERE id = ?", (colourway,)).fetchone()
        (label,) = conn.execute(
            "SELECT label FROM swatch JOIN lot ON lot.id = lot_id WHERE code = ?", (last,)
        ).fetchone()
    stand = [codes[0], odd, *(c for c in codes[1:] if c != odd)]  # of one day: as entered
    text = html.unescape((await dyer.get(f"/colourway/{colourway}")).text)
    rows = re.findall(r'<a href="/lot/\d+"><bdi>([^<]+)</bdi></a></td>', text)
    assert rows == stand[::-1]  # newest first
    assert f'data-label="dyed on">first photo {day}</td>' in text
    ((odd_id,),) = ask(studio, "SELECT id FROM lot WHERE code = ?", odd)
    assert f"<dd>no date; first photo {day}</dd>" in (await dyer.get(f"/lot/{odd_id}")).text
    drawn = re.findall(r">([^<]+)</text>", text[text.index("<polyline") :])
    assert [d for d in drawn if d in codes] == stand and f"({day[2:]})" in drawn
    found = command(studio, "drift", name)
    assert [lot["lot"] for lot in found["lots"]] == stand
    assert [lot["when_by_photo"] for lot in found["lots"]] == [c == odd for c in stand]
    said = found["notes"][0]
    assert said == f"Lot {odd} has no date: it stands at the day of its first photo, in brackets."
    assert said in text
    for asked in ("drift", "lots"):
        out = run(capsys, asked, name, "--archive", studio).out
        assert said in out and f"  ({day})  {odd} " in out
    family = command(studio, "lots", name)[0]
    named = [n.split(" skein ")[0] for n in family["lots"]]
    assert list(dict.fromkeys(named)) == stand
    assert [p["lot"] for p in family["course"] if p["when_by_photo"]] == [odd]
    listed = [row["lot"] for row in command(studio, "list", "lots") if row["lot"] in codes]
    assert listed == stand
    offered = html.unescape((await dyer.get(f"/groups?colourway={colourway}")).text)
    shown = re.findall(r"<bdi>([^<]+)</bdi>, (first photo )?[\d-]{10}", offered)
    assert shown == [(c, "first photo " if c == odd else "") for c in stand]
    earlier = command(studio, "tonal", label)["compared"]["earlier_lots"]
    assert {e["lot"]: e["when"] for e in earlier if e["when_by_photo"]} == {odd: day}
    assert f", first photo {day}, " in run(capsys, "tonal", label, "--archive", studio).out


async def test_each_swatch_of_a_lot_that_has_several_is_named_in_its_course(
    studio: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sql = (
        "SELECT colourway.name, lot.code, count(*) FROM colours JOIN lot ON lot.code = colours.lot "
        "JOIN colourway ON colourway.id = lot.colourway_id WHERE colours.swatch_id NOT IN "
        "(SELECT swatch_id FROM master) GROUP BY lot.id HAVING count(DISTINCT swatch_id) > 1 "
        "AND count(DISTINCT form) = 1"
    )
    name, lot, _ = ask(studio, sql)[0]
    course = command(studio, "lots", name)[0]["course"]
    swatches = [p["swatch"] for p in course if p["lot"] == lot]
    assert len(swatches) > 1 and len(set(swatches)) == len(swatches)
    shown = run(capsys, "lots", name, "--archive", studio).out.split("over time, against")[1]
    assert all(f"  {swatch}  " in shown for swatch in swatches)
    assert f"  {lot}  " not in shown
    alone = [p["lot"] for p in course if p["lot"] != lot]
    assert alone and all(f"  {one}  " in shown for one in alone)


async def test_how_a_recipe_is_written_is_told_where_there_is_none(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    recipe, colourway = ask(studio, "SELECT id, colourway_id FROM recipe")[0]
    dyer = visitor("dyer")
    page = (await dyer.get(f"/recipe/{recipe}")).text
    assert 'href="/recipe/new?from=' in page and "swatchvault add studio.toml" in page
    before = page.partition("<main")[2].partition("How a recipe is written on the computer")[0]
    assert before and "swatchvault " not in before
    page = (await visitor("helper").get(f"/recipe/{recipe}")).text  # who writes none on a page
    assert "A new version is made on the computer" in page
    sql = (
        "SELECT dye.name FROM recipe_dye JOIN dye ON dye.id = dye_id JOIN recipe_part "
        "ON recipe_part.id = recipe_part_id WHERE recipe_id = ?"
    )
    dyes = [name for (name,) in ask(studio, sql, recipe)]
    assert any(f'--dye "{dye}=0.4"' in html.unescape(page) for dye in dyes)  # one of its own
    for address in ("/pots", f"/colourway/{colourway}"):
        assert "How a recipe is written" not in (await dyer.get(address)).text
    with sqlite3.connect(studio / "archive.db") as conn:
        conn.execute("UPDATE lot SET recipe_id = NULL")
        conn.execute("DELETE FROM recipe")
    for address in ("/pots", f"/colourway/{colourway}"):
        page = html.unescape((await dyer.get(address)).text)
        assert "[[recipe]]" in page and "swatchvault add studio.toml" in page
        assert "swatchvault revise COLOURWAY BASE" in page
    assert 'name="recipe"' not in (await dyer.get("/pots")).text  # nothing to choose from


def test_the_commands_that_pages_name_are_there() -> None:
    from swatchvault.cli import main

    templates = Path(__file__).parents[2] / "swatchvault" / "web" / "templates"
    named = {
        word
        for page in templates.glob("*.html")
        for word in re.findall(r"<code>swatchvault ([a-z]+)", page.read_text(encoding="utf-8"))
    }
    assert {"add", "revise"} <= named
    for word in named:
        with pytest.raises(SystemExit) as stop:
            main([word, "--help"])
        assert stop.value.code == 0, word
