"""Which room may know of which: read from the source, so that a wrong arrow is seen."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


def imported(path: Path) -> set[str]:
    """Modules that a file imports anywhere, inside functions too."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return found


@pytest.mark.parametrize(
    ("room", "stranger"),
    [
        ("ingest", "swatchvault"),
        ("swatchvault/web", "swatchvault.commands"),
        ("swatchvault/archive", "swatchvault.web"),
        ("swatchvault/archive", "swatchvault.commands"),
    ],
)
def test_a_room_knows_nothing_of(room: str, stranger: str) -> None:
    files = sorted((ROOT / room).rglob("*.py"))
    assert files
    wrong = {
        str(path.relative_to(ROOT))
        for path in files
        for name in imported(path)
        if name == stranger or name.startswith(f"{stranger}.")
    }
    assert not wrong


#: How a line of SQL reads, or one is run.
SQL = re.compile(
    r"\b(SELECT|INSERT (OR \w+ )?INTO|UPDATE \w+ SET|DELETE FROM|PRAGMA|"
    r"(CREATE|DROP|ALTER) (TABLE|VIEW|INDEX|TRIGGER))\b"
)
RUN = re.compile(r"\.execute(many|script)?\(")


def speaks_sql(source: str) -> bool:
    """Whether a file has SQL in any of its texts, or runs some.

    >>> [speaks_sql(s) for s in ("a = 'SELECT 1'", "f'SELECT {b}'", "c.execute(d)", "'selected'")]
    [True, True, True, False]
    """
    texts = (
        node.value
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    )
    return bool(RUN.search(source)) or any(SQL.search(text) for text in texts)


def test_only_the_archive_speaks_sql() -> None:
    files = [*(ROOT / "ingest").rglob("*.py"), *(ROOT / "swatchvault").rglob("*.py")]
    speaking = {path.relative_to(ROOT) for path in files if speaks_sql(path.read_text("utf-8"))}
    archive = {path for path in speaking if path.parts[:2] == ("swatchvault", "archive")}
    assert len(archive) > 20
    assert not sorted(map(str, speaking - archive))
