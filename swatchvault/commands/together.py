"""`groups`, `drift`, `gaps` and `bases`: swatches set against each other."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from swatchvault.commands.find import FILE, FORMS, K_L, OF_ITSELF, TOLERANCE, print_json
from swatchvault.commands.options import NUMBER, archive_option, json_option, need_archive
from swatchvault.errors import CompareError
from swatchvault.writing import write_text_file

if TYPE_CHECKING:
    from swatchvault.together import Table

SPLITS_SHOWN = 6  # the nearest say enough; our choice
DAMP = click.option("--damp", is_flag=True, help="With swatches that were measured damp, too.")


@click.command("groups")
@click.argument("names", nargs=-1)
@click.option("--colourway", help="All measured swatches of this colourway.")
@click.option("--base", help="Only this base.")
@click.option("--form", type=FORMS, help="Only this form.")
@TOLERANCE
@K_L
@click.option("--standard", help="The swatch that is 555 in shade sorting; else the first named.")
@click.option(
    "--blocks",
    type=NUMBER,
    nargs=3,
    default=(1.0, 1.0, 0.8),
    show_default=True,
    help="Block sizes in ΔL*, ΔC*ab, ΔH*ab; our choice.",
)
@DAMP
@archive_option
@json_option
def groups_command(
    names: tuple[str, ...],
    colourway: str | None,
    base: str | None,
    form: str | None,
    tolerance: float,
    k_l: float,
    standard: str | None,
    blocks: tuple[float, float, float],
    damp: bool,
    archive_folder: Path | None,
    as_json: bool,
) -> None:
    """Which of these lots or swatches can go together: every pair in a group within tolerance."""
    from swatchvault import shades, together
    from swatchvault.archive import open_archive
    from swatchvault.colour_words import delta_e_words, lab_cell

    if not names and colourway is None:
        raise CompareError("nothing to group: name lots or swatches, or give --colourway")
    with open_archive(need_archive(archive_folder)) as archive:
        table = together.table_of(
            archive.conn, names, colourway=colourway, base=base, form=form, damp=damp
        )
        found = together.group_swatches(table, tolerance, k_l)
        held = together.standard_lab(archive.conn, table, found, standard)
    numbers = shades.shade_sort(found.labs, held, blocks)
    if as_json:
        record = _grouping_record(found, table.names, numbers, blocks)
        print_json({**record, "left_out_damp": list(table.damp)})
        return
    for number, rows in enumerate(found.groups, 1):
        click.echo(f"group {number}, neighbours look most alike:")
        for row in rows:
            colour = lab_cell(found.labs[row], found.u_labs[row])
            click.echo(f"  {table.names[row]}  {numbers[row]}  {colour}")
    for i, j in found.unsure:
        click.echo(
            f"cannot tell: {table.names[i]} and {table.names[j]} "
            f"({delta_e_words(found.delta_e[i, j], found.u_of(i, j))}, within {tolerance:g} or not)"
        )
    for split in found.splits[:SPLITS_SHOWN]:
        a, b = (place + 1 for place in split.groups)
        click.echo(
            f"groups {a} and {b} are split on doubt: {table.names[split.left]} and "
            f"{table.names[split.right]} "
            f"({delta_e_words(split.delta_e, found.u_of(split.left, split.right))}, within "
            f"{tolerance:g} or not)"
        )
    if len(found.splits) > SPLITS_SHOWN:
        click.echo(f"… and {len(found.splits) - SPLITS_SHOWN} more pairs of groups")
    if found.unsure or found.splits:
        click.echo("(`check` chooses photos of both that belong together best, and can tell more)")
    for bridge in found.bridges:
        click.echo(
            f"to bridge two groups, alternate {table.names[bridge.left]} with "
            f"{table.names[bridge.right]} "
            f"({delta_e_words(bridge.delta_e, found.u_of(bridge.left, bridge.right))})"
        )
    _say_damp(table)
    click.echo(
        f"ΔE00 with kL = {k_l:g}, {found.by}; ± is one standard uncertainty, as a check of the "
        "two states it. What is within or not is decided by the test's own, which may be smaller. "
        "Shade-sort numbers: lightness, chroma, hue; 555 is "
        f"{standard or table.names[0]}; blocks of ΔL* {blocks[0]:g}, ΔC* {blocks[1]:g}, "
        f"ΔH* {blocks[2]:g}; - is beyond 1 to 9."
    )
    click.echo(OF_ITSELF)


def _say_damp(table: Table) -> None:
    from swatchvault.together import damp_words

    if table.damp:
        click.echo(f"! {damp_words(table.damp)}; --damp takes damp swatches in")


def _grouping_record(
    found: Any, names: list[str], numbers: list[str], blocks: tuple[float, ...]
) -> dict[str, Any]:
    from ingest.model import none_if_nan

    return {
        "tolerance": found.tolerance,
        "k_l": found.k_l,
        "taken_from": found.by,
        "groups": [[names[r] for r in rows] for rows in found.groups],
        "cannot_tell": [[names[i], names[j]] for i, j in found.unsure],
        "split_on_doubt": [
            {
                "groups": [place + 1 for place in s.groups],
                "swatches": [names[s.left], names[s.right]],
                "delta_e_00": s.delta_e,
                "u": none_if_nan(found.u_of(s.left, s.right)),
            }
            for s in found.splits
        ],
        "alternate": [
            {
                "swatches": [names[b.left], names[b.right]],
                "delta_e_00": b.delta_e,
                "u": none_if_nan(found.u_of(b.left, b.right)),
            }
            for b in found.bridges
        ],
        "colours": {
            name: {"lab": lab.tolist(), "u_lab": [none_if_nan(v) for v in u]}
            for name, lab, u in zip(names, found.labs, found.u_labs, strict=True)
        },
        "shade_sort": dict(zip(names, numbers, strict=True)),
        "blocks": list(blocks),
    }


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
    _say_damp(table)
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
    from swatchvault.report import table_lines

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
        _say_damp(table)
        click.echo("(means of the swatches; `list colours` has each of them)")
        click.echo(OF_ITSELF)
