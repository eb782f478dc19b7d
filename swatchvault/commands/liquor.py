"""`liquor`: how much colour is left in the liquor, from photos of a glass of it against white."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from swatchvault.commands.find import print_json
from swatchvault.commands.options import (
    archive_option,
    json_option,
    light_option,
    need_archive,
    reference_options,
)
from swatchvault.commands.sums import say_caution
from swatchvault.days import when
from swatchvault.errors import CompareError, SwatchvaultError
from swatchvault.potwork import local_now
from swatchvault.typed_numbers import read_number

if TYPE_CHECKING:
    from ingest.liquor import LiquorCurve
    from ingest.model import Light, PhotoMeasurement, Settings
    from swatchvault.archive import Pot
    from swatchvault.liquor_looks import LiquorLook, LiquorLooks

FILE = click.Path(path_type=Path)
#: Standard uncertainty of a share up to which nothing more is asked for: 5 points in 95 of 100.
SURE = 0.025


@click.command("liquor")
@click.argument("photos", nargs=-1, required=True, type=FILE)
@click.option("--marks", type=FILE, help="Where things are, for one photo; see the README.")
@click.option(
    "--dilution", "dilutions", multiple=True, help='"start=10": made up to ten parts with water.'
)
@click.option("--lot", help="Store each reading as a look in this lot's log.")
@reference_options
@light_option
@archive_option
@json_option
def liquor_command(
    photos: tuple[Path, ...],
    marks: Path | None,
    dilutions: tuple[str, ...],
    lot: str | None,
    light: Light | None,
    archive_folder: Path | None,
    as_json: bool,
    **known: Any,
) -> None:
    """How much colour is left, from PHOTOS of a glass or spoon of liquor before white paper.

    Mark the liquor as "start", "hold 1" and so on, and bare white beside it as "white". "again",
    the start's glass once more, made up to two parts with water, makes it much surer; "clear", the
    glass with clear water, a little. Same glass, same depth, same light each time.

    A dilution is counted from the pot's own liquor. "again" counts as twice the start's: as 20 with
    --dilution start=10, if --dilution again=... does not say otherwise.
    """
    from ingest.liquor import read_liquor
    from swatchvault.commands.photos import make_settings, one_layout
    from swatchvault.liquor_looks import looks_in, remarks, start_is_missing

    settings = make_settings(known, light)
    layout = one_layout(marks, photos)
    seen = looks_in([_measured(path, layout, settings) for path in photos], _parts(dilutions))
    curve = read_liquor([s.look for s in seen.looks], clear=seen.clear, again=seen.again)
    stored: list[str] = []
    notes = [*remarks(seen, curve.readings)]
    if lot is not None and start_is_missing(seen):
        raise CompareError(f"nothing is stored in lot {lot}: {notes[0]}")
    if lot is not None:
        from swatchvault.archive import open_archive

        with open_archive(need_archive(archive_folder)) as archive:
            stored, past = _store(archive.conn, lot, seen, curve)
            notes += past
    if as_json:
        record = _record(seen, curve)
        print_json({**record, "warnings": [*record["warnings"], *notes], "stored": stored})
        return
    click.echo("\n".join([*_lines(seen, curve), *stored, *(f"! {n}" for n in notes)]))
    say_caution()


def _measured(path: Path, layout: Any, settings: Settings) -> PhotoMeasurement:
    """A photo's regions; without a reference the ratio to the white still tells something."""
    from dataclasses import replace

    from ingest.errors import ReferenceMissing
    from ingest.pipeline import measure_photo

    try:
        return measure_photo(path, layout=layout, settings=settings)
    except ReferenceMissing:
        bare = replace(settings, allow_uncorrected=True)
        return measure_photo(path, layout=layout, settings=bare)


def _parts(typed: tuple[str, ...]) -> dict[str, float]:
    parts = {}
    for text in typed:
        name, _, number = text.partition("=")
        parts[name.strip()] = read_number(
            number,
            f"the dilution of {name.strip()}",
            "write the look, = and the parts that one part was made up to, as start=10",
        )
    return parts


def _store(
    conn: sqlite3.Connection, lot: str, seen: LiquorLooks, curve: LiquorCurve
) -> tuple[list[str], list[str]]:
    """Each reading as a look of the pot's log; one of the same photo and region is corrected.

    What was done with each, and a note where the log had gone past its looks.
    """
    from swatchvault.archive import PotStep, edit_step, get_pot, record_step
    from swatchvault.liquor_looks import note_key, stored_left, stored_note

    pot = get_pot(conn, lot)
    before = {
        (d.step.note or "").partition(":")[0]: d.number for d in pot.steps if d.step.kind == "look"
    }
    lines, added = [], False
    for look, reading in zip(seen.looks, curve.readings, strict=True):
        left = stored_left(reading)
        if left is None:
            lines.append(f"{reading.name}: not stored in {pot.lot}, for it could not be read")
            continue
        note, number = stored_note(look, reading), before.get(note_key(look))
        if number is not None:
            edit_step(conn, lot, number, {"colour_left": left, "note": note})
            lines.append(f"{reading.name}: step {number} of {pot.lot}'s log corrected, {left} left")
            continue
        at, why = _when(look, pot.started_at)
        number = record_step(conn, lot, PotStep("look", at, colour_left=left, note=note))
        added = True
        lines.append(
            f"{reading.name}: stored as step {number} of {pot.lot}'s log, {left} left, at "
            f"{when(at)}{why}"
        )
    return lines, _gone_past(pot) if added else []


def _gone_past(pot: Pot) -> list[str]:
    """A note on a pot whose log had already come to the rinse, or so, before looks were added."""
    from swatchvault.liquor_looks import AFTER_LOOKS

    past = next((d for d in pot.steps if d.step.kind in AFTER_LOOKS), None)
    if past is None:
        return []
    at = f", {when(past.step.at)}" if past.step.at else ""
    return [
        f"{pot.lot}'s log goes on to {past.step.kind} (step {past.number}{at}): the new looks "
        "stand at its end, with the times given here. `swatchvault pot edit` corrects one."
    ]


def _when(look: LiquorLook, started_at: str | None) -> tuple[str, str]:
    """When the photo was taken if that fits the lot, else now, and then why."""
    from swatchvault.potclock import check_time, read_time

    now = local_now()
    today = now.isoformat(timespec="seconds")
    if look.taken_at is None:
        return today, " (the time now: the photo has none)"
    try:
        return check_time(read_time(look.taken_at, now), started_at, now), ""
    except SwatchvaultError:
        taken = when(look.taken_at)
        return today, f" (the time now: the photo says {taken}, which does not fit this lot)"


def _lines(seen: LiquorLooks, curve: LiquorCurve) -> list[str]:
    from swatchvault.liquor_looks import channel_words, start_is_missing

    lines = [f"! {w}" for w in seen.warnings]
    for look, reading in zip(seen.looks, curve.readings, strict=True):
        thin = look.look.dilution
        name = reading.name + (f" (diluted to {thin:g} parts)" if thin > 1 else "")
        if reading is curve.readings[0] and reading.word:
            if not start_is_missing(seen):
                lines.append(f"{name}: what the others are measured against")
            continue
        lines.append(f"{name}: {reading.words}")
        if words := channel_words(reading):
            lines.append(f"  by channel: {words} of the start")
        if reading.too_deep:
            lines.append(f'  then say --dilution "{reading.name}={reading.dilute_to_parts}"')
    for more, counted in zip(seen.again, curve.again_read, strict=True):
        words = _again_words(counted, curve)
        lines.append(f"{more.name} (diluted to {more.dilution:g} parts): {words}")
    if not seen.again and any(r.u_share > SURE for r in curve.readings):
        lines.append(
            "! To be surer, photograph the start once more made up to two parts with water, and "
            'mark it "again".'
        )
    return [*lines, *([f"! {curve.words}"] if curve.words else [])]


def _again_words(counted: bool, curve: LiquorCurve) -> str:
    if counted:
        return "the start once more, counted"
    if curve.readings[0].word:
        return "too deep to read, not counted: make it up to more parts, and say so with --dilution"
    return "not counted, for the start could not be read"


def _record(seen: LiquorLooks, curve: LiquorCurve) -> dict[str, Any]:
    from ingest.model import none_if_nan

    def known(values: tuple[float, ...]) -> list[float | None]:
        return [none_if_nan(v) for v in values]

    return {
        "readings": [
            {
                "name": r.name,
                "photo": look.photo,
                "taken_at": look.taken_at,
                "dilution": look.look.dilution,
                "share": none_if_nan(r.share),
                "u_share": none_if_nan(r.u_share),
                "word": r.word or None,
                "channels": dict(zip(("red", "green", "blue"), known(r.channels), strict=True)),
                "u_channels": dict(zip(("red", "green", "blue"), known(r.u_channels), strict=True)),
                "too_deep": r.too_deep,
                "dilute_to_parts": r.dilute_to_parts,
                "words": r.words,
            }
            for look, r in zip(seen.looks, curve.readings, strict=True)
        ],
        "clear_glass": seen.clear is not None,
        "start_again": [look.dilution for look in seen.again],
        "start_again_read": list(curve.again_read),
        "together": curve.together,
        "words": curve.words,
        "warnings": list(seen.warnings),
    }
