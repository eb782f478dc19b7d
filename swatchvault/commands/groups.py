"""`groups`: which lots or swatches can go together."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from swatchvault.commands.find import FORMS, K_L, OF_ITSELF, TOLERANCE, print_json
from swatchvault.commands.options import NUMBER, archive_option, json_option, need_archive
from swatchvault.commands.together import DAMP, say_damp
from swatchvault.errors import CompareError

if TYPE_CHECKING:
    from swatchvault.groups import Grouping

SPLITS_SHOWN = 6  # the nearest say enough; our choice


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
    click.echo("\n".join(_grouping_lines(found, table.names, numbers)))
    say_damp(table)
    click.echo(
        f"ΔE00 with kL = {k_l:g}, {found.by}; ± is one standard uncertainty, as a check of the "
        "two states it. What is within or not is decided by the test's own, which may be smaller. "
        "Shade-sort numbers: lightness, chroma, hue; 555 is "
        f"{standard or table.names[0]}; blocks of ΔL* {blocks[0]:g}, ΔC* {blocks[1]:g}, "
        f"ΔH* {blocks[2]:g}; - is beyond 1 to 9."
    )
    click.echo(OF_ITSELF)


def _grouping_lines(found: Grouping, names: list[str], numbers: list[str]) -> list[str]:
    from swatchvault.colour_words import delta_e_words, lab_cell

    def apart(i: int, j: int) -> str:
        return delta_e_words(found.delta_e[i, j], found.u_of(i, j))

    within = f"within {found.tolerance:g} or not"
    lines = []
    for number, rows in enumerate(found.groups, 1):
        lines.append(f"group {number}, neighbours look most alike:")
        lines += [
            f"  {names[row]}  {numbers[row]}  {lab_cell(found.labs[row], found.u_labs[row])}"
            for row in rows
        ]
    for i, j in found.unsure:
        lines.append(f"cannot tell: {names[i]} and {names[j]} ({apart(i, j)}, {within})")
    lines += found.why
    for split in found.splits[:SPLITS_SHOWN]:
        a, b = (place + 1 for place in split.groups)
        lines.append(
            f"groups {a} and {b} are split on doubt: {names[split.left]} and "
            f"{names[split.right]} ({apart(split.left, split.right)}, {within})"
        )
    if len(found.splits) > SPLITS_SHOWN:
        lines.append(f"… and {len(found.splits) - SPLITS_SHOWN} more pairs of groups")
    if found.unsure or found.splits:
        lines.append(
            "(`check` chooses photos of both that belong together best, and can tell more)"
        )
    for bridge in found.bridges:
        lines.append(
            f"to bridge two groups, alternate {names[bridge.left]} with {names[bridge.right]} "
            f"({apart(bridge.left, bridge.right)})"
        )
    return lines


def _grouping_record(
    found: Grouping, names: list[str], numbers: list[str], blocks: tuple[float, ...]
) -> dict[str, Any]:
    from ingest.model import none_if_nan

    return {
        "tolerance": found.tolerance,
        "k_l": found.k_l,
        "taken_from": found.by,
        "groups": [[names[r] for r in rows] for rows in found.groups],
        "cannot_tell": [[names[i], names[j]] for i, j in found.unsure],
        "no_verdict_because": list(found.why),
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
