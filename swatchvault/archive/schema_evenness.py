"""Tables of evenness as migration 3 makes them: held to, judged, and named by the dyer's own eye.

Rows are kept as they were said; a newer row supersedes, and a rule of the dyer's can be undone.
"""

from __future__ import annotations

from swatchvault.archive.schema_photos import _json, _kept, _superseded_once
from swatchvault.archive.schema_studio import above_zero, is_time, not_below_zero, one_of
from swatchvault.kinds import CLASSES

EVENNESS_VERDICTS = ("as tonal", "more tonal", "less tonal", "cannot tell")

_SHARE = 'CONSTRAINT "a share must be between 0 and 1" CHECK ({0} BETWEEN 0 AND 1)'
_CLASS = (
    f'class TEXT CONSTRAINT "class must be {", ".join(CLASSES[:-1])} or {CLASSES[-1]}" '
    f"CHECK (class IN {one_of(CLASSES)})"
)

HELD = (
    f"""CREATE TABLE master_evenness (
    id INTEGER PRIMARY KEY,
    master_id INTEGER NOT NULL REFERENCES master (id),
    stated_at TEXT NOT NULL {is_time("stated_at")},
    unevenness REAL {not_below_zero("unevenness")},
    u_unevenness REAL {not_below_zero("u_unevenness")},
    tolerance REAL {above_zero("tolerance")},
    method TEXT,
    measurement_id INTEGER REFERENCES measurement (id),
    reason TEXT,
    CONSTRAINT "evenness is stated whole, or not at all" CHECK (
        (unevenness IS NULL) = (u_unevenness IS NULL)
        AND (unevenness IS NULL) = (tolerance IS NULL) AND (unevenness IS NULL) = (method IS NULL))
) STRICT""",
    f"""CREATE TABLE evenness_check (
    lot_check_id INTEGER PRIMARY KEY REFERENCES lot_check (id),
    master_evenness_id INTEGER NOT NULL REFERENCES master_evenness (id),
    measurement_id INTEGER REFERENCES measurement (id),
    verdict TEXT NOT NULL CHECK (verdict IN {one_of(EVENNESS_VERDICTS)}),
    unevenness REAL {not_below_zero("unevenness")},
    u_unevenness REAL {not_below_zero("u_unevenness")},
    tolerance REAL NOT NULL {above_zero("tolerance")},
    p_as REAL {_SHARE.format("p_as")},
    p_more REAL {_SHARE.format("p_more")},
    p_less REAL {_SHARE.format("p_less")},
    method TEXT,
    words TEXT NOT NULL,
    detail TEXT NOT NULL {_json("detail")}
) STRICT""",
)

EYE = (
    f"""CREATE TABLE named_class (
    id INTEGER PRIMARY KEY,
    swatch_id INTEGER NOT NULL REFERENCES swatch (id),
    {_CLASS},
    named_at TEXT NOT NULL {is_time("named_at")},
    note TEXT,
    superseded_by INTEGER REFERENCES named_class (id) DEFERRABLE INITIALLY DEFERRED
        CHECK (superseded_by > id)
) STRICT""",
    f"""CREATE TABLE eye_rule (
    id INTEGER PRIMARY KEY,
    taken_at TEXT NOT NULL {is_time("taken_at")},
    undone_at TEXT {is_time("undone_at")},
    method TEXT NOT NULL,
    thresholds TEXT NOT NULL {_json("thresholds")},
    swatches INTEGER NOT NULL {above_zero("swatches")},
    right_before INTEGER NOT NULL {not_below_zero("right_before")},
    right_after INTEGER NOT NULL {not_below_zero("right_after")},
    detail TEXT NOT NULL {_json("detail")}
) STRICT""",
    """CREATE TABLE eye_rule_swatch (
    eye_rule_id INTEGER NOT NULL REFERENCES eye_rule (id),
    named_class_id INTEGER NOT NULL REFERENCES named_class (id),
    measurement_id INTEGER NOT NULL REFERENCES measurement (id),
    PRIMARY KEY (eye_rule_id, named_class_id)
) STRICT""",
    f"""CREATE TABLE eye_class (
    eye_rule_id INTEGER NOT NULL REFERENCES eye_rule (id),
    measurement_id INTEGER NOT NULL REFERENCES measurement (id),
    {_CLASS},
    PRIMARY KEY (eye_rule_id, measurement_id)
) STRICT""",
)

INDEXES = (
    "CREATE INDEX master_evenness_by_master ON master_evenness (master_id, stated_at)",
    "CREATE INDEX master_evenness_by_measurement ON master_evenness (measurement_id)",
    "CREATE INDEX evenness_check_by_statement ON evenness_check (master_evenness_id)",
    "CREATE INDEX evenness_check_by_measurement ON evenness_check (measurement_id)",
    "CREATE UNIQUE INDEX named_class_current ON named_class (swatch_id) "
    "WHERE superseded_by IS NULL",
    "CREATE INDEX named_class_by_swatch ON named_class (swatch_id)",
    "CREATE INDEX eye_rule_swatch_by_name ON eye_rule_swatch (named_class_id)",
    "CREATE INDEX eye_rule_swatch_by_measurement ON eye_rule_swatch (measurement_id)",
    "CREATE INDEX eye_class_by_measurement ON eye_class (measurement_id)",
    # which versions of the methods there are is asked before every comparison
    "CREATE INDEX measurement_by_version ON measurement (version) WHERE superseded_by IS NULL",
    "CREATE INDEX measurement_by_method ON measurement (json_extract(tonality, '$.method')) "
    "WHERE superseded_by IS NULL",
)

_RULE_COLUMNS = (
    *("id", "taken_at", "method", "thresholds", "swatches", "right_before", "right_after"),
    "detail",
)

TRIGGERS = (
    *_kept("master_evenness"),
    *_kept("evenness_check"),
    *_kept("named_class", ("id", "swatch_id", "class", "named_at", "note")),
    _superseded_once("named_class"),
    *_kept("eye_rule", _RULE_COLUMNS),
    "CREATE TRIGGER eye_rule_is_undone_once BEFORE UPDATE OF undone_at ON eye_rule "
    "WHEN OLD.undone_at IS NOT NULL "
    "BEGIN SELECT RAISE(ABORT, 'a rule is undone once'); END",
    *_kept("eye_rule_swatch"),
)

EVENNESS = (*HELD, *EYE, *INDEXES, *TRIGGERS)
