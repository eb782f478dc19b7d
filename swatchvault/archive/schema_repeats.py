"""When what repeats taught was taken back, as migration 10 adds it."""

from __future__ import annotations

from swatchvault.archive.schema_studio import is_time

# A verdict that was given may rest on it, so its row stays.
REPEATS_TAKEN_BACK = (
    f"ALTER TABLE repeat_set ADD COLUMN taken_back_at TEXT {is_time('taken_back_at')}",
)
