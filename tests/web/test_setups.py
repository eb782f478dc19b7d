"""References and set-ups told on their page, and a set-up chosen before the search."""

from __future__ import annotations

import html
import json
import re
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from swatchvault.archive import get_reference, get_setup, open_archive
from tests.web.newphotos import jpeg, marks
from tests.web.test_own_values import B_Y, C_Y, as_measured, marks_of
from tests.web.test_photos import marked, measured, sent

pytestmark = pytest.mark.anyio
Visitor = Callable[[str], Any]
B_TYPED = "0,9 0,59 0,36 0,195 0,09 0,032"
C_TYPED = "0.85, 0.495, 0.27, 0.15, 0.08, 0.045"


async def told(client: Any, add: str, number: int = 0, **fields: str) -> Any:
    return await client.post("/setups", {"once": f"{add:z<24}{number}", "add": add, **fields})


async def both(dyer: Any) -> None:
    for n, (name, y) in enumerate((("steps C", C_TYPED), ("steps B", B_TYPED))):
        answer = await told(dyer, "reference", n, name=name, kind="steps", y=y)
        assert answer.status_code == 303, answer.text
        setup = {"name": f"window {name[-1]}", "light": "daylight", "locked": "yes"}
        answer = await told(dyer, "setup", n, **setup, reference=name)
        assert answer.status_code == 303, answer.text


async def test_a_reference_and_a_set_up_are_told_and_seen(visitor: Visitor, studio: Path) -> None:
    dyer = visitor("dyer")
    await both(dyer)
    page = html.unescape((await dyer.get("/setups")).text)
    assert "<bdi>steps B</bdi></strong>, neutral steps: 0.9, 0.59, 0.36, 0.195, 0.09, 0.032" in page
    assert "<bdi>window B</bdi></strong>: daylight, camera locked, with <bdi>steps B" in page
    with open_archive(studio) as archive:
        assert get_reference(archive.conn, "steps B").y == B_Y
        known = get_setup(archive.conn, "window C")
    assert (known.light, known.locked, known.reference) == ("daylight", True, "steps C")
    assert '<a href="/setups">' in (await dyer.get("/more")).text


async def test_what_no_value_is_told_of_says_what_it_is_taken_as(visitor: Visitor) -> None:
    dyer = visitor("dyer")
    for n, kind in enumerate(("card", "chart24")):
        assert (await told(dyer, "reference", n, name=f"my {kind}", kind=kind)).status_code == 303
    page = html.unescape((await dyer.get("/setups")).text)
    assert "my card</bdi></strong>, grey card: no values of its own: taken as Y 0.18" in page
    assert "24-patch chart: no values of its own: taken as edition after-2014-11" in page


async def test_a_card_and_a_charts_own_values(visitor: Visitor, studio: Path) -> None:
    dyer = visitor("dyer")
    card = await told(dyer, "reference", 1, name="c", kind="card", lab="49,5; 0,1; -0,3")
    chart = await told(dyer, "reference", 2, name="d", kind="chart24", chart="37,5 13 14\n" * 24)
    assert (card.status_code, chart.status_code) == (303, 303)
    with open_archive(studio) as archive:
        assert get_reference(archive.conn, "c").lab_d50 == ((49.5, 0.1, -0.3),)
        assert get_reference(archive.conn, "d").lab_d50 == ((37.5, 13.0, 14.0),) * 24


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"kind": "steps", "y": "18"}, "18 % is 0.18"),
        ({"kind": "steps", "y": "0.9 0.95 0.1"}, "out of order"),
        ({"kind": "steps"}, "what the steps reflect is missing"),
        ({"kind": "card", "y": "0.18", "lab": "50 0 0"}, "told in two ways"),
        ({"kind": "card", "lab": "50 0"}, "write three numbers"),
        ({"kind": "card", "chart": "1 2 3"}, "not of grey card"),
        ({"kind": "chart24", "y": "0.18"}, "a chart has 24 colours"),
        ({"kind": "chart24", "chart": "1 2 3"}, "needed 24 colours"),
        ({"kind": "card", "edition": "after-2014-11"}, "an edition is a chart's"),
        ({"kind": "x"}, "choose one on the page"),
        ({}, "What it is"),
    ],
)
async def test_what_cannot_be_is_told_and_comes_back_as_typed(
    fields: dict[str, str], words: str, visitor: Visitor
) -> None:
    answer = await told(visitor("dyer"), "reference", name="mine & own", **fields)
    page = html.unescape(answer.text)
    assert answer.status_code == 400 and words in page
    assert 'value="mine & own"' in page


async def test_helpers_look_and_do_not_change(visitor: Visitor) -> None:
    helper = visitor("helper")
    page = await helper.get("/setups")
    assert page.status_code == 200 and "Add a reference" not in page.text
    assert (await told(helper, "setup", name="x")).status_code == 403
    assert (await visitor("anyone").get("/setups")).status_code == 403


async def test_a_set_up_that_is_chosen_first_decides_what_is_looked_for(
    visitor: Visitor, tmp_path: Path
) -> None:
    dyer = visitor("dyer")
    await both(dyer)
    assert "<option>window C</option>" in (await dyer.get("/photos/new")).text
    data = jpeg("harbour-1")
    files = [("photo", ("one.jpg", data, "image/jpeg"))]
    sent = await dyer.post("/photos/new", {"once": "x" * 20, "setup": "window C"}, files=files)
    page = (await dyer.get(sent.headers["location"])).text
    assert 'data-steps-of="steps C"' in page  # steps B are the newest
    assert 'name="setup" value="window C"' in page
    assert re.search(r"<option selected>daylight", page)
    sha256 = sent.headers["location"].split("/")[2]
    about = {"light": "daylight", "setup": "window C", "locked": "yes"}
    await marked(dyer, sha256, marks_of(page), **about)
    (region,) = (await measured(dyer, sha256))["regions"]
    assert np.allclose(region["lab"], as_measured(tmp_path, C_Y), atol=0.02)


async def test_a_set_up_that_is_chosen_later_can_be_looked_for_again(
    visitor: Visitor, tmp_path: Path
) -> None:
    dyer = visitor("dyer")
    await both(dyer)
    sha256 = await sent(dyer, jpeg("harbour-1"))
    first = (await dyer.get(f"/photos/{sha256}/mark")).text
    assert 'data-steps-of="steps B"' in first and "Look again with this set-up" in first
    moved = marks_of(first)
    moved["swatches"] = [{"name": "mine", "polygon": [[0.4, 0.4], [0.5, 0.4], [0.5, 0.5]]}]
    wrong = await marked(dyer, sha256, moved, setup="window C", bar_mm="60", look="again")
    assert wrong.status_code == 400 and marks_of(wrong.text) == moved  # nothing is lost by a slip
    looked = await marked(dyer, sha256, moved, setup="window C", look="again")
    assert looked.headers["location"] == f"/photos/{sha256}/mark"
    page = (await dyer.get(f"/photos/{sha256}/mark")).text
    assert 'data-steps-of="steps C"' in page and 'name="setup" value="window C"' in page
    assert re.search(r"<option selected>daylight", page)
    assert re.search(r'<option value="yes" selected>locked', page)
    assert "mine" not in json.dumps(marks_of(page)) and marks_of(page)["references"]
    state = await measured(dyer, sha256)
    assert state["state"] == "not marked"
    await marked(dyer, sha256, marks_of(page), light="daylight", setup="window C", locked="yes")
    (region,) = (await measured(dyer, sha256))["regions"]
    assert np.allclose(region["lab"], as_measured(tmp_path, C_Y), atol=0.02)


async def test_values_are_put_right_and_the_photos_that_stood_on_them_are_named(
    visitor: Visitor, studio: Path, tmp_path: Path
) -> None:
    dyer = visitor("dyer")
    await both(dyer)
    photo = tmp_path / "mine.jpg"
    photo.write_bytes(jpeg("harbour-1", 3))
    _add(studio, photo)
    with open_archive(studio) as archive:
        sql = "SELECT sha256 FROM photo WHERE original_name = 'mine.jpg'"
        picture = f"/picture/{archive.conn.execute(sql).fetchone()[0]}?width=240"
    before = (await dyer.get(picture)).content
    asked = await told(dyer, "mend", 1, name="steps C", y=B_TYPED)
    assert asked.status_code == 400 and 'name="sure"' in asked.text
    assert "read by it so far: 1 photo (mine.jpg)" in html.unescape(asked.text)
    assert "--yes" not in asked.text
    done = await told(dyer, "mend", 2, name="steps C", y=B_TYPED, sure="yes")
    assert done.status_code == 303
    page = (await dyer.get(done.headers["location"].split("#")[0])).text
    assert "Put right: <bdi>steps C</bdi>" in page and "<bdi>mine.jpg</bdi></a>" in page
    with open_archive(studio) as archive:
        assert get_reference(archive.conn, "steps C").y == B_Y
    assert (await dyer.get("/setups?mended=x")).status_code == 200
    assert (await dyer.get(picture)).content != before  # corrected by the new values


def _add(studio: Path, photo: Path) -> None:
    from swatchvault.cli import main

    what = ("--swatch", "new one", "--base", "Orrin four-ply", "--form", "skein")
    with pytest.raises(SystemExit) as stop:
        main(["add", str(photo), "--archive", str(studio), *what, "--setup", "window C"])
    assert stop.value.code == 0


async def test_the_light_of_a_set_up_counts_where_none_is_told(
    visitor: Visitor, studio: Path, tmp_path: Path
) -> None:
    dyer = visitor("dyer")
    await both(dyer)
    found = []
    for n, about in enumerate(({"setup": "window C", "light": "daylight"}, {"setup": "window C"})):
        files = [("photo", (f"{n}.jpg", jpeg("harbour-1", n), "image/jpeg"))]
        sent = await dyer.post("/photos/new", {"once": f"light-of-set-up-{n:05d}"}, files=files)
        sha256 = sent.headers["location"].split("/")[2]
        page = (await dyer.get(sent.headers["location"])).text
        await marked(dyer, sha256, marks_of(page), **about)
        (region,) = (await measured(dyer, sha256))["regions"]
        found.append([float(u) for u in re.findall(r"± ([\d.]+)", region["words"])])
    assert len(found[0]) == 3
    assert np.allclose(*found, atol=0.11)  # without a light they would be twice as large
    photo = tmp_path / "mine.jpg"
    photo.write_bytes(jpeg("harbour-1", 4))
    _add(studio, photo)
    with open_archive(studio) as archive:
        sql = "SELECT light FROM photo WHERE original_name = 'mine.jpg'"
        assert archive.conn.execute(sql).fetchone()[0] == "daylight"


async def test_a_set_ups_light_and_lock_are_put_right_and_what_hangs_on_them_is_told(
    visitor: Visitor, studio: Path, tmp_path: Path
) -> None:
    dyer = visitor("dyer")
    await both(dyer)
    free = await told(dyer, "mend-setup", 1, name="window C", locked="no")
    assert free.status_code == 303
    page = (await dyer.get(free.headers["location"].split("#")[0])).text
    assert "Put right: <bdi>window C</bdi>" in page and "remeasure" not in page
    assert "<bdi>window C</bdi></strong>: daylight, camera free" in page
    photo = tmp_path / "mine.jpg"
    photo.write_bytes(jpeg("harbour-1", 5))
    _add(studio, photo)
    asked = await told(dyer, "mend-setup", 2, name="window C", light="other")
    assert asked.status_code == 400 and 'name="sure"' in asked.text
    assert "lit by it so far: 1 photo (mine.jpg)" in html.unescape(asked.text)
    assert "--yes" not in asked.text and '<option value="other" selected>' in asked.text
    done = await told(dyer, "mend-setup", 3, name="window C", light="other", sure="yes")
    page = html.unescape((await dyer.get(done.headers["location"].split("#")[0])).text)
    assert "<bdi>mine.jpg</bdi></a>" in page and 'remeasure --setup "window C"' in page
    for n, kind, name in ((6, "mend-setup", "window C"), (7, "mend", "steps C")):
        nothing = await told(dyer, kind, n, name=name)
        assert nothing.status_code == 400 and "Nothing was typed" in nothing.text
    with open_archive(studio) as archive:
        known = get_setup(archive.conn, "window C")
        assert (known.light, known.locked) == ("other", False)
    clash = await told(dyer, "setup", 9, name="window C", light="daylight")
    assert "already has light" in clash.text and "swatchvault mend" not in clash.text
    wrong = await told(dyer, "mend-setup", 4, name="window C", light="lamp")
    assert wrong.status_code == 400 and "light is daylight or other" in wrong.text
    assert (await told(visitor("helper"), "mend-setup", name="x")).status_code == 403
    assert (await dyer.get("/setups?setup=x")).status_code == 200


async def test_the_set_up_used_last_or_the_only_one_is_chosen_beforehand(
    visitor: Visitor, studio: Path
) -> None:
    dyer = visitor("dyer")

    async def chosen() -> tuple[list[str], str]:
        page = (await dyer.get("/photos/new")).text
        return re.findall(r"<option selected>([^<]*)", page), page

    def change(*told: str) -> None:
        with sqlite3.connect(studio / "archive.db") as conn:
            for sql in told:
                conn.execute(sql)

    await both(dyer)
    one = "UPDATE photo SET setup_id = (SELECT id FROM setup WHERE name = 'window C')"
    newest = "WHERE id = (SELECT id FROM photo ORDER BY id LIMIT 1)"
    change("UPDATE photo SET added_at = '2026-01-01T00:00:00Z'")
    change(f"{one}, added_at = '2026-01-02T00:00:00Z' {newest}")
    names, page = await chosen()
    assert names == ["window C"]
    assert "<bdi>window C</bdi> was used last" in page and '<option value="">not said' in page
    change("UPDATE photo SET setup_id = NULL")
    assert (await chosen())[0] == []  # several, and none of them used
    change("DELETE FROM repeat_photo", "DELETE FROM repeat_set")
    change("DELETE FROM setup WHERE name <> 'window B'")
    names, page = await chosen()
    assert names == ["window B"] and "<bdi>window B</bdi> is the only one" in page
    change("DELETE FROM setup")
    names, page = await chosen()
    assert names == [] and "chosen already" not in page


async def test_what_a_set_up_really_says_is_told_before_the_photo(
    visitor: Visitor, studio: Path
) -> None:
    dyer = visitor("dyer")
    page = html.unescape((await dyer.get("/photos/new")).text)
    assert "light" in page and "its reference" not in page  # the demo's have none of their own
    assert "it has no reference of its own, and a chart and a grey card are looked for" in page
    await both(dyer)
    answer = await told(dyer, "setup", 9, name="bench")
    assert answer.status_code == 303
    page = html.unescape((await dyer.get("/photos/new")).text)
    said = dict(
        re.findall(r'<li data-setup="([^"]*)">(?:<bdi>.*?</bdi>|not said): (.*?)</li>', page)
    )
    own = "its light is daylight, and its reference steps C is looked for, with its values."
    assert said["window C"] == own
    bare = "it has no reference of its own, and steps B, used or told last, is looked for."
    assert said["bench"] == f"its light is not said, {bare}"
    assert said[""].startswith("no light is said by it, no reference is told with it, and steps B")


@pytest.mark.parametrize("light", ["", "daylight"])
async def test_where_no_light_was_told_the_page_says_what_that_means(
    light: str, visitor: Visitor
) -> None:
    dyer = visitor("dyer")
    sha256 = await sent(dyer, jpeg())
    await marked(dyer, sha256, marks(), light=light)
    state = await measured(dyer, sha256)
    words = "± is that of any light, since none was told"
    assert state["any_light"] == ("" if light else words)
    for page in ("shows", "state"):
        text = (await dyer.get(f"/photos/{sha256}/{page}")).text
        assert (f'{words}: <a href="/photos/{sha256}/mark">' in text) is not bool(light)
