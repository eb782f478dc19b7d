"""Set-ups, references that the dyer owns, and what repeat photos taught."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from swatchvault.archive.entities import OwnedReference, Setup
from swatchvault.archive.mend_reference import clash_words
from swatchvault.archive.names import find
from swatchvault.archive.owned_values import refuse_impossible
from swatchvault.archive.rows import Entry, insert, put, transaction
from swatchvault.archive.values import clean, named, now, to_json, yes_no
from swatchvault.errors import ArchiveError


def add_setup(conn: sqlite3.Connection, setup: Setup) -> Entry:
    """Store a set-up. Doubt hangs on its lock and light: these are an error where they differ."""
    reference = clean(setup.reference, "reference")
    with transaction(conn):
        facts = {
            "phone": clean(setup.phone, "phone"),
            "light": clean(setup.light, "light"),
            "locked": yes_no(setup.locked),
            "reference_id": find(conn, "reference", reference) if reference else None,
            "note": clean(setup.note, "note"),
        }
        key = {"name": named(setup.name, "name of a set-up")}
        return put(conn, "setup", key, facts, ("light", "locked"))


def add_reference(conn: sqlite3.Connection, reference: OwnedReference) -> Entry:
    """Store a card, steps or chart that the dyer owns; other values are another reference."""
    refuse_impossible(reference)
    values = {"y": reference.y, "lab_d50": reference.lab_d50, "edition": reference.edition}
    known = {k: v for k, v in values.items() if v is not None}
    facts = {
        "kind": reference.kind,
        "known_values": to_json(known) if known else None,
        "tolerance_delta_e": reference.tolerance_delta_e,
        "source": clean(reference.source, "source"),
        "note": clean(reference.note, "note"),
    }
    with transaction(conn):
        key = {"name": named(reference.name, "name of a reference")}
        clash = clash_words(conn, replace(reference, name=key["name"]))
        if clash is not None:
            raise ArchiveError(clash)
        return put(conn, "reference", key, facts, ("kind", "known_values"))


def add_repeat_set(
    conn: sqlite3.Connection,
    setup_id: int,
    photos: Sequence[str],
    frame_variance: float,
    learned: Mapping[str, Any],
) -> int:
    """Keep what repeat photos of a set-up taught.

    ``frame_variance``: the mean of the three variances of a difference's frame part, at kL = 1.
    ``photos``: their sha256. ``learned``: how it was found, as plain data.
    """
    with transaction(conn):
        values = {
            "setup_id": setup_id,
            "learned_at": now(),
            "frame_variance": frame_variance,
            "learned": to_json(learned),
        }
        set_id = insert(conn, "repeat_set", values)
        for sha256 in photos:
            insert(conn, "repeat_photo", {"repeat_set_id": set_id, "photo_sha256": sha256})
    return set_id
