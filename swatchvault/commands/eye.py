"""`eye`: the dyer's own words for how even swatches are, and a rule fitted to them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from swatchvault.commands.options import archive_option, json_option, need_archive


@click.command("eye")
@click.argument("swatch", required=False)
@click.argument("word", required=False, metavar="[CLASS]")
@click.option("--note", help="Anything, kept with the word.")
@click.option("--forget", is_flag=True, help="Take back your word for SWATCH.")
@click.option("--refit", "fit", is_flag=True, help="Fit the rule to your words, and show it.")
@click.option("--take", "taken", is_flag=True, help="With --refit: class the archive by it.")
@click.option("--undo", is_flag=True, help="Go back to the rule before the one taken last.")
@archive_option
@json_option
def eye_command(
    swatch: str | None,
    word: str | None,
    note: str | None,
    forget: bool,
    fit: bool,
    taken: bool,
    undo: bool,
    archive_folder: Path | None,
    as_json: bool,
) -> None:
    """Say how even SWATCH looks to you, and teach the program your eye.

    CLASS is solid, semi-solid, variegated, speckled or gradient. Without SWATCH, your words are
    listed with those of the program that differ. From 30 named swatches on, --refit shows where
    the borders between classes would go; nothing changes until --take, and --undo goes back.
    """
    from swatchvault.archive import open_archive

    wanted = [bool(swatch), fit, undo]
    if sum(wanted) > 1 or (taken and not fit) or (forget and (not swatch or word)):
        raise click.UsageError("name a swatch, or give --refit (with --take), or --undo")
    if swatch and not word and not forget:
        raise click.UsageError("say how SWATCH looks to you: solid, semi-solid, variegated ...")
    with open_archive(need_archive(archive_folder)) as archive:
        if swatch:
            lines, record = _name(archive.conn, swatch, word, note)
        elif fit:
            lines, record = _refit(archive.conn, taken)
        elif undo:
            lines, record = _undo(archive.conn)
        else:
            lines, record = _list(archive.conn)
    click.echo(json.dumps(record, ensure_ascii=False) if as_json else "\n".join(lines))


Said = tuple[list[str], dict[str, Any]]


def _name(conn: Any, swatch: str, word: str | None, note: str | None) -> Said:
    from swatchvault.archive.eye import name_class

    changed = name_class(conn, swatch, word, note)
    said = "your word for it is taken back" if word is None else f"{word} to your eye"
    line = f"{swatch}: {said}" + ("" if changed else ", as before")
    if word is None and not changed:
        line = f"{swatch}: you have no word for it, so there is none to take back"
    return [line], {"swatch": swatch, "class": word, "changed": changed}


def _refit(conn: Any, taken: bool) -> Said:
    from swatchvault.archive.eye import named_swatches
    from swatchvault.taught import fit_to_eye, refit_lines, refit_record, take

    fitted, found = fit_to_eye(named_swatches(conn))
    lines, record = refit_lines(fitted), {**refit_record(fitted), "taken": taken}
    lines += [f"{count} more are not used: {why}" for why, count in found.left_out]
    if taken:
        classed = take(conn, fitted, str(found.method))
        lines.append(f"taken: {classed} measurements are classed by your eye's rule; --undo undoes")
        record["classed"] = classed
    elif fitted.moved:
        lines.append("nothing is changed yet: `swatchvault eye --refit --take` takes it")
    return lines, record


def _undo(conn: Any) -> Said:
    from swatchvault.archive.eye import eye_rule, undo_rule
    from swatchvault.days import here

    gone, now = undo_rule(conn), eye_rule(conn)
    if gone is None:
        return ["no rule of yours is in force: there is nothing to undo"], {"undone": None}
    back = "the program's own rule" if now is None else f"your rule of {here(now.taken_at)[:10]}"
    return [f"undone; classes are by {back} again"], {"undone": gone.taken_at}


def _list(conn: Any) -> Said:
    from swatchvault.archive.eye import eye_rule, named_swatches
    from swatchvault.days import here
    from swatchvault.tables import table_lines
    from swatchvault.taught import disagreements

    named, rule = named_swatches(conn), eye_rule(conn)
    differ = {s.swatch for s in disagreements(named, rule)}
    header = ["swatch", "you", "the program"] + (["your eye's rule"] if rule else []) + ["differ"]
    rows, records = [], []
    for s in named:
        program = s.by_program or ("cannot tell" if s.tonality else "not measured")
        by_eye = (s.by_eye or "cannot tell") if s.by_eye_known else "cannot class it"
        mark = "differs" if s.swatch in differ else ""
        rows.append([s.swatch, s.word, program, *([by_eye] if rule else []), mark])
        eyes = by_eye if rule else None
        words = {"swatch": s.swatch, "you": s.word, "program": program, "your_eyes_rule": eyes}
        records.append({**words, "differs": bool(mark), "note": s.note})
    lines = table_lines(header, rows) if rows else ["no swatch is named yet"]
    whose = f"your eye's rule, taken {here(rule.taken_at)[:10]}" if rule else "the program's rule"
    lines.append(f"{len(named)} named, {len(differ)} differ; classes are by {whose}")
    return lines, {"named": records, "rule_taken_at": rule.taken_at if rule else None}
