"""The end of a pot or the last step of its log taken back: kept, struck, and counted nowhere."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Collection, Sequence
from dataclasses import asdict

from swatchvault.archive.entities import DyeIn, PotStep, StruckStep
from swatchvault.archive.names import find, id_named
from swatchvault.archive.rows import insert, transaction
from swatchvault.archive.values import clean, now, to_json
from swatchvault.days import here
from swatchvault.errors import ArchiveError, NotFound

#: What the end of a pot is struck as; no step that is done is of this kind.
END = "end"
_TOLD_AT_THE_END = ("bled", "handle", "success", "next_time")

_STEP = (
    "step.kind, step.at, step.amount, step.temperature_c, step.minutes, step.ph, "
    "step.colour_left, step.note"
)


def strike_last(conn: sqlite3.Connection, code: str) -> StruckStep:
    """Strike the end of a lot's pot; where it has none, the step that was entered last, with the
    dyes that went in by it.

    What it ended runs on, and the planned step that it carried out is open again. Raises
    ``NotFound`` for a log without steps, ``ArchiveError`` where it is not known which dyes the
    step put in.
    """
    with transaction(conn):
        lot_id = find(conn, "lot", code)
        ended = _strike_end(conn, lot_id)
        if ended is not None:
            return ended
        row = conn.execute(
            f"SELECT id, position, {_STEP} FROM pot_step AS step WHERE lot_id = ? "
            "ORDER BY position DESC",
            (lot_id,),
        ).fetchone()
        if row is None:
            raise NotFound(f"the log of lot {code!r} has no step: there is nothing to take back")
        step_id, number, *facts = tuple(row)
        step = PotStep(*facts)
        dye_ids = _dyes_by(conn, code, lot_id, step_id, number, step)
        struck = StruckStep(
            number, step, tuple(dye_in_by_id(conn, dye_id) for dye_id in dye_ids), now()
        )
        keep_struck(conn, lot_id, struck)
        for dye_id in dye_ids:
            conn.execute("DELETE FROM lot_dye WHERE id = ?", (dye_id,))
        conn.execute("DELETE FROM pot_step WHERE id = ?", (step_id,))
    return struck


def _strike_end(conn: sqlite3.Connection, lot_id: int) -> StruckStep | None:
    """Strike how a pot ended, all that was told of it; ``None`` where it has not."""
    columns = ", ".join(("ended_at", *_TOLD_AT_THE_END))
    row = conn.execute(f"SELECT {columns} FROM pot WHERE lot_id = ?", (lot_id,)).fetchone()
    if row is None or row["ended_at"] is None:
        return None
    said = [f"{k.replace('_', ' ')}: {row[k]}" for k in _TOLD_AT_THE_END if row[k] is not None]
    sql = "SELECT COALESCE(max(position), 0) + 1 FROM pot_step WHERE lot_id = ?"
    (number,) = conn.execute(sql, (lot_id,)).fetchone()
    step = PotStep(END, row["ended_at"], note="; ".join(said) or None)
    struck = StruckStep(number, step, (), now())
    keep_struck(conn, lot_id, struck)
    sets = ", ".join(f"{column} = NULL" for column in ("ended_at", *_TOLD_AT_THE_END))
    conn.execute(f"UPDATE pot SET {sets} WHERE lot_id = ?", (lot_id,))
    return struck


def struck_of(conn: sqlite3.Connection, lot_id: int) -> tuple[StruckStep, ...]:
    """The steps that were struck from a lot's log, in the order in which they were."""
    sql = "SELECT position, step, dyes, struck_at FROM struck_step WHERE lot_id = ? ORDER BY id"
    return tuple(
        StruckStep(
            number,
            PotStep(**json.loads(step)),
            tuple(DyeIn(**dye) for dye in json.loads(dyes)),
            struck_at,
        )
        for number, step, dyes, struck_at in conn.execute(sql, (lot_id,))
    )


def keep_struck(conn: sqlite3.Connection, lot_id: int, struck: StruckStep) -> bool:
    """Keep a struck step of a lot; whether it was not kept yet."""
    if struck in struck_of(conn, lot_id):
        return False
    row = {
        "lot_id": lot_id,
        "position": struck.number,
        "step": to_json(_told(struck.step)),
        "dyes": to_json([_told(dye) for dye in struck.dyes]),
        "struck_at": struck.struck_at,
    }
    insert(conn, "struck_step", row)
    return True


def refuse_struck(
    conn: sqlite3.Connection,
    code: str,
    steps: Sequence[PotStep],
    known: Collection[StruckStep] = (),
) -> None:
    """Raise ``ArchiveError`` if steps that go on from a lot's log bring back one that was struck.

    ``known``: those that whoever tells the steps knows to be struck.
    """
    lot_id = id_named(conn, "lot", clean(code, "code") or "")
    if lot_id is None:
        return
    sql = "SELECT count(*) FROM pot_step WHERE lot_id = ?"
    (kept,) = conn.execute(sql, (lot_id,)).fetchone()
    struck = [s for s in struck_of(conn, lot_id) if s not in known]
    for step in steps[kept:]:
        for old in struck:
            if step == old.step:
                what = f"step {step.kind!r} ({step.at or 'no time'})"
                on = here(old.struck_at)[:10]
                raise ArchiveError(
                    f"lot {code!r}: its {what} was struck on {on}: take it out of what you read "
                    "in, with the dyes that it put in"
                )


def refuse_unstruck(
    conn: sqlite3.Connection, code: str, steps: Sequence[PotStep], known: Collection[StruckStep]
) -> None:
    """Raise ``ArchiveError`` if a lot's log still ends in a step that ``known`` says is struck.

    ``steps``: the log of whoever tells it.
    """
    lot_id = id_named(conn, "lot", clean(code, "code") or "")
    sql = f"SELECT position, {_STEP} FROM pot_step AS step WHERE lot_id = ? AND position > ?"
    for number, *facts in map(tuple, conn.execute(sql, (lot_id, len(steps)))):
        if any(s.number == number and s.step == PotStep(*facts) for s in known):
            raise ArchiveError(
                f"lot {code!r}: step {number} ({facts[0]}) was struck in what you read in, and "
                f"stands here: take it back here too, with `swatchvault pot undo {code!r}`"
            )


def refuse_end(
    conn: sqlite3.Connection, code: str, told: str | None, known: Collection[StruckStep]
) -> None:
    """Raise ``ArchiveError`` where an end that was struck on one side still stands on the other.

    ``told``: when the pot ended, as whoever tells it says; ``known``: what they know to be struck.
    """
    sql = "SELECT lot.id, ended_at FROM lot LEFT JOIN pot ON pot.lot_id = lot.id WHERE lot.id = ?"
    row = conn.execute(sql, (id_named(conn, "lot", clean(code, "code") or ""),)).fetchone()
    if row is None:
        return
    ours = [s for s in struck_of(conn, row[0]) if s.step.kind == END and s not in known]
    if told is not None and any(s.step.at == told for s in ours):
        raise ArchiveError(
            f"lot {code!r}: its end was taken back on {here(ours[-1].struck_at)[:10]}: take it out "
            "of what you read in"
        )
    if told is None and any(s.step.kind == END and s.step.at == row[1] for s in known):
        raise ArchiveError(
            f"lot {code!r}: its end was taken back in what you read in, and stands here: take it "
            f"back here too, with `swatchvault pot undo {code!r}`"
        )


def dyes_by_step(conn: sqlite3.Connection, lot_id: int) -> dict[int, int | None]:
    """Of each dye that went into a lot, by its id and in order, the id of the step that put it in:
    the one noted with it, else the only "dye in" with which none is noted; ``None``: not known."""
    sql = "SELECT id, pot_step_id FROM lot_dye WHERE lot_id = ? ORDER BY position"
    by = {int(r[0]): r[1] for r in conn.execute(sql, (lot_id,))}
    bare = _steps_without_dye(conn, lot_id) if None in by.values() else []
    only = bare[0] if len(bare) == 1 else None
    return {dye_id: only if step_id is None else step_id for dye_id, step_id in by.items()}


def _steps_without_dye(conn: sqlite3.Connection, lot_id: int) -> list[int]:
    """Steps "dye in" of a lot with which no dye is noted."""
    sql = (
        "SELECT id FROM pot_step AS step WHERE lot_id = ? AND kind = 'dye in' "
        "AND NOT EXISTS (SELECT 1 FROM lot_dye WHERE pot_step_id = step.id)"
    )
    return [int(r[0]) for r in conn.execute(sql, (lot_id,))]


def _dyes_by(
    conn: sqlite3.Connection, code: str, lot_id: int, step_id: int, number: int, step: PotStep
) -> list[int]:
    """Ids of the dyes that a step put in."""
    by = dyes_by_step(conn, lot_id)
    mine = [dye_id for dye_id, its in by.items() if its == step_id]
    if mine or step.kind != "dye in" or None not in by.values():
        return mine
    raise ArchiveError(
        f"dye went into lot {code!r} in {len(_steps_without_dye(conn, lot_id))} steps, and of "
        f"which of it went in with step {number} nothing is noted: correct it with "
        f"`swatchvault pot edit {code!r} {number} "
        '--kind other --dye "DYE=AMOUNT"`, the amount of what last went in of each dye'
    )


def dye_in_by_id(conn: sqlite3.Connection, row_id: int) -> DyeIn:
    """What went in, by the number of its row."""
    sql = (
        "SELECT dye.name, amount, dye_pack.code, stock.code FROM lot_dye "
        "JOIN dye ON dye.id = lot_dye.dye_id LEFT JOIN dye_pack ON dye_pack.id = "
        "lot_dye.dye_pack_id LEFT JOIN stock ON stock.id = stock_id WHERE lot_dye.id = ?"
    )
    return DyeIn(*conn.execute(sql, (row_id,)).fetchone())


def _told(thing: PotStep | DyeIn) -> dict[str, object]:
    return {k: v for k, v in asdict(thing).items() if v is not None}
