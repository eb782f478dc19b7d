"""What to add to a pot, on its page: the command's additions, its doubts, and none where it has
none; recorded in the pot's own form."""

from __future__ import annotations

import html
import json
import re
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, urlencode, urlsplit

import numpy as np
import pytest

from swatchvault.archive import create_archive
from swatchvault.cautions import CAUTION_LINE
from swatchvault.web.said import OVERDYED
from swatchvault.web.studio import datasette_of
from tests.swatchvault.running import run
from tests.swatchvault.test_shade_commands import PLANNED, WORLD, fill, row_of
from tests.web.conftest import Client

pytestmark = pytest.mark.anyio

Visitor = Callable[[str], Client]
Capsys = pytest.CaptureFixture[str]
#: Nearer to this the pot comes by adding.
DEEPER = ",".join(f"{v:.3f}" for v in WORLD.lab(row_of(PLANNED) * 1.3))


@pytest.fixture(scope="module")
def yarn(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Lots of one base, one that is off and some that cannot be corrected."""
    folder = tmp_path_factory.mktemp("pots")
    with create_archive(folder / "yarn") as archive:
        fill(archive, folder)
    return folder / "yarn"


@pytest.fixture
async def kitchen(yarn: Path) -> Visitor:
    served = datasette_of(yarn)
    await served.invoke_startup()
    return lambda role: Client(served, role)


def lot_id(folder: Path, code: str) -> int:
    with sqlite3.connect(folder / "archive.db") as conn:
        return int(conn.execute("SELECT id FROM lot WHERE code = ?", (code,)).fetchone()[0])


async def page_of(visitor: Visitor, path: str, status: int = 200, role: str = "helper") -> str:
    answer = await visitor(role).get(path)
    assert answer.status_code == status, answer.text
    return html.unescape(answer.text)


def correct(capsys: Capsys, folder: Path, *words: object) -> dict[str, Any]:
    told: dict[str, Any] = json.loads(
        run(capsys, "correct", *words, "--archive", folder, "--json").out
    )
    return told


def doses_in(page: str) -> list[str]:
    return re.findall(r"<li><span class=\"next-words\">(.*?)</li>", page, re.DOTALL)


@pytest.mark.parametrize("role", ["helper", "dyer"])
async def test_it_tells_the_command_s_additions(
    kitchen: Visitor, yarn: Path, capsys: Capsys, role: str
) -> None:
    told = correct(capsys, yarn, "off", "--to", DEEPER, "--k-l", "1")
    asked = urlencode({"to": DEEPER, "k_l": "1"})
    page = await page_of(kitchen, f"/pot/{lot_id(yarn, 'off')}/correct?{asked}", role=role)
    doses = doses_in(page)
    assert len(doses) == len(told["amounts"]) > 0
    for dose, amount in zip(doses, told["amounts"], strict=True):
        assert dose.startswith(f"{amount['measure']}</span> <bdi>{amount['dye']}</bdi>")
        assert f"of stock '{amount['stock']}' (1 %)" in dose
        (grams,) = re.findall(r"([\d.]+) g of dry dye", dose)
        assert float(grams) == pytest.approx(
            amount["dye_g"], rel=0.04
        )  # of what is poured, which is rounded
        assert f"{amount['depth_percent']:.2g} % depth" in dose
    u_lab = np.sqrt(np.diag(told["cov_lab"]))
    for name, value, u in zip("Lab", told["lab"], u_lab, strict=True):
        assert f"{name}* {value:.1f} ± {u:.1f}" in page
    assert f"should end within ΔE00 {told['within_95']:.1f} of the target" in page
    reading = f"ΔE00 {told['delta_e_before']:.2f} ± {told['u_before']:.2f} from "
    assert reading in page and told["why"] in page
    assert all(note[1:] in page for note in told["warnings"] if "customary" not in note)
    assert CAUTION_LINE in page and 'href="/cautions"' in page and "kL = 1" in page
    assert f"The {told['lots']} lots it is learned from" in page
    assert "Add it in portions" in page and "A prediction is no dyed swatch" in page


async def test_it_is_held_to_the_master_and_says_what_the_photos_cannot_tell(
    visitor: Visitor, studio: Path, capsys: Capsys
) -> None:
    for lot, to in (("NF-4", ""), ("NF-2", ""), ("NF-3", ""), ("NF-4", "NF-3 card")):
        told = correct(capsys, studio, lot, *(["--to", to] if to else []))
        page = await page_of(visitor, f"/pot/{lot_id(studio, lot)}/correct?{urlencode({'to': to})}")
        said = f"ΔE00 {told['delta_e_before']:.2f} ± {told['u_before']:.2f} from {told['target']}"
        assert said in page and f"(photos: {told['photos']})" in page
        assert ("These photos cannot tell" in page) == (not told["told_apart"])
        for warning in told["warnings"]:
            assert warning[1:] in page
        assert len(doses_in(page)) == len(told["amounts"])
        assert ("Record it" in page) == ("Add to this pot" in page) == bool(told["add"])
        assert told["why"] in page
    assert told["add"] and not told["told_apart"]  # told of, and warned of
    assert 'class="button" href="/pot/' in page.split("Record it")[0][-130:]
    page = await page_of(visitor, f"/pot/{lot_id(studio, 'NF-2')}/correct?to=38,26,13")
    assert "photograph both in one frame and name it below" in page and "--" not in page


async def test_where_the_command_adds_nothing_so_does_the_page(
    kitchen: Visitor, yarn: Path, capsys: Capsys
) -> None:
    pale = ",".join(f"{v:.3f}" for v in WORLD.lab(row_of({})))
    (helps,) = correct(capsys, yarn, "off", "--to", DEEPER)["add"]
    for lot, asked in (("L1", {"to": pale}), ("off", {"to": DEEPER, "without": helps})):
        told = correct(capsys, yarn, lot, *(w for k, v in asked.items() for w in (f"--{k}", v)))
        page = await page_of(kitchen, f"/pot/{lot_id(yarn, lot)}/correct?{urlencode(asked)}")
        assert told["add"] == {} and f"<strong>{told['why']}</strong>" in page
        assert "Record it" not in page and not doses_in(page) and "Add to this pot" not in page


@pytest.mark.parametrize(
    ("lot", "to", "said", "status"),
    [
        ("L1", "", "has no master as wound card: name the colour wanted, below", 200),
        ("wet", "50,0,0", "measured wet", 200),
        ("parts", "50,0,0", "in several parts", 200),
        ("unweighed", "50,0,0", "dry weight", 200),
        ("unseen", "50,0,0", "dry a snippet from the pot", 200),
        ("thin 1", "50,0,0", "at least 6 measured lots", 200),
        ("over", "50,0,0", f"tick “{OVERDYED}” to reckon with the dye under it", 200),
        ("L1", "not a colour", "unknown swatch", 404),
        ("L1", "500,0,0", "is no colour", 400),
    ],
)
async def test_what_cannot_be_corrected_is_said(
    kitchen: Visitor, yarn: Path, lot: str, to: str, said: str, status: int
) -> None:
    asked = urlencode({"to": to})
    page = await page_of(kitchen, f"/pot/{lot_id(yarn, lot)}/correct?{asked}", status)
    told = page.split('role="alert"')[1].split("</p>")[0]
    assert said.casefold() in told.casefold() and "--" not in told and "`" not in told
    assert "Record it" not in page and not doses_in(page)


async def test_what_is_asked_back_can_be_answered_on_the_page(
    kitchen: Visitor, yarn: Path, capsys: Capsys
) -> None:
    there = f"/pot/{lot_id(yarn, 'over')}/correct?to=20,0,0"
    assert f">{OVERDYED}</label>" in await page_of(kitchen, there)
    told = correct(capsys, yarn, "over", "--to", "20,0,0", "--overdyed")
    page = await page_of(kitchen, f"{there}&overdyed=1")
    assert told["why"] in page and len(doses_in(page)) == len(told["amounts"])
    assert (await kitchen("helper").get(f"{there}&without=Nix")).status_code == 404
    assert (await kitchen("helper").get(f"{there}&k_l=0")).status_code == 400
    assert (await kitchen("helper").get("/pot/99999/correct")).status_code == 404


async def test_it_is_recorded_in_the_pot_s_own_form(
    visitor: Visitor, studio: Path, capsys: Capsys
) -> None:
    number = lot_id(studio, "NF-4")
    told = correct(capsys, studio, "NF-4", "--to", "NF-3 card")
    page = await page_of(visitor, f"/pot/{number}/correct?to=NF-3+card")
    record = re.search(r'href="(/pot/\d+\?[^"]*)"', page)
    assert record is not None and record[1].endswith("#else")
    filled = dict(parse_qsl(urlsplit(record[1]).query))
    before = await page_of(visitor, f"/pot/{number}")
    form = (await page_of(visitor, record[1].split("#")[0])).split('id="else"')[1]
    assert 'name="kind" value="dye in" checked' in form
    for row, amount in enumerate(told["amounts"], 1):
        assert f'name="amount{row}" value="{amount["measure"]}"' in form
        assert f'<option value="{filled[f"dye{row}"]}" selected>{amount["dye"]}, stock' in form
    assert "data-filled" in form[:20] and "data-filled" not in before
    sent = {"once": "x" * 20, "do": "step", "kind": "dye in", **filled}
    assert (await visitor("helper").post(f"/pot/{number}", sent)).status_code == 303
    log = await page_of(visitor, f"/pot/{number}")
    went_in = log.split("<h3>Went in</h3>")[1].split("</dl>")[0]
    for amount in told["amounts"]:
        assert f"{amount['measure']} of stock {amount['stock']}" in went_in


async def test_a_pot_and_its_lot_lead_there_for_those_who_log(
    visitor: Visitor, studio: Path, tmp_path: Path
) -> None:
    from swatchvault.archive import open_archive
    from swatchvault.archive.publishing import publish

    number = lot_id(studio, "NF-4")
    there = f"/pot/{number}/correct"
    for path in (f"/pot/{number}", f"/lot/{number}"):
        assert f'href="{there}"' in await page_of(visitor, path)
    with open_archive(studio) as archive:
        publish(archive, tmp_path / "copy", recipes=True)
    served = datasette_of(tmp_path / "copy", public=True)
    await served.invoke_startup()
    assert (await served.client.get(there)).status_code == 403
    for path in (f"/pot/{number}", f"/lot/{number}"):
        assert there not in (await served.client.get(path)).text
    assert (await visitor("anyone").get(there)).status_code == 403
    assert (await visitor("dyer").post(there, {"once": "x" * 20})).status_code == 405
