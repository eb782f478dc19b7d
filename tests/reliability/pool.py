"""Workers that measure broken pictures; one that hangs, dies or grows is replaced."""

from __future__ import annotations

import json
import os
import resource
import signal
import tempfile
import time
import traceback
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from multiprocessing import get_context
from multiprocessing.connection import Connection, wait
from pathlib import Path
from typing import Any

from ingest.exif import clean_text
from ingest.flags import check_flags
from swatchvault.batch import Job, measure_one
from tests.reliability.mutants import LAYOUT, mutant, wholes

HANG_S = 10.0
MEMORY_MB = 1500.0
_GUARD_BYTES = 8 << 30  # of address space: so that a bomb ends its worker and not the machine
_RENEW_AFTER = 2000  # photos for one worker
_START_S = 300.0  # on a busy machine; loading is no part of a photo's time
READY = "ready"


@dataclass(frozen=True)
class Verdict:
    """What became of one mutant: "refused", "measured", or what went wrong in ``wrong``."""

    number: int
    kind: str
    outcome: str
    words: str
    seconds: float
    peak_mb: float
    wrong: str = ""


def try_bytes(number: int, kind: str, data: bytes, folder: Path) -> Verdict:
    """Measure ``data`` as a photo in this process, and judge what comes of it."""
    path = folder / f"mutant.{kind.lower()}"
    path.write_bytes(data)
    said = folder / "said.txt"
    began = time.monotonic()
    outcome, words, wrong = "", "", ""
    with said.open("wb") as file:
        kept = os.dup(2)
        os.dup2(file.fileno(), 2)
        try:
            outcome, words, wrong = _judge(Job(path, LAYOUT))
        except BaseException:
            outcome, wrong = "raised", traceback.format_exc()
        finally:
            os.dup2(kept, 2)
            os.close(kept)
    seconds = time.monotonic() - began
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    if not wrong and said.stat().st_size:
        wrong = f"said on standard error: {said.read_text(errors='replace')[:300]!r}"
    if not wrong and peak_mb > MEMORY_MB:
        wrong = f"{peak_mb:.0f} MB at its peak"
    return Verdict(number, kind, outcome, words, seconds, peak_mb, wrong)


def _judge(job: Job) -> tuple[str, str, str]:
    outcome = measure_one(job)
    if outcome.measurement is None:
        line = outcome.error or ""
        bad = not line or not line.isprintable() or len(line) > 500
        return "refused", line, f"not a plain line: {line[:300]!r}" if bad else ""
    found = outcome.measurement
    json.dumps(found.record(), allow_nan=False)
    flags = frozenset(found.flags).union(*(s.flags for s in found.swatches))
    check_flags(flags)
    for text in (found.camera, found.taken_at, found.encoding, found.format):
        if text is not None and text != clean_text(text):
            return "measured", ", ".join(sorted(flags)), f"not plain text: {text!r}"
    return "measured", ", ".join(sorted(flags)), ""


# ---------------------------------------------------------------------------------------------
# The pool
# ---------------------------------------------------------------------------------------------


def _work(pipe: Connection, seed: int) -> None:
    import cv2

    cv2.setNumThreads(1)
    resource.setrlimit(resource.RLIMIT_AS, (_GUARD_BYTES, _GUARD_BYTES))
    with tempfile.TemporaryDirectory() as scratch:
        try_bytes(-1, "JPEG", wholes()["JPEG"][0], Path(scratch))  # all is loaded from here on
        pipe.send(READY)
        while True:
            number = pipe.recv()
            if number is None:
                return
            kind, data = mutant(number, seed)
            pipe.send(try_bytes(number, kind, data, Path(scratch)))


def start_context() -> Any:
    """Not "fork": the raw decoder's threads do not come along, and it would wait for them."""
    context = get_context("forkserver")
    context.set_forkserver_preload(["cv2", "scipy.ndimage", "tests.reliability.mutants"])
    return context


class _Worker:
    """One process, the mutant it is at, and since when."""

    def __init__(self, seed: int) -> None:
        context = start_context()
        self.pipe, other = context.Pipe()
        self.process: Any = context.Process(target=_work, args=(other, seed), daemon=True)
        self.process.start()
        other.close()
        if not self.pipe.poll(_START_S) or self.pipe.recv() != READY:
            raise RuntimeError("a worker did not start")
        self.number, self.since, self.done = -1, 0.0, 0

    def give(self, number: int) -> None:
        self.number, self.since = number, time.monotonic()
        self.pipe.send(number)

    def end(self) -> int:
        """Kill the process if it still runs; its exit code before that, or minus SIGKILL."""
        self.process.join(0.2)
        code = self.process.exitcode
        if code is None:
            os.kill(self.process.pid, signal.SIGKILL)
            self.process.join()
        self.pipe.close()
        return -signal.SIGKILL if code is None else code


def try_many(numbers: Iterable[int], seed: int, workers: int) -> Iterator[Verdict]:
    """A verdict for each number, as they come."""
    waiting = iter(numbers)
    busy: list[_Worker] = []
    spare = [_Worker(seed) for _ in range(workers)]
    while True:
        while spare and (number := next(waiting, None)) is not None:
            worker = spare.pop()
            worker.give(number)
            busy.append(worker)
        if not busy:
            break
        ready = wait([w.pipe for w in busy], timeout=0.5)
        for worker in list(busy):
            verdict = _hear(worker, worker.pipe in ready, seed)
            if verdict is not None:
                busy.remove(worker)
                spare.append(_renewed(worker, verdict, seed))
                yield verdict
    for worker in spare:
        worker.pipe.send(None)
        worker.end()


def _hear(worker: _Worker, ready: bool, seed: int) -> Verdict | None:
    took = time.monotonic() - worker.since
    if ready:
        try:
            verdict: Verdict = worker.pipe.recv()
            return verdict
        except (EOFError, OSError):
            worker.process.join(5)
            wrong = f"the process died ({worker.process.exitcode})"
            return Verdict(
                worker.number, mutant(worker.number, seed)[0], "died", "", took, 0, wrong
            )
    if took > HANG_S:
        kind = mutant(worker.number, seed)[0]
        wrong = f"no answer in {HANG_S:g} s"
        return Verdict(worker.number, kind, "hung", "", took, 0, wrong)
    return None


def _renewed(worker: _Worker, verdict: Verdict, seed: int) -> _Worker:
    worker.done += 1
    lost = verdict.outcome in ("died", "hung")
    if not lost and verdict.peak_mb <= MEMORY_MB and worker.done < _RENEW_AFTER:
        return worker
    if not lost:
        worker.pipe.send(None)
    worker.end()
    return _Worker(seed)
