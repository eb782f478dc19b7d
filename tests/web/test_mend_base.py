"""A base's fibres, price and superwash put right, by `mend` and on its page."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from swatchvault.archive import get_base, open_archive
from tests.swatchvault.running import run
from tests.web.test_yarn import ask

pytestmark = pytest.mark.anyio
NAME = "Orrin four-ply"


def facts(studio: Path) -> Any:
    with open_archive(studio) as archive:
        base = get_base(archive.conn, NAME)
    return base.fibres, base.price_per_kg, base.superwash


def test_mend_puts_a_base_right(studio: Path, capsys: pytest.CaptureFixture[str]) -> None:
    asked = ("mend", "base", NAME, "--archive", studio)
    told = ("--fibres", "70 % wool, 30 % alpaca", "--price-per-kg", "41.5", "--superwash", "no")
    said = run(capsys, *asked, *told)
    assert said.code == 0, said.err
    assert "fibres 70 % wool, 30 % alpaca, was " in said.out and "price_per_kg 41.5" in said.out
    assert facts(studio) == ({"wool": 70.0, "alpaca": 30.0}, 41.5, False)
    assert "nothing changed" in run(capsys, *asked, *told).out
    for wrong, words in (("70 % wool", "sum to 70 %"), ("wool", "cannot be read")):
        assert words in run(capsys, *asked, "--fibres", wrong).err
    assert run(capsys, *asked, "--price-per-kg", "-3").code == 1
    assert facts(studio) == ({"wool": 70.0, "alpaca": 30.0}, 41.5, False)
    assert run(capsys, "verify", studio).code == 0


async def test_its_page_has_the_form(visitor: Callable[[str], Any], studio: Path) -> None:
    (number,) = ask(studio, "SELECT id FROM base WHERE name = ?", NAME)[0]
    dyer, path = visitor("dyer"), f"/base/{number}/facts"
    page = (await dyer.get(f"/base/{number}")).text
    assert f'action="{path}"' in page
    assert f'action="{path}"' not in (await visitor("helper").get(f"/base/{number}")).text
    once = re.search(rf'value="([^"]*-base-{number})"', page)
    assert once is not None
    told = {"fibres": "100 % silk", "price_per_kg": "52,5", "superwash": "perhaps"}
    refused = await dyer.post(path, {**told, "once": once[1]})
    assert refused.status_code == 400 and 'value="100 % silk"' in refused.text
    answer = await dyer.post(path, {**told, "superwash": "yes", "once": once[1]})
    assert answer.status_code == 303 and answer.headers["location"] == f"/base/{number}"
    assert facts(studio) == ({"silk": 100.0}, 52.5, True)
    assert (await visitor("helper").post(path, told)).status_code == 403
