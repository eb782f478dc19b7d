"""Which room may know of which: read from the source, so that a wrong arrow is seen."""

from __future__ import annotations

import ast
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


def test_only_the_archive_speaks_sql() -> None:
    wrong = {
        str(path.relative_to(ROOT))
        for path in (ROOT / "swatchvault").rglob("*.py")
        if "archive" not in path.relative_to(ROOT).parts and ".execute(" in path.read_text("utf-8")
    }
    assert not wrong
