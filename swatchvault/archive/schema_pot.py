"""The tables of a lot's pot and of the archive's settings, as migration 2 makes them."""

from __future__ import annotations

from swatchvault.archive.schema_studio import above_zero, is_time

POT = (
    f"""CREATE TABLE pot (
    id INTEGER PRIMARY KEY,
    lot_id INTEGER NOT NULL UNIQUE REFERENCES lot (id),
    started_at TEXT {is_time("started_at")},
    ended_at TEXT {is_time("ended_at")},
    planned_from TEXT CONSTRAINT "planned_from must be JSON" CHECK (json_valid(planned_from)),
    bled TEXT,
    handle TEXT,
    success TEXT,
    next_time TEXT
) STRICT""",
    f"""CREATE TABLE setting (
    name TEXT PRIMARY KEY,
    value REAL NOT NULL {above_zero("value")}
) STRICT""",
)
