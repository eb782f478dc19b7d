"""Views: one for each question a dyer asks, pleasant to read as plain tables.

They hold no data and are made anew with every upgrade. A later view may use an earlier one. Colours
are as they were measured: whoever shows them rounds them, once.
"""

from __future__ import annotations

from collections.abc import Mapping

from swatchvault.archive.clock import local_time
from swatchvault.archive.speaking import placed, speaks_for, variance_total
from swatchvault.archive.standing import still_of
from swatchvault.archive.views_evenness import EVENNESS_VIEWS

_FLAGS = "(SELECT group_concat(value, '; ') FROM json_each(m.flags))"
_BASES = (
    "(SELECT group_concat(base.name, ', ') FROM lot_base JOIN base ON base.id = lot_base.base_id "
    "WHERE lot_base.lot_id = lot.id)"
)

#: Grams of the pieces that a ``skein`` broke into in the pot, once all of them are weighed.
_PIECES_OUT = (
    "(SELECT CASE WHEN count(*) = count(piece.grams_out) THEN sum(piece.grams_out) END "
    "FROM skein AS piece WHERE piece.from_skein_id = skein.id "
    "AND piece.lot_id = skein.lot_id AND piece.grams_in IS NULL)"
)

#: When a ``lot`` was dyed, or where nobody told it the day of its first photo that counts. Lots
#: stand in time by this and then by id, the order of entry: here and in each query that sorts them.
DAY_OF_LOT = (
    "COALESCE(lot.dyed_on, (SELECT min(COALESCE(substr(photo.taken_at, 1, 10), "
    "date(photo.added_at, 'localtime'))) "
    "FROM swatch JOIN current_measurement AS m ON m.swatch_id = swatch.id "
    "JOIN photo ON photo.id = m.photo_id WHERE swatch.lot_id = lot.id))"
)

#: Dyes that went into lots: `lot_dye` without those of which a correction says that none did.
GONE_IN = "(SELECT * FROM lot_dye WHERE COALESCE(dye_g, amount_g, amount_ml) IS NOT 0)"

#: What was poured of each stock since it was last looked at: ``stock_id``, ``lot_id``, ``code`` of
#: the lot, ``day``, ``ml``, and whether it is ``unplaced``. A pour's day is that of its step, else
#: its lot's; on the day itself one looks after the pots. What cannot be placed counts as poured
#: since, for a pot that runs short is worse than a stock mixed too early: `stock_doubts` tells it.
POURED = f"""SELECT poured.*,
    stock.left_ml IS NOT NULL AND (stock.left_seen_on IS NULL OR day IS NULL) AS unplaced
FROM (SELECT used.stock_id, lot.id AS lot_id, lot.code,
        COALESCE(used.amount_ml, used.amount_g) AS ml,
        COALESCE(date({local_time("step.at")}), {DAY_OF_LOT}) AS day
    FROM lot_dye AS used JOIN lot ON lot.id = used.lot_id
    LEFT JOIN pot_step AS step ON step.id = used.pot_step_id) AS poured
JOIN stock ON stock.id = poured.stock_id
WHERE stock.left_ml IS NULL OR COALESCE(day > stock.left_seen_on, 1)"""

#: mL that were poured of a ``stock`` in all: no days are asked for of one that nobody looked at.
ALL_POURED = (
    "(SELECT sum(COALESCE(amount_ml, amount_g)) FROM lot_dye WHERE lot_dye.stock_id = stock.id)"
)

#: What is set aside now, to be continued by a condition; and each such measurement as ``m``.
ASIDE = "set_aside AS aside WHERE aside.taken_back_at IS NULL"
ASIDE_OF_FILED = (
    f"(SELECT * FROM {ASIDE}) AS aside CROSS JOIN filed_measurement AS m "
    "ON m.swatch_id = aside.swatch_id AND m.photo_id = aside.photo_id"
)


#: Names of views that earlier programs made and this one does not.
FORMER_VIEWS: tuple[str, ...] = ()

VIEWS: Mapping[str, str] = {
    "filed_measurement": """CREATE VIEW filed_measurement AS
SELECT measurement.*, layout.photo_id,
    (SELECT sha256 FROM photo WHERE photo.id = layout.photo_id) AS photo_sha256,
    (SELECT provenance FROM correction WHERE correction.id = measurement.correction_id)
        AS provenance
FROM measurement JOIN layout ON layout.id = measurement.layout_id
WHERE measurement.superseded_by IS NULL AND layout.superseded_by IS NULL""",
    # Whatever counts is asked of this view; only filing and what lists figures ask the one above.
    "current_measurement": f"""CREATE VIEW current_measurement AS
SELECT filed.* FROM filed_measurement AS filed WHERE NOT EXISTS (SELECT 1 FROM {ASIDE}
    AND aside.photo_id = filed.photo_id AND aside.swatch_id = filed.swatch_id)""",
    "measurements_set_aside": f"""CREATE VIEW measurements_set_aside AS
SELECT swatch.label AS swatch, photo.original_name AS photo, m.region, aside.reason,
    aside.set_aside_at, m.lab_l, m.lab_a, m.lab_b, photo.taken_at, photo.sha256 AS photo_sha256,
    m.id AS measurement_id, m.swatch_id
FROM {ASIDE_OF_FILED}
JOIN photo ON photo.id = m.photo_id JOIN swatch ON swatch.id = m.swatch_id""",
    "colours": f"""CREATE VIEW colours AS
SELECT swatch.label AS swatch, colourway.name AS colourway, base.name AS base, lot.code AS lot,
    skein.label AS skein, swatch.form, COALESCE(m.dry, swatch.dry) AS dry,
    m.lab_l, m.lab_a, m.lab_b, {variance_total(0)} AS variance_l,
    {variance_total(1)} AS variance_a, {variance_total(2)} AS variance_b,
    m.reference, {_FLAGS} AS flags, m.shadow_sd, m.clipped_share,
    photo.taken_at, setup.name AS setup, setup.locked, COALESCE(photo.light, setup.light) AS light,
    m.region, photo.sha256 AS photo_sha256, m.version, m.measured_at, m.id AS measurement_id,
    swatch.id AS swatch_id
FROM current_measurement AS m
JOIN photo ON photo.id = m.photo_id
JOIN swatch ON swatch.id = m.swatch_id
JOIN base ON base.id = swatch.base_id
LEFT JOIN setup ON setup.id = photo.setup_id
LEFT JOIN lot ON lot.id = swatch.lot_id
LEFT JOIN skein ON skein.id = swatch.skein_id
LEFT JOIN colourway ON colourway.id = lot.colourway_id""",
    "latest_colours": f"""CREATE VIEW latest_colours AS
SELECT colours.*, spoken.place FROM ({placed()}) AS spoken
JOIN colours ON colours.measurement_id = spoken.id WHERE spoken.place = 1""",
    "current_masters": f"""CREATE VIEW current_masters AS
SELECT colourway.name AS colourway, base.name AS base, ranked.form, swatch.label AS swatch,
    ranked.tolerance, ranked.k_l, ranked.since, ranked.reason,
    even.unevenness, even.u_unevenness, even.tolerance AS evenness_tolerance,
    ranked.id AS master_id, ranked.swatch_id, ranked.colourway_id, ranked.base_id
FROM (SELECT master.*, row_number() OVER (PARTITION BY colourway_id, base_id, form
    ORDER BY since DESC, id DESC) AS newest FROM master) AS ranked
JOIN colourway ON colourway.id = ranked.colourway_id
JOIN base ON base.id = ranked.base_id
JOIN swatch ON swatch.id = ranked.swatch_id
LEFT JOIN master_evenness AS even ON even.id = (SELECT max(stated.id) FROM master_evenness AS stated
    JOIN master AS told ON told.id = stated.master_id WHERE told.swatch_id = ranked.swatch_id
    AND told.colourway_id = ranked.colourway_id AND told.base_id = ranked.base_id
    AND told.form = ranked.form)
WHERE ranked.newest = 1 AND {still_of("ranked")}""",
    "lots_against_master": """CREATE VIEW lots_against_master AS
SELECT held.colourway, held.base, held.form, lot.code AS lot, lot.dyed_on, swatch.label AS swatch,
    held.swatch AS master_swatch, held.tolerance, held.k_l,
    given.verdict AS last_verdict, round(given.delta_e_00, 2) AS delta_e_00,
    round(given.u_reading, 2) AS u_reading, given.words AS which_way,
    round(given.delta_l, 2) AS delta_l, round(given.delta_c, 2) AS delta_c,
    round(given.delta_h, 2) AS delta_h, given.capture AS photos, given.checked_at,
    tonal.verdict AS last_evenness
FROM current_masters AS held
JOIN lot ON lot.colourway_id = held.colourway_id
JOIN swatch ON swatch.lot_id = lot.id AND +swatch.base_id = held.base_id
    AND +swatch.form = held.form AND swatch.id <> held.swatch_id
LEFT JOIN lot_check AS given ON given.id = (SELECT id FROM lot_check AS c
    WHERE c.swatch_id = swatch.id AND c.master_swatch_id = held.swatch_id
    ORDER BY c.id DESC LIMIT 1)
LEFT JOIN evenness_check AS tonal ON tonal.lot_check_id = given.id""",
    "checks_given": """CREATE VIEW checks_given AS
SELECT c.checked_at, lot.code AS lot, swatch.label AS swatch, held.label AS master_swatch,
    c.verdict, c.delta_e_00, c.tolerance, c.k_l, c.delta_l, c.delta_c, c.delta_h, c.u_reading,
    c.u_at_tolerance, c.capture, c.same_dyes, c.words, c.id AS lot_check_id
FROM lot_check AS c
JOIN swatch ON swatch.id = c.swatch_id
JOIN swatch AS held ON held.id = c.master_swatch_id
LEFT JOIN lot ON lot.id = c.lot_id""",
    **EVENNESS_VIEWS,
    "lots": f"""CREATE VIEW lots AS
SELECT lot.code AS lot, colourway.name AS colourway, {_BASES} AS bases, lot.dyed_on,
    CASE WHEN lot.dyed_on IS NULL THEN {DAY_OF_LOT} END AS first_photo_on,
    recipe.version AS recipe_version, lot.dry_g, lot.liquor_ml,
    round(lot.liquor_ml / lot.dry_g, 1) AS liquor_ratio, lot.water, earlier.code AS overdyes,
    (SELECT count(*) FROM skein WHERE skein.lot_id = lot.id) AS skeins,
    (SELECT count(*) FROM swatch WHERE swatch.lot_id = lot.id) AS swatches, lot.note,
    lot.id AS lot_id
FROM lot
LEFT JOIN colourway ON colourway.id = lot.colourway_id
LEFT JOIN recipe ON recipe.id = lot.recipe_id
LEFT JOIN lot AS earlier ON earlier.id = lot.overdyes_lot_id""",
    "skeins": f"""CREATE VIEW skeins AS
SELECT lot.code AS lot, skein.label AS skein, colourway.name AS colourway, base.name AS base,
    base_lot.label AS base_lot, skein.grams_in, skein.grams_out,
    round(100.0 * (skein.grams_in - COALESCE(skein.grams_out, {_PIECES_OUT})) / skein.grams_in, 2)
    AS lost_percent,
    before_lot.code AS was_lot, before.label AS was_skein, skein.note, skein.id AS skein_id
FROM skein
JOIN lot ON lot.id = skein.lot_id
JOIN base ON base.id = skein.base_id
LEFT JOIN colourway ON colourway.id = lot.colourway_id
LEFT JOIN base_lot ON base_lot.id = skein.base_lot_id
LEFT JOIN skein AS before ON before.id = skein.from_skein_id
LEFT JOIN lot AS before_lot ON before_lot.id = before.lot_id""",
    "recipes": """CREATE VIEW recipes AS
SELECT colourway.name AS colourway, base.name AS base, recipe.version,
    parent.version AS from_version, part.name AS part, part.share_percent, dye.name AS dye,
    line.depth_percent, recipe.note, recipe.id AS recipe_id
FROM recipe
JOIN colourway ON colourway.id = recipe.colourway_id
JOIN base ON base.id = recipe.base_id
LEFT JOIN recipe AS parent ON parent.id = recipe.parent_id
LEFT JOIN recipe_part AS part ON part.recipe_id = recipe.id
LEFT JOIN recipe_dye AS line ON line.recipe_part_id = part.id
LEFT JOIN dye ON dye.id = line.dye_id
ORDER BY colourway.name, base.name, recipe.version, part.position, line.position""",
    "recipe_plans": """CREATE VIEW recipe_plans AS
SELECT colourway.name AS colourway, base.name AS base, recipe.version, part.name AS part,
    step.position AS step, step.kind, step.amount, step.temperature_c, step.minutes, step.note,
    recipe.id AS recipe_id
FROM recipe_step AS step
JOIN recipe_part AS part ON part.id = step.recipe_part_id
JOIN recipe ON recipe.id = part.recipe_id
JOIN colourway ON colourway.id = recipe.colourway_id
JOIN base ON base.id = recipe.base_id
ORDER BY colourway.name, base.name, recipe.version, part.position, step.position""",
    "pot_logs": """CREATE VIEW pot_logs AS
SELECT lot.code AS lot, step.position AS step, step.at, step.kind, step.amount, step.amount_g,
    step.amount_ml, step.temperature_c, step.minutes, step.ph, step.colour_left,
    step.colour_left_percent, step.note, lot.id AS lot_id
FROM pot_step AS step JOIN lot ON lot.id = step.lot_id
ORDER BY lot.dyed_on, lot.code, step.position""",
    "dyes_used": f"""CREATE VIEW dyes_used AS
SELECT lot.code AS lot, colourway.name AS colourway, lot.dyed_on, dye.name AS dye,
    pack.code AS pack, stock.code AS stock, used.amount, used.amount_ml, used.amount_g,
    used.dye_g, lot.dry_g,
    100.0 * used.dye_g / lot.dry_g AS depth_percent,
    (SELECT sum(line.depth_percent * part.share_percent / 100.0) FROM recipe_part AS part
        JOIN recipe_dye AS line ON line.recipe_part_id = part.id
        WHERE part.recipe_id = lot.recipe_id AND line.dye_id = used.dye_id)
        AS planned_depth_percent,
    lot.id AS lot_id
FROM {GONE_IN} AS used
JOIN lot ON lot.id = used.lot_id
JOIN dye ON dye.id = used.dye_id
LEFT JOIN colourway ON colourway.id = lot.colourway_id
LEFT JOIN stock ON stock.id = used.stock_id
LEFT JOIN dye_pack AS pack ON pack.id = COALESCE(used.dye_pack_id, stock.dye_pack_id)
ORDER BY lot.dyed_on, lot.code, used.position""",
    "shades_made": f"""CREATE VIEW shades_made AS
SELECT lot.code AS lot, colourway.name AS colourway, {_BASES} AS bases, lot.dyed_on,
    (SELECT group_concat(dye || ' ' || COALESCE(round(depth_percent, 3) || ' %', '?'), ', ')
        FROM dyes_used WHERE dyes_used.lot_id = lot.id) AS dyes,
    (SELECT CASE WHEN count(*) = count(dye_g) THEN 100.0 * sum(dye_g) / lot.dry_g END
        FROM {GONE_IN} AS used WHERE used.lot_id = lot.id) AS depth_percent,
    swatch.label AS swatch, swatch.form, m.lab_l, m.lab_a, m.lab_b, {_FLAGS} AS flags
FROM lot
LEFT JOIN colourway ON colourway.id = lot.colourway_id
LEFT JOIN swatch ON swatch.lot_id = lot.id AND EXISTS (SELECT 1 FROM current_measurement AS seen
    WHERE seen.swatch_id = swatch.id)
LEFT JOIN measurement AS m ON m.id = {speaks_for("swatch.id")}""",
    "stocks": f"""CREATE VIEW stocks AS
SELECT dye.name AS dye, stock.code AS stock, pack.code AS pack,
    100.0 * stock.grams / stock.made_up_to_ml AS strength_percent, stock.grams,
    stock.made_up_to_ml, stock.mixed_on, stock.left_ml AS left_seen_ml, stock.left_seen_on,
    COALESCE(stock.left_ml, stock.made_up_to_ml) - COALESCE(CASE WHEN stock.left_ml IS NULL
        THEN {ALL_POURED} ELSE (SELECT sum(ml) FROM ({POURED}) WHERE stock_id = stock.id) END, 0)
        AS left_ml,
    stock.note, stock.id AS stock_id
FROM stock
JOIN dye ON dye.id = stock.dye_id
LEFT JOIN dye_pack AS pack ON pack.id = stock.dye_pack_id""",
    "photos": """CREATE VIEW photos AS
SELECT photo.original_name AS photo, photo.taken_at, photo.camera, photo.width, photo.height,
    photo.format, photo.encoding, setup.name AS setup, COALESCE(photo.light, setup.light) AS light,
    setup.locked, layout.located,
    (SELECT group_concat(swatch, ', ') FROM colours WHERE colours.photo_sha256 = photo.sha256)
        AS swatches,
    (SELECT group_concat(swatch, ', ') FROM measurements_set_aside AS aside
        WHERE aside.photo_sha256 = photo.sha256) AS set_aside,
    photo.note, photo.added_at, photo.sha256
FROM photo
LEFT JOIN setup ON setup.id = photo.setup_id
LEFT JOIN layout ON layout.photo_id = photo.id AND layout.superseded_by IS NULL""",
    "undyed_over_time": """CREATE VIEW undyed_over_time AS
SELECT colours.base, base_lot.label AS base_lot, base_lot.received_on, colours.swatch, colours.form,
    colours.taken_at, colours.lab_l, colours.lab_a, colours.lab_b, colours.setup, colours.flags
FROM colours
JOIN swatch ON swatch.id = colours.swatch_id
LEFT JOIN base_lot ON base_lot.id = swatch.base_lot_id
WHERE swatch.lot_id IS NULL
ORDER BY colours.base, COALESCE(colours.taken_at, colours.measured_at)""",
    "what_followed": """CREATE VIEW what_followed AS
SELECT 'recipe' AS kind, colourway.name || ' on ' || base.name AS name,
    'version ' || parent.version AS earlier, 'version ' || recipe.version AS later,
    recipe.added_at AS at
FROM recipe JOIN recipe AS parent ON parent.id = recipe.parent_id
JOIN colourway ON colourway.id = recipe.colourway_id JOIN base ON base.id = recipe.base_id
UNION ALL SELECT 'lot of a recipe', colourway.name || ' on ' || base.name,
    'version ' || recipe.version, lot.code, lot.dyed_on
FROM lot JOIN recipe ON recipe.id = lot.recipe_id
JOIN colourway ON colourway.id = recipe.colourway_id JOIN base ON base.id = recipe.base_id
UNION ALL SELECT 'overdyed lot', colourway.name, earlier.code, lot.code, lot.dyed_on
FROM lot JOIN lot AS earlier ON earlier.id = lot.overdyes_lot_id
LEFT JOIN colourway ON colourway.id = lot.colourway_id
UNION ALL SELECT 'skein', lot.code, before_lot.code || ' ' || before.label,
    lot.code || ' ' || skein.label, lot.dyed_on
FROM skein JOIN skein AS before ON before.id = skein.from_skein_id
JOIN lot ON lot.id = skein.lot_id JOIN lot AS before_lot ON before_lot.id = before.lot_id
UNION ALL SELECT 'master', colourway.name || ' on ' || base.name || ', ' || ranked.form,
    earlier.label, swatch.label, ranked.since
FROM (SELECT master.*, lag(swatch_id) OVER (PARTITION BY colourway_id, base_id, form
    ORDER BY since, id) AS earlier_id FROM master) AS ranked
JOIN colourway ON colourway.id = ranked.colourway_id JOIN base ON base.id = ranked.base_id
JOIN swatch ON swatch.id = ranked.swatch_id
JOIN swatch AS earlier ON earlier.id = ranked.earlier_id""",
}
