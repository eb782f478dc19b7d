"""The table of names that were mended, as migration 6 makes it."""

from __future__ import annotations

from swatchvault.archive.schema_studio import is_time, one_of

#: Tables whose rows may be renamed.
TABLES = (
    *("colourway", "lot", "skein", "swatch", "base", "base_lot", "dye", "dye_pack", "stock"),
    *("setup", "reference"),
)

# row_id is of the table that kind names, so no foreign key can hold it; what is deleted takes its
# rows here along.
RENAMED = (
    f"""CREATE TABLE renamed (
    id INTEGER PRIMARY KEY,
    kind TEXT NOT NULL CHECK (kind IN {one_of(TABLES)}),
    row_id INTEGER NOT NULL,
    old_name TEXT NOT NULL COLLATE NOCASE,
    new_name TEXT NOT NULL COLLATE NOCASE,
    renamed_at TEXT NOT NULL {is_time("renamed_at")}
) STRICT""",
    "CREATE INDEX renamed_by_old_name ON renamed (kind, old_name)",
    "CREATE INDEX renamed_by_row ON renamed (kind, row_id)",
)
