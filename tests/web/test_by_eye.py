"""Where a rule fitted to the dyer's eye is in force: one class everywhere, and it says whose."""

from __future__ import annotations

import html
import json
import re
import sqlite3
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from ingest.evenness_rule import DEFAULT, Thresholds
from ingest.tonality import METHOD
from swatchvault.archive import eye_rule, open_archive
from swatchvault.archive.eye import name_class, named_swatches, take_rule, undo_rule
from swatchvault.by_eye import as_told
from tests.ingest.test_evenness_stored import PLAIN
from tests.swatchvault.running import run

pytestmark = pytest.mark.anyio

#: All that is of one colour and no gradient is solid to this eye.
NO_SEMI = replace(DEFAULT, floor=9.0, floor_most=9.0)


def take(folder: Path, limits: Thresholds = NO_SEMI) -> None:
    with open_archive(folder) as archive:
        name_class(archive.conn, "NF-1 card", "solid")
        (named,) = named_swatches(archive.conn)
        pairs = [(named.named_class_id, named.measurement_id or 0)]
        assert take_rule(archive.conn, limits, METHOD, pairs, (0, 0), {}) > 20


def semi_solid(folder: Path) -> tuple[str, int, int, int, str]:
    """A swatch that the program calls semi-solid and that eye solid: label, number, lot's,
    colourway's, photo."""
    with sqlite3.connect(folder / "archive.db") as conn:
        found: tuple[str, int, int, int, str] = conn.execute(
            "SELECT seen.swatch, seen.swatch_id, lot.id, lot.colourway_id, photo.sha256 "
            "FROM how_even AS seen JOIN lot ON lot.code = seen.lot JOIN measurement AS m "
            "ON m.id = seen.measurement_id JOIN layout ON layout.id = m.layout_id "
            "JOIN photo ON photo.id = layout.photo_id "
            "WHERE class = 'semi-solid' AND seen.swatch = 'HF-3 skein a'"
        ).fetchone()
    return found


def words(text: str) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", text)).split())


NOTE = "Classed by a rule fitted to the dyer's eye; the program's own says semi-solid."


async def test_every_page_and_command_goes_by_it_and_says_so(
    visitor: Callable[[str], Any], studio: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    dyer = visitor("dyer")
    label, swatch, lot, colourway, photo = semi_solid(studio)
    tables = (f"/colourway/{colourway}", f"/lot/{lot}", f"/lot/{lot}/card", "/base/2", "/")
    sentences = (f"/swatch/{swatch}", f"/swatch/{swatch}/tonal", f"/photos/{photo}")
    for path in (*tables, *sentences):
        assert "the eye's rule" not in words((await dyer.get(path)).text), path
        assert NOTE not in words((await dyer.get(path)).text), path
    take(studio)
    for path in tables:
        said = words((await dyer.get(path)).text)
        assert "solid, by the eye's rule" in said, path
        assert "semi-solid, by" not in said, path
    for path in sentences:
        assert NOTE in words((await dyer.get(path)).text), path
    page = (await dyer.get(f"/swatch/{swatch}")).text
    assert "<strong>Solid</strong>: one colour all over" in page
    card = words((await dyer.get(f"/swatch/{swatch}/tonal.svg")).text)
    assert "Solid" in card and "rule fitted to the dyer's eye" in card

    where = ("--archive", studio)
    told = run(capsys, "tonal", label, *where).out
    assert "Solid: one colour" in told and NOTE in told
    asked = ("tonal", label, "--json", *where)
    assert json.loads(run(capsys, *asked).out)["tonality"]["class"] == "solid"
    evenness = json.loads(run(capsys, "list", "evenness", "--json", *where).out)
    (row,) = (r for r in evenness if r["swatch"] == label)
    assert (row["class"], row["by_your_eyes_rule"]) == ("solid", "solid")
    assert label not in run(capsys, "list", "evenness", "--with", "semi-solid", *where).out
    (row,) = (
        r for r in json.loads(run(capsys, "list", "swatches", "--json", *where).out)
        if r["swatch"] == label
    )  # fmt: skip
    assert row["evenness"] == "solid"

    with open_archive(studio) as archive:
        undo_rule(archive.conn)
    assert NOTE not in words((await dyer.get(f"/swatch/{swatch}")).text)


async def test_a_photo_beside_an_archive_is_classed_by_its_rule(
    studio: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from tests.web.newphotos import DEMO

    photo = f"{DEMO / 'harbour-3.jpg'}:new"
    asked = ("tonal", photo, "--form", "skein", "--archive", studio)
    assert "Semi-solid:" in run(capsys, *asked).out
    take(studio)
    told = run(capsys, *asked).out
    assert "Solid:" in told and NOTE in told


def test_a_check_of_evenness_names_its_classes(
    studio: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    where = ("--archive", studio)
    assert run(capsys, "master", "HF-1 skein a", "--evenness", *where).code == 0
    before = run(capsys, "check", "HF-3", *where).out
    assert re.search(r"Evenness: .*semi-solid, \d.* against semi-solid, \d", before), before
    take(studio)
    assert run(capsys, "check", "HF-3", *where).out == before.replace("semi-solid", "solid")


def record(**more: Any) -> dict[str, Any]:
    told = {
        "class": "solid", "between": None, "reasons": ["seen"], "method": METHOD,
        "core_halo": {"rim": "deeper"}, "core_halo_unseen": None, "gradient": None,
        "patch_length": None, "unevenness": 0.2, "rule": PLAIN.record(),
    }  # fmt: skip
    return {**told, **more}


def test_a_record_as_the_rule_tells_it(studio: Path) -> None:
    take(studio, replace(DEFAULT, floor=0.01, floor_per_doubt=0.0))
    with open_archive(studio) as archive:
        rule = eye_rule(archive.conn)
    found = as_told(record(), frozenset(), rule)
    assert found is not None
    assert (found["class"], found["core_halo"]) == ("semi-solid", None)
    assert found["reasons"][-1].endswith("the program's own says solid.")
    same = as_told(record(**{"class": "semi-solid"}), frozenset(), rule)
    assert same is not None and same["reasons"][0] == "seen"
    assert same["reasons"][-1].endswith("the program's own says the same.")
    for untouched in (None, record(method="evenness 3"), record(rule=None)):
        assert as_told(untouched, frozenset(), rule) == untouched
    assert as_told(record(), frozenset(), None) == record()


def test_lists_say_dry_and_cannot_tell_alike_with_a_rule_and_without(
    studio: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def listed(what: str) -> dict[str, dict[str, Any]]:
        rows = json.loads(run(capsys, "list", what, "--json", "--archive", studio).out)
        return {row["swatch"]: row for row in rows}

    before = listed("swatches")
    seen = listed("colours")
    assert {s: row["dry"] for s, row in before.items()} == {s: r["dry"] for s, r in seen.items()}
    assert before["NF-1 card"]["dry"] == 1
    shown = run(capsys, "show", "base", "Orrin four-ply", "--json", "--archive", studio).out
    assert {row["dry"] for row in json.loads(shown)["swatches"]} == {1}
    assert before["HF-2 skein a"]["evenness"] == "cannot tell"  # too little yarn by any rule
    assert seen["HF-2 skein a"]["evenness"] == "cannot tell"
    take(studio)
    assert listed("swatches")["HF-2 skein a"]["evenness"] == "cannot tell"


async def test_the_dyer_says_on_its_page_how_even_a_swatch_looks(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer, helper = visitor("dyer"), visitor("helper")
    label, swatch, *_ = semi_solid(studio)
    path = f"/swatch/{swatch}"

    def kept() -> list[str]:
        with open_archive(studio) as archive:
            return [n.word for n in named_swatches(archive.conn) if n.swatch == label]

    page = (await dyer.get(path)).text
    assert "Say how even it looks to you" in page and "To the dyer's eye" not in page
    assert "Say how even" not in (await helper.get(path)).text
    form = {"once": "a-word-of-this-test-1", "looks": "solid"}
    assert (await helper.post(path, form)).status_code == 403 and kept() == []
    for _ in range(2):  # a second tap does nothing more
        answer = await dyer.post(path, form)
        assert answer.status_code == 303 and answer.headers["location"] == f"{path}#even"
        assert kept() == ["solid"]
    assert "To the dyer's eye: solid, which differs." in words((await dyer.get(path)).text)
    answer = await dyer.post(path, {"once": "a-word-of-this-test-2", "looks": "stripy"})
    assert answer.status_code == 400 and "unknown class" in answer.text and kept() == ["solid"]
    await dyer.post(path, {"once": "a-word-of-this-test-3", "looks": "semi-solid"})
    assert "To the dyer's eye: semi-solid." in words((await dyer.get(path)).text)
    await dyer.post(path, {"once": "a-word-of-this-test-4", "looks": "none"})
    assert kept() == [] and "To the dyer's eye" not in (await dyer.get(path)).text
