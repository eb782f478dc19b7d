"""A set-up's page: what its filed photos teach, kept with a second tap, and taken back."""

from __future__ import annotations

import html
import re
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from swatchvault.archive import find, learned_of_setup, open_archive
from swatchvault.pair import Capture
from swatchvault.repeat_shots import shot_of
from swatchvault.repeats import learn, words
from tests.swatchvault.repeat_photos import file_repeats

pytestmark = pytest.mark.anyio
Visitor = Callable[[str], Any]
BASE = "Orrin four-ply"


def filed(studio: Path, folder: Path, **how: Any) -> tuple[int, list[str], list[Any]]:
    """Repeat photos filed with the set-up `sill`: its number, their sha256, what they show."""
    with open_archive(studio) as archive:
        shas, seen = file_repeats(archive, folder, BASE, **how)
        return find(archive.conn, "setup", "sill"), shas, seen


def asked(number: int, shas: list[str], capture: str = "locked set-up") -> str:
    ticked = "".join(f"&photo={s[:16]}" for s in shas)
    return f"/setup/{number}?go=1&capture={capture.replace(' ', '+')}{ticked}"


def lines_of(page: str) -> list[str]:
    return [html.unescape(line) for line in re.findall(r"<p[^>]*>(.*?)</p>", page)]


def form_of(page: str, does: str) -> list[tuple[str, str]]:
    """The hidden fields of the form on the page that does so."""
    (form,) = [f for f in re.findall(r"<form.*?</form>", page, re.S) if f'value="{does}"' in f]
    return re.findall(r'<input type="hidden" name="([^"]*)" value="([^"]*)"', form)


async def sent(client: Any, number: int, fields: list[tuple[str, str]]) -> Any:
    body = "&".join(f"{k}={v.replace(' ', '+')}" for k, v in fields)
    kind = {"content-type": "application/x-www-form-urlencoded"}
    return await client.post(f"/setup/{number}", content=body, headers=kind)


def learned(studio: Path, number: int) -> Any:
    with open_archive(studio) as archive:
        return learned_of_setup(archive.conn, number)


async def test_it_says_what_the_command_says_keeps_it_and_takes_it_back(
    visitor: Visitor, studio: Path, tmp_path: Path
) -> None:
    number, shas, seen = filed(studio, tmp_path, scatter=1.0)
    dyer = visitor("dyer")
    page = (await dyer.get(f"/setup/{number}")).text
    assert "Nothing is learned of it" in page and "keep it" not in page.lower().split("<main")[1]
    assert "<bdi>red</bdi>: 12 photos</li>" in page and page.count('name="photo"') == 12
    assert "checked" not in page.split('type="radio"')[0]
    assert 'value="locked set-up" checked' in page
    ticked = (await dyer.get(f"/setup/{number}?all=1")).text
    assert len(re.findall(r'name="photo" value="\w{16}" checked', ticked)) == 12

    first = learn([shot_of(p, "daylight") for p in seen], Capture.LOCKED)
    page = (await dyer.get(asked(number, shas))).text
    assert set(words(first)) <= set(lines_of(page))
    assert learned(studio, number) is None
    kept = form_of(page, "keep")
    for _ in range(2):  # sent twice it is kept once
        answer = await sent(dyer, number, kept)
        assert (answer.status_code, answer.headers["location"]) == (303, f"/setup/{number}?kept=1")
    with sqlite3.connect(studio / "archive.db") as conn:
        assert conn.execute("SELECT count(*) FROM repeat_set").fetchone() == (1,)
        assert conn.execute("SELECT count(*) FROM repeat_photo").fetchone() == (12,)
    before = learned(studio, number)
    assert set(before["photos"]) == set(shas)
    assert "learned from repeats 20" in (await dyer.get("/setups")).text

    page = (await dyer.get(asked(number, shas[:11], "same set-up"))).text
    assert "its lot checks use what locked photos teach, and not this" in page
    await sent(dyer, number, form_of(page, "keep"))
    page = (await dyer.get(f"/setup/{number}")).text
    assert len(learned(studio, number)["photos"]) == 11 and "11 photos of 4 swatches" in page
    back = form_of(page, "take-back")
    answer = await sent(dyer, number, back)
    assert (answer.status_code, answer.headers["location"]) == (303, f"/setup/{number}?back=1")
    assert learned(studio, number) == before
    page = (await dyer.get(f"/setup/{number}?back=1")).text
    assert set(words(first)) <= set(lines_of(page))
    late = [(k, f"{v}-late" if k == "once" else v) for k, v in back]
    answer = await sent(dyer, number, late)  # from a page of before
    assert answer.status_code == 400 and "changed since" in answer.text
    assert learned(studio, number) == before


@pytest.mark.parametrize(
    ("how", "take", "capture", "said"),
    [
        ({}, 9, "locked set-up", "Too few photos: needed 10 of each of 4 swatches"),
        ({"names": ("red", "blue", "green")}, 12, "locked set-up", "3 different hues, needed 4"),
        ({}, 0, "locked set-up", "No photo is ticked"),
        ({}, 12, "", "Say whether the camera's settings were locked"),
        ({}, 12, "other", "Say whether the camera's settings were locked"),
    ],
)
async def test_what_is_refused_is_said_in_a_line_and_ticks_stay(
    how: dict[str, Any],
    take: int,
    capture: str,
    said: str,
    visitor: Visitor,
    studio: Path,
    tmp_path: Path,
) -> None:
    number, shas, _ = filed(studio, tmp_path, locked=None, **how)
    page = (await visitor("dyer").get(asked(number, shas[:take], capture))).text
    (alert,) = re.findall(r'role="alert">(.*?)</p>', page)
    assert said in html.unescape(alert)
    assert len(re.findall(r'name="photo" value="\w{16}" checked', page)) == take
    assert 'value="keep"' not in page


async def test_copies_of_one_shot_are_told_and_not_kept(
    visitor: Visitor, studio: Path, tmp_path: Path
) -> None:
    number, shas, _ = filed(studio, tmp_path)
    dyer = visitor("dyer")
    fields = form_of((await dyer.get(asked(number, shas))).text, "keep")
    with sqlite3.connect(studio / "archive.db") as conn:
        conn.execute("UPDATE photo SET taken_at = '2026-04-01T10:00:00'")
    page = (await dyer.get(asked(number, shas))).text
    assert "They look like copies of one shot" in page and 'value="keep"' not in page
    answer = await sent(dyer, number, fields)
    assert answer.status_code == 400 and "nothing is kept for the set-up" in answer.text
    assert learned(studio, number) is None


async def test_a_helper_reads_it_and_changes_nothing(
    visitor: Visitor, studio: Path, tmp_path: Path
) -> None:
    number, shas, _ = filed(studio, tmp_path)
    fields = form_of((await visitor("dyer").get(asked(number, shas))).text, "keep")
    page = (await visitor("helper").get(asked(number, shas))).text
    assert "12 photos of 4 swatches" in page and 'method="post"' not in page
    assert (await sent(visitor("helper"), number, fields)).status_code == 403
    assert learned(studio, number) is None


async def test_a_set_up_that_is_not_there(visitor: Visitor) -> None:
    answer = await visitor("dyer").get("/setup/987654")
    assert answer.status_code == 404 and "no such set-up" in answer.text
    answer = await visitor("dyer").post("/setup/1", {"once": "a" * 20, "do": "nonsense"})
    assert answer.status_code == 400
