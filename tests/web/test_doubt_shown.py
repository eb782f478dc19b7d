"""Every measured colour stands with its ±, worked out here anew from what the archive stores."""

from __future__ import annotations

import html
import json
import math
import re
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.swatchvault.running import run

pytestmark = pytest.mark.anyio

AXES = ("L*", "a*", "b*")
PARTS = ("cov_region", "cov_frame", "cov_setup", "cov_profile")
PAGES = {
    "a search near a swatch": "/find?swatch=1&n=30",
    "a search by looks": "/find?swatch=1&rank=looks&n=30",
    "a lot": "/lot/{lot}",
    "a lot's card": "/lot/{lot}/card",
    "a swatch": "/swatch/{swatch}",
    "a colourway": "/colourway/{colourway}",
    "a base": "/base/{base}",
    "a check": "/check/1",
    "a recipe": "/recipe/1",
    "swatches that go together": "/groups?colourway={colourway}&form=wound+card&go=1",
}


def stored(folder: Path) -> dict[str, list[tuple[float, float]]]:
    """Values and doubts of every measurement, by swatch: of L*, a*, b* each."""
    columns = ", ".join(("lab_l", "lab_a", "lab_b", *PARTS))
    found: dict[str, list[tuple[float, float]]] = {}
    with sqlite3.connect(folder / "archive.db") as conn:
        sql = (
            f"SELECT swatch.label, {columns} FROM measurement JOIN swatch ON swatch.id = swatch_id"
        )
        for label, *row in conn.execute(sql):
            parts = [json.loads(text) for text in row[3:]]
            variances = [sum(part[axis][axis] for part in parts) for axis in range(3)]
            pairs = zip(row[:3], map(math.sqrt, variances), strict=True)
            found.setdefault(label, []).extend(pairs)
    return found


def words(folder: Path) -> list[str]:
    """Each measured value as it must stand: "L* 37.6 ± 4.1"."""
    return [
        f"{AXES[place % 3]} {value:.1f} ± {u:.1f}"
        for pairs in stored(folder).values()
        for place, (value, u) in enumerate(pairs)
    ]


def shown(page: str) -> list[str]:
    """What stands beside L*, a* and b* in the page's text."""
    text = re.sub(r"<(svg|input|label)\b.*?</\1>|<input[^>]*>", "", html.unescape(page), flags=re.S)
    found = re.findall(r'<span class="lab">([Lab]\* -?\d[^<]*)</span>', text)
    cells = re.findall(r'<td class="n lab" data-label="([Lab]\*)">([^<]*)</td>', text)
    return found + [" ".join(cell) for cell in cells]


@pytest.mark.parametrize("what", PAGES)
async def test_a_page_shows_each_colour_with_its_doubt(
    what: str, visitor: Callable[[str], Any], studio: Path
) -> None:
    with sqlite3.connect(studio / "archive.db") as conn:
        sql = (
            "SELECT lot.id, swatch.id, lot.colourway_id, swatch.base_id FROM lot_check "
            "JOIN swatch ON swatch.id = swatch_id JOIN lot ON lot.id = swatch.lot_id "
            "WHERE swatch.form = 'wound card'"
        )
        names = ("lot", "swatch", "colourway", "base")
        ids = dict(zip(names, conn.execute(sql).fetchone(), strict=True))
    page = (await visitor("dyer").get(PAGES[what].format(**ids))).text
    found = shown(page)
    assert len(found) >= 3 and {f[:2] for f in found} == set(AXES)
    assert [f for f in found if f not in words(studio)] == []
    assert "one standard uncertainty" in page or what in ("a check", "a recipe")


async def test_a_doubt_that_is_not_known_is_said(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    with sqlite3.connect(studio / "archive.db") as conn:
        triggers = conn.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for (name,) in triggers:
            conn.execute(f'DROP TRIGGER "{name}"')
        null = json.dumps([[None] * 3] * 3)
        conn.execute("UPDATE measurement SET cov_frame = ?", (null,))
    for path in ("/lot/1", "/find?swatch=1", "/colourway/1", "/recipe/1"):
        page = (await visitor("dyer").get(path)).text
        assert "± not known" in page, path
        assert all("±" not in f for f in shown(page)), path
    page = (await visitor("dyer").get("/find?by=typed&what=45,20,-10")).text
    assert "± not known" not in page.split("<ol")[0]


async def test_datasettes_table_of_colours_has_it_too(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    page = html.unescape((await visitor("dyer").get("/archive/colours?_size=100")).text)
    cells = re.findall(r'<td class="col-lab_a[^"]*">([^<]*)</td>', page)
    assert len(cells) > 20
    assert [cell for cell in cells if f"a* {cell}" not in words(studio)] == []


COMMANDS = (
    ("near", "NF-1 card"),
    ("near", "45,20,-10"),
    ("like", "NF-1 card"),
    ("list", "colours"),
)


@pytest.mark.parametrize("command", COMMANDS, ids=" ".join)
def test_a_command_prints_each_colour_with_its_doubt(
    command: tuple[str, ...], demo_once: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lines = run(capsys, *command, "--archive", demo_once).out.splitlines()
    known = stored(demo_once)
    seen = 0
    for line in lines:
        for label in (name for name in known if f"  {name}  " in f"  {line}"):
            found = re.findall(r"-?\d+\.\d ± \d+\.\d(?!\d)", line)
            assert found, line
            exact = {f"{value:.1f} ± {u:.1f}" for value, u in known[label]}  # rounded once
            assert set(found) <= exact, line
            seen += len(found)
    assert seen >= 30


def test_lots_against_each_other_say_how_sure_each_reading_is(
    demo_once: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = ("lots", "Ninth Furrow", "--archive", demo_once)
    (family,) = json.loads(run(capsys, *asked, "--json").out)
    text = run(capsys, *asked).out
    assert len(family["pairs"]) == 10
    for pair in family["pairs"]:
        reading = f"{pair['delta_e_00']:.2f} ± {pair['u']['reading']:.2f}"
        assert len(re.findall(re.escape(reading) + r" [wo?]", text)) >= 2, reading
    for point in family["course"]:
        assert f"ΔE00 {point['delta_e_00']:.2f} ± {point['u']['reading']:.2f} " in text


def test_groups_and_a_course_say_how_sure_their_figures_are(
    demo_once: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    there = ("--archive", demo_once)
    asked = ("groups", "--colourway", "Ninth Furrow", "--form", "wound card", *there)
    bridges = json.loads(run(capsys, *asked, "--json").out)["alternate"]
    text = run(capsys, *asked).out
    assert bridges and re.search(r"cannot tell: .* \(\d\.\d\d ± \d\.\d\d, within", text)
    for bridge in bridges:
        assert f"({bridge['delta_e_00']:.2f} ± {bridge['u']:.2f})" in text
    asked = ("drift", "Ninth Furrow", "--form", "wound card", *there)
    lots = json.loads(run(capsys, *asked, "--json").out)["lots"]
    lines = run(capsys, *asked).out.splitlines()
    for lot in lots:
        (line,) = [one for one in lines if f" {lot['lot']} " in one]
        assert f"{lot['values'][2]:+.2f} ± {lot['u']:.2f}" in line


def test_a_recipe_sheet_has_its_colour_with_its_doubt(
    demo_once: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = ("recipe", "Ninth Furrow", "Orrin four-ply", "--archive", demo_once)
    (line,) = [x for x in run(capsys, *asked).out.splitlines() if x.startswith("colour ")]
    found = [word.strip() for word in re.split(r"colour |  | \(", line)[1:4]]
    assert len(found) == 3 and set(found) <= set(words(demo_once))
