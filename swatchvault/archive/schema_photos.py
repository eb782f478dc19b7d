"""Tables of photos, measurements, masters and checks, as migration 1 makes them.

Rows of ``layout``, ``measurement``, ``master`` and ``lot_check`` are a record of what was found
or said: triggers refuse to change or delete them; a newer row supersedes.
"""

from __future__ import annotations

from swatchvault.archive.schema_studio import (
    above_zero,
    is_time,
    not_below_zero,
    one_of,
)
from swatchvault.kinds import FORMS

LIGHTS = ("daylight", "other", "black light")
LOCATED_BY = ("marks", "mat", "search")
REFERENCE_KINDS = ("card", "steps", "chart24")
REFERENCE_CLASSES = ("chart", "steps", "card", "none")
VERDICTS = ("within", "outside", "cannot tell")

_NAME = "TEXT NOT NULL COLLATE NOCASE"
_SHARE = 'CONSTRAINT "a share must be between 0 and 1" CHECK ({0} BETWEEN 0 AND 1)'


def _json(column: str) -> str:
    # json_valid(NULL) is 0 in older SQLite and NULL in newer
    return f'CONSTRAINT "{column} must be JSON" CHECK ({column} IS NULL OR json_valid({column}))'


PHOTOS = (
    f"""CREATE TABLE reference (
    id INTEGER PRIMARY KEY,
    name {_NAME} UNIQUE,
    kind TEXT NOT NULL CHECK (kind IN {one_of(REFERENCE_KINDS)}),
    known_values TEXT {_json("known_values")},
    tolerance_delta_e REAL {not_below_zero("tolerance_delta_e")},
    source TEXT,
    note TEXT
) STRICT""",
    f"""CREATE TABLE setup (
    id INTEGER PRIMARY KEY,
    name {_NAME} UNIQUE,
    phone TEXT,
    light TEXT CONSTRAINT "light must be daylight, other or black light"
        CHECK (light IN {one_of(LIGHTS)}),
    locked INTEGER CHECK (locked IN (0, 1)),
    reference_id INTEGER REFERENCES reference (id),
    note TEXT
) STRICT""",
    f"""CREATE TABLE photo (
    sha256 TEXT PRIMARY KEY
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
    """CREATE TABLE photo_swatch (
    photo_sha256 TEXT NOT NULL REFERENCES photo (sha256),
    swatch_id INTEGER NOT NULL REFERENCES swatch (id),
    PRIMARY KEY (photo_sha256, swatch_id)
) STRICT""",
    f"""CREATE TABLE repeat_set (
    id INTEGER PRIMARY KEY,
    setup_id INTEGER NOT NULL REFERENCES setup (id),
    learned_at TEXT NOT NULL {is_time("learned_at")},
    frame_variance REAL {above_zero("frame_variance")},
    learned TEXT NOT NULL {_json("learned")},
    note TEXT
) STRICT""",
    """CREATE TABLE repeat_photo (
    repeat_set_id INTEGER NOT NULL REFERENCES repeat_set (id),
    photo_sha256 TEXT NOT NULL REFERENCES photo (sha256),
    PRIMARY KEY (repeat_set_id, photo_sha256)
) STRICT""",
    f"""CREATE TABLE layout (
    id INTEGER PRIMARY KEY,
    photo_sha256 TEXT NOT NULL REFERENCES photo (sha256),
    located TEXT NOT NULL CHECK (located IN {one_of(LOCATED_BY)}),
    marks TEXT NOT NULL {_json("marks")},
    added_at TEXT NOT NULL,
    superseded_by INTEGER REFERENCES layout (id) DEFERRABLE INITIALLY DEFERRED
        CHECK (superseded_by > id)
) STRICT""",
    f"""CREATE TABLE measurement (
    id INTEGER PRIMARY KEY,
    photo_sha256 TEXT NOT NULL REFERENCES photo (sha256),
    layout_id INTEGER NOT NULL REFERENCES layout (id),
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
    provenance TEXT NOT NULL {_json("provenance")},
    version TEXT NOT NULL,
    measured_at TEXT NOT NULL,
    superseded_by INTEGER REFERENCES measurement (id) DEFERRABLE INITIALLY DEFERRED
        CHECK (superseded_by > id)
) STRICT""",
)

DECISIONS = (
    f"""CREATE TABLE master (
    id INTEGER PRIMARY KEY,
    colourway_id INTEGER NOT NULL REFERENCES colourway (id),
    base_id INTEGER NOT NULL REFERENCES base (id),
    form TEXT NOT NULL CHECK (form IN {one_of(FORMS)}),
    swatch_id INTEGER NOT NULL REFERENCES swatch (id),
    tolerance REAL NOT NULL {above_zero("tolerance")},
    k_l REAL NOT NULL {above_zero("k_l")},
    since TEXT NOT NULL {is_time("since")},
    reason TEXT
) STRICT""",
    f"""CREATE TABLE lot_check (
    id INTEGER PRIMARY KEY,
    checked_at TEXT NOT NULL {is_time("checked_at")},
    master_id INTEGER REFERENCES master (id),
    master_swatch_id INTEGER NOT NULL REFERENCES swatch (id),
    swatch_id INTEGER NOT NULL REFERENCES swatch (id),
    lot_id INTEGER REFERENCES lot (id),
    verdict TEXT NOT NULL CHECK (verdict IN {one_of(VERDICTS)}),
    tolerance REAL NOT NULL {above_zero("tolerance")},
    k_l REAL NOT NULL {above_zero("k_l")},
    delta_e_00 REAL NOT NULL {not_below_zero("delta_e_00")},
    delta_l REAL,
    delta_c REAL,
    delta_h REAL,
    u_reading REAL {not_below_zero("u_reading")},
    u_at_tolerance REAL {not_below_zero("u_at_tolerance")},
    p_within REAL {_SHARE.format("p_within")},
    p_outside REAL {_SHARE.format("p_outside")},
    capture TEXT NOT NULL,
    same_dyes INTEGER CHECK (same_dyes IN (0, 1)),
    words TEXT NOT NULL,
    detail TEXT NOT NULL {_json("detail")}
) STRICT""",
    """CREATE TABLE lot_check_measurement (
    lot_check_id INTEGER NOT NULL REFERENCES lot_check (id),
    measurement_id INTEGER NOT NULL REFERENCES measurement (id),
    side TEXT NOT NULL CHECK (side IN ('master', 'lot')),
    PRIMARY KEY (lot_check_id, measurement_id)
) STRICT""",
)

INDEXES = (
    "CREATE INDEX setup_by_reference ON setup (reference_id)",
    "CREATE INDEX photo_by_setup ON photo (setup_id)",
    "CREATE INDEX repeat_set_by_setup ON repeat_set (setup_id)",
    "CREATE INDEX repeat_photo_by_photo ON repeat_photo (photo_sha256)",
    "CREATE INDEX photo_swatch_by_swatch ON photo_swatch (swatch_id)",
    "CREATE UNIQUE INDEX layout_current ON layout (photo_sha256) WHERE superseded_by IS NULL",
    "CREATE INDEX layout_by_photo ON layout (photo_sha256)",
    "CREATE UNIQUE INDEX measurement_current ON measurement (layout_id, region) "
    "WHERE superseded_by IS NULL",
    "CREATE INDEX measurement_by_photo ON measurement (photo_sha256)",
    "CREATE INDEX measurement_by_swatch ON measurement (swatch_id)",
    "CREATE INDEX master_by_held ON master (colourway_id, base_id, form, since)",
    "CREATE INDEX master_by_swatch ON master (swatch_id)",
    "CREATE INDEX lot_check_by_lot ON lot_check (lot_id, checked_at)",
    "CREATE INDEX lot_check_by_swatch ON lot_check (swatch_id)",
    "CREATE INDEX lot_check_by_master ON lot_check (master_id)",
    "CREATE INDEX lot_check_by_measurement ON lot_check_measurement (measurement_id)",
)


def _kept(table: str, columns: tuple[str, ...] = ()) -> tuple[str, str]:
    """Triggers that refuse UPDATE and DELETE; ``columns`` limits the first to these."""
    of = f" OF {', '.join(columns)}" if columns else ""
    words = f"a row of {table} is kept as it was: a newer one supersedes it"
    return (
        f"CREATE TRIGGER {table}_is_not_changed BEFORE UPDATE{of} ON {table} "
        f"BEGIN SELECT RAISE(ABORT, '{words}'); END",
        f"CREATE TRIGGER {table}_is_not_deleted BEFORE DELETE ON {table} "
        f"BEGIN SELECT RAISE(ABORT, '{words}'); END",
    )


def _superseded_once(table: str) -> str:
    return (
        f"CREATE TRIGGER {table}_is_superseded_once BEFORE UPDATE OF superseded_by ON {table} "
        f"WHEN OLD.superseded_by IS NOT NULL "
        f"BEGIN SELECT RAISE(ABORT, 'a row of {table} is superseded once'); END"
    )


_LAYOUT_COLUMNS = ("id", "photo_sha256", "located", "marks", "added_at")
_MEASUREMENT_COLUMNS = (
    *("id", "photo_sha256", "layout_id", "region", "swatch_id", "dry", "lab_l", "lab_a", "lab_b"),
    *("cov_region", "cov_frame", "cov_setup", "cov_profile", "flags", "reference", "pixels"),
    *("left_out", "clipped_share", "shadow_sd", "mm_per_px", "tonality", "provenance", "version"),
    "measured_at",
)

TRIGGERS = (
    *_kept("layout", _LAYOUT_COLUMNS),
    _superseded_once("layout"),
    *_kept("measurement", _MEASUREMENT_COLUMNS),
    _superseded_once("measurement"),
    *_kept("master"),
    *_kept("lot_check"),
    *_kept("lot_check_measurement"),
)

PICTURES = (*PHOTOS, *DECISIONS, *INDEXES, *TRIGGERS)
