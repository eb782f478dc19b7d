"""Sentences of the command line as a page says them, and what is told of a photo's form."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from ingest.correct import correct
from ingest.errors import ReferenceMissing
from ingest.flags import FLAGS
from ingest.model import Settings
from swatchvault import words
from swatchvault.archive import apply_notes, open_archive
from swatchvault.notes import read_notes
from swatchvault.web.said import (
    CREATE,
    NO_CARD,
    lacking,
    missed,
    not_kept,
    not_marked,
    on_page,
    recipe_toml,
)


def test_no_sentence_for_a_page_names_an_option() -> None:
    with pytest.raises(ReferenceMissing) as stop:
        correct(None, (), Settings())  # type: ignore[arg-type]  # no photo is read without one
    said = on_page(str(stop.value))
    assert NO_CARD in said and "mark it where it lies" in said
    every = [said, *map(on_page, (*FLAGS.values(), words.DYES_UNKNOWN))]
    assert not [s for s in every if "--" in s or "marks file" in s]


REGION = {"region": "new", "swatch": "", "base": "", "form": "", "lot": "", "colourway": ""}


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ({}, []),
        ({"swatch": "old"}, []),
        ({"swatch": "old", "lot": "L1"}, []),
        ({"swatch": "old", "lot": "R-1"}, ["Base of region new"]),
        ({"swatch": "rust"}, ["Base and Form of region new"]),
        ({"swatch": "rust", "base": "b", "colourway": "Rust"}, ["Form and Lot of region new"]),
        ({"swatch": "rust", "base": "b", "form": "knit"}, []),
    ],
)
def test_what_is_still_missing(row: dict[str, str], said: list[str]) -> None:
    told = {"regions": [{**REGION, **row}]}
    assert lacking(told, {("swatch", "old"), ("lot", "L1")}) == said


NEW = "unknown colourway 'Rust': the archive has none yet; add it first"


@pytest.mark.parametrize(
    ("words", "missing", "create", "may", "has", "has_not"),
    [
        (NEW, [], False, True, [f"tick “{CREATE}”"], ["add it first", "missing"]),
        (NEW, ["Base"], False, True, [f"tick “{CREATE}”", "still missing: Base,"], []),
        (NEW, [], False, False, ["ask the dyer"], [CREATE]),
        (NEW, ["Base"], True, True, ["still missing: Base,"], ["unknown", CREATE]),
        ("the disk is full", ["Base"], True, True, ["the disk is full"], ["missing", "tick"]),
    ],
    ids=["tick", "tick and fill in", "helper", "fill in", "something else"],
)
def test_why_it_is_not_kept(
    words: str, missing: list[str], create: bool, may: bool, has: list[str], has_not: list[str]
) -> None:
    said = not_kept(words, missing, create=create, may_create=may)
    assert all(h in said for h in has) and not any(h in said for h in has_not)


@pytest.mark.parametrize(
    ("kinds", "swatches", "said"),
    [
        (["card", "new"], 1, []),
        (["new"], 1, ["a grey card, steps or a chart"]),
        (["steps"], 0, ["the yarn"]),
        ([], 0, ["a grey card, steps or a chart", "the yarn"]),
    ],
)
def test_what_was_not_found(kinds: list[str], swatches: int, said: list[str]) -> None:
    found = {"how": [{"what": k} for k in kinds], "marks": {"swatches": [{}] * swatches}}
    assert missed(found) == said


@pytest.mark.parametrize(
    ("marks", "about", "bare"),
    [
        ({}, {}, True),
        ({"references": [{"kind": "card"}]}, {}, False),
        ({}, {"no_card": True}, False),
        ({}, {"light": "black light"}, False),
        ({"swatches": [{}]}, {"light": "daylight"}, True),
    ],
)
def test_whether_a_reference_is_wanting(marks: Any, about: Any, bare: bool) -> None:
    assert not_marked(marks, about) is bare


def test_the_example_of_a_recipe_is_one(demo_once: Path, tmp_path: Path) -> None:
    file = tmp_path / "studio.toml"
    names = ('Rust "and" \\ Ö', "Orrin four-ply", "Pellow red")
    file.write_text(f'[[colourway]]\nname = "x"\n\n{recipe_toml(*names)}', encoding="utf-8")
    (recipe,) = read_notes(file).recipes
    assert (recipe.colourway, recipe.base, recipe.parts[0].dyes[0].dye) == names
    with open_archive(demo_once) as archive:
        archive.conn.execute("BEGIN")
        archive.conn.execute("INSERT INTO colourway (name) VALUES (?)", names[:1])
        assert apply_notes(archive.conn, read_notes(file)).added == 2
        archive.conn.rollback()


def test_the_sizes_that_a_page_explains_are_those_of_the_words() -> None:
    least = dict(
        zip((w for _, w in words.SIZES), (0.0, *(b for b, _ in words.SIZES)), strict=False)
    )
    assert least["clearly"] == 0.5 and least["much"] == 1.0
