"""The same batch, killed in front of each single thing it asks of disk and database, in turn."""

from __future__ import annotations

import os
import signal
import sys
import tempfile
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from swatchvault.archive import create_archive
from tests.reliability.kills import Bench, Round, judge, prepare, start
from tests.reliability.running import preload, wait_for

#: C functions that change a file, a folder or the database, by name.
CHANGING = frozenset(
    {"execute", "fsync", "chmod", "replace", "unlink", "write", "flush", "mkdir", "flock", "close"}
)
_ARCHIVE = f"{os.sep}swatchvault{os.sep}archive{os.sep}"


def watch_changes(number: int, harm: Callable[[str], None]) -> None:
    """From now on, count calls of :data:`CHANGING` in the archive's code; do harm before one.

    ``harm`` is given the function's name; what it raises comes out of that call.
    """
    seen = 0

    def watch(frame: Any, event: str, called: Any) -> None:
        nonlocal seen
        name = getattr(called, "__name__", "")
        if event != "c_call" or name not in CHANGING:
            return
        callers = (frame, frame.f_back or frame)  # Path.replace calls os.replace for the archive
        if not any(_ARCHIVE in f.f_code.co_filename for f in callers):
            return
        seen += 1
        if seen == number + 1:
            harm(name)

    sys.setprofile(watch)


def kill_before(number: int) -> None:
    """Kill the whole process group before the ``number``-th change from now."""
    watch_changes(number, lambda name: os.killpg(0, signal.SIGKILL))


def one_step(bench: Bench, number: int) -> Round:
    """Kill a run in front of its ``number``-th change, look, run it again, and look again."""
    with tempfile.TemporaryDirectory(dir=bench.folder) as scratch:
        archive, out = Path(scratch) / "archive", Path(scratch) / "out.txt"
        create_archive(archive).close()
        code = wait_for(start(bench.photos, archive, out, False, partial(kill_before, number)))
        said, strays, wrong = judge(bench, archive, out, False)
    killed = code == -signal.SIGKILL
    return Round(number, False, f"before change {number}", killed, said, strays, tuple(wrong))


def run_steps(photos: int, lanes: int, every: int = 1) -> Iterator[Round]:
    """One round for each ``every``-th change of a run of ``photos``, until a run ends by itself."""
    preload()
    with tempfile.TemporaryDirectory() as scratch:
        bench = prepare(Path(scratch), photos, whole=False)
        with ProcessPoolExecutor(lanes, mp_context=get_context("fork")) as pool:
            first = 0
            while True:
                numbers = range(first, first + 2 * lanes * every, every)
                rounds = list(pool.map(one_step, [bench] * len(numbers), numbers))
                yield from rounds
                if not all(r.killed for r in rounds):
                    return
                first = numbers.stop
