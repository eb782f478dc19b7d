"""Colours of a swatch's parts beside its own colour: of all its yarn, or it is said that not."""

from __future__ import annotations

import html
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from swatchvault.experiments import ORDER
from swatchvault.tonal_words import AT_CRESTS
from tests.swatchvault.running import run
from tests.web.test_lots_told import ask

pytestmark = pytest.mark.anyio


@pytest.mark.parametrize("label", ["TF-1 knit", "NF-3 card", "HF-3 skein a"])
def test_tenths_lie_about_the_swatchs_own_colour(
    label: str, studio: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ((own,),) = ask(
        studio,
        "SELECT m.lab_l FROM how_even AS seen JOIN measurement AS m ON m.id = seen.measurement_id "
        "WHERE seen.swatch = ?",
        label,
    )
    told = json.loads(run(capsys, "tonal", label, "--json", "--archive", studio).out)
    lightest, middle, darkest = (lab[0] for lab in told["map"]["tenths"])
    assert lightest > own > darkest
    assert middle == pytest.approx(own, abs=0.3)


async def test_gaps_are_told_at_one_kl_and_in_what_order(visitor: Callable[[str], Any]) -> None:
    text = html.unescape((await visitor("dyer").get("/gaps?base=1")).text)
    assert "19 of 20 such pots within ΔE00" in text
    assert "kL = 1" not in text and "Every ΔE00 with kL = 2." in text
    assert text.count(ORDER) == 1


async def test_colours_read_at_crests_say_so_on_the_page(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    for label, several in (("MA-1 knit", True), ("NF-3 card", False)):
        ((swatch,),) = ask(studio, "SELECT id FROM swatch WHERE label = ?", label)
        page = html.unescape((await visitor("dyer").get(f"/swatch/{swatch}")).text)
        assert (AT_CRESTS in page) is several, label
