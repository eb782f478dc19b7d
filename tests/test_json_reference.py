"""JSON.md against what the commands print: every key is in its table, every row is printed."""

from __future__ import annotations

import json
import re
import shlex
import shutil
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from importlib.resources import files
from pathlib import Path
from typing import Any

import click
import numpy as np
import pytest
from PIL import Image

from ingest.colour import SRGB_TO_XYZ
from ingest.evenness_corehalo import told_of
from ingest.evenness_rim import Rim
from swatchvault.archive import BaseLot, add_base_lot, open_archive
from swatchvault.archive.about import ABOUT
from swatchvault.archive.eye import name_class
from swatchvault.archive.listing import LISTS
from swatchvault.cli import group, main
from swatchvault.commands.look import KINDS
from swatchvault.drift import LotFacts, course
from swatchvault.lotcheck import LeftOut
from tests.swatchvault.running import run
from tests.swatchvault.test_liquor_command import photograph, views

PAGE = (Path(__file__).parents[1] / "swatchvault" / "JSON.md").read_text("utf-8")
ALL_OF_IT = "(all of it)"
MAY_BE_NULL, ONLY_WHERE = "may be null", "only where"
#: What a value of each type of a table is; a link is the table of another section.
TYPES: dict[str, tuple[type, ...]] = {
    "text": (str,),
    "number": (int, float),
    "whole number": (int,),
    "true or false": (bool,),
    "object": (dict,),
    "list": (list,),
}
LINK = re.compile(r"\[[^]]+\]\(#([^)]+)\)")
Path_ = tuple[str, ...]


# --- the page ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Row:
    """A row of a table. ``path``: the key in its parts, ``[]`` for each item of a list."""

    path: Path_
    types: str
    says: str

    @property
    def named(self) -> bool:
        """Whether the last part stands for any name, as ``DYE`` does."""
        return bool(self.path) and any_name(self.path[-1])


@dataclass
class Section:
    title: str
    rows: list[Row] = field(default_factory=list)
    examples: list[str] = field(default_factory=list)


def any_name(part: str) -> bool:
    return part.isalpha() and part.isupper()


def parts(key: str) -> Path_:
    """
    >>> parts("a[].b c[][]")
    ('a', '[]', 'b c', '[]', '[]')
    """
    return tuple(re.findall(r"\[\]|[^.\[\]]+", "" if key == ALL_OF_IT else key))


def sections(page: str) -> dict[str, Section]:
    """The page's sections by their addresses."""
    found: dict[str, Section] = {}
    section, fenced = Section(""), False
    for line in page.splitlines():
        if line.startswith("```"):
            fenced = not fenced
        elif fenced:
            section.examples.append(line)
        elif heading := re.fullmatch(r"##+ (.+)", line):
            section = Section(heading[1])
            found[section.title.lower().replace(" ", "-")] = section
        elif line.startswith(("| `", f"| {ALL_OF_IT}")):
            key, types, *says = (cell.strip() for cell in line.strip("| ").split(" | "))
            section.rows.append(Row(parts(key.strip("`")), types, " ".join(says)))
    return found


SECTIONS = sections(PAGE)


def whole(rows: list[Row], found: dict[str, Section]) -> list[Row]:
    """Rows with those of the sections that they refer to."""
    out = []
    for row in rows:
        link = LINK.fullmatch(row.types)
        if link is None:
            out.append(row)
            continue
        other = whole(found[link[1]].rows, found)
        own = next((r.types for r in other if not r.path), "object")
        out.append(Row(row.path, own, row.says))
        out += [Row(row.path + r.path, r.types, r.says) for r in other if r.path]
    return out


# --- what is printed against it ----------------------------------------------------------------


class Table:
    """A section's rows, and which of them were met."""

    def __init__(self, rows: list[Row]) -> None:
        self.rows = rows
        self.met: set[Path_] = set()
        self.wrong: dict[str, None] = {}

    def row(self, path: Path_) -> Row | None:
        """The row of a path, by its name or as any name."""
        same = [r for r in self.rows if len(r.path) == len(path) and fits(r.path, path)]
        return min(same, key=lambda r: sum(map(any_name, r.path)), default=None)

    def complain(self, path: Path_, what: str) -> None:
        self.wrong[f"{'.'.join(path).replace('.[]', '[]') or ALL_OF_IT}: {what}"] = None

    def hold(self, value: Any, path: Path_ = ()) -> None:
        """Hold a value, and all that is in it, to the table."""
        row = self.row(path)
        if row is not None:
            self.met.add(row.path)
        if value is None:
            told = row or self.row((*path, "[]")) or self.row((*path, "[]", "[]"))
            if told is None or MAY_BE_NULL not in told.says:
                self.complain(path, "is null, and no row says that it may be")
            if told is not None:
                self.met.add(told.path)
            return
        if row is None and not any(fits(r.path[: len(path)], path) for r in self.rows):
            self.complain(path, "is printed, and stands in no row")
        elif row is not None and not is_of(value, row.types):
            self.complain(path, f"is {value!r}, and its row says {row.types}")
        if isinstance(value, list):
            if not value:  # the key is printed, though nothing is in it
                self.met |= {p for p in ((*path, "[]"), (*path, "[]", "[]")) if self.row(p)}
            for item in value:
                self.hold(item, (*path, "[]"))
        elif isinstance(value, dict):
            for name, inner in value.items():
                self.hold(inner, (*path, name))
            for missing in self.always_in(path) - value.keys():
                self.complain((*path, missing), "is in its table, and is not printed")

    def always_in(self, path: Path_) -> set[str]:
        """Keys that every object at a path must have."""
        here = len(path)
        return {
            r.path[here]
            for r in self.rows
            if len(r.path) > here
            and fits(r.path[:here], path)
            and r.path[here] != "[]"
            and not any_name(r.path[here])
            and set(r.path[here + 1 :]) <= {"[]"}
            and ONLY_WHERE not in r.says
        }

    def complaints(self) -> list[str]:
        """What was wrong, and rows that nothing was met of."""
        never = [r for r in self.rows if r.path not in self.met and not self.only_where(r.path)]
        for row in never:
            self.complain(row.path, "is in its table, and nothing printed it")
        return list(self.wrong)

    def only_where(self, path: Path_) -> bool:
        """Whether a row, or what it is in, is only there where its row says."""
        inside = [r for r in self.rows if r.path == path[: len(r.path)]]
        return any(ONLY_WHERE in r.says for r in inside)


def fits(told: Path_, path: Path_) -> bool:
    return len(told) == len(path) and all(
        a == b or (any_name(a) and b != "[]") for a, b in zip(told, path, strict=True)
    )


def is_of(value: Any, types: str) -> bool:
    kinds = [types] if types in TYPES else types.split(" or ")
    if isinstance(value, bool):
        return "true or false" in kinds
    return any(isinstance(value, TYPES[kind]) for kind in kinds)


def refuse(constant: str) -> None:
    raise AssertionError(f"{constant} is no JSON")


# --- the commands ------------------------------------------------------------------------------


def with_json(command: click.Command, name: str = "") -> Iterator[str]:
    """The names of all commands that take --json."""
    if isinstance(command, click.Group):
        context = click.Context(command)
        for own in command.list_commands(context):
            inner = command.get_command(context, own)
            assert inner is not None
            yield from with_json(inner, f"{name} {own}".strip())
    elif any("--json" in option.opts for option in command.params):
        yield name


COMMANDS = list(with_json(group))


def json_examples(section: Section) -> list[str]:
    return [line for line in section.examples if line.endswith(" --json")]


@pytest.fixture(scope="module")
def studio(demo_once: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the demo's photos and archive, and with what the demo has none of."""
    folder = tmp_path_factory.mktemp("json") / "studio"
    shutil.copytree(str(files("example_archive")), folder)
    shutil.copytree(demo_once, folder / "demo_archive")
    some_more(folder)
    with open_archive(folder / "demo_archive") as archive:
        add_base_lot(archive.conn, BaseLot("Orrin four-ply", "spring"))
        found = archive.conn.execute("SELECT swatch, unevenness FROM how_even").fetchall()
        for label, unevenness in found:  # a dyer who calls more of them solid than the program
            name_class(archive.conn, label, "solid" if unevenness < 0.9 else "semi-solid")
        thumb = next(iter(archive.thumbs.glob("*.jpg")))
    thumb.unlink()  # so that `verify` has something to tell
    glasses(folder)
    marks = json.loads((folder / "furrow-1.marks.json").read_text("utf-8"))
    corners = [[0.4, 0.4], [0.42, 0.4], [0.42, 0.425], [0.4, 0.425]]
    small = {**marks, "swatches": [{"name": "small", "polygon": corners}]}
    small.pop("scale", None)
    (folder / "small.json").write_text(json.dumps(small), "utf-8")
    return folder


def some_more(folder: Path) -> None:
    """Photos of more swatches: the demo has too few for a rule fitted to the eye."""
    for number in range(1, 4):
        with Image.open(folder / f"pear-{number}.jpg") as photo:
            kept = {"quality": 95, "icc_profile": photo.info.get("icc_profile")}
            photo.save(folder / f"more-{number}.jpg", **kept)
        shutil.copy(folder / f"pear-{number}.marks.json", folder / f"more-{number}.marks.json")
    told = "photo,region,swatch,colourway,base,lot,form,dry\n"
    for number, region in enumerate(("swatch", "new", "new"), 1):
        of = f"Pear on the Sill,Sillan lustre,PS-{number},wound card,yes"
        told += f"more-{number}.jpg,{region},PS-{number} more,{of}\n"
    (folder / "photos.csv").write_text(told, "utf-8")
    (folder / "studio.toml").unlink()
    with pytest.raises(SystemExit) as stop:
        main(["add", str(folder), "--archive", str(folder / "demo_archive")])
    assert stop.value.code == 0


def glasses(folder: Path) -> None:
    """Photos of a liquor, and ten of four colours, each set up anew in its own light."""
    seen = views({"start": 1.0, "again": 0.5, "hold 1": 0.4})
    white = seen["white"]
    for name, region in (("start", "start"), ("again", "again"), ("hold-1", "hold 1")):
        photograph(folder / f"{name}.jpg", {"white": white, region: seen[region]})
    rng = np.random.default_rng(1)
    dyes = {"red": (0.3, 0.08, 0.06), "green": (0.07, 0.25, 0.1), "blue": (0.06, 0.1, 0.3)}
    yellow = (0.5, 0.4, 0.12)  # in the place of the white, which these have no need of
    for number in range(10):
        light = 1.0 + 0.02 * rng.normal(size=3)
        seen = {name: np.array(rgb) * light for name, rgb in {"white": yellow, **dyes}.items()}
        photograph(folder / f"repeat-{number}.png", seen, seed=number, moved=2 * number)


# --- tests -------------------------------------------------------------------------------------


def test_every_command_with_json_has_its_section_and_an_example():
    titles = [s.title for s in SECTIONS.values()]
    assert sorted(t for t in titles if t in COMMANDS) == sorted(COMMANDS)
    shown = {" ".join(shlex.split(e)[1:]) for s in SECTIONS.values() for e in json_examples(s)}
    assert [c for c in COMMANDS if not any(f"{e} ".startswith(f"{c} ") for e in shown)] == []
    assert {t.removeprefix("list ") for t in titles if t.startswith("list ")} == set(LISTS)
    assert {t.removeprefix("show ") for t in titles if t.startswith("show ")} == set(KINDS)


def test_every_key_printed_is_in_its_table_and_every_row_is_printed(studio, monkeypatch, capsys):
    monkeypatch.setenv("SWATCHVAULT_ARCHIVE", str(studio / "demo_archive"))
    wrong = []
    for section in SECTIONS.values():
        table = Table(whole(section.rows, SECTIONS))
        for line in section.examples:
            program, *arguments = shlex.split(line)
            assert program == "swatchvault", line
            # Workers that other tests began do not follow a change of folder.
            named = [studio / a if (studio / a).is_file() else a for a in arguments]
            ran = run(capsys, *named)
            assert (ran.code == 0 or section.title == "verify") and not ran.err, (line, ran)
            if not line.endswith(" --json"):
                continue
            assert line.startswith(f"swatchvault {section.title.split()[0]} ")
            one_a_line = section.title == "measure"
            for text in ran.out.splitlines() if one_a_line else [ran.out]:
                table.hold(json.loads(text, parse_constant=refuse))
        if json_examples(section):
            wrong += [f"{section.title}: {said}" for said in table.complaints()]
    assert not wrong, "\n".join(wrong)


def test_an_error_is_text_on_standard_error_alone(studio, capsys):
    ran = run(capsys, "check", "nothing", "--archive", studio / "demo_archive", "--json")
    assert (ran.code, ran.out, ran.err.count("\n")) == (1, "", 1)
    assert run(capsys, "near", "--json").code == 2


def test_core_and_halo_are_told_as_their_rows_say():
    rim = Rim(0.4, 0.02, np.array([0.3, 0.08, 0.06]))
    told = told_of(rim, lambda rgb: np.asarray(rgb) @ SRGB_TO_XYZ.T)
    assert told is not None
    hold_a_part("tonality", ("core_halo",), told)


@pytest.mark.parametrize("section", ["check", "lots"])
def test_what_a_comparison_leaves_out_is_told_as_its_rows_say(section):
    hold_a_part(section, ("[]", "left_out"), [LeftOut("sun 2", "sun 1", "as it is").record()])


def test_a_broken_rule_is_told_as_its_rows_say():
    labs = [(50.0 + 0.1 * (i % 2), 20.0, 10.0) for i in range(11)] + [(60.0, 20.0, 10.0)]
    found = course(labs, [LotFacts(f"L{i}") for i in range(12)])
    assert found.broken
    hold_a_part("drift", ("broken",), [asdict(b) for b in found.broken])


def hold_a_part(section: str, path: Path_, value: Any) -> None:
    """Hold what the demo has none of to its rows, all of which it must meet."""
    table = Table([r for r in SECTIONS[section].rows if r.path[: len(path)] == path])
    table.hold(value, path)
    assert not table.wrong and table.met == {r.path for r in table.rows}


def test_every_table_and_view_that_can_be_exported_is_named():
    assert dict(re.findall(r"^- `(\w+)`: (.+)$", PAGE, re.MULTILINE)) == dict(ABOUT)


def test_every_link_leads_to_a_section():
    assert set(LINK.findall(PAGE)) <= SECTIONS.keys()


PLAIN = "## a\n| `x` | number | | it |\n| `y[]` | text | | them; may be null |\n"


@pytest.mark.parametrize(
    ("printed", "said"),
    [
        ({"x": 1.5, "y": ["b"]}, []),
        ({"x": 1.5, "y": None}, []),
        ({"x": 1.5, "y": ["b"], "z": 1}, ["z: is printed, and stands in no row"]),
        ({"y": ["b"]}, ["x: is in its table, and is not printed"]),
        ({"x": None, "y": ["b"]}, ["x: is null, and no row says that it may be"]),
        ({"x": "1", "y": ["b"]}, ["x: is '1', and its row says number"]),
        ({"x": True, "y": ["b"]}, ["x: is True, and its row says number"]),
        ({"x": 1, "y": []}, []),
        ([], ["x: is in its table, and nothing printed it"]),
    ],
)
def test_what_does_not_fit_is_told(printed, said):
    table = Table(sections(PLAIN)["a"].rows)
    table.hold(printed)
    found = table.complaints()
    assert found[: len(said)] == said and bool(found) == bool(said)
