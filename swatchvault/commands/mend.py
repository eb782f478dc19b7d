"""`mend`: a fact that was typed wrong, put right; a thing made by a slip, let go."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from swatchvault import kinds
from swatchvault.commands.options import (
    GRAMS,
    MILLILITRES,
    NUMBER,
    WHOLE,
    archive_option,
    json_option,
    need_archive,
)

FILE = click.Path(path_type=Path, dir_okay=False)
KINDS = ["stock", "swatch", "lot", "base", "colourway", "reference", "setup", "dye", "recipe"]

if TYPE_CHECKING:
    from swatchvault.archive import Archive


@click.command("mend")
@click.argument("kind", type=click.Choice(KINDS))
@click.argument("name")
@click.option("--grams", type=GRAMS, help="Of a stock: powder in it, g.")
@click.option("--made-up-to-ml", type=MILLILITRES, help="Of a stock: what it was made up to, mL.")
@click.option("--mixed-on", help="Of a stock: the day it was mixed, as 2026-03-01.")
@click.option("--pack", help="Of a stock: the pack of its dye that it was mixed from.")
@click.option("--form", type=click.Choice(kinds.FORMS), help="Of a swatch: its form.")
@click.option("--base", help="Of a swatch: the base it is on; its skein and lot go along.")
@click.option("--lot", help="Of a swatch that was kept as undyed yarn: the lot it is of.")
@click.option("--dyed-on", help="Of a lot: the day it was dyed, as 2026-03-01.")
@click.option("--dry-g", type=GRAMS, help="Of a lot: dry weight of the goods, g.")
@click.option("--colourway", help="Of a lot: its colourway.")
@click.option("--fibres", help='Of a base: all of them, as "80 % wool, 20 % silk".')
@click.option("--price-per-kg", type=NUMBER, help="Of a base: its price.")
@click.option("--superwash", type=click.Choice(["yes", "no"]), help="Of a base.")
@click.option("--y", help="Of a reference: what the card or steps reflect, as of `reference`.")
@click.option("--lab", type=NUMBER, nargs=3, help="Of a reference: a card's L* a* b* under D50.")
@click.option("--values", type=FILE, help="Of a reference: a CSV of the chart's 24 L*,a*,b*.")
@click.option("--edition", type=click.Choice(kinds.EDITIONS))
@click.option("--tolerance", type=NUMBER, help="Of a reference: tolerance of its values, ΔE00.")
@click.option("--source", help="Of a reference: where its values are from.")
@click.option("--light", type=click.Choice(kinds.LIGHTS), help="Of a set-up: its light.")
@click.option(
    "--locked/--settings-free", default=None, help="Of a set-up: if the camera is locked."
)
@click.option(
    "--yes", "sure", is_flag=True, help="Also where a master, verdicts or photos hang on it."
)
@click.option(
    "--remove",
    is_flag=True,
    help="Let a base, colourway, lot, swatch, dye, stock or recipe go that nothing rests on.",
)
@click.option("--version", type=WHOLE, help="Of a recipe, which NAME's colourway has: which goes.")
@click.option("--of", "owner", help="The dye of a stock, or the base of a recipe.")
@archive_option
@json_option
def mend_command(
    kind: str,
    name: str,
    owner: str | None,
    sure: bool,
    remove: bool,
    version: int | None,
    archive_folder: Path | None,
    as_json: bool,
    **facts: Any,
) -> None:
    """Put right what was typed wrong of the stock, swatch, lot, base, reference or set-up NAME, or
    let the swatch, lot, base, colourway, dye, stock or a version of the recipe NAME go.

    Dye that went into lots from a stock is worked out anew from its strength. A swatch that is a
    master or was checked keeps its form, and one that has a lot its lot. Where a master or verdicts
    hang on a swatch's base or a lot's colourway, what would change is told first, and done with
    --yes. --remove takes out what nothing belongs to, and else says what does; a dye's packs go
    with it, and of a recipe --of says the base and --version which. Photos that were
    read by a reference keep their figures until `swatchvault remeasure --reference NAME`. Photos
    that say the light of their set-up go along with it, and are measured anew by `swatchvault
    remeasure --setup NAME`. For names there is `swatchvault rename`; what went into a pot is mended
    by `swatchvault pot edit`, all else by telling the notes again.
    """
    from swatchvault.archive import open_archive
    from swatchvault.days import past_day

    told = {field: value for field, value in facts.items() if value is not None}
    if kind == "reference":
        said, lines = _reference(need_archive(archive_folder), name, told, owner, remove, sure)
        click.echo(json.dumps(said, ensure_ascii=False) if as_json else "\n".join(lines))
        return
    for field in ("mixed_on", "dyed_on"):
        if field in told:
            told[field] = past_day(told[field], f"--{field.replace('_', '-')}")
    _refuse_strange(kind, told, remove)
    if owner is not None and kind not in ("stock", "recipe"):
        raise click.UsageError(f"--of goes with stock and recipe: a {kind}'s name is the only one")
    if (version is not None) != (kind == "recipe") or (kind == "recipe" and owner is None):
        raise click.UsageError("--version goes with recipe, which needs it and --of its base")
    if kind == "setup":
        said, lines = _setup(need_archive(archive_folder), name, told, sure)
        click.echo(json.dumps(said, ensure_ascii=False) if as_json else "\n".join(lines))
        return
    with open_archive(need_archive(archive_folder)) as archive:
        said, lines = (
            _let_go(archive, kind, name, owner, version)
            if remove
            else _put_right(archive, kind, (name, owner), told, sure)
        )
    click.echo(json.dumps(said, ensure_ascii=False) if as_json else "\n".join(lines))


_OF_REFERENCE = ("y", "lab", "values", "edition", "tolerance", "source")


def _reference(
    folder: Path,
    name: str,
    told: Mapping[str, Any],
    owner: str | None,
    remove: bool,
    sure: bool,
) -> tuple[dict[str, Any], list[str]]:
    from swatchvault.archive import OwnedReference, get_reference, open_archive
    from swatchvault.archive.mend_reference import mend_reference, stated_words
    from swatchvault.typed_numbers import lightest_first, read_values, reflectances

    values = [k for k in ("y", "lab", "values") if k in told]
    if owner or remove or not told or len(values) > 1 or not set(told) <= set(_OF_REFERENCE):
        options = ", ".join(f"--{o}" for o in _OF_REFERENCE)
        raise click.UsageError(f"of a reference can be mended: {options}; its values in one way")
    with open_archive(folder) as archive:
        kind = get_reference(archive.conn, name).kind
        y = reflectances(told["y"], kind) if "y" in told else None
        lab = (told["lab"],) if "lab" in told else None
        done = mend_reference(
            archive.conn,
            OwnedReference(
                name,
                kind,
                y=lightest_first(y) if y else None,
                lab_d50=read_values(told["values"]) if "values" in told else lab,
                edition=told.get("edition"),
                tolerance_delta_e=told.get("tolerance"),
                source=told.get("source"),
            ),
            sure=sure,
        )
    change = {"field": "values", "old": stated_words(done.old), "new": stated_words(done.new)}
    told_all = {"kind": "reference", "name": done.name, "changes": [change] if done.changed else []}
    rest = {"amounts": 0, "lots": 0, "also": done.lines[1:], "removed": False}
    return {**told_all, **rest}, done.lines


def _setup(
    folder: Path, name: str, told: Mapping[str, Any], sure: bool
) -> tuple[dict[str, Any], list[str]]:
    from swatchvault.archive import open_archive
    from swatchvault.archive.mend_setup import mend_setup

    with open_archive(folder) as archive:
        done = mend_setup(archive.conn, name, **told, sure=sure)
    changes = [{"field": f, "old": old, "new": new} for f, old, new in done.changes]
    told_all = {"kind": "setup", "name": done.name, "changes": changes}
    rest = {"amounts": 0, "lots": 0, "also": done.lines[1:], "removed": False}
    return {**told_all, **rest}, done.lines


def _refuse_strange(kind: str, told: Mapping[str, Any], remove: bool) -> None:
    from swatchvault.archive.let_go import KINDS
    from swatchvault.archive.rows import MENDABLE

    fields = MENDABLE.get(kind, ())
    if remove and not told and kind in KINDS:
        return
    if remove or not told or any(field not in fields for field in told):
        options = ["--" + field.replace("_", "-") for field in fields]
        options += ["--settings-free"] if kind == "setup" else []
        options += ["--remove, alone"] if kind in KINDS else []
        raise click.UsageError(f"of a {kind} can be mended: {', '.join(options)}")


def _let_go(
    archive: Archive, kind: str, name: str, owner: str | None, version: int | None
) -> tuple[dict[str, Any], list[str]]:
    from swatchvault.archive.let_go import let_go
    from swatchvault.archive.recipes import recipe_id_of
    from swatchvault.archive.rename import id_of

    conn = archive.conn
    number = (
        id_of(conn, kind, name, owner)
        if version is None
        else recipe_id_of(conn, name, owner or "", version)
    )
    gone = let_go(conn, kind, number)
    lines = [
        f"{kind} {gone.name!r} is gone: nothing belonged to it",
        *gone.lines,
        "take it out of studio.toml or photos.csv too: notes that name it make it again",
    ]
    return {"kind": kind, "name": gone.name, "removed": True}, lines


def _put_right(
    archive: Archive, kind: str, name: tuple[str, str | None], told: Mapping[str, Any], sure: bool
) -> tuple[dict[str, Any], list[str]]:
    from swatchvault.archive.doubts import doubts, new_doubts
    from swatchvault.archive.mend import mend
    from swatchvault.archive.rename import id_of

    before = doubts(archive.conn)
    done = mend(archive.conn, kind, id_of(archive.conn, kind, *name), told, sure=sure)
    notes = new_doubts(archive.conn, before)
    changes = [{"field": f, "old": old, "new": new} for f, old, new in done.changes]
    return {**asdict(done), "changes": changes, "removed": False}, [*done.lines, *notes]
