"""The table of measurements that were set aside, as migration 7 makes it."""

from __future__ import annotations

from swatchvault.archive.schema_studio import is_time

# Of a swatch in a photo, whichever row measured it last: what a photo is wrong by stays wrong when
# a newer version of the method measures it again. A reason is blank only in a copy for others.
SET_ASIDE = (
    f"""CREATE TABLE set_aside (
    id INTEGER PRIMARY KEY,
    photo_id INTEGER NOT NULL REFERENCES photo (id),
    swatch_id INTEGER NOT NULL REFERENCES swatch (id),
    reason TEXT CONSTRAINT "the reason must say something" CHECK (trim(reason) <> ''),
    set_aside_at TEXT NOT NULL {is_time("set_aside_at")},
    taken_back_at TEXT {is_time("taken_back_at")}
) STRICT""",
    "CREATE UNIQUE INDEX set_aside_in_force ON set_aside (photo_id, swatch_id) "
    "WHERE taken_back_at IS NULL",
    "CREATE INDEX set_aside_by_swatch ON set_aside (swatch_id)",
    "CREATE TRIGGER set_aside_is_not_changed BEFORE UPDATE OF id, photo_id, swatch_id, reason, "
    "set_aside_at ON set_aside BEGIN SELECT RAISE(ABORT, 'a row of set_aside is kept as it was: it "
    "is taken back, and a newer one says otherwise'); END",
    "CREATE TRIGGER set_aside_is_not_deleted BEFORE DELETE ON set_aside "
    "BEGIN SELECT RAISE(ABORT, 'a row of set_aside is kept: it is taken back'); END",
    "CREATE TRIGGER set_aside_is_taken_back_once BEFORE UPDATE OF taken_back_at ON set_aside "
    "WHEN OLD.taken_back_at IS NOT NULL "
    "BEGIN SELECT RAISE(ABORT, 'a row of set_aside is taken back once'); END",
)
