"""Several writers and many readers on one archive: no error, no write lost, none doubled.

A writer is a function of a number that writes one thing and gives back what must then be found;
a reader is a function that reads something. Those here use the command line; others, over the
web for one, can be given to :func:`run_at_once` beside or instead of them.
"""

from __future__ import annotations

import random
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np

from swatchvault.archive import apply_notes, create_archive, open_archive, verify
from tests.reliability.content import integrity
from tests.reliability.photos import write_photo
from tests.reliability.running import preload, run_fork
from tests.swatchvault.factories import STUDIO

SHARED_POT = "SHARED"
FIRST_PHOTO = "first.jpg"
SAME_EVERY = 5  # one photo in so many is one that every writer adds


class AtOnceError(Exception):
    """A reader or writer was refused, or read what cannot be."""


@dataclass(frozen=True)
class Written:
    """What must be found afterwards, once: a photo's file name or a line of a pot's log."""

    kind: str
    name: str


Write = Callable[[int], Written]
Read = Callable[[int], None]


@dataclass
class Report:
    """What the processes said, put together."""

    written: list[Written] = field(default_factory=list)
    reads: int = 0
    errors: list[str] = field(default_factory=list)

    def line(self) -> str:
        kinds = Counter(w.kind for w in self.written)
        parts = ", ".join(f"{n} of {kind}" for kind, n in sorted(kinds.items()))
        return (
            f"{len(self.written)} writes ({parts}), {self.reads} reads, {len(self.errors)} errors"
        )


# ---------------------------------------------------------------------------------------------
# Writers and readers by the command line
# ---------------------------------------------------------------------------------------------


def make_shared_archive(folder: Path) -> Path:
    """An archive with a small studio, one photo, and a pot that all writers add to."""
    with create_archive(folder) as archive:
        apply_notes(archive.conn, STUDIO)
    pot = ("pot", "start", SHARED_POT, "Low sun", "Lumme", "--goods", "100 g")
    told(run_fork(*pot, "--archive", folder))
    photo = folder.parent / FIRST_PHOTO
    write_photo(photo, np.random.default_rng(1), small=True)
    told(run_fork("add", photo, *_of("first"), "--archive", folder))
    return folder


def _of(label: str) -> tuple[str, ...]:
    what = ("--swatch", label, "--lot", f"lot {label}", "--colourway", "Both")
    return (*what, "--base", "Lumme", "--form", "knit", "--create")


def told(ran: tuple[int, str]) -> str:
    """What a command printed; AtOnceError if it failed or said anything of an error."""
    code, text = ran
    if code != 0 or "Traceback" in text:
        raise AtOnceError(f"exit code {code}: {text[-600:]}")
    return text


def write_by_command(archive: Path, scratch: Path, name: str, number: int) -> Written:
    """A photo of its own, a photo that others add too, or a look into the shared pot, in turn."""
    if number % 2:
        note = f"{name} looked {number}"
        told(run_fork("pot", "look", SHARED_POT, "--note", note, "--archive", archive))
        return Written("pot step", note)
    if number % (2 * SAME_EVERY) == 0:
        photo, seed, label = scratch / f"same-{number}.jpg", (9, number), f"same {number}"
        if not photo.exists():
            made = scratch / f"{name}-{photo.name}"
            write_photo(made, np.random.default_rng(seed), small=True)
            marks = made.with_name(f"{made.stem}.marks.json")
            marks.replace(photo.with_name(f"{photo.stem}.marks.json"))
            made.replace(photo)
    else:
        photo, label = scratch / f"{name}-{number}.jpg", f"{name} {number}"
        write_photo(photo, np.random.default_rng(list(label.encode())), small=True)
    told(run_fork("add", photo, *_of(label), "--archive", archive))
    return Written("photo", photo.name)


READS: tuple[tuple[str, ...], ...] = (
    ("list", "colours"),
    ("list", "lots", "--json"),
    ("show", "lot", "L1"),
    ("show", "colourway", "Low sun"),
    ("pot", "log", SHARED_POT),
    ("near", "45,20,-10", "--json"),
    ("export", "measurement"),
)


def read_by_command(archive: Path, number: int) -> None:
    """One of :data:`READS`."""
    told(run_fork(*READS[number % len(READS)], "--archive", archive))


# ---------------------------------------------------------------------------------------------
# All at once
# ---------------------------------------------------------------------------------------------


def _loop(work: Callable[[int], Any], until: float, pause_s: float, seed: int, pipe: Any) -> None:
    rng, done, errors, number = random.Random(seed), [], [], 0
    while time.time() < until:
        try:
            done.append(work(number))
        except Exception as error:
            errors.append(f"{type(error).__name__}: {error}")
        number += 1
        time.sleep(rng.uniform(0.0, pause_s))
    pipe.send((done, errors))


def run_at_once(
    writers: Sequence[Write], readers: Sequence[Read], seconds: float, pause_s: float = 0.05
) -> Report:
    """Every writer and reader in a process of its own, over and over, for so many seconds."""
    context = get_context("fork")
    until, running = time.time() + seconds, []
    for seed, work in enumerate((*writers, *readers)):
        mine, other = context.Pipe()
        process = context.Process(target=_loop, args=(work, until, pause_s, seed, other))
        process.start()
        running.append((process, mine))
    report = Report()
    for process, pipe in running:
        try:
            done, errors = pipe.recv()
        except EOFError:
            done, errors = [], ["a process died"]
        process.join()
        report.written += [w for w in done if isinstance(w, Written)]
        report.reads += sum(w is None for w in done)
        report.errors += errors
    return report


def missing_or_doubled(archive: Path, written: Sequence[Written]) -> list[str]:
    """In a line each, what was written and is not there just once, and what else is wrong."""
    wrong = [] if integrity(archive) == "ok" else [f"integrity_check: {integrity(archive)}"]
    with open_archive(archive) as opened:
        photos = Counter(r[0] for r in opened.conn.execute(_PHOTOS))
        steps = Counter(r[0] for r in opened.conn.execute(_STEPS, (SHARED_POT,)))
        wrong += [str(p) for p in verify(opened)]
    found = {"photo": photos, "pot step": steps}
    for each in set(written):
        count = found[each.kind][each.name]
        if count != 1:
            wrong.append(f"{each.kind} {each.name!r} is there {count} times")
    for kind, names in found.items():
        told_of = {w.name for w in written if w.kind == kind} | {FIRST_PHOTO}
        wrong += [f"{kind} {name!r} was never told of" for name in set(names) - told_of]
    return wrong


_PHOTOS = (
    "SELECT photo.original_name FROM measurement JOIN layout ON layout.id = layout_id "
    "JOIN photo ON photo.id = photo_id JOIN swatch ON swatch.id = swatch_id"
)
_STEPS = (
    "SELECT pot_step.note FROM pot_step JOIN lot ON lot.id = lot_id "
    "WHERE lot.code = ? AND pot_step.note IS NOT NULL"
)


def run_by_command(writers: int, readers: int, seconds: float) -> tuple[Report, list[str]]:
    """The whole of it by the command line: the report, and what was wrong."""
    preload(*(f"swatchvault.commands.{m}" for m in ("look", "pots", "find")))
    with tempfile.TemporaryDirectory() as folder:
        archive = make_shared_archive(Path(folder) / "archive")
        report = run_at_once(
            [partial(write_by_command, archive, Path(folder), f"w{i}") for i in range(writers)],
            [partial(_shifted, archive, i) for i in range(readers)],
            seconds,
        )
        return report, [*report.errors, *missing_or_doubled(archive, report.written)]


def _shifted(archive: Path, shift: int, number: int) -> None:
    read_by_command(archive, number + shift)
