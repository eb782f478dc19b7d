"""Photos by number, and what corrected a photo once for all its measurements: migration 5.

``photo`` gets a number, so that a layout names it in a few bytes instead of 64 digits twice, and
a measurement names its layout alone. What was told of a photo's correction in each of its
measurements is a row of ``correction``. Every value is carried over as it was.
"""

from __future__ import annotations

import sqlite3

from swatchvault.archive.schema_photos import (
    _SHARE,
    LIGHTS,
    LOCATED_BY,
    REFERENCE_CLASSES,
    _json,
    _kept,
    _superseded_once,
)
from swatchvault.archive.schema_studio import above_zero, not_below_zero, one_of

_NEW = "new_"  # a table is filled under this name, then takes its old one's

TABLES = {
    "photo": f"""CREATE TABLE new_photo (
    id INTEGER PRIMARY KEY,
    sha256 TEXT NOT NULL UNIQUE
        CONSTRAINT "sha256 must be 64 hexadecimal digits"
        CHECK (length(sha256) = 64 AND sha256 NOT GLOB '*[^0-9a-f]*'),
    suffix TEXT NOT NULL CHECK (suffix GLOB '.[a-z0-9]*'),
    original_name TEXT,
    bytes INTEGER NOT NULL {above_zero("bytes")},
    width INTEGER NOT NULL {above_zero("width")},
    height INTEGER NOT NULL {above_zero("height")},
    format TEXT NOT NULL,
    encoding TEXT NOT NULL,
    taken_at TEXT,
    camera TEXT,
    setup_id INTEGER REFERENCES setup (id),
    light TEXT CONSTRAINT "light must be daylight, other or black light"
        CHECK (light IN {one_of(LIGHTS)}),
    added_at TEXT NOT NULL,
    note TEXT
) STRICT""",
    "layout": f"""CREATE TABLE new_layout (
    id INTEGER PRIMARY KEY,
    photo_id INTEGER NOT NULL REFERENCES photo (id),
    located TEXT NOT NULL CHECK (located IN {one_of(LOCATED_BY)}),
    marks TEXT NOT NULL {_json("marks")},
    added_at TEXT NOT NULL,
    superseded_by INTEGER REFERENCES layout (id) DEFERRABLE INITIALLY DEFERRED
        CHECK (superseded_by > id)
) STRICT""",
    "correction": f"""CREATE TABLE new_correction (
    id INTEGER PRIMARY KEY,
    layout_id INTEGER NOT NULL REFERENCES layout (id),
    provenance TEXT NOT NULL {_json("provenance")}
) STRICT""",
    "measurement": f"""CREATE TABLE new_measurement (
    id INTEGER PRIMARY KEY,
    layout_id INTEGER NOT NULL REFERENCES layout (id),
    correction_id INTEGER NOT NULL REFERENCES correction (id),
    region TEXT NOT NULL,
    swatch_id INTEGER NOT NULL REFERENCES swatch (id),
    dry INTEGER CHECK (dry IN (0, 1)),
    lab_l REAL NOT NULL,
    lab_a REAL NOT NULL,
    lab_b REAL NOT NULL,
    cov_region TEXT NOT NULL {_json("cov_region")},
    cov_frame TEXT NOT NULL {_json("cov_frame")},
    cov_setup TEXT NOT NULL {_json("cov_setup")},
    cov_profile TEXT NOT NULL {_json("cov_profile")},
    flags TEXT NOT NULL {_json("flags")},
    reference TEXT NOT NULL CHECK (reference IN {one_of(REFERENCE_CLASSES)}),
    pixels INTEGER NOT NULL {above_zero("pixels")},
    left_out TEXT NOT NULL {_json("left_out")},
    clipped_share REAL {_SHARE.format("clipped_share")},
    shadow_sd REAL {not_below_zero("shadow_sd")},
    mm_per_px REAL {above_zero("mm_per_px")},
    tonality TEXT {_json("tonality")},
    version TEXT NOT NULL,
    measured_at TEXT NOT NULL,
    superseded_by INTEGER REFERENCES measurement (id) DEFERRABLE INITIALLY DEFERRED
        CHECK (superseded_by > id)
) STRICT""",
}

_PHOTO_FACTS = (
    "sha256, suffix, original_name, bytes, width, height, format, encoding, taken_at, camera, "
    "setup_id, light, added_at, note"
)
_FIGURES = (
    "region, swatch_id, dry, lab_l, lab_a, lab_b, cov_region, cov_frame, cov_setup, cov_profile, "
    "flags, reference, pixels, left_out, clipped_share, shadow_sd, mm_per_px, tonality, version, "
    "measured_at"
)

CARRIED_OVER = (
    f"INSERT INTO new_photo ({_PHOTO_FACTS}) SELECT {_PHOTO_FACTS} FROM photo ORDER BY rowid",
    "INSERT INTO new_layout SELECT layout.id, new_photo.id, located, marks, layout.added_at, "
    "superseded_by FROM layout JOIN new_photo ON sha256 = photo_sha256 ORDER BY layout.id",
    "INSERT INTO new_correction (layout_id, provenance) SELECT layout_id, provenance "
    "FROM measurement GROUP BY layout_id, provenance ORDER BY min(id)",
    f"INSERT INTO new_measurement (id, layout_id, correction_id, {_FIGURES}, superseded_by) "
    f"SELECT m.id, m.layout_id, made.id, {_FIGURES}, superseded_by FROM measurement AS m "
    "JOIN new_correction AS made ON made.layout_id = m.layout_id "
    "AND made.provenance = m.provenance ORDER BY m.id",
)

#: Most swatches name no skein and most lots no recipe: those rows need no place in an index.
_SPARSE = {
    "swatch_by_skein": "swatch (skein_id)",
    "lot_by_recipe": "lot (recipe_id)",
    "lot_by_overdyed": "lot (overdyes_lot_id)",
    "photo_by_setup": "photo (setup_id)",
}

INDEXES = (
    "CREATE UNIQUE INDEX layout_current ON layout (photo_id) WHERE superseded_by IS NULL",
    "CREATE INDEX layout_by_photo ON layout (photo_id)",
    "CREATE INDEX correction_by_layout ON correction (layout_id)",
    "CREATE UNIQUE INDEX measurement_current ON measurement (layout_id, region) "
    "WHERE superseded_by IS NULL",
    "CREATE INDEX measurement_by_swatch ON measurement (swatch_id)",
    "CREATE INDEX measurement_by_version ON measurement (version) WHERE superseded_by IS NULL",
    "CREATE INDEX measurement_by_method ON measurement (json_extract(tonality, '$.method')) "
    "WHERE superseded_by IS NULL",
    *(
        f"CREATE INDEX {name} ON {of} WHERE {of[of.index('(') + 1 : -1]} IS NOT NULL"
        for name, of in _SPARSE.items()
    ),
)

_LAYOUT_COLUMNS = ("id", "photo_id", "located", "marks", "added_at")
_MEASUREMENT_COLUMNS = ("id", "layout_id", "correction_id", *_FIGURES.split(", "))

TRIGGERS = (
    *_kept("layout", _LAYOUT_COLUMNS),
    _superseded_once("layout"),
    *_kept("correction"),
    *_kept("measurement", _MEASUREMENT_COLUMNS),
    _superseded_once("measurement"),
)


def renumber(conn: sqlite3.Connection) -> None:
    """Rebuild the tables of photos; inside a transaction, foreign keys off, no views there."""
    for statement in (*TABLES.values(), *CARRIED_OVER):
        conn.execute(statement)
    for name in ("swatch_by_skein", "lot_by_recipe", "lot_by_overdyed"):
        conn.execute(f"DROP INDEX {name}")
    for table in reversed(TABLES):  # their indexes and triggers go with them
        if table != "correction":
            conn.execute(f"DROP TABLE {table}")
    for table in TABLES:
        conn.execute(f"ALTER TABLE {_NEW}{table} RENAME TO {table}")
    for statement in (*INDEXES, *TRIGGERS):
        conn.execute(statement)
