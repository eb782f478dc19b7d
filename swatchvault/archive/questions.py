"""Stored queries for Datasette: questions that a dyer asks, each one line of SQL away from others.

Values typed into a query arrive as text, so they are cast.
"""

from __future__ import annotations

from collections.abc import Mapping

from swatchvault.archive.speaking import speaks_for

# ΔE00 is worked out for the colours nearest by plain distance in Lab: all of them would take
# seconds in a large archive.
_FIRST = 1000
_FOUND = f"""SELECT round(delta_e_00(wanted.L, wanted.a, wanted.b, c.lab_l, c.lab_a, c.lab_b), 2)
  AS delta_e_00, c.swatch, c.colourway, c.base, c.form, c.lot, c.lab_l, c.lab_a, c.lab_b,
  c.flags, c.taken_at, c.swatch_id
FROM wanted CROSS JOIN (SELECT m.id FROM wanted, current_measurement AS m
  WHERE m.swatch_id IS NOT wanted.swatch_id
  ORDER BY (m.lab_l - wanted.L) * (m.lab_l - wanted.L) + (m.lab_a - wanted.a)
    * (m.lab_a - wanted.a) + (m.lab_b - wanted.b) * (m.lab_b - wanted.b) LIMIT {_FIRST}) AS near
CROSS JOIN colours AS c ON c.measurement_id = near.id
ORDER BY delta_e_00 LIMIT 20"""

_NEAREST = f"""WITH wanted AS (SELECT NULL AS swatch_id, CAST(:L AS REAL) AS L,
  CAST(:a AS REAL) AS a, CAST(:b AS REAL) AS b)
{_FOUND}"""

_LIKE_A_SWATCH = f"""WITH wanted AS (SELECT swatch.id AS swatch_id, m.lab_l AS L, m.lab_a AS a,
  m.lab_b AS b FROM swatch JOIN measurement AS m ON m.id = {speaks_for("swatch.id")}
  WHERE same_name(swatch.label, :swatch))
{_FOUND}"""

# The plus signs keep SQLite from taking every swatch of a base in place of a lot's few.
_NEVER_CHECKED = """SELECT held.colourway, held.base, held.form, lot.code AS lot, lot.dyed_on,
  swatch.label AS swatch, held.swatch AS master_swatch, lot.id AS lot_id, swatch.id AS swatch_id
FROM current_masters AS held CROSS JOIN lot ON lot.colourway_id = held.colourway_id
CROSS JOIN swatch ON swatch.lot_id = lot.id AND +swatch.base_id = held.base_id
  AND +swatch.form = held.form AND swatch.id <> held.swatch_id
WHERE EXISTS (SELECT 1 FROM current_measurement AS m WHERE m.swatch_id = swatch.id)
  AND NOT EXISTS (SELECT 1 FROM lot_check AS c
    WHERE c.swatch_id = swatch.id AND c.master_swatch_id = held.swatch_id)
ORDER BY lot.dyed_on DESC"""

_COULD_NOT_TELL = """SELECT colourway.name AS colourway, lot.code AS lot, swatch.label AS swatch,
  c.verdict, c.delta_e_00, c.tolerance, c.u_reading, c.capture AS photos, c.checked_at,
  c.lot_id, c.swatch_id, c.id AS lot_check_id
FROM lot_check AS c JOIN swatch ON swatch.id = c.swatch_id LEFT JOIN lot ON lot.id = c.lot_id
LEFT JOIN colourway ON colourway.id = lot.colourway_id
WHERE c.verdict = 'cannot tell' AND c.id = (SELECT id FROM lot_check AS d
  WHERE d.swatch_id = c.swatch_id ORDER BY d.id DESC LIMIT 1)
ORDER BY c.checked_at DESC"""

_UNDYED = """SELECT base, base_lot, taken_at, form, lab_l, lab_a, lab_b,
  round(delta_e_00(lab_l, lab_a, lab_b, first_value(lab_l) OVER w, first_value(lab_a) OVER w,
    first_value(lab_b) OVER w), 2) AS delta_e_00_from_first, setup, flags
FROM undyed_over_time WINDOW w AS (PARTITION BY base, form ORDER BY taken_at)
ORDER BY base, form, taken_at"""

#: Name in the address to what Datasette's configuration takes.
QUESTIONS: Mapping[str, Mapping[str, object]] = {
    "nearest_to_a_colour": {
        "title": "What have I made that is near this colour?",
        "description": "L*, a* and b* under D65; ΔE00 at kL = 1, of the measurements nearest in "
        "Lab. The Find page is exact, and says how sure it is.",
        "sql": _NEAREST,
        "params": ["L", "a", "b"],
    },
    "nearest_to_a_swatch": {
        "title": "What have I made that is near this swatch?",
        "description": "The swatch's label; ΔE00 at kL = 1 from the photo that speaks for it, of "
        "the measurements nearest in Lab.",
        "sql": _LIKE_A_SWATCH,
        "params": ["swatch"],
    },
    "lots_never_checked": {
        "title": "Which lots have a master and were never held to it?",
        "sql": _NEVER_CHECKED,
    },
    "lots_that_need_another_photo": {
        "title": "Of which lots could the last check not tell?",
        "sql": _COULD_NOT_TELL,
    },
    "colourways_without_master": {
        "title": "Which colourways with lots have no master yet?",
        "sql": "SELECT name AS colourway, id AS colourway_id, (SELECT count(*) FROM lot "
        "WHERE colourway_id = colourway.id) AS lots FROM colourway WHERE lots > 0 AND id NOT IN "
        "(SELECT colourway_id FROM master) ORDER BY lots DESC, name",
    },
    "colours_with_a_flag": {
        "title": "Which colours carry this flag?",
        "description": "Part of the flag's name, such as clipped, search or not dry.",
        "sql": "SELECT swatch, colourway, lot, lab_l, lab_a, lab_b, flags, taken_at, swatch_id "
        "FROM colours WHERE measurement_id IN (SELECT id FROM current_measurement "
        "WHERE :flag <> '' AND instr(flags, :flag)) ORDER BY taken_at DESC LIMIT 200",
        "params": ["flag"],
    },
    "stocks_running_low": {
        "title": "Which stocks are nearly used up, or old?",
        "description": "Less than so many mL left, or mixed more than so many days ago.",
        "sql": "SELECT dye, stock, round(left_ml) AS left_ml, mixed_on, "
        "round(julianday('now') - julianday(mixed_on)) AS days_old, strength_percent FROM stocks "
        "WHERE left_ml < CAST(:less_than_ml AS REAL) "
        "OR julianday('now') - julianday(mixed_on) > CAST(:older_than_days AS REAL) "
        "ORDER BY left_ml",
        "params": ["less_than_ml", "older_than_days"],
    },
    "dye_used_by_month": {
        "title": "How much of each dye did I use, month by month?",
        "sql": "SELECT substr(dyed_on, 1, 7) AS month, dye, round(sum(dye_g), 2) AS grams, "
        "count(DISTINCT lot_id) AS lots FROM dyes_used GROUP BY month, dye ORDER BY month DESC, "
        "grams DESC",
    },
    "lots_that_left_the_plan": {
        "title": "Into which lots did more or less dye go than the recipe says?",
        "description": "By more than so many percent of the planned depth of shade.",
        "sql": "SELECT lot, colourway, dyed_on, dye, "
        "round(sum(depth_percent), 3) AS depth_percent, "
        "round(planned_depth_percent, 3) AS planned, "
        "round(100.0 * (sum(depth_percent) / planned_depth_percent - 1), 1) AS off_by_percent, "
        "lot_id FROM dyes_used GROUP BY lot_id, dye HAVING count(*) = count(depth_percent) AND "
        "abs(round(100.0 * (sum(depth_percent) / planned_depth_percent - 1), 1)) > "
        "CAST(:percent AS REAL) ORDER BY abs(off_by_percent) DESC",
        "params": ["percent"],
    },
    "pots_that_kept_colour": {
        "title": "In which pots was colour left at the last look?",
        "sql": "SELECT lot, step, at, colour_left, ph, temperature_c, lot_id FROM pot_logs AS seen "
        "WHERE colour_left IS NOT NULL AND colour_left <> 'none' AND step = (SELECT max(step) "
        "FROM pot_logs WHERE lot_id = seen.lot_id AND colour_left IS NOT NULL) "
        "ORDER BY at DESC",
    },
    "what_to_try_next_time": {
        "title": "What did I want to try next time?",
        "sql": "SELECT colourway.name AS colourway, lot.code AS lot, lot.dyed_on, pot.success, "
        "pot.next_time, lot.id AS lot_id FROM pot JOIN lot ON lot.id = pot.lot_id "
        "LEFT JOIN colourway ON colourway.id = lot.colourway_id WHERE pot.next_time IS NOT NULL "
        "ORDER BY lot.dyed_on DESC",
    },
    "skeins_that_lost_weight": {
        "title": "Which skeins lost the most weight in the pot?",
        "sql": "SELECT * FROM skeins WHERE lost_percent IS NOT NULL ORDER BY lost_percent DESC "
        "LIMIT 50",
    },
    "how_undyed_yarn_drifts": {
        "title": "Does undyed yarn, or the set-up, drift?",
        "description": "ΔE00 at kL = 1 from the first photo of the same base and form.",
        "sql": _UNDYED,
    },
}

#: Questions about dyes, stocks and pots: a copy without them has no answer.
OF_THE_MAKING = frozenset(
    {
        *("stocks_running_low", "dye_used_by_month", "lots_that_left_the_plan"),
        *("pots_that_kept_colour", "what_to_try_next_time"),
    }
)


def asked_of(making: bool) -> dict[str, str]:
    """Name and title of the questions that an archive, or a copy without the making, answers."""
    return {
        name: str(question["title"])
        for name, question in QUESTIONS.items()
        if making or name not in OF_THE_MAKING
    }
