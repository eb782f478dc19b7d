"""Views of evenness: what the photo of least doubt tells of each swatch, and the verdicts given."""

from __future__ import annotations

from collections.abc import Mapping

from ingest.evenness_stored import STOPPED_BY
from swatchvault.archive.speaking import placed_by_evenness


def _figure(name: str) -> str:
    return f"json_extract(m.tonality, '$.{name}') AS {name}"


_NUMBERS = ", ".join(
    _figure(name)
    for name in (
        *("unevenness", "u_unevenness"),
        *("off_light_line", "cell_unevenness", "strand_contrast", "patch_length", "dots_percent"),
    )
)


def _by_eye(m: str) -> str:
    return f"""FROM eye_class AS e WHERE e.measurement_id = {m}.id
    AND e.eye_rule_id = (SELECT max(id) FROM eye_rule WHERE undone_at IS NULL)"""


def class_of(m: str) -> str:
    """SQL: the class of a measurement ``m``, by the dyer's own rule where one is in force and can
    say; NULL where it has none."""
    return f"""(CASE WHEN EXISTS (SELECT 1 {_by_eye(m)}) THEN (SELECT e.class {_by_eye(m)})
    ELSE json_extract({m}.tonality, '$.class') END)"""


def class_words(m: str) -> str:
    """SQL: the class of a measurement ``m`` in words, with whose rule where it is the dyer's;
    "cannot tell" where it has none, NULL where nothing could be measured of it."""
    return (
        f"CASE WHEN {m}.tonality IS NULL THEN NULL WHEN EXISTS (SELECT 1 {_by_eye(m)}) "
        f"THEN COALESCE((SELECT e.class {_by_eye(m)}), 'cannot tell') || ', by the eye''s rule' "
        f"ELSE COALESCE(json_extract({m}.tonality, '$.class'), 'cannot tell') END"
    )


#: Said where a flag stops the class, whatever two classes the figures lie between.
NOT_JUDGED = "cannot be judged in this photo"
_STOPPED = (
    "EXISTS (SELECT 1 FROM json_each(m.flags) WHERE value IN ("
    + ", ".join(f"'{flag}'" for flag in sorted(STOPPED_BY))
    + "))"
)

#: The query of the view, also asked as it stands: an archive's views are made with its schema.
HOW_EVEN = f"""SELECT swatch.label AS swatch, colourway.name AS colourway, base.name AS base,
    lot.code AS lot, swatch.form, json_extract(m.tonality, '$.class') AS class,
    CASE WHEN m.tonality IS NULL OR json_extract(m.tonality, '$.class') IS NOT NULL THEN NULL
        WHEN {_STOPPED} THEN '{NOT_JUDGED}'
        ELSE (SELECT group_concat(value, ' or ') FROM json_each(m.tonality, '$.between'))
        END AS cannot_tell,
    CASE WHEN by_eye.measurement_id IS NOT NULL THEN COALESCE(by_eye.class, 'cannot tell') END
        AS by_your_eyes_rule, named.class AS you_named_it, {_NUMBERS},
    json_extract(m.tonality, '$.range[0]') AS range_low,
    json_extract(m.tonality, '$.range[1]') AS range_high,
    json_array_length(m.tonality, '$.palette') AS colours,
    json_extract(m.tonality, '$.method') AS method, photo.taken_at, m.id AS measurement_id,
    swatch.id AS swatch_id
FROM ({placed_by_evenness()}) AS spoken
JOIN measurement AS m ON m.id = spoken.id
JOIN layout ON layout.id = m.layout_id
JOIN photo ON photo.id = layout.photo_id
JOIN swatch ON swatch.id = spoken.swatch_id
JOIN base ON base.id = swatch.base_id
LEFT JOIN lot ON lot.id = swatch.lot_id
LEFT JOIN colourway ON colourway.id = lot.colourway_id
LEFT JOIN named_class AS named ON named.swatch_id = swatch.id AND named.superseded_by IS NULL
LEFT JOIN eye_class AS by_eye ON by_eye.measurement_id = m.id AND by_eye.eye_rule_id = (
    SELECT id FROM eye_rule WHERE undone_at IS NULL ORDER BY id DESC LIMIT 1)
WHERE spoken.place = 1"""

EVENNESS_VIEWS: Mapping[str, str] = {
    "how_even": f"CREATE VIEW how_even AS\n{HOW_EVEN}",
    "evenness_checks_given": """CREATE VIEW evenness_checks_given AS
SELECT c.checked_at, lot.code AS lot, swatch.label AS swatch, held.label AS master_swatch,
    given.verdict, given.unevenness, given.u_unevenness, stated.unevenness AS master_unevenness,
    stated.u_unevenness AS u_master_unevenness, given.tolerance, given.p_as, given.p_more,
    given.p_less, given.method, given.words, given.lot_check_id
FROM evenness_check AS given
JOIN lot_check AS c ON c.id = given.lot_check_id
JOIN master_evenness AS stated ON stated.id = given.master_evenness_id
JOIN swatch ON swatch.id = c.swatch_id
JOIN swatch AS held ON held.id = c.master_swatch_id
LEFT JOIN lot ON lot.id = c.lot_id""",
}
