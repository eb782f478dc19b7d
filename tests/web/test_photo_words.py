"""What the photo's pages say where something is missing: no reference, a new name, a failure."""

from __future__ import annotations

import html
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from swatchvault.web import photos
from swatchvault.web.said import CREATE, NO_CARD, REALLY_NEW
from tests.web.newphotos import jpeg, marks
from tests.web.test_photos import marked, measured, once, rows, sent, told, up_to_words

pytestmark = pytest.mark.anyio
Visitor = Callable[[str], Any]


def bare(name: str = "confetti-knit") -> dict[str, Any]:
    """The demo's marks of a photo without its reference."""
    return {"references": [], "swatches": marks(name)["swatches"]}


async def test_what_was_not_found_is_told_before_measuring(visitor: Visitor) -> None:
    dyer = visitor("dyer")
    sha256 = await sent(dyer, jpeg("confetti-knit"))
    page = (await dyer.get(f"/photos/{sha256}/mark")).text
    assert "Not found: a grey card, steps or a chart." in page
    notice = re.search(r'<p class="caution" id="bare"[^>]*>(.*?)</p>', page, re.DOTALL)
    assert notice and "hidden" not in notice.group(0)
    assert page.index(notice.group(0)) < page.index(">Measure</button>")
    assert NO_CARD in html.unescape(notice.group(1))
    await marked(dyer, sha256, bare(), no_card="yes")
    page = (await dyer.get(f"/photos/{sha256}/mark")).text
    assert re.search(r'id="bare"[^>]* hidden>', page)


async def test_a_failure_says_what_to_do_on_the_page(visitor: Visitor) -> None:
    dyer = visitor("dyer")
    sha256 = await sent(dyer, jpeg("confetti-knit"))
    await marked(dyer, sha256, bare())
    assert (await measured(dyer, sha256))["state"] == "failed"
    for path in ("state", "shows"):
        page = html.unescape((await dyer.get(f"/photos/{sha256}/{path}")).text)
        assert f"mark it where it lies, or tick “{NO_CARD}”" in page
        assert "marks file" not in page and "Keep it in the archive" not in page


async def test_the_words_of_the_mark_page_are_explained(visitor: Visitor) -> None:
    dyer = visitor("dyer")
    sha256 = await sent(dyer, jpeg())
    page = (await dyer.get(f"/photos/{sha256}/mark")).text
    for named in re.findall(r'aria-describedby="([^"]*)"', page):
        assert page.count(f'id="{named}"') == 1
    (mat,) = set(re.findall(r'href="(/mat\.pdf)"', page))
    assert (await dyer.get(mat)).headers["content-type"] == "application/pdf"
    for word in ("Neutral steps", "24-patch chart", "Known length"):
        assert f"<dt>{word}</dt>" in page


async def test_a_new_name_leads_to_the_tick_box(visitor: Visitor, studio: Path) -> None:
    dyer = visitor("dyer")
    before = rows(studio)
    sha256, token = await up_to_words(dyer, jpeg())
    new = {"swatch_0": "rust-1", "colourway_0": "Rust", "lot_0": "R-1", "base_0": "", "form_0": ""}
    answer = await dyer.post(f"/photos/{sha256}/shows", told(token, **new))
    page = html.unescape(answer.text)
    assert answer.status_code == 400 and rows(studio) == before
    assert f"tick “{CREATE}”" in page and f"> {CREATE}</label>" in page
    assert 'href="#create"' in page and re.search(r'id="create"[^>]* autofocus', page)
    assert "add it first" not in page
    ticked = await dyer.post(f"/photos/{sha256}/shows", told(once(page), create="yes", **new))
    page = html.unescape(ticked.text)
    region = marks()["swatches"][0]["name"]
    assert f"still missing: Base and Form of region {region}" in page
    assert "unknown" not in page and "autofocus" not in page
    new |= {"base_0": "Tebbet double", "form_0": "skein"}
    made = await dyer.post(f"/photos/{sha256}/shows", told(once(page), create="yes", **new))
    assert made.headers["location"] == f"/photos/{sha256}"


async def test_a_helper_has_no_tick_box_and_is_told_whom_to_ask(visitor: Visitor) -> None:
    helper = visitor("helper")
    sha256, token = await up_to_words(helper, jpeg())
    answer = await helper.post(f"/photos/{sha256}/shows", told(token, colourway_0="Rust"))
    page = html.unescape(answer.text)
    assert "If it is new, ask the dyer to make it" in page and CREATE not in page


async def test_a_slip_in_a_new_name_is_asked_about(visitor: Visitor, studio: Path) -> None:
    dyer = visitor("dyer")
    before = rows(studio)
    sha256, token = await up_to_words(dyer, jpeg())
    new = {"swatch_0": "rust-1", "colourway_0": "Rust", "lot_0": "R-1", "form_0": "skein"}
    new |= {"base_0": "Tebbet duoble", "create": "yes"}
    answer = await dyer.post(f"/photos/{sha256}/shows", told(token, **new))
    page = html.unescape(answer.text)
    assert answer.status_code == 400 and rows(studio) == before
    assert "base 'Tebbet duoble' is new: is it the base 'Tebbet double'?" in page
    assert f"tick “{REALLY_NEW}”" in page and "--really-new" not in page
    assert 'href="#really_new"' in page and re.search(r'id="really_new"[^>]* autofocus', page)
    new["really_new"] = "yes"
    made = await dyer.post(f"/photos/{sha256}/shows", told(once(page), **new))
    assert made.headers["location"] == f"/photos/{sha256}"


async def test_a_filed_photo_is_called_by_its_name_where_it_cannot_be_filed_anew(
    visitor: Visitor, studio: Path
) -> None:
    dyer = visitor("dyer")
    sha256, token = await up_to_words(dyer, jpeg())
    await dyer.post(f"/photos/{sha256}/shows", told(token, create="yes"))
    await marked(dyer, sha256, {**marks(), "references": []}, light="daylight")
    failed = await measured(dyer, sha256)
    assert failed["state"] == "failed" and failed["words"].startswith("one.jpg: ")


async def test_the_mat_and_raw_are_told_of_before_the_photo(
    visitor: Visitor, monkeypatch: pytest.MonkeyPatch
) -> None:
    dyer = visitor("dyer")
    for there in (True, False):
        monkeypatch.setattr(photos, "find_spec", lambda _, there=there: there or None)
        for address in ("/photos/new", "/find"):
            page = (await dyer.get(address)).text
            (offered,) = re.findall(r'accept="(image/\*,[^"]*)"', page)
            assert {".heic", ".tif"} <= set(offered.split(","))
            assert ({".dng", ".nef", ".cr3"} <= set(offered.split(","))) is there
            assert there or ".dng" not in offered
        page = (await dyer.get("/photos/new")).text
        assert ("camera raw (DNG and others)" in page) is there
        assert re.findall(r'href="(/mat\.pdf[^"]*)"', page) == ["/mat.pdf", "/mat.pdf?paper=Letter"]
