"""Which room may know of which: read from the source, so that a wrong arrow is seen."""

from __future__ import annotations

import ast
import fnmatch
import re
from collections.abc import Collection
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


def files_of(package: str) -> list[str]:
    """The files of a package, from its folder on."""
    return sorted(
        path.relative_to(ROOT / package).as_posix() for path in (ROOT / package).rglob("*.py")
    )


def rows_of(package: str) -> list[list[str]]:
    """The names in each row of a package's list in DEVELOPERS.md, from the top."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    table = text.split(f"`{package}`:\n\n")[1].split("\n\n")[0]
    return [re.findall(r"`([^`]+)`", line.split("|")[1]) for line in table.splitlines()[2:]]


def places(name: str, rows: list[list[str]]) -> list[int]:
    """The rows that name a file, a room that it is in, or else what it is like.

    >>> rows = [["a.py"], ["a*.py", "b/"]]
    >>> places("a.py", rows), places("ab.py", rows), places("b/c.py", rows), places("c.py", rows)
    ([0], [1], [1], [])
    """
    told = [(row, said) for row, names in enumerate(rows) for said in names]
    named = [
        row for row, said in told if name == said or (said.endswith("/") and name.startswith(said))
    ]
    return named or [row for row, said in told if "*" in said and fnmatch.fnmatch(name, said)]


def file_of(name: str, files: Collection[str]) -> str | None:
    """The file of a package from which a name below the package comes: of a module, or of what a
    package's own file holds; ``None`` for what a module holds, which is named by itself too.

    >>> files = ["__init__.py", "a.py", "b/__init__.py"]
    >>> [file_of(name, files) for name in ("a", "b", "version", "a.f")]
    ['a.py', 'b/__init__.py', '__init__.py', None]
    """
    path = name.replace(".", "/")
    found = next((p for p in (f"{path}.py", f"{path}/__init__.py") if p in files), None)
    return found or (None if "." in name else "__init__.py")


@pytest.mark.parametrize("package", ["ingest", "swatchvault"])
def test_every_file_stands_once_in_its_list(package: str) -> None:
    files, rows = files_of(package), rows_of(package)
    found = {name: places(name, rows) for name in files}
    assert not {name: at for name, at in found.items() if len(at) != 1}
    for said in (said for names in rows for said in names):
        assert any(places(name, [[said]]) for name in files), f"{said} is listed and not there"


@pytest.mark.parametrize("package", ["ingest", "swatchvault"])
def test_a_file_imports_only_of_its_own_row_and_of_rows_above(package: str) -> None:
    files, rows = files_of(package), rows_of(package)
    wrong, seen = [], 0
    for name in files:
        for module in imported(ROOT / package / name):
            if not module.startswith(f"{package}."):
                continue
            of = file_of(module.removeprefix(f"{package}."), files)
            seen += of is not None
            if of is not None and places(of, rows) > places(name, rows):
                wrong.append(f"{name} imports {of}")
    assert seen > len(files)
    assert not wrong


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
