"""The same check given again: its newest verdict stands, earlier ones are folded away; and of one
whose dyes are unknown, what the records lack."""

from __future__ import annotations

import html
import re
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from swatchvault.archive import open_archive
from swatchvault.archive.lot_verdict import check_of
from swatchvault.checking import Ask, check_lot, keep_checks
from swatchvault.kinds import NO_MORE_TONAL
from swatchvault.web.checks import newest_and_earlier
from tests.swatchvault.running import run
from tests.web.test_checks import lot_with_verdict
from tests.web.test_yarn import ask

pytestmark = pytest.mark.anyio


def given_again(folder: Path, lot_id: int, checked_at: str, **changed: object) -> int:
    """The lot's first check once more at another time, with ``changed`` columns; its number."""
    with sqlite3.connect(folder / "archive.db") as conn:
        conn.row_factory = sqlite3.Row
        sql = "SELECT * FROM lot_check WHERE lot_id = ? ORDER BY id"
        row = dict(conn.execute(sql, (lot_id,)).fetchone())
        row |= {"id": None, "checked_at": checked_at, **changed}
        marks = ", ".join("?" * len(row))
        names = ", ".join(row)
        made = conn.execute(
            f"INSERT INTO lot_check ({names}) VALUES ({marks})", tuple(row.values())
        ).lastrowid
    assert made is not None
    return made


def shown(text: str) -> tuple[list[int], list[int]]:
    """Numbers of the checks in the table that stands open, and in the one that is folded."""
    start = text.index('aria-label="Checks given"')
    end = text.find("<h2", start)
    part = text[start : end if end >= 0 else None]
    open_part, _, folded = part.partition("<details")
    return tuple([int(n) for n in re.findall(r"/check/(\d+)", p)] for p in (open_part, folded))  # type: ignore[return-value]


async def test_a_check_given_three_times_is_one_row(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    sql = "SELECT lot_id FROM lot_check GROUP BY lot_id HAVING count(*) = 3"
    (lot_id,) = ask(studio, sql)[0]
    (code,) = ask(studio, "SELECT code FROM lot WHERE id = ?", lot_id)[0]
    with open_archive(studio) as archive:
        for _ in range(2):
            keep_checks(archive.conn, check_lot(archive.conn, code, Ask()).given)
    numbers = [n for (n,) in ask(studio, "SELECT id FROM lot_check WHERE lot_id = ?", lot_id)]
    assert len(numbers) == 9
    dyer = visitor("dyer")
    text = (await dyer.get(f"/lot/{lot_id}")).text
    assert "Earlier checks (6)" in text
    newest, earlier = shown(text)
    assert sorted(newest) == sorted(numbers)[-3:]
    assert sorted(earlier) == sorted(numbers)[:6]
    card = html.unescape((await dyer.get(f"/lot/{lot_id}/card")).text)
    assert card.count("</bdi> held to <bdi>") == 3


async def test_the_card_has_the_newest_verdict_alone(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    sql = "SELECT lot_id, max(verdict) FROM lot_check GROUP BY lot_id HAVING count(*) = 1"
    lot_id, verdict = ask(studio, sql)[0]
    other = "outside" if verdict == "within" else "within"
    given_again(studio, lot_id, "2099-01-01T00:00:00Z", verdict=other)
    text = (await visitor("dyer").get(f"/lot/{lot_id}/card")).text
    assert f"<strong>{other}</strong>" in text
    assert f"<strong>{verdict}</strong>" not in text


def check_row(number: int, **changed: object) -> dict[str, Any]:
    row = {"id": number, "swatch_id": 2, "master_swatch_id": 1, "capture": "same frame"}
    return row | {"tolerance": 2.0, "k_l": 2.0} | changed


@pytest.mark.parametrize(
    "changed",
    [
        {"swatch_id": 3},
        {"master_swatch_id": 4},
        {"capture": "other"},
        {"tolerance": 1.0},
        {"k_l": 1.0},
    ],
)
def test_another_question_is_not_folded_away(changed: dict[str, object]) -> None:
    again, first, other = check_row(3), check_row(1), check_row(2, **changed)
    newest, earlier = newest_and_earlier([again, other, first])
    assert [c["id"] for c in newest] == [3, 2]
    assert [c["id"] for c in earlier] == [1]


async def test_a_swatch_and_a_check_fold_earlier_ones_too(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    sql = "SELECT lot_id, swatch_id, id FROM lot_check GROUP BY lot_id HAVING count(*) = 1"
    lot_id, swatch_id, first = ask(studio, sql)[0]
    later = given_again(studio, lot_id, "2099-01-01T00:00:00Z")
    dyer = visitor("dyer")
    assert "Earlier checks (1)" in (await dyer.get(f"/swatch/{swatch_id}")).text
    old = (await dyer.get(f"/check/{first}")).text
    assert f'href="/check/{later}"' in old
    assert "Earlier checks" not in old
    new = (await dyer.get(f"/check/{later}")).text
    assert "Earlier checks (1)" in new
    assert f'href="/check/{first}"' in new


async def test_the_wall_names_the_newest_checked_lot(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    sql = (
        "SELECT lot.colourway_id, lot.id, lot.code, lot_check.verdict FROM lot_check "
        "JOIN lot ON lot.id = lot_id WHERE colourway_id = (SELECT lot.colourway_id FROM lot_check "
        "JOIN lot ON lot.id = lot_id GROUP BY 1 HAVING count(DISTINCT lot.id) > 2) "
        "ORDER BY dyed_on, lot.id"
    )
    rows = ask(studio, sql)
    colourway, oldest, old_code, _ = rows[0]
    _, _, code, verdict = rows[-1]
    other = "outside" if verdict != "outside" else "within"
    given_again(studio, oldest, "2099-01-01T00:00:00Z", verdict=other)  # an old lot checked last
    text = (await visitor("dyer").get("/")).text
    tile = re.search(rf'<li class="tile"><a href="/colourway/{colourway}">.*?</li>', text, re.S)
    assert tile is not None
    assert f">{verdict}</span>" in tile[0]
    assert f"<bdi>{code}</bdi>" in tile[0]
    assert f">{other}</span>" not in tile[0]
    assert f"<bdi>{old_code}</bdi>" not in tile[0]


async def test_the_last_verdict_of_the_newest_lot_counts(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    sql = (
        "SELECT lot.id, colourway_id, verdict FROM lot JOIN lot_check ON lot_id = lot.id "
        "ORDER BY dyed_on DESC, lot.id DESC LIMIT 1"
    )
    lot_id, colourway, verdict = ask(studio, sql)[0]
    other = "outside" if verdict != "outside" else "within"
    given_again(studio, lot_id, "2099-01-01T00:00:00Z", verdict=other)
    text = (await visitor("dyer").get("/")).text
    tile = re.search(rf'<li class="tile"><a href="/colourway/{colourway}">.*?</li>', text, re.S)
    assert tile is not None
    assert f">{other}</span>" in tile[0]


async def test_both_in_one_frame_are_not_asked_for_again(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    sql = "SELECT capture, id FROM lot_check WHERE verdict = 'cannot tell'"
    by_capture = dict(ask(studio, sql))
    dyer = visitor("dyer")
    same = (await dyer.get(f"/check/{by_capture['same frame']}")).text
    assert "Take both in one frame" not in same
    assert "Check again with other settings" in same
    assert "Take both in one frame" in (await dyer.get(f"/check/{by_capture['other']}")).text


@pytest.mark.parametrize("tolerance", [None, 50.0])  # the second ends below no unevenness
async def test_evenness_says_its_verdict_once(
    visitor: Callable[[str], Any], studio: Path, tolerance: float | None
) -> None:
    from swatchvault.tonal_master import state_or_end

    sql = "SELECT c.lot_id, c.master_id, held.label FROM lot_check AS c JOIN swatch AS held "
    sql += "ON held.id = c.master_swatch_id"
    from swatchvault.archive import swatch_facts

    lot_id, master_id, label = ask(studio, sql)[0]
    (code,) = ask(studio, "SELECT code FROM lot WHERE id = ?", lot_id)[0]
    with open_archive(studio) as archive:
        state_or_end(archive.conn, master_id, swatch_facts(archive.conn, label), True, tolerance)
        keep_checks(archive.conn, check_lot(archive.conn, code, Ask()).given)
    check_id, verdict = ask(
        studio, "SELECT lot_check_id, verdict FROM evenness_checks_given ORDER BY 1 DESC LIMIT 1"
    )[0]
    text = html.unescape((await visitor("dyer").get(f"/check/{check_id}")).text)
    part = re.search(r"<h2>Evenness</h2>(.*?)<h2>", text, re.S)
    assert part is not None
    words = re.sub(r"<[^>]*>", " ", part[1])
    shown = NO_MORE_TONAL if tolerance else verdict
    assert words.partition("tolerance")[0].count(shown) == 1
    assert "Evenness" not in words
    assert "tolerance" in words
    with open_archive(studio) as archive:
        checks = check_lot(archive.conn, code, Ask()).given
        given = [c.evenness for c in checks if c.evenness]
    told = [e.comparison for e in given if e.comparison.words.partition("; ")[2] in words]
    assert told and all(sentence in words for sentence in told[0].sentences[1:])
    if "told by another photo" not in words:
        sql = "SELECT measurement_id FROM evenness_check WHERE lot_check_id = ?"
        other = ask(studio, f"SELECT max(id) FROM measurement WHERE id NOT IN ({sql})", check_id)[0]
        with sqlite3.connect(studio / "archive.db") as conn:
            conn.execute("DROP TRIGGER IF EXISTS evenness_check_is_not_changed")
            sql = "UPDATE evenness_check SET measurement_id = ? WHERE lot_check_id = ?"
            conn.execute(sql, (*other, check_id))
    page = html.unescape((await visitor("dyer").get(f"/check/{check_id}")).text)
    assert "Its evenness is told by another photo, which leaves less doubt of that" in page


@pytest.mark.parametrize("word", ["more tonal", "cannot tell"])
async def test_the_verdict_on_evenness_stands_beside_the_colours(
    visitor: Callable[[str], Any], studio: Path, word: str
) -> None:
    from swatchvault.archive import swatch_facts
    from swatchvault.tonal_master import state_or_end

    lot_id, _, _ = lot_with_verdict(studio, "within")
    sql = (
        "SELECT c.swatch_id, c.master_id, held.label, lot.colourway_id FROM lot_check AS c "
        "JOIN swatch AS held ON held.id = c.master_swatch_id JOIN lot ON lot.id = c.lot_id "
        "WHERE c.lot_id = ?"
    )
    swatch_id, master_id, label, colourway = ask(studio, sql, lot_id)[0]
    with sqlite3.connect(studio / "archive.db") as conn:  # so that the wall shows this lot's
        conn.execute("UPDATE lot SET dyed_on = '2099-01-01' WHERE id = ?", (lot_id,))
    check_id = given_again(studio, lot_id, "2099-01-02T00:00:00Z", verdict="within")
    dyer = visitor("dyer")
    pages = ["/", *(f"/{p}" for p in (f"colourway/{colourway}", f"lot/{lot_id}",
             f"lot/{lot_id}/card", f"swatch/{swatch_id}"))]  # fmt: skip
    for page in pages:  # said of no check that gave none
        assert "more tonal" not in (await dyer.get(page)).text
    with open_archive(studio) as archive:
        state_or_end(archive.conn, master_id, swatch_facts(archive.conn, label), True, 0.5)
        archive.conn.execute(
            "INSERT INTO evenness_check (lot_check_id, master_evenness_id, verdict, tolerance, "
            "words, detail) SELECT ?, max(id), ?, 0.5, 'Evenness.', '{}' FROM master_evenness",
            (check_id, word),
        )
    said = "evenness: cannot tell" if word == "cannot tell" else word
    for page in (*pages, f"/check/{check_id}"):
        text = (await dyer.get(page)).text
        if page.endswith("/card"):
            assert f"<strong>within</strong>, evenness <strong>{word}</strong>" in text
        else:
            badge = f'<span class="verdict v-{word.replace(" ", "-")}">{said}</span>'
            between = "</span><span>" if page == "/" else "(</a>)? "  # on the wall each has a line
            assert re.search(rf">within</span>{between}{re.escape(badge)}", text), page
            assert page != "/" or 'colour: <span class="verdict v-within">' in text


async def test_a_check_says_what_the_records_lack_to_know_the_dyes(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    lot_id, code, known_id = lot_with_verdict(studio, "within")
    check_id = given_again(studio, lot_id, "2099-01-01T00:00:00Z", same_dyes=None)
    sql = (
        "SELECT dye.name, stock.code FROM lot_dye JOIN dye ON dye.id = lot_dye.dye_id "
        "JOIN stock ON stock.id = lot_dye.stock_id WHERE lot_id = ?"
    )
    dye, stock = ask(studio, sql, lot_id)[0]
    lacking = f"the pack of {dye}'s stock {stock} is not told"
    dyer = visitor("dyer")
    with sqlite3.connect(studio / "archive.db") as conn:
        conn.execute("UPDATE lot_dye SET dye_pack_id = NULL")
        conn.execute("UPDATE stock SET dye_pack_id = NULL")
    assert lacking not in html.unescape((await dyer.get(f"/check/{known_id}")).text)
    text = html.unescape((await dyer.get(f"/check/{check_id}")).text)
    assert lacking in text and text.count(lacking) == 1
    assert 'href="/shelf"' in text.split(lacking)[1].split("</li>")[0]
    assert f'href="/check/new?lot={lot_id}"' in text and "studio.toml" not in text
    with sqlite3.connect(studio / "archive.db") as conn:
        conn.execute("DELETE FROM lot_dye WHERE lot_id = ?", (lot_id,))
    text = html.unescape((await dyer.get(f"/check/{check_id}")).text)
    bare = f"lot {code} has no dyes written down"
    assert f'href="/pot/{lot_id}"' in text.split(bare)[1].split("</li>")[0]


async def test_no_later_check_of_another_swatch_hides_one_that_is_outside(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    """Three swatches of a lot: within, cannot tell, outside; the outside one was checked first."""
    sql = "SELECT lot_id FROM lot_check GROUP BY lot_id HAVING count(DISTINCT swatch_id) = 3"
    lot_id = ask(studio, sql)[0][0]
    sql = "SELECT swatch_id, label FROM lot_check JOIN swatch ON swatch.id = swatch_id "
    swatches = ask(studio, f"{sql} WHERE lot_check.lot_id = ? GROUP BY 1 ORDER BY 1", lot_id)
    facts = (
        "SELECT lot.colourway_id, base_id FROM lot JOIN lot_base ON lot_id = lot.id WHERE id = ?"
    )
    colourway, base = ask(studio, facts, lot_id)[0]
    for year, (swatch, _), verdict in zip(
        (2096, 2097, 2098), swatches, ("outside", "cannot tell", "within"), strict=True
    ):
        given_again(studio, lot_id, f"{year}-01-01T00:00:00Z", swatch_id=swatch, verdict=verdict)
    dyer = visitor("dyer")

    async def told(page: str, start: str) -> str:
        found = re.search(rf"{start}.*?</(?:li|tr)>", (await dyer.get(page)).text, re.S)
        assert found is not None, page
        return found[0]

    with sqlite3.connect(studio / "archive.db") as conn:
        conn.execute("UPDATE lot SET dyed_on = '2095-12-31' WHERE id = ?", (lot_id,))
    link = f'<a href="/lot/{lot_id}">'
    shown = (
        ("/", f'<li class="tile"><a href="/colourway/{colourway}">'),
        (f"/colourway/{colourway}", link),
        (f"/base/{base}", link),
    )
    for page, start in shown:
        text = await told(page, start)
        assert ">outside</span>" in text and f"swatch <bdi>{swatches[0][1]}</bdi>" in text, page
        assert ">within</span>" not in text
    # put right: the newest of each swatch counts, and the worst of those is shown
    given_again(studio, lot_id, "2099-01-01T00:00:00Z", swatch_id=swatches[0][0], verdict="within")
    for page, start in shown:
        text = await told(page, start)
        assert ">cannot tell</span>" in text and f"swatch <bdi>{swatches[1][1]}</bdi>" in text, page
        assert ">outside</span>" not in text


def test_a_swatch_that_counts_no_more_does_not_speak_for_its_lot_beside_another(
    studio: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sql = "SELECT lot_id FROM lot_check GROUP BY lot_id HAVING count(*) = 3"
    (lot_id,) = ask(studio, sql)[0]
    sql = "SELECT swatch_id, label FROM lot_check JOIN swatch ON swatch.id = swatch_id "
    swatches = ask(studio, sql + "WHERE lot_check.lot_id = ? ORDER BY 1", lot_id)
    wrong, label = swatches[1]
    given_again(studio, lot_id, "2099-01-01T00:00:00Z", verdict="outside", swatch_id=wrong)

    def speaks() -> tuple[int, str]:
        sql = f"SELECT swatch_id, verdict FROM lot_check WHERE id = {check_of(str(lot_id))}"
        (found,) = ask(studio, sql)
        return found

    def set_aside(label: str) -> None:
        asked = ("aside", label, "--because", "another yarn", "--archive", studio)
        for photo in ask(
            studio,
            "SELECT DISTINCT original_name FROM current_measurement AS m JOIN photo "
            "ON photo.id = m.photo_id JOIN swatch ON swatch.id = m.swatch_id WHERE label = ?",
            label,
        ):
            assert run(capsys, asked[0], label, *photo, *asked[2:]).code == 0

    assert speaks() == (wrong, "outside")
    set_aside(label)
    assert speaks()[0] != wrong and speaks()[1] == "within"
    for _, other in swatches:
        if other != label:
            set_aside(other)
    assert speaks() == (wrong, "outside")  # none counts: as they were given
