"""Keep the decoding libraries' own words off the person's screen, and read them.

libjpeg and libtiff tell of damage in a picture on standard error and nowhere else.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
import threading
from collections.abc import Iterator
from dataclasses import dataclass

#: How lines of libjpeg (jerror.h), libpng, OpenCV and LibRaw begin.
LIBRARY_LINES = (
    "Corrupt JPEG data",
    "Premature end of JPEG",
    "Invalid ",
    "Inconsistent progression",
    "Unknown Adobe color transform",
    "Unsupported ",
    "Warning:",
    "libpng ",
    "[ERROR:",
    "[ WARN:",
    "unknown file:",
    "<unknown file>:",
)
_READ_BYTES = 100_000  # our choice

_lock = threading.Lock()


@dataclass
class Said:
    """What was written to standard error while it was captured."""

    text: str = ""


@contextlib.contextmanager
def captured_stderr() -> Iterator[Said]:
    """Capture the process's descriptor 2, one block at a time; ``.text`` is filled at the end.

    What others wrote meanwhile is passed on afterwards.
    """
    said = Said()
    with _lock, contextlib.ExitStack() as stack:
        try:
            kept = os.dup(2)
        except OSError:  # no standard error: nothing to keep clean
            yield said
            return
        stack.callback(os.close, kept)
        scratch = stack.enter_context(tempfile.TemporaryFile())
        os.dup2(scratch.fileno(), 2)
        try:
            yield said
        finally:
            os.dup2(kept, 2)
            scratch.seek(0)
            said.text = scratch.read(_READ_BYTES).decode("utf-8", errors="replace")
            for line in said.text.splitlines(keepends=True):
                if line.strip() and not line.startswith(LIBRARY_LINES):
                    os.write(2, line.encode())


@contextlib.contextmanager
def opencv_warnings() -> Iterator[None]:
    """OpenCV's own log at the level of warnings inside the block, whatever it was before."""
    import cv2

    log = cv2.utils.logging
    before = log.getLogLevel()
    log.setLogLevel(log.LOG_LEVEL_WARNING)
    try:
        yield
    finally:
        log.setLogLevel(before)
