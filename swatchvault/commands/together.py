"""`drift`, `gaps` and `bases`: swatches set against each other over time, place and base."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from swatchvault.commands.find import FILE, FORMS, K_L, OF_ITSELF, print_json
from swatchvault.commands.options import archive_option, json_option, need_archive
from swatchvault.errors import CompareError
from swatchvault.writing import write_text_file

if TYPE_CHECKING:
    from swatchvault.together import Table

DAMP = click.option("--damp", is_flag=True, help="With swatches that were measured damp, too.")


def say_damp(table: Table) -> None:
    """Which swatches were left out because they were measured damp, where some were."""
    from swatchvault.together import damp_words

    if table.damp:
        click.echo(f"! {damp_words(table.damp)}; --damp takes damp swatches in")


@click.command("drift")
@click.argument("colourway")
@click.option("--base", help="The base, where the colourway is on several.")
@click.option("--form", type=FORMS, help="The form, where there are several.")
@K_L
@DAMP
@click.option("--svg", type=FILE, help="Draw the chart into this file.")
@archive_option
@json_option
def drift_command(
    colourway: str,
    base: str | None,
    form: str | None,
    k_l: float,
    damp: bool,
    svg: Path | None,
    archive_folder: Path | None,
    as_json: bool,
) -> None:
    """Lots of COLOURWAY over time: limits, what changed between lots, and what moved."""
    from swatchvault import shades, together
    from swatchvault.archive import open_archive
    from swatchvault.days import day_cell

    with open_archive(need_archive(archive_folder)) as archive:
        table = together.table_of(
            archive.conn, (), colourway=colourway, base=base, form=form, damp=damp
        )
    kinds = sorted({f"{m.base} as {m.form}" for m in table.made})
    if len(kinds) > 1:
        raise CompareError(f"{colourway} is there on {'; '.join(kinds)}: name one base and form")
    found = together.course_of(table, k_l)
    title = f"{colourway} on {kinds[0]}, kL = {k_l:g}"
    if svg is not None:
        write_text_file(svg, shades.course_svg(found, title), ".svg")
    if as_json:
        print_json({**_course_record(found), "notes": together.notes_of(found, table.damp)})
        return
    click.echo(title)
    for row, (lot, value) in enumerate(zip(found.lots, found.values, strict=True)):
        new = ", ".join(c.what for c in found.changes if c.lot == row)
        u = found.u[row]
        figures = "".join(f"{v:+8.2f}" for v in value) + (f" ± {u:.2f}" if u == u else " ± ?")
        click.echo(
            f"  {day_cell(lot.when, lot.by_photo):<14}{lot.lot:<14}{figures}"
            + ("  new: " + new if new else "")
        )
    click.echo(
        "  (lightness, chroma, hue about the mean of the lots, in units of ΔE00; ± is the doubt of "
        "each of the three)"
    )
    limits, steps = (
        ", ".join(f"{axis} {v:.2f}" for axis, v in zip(shades.AXES, of, strict=True))
        for of in (found.limit, found.range_limit)
    )
    click.echo(f"  limits, either side of the middle: {limits}; of a step to the next lot: {steps}")
    for sentence in found.sentences or (found.quiet,):
        click.echo(sentence)
    if not found.sentences and not found.enough:
        click.echo("(`check` holds a lot to its master, and can tell more)")
    for note in together.notes_of(found, table.damp):
        click.echo(f"! {note}")


def _course_record(found: Any) -> dict[str, Any]:
    from ingest.model import none_if_nan

    return {
        "k_l": found.k_l,
        "axes": ["lightness", "chroma", "hue"],
        "middle": found.middle.tolist(),
        "limit": found.limit.tolist(),
        "range_limit": found.range_limit.tolist(),
        "lots": [
            {
                "lot": lot.lot,
                "when": lot.when,
                "when_by_photo": lot.by_photo,
                "values": value.tolist(),
                "from_others": found.from_others[row].tolist(),
                "others_limit": [none_if_nan(v) for v in found.others_limit[row].tolist()],
                "u": none_if_nan(float(found.u[row])),
                "changes": [c.what for c in found.changes if c.lot == row],
            }
            for row, (lot, value) in enumerate(zip(found.lots, found.values, strict=True))
        ],
        "broken": [dataclasses.asdict(b) for b in found.broken],
        "enough_lots": found.enough,
        "said": list(found.sentences or (found.quiet,)),
    }


@click.command("gaps")
@click.argument("base")
@click.option("-n", "count", type=click.IntRange(0), default=8, show_default=True)
@K_L
@click.option("--form", type=FORMS, help="Predict from lots in this form; else the commonest.")
@DAMP
@click.option("--svg", type=FILE, help="Draw the map into this file.")
@archive_option
@json_option
def gaps_command(
    base: str,
    count: int,
    k_l: float,
    form: str | None,
    damp: bool,
    svg: Path | None,
    archive_folder: Path | None,
    as_json: bool,
) -> None:
    """Where BASE has not been: the largest gaps between the colours made on it.

    Inside what its dyes are predicted to reach, with a recipe for each gap to dye next; where too
    few lots are known for that, inside what its colours span.
    """
    from swatchvault import shades, together
    from swatchvault.archive import open_archive
    from swatchvault.experiments import gaps_on_base

    with open_archive(need_archive(archive_folder)) as archive:
        table = together.table_of(archive.conn, (), base=base, damp=damp)
        found = gaps_on_base(archive.conn, base, table.labs, form=form, count=count, k_l=k_l)
    if svg is not None:
        recipes = [e.words for e in found.gaps if e.words]
        spots = [e.gap for e in found.gaps]
        title = f"Where {base} has been, kL = {k_l:g}"
        text = shades.map_svg(table.labs, table.names, spots, title, recipes)
        write_text_file(svg, text, ".svg")
    if as_json:
        print_json(
            {"base": base, "k_l": k_l, **found.record(table.names), "left_out_damp": table.damp}
        )
        return
    for number, one in enumerate(found.gaps, 1):
        L, a, b = one.gap.lab
        click.echo(
            f"{number}. L* {L:.0f} a* {a:z.0f} b* {b:z.0f}: {one.gap.delta_e:.1f} from the "
            f"nearest, {table.names[one.gap.nearest]}"
        )
        if one.words:
            click.echo(f"   dye next: {one.words}")
    click.echo(found.inside_words(len(table.made)))
    say_damp(table)
    click.echo(f"ΔE00 with kL = {k_l:g}.")


@click.command("bases")
@click.argument("colourway")
@DAMP
@archive_option
@json_option
def bases_command(colourway: str, damp: bool, archive_folder: Path | None, as_json: bool) -> None:
    """What COLOURWAY gave on each base, and the shift from the first one."""
    from swatchvault import together
    from swatchvault.archive import open_archive
    from swatchvault.bases import across_bases, base_record
    from swatchvault.colour_words import lab_cell
    from swatchvault.tables import table_lines

    with open_archive(need_archive(archive_folder)) as archive:
        table = together.table_of(archive.conn, (), colourway=colourway, damp=damp)
    rows = across_bases(table)
    if as_json:
        print_json([base_record(r) for r in rows])
    elif not rows:
        click.echo(f"{colourway} has no measured swatch yet")
    else:
        header = ("form", "base", "swatches", "L*, a*, b*", "ΔL*", "ΔC*", "Δh")
        cells = [
            (r.form, r.base, r.swatches, lab_cell(r.lab, r.u_lab) if r.lab else "")
            + (r.shift or (None,) * 3)
            for r in rows
        ]
        click.echo("\n".join(table_lines(header, cells)))
        say_damp(table)
        click.echo("(means of the swatches; `list colours` has each of them)")
        click.echo(OF_ITSELF)
