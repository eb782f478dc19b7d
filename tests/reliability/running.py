"""The command line run in a child of its own, which can be killed with all that belongs to it."""

from __future__ import annotations

import importlib
import os
import pkgutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path

import ingest
import swatchvault.cli

TIMEOUT_S = 120.0


def preload(*modules: str) -> None:
    """Load what most commands load, so that forks begin with it."""
    own = [f"ingest.{m.name}" for m in pkgutil.iter_modules(ingest.__path__)]
    most = ("cv2", "scipy.interpolate", "swatchvault.filing", "swatchvault.commands.add")
    for name in (*most, *own, *modules):
        importlib.import_module(name)


def start_program(words: Sequence[str], out: Path) -> int:
    """Begin a whole new `swatchvault WORDS`, its output to ``out``; the pid of its group."""
    with out.open("wb") as file:
        program = [sys.executable, "-m", "swatchvault", *words]
        return subprocess.Popen(
            program, stdout=file, stderr=subprocess.STDOUT, start_new_session=True
        ).pid


def start_fork(words: Sequence[str], out: Path, before: Callable[[], None] | None = None) -> int:
    """Begin the same in a fork of this process; ``before`` is called in the child first."""
    sys.stdout.flush()
    sys.stderr.flush()
    pid = os.fork()
    if pid:
        return pid
    code = 70
    try:
        os.setsid()
        number = os.open(out, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o644)
        os.dup2(number, 1)
        os.dup2(number, 2)
        sys.stdout = os.fdopen(1, "w", encoding="utf-8", closefd=False)
        sys.stderr = os.fdopen(2, "w", encoding="utf-8", closefd=False)
        if before is not None:
            before()
        swatchvault.cli.main(list(words))
    except SystemExit as stop:
        code = stop.code if isinstance(stop.code, int) else 1
    except BaseException:
        sys.excepthook(*sys.exc_info())
    finally:
        with suppress(OSError):
            sys.stdout.flush()
        os._exit(code)


def run_fork(*words: object) -> tuple[int, str]:
    """Run a command in a fork to its end: (exit code, everything that it printed)."""
    with tempfile.NamedTemporaryFile() as file:
        code = wait_for(start_fork([str(w) for w in words], Path(file.name)))
        return code, Path(file.name).read_text(errors="replace")


def kill_group(pid: int) -> bool:
    """SIGKILL to the process group of a child; False if the child had ended by itself."""
    if has_ended(pid):
        os.waitpid(pid, 0)
        return False
    for kill in (os.killpg, os.kill):  # the group may not be made yet
        with suppress(ProcessLookupError):
            kill(pid, signal.SIGKILL)
    os.waitpid(pid, 0)
    return True


def has_ended(pid: int) -> bool:
    """Whether a child has ended; it is left to be waited for."""
    return os.waitid(os.P_PID, pid, os.WEXITED | os.WNOHANG | os.WNOWAIT) is not None


def wait_for(pid: int) -> int:
    """The exit code of a child; after two minutes it is killed."""
    end = time.monotonic() + TIMEOUT_S
    while not has_ended(pid):
        if time.monotonic() > end:
            kill_group(pid)
            return -signal.SIGKILL
        time.sleep(0.002)
    return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])


def wait_for_lines(out: Path, lines: int, pid: int) -> None:
    """Until ``out`` has so many lines, or the child has ended."""
    end = time.monotonic() + TIMEOUT_S
    while lines and time.monotonic() < end and not has_ended(pid):
        if out.exists() and out.read_bytes().count(b"\n") >= lines:
            return
        time.sleep(0.001)
