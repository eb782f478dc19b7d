"""What the photo shows: which region is which is seen, and a filled-in lot gives way to a label."""

from __future__ import annotations

import hashlib
import html
import re
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.web.newphotos import jpeg, marks
from tests.web.test_photos import marked, measured, once, rows, told, up_to_words

pytestmark = pytest.mark.anyio
Visitor = Callable[[str], Any]
LOT = "HF-2"


async def two_regions_of(client: Any, studio: Path) -> tuple[str, str]:
    """A photo of two swatches, sent from the page of a lot, marked and measured."""
    with sqlite3.connect(studio / "archive.db") as conn:
        (lot,) = conn.execute("SELECT id FROM lot WHERE code = ?", (LOT,)).fetchone()
    sha256 = hashlib.sha256(jpeg()).hexdigest()
    await client.post("/photos/new", {"lot": str(lot)}, files=[("photo", ("a.jpg", jpeg()))])
    two = marks()
    two["swatches"] = [
        {"name": n, "polygon": s["polygon"]}
        for n, s in zip(("swatch", "swatch 2"), two["swatches"], strict=True)
    ]
    await marked(client, sha256, two, light="daylight")
    await measured(client, sha256)
    return sha256, (await client.get(f"/photos/{sha256}/shows")).text


async def test_the_regions_are_drawn_and_named_where_they_are_to_be_told(
    visitor: Visitor, studio: Path
) -> None:
    sha256, page = await two_regions_of(visitor("dyer"), studio)
    assert f'src="/photos/{sha256}/preview"' in page
    drawn = re.findall(r'<polygon class="edge swatch" points="([^"]*)"', page)
    named = re.findall(r'<text x="([\d.]+)%" y="([\d.]+)%">([^<]*)</text>', page)
    assert [n for *_, n in named] == ["swatch", "swatch 2"]
    for region, outline, (x, y, _) in zip(marks()["swatches"], drawn, named, strict=True):
        corners = [[float(v) / 1000 for v in xy.split(",")] for xy in outline.split()]
        assert corners == [pytest.approx(c, abs=1e-4) for c in region["polygon"]]
        left, top = (min(c[k] for c in region["polygon"]) for k in (0, 1))
        assert float(x) == pytest.approx(100 * left, abs=0.1)
        assert float(y) <= 100 * top


async def test_a_known_label_takes_the_place_of_the_lot_that_was_filled_in(
    visitor: Visitor, studio: Path
) -> None:
    dyer = visitor("dyer")
    before = rows(studio)
    sha256, page = await two_regions_of(dyer, studio)
    assert re.findall(r'name="lot_\d" value="([^"]*)"', page) == [LOT, LOT]
    of_lot = {"base_1": "Tebbet double", "lot_1": LOT, "colourway_1": "Harbour at Four"}
    form = told(once(page), swatch_1="HF-1 skein a", **of_lot)
    asked = await dyer.post(f"/photos/{sha256}/shows", form)
    said = html.unescape(asked.text)
    assert asked.status_code == 400 and rows(studio) == before
    assert "swatch 'HF-1 skein a' is in the archive, of lot HF-1" in said
    assert f"not of lot '{LOT}'. If region swatch 2 shows it, keep it again" in said
    fields = dict(re.findall(r'name="((?:swatch|lot|base|colourway)_\d)" value="([^"]*)"', said))
    assert (fields["lot_0"], fields["lot_1"]) == (LOT, "")
    assert (fields["base_1"], fields["colourway_1"]) == ("", "")
    kept = await dyer.post(f"/photos/{sha256}/shows", {**form, **fields, "once": once(said)})
    assert kept.status_code == 303, kept.text
    with sqlite3.connect(studio / "archive.db") as conn:
        sql = "SELECT m.region, label, code FROM current_measurement AS m JOIN swatch ON "
        sql += "swatch.id = swatch_id JOIN lot ON lot.id = lot_id WHERE m.photo_sha256 = ?"
        found = sorted(conn.execute(sql, (sha256,)).fetchall())
    assert found == [("swatch", "HF-2 again", LOT), ("swatch 2", "HF-1 skein a", "HF-1")]


async def test_another_lot_that_was_typed_is_still_refused(visitor: Visitor, studio: Path) -> None:
    dyer = visitor("dyer")
    sha256, page = await two_regions_of(dyer, studio)
    form = told(once(page), swatch_1="HF-1 skein a", lot_1="HF-3")
    for _ in range(2):
        refused = await dyer.post(f"/photos/{sha256}/shows", form)
        assert refused.status_code == 400
        said = html.unescape(refused.text)
        assert "kept as of another lot, 'HF-1' and not 'HF-3'" in said
        assert "`swatchvault" not in said


async def test_what_is_so_of_all_regions_is_told_once(visitor: Visitor, studio: Path) -> None:
    dyer = visitor("dyer")
    sha256, token = await up_to_words(dyer, jpeg())
    state = await measured(dyer, sha256)
    alike = {flag for flag, _ in state["flags"]}
    assert "camera colours not corrected" in alike and len(state["regions"]) == 2
    for region in state["regions"]:
        assert not alike & {flag for flag, _ in region["flags"]}
    await dyer.post(f"/photos/{sha256}/shows", told(token, swatch_1="HF-1 skein a", create="yes"))
    await measured(dyer, sha256)
    text = (await dyer.get(f"/photos/{sha256}")).text
    assert text.count("<strong>camera colours not corrected</strong>") == 1


async def kept_as(dyer: Any, studio: Path, sha256: str, form: dict[str, str]) -> dict[str, Any]:
    """Keep the photo; what each swatch that it measures is of, by its label."""
    kept = await dyer.post(f"/photos/{sha256}/shows", form)
    assert kept.status_code == 303, html.unescape(kept.text)
    with sqlite3.connect(studio / "archive.db") as conn:
        sql = "SELECT label, code FROM current_measurement AS m JOIN swatch ON "
        sql += "swatch.id = swatch_id LEFT JOIN lot ON lot.id = lot_id WHERE m.photo_sha256 = ?"
        return dict(conn.execute(sql, (sha256,)).fetchall())


def of_what(page: str) -> dict[str, str]:
    said = html.unescape(page)
    return dict(re.findall(r'name="((?:swatch|lot|base|colourway)_\d)" value="([^"]*)"', said))


async def test_a_label_put_right_brings_the_lot_back_that_a_slip_emptied(
    visitor: Visitor, studio: Path
) -> None:
    dyer = visitor("dyer")
    before = rows(studio)
    sha256, page = await two_regions_of(dyer, studio)
    sent = {"once": once(page), "swatch_0": "HF-1 skein a", **of_what(page)}
    sent |= {"swatch_0": "HF-1 skein a", "swatch_1": ""}
    slip = await dyer.post(f"/photos/{sha256}/shows", sent)
    assert slip.status_code == 400 and of_what(slip.text)["lot_0"] == ""
    right = {**sent, **of_what(slip.text), "swatch_0": "HF-2 new piece"}
    asked = await dyer.post(f"/photos/{sha256}/shows", right)
    said = html.unescape(asked.text)
    assert asked.status_code == 400 and rows(studio) == before
    assert f"'HF-2 new piece' of region swatch is new, and no lot was named: lot {LOT}" in said
    assert "still missing: Form of region swatch" in said
    back = of_what(asked.text)
    assert (back["lot_0"], back["base_0"]) == (LOT, "Tebbet double")
    assert back["colourway_0"] == "Harbour at Four"
    form = {**right, **back, "form_0": "skein", "once": once(said)}
    assert await kept_as(dyer, studio, sha256, form) == {"HF-2 new piece": LOT}


async def test_a_new_master_is_asked_for_its_own_lot(visitor: Visitor, studio: Path) -> None:
    dyer = visitor("dyer")
    sha256, _ = await two_regions_of(dyer, studio)
    await marked(dyer, sha256, marks(), light="daylight")
    await measured(dyer, sha256)
    page = (await dyer.get(f"/photos/{sha256}/shows")).text
    form = {**told(once(page)), "swatch_0": "", "swatch_1": "old one", "base_1": "Tebbet double"}
    asked = await dyer.post(f"/photos/{sha256}/shows", {**form, "form_1": "skein"})
    said = html.unescape(asked.text)
    assert asked.status_code == 400 and of_what(said)["lot_1"] == ""
    assert "'old one' of region master is new, and no lot is named: write it" in said
    form |= {"form_1": "skein", "lot_1": "HF-1", "once": once(said)}
    assert await kept_as(dyer, studio, sha256, form) == {"old one": "HF-1"}


async def test_undyed_yarn_is_kept_where_it_is_said_to_be_undyed(
    visitor: Visitor, studio: Path
) -> None:
    dyer = visitor("dyer")
    sha256, page = await two_regions_of(dyer, studio)
    bare = {"once": once(page), "swatch_0": "plain one", "base_0": "Tebbet double"}
    bare |= {"form_0": "skein", "lot_0": "", "colourway_0": ""}
    asked = await dyer.post(f"/photos/{sha256}/shows", bare)
    assert asked.status_code == 400 and "It is undyed yarn, of no lot" in asked.text
    other = {**bare, "undyed_0": "yes", "lot_0": "HF-1"}
    refused = await dyer.post(f"/photos/{sha256}/shows", other)
    assert refused.status_code == 400
    assert "said to be undyed and of lot HF-1" in html.unescape(refused.text)
    assert re.search(r'name="undyed_0" value="yes" checked', refused.text)
    form = {**bare, **of_what(asked.text), "undyed_0": "yes", "once": once(asked.text)}
    assert await kept_as(dyer, studio, sha256, form) == {"plain one": None}


async def test_a_label_without_a_lot_is_asked_about_from_any_page(
    visitor: Visitor, studio: Path
) -> None:
    dyer = visitor("dyer")
    before = rows(studio)
    sha256, token = await up_to_words(dyer, jpeg())
    bare = told(token, swatch_0="plain two", lot_0="", colourway_0="")
    asked = await dyer.post(f"/photos/{sha256}/shows", bare)
    said = html.unescape(asked.text)
    assert asked.status_code == 400 and rows(studio) == before
    assert "'plain two' of region new is new, and no lot is named: write it, or tick" in said
    assert 'name="undyed_0" value="yes">' in said
    form = {**bare, "undyed_0": "yes", "once": once(said)}
    assert await kept_as(dyer, studio, sha256, form) == {"plain two": None}
    assert ", undyed; skein" in re.sub(r"<[^>]*>", "", (await dyer.get(f"/photos/{sha256}")).text)


async def test_the_note_is_shown_when_marked_anew_and_can_be_cleared(
    visitor: Visitor, studio: Path
) -> None:
    dyer = visitor("dyer")

    def stored() -> str | None:
        with sqlite3.connect(studio / "archive.db") as conn:
            (note,) = conn.execute("SELECT note FROM photo WHERE sha256 = ?", (sha256,)).fetchone()
        return None if note is None else str(note)

    sha256, token = await up_to_words(dyer, jpeg())
    form = told(token, swatch_1="", create="yes", note="by the north window")
    await kept_as(dyer, studio, sha256, form)
    assert stored() == "by the north window"
    for note, after in ((None, "by the north window"), ("by lamp", "by lamp"), ("", None)):
        before = stored()
        await marked(dyer, sha256, marks(), light="daylight")
        await measured(dyer, sha256)
        page = (await dyer.get(f"/photos/{sha256}/shows")).text
        assert f'name="note" value="{before}"' in page
        assert "Measured: the figures stand" in page and "See the figures" not in page
        again = {"once": once(page), "swatch_0": "HF-2 again"}
        again |= {} if note is None else {"note": note}
        await kept_as(dyer, studio, sha256, again)
        assert stored() == after
