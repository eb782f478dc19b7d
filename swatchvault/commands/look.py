"""`list`, `show` and `export`: what the archive holds."""

from __future__ import annotations

import csv
import io
import json
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import click

from swatchvault.commands.options import archive_option, json_option, need_archive
from swatchvault.writing import write_text_file

KINDS = ("base", "dye", "colourway", "lot", "swatch", "setup", "reference")


@click.command("list")
@click.argument("what", default="colourways")
@click.option("--with", "text", default="", help="Only rows in which this text occurs.")
@click.option("--sort", metavar="COLUMN", help="Sort by this column, such as unevenness.")
@click.option("--largest-first", is_flag=True, help="With --sort: the other way round.")
@archive_option
@json_option
def list_command(
    what: str,
    text: str,
    sort: str | None,
    largest_first: bool,
    archive_folder: Path | None,
    as_json: bool,
) -> None:
    """List WHAT: colourways, bases, lots, swatches, colours, evenness, recipes, dyes, photos ..."""
    from swatchvault.archive import eye_rule, listing, open_archive
    from swatchvault.tables import as_read, table_lines

    with open_archive(need_archive(archive_folder)) as archive:
        rows = listing(archive.conn, what, text, sort, largest_first=largest_first)
        by_eye = {"evenness", "class"} & set(rows.columns) and eye_rule(archive.conn)
        ranked = sort == "unevenness" and "swatch" in rows.columns
        even = listing(archive.conn, "evenness").records() if ranked else []
    if as_json:
        click.echo(json.dumps(rows.records(), ensure_ascii=False))
    elif not rows.rows:
        click.echo(f"no {what}" + (f" with {text!r}" if text else " yet"))
    else:
        click.echo("\n".join(table_lines(*as_read(rows.columns, _by_this_clock(rows.rows)))))
        if by_eye:
            click.echo("(classes of evenness are by your eye's rule where it can say)")
        if ranked and (said := unlike_words(rows.records(), even)):
            click.echo(said)


def unlike_words(rows: Sequence[Mapping[str, Any]], even: Sequence[Mapping[str, Any]]) -> str:
    """That rows ranked by unevenness are of several forms, or of several versions of its method;
    "" where they are of one. ``rows``, ``even``: with their ``swatch``; ``even`` is the list of
    evenness."""
    ranked = {row["swatch"] for row in rows if row["unevenness"] is not None}
    told = [row for row in even if row["swatch"] in ranked]
    parts = []
    for key, of in (("form", "as"), ("method", "by")):
        counts = Counter(row[key] for row in told)
        if len(counts) > 1:
            parts.append(", ".join(f"{n} {of} {name}" for name, n in sorted(counts.items())))
    if not parts:
        return ""
    return (
        "(unevenness is compared only within one form and one version of the method; here are "
        f"{'; '.join(parts)}: `list evenness` has both of each)"
    )


@click.command("show")
@click.argument("kind", type=click.Choice(KINDS))
@click.argument("name")
@archive_option
@json_option
def show_command(kind: str, name: str, archive_folder: Path | None, as_json: bool) -> None:
    """Show one thing with all that belongs to it: a lot with its dyes, pot log and colours."""
    from swatchvault.archive import open_archive, show
    from swatchvault.tables import sheet_lines

    with open_archive(need_archive(archive_folder)) as archive:
        sections = show(archive.conn, kind, name)
    if as_json:
        click.echo(json.dumps({t: r.records() for t, r in sections}, ensure_ascii=False))
        return
    for title, rows in sections:
        click.echo(title)
        told = sheet_lines(rows.columns, _by_this_clock(rows.rows))
        click.echo("\n".join(f"  {line}" for line in told))


def _by_this_clock(rows: Sequence[Sequence[Any]]) -> list[list[Any]]:
    """Rows with their times to the minute, those in UTC as this computer's clock has them."""
    from swatchvault.days import time_read

    return [[time_read(v) if isinstance(v, str) else v for v in row] for row in rows]


@click.command("export")
@click.argument("table")
@click.option("--json", "as_json", is_flag=True, help="JSON instead of CSV.")
@click.option("--out", type=click.Path(path_type=Path), help="Write to this file.")
@archive_option
def export_command(
    table: str, as_json: bool, out: Path | None, archive_folder: Path | None
) -> None:
    """Write TABLE, a table or view of the archive, as CSV (or JSON)."""
    from swatchvault.archive import export_rows, open_archive

    with open_archive(need_archive(archive_folder)) as archive:
        rows = export_rows(archive.conn, table)
    if as_json:
        text = json.dumps(rows.records(), ensure_ascii=False, indent=1) + "\n"
    else:
        buffer = io.StringIO()
        writer = csv.writer(buffer, lineterminator="\n")
        writer.writerow(rows.columns)
        writer.writerows(rows.rows)
        text = buffer.getvalue()
    if out is None:
        click.echo(text, nl=False)
        return
    write_text_file(out, text, ".csv", ".json", ".txt")
    click.echo(f"wrote {len(rows.rows)} rows to {out}", err=True)
