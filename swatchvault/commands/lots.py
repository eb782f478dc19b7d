"""`master`, `check` and `lots`: lots of a colourway held to a swatch and to each other."""

from __future__ import annotations

import json
from pathlib import Path

import click

from swatchvault.commands.options import (
    archive_option,
    json_option,
    need_archive,
    verdict_options,
)
from swatchvault.errors import ArchiveError

FORMS = click.Choice(["skein", "wound card", "knit"])


@click.command("master")
@click.argument("swatch")
@click.option("--tolerance", type=float, default=2.0, show_default=True, help="Our choice.")
@click.option("--k-l", type=float, default=2.0, show_default=True, help="Customary for textiles.")
@click.option("--since", help="From which day it holds (2026-03-01); from now if not said.")
@click.option("--reason", help="Why this swatch.")
@archive_option
def master_command(
    swatch: str,
    tolerance: float,
    k_l: float,
    since: str | None,
    reason: str | None,
    archive_folder: Path | None,
) -> None:
    """Make SWATCH the master of its colourway on its base in its form.

    Earlier masters are kept; the latest is in force.
    """
    from swatchvault.archive import Master, open_archive, set_master, swatch_facts

    with open_archive(need_archive(archive_folder)) as archive:
        facts = swatch_facts(archive.conn, swatch)
        if facts.colourway is None:
            raise ArchiveError(f"swatch {swatch!r} is of undyed yarn; a master is of a colourway")
        entry = set_master(
            archive.conn,
            Master(
                colourway=facts.colourway,
                base=facts.base,
                form=facts.form,
                swatch=swatch,
                tolerance=tolerance,
                k_l=k_l,
                since=since,
                reason=reason,
            ),
        )
    what = "is" if entry.change == "added" else "was already"
    click.echo(
        f"{swatch} {what} the master of {facts.colourway} on {facts.base}, {facts.form}; "
        f"tolerance {tolerance:g} at kL = {k_l:g}"
    )


@click.command("check")
@click.argument("lot")
@click.option("--form", type=FORMS, help="Only swatches of this form.")
@verdict_options
@click.option("--across-forms", is_flag=True, help="Compare a skein with a knit all the same.")
@click.option("--same-dyes/--other-dyes", default=None, help="If the lots' own records do not say.")
@click.option("--keep/--do-not-keep", default=True, help="Keep the verdict in the archive.")
@archive_option
@json_option
def check_command(
    lot: str,
    form: str | None,
    tolerance: float | None,
    k_l: float | None,
    across_forms: bool,
    same_dyes: bool | None,
    keep: bool,
    archive_folder: Path | None,
    as_json: bool,
) -> None:
    """Hold every measured swatch of LOT to its master.

    The strongest photos decide: both in one frame, then one locked set-up, then one set-up.
    Every verdict leaves with exit code 0.
    """
    from swatchvault.archive import open_archive
    from swatchvault.checking import Ask, check_lot, keep_checks
    from swatchvault.lotcheck import check_record
    from swatchvault.report import comparison_lines

    ask = Ask(form, tolerance, k_l, across_forms, same_dyes)
    with open_archive(need_archive(archive_folder)) as archive:
        checks = check_lot(archive.conn, lot, ask)
        if keep:
            keep_checks(archive.conn, checks)
    if as_json:
        records = [check_record(c.checked, c.facts()) for c in checks]
        click.echo(json.dumps(records, ensure_ascii=False))
        return
    for check in checks:
        click.echo(f"{lot}, swatch {check.checked.swatch}, held to {check.master.swatch}:")
        lines = comparison_lines(check.checked.comparison)
        click.echo("\n".join(f"  {line}" for line in lines))


@click.command("lots")
@click.argument("colourway")
@click.option("--base", help="The base, where the colourway is on several.")
@click.option("--form", type=FORMS, help="The form, where there are several.")
@verdict_options
@archive_option
@json_option
def lots_command(
    colourway: str,
    base: str | None,
    form: str | None,
    tolerance: float | None,
    k_l: float | None,
    archive_folder: Path | None,
    as_json: bool,
) -> None:
    """All lots of COLOURWAY against each other, and over time against the master."""
    from swatchvault.archive import open_archive
    from swatchvault.checking import Ask, lots_together
    from swatchvault.report import course_lines, matrix_lines

    ask = Ask(form, tolerance, k_l)
    with open_archive(need_archive(archive_folder)) as archive:
        families = lots_together(archive.conn, colourway, base, ask)
    if as_json:
        click.echo(json.dumps([f.record() for f in families], ensure_ascii=False))
        return
    for family in families:
        click.echo(f"{colourway} on {family.base}, {family.form}: ΔE00 (kL = {family.k_l:g})")
        click.echo("\n".join(f"  {line}" for line in matrix_lines(family.matrix)))
        if family.course:
            click.echo(f"over time, against {family.master}:")
            click.echo("\n".join(f"  {line}" for line in course_lines(family.course)))
