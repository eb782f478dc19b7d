"""The schema and what is said of it agree; every rule of it holds."""

import asyncio
import sqlite3

import pytest

from swatchvault.archive import ABOUT, TABLES, VIEWS_ABOUT, create_archive
from swatchvault.archive.views import VIEWS

# Every table that an archive is to have, whatever else it has.
WANTED = {
    "base", "base_fibre", "base_lot", "dye", "dye_pack", "stock", "colourway", "recipe",
    "recipe_part", "recipe_dye", "recipe_step", "lot", "pot_step", "skein", "swatch", "photo",
    "setup", "repeat_set", "layout", "reference", "measurement", "master", "lot_check",
}  # fmt: skip


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    folder = tmp_path_factory.mktemp("template") / "yarn"
    create_archive(folder).close()
    return folder


def names(conn, kind):
    sql = "SELECT name FROM sqlite_master WHERE type = ? AND name NOT LIKE 'sqlite_%'"
    return {r[0] for r in conn.execute(sql, (kind,))}


def test_every_table_and_view_is_described_and_nothing_else(conn):
    assert names(conn, "table") == set(TABLES)
    assert names(conn, "view") == set(VIEWS_ABOUT) == set(VIEWS)
    assert set(TABLES) >= WANTED


def test_each_description_is_one_line(conn):
    for text in ABOUT.values():
        assert text.endswith((".", "?"))
        assert "\n" not in text


def test_every_table_is_strict(conn):
    rows = conn.execute("PRAGMA table_list").fetchall()
    loose = {r["name"] for r in rows if r["schema"] == "main" and not r["strict"]}
    assert loose & set(TABLES) == set()


def test_every_foreign_key_has_an_index_to_follow_it_back(conn):
    for table in TABLES:
        led = set()
        for index in conn.execute(f"PRAGMA index_list({table})").fetchall():
            first = conn.execute(f"PRAGMA index_info('{index['name']}')").fetchone()
            led.add(first["name"])
        for key in conn.execute(f"PRAGMA foreign_key_list({table})").fetchall():
            alone = key["seq"] == 0 and key["to"] in (None, "id", "sha256")
            asked_back = key["table"] in (
                "photo",
                "lot",
                "swatch",
                "skein",
                "recipe",
                "measurement",
            )
            if alone and asked_back and key["from"] not in ("superseded_by", "master_swatch_id"):
                assert key["from"] in led, f"{table}.{key['from']}"


@pytest.mark.parametrize("view", VIEWS)
def test_every_view_can_be_read_and_names_each_column_once(conn, view):
    cursor = conn.execute(f"SELECT * FROM {view}")
    columns = [d[0] for d in cursor.description]
    assert len(set(columns)) == len(columns)
    assert cursor.fetchall() == []


@pytest.mark.parametrize(
    "sql",
    [
        "INSERT INTO base (name, superwash) VALUES ('a', 2)",
        "INSERT INTO base (name, price_per_kg) VALUES ('a', 'dear')",
        "INSERT INTO base_fibre VALUES (1, 'wool', 100)",
        "INSERT INTO lot (code, dyed_on) VALUES ('a', '2026-02-30')",
        "INSERT INTO lot (code, dyed_on) VALUES ('a', '1 March')",
        "INSERT INTO pot_step (lot_id, position, kind, at) VALUES (1, 1, 'look', '12:00')",
        "INSERT INTO pot_step (lot_id, position, kind, at) VALUES (1, 1, 'look', '2026-02-30')",
        "INSERT INTO lot (code, dry_g) VALUES ('a', 0)",
        "INSERT INTO reference (name, kind) VALUES ('a', 'tile')",
        "INSERT INTO reference (name, kind, known_values) VALUES ('a', 'card', '{')",
        "INSERT INTO photo (sha256, suffix, bytes, width, height, format, encoding, added_at) "
        "VALUES ('ABC', '.jpg', 1, 1, 1, 'JPEG', 'sRGB', '2026-01-01')",
    ],
)
def test_a_row_that_breaks_a_rule_is_refused(conn, sql):
    conn.execute("INSERT INTO lot (code, dyed_on, dry_g) VALUES ('first', '2028-02-29', 1)")
    at = "2026-03-01T10:05:00+01:00"
    conn.execute(
        "INSERT INTO pot_step (lot_id, position, kind, at) VALUES (1, 0, 'look', ?)", (at,)
    )
    with pytest.raises(sqlite3.IntegrityError):
        conn.execute(sql)


def test_every_table_and_view_is_pleasant_in_plain_datasette(template):
    from datasette.app import Datasette

    async def read_all():
        served = Datasette([str(template / "archive.db")])
        await served.invoke_startup()
        pages = {name: await served.client.get(f"/archive/{name}") for name in ABOUT}
        served.close()
        return {name: page.status_code for name, page in pages.items()}

    assert asyncio.run(read_all()) == dict.fromkeys(ABOUT, 200)
