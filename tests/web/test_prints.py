"""Cards, labels and the mat; pages that lead to others."""

from __future__ import annotations

import base64
import html
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from swatchvault.archive import colours, open_archive
from swatchvault.cautions import CAUTIONS
from swatchvault.errors import SwatchvaultError
from swatchvault.web.recipes import sheet_answer
from tests.swatchvault.running import run

pytestmark = pytest.mark.anyio


async def test_the_recipes_sheet_lets_in_its_own_style_only(
    visitor: Callable[[str], Any],
) -> None:
    import base64
    import hashlib

    answer = await visitor("dyer").get("/recipe/1/card")
    style = re.search(r"<style>(.*?)</style>", answer.text, re.DOTALL)
    assert style is not None
    digest = base64.b64encode(hashlib.sha256(style[1].encode()).digest()).decode()
    policy = answer.headers["content-security-policy"]
    assert f"style-src 'sha256-{digest}'" in policy
    assert "unsafe-inline" not in policy
    assert "script" not in policy
    assert "default-src 'none'" in policy


def test_a_sheet_without_style_is_not_let_out() -> None:
    with pytest.raises(SwatchvaultError):
        sheet_answer("<html></html>")


async def test_the_labels_code_is_the_lots_address(
    visitor: Callable[[str], Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    import segno

    made: list[str] = []
    real = segno.make
    monkeypatch.setattr(segno, "make", lambda text, **k: made.append(text) or real(text, **k))
    answer = await visitor("dyer").get("/lot/2/label", headers={"host": "vault.example:8000"})
    assert answer.status_code == 200
    assert made == ["http://vault.example:8000/lot/2"]
    assert "data:image/svg+xml" in answer.text


@pytest.mark.parametrize("page", ["/lot/2/label", "/lot/2/card"])
async def test_a_code_that_opens_nothing_on_a_phone_says_so_beside_the_print(
    page: str, visitor: Callable[[str], Any]
) -> None:
    said = r'<p class="caution[^"]*">The code leads to <bdi>http://127\.0\.0\.1:8123/lot/2</bdi>'
    here = (await visitor("dyer").get(page, headers={"host": "127.0.0.1:8123"})).text
    assert re.search(said, here) and "swatchvault serve --lan" in here
    screen = here.split('class="sheet"' if "card" in page else 'class="labels"')[0]
    assert re.search(said, screen)
    assert 'class="noprint"' in screen or 'class="caution noprint"' in screen
    lan = (await visitor("dyer").get(page, headers={"host": "192.168.1.20:8123"})).text
    assert "opens nothing on a phone" not in lan


async def test_a_labels_code_can_be_read(visitor: Callable[[str], Any]) -> None:
    import cv2
    import numpy as np
    import segno

    from swatchvault.web.lots import code_svg

    address = "http://192.168.1.20:8000/lot/123456"
    assert code_svg(address).startswith("data:image/svg+xml")
    matrix = np.array([list(row) for row in segno.make(address, error="m", micro=False).matrix])
    picture = np.kron(255 * (1 - np.pad(matrix, 4)), np.ones((8, 8))).astype(np.uint8)
    assert cv2.QRCodeDetector().detectAndDecode(picture)[0] == address


async def test_a_recipes_card_fits_a_phone_and_leads_back(visitor: Callable[[str], Any]) -> None:
    asked = "goods=400+g&ratio=20"
    page = (await visitor("dyer").get(f"/recipe/1/card?{asked}")).text
    assert '<meta name="viewport" content="width=device-width, initial-scale=1">' in page
    link = re.search(r'<p class="back"><a href="([^"]*)">', page)
    assert link and html.unescape(link[1]) == f"/recipe/1?{asked}"
    assert (await visitor("dyer").get(html.unescape(link[1]))).status_code == 200
    assert "@media print { .back { display: none } }" in page
    bare = (await visitor("dyer").get("/recipe/1/card")).text
    assert '<a href="/recipe/1">Back to the recipe' in bare


@pytest.mark.parametrize("copies", ["0", "41", "many", "-1", "1e9"])
async def test_a_number_of_labels_that_cannot_be(
    copies: str, visitor: Callable[[str], Any]
) -> None:
    answer = await visitor("dyer").get(f"/lot/2/label?copies={copies}")
    assert answer.status_code == 400
    assert "how many labels" in answer.text


async def test_several_labels_on_ordinary_paper(visitor: Callable[[str], Any]) -> None:
    answer = await visitor("dyer").get("/lot/2/label?copies=6")
    assert answer.text.count('class="label"') == 6
    assert "label.css" not in answer.text  # its page size is for label paper


@pytest.mark.parametrize("paper", ["A4", "Letter", "letter"])
async def test_the_mat(paper: str, visitor: Callable[[str], Any]) -> None:
    answer = await visitor("dyer").get(f"/mat.pdf?paper={paper}")
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF")
    size = re.search(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", answer.content)
    assert size is not None
    wide, high = (float(v) / 72 * 25.4 for v in size.groups())
    assert (round(wide), round(high)) == ((297, 210) if paper == "A4" else (279, 216))


async def test_no_mat_for_another_paper(visitor: Callable[[str], Any]) -> None:
    answer = await visitor("dyer").get("/mat.pdf?paper=A3")
    assert answer.status_code == 400
    assert "choose A4 or Letter" in answer.text


async def test_a_lots_card_holds_what_was_done(visitor: Callable[[str], Any]) -> None:
    text = (await visitor("dyer").get("/lot/2/card")).text
    for words in ("What went in", "Planned", "Done", "Skeins", "Caution", "no laboratory"):
        assert words in text


async def test_the_full_card_of_cautions(visitor: Callable[[str], Any]) -> None:

    text = html.unescape((await visitor("dyer").get("/cautions")).text)
    assert all(line in text for line in CAUTIONS.values())


async def test_a_tonal_card_fills_the_paper_that_it_is_printed_on(
    visitor: Callable[[str], Any],
) -> None:
    page = (await visitor("dyer").get("/swatch/1/tonal?paper=A6")).text
    found = re.search(r'href="([^"]*/tonal\.css)"', page)
    assert found is not None
    style = (await visitor("dyer").get(found[1])).text
    assert re.search(r"@page \{ margin: 0; \}", style)


async def test_tonal_card(visitor: Callable[[str], Any]) -> None:
    answer = await visitor("dyer").get("/swatch/1/tonal.svg?paper=A4")
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("image/svg+xml")
    assert "script" not in answer.headers["content-security-policy"]
    assert answer.text.startswith("<svg")
    for name in ("tonal", "tonal.svg"):
        assert (await visitor("dyer").get(f"/swatch/1/{name}?paper=A0")).status_code == 400


async def test_the_page_of_a_tonal_card_says_all_that_the_command_says_and_leads_on(
    visitor: Callable[[str], Any], studio: Path, capsys: Any
) -> None:
    dyer = visitor("dyer")
    with open_archive(studio) as archive:
        swatches = {c.swatch: c.swatch_id for c in colours(archive.conn)}
    for label in ("MA-1 knit", "NF-3 card"):  # several colours; earlier lots
        swatch = swatches[label]
        page = html.unescape((await dyer.get(f"/swatch/{swatch}/tonal?paper=A4")).text)
        told = run(capsys, "tonal", label, "--archive", studio).out.splitlines()
        assert any("of its patches" in line for line in told)
        assert [line for line in told if f">{' '.join(line.split())}</p>" not in page] == []
        (card,) = re.findall(r'src="data:image/svg\+xml;base64,([^"]+)"', page)
        drawn = (await dyer.get(f"/swatch/{swatch}/tonal.svg?paper=A4")).text
        assert base64.b64decode(card).decode("utf-8") == drawn
        assert f'href="/swatch/{swatch}"' in page and "data-print" in page
        assert 'href="?paper=A6"' in page


async def test_a_swatchs_page_tells_of_strands_and_earlier_lots(
    visitor: Callable[[str], Any], studio: Path, capsys: Any
) -> None:
    from swatchvault.tonal_words import say

    with open_archive(studio) as archive:
        told = next(c for c in colours(archive.conn) if c.swatch == "NF-3 card")
    asked = ("tonal", told.swatch, "--json", "--archive", studio)
    record = json.loads(run(capsys, *asked).out)
    earlier = [f"<p>{e['swatch']} of " for e in record["compared"]["earlier_lots"]]
    said = say(told.tonality, told.flags)
    page = html.unescape((await visitor("dyer").get(f"/swatch/{told.swatch_id}")).text)
    lines = [
        said.strands or said.unseen,
        *earlier,
        *record["compared"]["notes"],
    ]
    assert earlier and all(lines) and [line for line in lines if line not in page] == []


async def test_all_places_lead_somewhere(visitor: Callable[[str], Any], studio: Path) -> None:
    dyer = visitor("dyer")
    text = (await dyer.get("/more")).text
    for address in sorted(set(re.findall(r'href="(/archive/[^"]+)"', text))):
        assert (await dyer.get(address)).status_code == 200, address
    assert "/devices" in text
    assert "/devices" not in (await visitor("helper").get("/more")).text


def test_an_iterator_that_ends_in_a_thread_is_an_error_and_no_endless_wait() -> None:
    from swatchvault.web.visit import _ending

    assert _ending(max, 1, 2) == 2
    with pytest.raises(RuntimeError, match="ended too early"):
        _ending(next, iter(()))
