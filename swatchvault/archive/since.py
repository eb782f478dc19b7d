"""What became of a verdict's photos, set aside since, or found to be of another swatch, and of its
master, where another stands now. The verdict keeps its words; whoever reads it is told.
"""

from __future__ import annotations

from swatchvault.archive.standing import in_force

#: Why a photo is set aside in a copy that does not tell when dye went in.
BEFORE_THE_LAST_DYE = "from before the last dye"

_HERE = (
    "FROM filed_measurement AS here WHERE here.photo_id = layout.photo_id "
    "AND here.swatch_id = m.swatch_id"
)
_MOVED = (
    "FROM filed_measurement AS here JOIN swatch AS other ON other.id = here.swatch_id "
    "WHERE here.photo_id = layout.photo_id AND here.region = m.region"
)

#: SQL: whether the photo of a measurement ``m`` in ``layout`` still shows its swatch.
STILL = f"EXISTS (SELECT 1 {_HERE})"
#: SQL: label and number of the swatch that its region is now, where it does not; else NULL.
MOVED_TO = f"CASE WHEN NOT {STILL} THEN (SELECT other.label {_MOVED}) END"
MOVED_TO_ID = f"CASE WHEN NOT {STILL} THEN (SELECT other.id {_MOVED}) END"

_BECAME = f"""CASE WHEN NOT {STILL}
    THEN COALESCE('moved to ' || (SELECT other.label {_MOVED}), 'no longer marked')
    ELSE (SELECT CASE WHEN aside.reason IS '{BEFORE_THE_LAST_DYE}' THEN aside.reason
        ELSE 'set aside' END FROM set_aside AS aside WHERE aside.photo_id = layout.photo_id
        AND aside.swatch_id = m.swatch_id AND aside.taken_back_at IS NULL) END"""


def all_aside(swatches: str) -> str:
    """SQL: whether swatches are measured and every photo of them is set aside.

    ``swatches``: SQL of the number of one, or of several.
    """
    of_them = f"WHERE {{0}}.swatch_id IN ({swatches})"
    return (
        f"(EXISTS (SELECT 1 FROM filed_measurement AS put {of_them.format('put')}) AND NOT EXISTS "
        f"(SELECT 1 FROM current_measurement AS counted {of_them.format('counted')}))"
    )


def former_master(check: str) -> str:
    """SQL: label of the swatch that the check of that id was held to, where that is no master now;
    NULL where it still is one."""
    return (
        "(SELECT held.label FROM lot_check AS given JOIN swatch AS held "
        f"ON held.id = given.master_swatch_id WHERE given.id = {check} AND NOT EXISTS (SELECT 1 "
        "FROM master AS its_master WHERE its_master.swatch_id = given.master_swatch_id "
        f"AND {in_force('its_master')}))"
    )


def since_then(check: str) -> str:
    """SQL: what became of the master and the photos of the check of that id; NULL where nothing
    did.

    Such as "NF-1 card is the master no longer; the new swatch's photo moved to HF-3 skein a".
    """
    return f"""(SELECT group_concat(said, '; ') FROM (
SELECT {former_master(check)} || ' is the master no longer' AS said UNION ALL SELECT
    CASE WHEN some < photos THEN some || ' of ' ELSE '' END || owner
    || CASE WHEN photos > 1 THEN photos || ' photos ' ELSE 'photo ' END || became
FROM (SELECT owner, became, count(*) AS some, photos FROM (
    SELECT CASE on_it.side WHEN 'master' THEN 'the master''s ' ELSE 'the new swatch''s ' END
        AS owner, {_BECAME} AS became, count(*) OVER (PARTITION BY on_it.side) AS photos
    FROM lot_check_measurement AS on_it JOIN measurement AS m ON m.id = on_it.measurement_id
    JOIN layout ON layout.id = m.layout_id WHERE on_it.lot_check_id = {check})
    WHERE became IS NOT NULL GROUP BY owner, became)) WHERE said IS NOT NULL)"""
