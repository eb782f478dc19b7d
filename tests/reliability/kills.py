"""A batch of photos is added and killed at a random moment; nothing that was said may be lost.

Most runs are forked from a process that has the program loaded, so that the moments fall into the
work and not into starting Python; one in ten is a whole new `swatchvault add --workers 2`.
"""

from __future__ import annotations

import random
import tempfile
import time
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

from swatchvault.archive import create_archive, open_archive, verify
from tests.reliability.content import Contents, contents, differences, integrity
from tests.reliability.photos import write_batch
from tests.reliability.running import (
    kill_group,
    preload,
    start_fork,
    start_program,
    wait_for,
    wait_for_lines,
)

#: What `verify` may report between a kill and the next run: files whose rows are still to come.
LEFT_BY_A_KILL = frozenset({"half-written file", "file without row"})
WHOLE_EVERY = 10  # every so many rounds a whole new program with two workers


@dataclass(frozen=True)
class Pace:
    """How long an undisturbed run takes to its first line, and from line to line."""

    first_s: float
    each_s: float


@dataclass(frozen=True)
class Bench:
    """A batch of photos, what adding it undisturbed gives, and its pace by way of running."""

    folder: Path
    photos: Path
    count: int
    wanted: Contents
    pace: dict[bool, Pace]


@dataclass(frozen=True)
class Round:
    """One kill: when, how many photos had been filed by then, and what was wrong (nothing)."""

    number: int
    whole: bool
    after: str
    killed: bool
    said: int
    strays: int
    wrong: tuple[str, ...]

    def line(self) -> str:
        way = "program" if self.whole else "fork"
        state = "killed" if self.killed else "had ended by itself"
        words = "; ".join(self.wrong) or "all right"
        return (
            f"{self.number} {way} {state} {self.after}: {self.said} said to be filed, "
            f"{self.strays} files without a row; {words}"
        )


def prepare(folder: Path, count: int, *, whole: bool = True) -> Bench:
    """Make the photos, and add them undisturbed once for each way of running."""
    photos = folder / "batch"
    write_batch(photos, count)
    pace, found = {}, []
    for way in (False, True) if whole else (False,):
        archive, out = folder / f"undisturbed-{way}", folder / "undisturbed.txt"
        create_archive(archive).close()
        began = time.monotonic()
        pid = start(photos, archive, out, way)
        wait_for_lines(out, 1, pid)
        first_s = time.monotonic() - began
        code = wait_for(pid)
        each_s = (time.monotonic() - began - first_s) / max(count - 1, 1)
        if code != 0 or verify_folder(archive):
            raise RuntimeError(f"the undisturbed run failed: {out.read_text()}")
        pace[way] = Pace(first_s, each_s)
        found.append(contents(archive))
    if whole and (wrong := differences(*found)):
        raise RuntimeError(f"one and two workers file different things: {wrong}")
    return Bench(folder, photos, count, found[0], pace)


def start(
    photos: Path, archive: Path, out: Path, whole: bool, before: Callable[[], None] | None = None
) -> int:
    """Begin `add` in a process group of its own, its words in ``out``; returns its pid."""
    words = ["add", str(photos), "--archive", str(archive), "--workers", "2" if whole else "1"]
    return start_program(words, out) if whole else start_fork(words, out, before)


def one_round(bench: Bench, number: int, seed: int) -> Round:
    """Kill one run at a random moment, look, run it again to its end, and look again.

    The moment is a random number of photos said to be filed, and a random time after that.
    """
    rng = random.Random(f"{seed}/{number}")
    whole = True in bench.pace and number % WHOLE_EVERY == 0
    lines, pace = rng.randrange(bench.count + 1), bench.pace[whole]
    pause_s = rng.uniform(0.0, pace.each_s if lines else pace.first_s)
    with tempfile.TemporaryDirectory(dir=bench.folder) as scratch:
        archive, out = Path(scratch) / "archive", Path(scratch) / "out.txt"
        create_archive(archive).close()
        pid = start(bench.photos, archive, out, whole)
        wait_for_lines(out, lines, pid)
        time.sleep(pause_s)
        killed = kill_group(pid)
        said, strays, wrong = judge(bench, archive, out, whole)
    after = f"{1000 * pause_s:.1f} ms after line {lines}"
    return Round(number, whole, after, killed, said, strays, tuple(wrong))


def judge(bench: Bench, archive: Path, out: Path, whole: bool) -> tuple[int, int, list[str]]:
    """After a kill: (photos said to be filed, strays, what is wrong now or after a re-run)."""
    said = filed_lines(out)
    wrong = []
    if (word := integrity(archive)) != "ok":
        wrong.append(f"integrity_check: {word}")
    problems = verify_folder(archive)
    wrong += [str(p) for p in problems if p.kind not in LEFT_BY_A_KILL]
    wrong += [f"{name} was said to be filed and is lost" for name in said - filed_in(archive)]
    again = out.with_name("again.txt")
    code = wait_for(start(bench.photos, archive, again, whole))
    text = again.read_text()
    if code != 0:
        wrong.append(f"the re-run left with {code}: {text[-300:]!r}")
    done = {line.split(": ")[0] for line in text.splitlines() if "nothing changed" in line}
    wrong += [f"{name} was measured anew after it was filed" for name in said - done]
    wrong += [f"after the re-run, {p}" for p in verify_folder(archive)]
    wrong += [f"after the re-run, {d}" for d in differences(bench.wanted, contents(archive))]
    if (word := integrity(archive)) != "ok":
        wrong.append(f"integrity_check after the re-run: {word}")
    return len(said), len(problems), wrong


def filed_lines(out: Path) -> set[str]:
    """The photos that a run's whole lines say are filed."""
    lines = out.read_text(errors="replace").split("\n")[:-1]
    return {line.split(": ")[0] for line in lines if ": filed, " in line}


def filed_in(archive: Path) -> set[str]:
    """The photos that have a current measurement."""
    with open_archive(archive) as opened:
        sql = "SELECT original_name FROM photo JOIN current_measurement ON photo_id = photo.id"
        return {str(r[0]) for r in opened.conn.execute(sql)}


def verify_folder(archive: Path) -> list:
    with open_archive(archive) as opened:
        return verify(opened)


# ---------------------------------------------------------------------------------------------
# Many rounds
# ---------------------------------------------------------------------------------------------


def run_kills(times: int, photos: int, lanes: int, seed: int) -> Iterator[Round]:
    """``times`` rounds over ``lanes`` processes, as they come."""
    preload()
    with tempfile.TemporaryDirectory() as scratch:
        bench = prepare(Path(scratch), photos)
        with ProcessPoolExecutor(lanes, mp_context=get_context("fork")) as pool:
            running: set[Future[Round]] = set()
            for number in range(times):
                running.add(pool.submit(one_round, bench, number, seed))
                if len(running) > lanes:
                    done, running = wait(running, return_when=FIRST_COMPLETED)
                    yield from (f.result() for f in done)
            yield from (f.result() for f in running)
