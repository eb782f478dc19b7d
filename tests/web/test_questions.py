"""Datasette's own pages of an archive: stored questions, chips and links."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from swatchvault.archive.questions import QUESTIONS
from swatchvault.web.cells import cell
from tests.web.test_yarn import ODD, ask

pytestmark = pytest.mark.anyio

ASKED: dict[str, dict[str, str]] = {
    "nearest_to_a_colour": {"L": "40", "a": "20", "b": "10"},
    "nearest_to_a_swatch": {"swatch": "hf-2 SKEIN a"},
    "colours_with_a_flag": {"flag": "camera"},
    "stocks_running_low": {"less_than_ml": "1e6", "older_than_days": "0"},
    "lots_that_left_the_plan": {"percent": "-1"},
}


@pytest.mark.parametrize("role", ["dyer", "helper"])
@pytest.mark.parametrize("name", QUESTIONS)
async def test_every_question_has_an_answer(
    name: str, role: str, visitor: Callable[[str], Any], studio: Path
) -> None:
    with sqlite3.connect(studio / "archive.db") as conn:  # what the demo has none of
        conn.execute("INSERT INTO pot (lot_id, planned_from, next_time) VALUES (1, '{}', 'x')")
        conn.execute(
            "INSERT INTO master (colourway_id, base_id, form, swatch_id, tolerance, k_l, since) "
            "SELECT colourway_id, base_id, form, swatch_id + 1, 2, 2, '2026-12-01' FROM master "
            "WHERE id = 1"
        )
    someone = visitor(role)
    answer = await someone.get(f"/archive/{name}.json", params=ASKED.get(name, {}))
    assert answer.status_code == 200
    assert answer.json()["ok"] is True
    assert answer.json()["rows"], name
    page = await someone.get(f"/archive/{name}")  # with nothing typed yet
    assert page.status_code == 200
    assert "SQL query error" not in page.text and "no such" not in page.text


async def test_a_question_shows_its_answer_and_its_sql_where_asked(
    visitor: Callable[[str], Any],
) -> None:
    for asked, shown in (("", False), ("?_show_sql=1", True)):
        page = await visitor("dyer").get(f"/archive/dye_used_by_month{asked}")
        assert ("FROM dyes_used GROUP BY month" in page.text.partition("<body")[2]) == shown


async def test_what_was_poured_of_a_dye_is_held_to_its_plan_as_a_sum(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    planned = "planned_depth_percent IS NOT NULL AND depth_percent IS NOT NULL"
    row = ask(studio, f"SELECT lot_id, dye, lot FROM dyes_used WHERE {planned} LIMIT 1")[0]
    with sqlite3.connect(studio / "archive.db") as conn:
        (kept,) = conn.execute(
            "SELECT lot_dye.id FROM lot_dye JOIN dye ON dye.id = dye_id "
            "WHERE lot_id = ? AND dye.name = ?",
            row[:2],
        ).fetchone()
        conn.execute(
            "UPDATE lot_dye SET dye_g = dye_g / 2, amount_g = amount_g / 2, "
            "amount_ml = amount_ml / 2 WHERE id = ?",
            (kept,),
        )
        columns = [c[1] for c in conn.execute("PRAGMA table_info(lot_dye)") if c[1] != "id"]
        position = [f"{c} + 50" if c == "position" else c for c in columns]
        conn.execute(
            f"INSERT INTO lot_dye ({', '.join(columns)}) "
            f"SELECT {', '.join(position)} FROM lot_dye WHERE id = ?",
            (kept,),
        )
    answer = await visitor("dyer").get("/archive/lots_that_left_the_plan.json?percent=10")
    assert (row[2], row[1]) not in {(r["lot"], r["dye"]) for r in answer.json()["rows"]}


async def test_nobody_else_asks(visitor: Callable[[str], Any]) -> None:
    answer = await visitor("anyone").get("/archive/lots_never_checked.json")
    assert answer.status_code in (403, 404)


async def test_what_is_near_a_colour_is_sorted_by_delta_e_00(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    from swatchvault.difference import delta_e_2000

    row = ask(studio, "SELECT swatch, lab_l, lab_a, lab_b FROM latest_colours LIMIT 1")[0]
    typed = dict(zip("Lab", map(str, row[1:]), strict=True))
    answer = await visitor("dyer").get("/archive/nearest_to_a_colour.json", params=typed)
    rows = answer.json()["rows"]
    assert rows[0]["swatch"] == row[0]
    assert rows[0]["delta_e_00"] == 0.0
    for found in rows:
        lab = [found[k] for k in ("lab_l", "lab_a", "lab_b")]
        assert found["delta_e_00"] == pytest.approx(float(delta_e_2000(row[1:], lab)), abs=0.006)
    assert [r["delta_e_00"] for r in rows] == sorted(r["delta_e_00"] for r in rows)


async def test_a_swatch_is_looked_for_by_the_photo_that_speaks_for_it(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    from swatchvault.difference import delta_e_2000

    swatch, label = ask(
        studio,
        "SELECT swatch_id, swatch FROM colours GROUP BY swatch_id HAVING count(*) > 1 "
        "AND count(DISTINCT photo_sha256) > 1",
    )[0]
    ((spoken,),) = ask(
        studio, "SELECT measurement_id FROM latest_colours WHERE swatch_id = ?", swatch
    )
    with sqlite3.connect(studio / "archive.db") as conn:  # every other is newer, and damp
        for (name,) in ask(studio, "SELECT name FROM sqlite_master WHERE type = 'trigger'"):
            conn.execute(f'DROP TRIGGER "{name}"')
        others = "id IN (SELECT measurement_id FROM colours WHERE swatch_id = ?) AND id <> ?"
        conn.execute(f"UPDATE measurement SET dry = 0 WHERE {others}", (swatch, spoken))
        conn.execute(
            "UPDATE photo SET taken_at = '2099-01-01T00:00:00' WHERE id IN (SELECT photo_id FROM "
            "current_measurement WHERE swatch_id = ? AND id <> ?)",
            (swatch, spoken),
        )
    lab = "SELECT lab_l, lab_a, lab_b FROM latest_colours WHERE measurement_id = ?"
    (told,) = ask(studio, lab, spoken)
    answer = await visitor("dyer").get(
        "/archive/nearest_to_a_swatch.json", params={"swatch": label}
    )
    rows = answer.json()["rows"]
    assert rows and label not in {r["swatch"] for r in rows}
    for found in rows:  # the difference alone is rounded, to 0.01
        other = [found[k] for k in ("lab_l", "lab_a", "lab_b")]
        assert found["delta_e_00"] == pytest.approx(float(delta_e_2000(told, other)), abs=0.0051)


async def test_a_swatch_is_asked_for_in_any_case(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    with sqlite3.connect(studio / "archive.db") as conn:
        conn.execute("UPDATE swatch SET label = 'Älv 1' WHERE id = 1")
    for typed, found in (("älv 1", True), (" A\u0308LV  1", True), ("alv 1", False), ("", False)):
        answer = await visitor("dyer").get(
            "/archive/nearest_to_a_swatch.json", params={"swatch": typed}
        )
        assert bool(answer.json()["rows"]) is found, typed


async def test_a_colour_typed_badly_is_no_error(visitor: Callable[[str], Any]) -> None:
    asked = {"L": "'; DROP TABLE lot; --", "a": "", "b": "x"}
    answer = await visitor("dyer").get("/archive/nearest_to_a_colour.json", params=asked)
    assert answer.status_code == 200


@pytest.mark.parametrize("table", ["colours", "latest_colours", "shades_made"])
async def test_colours_have_chips(table: str, visitor: Callable[[str], Any]) -> None:
    text = (await visitor("dyer").get(f"/archive/{table}?_size=5")).text
    assert text.count("<svg") >= 5
    assert 'aria-label="colour #' in text
    assert (await visitor("dyer").get(f"/archive/{table}?_col=lab_l")).status_code == 200


async def test_names_lead_to_our_pages(visitor: Callable[[str], Any]) -> None:
    text = (await visitor("dyer").get("/archive/latest_colours")).text
    assert 'href="/swatch/1"' in text
    assert 'href="/lot/1"' in (await visitor("dyer").get("/archive/lots")).text
    assert 'href="/check/1"' in (await visitor("dyer").get("/archive/checks_given")).text


LAB = {"lab_l": 45.2, "lab_a": 20.0, "lab_b": -3.0}


@pytest.mark.parametrize(
    ("row", "column", "shown"),
    [
        (LAB, "lab_l", "</svg> 45.2"),
        (LAB, "lab_a", None),
        ({**LAB, "lab_a": 45.94767}, "lab_a", "45.9"),
        ({**LAB, "lab_a": 45.94767, "variance_a": 0.0624}, "lab_a", "45.9 ± 0.2"),
        ({**LAB, "lab_b": None}, "lab_l", None),
        ({"lab_l": 45.2}, "lab_l", None),
        ({**LAB, "lab_a": "20"}, "lab_l", None),
        ({"colour": "#12ab9F"}, "colour", 'fill="#12ab9F"'),
        ({"colour": "#12ab9"}, "colour", None),
        ({"colour": '#12ab9F"/><script>'}, "colour", None),
        ({"swatch": ODD, "swatch_id": 7}, "swatch", '<a href="/swatch/7">&lt;script&gt;'),
        ({"swatch": "x", "swatch_id": "7"}, "swatch", None),
        ({"swatch": "x", "swatch_id": None}, "swatch", None),
        ({"swatch": "x"}, "swatch", None),
        ({"lot": {"value": 1, "label": "x"}, "lot_id": 1}, "lot", None),
        ({"lot": b"x", "lot_id": 1}, "lot", None),
        ({"lot": None, "lot_id": 1}, "lot", None),
    ],
)
def test_cells(row: dict[str, Any], column: str, shown: str | None) -> None:
    found = cell(row, row[column], column)
    assert found is None if shown is None else shown in str(found)


async def test_a_published_copy_answers_questions_and_runs_no_other_sql(studio: Path) -> None:
    from datasette.app import Datasette

    from swatchvault.archive import open_archive
    from swatchvault.archive.publishing import publish
    from swatchvault.commands.publish import config

    to = studio.parent / "shown"
    with open_archive(studio) as archive:
        publish(archive, to)
    served = Datasette([], immutables=[str(to / "archive.db")], config=config())
    await served.invoke_startup()
    rows = await served.client.get(
        "/archive/nearest_to_a_colour.json", params=ASKED["nearest_to_a_colour"]
    )
    assert rows.json()["rows"]
    used = await served.client.get("/archive/dye_used_by_month.json")
    assert used.status_code == 404  # dyes stay at home, and nobody is asked about them
    assert (await served.client.get("/archive/-/query?sql=select+1")).status_code == 403
