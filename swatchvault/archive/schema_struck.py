"""Steps struck from a pot's log, and which dyes a step put in, as migration 8 makes it."""

from __future__ import annotations

from swatchvault.archive.schema_studio import is_time

_JSON = 'CONSTRAINT "{0} must be JSON" CHECK (json_valid({0}))'

# A struck step leaves pot_step and its dyes leave lot_dye, so that nothing which counts them needs
# to know of it. What was said of them stays here in the words and names of that day.
STRUCK = (
    "ALTER TABLE lot_dye ADD COLUMN pot_step_id INTEGER REFERENCES pot_step (id)",
    "CREATE INDEX lot_dye_by_step ON lot_dye (pot_step_id) WHERE pot_step_id IS NOT NULL",
    f"""CREATE TABLE struck_step (
    id INTEGER PRIMARY KEY,
    lot_id INTEGER NOT NULL REFERENCES lot (id),
    position INTEGER NOT NULL,
    step TEXT NOT NULL {_JSON.format("step")},
    dyes TEXT NOT NULL {_JSON.format("dyes")},
    struck_at TEXT NOT NULL {is_time("struck_at")}
) STRICT""",
    "CREATE INDEX struck_step_by_lot ON struck_step (lot_id)",
    "CREATE TRIGGER struck_step_is_not_changed BEFORE UPDATE ON struck_step "
    "BEGIN SELECT RAISE(ABORT, 'a row of struck_step is kept as it was'); END",
    "CREATE TRIGGER struck_step_is_not_deleted BEFORE DELETE ON struck_step "
    "BEGIN SELECT RAISE(ABORT, 'a row of struck_step is kept'); END",
)
