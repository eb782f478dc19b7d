"""What is declared to be needed is what the program imports, and no more."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from importlib.metadata import packages_distributions
from pathlib import Path

ROOT = Path(__file__).parents[1]
OURS = ("ingest", "swatchvault", "example_archive")
#: Comes with what is declared, and is part of its interface.
COMES_ALONG = {"markupsafe": "datasette"}


def plain(name: str) -> str:
    return re.split(r"[<>=\[;, ]", name)[0].lower().replace("_", "-")


def imported() -> set[str]:
    """Top-level modules, not Python's own, that the program's files import anywhere in them."""
    found: set[str] = set()
    for path in (p for name in OURS for p in (ROOT / name).rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                found |= {alias.name.split(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
                found.add(node.module.split(".")[0])
    return found - set(sys.stdlib_module_names) - set(OURS)


def test_what_is_imported_is_declared_and_what_is_declared_is_imported() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    base = {plain(d) for d in project["dependencies"]}
    extras = {
        plain(d) for name in ("raw", "cluster") for d in project["optional-dependencies"][name]
    }
    owners = packages_distributions()
    needed = {
        module: {plain(d) for d in owners[module]}
        for module in imported()
        if COMES_ALONG.get(module) not in base
    }
    assert not {m: d for m, d in needed.items() if not d & (base | extras)}
    assert not base - set().union(*needed.values())
