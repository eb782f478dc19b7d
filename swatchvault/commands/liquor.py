"""`liquor`: how much colour is left in the liquor, from photos of a glass of it against white."""

from __future__ import annotations

from dataclasses import replace
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
from swatchvault.typed_numbers import read_number

if TYPE_CHECKING:
    from ingest.liquor import LiquorCurve
    from ingest.model import Light
    from swatchvault.liquor_looks import LiquorLooks

FILE = click.Path(path_type=Path)


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
    from ingest.pipeline import measure_photo
    from swatchvault.commands.photos import make_settings, one_layout
    from swatchvault.liquor_looks import read_glasses, remarks

    # Without a reference the ratio to the white still tells something.
    settings = replace(make_settings(known, light), allow_uncorrected=True)
    layout = one_layout(marks, photos)
    measured = [measure_photo(path, layout=layout, settings=settings) for path in photos]
    seen, curve = read_glasses(measured, _parts(dilutions))
    stored: list[str] = []
    notes = [*remarks(seen, curve.readings)]
    if lot is not None:
        from swatchvault.archive import open_archive
        from swatchvault.liquor_log import keep_looks

        with open_archive(need_archive(archive_folder)) as archive:
            stored, past = keep_looks(archive.conn, lot, seen, curve)
            notes += past
    if as_json:
        record = _record(seen, curve)
        print_json({**record, "warnings": [*record["warnings"], *notes], "stored": stored})
        return
    click.echo("\n".join([*_lines(seen, curve), *stored, *(f"! {n}" for n in notes)]))
    say_caution()


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


def _lines(seen: LiquorLooks, curve: LiquorCurve) -> list[str]:
    from swatchvault.liquor_words import again_told, hints, looks_told

    lines = [f"! {w}" for w in seen.warnings]
    for told, reading in zip(looks_told(seen, curve), curve.readings, strict=True):
        lines += [f"{told.name}: {told.words}"] if told.words else []
        lines += [f"  {told.channels}"] if told.channels else []
        if told.dilute_to_parts:
            lines.append(f'  then say --dilution "{reading.name}={told.dilute_to_parts}"')
    lines += [f"{told.name}: {told.words}" for told in again_told(seen, curve)]
    return [*lines, *(f"! {hint}" for hint in hints(seen, curve))]


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
