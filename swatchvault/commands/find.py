"""`near` and `like`: searches by colour and by looks."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from swatchvault import kinds
from swatchvault.commands.options import (
    NUMBER,
    archive_option,
    json_option,
    light_option,
    need_archive,
)
from swatchvault.errors import CompareError

if TYPE_CHECKING:
    import sqlite3

    from ingest.model import Light, Measurement, PhotoMeasurement
    from swatchvault.queries import Query

FORMS = click.Choice(kinds.FORMS)
CLASSES = click.Choice(kinds.CLASSES)
#: What the ± of a hit's colour is, beside that of its distance; and of looks, which have none.
OF_ITSELF = (
    "(± is one standard uncertainty; that of L*, a*, b* is of the colour by itself, and most of it "
    "cancels in a difference)"
)
NO_DOUBT_OF_LOOKS = (
    "(± is one standard uncertainty of the colour by itself; how unlike two look has no stated one)"
)
OTHER_DYES = "± allows for other dyes or packs where the records do not say they are the same"
NAMED = 8  # swatches named in one line; our choice
FILE = click.Path(path_type=Path, dir_okay=False)
K_L = click.option("--k-l", type=NUMBER, default=2.0, show_default=True, help="kL of ΔE00.")
TOLERANCE = click.option(
    "--tolerance", type=NUMBER, default=2.0, show_default=True, help="Largest ΔE00; our choice."
)


def filter_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """What a swatch must be, for searches."""
    for option in (
        click.option("--dry/--wet", default=None, help="As it was measured."),
        click.option("--tonality", type=CLASSES, help="Only swatches of this class."),
        click.option("--until", help="Dyed on this day or before (2026-03-01)."),
        click.option("--since", help="Dyed on this day or later (2026-03-01)."),
        click.option("--dye", help="Only lots with this dye."),
        click.option("--form", type=FORMS, help="Only this form."),
        click.option("--fibre", help="Only bases with this fibre."),
        click.option("--base", help="Only this base."),
    ):
        command = option(command)
    return command


def taken_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """How a photo that is looked for was taken."""
    command = click.option(
        "--steps", "steps_y", help="Of a photo: what neutral steps in it reflect, as of `measure`."
    )(command)
    command = light_option(command)
    return click.option(
        "--setup", help="Of a photo: its set-up, for light, locked settings and reference."
    )(command)


def query_of(
    conn: sqlite3.Connection,
    what: str,
    region: str | None,
    setup: str | None = None,
    light: Light | None = None,
    steps_y: str | None = None,
) -> Query:
    """WHAT as a query: PHOTO or PHOTO:NAME, a hex colour, a Lab triple, else a swatch's label."""
    from swatchvault import queries
    from swatchvault.commands.photos import split_name, steps_of
    from swatchvault.taken import measure_taken, taken_with

    path, name = split_name(what)
    if path.is_file():
        if name is not None and region is not None:
            raise click.UsageError(f"{what} names a region already: leave --region out")
        taken = taken_with(conn, setup, light, steps_of(steps_y))
        photo = measure_taken(path, taken)
        swatch = _swatch_of(photo, path, region if name is None else name)
        return queries.query_of_measurement(swatch, photo, taken)
    if setup or light or steps_y:
        raise click.UsageError(f"--setup, --light and --steps go with a photo: {what} is none")
    return queries.query_of_text(conn, what)


def _swatch_of(photo: PhotoMeasurement, path: Path, region: str | None) -> Measurement:
    names = [s.name for s in photo.swatches]
    if region is not None and region not in names:
        raise CompareError(f"{path.name} has no region {region!r}: it has {', '.join(names)}")
    if not names:
        raise CompareError(f"{path.name} has no swatch marked: mark the yarn in NAME.marks.json")
    if region is None and len(names) > 1:
        raise CompareError(f"{path.name} shows {', '.join(names)}: pick one as {path.name}:NAME")
    return photo.swatches[names.index(region) if region else 0]


@click.command("near")
@click.argument("what")
@click.option("--region", help="Which swatch, where a photo shows several.")
@click.option("-n", "count", type=click.IntRange(1), default=10, show_default=True)
@K_L
@filter_options
@click.option("--other-dyes", is_flag=True, help="Ways there within --tolerance, no dye in common.")
@click.option(
    "--tolerance",
    type=NUMBER,
    help="Only hits within this ΔE00; with --other-dyes 2 where it is not said.",
)
@taken_options
@archive_option
@json_option
def near_command(
    what: str,
    region: str | None,
    setup: str | None,
    light: Light | None,
    steps_y: str | None,
    count: int,
    k_l: float,
    other_dyes: bool,
    tolerance: float | None,
    archive_folder: Path | None,
    as_json: bool,
    **limits: Any,
) -> None:
    """Swatches nearest to WHAT: a Lab triple (45,20,-10), a hex (#7a4b90), a swatch, a photo.

    Hits share a rank where the photos cannot tell which lies nearer. A triple that begins with a
    minus sign goes after --. Of a photo that shows several swatches, one is PHOTO:NAME. In a photo
    without --setup and --steps the steps are looked for that were used last.
    """
    from ingest.model import none_if_nan
    from swatchvault import finding, nearby, queries, search_notes
    from swatchvault.archive import open_archive
    from swatchvault.archive.made import Filters
    from swatchvault.taken import ANY_LIGHT

    if tolerance is not None and not tolerance > 0:
        raise CompareError(f"tolerance is {tolerance:g}, needed a number above 0: such as 2")
    limit = finding.TOLERANCE if tolerance is None else tolerance
    with open_archive(need_archive(archive_folder)) as archive:
        query = query_of(archive.conn, what, region, setup, light, steps_y)
        kept, filters = nearby.keep_colours(archive.conn, query.version), Filters(**limits)
        why, far = "", ""
        if other_dyes:
            near = nearby.within(archive.conn, kept, query, filters, limit, k_l)
            hits = finding.by_other_dyes(archive.conn, query, near)
            why = search_notes.no_other_ways(query, near, limit, k_l)
        else:
            hits = nearby.near(archive.conn, kept, query, filters, k=count, k_l=k_l)
            limited = tolerance is not None
            far = search_notes.nothing_near(query, hits, limit, k_l=k_l, limited=limited)
            hits = [h for h in hits if tolerance is None or h.distance <= tolerance]
        classed = limits["tonality"] is not None
        older = search_notes.left_out(archive.conn, query, classed=classed)
    warnings = [*query.target.warnings, *older, *([far] if far else [])]
    if as_json:
        lab, u = [float(v) for v in query.target.lab], query.u_lab
        u_lab = None if u is None else [none_if_nan(v) for v in u]
        answer = {"query": query.target.name, "lab": lab, "u_lab": u_lab, "k_l": k_l}
        print_json({**answer, "warnings": warnings, "hits": [h.record() for h in hits]})
        return
    if other_dyes and not hits:
        click.echo(why)
    elif other_dyes:
        ways = "1 way" if len(hits) == 1 else f"{len(hits)} ways"
        click.echo(f"{ways} with no dye in common, within ΔE00 {limit:g} (kL = {k_l:g}):")
    _show(hits, warnings, f"ΔE00 (kL = {k_l:g})", ranked=True)
    other = [h.made.swatch for h in hits if not h.same_dyes] if query.spoken else []
    if other:
        more = f" and {len(other) - NAMED} more" if len(other) > NAMED else ""
        click.echo(f"{OTHER_DYES}: {', '.join(other[:NAMED])}{more}")
    if hits and queries.any_light(query):
        click.echo(f"{ANY_LIGHT}: --light daylight where it was")


@click.command("like")
@click.argument("what")
@click.option("--region", help="Which swatch, where a photo shows several.")
@click.option("-n", "count", type=click.IntRange(1), default=10, show_default=True)
@filter_options
@taken_options
@archive_option
@json_option
def like_command(
    what: str,
    region: str | None,
    setup: str | None,
    light: Light | None,
    steps_y: str | None,
    count: int,
    archive_folder: Path | None,
    as_json: bool,
    **limits: Any,
) -> None:
    """Swatches that look like WHAT, a swatch or a photo: its colours, their shares, its evenness.

    A photo needs a scale for its evenness; without one it is found by its colours only. Of a photo
    that shows several swatches, one is PHOTO:NAME.
    """
    from swatchvault import alike, shades
    from swatchvault.archive import open_archive
    from swatchvault.archive.made import Filters
    from swatchvault.search_notes import left_out

    with open_archive(need_archive(archive_folder)) as archive:
        query = query_of(archive.conn, what, region, setup, light, steps_y)
        hits = alike.like(archive.conn, query, Filters(**limits), k=count)
        classed = limits["tonality"] is not None
        older = left_out(archive.conn, query, evenness=True, classed=classed)
    warnings = [*query.target.warnings, *older]
    if not shades.look_of(query.target.lab, query.tonality).tonal_known:
        warnings.append("How even it is is not known: found by its colours only.")
    if as_json:
        answer = {"query": query.target.name, "warnings": warnings}
        print_json({**answer, "hits": [h.record() for h in hits]})
        return
    _show(hits, warnings, "unlike by", ranked=False)


def print_json(value: Any) -> None:
    click.echo(json.dumps(value, ensure_ascii=False))


def _show(hits: list[Any], warnings: list[str], measure: str, *, ranked: bool) -> None:
    from swatchvault.colour_words import lab_cell
    from swatchvault.tables import table_lines

    for warning in warnings:
        click.echo(f"! {warning}")
    if not hits:
        return
    first = ("rank", measure, *(["±"] if ranked else []), "swatch", "L*, a*, b*")
    header = (*first, "colourway", "base", "form", "lot", "recipe", "dyed on", "dyes")
    rows = []
    for hit in hits:
        doubt = [hit.u if hit.u == hit.u else "?"] if ranked else []
        made = hit.made
        dyes = ", ".join(
            d.dye + ("" if d.depth_percent is None else f" {d.depth_percent:.3g} %")
            for d in made.dyes
        )
        seen = (made.swatch, lab_cell(hit.lab, hit.u_lab))
        recipe = "" if made.recipe_version is None else f"version {made.recipe_version}"
        form = f"{made.form}, measured damp" if hit.damp else made.form
        names = (made.colourway, made.base, form, made.lot, recipe, made.dyed_on, dyes)
        rows.append((hit.rank, hit.distance, *doubt, *seen, *names))
    click.echo("\n".join(table_lines(header, rows)))
    click.echo(OF_ITSELF if ranked else NO_DOUBT_OF_LOOKS)
    if ranked and len({h.rank for h in hits}) < len(hits):
        click.echo("Hits that share a rank: these photos cannot tell which of them lies nearer.")
