"""`revise`: the next version of a recipe, from the one before or from what a lot was given."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import TYPE_CHECKING

import click

from swatchvault.commands.making import pair
from swatchvault.commands.options import NUMBER, WHOLE, archive_option, need_archive
from swatchvault.commands.sums import say_caution
from swatchvault.errors import ArchiveError
from swatchvault.typed_numbers import row_number

if TYPE_CHECKING:
    from swatchvault.archive import PlannedStep, Recipe
    from swatchvault.revision import Changes


@click.command("revise")
@click.argument("colourway")
@click.argument("base")
@click.option("--from", "version", type=WHOLE, help="The version to start from; the newest.")
@click.option("--as-done", "lot", help="Take the dyes that really went into this lot.")
@click.option("--part", help="The part to change, by its name, where the recipe has several.")
@click.option("--share", type=NUMBER, help="The part's share of the goods in %.")
@click.option("--dye", "dyes", multiple=True, help='"DYE=0.8": depth of shade in %.')
@click.option("--drop-dye", "dropped", multiple=True, help="Leave this dye out.")
@click.option("--step", "steps", multiple=True, help='"3=hold, 90 C, 40 min": replaces step 3.')
@click.option("--add-step", "added", multiple=True, help='"hold, 90 C", or "3=..." before step 3.')
@click.option("--drop-step", "gone", type=WHOLE, multiple=True, help="Leave this step out.")
@click.option("--onto", help="Another base: its first version there, the dyes as they are.")
@click.option("--note", help="Why.")
@archive_option
def revise_command(
    colourway: str,
    base: str,
    version: int | None,
    lot: str | None,
    part: str | None,
    share: float | None,
    dyes: tuple[str, ...],
    dropped: tuple[str, ...],
    steps: tuple[str, ...],
    added: tuple[str, ...],
    gone: tuple[int, ...],
    onto: str | None,
    note: str | None,
    archive_folder: Path | None,
) -> None:
    """Make the next version of the recipe of COLOURWAY on BASE, and say what changed.

    Versions are never rewritten, and each keeps the version it came from. A step is written as
    it is shown: kind, amount, temperature, time, note. Of a recipe of several parts one is changed
    at a time, named with --part, and steps are counted through all of them; parts are added and
    taken out on the page of its next version. With --onto the recipe is taken over to a
    base that has none of COLOURWAY yet, with or without changes.
    """
    from swatchvault.archive import add_recipe, get_pot, get_recipe, open_archive, transaction
    from swatchvault.archive.new_recipe import repeats
    from swatchvault.as_done import went_in
    from swatchvault.other_base import other_base_lines
    from swatchvault.recipe_sheet import again_words, recipe_changes, title_of
    from swatchvault.revision import Changes, read_depth, read_step, revise

    replaced: dict[int, PlannedStep | None] = {n: read_step(t) for n, t in map(_numbered, steps)}
    placed = [(n, read_step(t)) for n, t in (_perhaps_numbered(a) for a in added)]
    depths: dict[str, float | None] = dict.fromkeys(dropped)
    depths |= {dye: read_depth(dye, text) for dye, text in map(pair, dyes)}
    with open_archive(need_archive(archive_folder)) as archive, transaction(archive.conn):
        conn = archive.conn
        old = get_recipe(conn, colourway, base, version)
        done = {} if lot is None else went_in(get_pot(conn, lot), old)
        changes = Changes(
            part=part,
            share_percent=share,
            depths={**done, **depths},
            only_these=lot is not None,
            steps={**replaced, **dict.fromkeys(gone)},
            added=tuple(placed),
            note=note,
            onto=None if onto is None else _first_on(conn, old, onto),
        )
        newest = 0 if onto else get_recipe(conn, colourway, base).version
        new = revise(old, changes, newest + 1)
        _ask_depths(changes)
        add_recipe(conn, new)
        new = get_recipe(conn, colourway, new.base, new.version)
        elsewhere = other_base_lines(conn, new)
        again = repeats(conn, new)
    lines = [f"  {line}" for line in (*recipe_changes(old, new), *elsewhere)]
    lines += [] if again is None else [f"note: {again_words(again)}"]
    click.echo("\n".join([f"{title_of(new)}:", *lines]))
    say_caution()


def _first_on(conn: sqlite3.Connection, recipe: Recipe, base: str) -> str:
    """The base's name, if the recipe's colourway has no version on it yet."""
    from swatchvault.archive import get_base
    from swatchvault.archive.recipes import versions_of

    name = get_base(conn, base).name
    there = versions_of(conn, recipe.colourway, name)
    if there:
        versions = ("version " if len(there) == 1 else "versions ") + ", ".join(map(str, there))
        raise ArchiveError(
            f"{recipe.colourway!r} is on {name!r} already, in {versions}: the next one is made by "
            f'`swatchvault revise "{recipe.colourway}" "{name}"`'
        )
    return name


def _ask_depths(changes: Changes) -> None:
    """Say what is unusual of the depths; refuse what cannot be."""
    from swatchvault.dyeing import question_depth

    total = sum(depth for depth in changes.depths.values() if depth is not None)
    if total and (question := question_depth(total)):
        click.echo(f"note: {question}", err=True)


def _numbered(text: str) -> tuple[int, str]:
    number, rest = _perhaps_numbered(text)
    if number is None:
        raise ArchiveError(f"{text!r} cannot be read: write it as 3=hold, 90 C, 40 min")
    return number, rest


def _perhaps_numbered(text: str) -> tuple[int | None, str]:
    told, sign, rest = text.partition("=")
    number = row_number(told.strip()) if sign else None
    return (None, text.strip()) if number is None else (number, rest.strip())
