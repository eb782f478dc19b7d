"""A card's data from a photo, and from the archive: figures as stored, pictures from the photo."""

from __future__ import annotations

import math
import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from ingest.evenness_map import EvennessMap, look_closely, region_picture
from ingest.locate import mm_per_px
from ingest.measure import measure_region
from ingest.model import Array, Settings
from ingest.pipeline import Prepared, prepare_file
from ingest.tonality import METHOD
from swatchvault.archive import (
    Archive,
    StoredColour,
    SwatchFacts,
    colours,
    current_master,
    eye_rule,
    reference_of_setup,
    swatch_facts,
    swatches_of_colourway,
    tells_evenness,
)
from swatchvault.archive.eye import EyeRule, word_for
from swatchvault.archive.originals import original_of
from swatchvault.by_eye import as_told, class_by
from swatchvault.colour_words import photos_words
from swatchvault.days import photo_when
from swatchvault.errors import SwatchvaultError
from swatchvault.evenness_read import Evenness
from swatchvault.filing import with_owned
from swatchvault.naming import measured_swatch
from swatchvault.tonal_card import Card, peer_lines
from swatchvault.tonal_peers import OwnForms, Peer, Peers, beside

#: Long side in pixels of the picture that a card is given.
PICTURE_SIDE = 900


@dataclass(frozen=True, eq=False)
class Shown:
    """One swatch of a photo as a card shows it. ``record``: its tonality, or None."""

    record: Mapping[str, Any] | None
    flags: frozenset[str]
    map: EvennessMap | None
    picture: Array


def shown(ready: Prepared, index: int, settings: Settings) -> Shown:
    """A swatch measured for its flags, and looked at for its maps."""
    region, photo = ready.layout.swatches[index], ready.photo
    scale = mm_per_px(ready.layout, region, photo.width, photo.height)
    measured = measure_region(photo, region, ready.correction, settings, scale)
    look = look_closely(photo, region, ready.correction, scale, measured.clipped_share)
    picture = region_picture(photo, region.polygon, ready.correction, PICTURE_SIDE)
    flags = measured.flags | photo.flags
    return Shown(measured.tonality, flags, look.map, picture)


def card_of_swatch(archive: Archive, label: str) -> Card:
    """The card of a stored swatch: figures of the photo that tells how even it
    is, as stored."""
    conn = archive.conn
    photos = measured_swatch(conn, label)
    (stored,) = tells_evenness(conn, photos).values()
    label = stored.swatch
    facts = swatch_facts(conn, label)
    picture, found, notes = _pictures(archive, stored)
    rule = eye_rule(conn)
    record = as_told(stored.tonality, stored.flags, rule)
    notes = (*told_from(photos, stored), *notes)
    if record is not None and record["method"] != METHOD:
        notes = (
            *notes,
            f"Its figures were measured by {record['method']}; the map is by {METHOD}: "
            "`swatchvault remeasure` brings them together.",
        )
    lot = f"lot {facts.lot}" if facts.lot else None
    day = facts.dyed_on or (stored.taken_at or "")[:10]
    of = tuple(p for p in (facts.colourway, facts.base, lot, day) if p)
    peers = _peers_of(conn, stored, rule)
    seen = (record, stored.flags, found, picture)
    named = word_for(conn, stored.swatch_id)
    return Card(label, of, stored.form, *seen, peers, notes, named)


def told_from(photos: Sequence[StoredColour], told: StoredColour) -> tuple[str, ...]:
    """Which photo of several tells how even a swatch is, as a sentence; none where there is one."""
    if len(photos) < 2:
        return ()
    at = photo_when(told.taken_at, told.added_at)
    return (
        f"Told from the photo {at}, of {photos_words([c.photo_sha256 for c in photos])} the one "
        "that leaves least doubt of how even it is.",
    )


def _pictures(
    archive: Archive, stored: StoredColour
) -> tuple[Array | None, EvennessMap | None, tuple[str, ...]]:
    """The corrected picture and the map, from the archive's photo; why not, where there is none."""
    try:
        original = original_of(archive, stored.measurement_id)
        settings = Settings(allow_uncorrected=True, search=False)  # the layout is as measured
        if original.setup_id is not None:
            owned = reference_of_setup(archive.conn, original.setup_id)
            settings = settings if owned is None else with_owned(settings, owned)
        ready = prepare_file(original.path, layout=original.layout, settings=settings)
    except (SwatchvaultError, ValueError) as error:
        return None, None, (f"No picture: {' '.join(str(error).split())}",)
    photo = ready.photo
    region = next((s for s in ready.layout.swatches if s.name == stored.region), None)
    if region is None:
        return None, None, ("No picture: the photo's marks do not name this region.",)
    scale = mm_per_px(ready.layout, region, photo.width, photo.height)
    look = look_closely(photo, region, ready.correction, scale, stored.clipped_share)
    picture = region_picture(photo, region.polygon, ready.correction, PICTURE_SIDE)
    return picture, look.map, ()


def beside_archive(
    conn: sqlite3.Connection,
    record: Mapping[str, Any] | None,
    flags: frozenset[str],
    form: str,
) -> Peers:
    """A swatch that is in no archive beside the semi-solids of one."""
    rule = eye_rule(conn)
    own = _evenness(record, flags, form, rule)
    return beside(own, (), list(_each(conn, colours(conn, form=form), rule).values()))


def lines_beside_earlier(conn: sqlite3.Connection, stored: StoredColour) -> list[str]:
    """How a stored swatch compares with earlier lots of its colourway, in a card's words, without
    a look at its photo or at other colourways."""
    rule = eye_rule(conn)
    peers = _peers_of(conn, stored, rule, others=False)
    record = as_told(stored.tonality, stored.flags, rule)
    return peer_lines(Card(stored.swatch, (), stored.form, record, stored.flags, peers=peers))


def _peers_of(
    conn: sqlite3.Connection, stored: StoredColour, rule: EyeRule | None, *, others: bool = True
) -> Peers:
    own = peer_of(stored, rule)
    photos: list[StoredColour] = []
    if others:
        photos = colours(conn)
    elif stored.colourway is not None:
        photos = colours(conn, colourway=stored.colourway, base=stored.base)
    every = _each(conn, photos, rule)
    family: list[SwatchFacts] = []
    if stored.colourway is not None:
        family = swatches_of_colourway(conn, stored.colourway, stored.base)
    earlier: list[Peer] = []
    for facts in family:
        if facts.lot_id == stored.lot_id:
            break
        if facts.swatch_id in every:
            earlier.append(replace(every[facts.swatch_id], when=facts.day, by_photo=facts.by_photo))
    rest = [p for k, p in every.items() if k != stored.swatch_id and p.lot != stored.lot]
    forms = _forms(conn, stored, family, every)
    return beside(own.evenness, earlier, rest if others else (), own.off_line, forms)


def _forms(
    conn: sqlite3.Connection,
    stored: StoredColour,
    family: Sequence[SwatchFacts],
    every: Mapping[int, Peer],
) -> OwnForms:
    """Forms of its lot's other swatches that can be compared, and of its colourway's masters."""
    of_lot: dict[str, Peer] = {}
    for facts in family:
        peer = every.get(facts.swatch_id)
        if facts.lot_id == stored.lot_id and peer is not None and peer.evenness.why_not is None:
            of_lot.setdefault(facts.form, peer)
    name, base = stored.colourway or "", stored.base
    held = {f for f in {s.form for s in family} if current_master(conn, name, base, f) is not None}
    return OwnForms(of_lot, frozenset(held))


def _each(
    conn: sqlite3.Connection, found: list[StoredColour], rule: EyeRule | None
) -> dict[int, Peer]:
    """Each swatch of these photos, by the one that tells how even it is."""
    return {swatch: peer_of(c, rule) for swatch, c in tells_evenness(conn, found).items()}


def _evenness(
    record: Mapping[str, Any] | None, flags: frozenset[str], form: str, rule: EyeRule | None
) -> Evenness:
    """How even it is, of the class that the rule in force gives; its figure was measured by what
    the program's own rule called it, and so were the two that it lies between."""
    found, told = Evenness.of_record(record, form, flags), class_by(record, flags, rule)
    return found if told is None else replace(found, kind=told.name)


def peer_of(stored: StoredColour, rule: EyeRule | None = None) -> Peer:
    """A stored measurement as something to be compared."""
    evenness = _evenness(stored.tonality, stored.flags, stored.form, rule)
    off = (stored.tonality or {}).get("off_light_line")
    when = (stored.taken_at or "")[:10] or None
    return Peer(stored.swatch, stored.lot, when, evenness, math.nan if off is None else float(off))
