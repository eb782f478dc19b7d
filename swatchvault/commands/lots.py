"""`master`, `check` and `lots`: lots of a colourway held to a swatch and to each other."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from swatchvault import kinds
from swatchvault.commands.options import (
    NUMBER,
    Number,
    archive_option,
    json_option,
    need_archive,
    verdict_options,
)
from swatchvault.errors import ArchiveError

if TYPE_CHECKING:
    from swatchvault.checking import Check
    from swatchvault.compare import Comparison
    from swatchvault.families import CoursePoint
    from swatchvault.lotcheck import CheckedSwatch

FORMS = click.Choice(kinds.FORMS)


@click.command("master")
@click.argument("swatch")
@click.option(
    "--tolerance", type=NUMBER, help="As the master until now has it, else 2.0 (our choice)."
)
@click.option(
    "--k-l", type=NUMBER, help="As the master until now has it, else 2.0 (customary for textiles)."
)
@click.option("--since", help="From which day it holds (2026-03-01); from now if not said.")
@click.option("--reason", help="Why this swatch.")
@click.option(
    "--evenness/--no-evenness",
    default=None,
    help="Hold later lots to how even it is too, as the photo of least doubt says; or no longer.",
)
@click.option(
    "--evenness-tolerance",
    type=Number(above=0.0),
    help="In ΔE00 of unevenness; from the photo's own doubt if not said.",
)
@archive_option
def master_command(
    swatch: str,
    tolerance: float | None,
    k_l: float | None,
    since: str | None,
    reason: str | None,
    evenness: bool | None,
    evenness_tolerance: float | None,
    archive_folder: Path | None,
) -> None:
    """Make SWATCH the master of its colourway on its base in its form.

    Earlier masters are kept; the latest is in force. With --evenness, `check` says too whether a
    lot is more or less tonal than it.
    """
    from swatchvault.archive import (
        Master,
        current_master,
        open_archive,
        swatch_facts,
        transaction,
    )
    from swatchvault.notevalues import moment
    from swatchvault.tonal_master import make_master
    from swatchvault.words import question_tolerance

    if evenness_tolerance is not None and evenness is False:
        raise click.UsageError("--evenness-tolerance does not go with --no-evenness")
    wanted = True if evenness_tolerance is not None else evenness
    since = None if since is None else moment(since, "--since")
    with open_archive(need_archive(archive_folder)) as archive:
        facts = swatch_facts(archive.conn, swatch)
        if facts.colourway is None:
            raise ArchiveError(f"swatch {swatch!r} is of undyed yarn; a master is of a colourway")
        held = current_master(archive.conn, facts.colourway, facts.base, facts.form)
        if held is not None:
            tolerance = held.tolerance if tolerance is None else tolerance
            k_l = held.k_l if k_l is None else k_l
        tolerance, k_l = 2.0 if tolerance is None else tolerance, 2.0 if k_l is None else k_l
        told = (facts.colourway, facts.base, facts.form, facts.swatch)
        with transaction(archive.conn):
            master = Master(*told, tolerance, k_l, since, reason)
            entry, said = make_master(archive.conn, master, facts, wanted, evenness_tolerance)
    what = "is" if entry.change == "added" else "was already"
    click.echo(
        f"{swatch} {what} the master of {facts.colourway} on {facts.base}, {facts.form}; "
        f"tolerance {tolerance:g} at kL = {k_l:g}"
    )
    question = question_tolerance(tolerance)
    if question is not None:
        click.echo(question)
    if said is not None:
        click.echo(said)
    if held is not None and held.swatch_id != facts.swatch_id:
        click.echo(
            f"it was {held.swatch}, whose verdicts stay and say so: `swatchvault lots "
            f'"{facts.colourway}"` holds all lots to the new one'
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

    The photos that leave least doubt decide: mostly of both in one frame, else of one locked
    set-up, else of one set-up. Photos of one swatch that contradict each other decide nothing.
    Every verdict leaves with exit code 0. A swatch that another version of the method measured
    than its master is named and left out.
    """
    from swatchvault.archive import open_archive
    from swatchvault.archive.originals import names_of_photos
    from swatchvault.checking import Ask, check_lot, keep_checks
    from swatchvault.report import comparison_lines, left_out_lines

    ask = Ask(form, tolerance, k_l, across_forms, same_dyes)
    with open_archive(need_archive(archive_folder)) as archive:
        checks = check_lot(archive.conn, lot, ask)
        if keep:
            keep_checks(archive.conn, checks.given)
        asked = [i for c in checks.given for i in (*c.checked.measurements, *_of_evenness(c))]
        names = names_of_photos(archive.conn, asked)
    if as_json:
        click.echo(json.dumps(checks.records(), ensure_ascii=False))
        return
    for check in checks.given:
        click.echo(f"{lot}, swatch {check.checked.swatch}, held to {check.master.swatch}:")
        comparison = check.checked.comparison
        lines = [*comparison_lines(comparison), judged_on(check.checked, names)]
        lines += weakened(comparison)
        if check.evenness is not None:
            lines += check.evenness.comparison.sentences
            lines += [f"Its evenness is told by {names[i]}." for i in _of_evenness(check)]
        click.echo("\n".join(f"  {line}" for line in lines))
    for line in left_out_lines(checks.left_out):
        click.echo(f"{lot}, {line}")


def _of_evenness(check: Check) -> list[int]:
    """The measurement that tells a swatch's evenness, where it is none that tells its colour."""
    found = None if check.evenness is None else check.evenness.measurement_id
    return [] if found is None or found in check.checked.lot_measurements else [found]


def judged_on(checked: CheckedSwatch, names: Mapping[int, str]) -> str:
    """Which photos both sides of a check were taken from."""
    from swatchvault.words import listed

    sides = (checked.master_measurements, checked.lot_measurements)
    master, lot = (list(dict.fromkeys(names[i] for i in side)) for side in sides)
    if set(master) == set(lot):
        return f"Judged on {listed(master, 3)}."
    return f"Judged on {listed(lot, 3)}, the master on {listed(master, 3)}."


def weakened(comparison: Comparison) -> list[str]:
    """Flags of both sides that the comparison's own sentences do not tell already."""
    from ingest.flags import FLAGS
    from swatchvault.report import STANDING_FLAGS, flag_lines

    found = (comparison.master.flags | comparison.new.flags) & FLAGS.keys() - STANDING_FLAGS
    told = " ".join(comparison.sentences)
    return flag_lines(name for name in found if FLAGS[name] not in told)


def not_told(course: Sequence[CoursePoint]) -> list[str]:
    """Why a verdict on evenness is not told of some swatches, each reason once."""
    from swatchvault.evenness_check import Tonal

    why: dict[str, list[str]] = {}
    for point in course:
        if point.evenness is not None and point.evenness.verdict is Tonal.CANNOT_TELL:
            for reason in point.evenness.reasons:
                why.setdefault(reason, []).append(point.swatch)
    return [f"evenness of {', '.join(names)}: {reason}" for reason, names in why.items()]


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
    """All lots of COLOURWAY against each other, and over time against the master.

    Two that different versions of the method measured are named and left out.
    """
    from swatchvault.archive import open_archive
    from swatchvault.checking import Ask
    from swatchvault.families import lots_together
    from swatchvault.report import course_lines, matrix_lines

    ask = Ask(form, tolerance, k_l)
    with open_archive(need_archive(archive_folder)) as archive:
        families = lots_together(archive.conn, colourway, base, ask)
    if as_json:
        click.echo(json.dumps([f.record() for f in families], ensure_ascii=False))
        return
    for family in families:
        click.echo(f"{colourway} on {family.base}, {family.form}: ΔE00 (kL = {family.k_l:g})")
        click.echo("\n".join(f"  {line}" for line in matrix_lines(family)))
        if family.course:
            click.echo(f"over time, against {family.master}:")
            click.echo("\n".join(f"  {line}" for line in course_lines(family.course)))
            if any(point.evenness for point in family.course):
                click.echo("(as, more, less tonal: verdicts on evenness, apart from the colour's)")
                for line in not_told(family.course):
                    click.echo(f"  {line}")
