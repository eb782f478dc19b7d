"""Set-ups, and references that the dyer owns."""

from __future__ import annotations

import sqlite3
from dataclasses import replace

from swatchvault.archive.entities import OwnedReference, Setup
from swatchvault.archive.mend_reference import clash_words
from swatchvault.archive.names import find
from swatchvault.archive.owned_values import refuse_impossible
from swatchvault.archive.rows import Entry, put, transaction
from swatchvault.archive.values import clean, named, to_json, yes_no
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
    """Store a card, steps or chart that the dyer owns; other values are another reference, so that
    the same name with such raises :class:`ArchiveError`."""
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
