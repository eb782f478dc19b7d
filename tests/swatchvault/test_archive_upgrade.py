"""Archives that earlier versions made open with every value as it was."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from swatchvault.archive import (
    colours,
    create_archive,
    current_master,
    listing,
    open_archive,
    verify,
)
from swatchvault.archive.migrate import MIGRATIONS
from tests.swatchvault.factories import dump

OLD = Path(__file__).parent.parent / "data" / "archives"
SCHEMAS = (1, 2, 3, 4, 5, 6, 7, 8, 9, 10)
#: What the tables that were rebuilt or widened since held, asked of an archive as it is now.
AS_IT_WAS = {
    "photo": "SELECT {} FROM photo",
    "lot_dye": "SELECT {} FROM lot_dye",
    "repeat_set": "SELECT {} FROM repeat_set",
    "layout": "SELECT {} FROM (SELECT layout.*, sha256 AS photo_sha256 FROM layout "
    "JOIN photo ON photo.id = photo_id)",
    "measurement": "SELECT {} FROM (SELECT m.*, sha256 AS photo_sha256, provenance "
    "FROM measurement AS m JOIN layout ON layout.id = m.layout_id "
    "JOIN photo ON photo.id = photo_id JOIN correction ON correction.id = correction_id)",
}


def restore(schema, folder):
    """The folder of an archive as it was, and every row of it."""
    folder.mkdir()
    conn = sqlite3.connect(folder / "archive.db")
    conn.executescript((OLD / f"schema_{schema}.sql").read_text(encoding="utf-8"))
    rows = dump(conn)
    names = {t: [r[1] for r in conn.execute(f"PRAGMA table_info({t})")] for t in AS_IT_WAS}
    conn.close()
    return rows, names


@pytest.mark.parametrize("schema", SCHEMAS)
def test_every_value_of_an_older_archive_is_kept(schema, tmp_path):
    before, names = restore(schema, tmp_path / "yarn")
    with open_archive(tmp_path / "yarn") as archive:
        after = dump(archive.conn)
        for table, sql in AS_IT_WAS.items():
            rows = archive.conn.execute(f"{sql.format(', '.join(names[table]))}")
            after[table] = [tuple(r) for r in rows]
        assert archive.conn.execute("PRAGMA user_version").fetchone()[0] == len(MIGRATIONS)
    assert sum(map(len, before.values())) > 60  # the archive was not empty
    assert {table: after[table] for table in before} == before


@pytest.mark.parametrize("schema", SCHEMAS)
def test_an_upgraded_archive_is_as_one_made_new(schema, tmp_path):
    restore(schema, tmp_path / "yarn")
    create_archive(tmp_path / "new").close()
    sql = "SELECT type, name, sql FROM sqlite_master ORDER BY type, name"
    with open_archive(tmp_path / "yarn") as old, open_archive(tmp_path / "new") as new:
        assert [tuple(r) for r in old.conn.execute(sql)] == [
            tuple(r) for r in new.conn.execute(sql)
        ]
        # only the photos' files, which are not kept with the text, are missed
        assert {p.kind for p in verify(old)} == {"photos missing"}


@pytest.mark.parametrize("schema", SCHEMAS)
def test_an_upgraded_archive_can_be_asked(schema, tmp_path):
    restore(schema, tmp_path / "yarn")
    with open_archive(tmp_path / "yarn") as archive:
        held = current_master(archive.conn, "Low sun", "Lumme", "skein")
        assert (held.swatch, held.tolerance, held.reason) == ("sun 1", 1.5, "the first that sold")
        assert {c.version for c in colours(archive.conn)} == {"2"}  # the newest, not the superseded
        (check,) = listing(archive.conn, "checks").records()
        assert check["verdict"] == "cannot tell"
        even = {r["swatch"]: r for r in listing(archive.conn, "evenness").records()}
        told = [even["sun 2"][key] for key in ("class", "cannot_tell", "unevenness", "method")]
        if schema < 3:
            assert told == ["semi-solid", None, 1.2, "evenness 1"]
        else:  # an older photo, measured by a newer version; its class is by the rule in force
            assert told == ["semi-solid", None, 0.92, "evenness 3"]
            assert even["sun 2"]["by_your_eyes_rule"] == "semi-solid"
            sql = "SELECT class, cannot_tell FROM how_even WHERE swatch = 'sun 2'"
            assert [tuple(r) for r in archive.conn.execute(sql)] == [(None, "solid or semi-solid")]


def test_a_strength_that_was_kept_as_a_share_of_the_goods_is_none_any_more(tmp_path):
    restore(8, tmp_path / "yarn")
    kept = {
        "2 %": 2.0,
        "2,5% of the dry goods": 2.5,
        "2 % owf citric acid": 2.0,
        "3 g per 100 g": 3.0,
        "56 % acetic acid 20 mL": None,
        "5 % vinegar": None,
    }
    conn = sqlite3.connect(tmp_path / "yarn" / "archive.db")
    conn.execute("DELETE FROM pot_step")
    conn.execute("DELETE FROM recipe_step")
    sql = (
        "INSERT INTO recipe_step (recipe_part_id, position, kind, amount, percent_of_goods) "
        "VALUES (1, ?, 'acid in', ?, ?)"
    )
    as_it_was = (2.0, 2.5, 2.0, 3.0, 56.0, 5.0)
    rows = zip(range(1, 7), kept, as_it_was, strict=True)
    conn.executemany(sql, rows)
    conn.commit()
    conn.close()
    with open_archive(tmp_path / "yarn") as archive:
        sql = "SELECT amount, percent_of_goods FROM recipe_step ORDER BY position"
        assert dict(tuple(r) for r in archive.conn.execute(sql)) == kept


#: Views of an owner's own: over ours, over tables, of what is gone since, and with a trigger.
OWN = {
    "my colours": 'CREATE VIEW "my colours" AS SELECT * FROM colours',
    "lots2": "CREATE VIEW lots2 AS SELECT code FROM lot",
    "by photo": 'CREATE VIEW "by photo" AS SELECT photo_sha256, lab_l FROM measurement',
    "fill": "CREATE TRIGGER fill INSTEAD OF INSERT ON lots2 BEGIN SELECT 1; END",
}


@pytest.mark.parametrize("schema", [*SCHEMAS, None])
def test_the_owners_own_views_stay(schema, tmp_path):
    if schema is None:
        create_archive(tmp_path / "yarn").close()
    else:
        restore(schema, tmp_path / "yarn")
    with closing(sqlite3.connect(tmp_path / "yarn" / "archive.db")) as conn:
        for statement in OWN.values():
            conn.execute(statement)
        conn.execute("DROP VIEW lots")  # so that views are made anew
        conn.commit()
    with open_archive(tmp_path / "yarn") as archive:
        rows = archive.conn.execute("SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL")
        kept = {name: sql for name, sql in rows if name in OWN}
        assert kept == OWN
        assert archive.conn.execute("SELECT count(*) FROM lots2").fetchone()[0] == len(
            listing(archive.conn, "lots").rows
        )
        assert len(archive.conn.execute('SELECT * FROM "my colours"').fetchall()) == len(
            colours(archive.conn)
        )
        assert {p.kind for p in verify(archive)} <= {"photos missing"}  # those were not kept


def test_a_view_that_an_earlier_program_had_goes(tmp_path, monkeypatch):
    create_archive(tmp_path / "yarn").close()
    with closing(sqlite3.connect(tmp_path / "yarn" / "archive.db")) as conn:
        conn.execute("CREATE VIEW lots_of_old AS SELECT 1 AS one")
    monkeypatch.setattr("swatchvault.archive.migrate.FORMER_VIEWS", ("lots_of_old",))
    with open_archive(tmp_path / "yarn") as archive:
        names = archive.conn.execute("SELECT 1 FROM sqlite_master WHERE name = 'lots_of_old'")
        assert names.fetchone() is None


def test_every_earlier_schema_has_an_archive_to_open():
    # the newest one needs none yet: the next migration brings its own
    assert {p.name for p in OLD.glob("*.sql")} >= {
        f"schema_{n}.sql" for n in range(1, len(MIGRATIONS))
    }
