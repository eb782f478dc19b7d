"""An address of each route of the demo archive, for tests that go through all of them."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

Find = Callable[[str], str]

#: Route's pattern to an address; ``{...}`` is a query whose first value is put in.
EXAMPLES: dict[str, str] = {
    r"/$": "/",
    r"/enter$": "/enter?key=none",
    r"/leave$": "/leave",
    r"/devices$": "/devices",
    r"/thumb/(?P<sha256>[0-9a-f]{64})$": "/thumb/{SELECT sha256 FROM photo}",
    r"/original/(?P<sha256>[0-9a-f]{64})$": "/original/{SELECT sha256 FROM photo}",
}

#: Answers that are no pages: pictures, data for scripts, printed sheets.
NO_PAGES = ("/thumb/", "/original/")


def address(pattern: str, folder: Path) -> str:
    """The example of a route, with values of the archive in ``folder``."""
    said = EXAMPLES[pattern]
    while "{" in said:
        start, rest = said.split("{", 1)
        sql, end = rest.split("}", 1)
        with sqlite3.connect(folder / "archive.db") as conn:
            said = start + str(conn.execute(sql).fetchone()[0]) + end
    return said
