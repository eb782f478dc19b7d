"""DEVELOPERS.md names only runs, files and names of the code that are there."""

import importlib.util
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
TEXT = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
FILES = [p for d in ("ingest", "swatchvault", "tests") for p in (ROOT / d).rglob("*.*")]
CODE = {".py", ".html", ".js"}
#: In backticks, in capitals or with an underscore, and yet no name of the code.
PLACEHOLDERS = {"NAME_command"}


@pytest.mark.parametrize("run", sorted(set(re.findall(r"python -m\s(tests[\w.]*)", TEXT))))
def test_a_run_that_is_told_of_is_there(run):
    found = importlib.util.find_spec(run)
    assert found is not None
    assert found.submodule_search_locations is None or importlib.util.find_spec(f"{run}.__main__")


def test_names_of_the_code_are_names_of_the_code():
    code = [p.read_text("utf-8") for p in FILES if p.suffix in CODE and p != Path(__file__)]
    words = set(re.findall(r"[A-Za-z_]\w*", "\n".join(code)))
    named = re.findall(r"`([A-Za-z_]\w*(?:\.(?!py`)[a-z_]\w*)*)(?:\(\))?`", TEXT)
    told = {w for name in named for w in name.split(".") if "_" in w or w.isupper()}
    assert len(told) > 20
    assert told - words <= PLACEHOLDERS


def test_files_that_are_told_of_are_there():
    told = set(re.findall(r"`([\w/]+\.(?:py|md|txt|csv|toml))`", TEXT))
    there = [f"/{p.relative_to(ROOT)}" for p in FILES]
    assert len(told) > 50
    assert not {f for f in told if not any(p.endswith(f"/{f}") for p in there)}
