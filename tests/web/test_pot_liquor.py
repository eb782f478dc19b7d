"""A pot's liquor by photo on the pages: sent, marked, read as the command reads it, kept."""

from __future__ import annotations

import asyncio
import hashlib
import html
import json
import os
import re
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from swatchvault.archive import PotStep, get_pot, open_archive, record_step
from swatchvault.cli import main
from swatchvault.web import incoming
from swatchvault.web.glass import with_glass
from tests.web.liquor import SEEN, glass, lot

pytestmark = pytest.mark.anyio
Visitor = Callable[[str], Any]


def marks_of(photo: Path) -> Any:
    return json.loads(photo.with_suffix(".marks.json").read_text())


async def post(client: Any, path: str, said: dict[str, str], **named: Any) -> Any:
    token = hashlib.sha256(os.urandom(8)).hexdigest()[:20]
    return await client.post(path, {"once": token, **said}, **named)


async def send(client: Any, lot_id: int, photo: Path, look: str) -> str:
    data = photo.read_bytes()
    files = [("photo", (photo.name, data, "image/png"))]
    told = {"liquor": str(lot_id), "look": look}
    answer = await post(client, "/photos/new", told, files=files)
    sha256 = hashlib.sha256(data).hexdigest()
    assert answer.headers.get("location") == f"/photos/{sha256}/mark", answer.text
    return sha256


async def mark(client: Any, sha256: str, marks: Any) -> Any:
    return await post(client, f"/photos/{sha256}/mark", {"marks": json.dumps(marks)})


async def sent(client: Any, lot_id: int, photo: Path, look: str) -> str:
    """A photo sent, and marked as it was rendered."""
    sha256 = await send(client, lot_id, photo, look)
    answer = await mark(client, sha256, marks_of(photo))
    assert answer.headers.get("location") == f"/pot/{lot_id}/liquor", answer.text
    return sha256


async def page(client: Any, lot_id: int) -> str:
    """The page's text when all photos are measured."""
    for _ in range(600):
        text = html.unescape((await client.get(f"/pot/{lot_id}/liquor")).text)
        if 'data-state="measuring"' not in text:
            return re.sub(r"\s+", " ", text)
        await asyncio.sleep(0.05)
    raise AssertionError("never measured")


def plain(text: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", text))


def looks(studio: Path, code: str = "NF-9") -> list[Any]:
    with open_archive(studio) as archive:
        steps = get_pot(archive.conn, code).steps
    return [d.step for d in steps if (d.step.note or "").startswith("photo ")]


async def test_a_pot_leads_to_it(visitor: Visitor, studio: Path) -> None:
    lot_id = lot(studio)
    text = (await visitor("helper").get(f"/pot/{lot_id}")).text
    assert f'href="/pot/{lot_id}/liquor">How much colour is left: by photo</a>' in text
    assert (await visitor("helper").get(f"/pot/{lot_id}/liquor")).status_code == 200
    assert (await visitor("helper").get("/pot/99999/liquor")).status_code == 404


async def test_it_reads_as_the_command_does_and_remembers_the_start(
    visitor: Visitor, studio: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    helper, lot_id = visitor("helper"), lot(studio)
    photos = {name: glass(tmp_path, name) for name in ("start", "hold 1")}
    await sent(helper, lot_id, photos["start"], "start")
    alone = await page(helper, lot_id)
    assert "What the others are measured against" in alone
    assert "<option>hold 1</option><option>again</option>" in alone
    await sent(helper, lot_id, photos["hold 1"], "hold 1")
    text = plain(await page(helper, lot_id))
    with pytest.raises(SystemExit):
        main(["liquor", *map(str, photos.values())])
    said = capsys.readouterr().out
    told = re.findall(r"^hold 1: (.*)$\n^  by channel: (.*)$", said, re.MULTILINE)
    assert told and all(words in text for words in told[0])
    hint = next(line for line in said.splitlines() if "To be surer" in line)
    assert hint.removeprefix("! ") in text
    assert looks(studio) == []  # nothing is kept before it is asked


async def test_a_reading_is_kept_once_at_the_time_stated(
    visitor: Visitor, studio: Path, tmp_path: Path
) -> None:
    helper, lot_id = visitor("helper"), lot(studio)
    for name in ("start", "hold 1"):
        sha256 = await sent(helper, lot_id, glass(tmp_path, name), name)
    assert "Not in the log yet" in await page(helper, lot_id)
    with open_archive(studio) as archive:
        started = get_pot(archive.conn, "NF-9").started_at
    address, at = f"/pot/{lot_id}/liquor", f"at-{sha256[:12]}-0"
    early = await post(helper, address, {"do": "keep", at: "1999-01-01 10:40"})
    assert early.status_code == 400 and "is before the lot began" in early.text
    assert 'value="1999-01-01 10:40"' in early.text and looks(studio) == []
    answer = await post(helper, address, {"do": "keep", at: f"{str(started)[:10]} 23:50"})
    assert answer.status_code == 303, answer.text
    start, hold = looks(studio)
    assert (start.kind, start.colour_left) == ("look", "100 %")
    assert start.note.startswith("photo image.png, start: much, ± ")
    assert hold.at.startswith(f"{str(started)[:10]}T23:50") and hold.note.startswith(
        "photo image.png, hold 1: much, ± "
    )
    assert float(hold.colour_left.removesuffix(" %")) == pytest.approx(50, abs=5)
    text = plain(await page(helper, lot_id))
    assert text.count("In the log as step") == 2 and "reads otherwise" not in text
    await post(helper, address, {"do": "keep", at: f"{str(started)[:10]} 23:50"})
    assert len(looks(studio)) == 2


async def test_a_photo_without_a_time_is_kept_at_the_time_it_was_sent(
    visitor: Visitor, studio: Path, tmp_path: Path
) -> None:
    helper, lot_id = visitor("helper"), lot(studio)
    sha256 = await sent(helper, lot_id, glass(tmp_path, "start"), "start")
    came = incoming.draft(studio, sha256)["sent_at"]
    at = f"{came[:17]}00{came[19:]}"  # the very second, and not this one
    incoming.note(studio, sha256, {"sent_at": at})
    text = plain(await page(helper, lot_id))
    assert f"{came[:16].replace('T', ' ')} (when it was sent: the photo has none)" in text
    await post(helper, f"/pot/{lot_id}/liquor", {"do": "keep"})
    assert [s.at for s in looks(studio)] == [at]


async def test_a_dilution_is_told_beside_its_glass(
    visitor: Visitor, studio: Path, tmp_path: Path
) -> None:
    dyer, lot_id = visitor("dyer"), lot(studio)
    keys = {}
    for name in ("start", "again", "hold 1"):
        sha256 = await sent(dyer, lot_id, glass(tmp_path, name), name)
        keys[name] = f"parts-{sha256[:12]}-0"
    text = plain(await page(dyer, lot_id))
    assert "again (diluted to 2 parts) The start once more, counted." in text
    assert "diluted otherwise than is said" not in text
    await post(dyer, f"/pot/{lot_id}/liquor", {"do": "read", keys["again"]: "1,5"})
    text = await page(dyer, lot_id)
    assert "again (diluted to 1.5 parts)" in text and 'value="1,5"' in text
    await post(dyer, f"/pot/{lot_id}/liquor", {"do": "read"})  # from a page without its field
    assert "again (diluted to 1.5 parts)" in await page(dyer, lot_id)
    await post(dyer, f"/pot/{lot_id}/liquor", {"do": "read", keys["again"]: ""})
    assert "again (diluted to 2 parts)" in await page(dyer, lot_id)
    wrong = await post(dyer, f"/pot/{lot_id}/liquor", {"do": "read", keys["hold 1"]: "0.5"})
    assert wrong.status_code == 400 and "1 or more is needed" in wrong.text
    much = await post(dyer, f"/pot/{lot_id}/liquor", {"do": "read", keys["hold 1"]: "much"})
    assert much.status_code == 400 and "cannot be read" in much.text


async def test_what_reads_otherwise_or_stands_behind_a_rinse_is_said(
    visitor: Visitor, studio: Path, tmp_path: Path
) -> None:
    dyer, lot_id = visitor("dyer"), lot(studio)
    for name in ("start", "hold 1"):
        sha256 = await sent(dyer, lot_id, glass(tmp_path, name), name)
    assert "goes on to" not in await page(dyer, lot_id)
    with open_archive(studio) as archive:
        record_step(archive.conn, "NF-9", PotStep("rinse"))
    text = plain(await page(dyer, lot_id))
    assert "NF-9's log goes on to rinse (step 1): the new looks stand at its end" in text
    assert "“Correct” beside a step of the log corrects one" in text and "pot edit" not in text
    address, parts = f"/pot/{lot_id}/liquor", f"parts-{sha256[:12]}-0"
    await post(dyer, address, {"do": "keep"})
    assert "goes on to" not in await page(dyer, lot_id)
    before = [s.colour_left for s in looks(studio)]
    await post(dyer, address, {"do": "read", parts: "1.5"})
    text = plain(await page(dyer, lot_id))
    assert text.count("It reads otherwise now") == 1
    assert [s.colour_left for s in looks(studio)] == before
    await post(dyer, address, {"do": "keep", parts: "1.5"})
    after = [float(s.colour_left.removesuffix(" %")) for s in looks(studio)]
    assert after == [100, pytest.approx(75, abs=8)]
    assert "It reads otherwise now" not in await page(dyer, lot_id)


async def test_marks_are_offered_where_they_lay_and_need_a_white(
    visitor: Visitor, studio: Path, tmp_path: Path
) -> None:
    dyer, lot_id = visitor("dyer"), lot(studio)
    start = glass(tmp_path, "start")
    sha256 = await send(dyer, lot_id, start, "start")
    bare = marks_of(start)
    bare["swatches"] = bare["swatches"][:1]
    refused = await mark(dyer, sha256, bare)
    assert refused.status_code == 400
    assert "image.png marks no white" in html.unescape(refused.text)
    await mark(dyer, sha256, marks_of(start))
    sha256 = await send(dyer, lot_id, glass(tmp_path, "hold 1"), "hold 1")
    text = (await dyer.get(f"/photos/{sha256}/mark")).text
    found = re.search(r'<textarea id="marks"[^>]*>(.*?)</textarea>', text, re.DOTALL)
    assert found
    offered = json.loads(html.unescape(found[1]))["swatches"]
    assert [s["name"] for s in offered] == ["hold 1", "white"]
    assert [s["polygon"] for s in offered] == [s["polygon"] for s in marks_of(start)["swatches"]]
    assert "no lot is judged" not in text  # no card is needed


def test_yarn_that_was_found_is_not_offered_as_liquor() -> None:
    square = [[0, 0], [1, 0], [1, 1]]
    found = {"marks": {"swatches": [{"name": "swatch", "polygon": square}], "references": [1]}}
    marks = with_glass(found, "start", ())["marks"]
    assert [s["name"] for s in marks["swatches"]] == ["start", "white"]
    assert marks["references"] == [1] and square not in [s["polygon"] for s in marks["swatches"]]


async def test_without_a_card_it_still_reads_and_says_so(
    visitor: Visitor, studio: Path, tmp_path: Path
) -> None:
    dyer, lot_id = visitor("dyer"), lot(studio)
    both = {name: SEEN[name] for name in ("start", "hold 1")}
    await sent(dyer, lot_id, glass(tmp_path, "both", steps=False, **both), "start")
    text = plain(await page(dyer, lot_id))
    assert "image.png: no card" in text and "of the colour is left" in text


async def test_what_does_not_go_together_is_told(
    visitor: Visitor, studio: Path, tmp_path: Path
) -> None:
    dyer, lot_id = visitor("dyer"), lot(studio)
    await sent(dyer, lot_id, glass(tmp_path, "hold 1"), "hold 1")
    assert "hold 1 stands alone, and tells nothing" in plain(await page(dyer, lot_id))
    refused = await post(dyer, f"/pot/{lot_id}/liquor", {"do": "keep"})
    assert refused.status_code == 400 and "nothing is stored" in refused.text
    other = glass(tmp_path, "hold 2", **{"hold 1": SEEN["again"]})
    sha256 = await sent(dyer, lot_id, other, "hold 1")
    text = plain(await page(dyer, lot_id))
    assert "hold 1 is marked in 2 photos, image.png and image.png: throw one" in text
    gone = await post(dyer, f"/photos/{sha256}/drop?to=pot", {})
    assert gone.headers["location"] == f"/pot/{lot_id}/liquor"
    assert "marked in 2 photos" not in plain(await page(dyer, lot_id))


async def test_a_photo_of_liquor_waits_a_week_and_is_no_yarn(
    visitor: Visitor, studio: Path, tmp_path: Path
) -> None:
    dyer, lot_id = visitor("dyer"), lot(studio)
    sha256 = await sent(dyer, lot_id, glass(tmp_path, "start"), "start")
    await page(dyer, lot_id)
    shows = await dyer.get(f"/photos/{sha256}/shows")
    assert shows.headers["location"] == f"/pot/{lot_id}/liquor"
    assert f'href="/pot/{lot_id}/liquor"' in (await dyer.get("/photos/new")).text
    place = studio / "incoming" / sha256
    for days, there in ((6.9, True), (7.1, False)):
        old = time.time() - days * 24 * 3600
        os.utime(place, (old, old))
        assert ("image.png" in await page(dyer, lot_id)) == there
        incoming.clean_up(studio)
        assert place.is_dir() == there


async def test_another_pot_has_not_its_photos_and_yarn_is_no_liquor(
    visitor: Visitor, studio: Path, tmp_path: Path
) -> None:
    dyer, lot_id = visitor("dyer"), lot(studio)
    photo = glass(tmp_path, "start")
    sha256 = await sent(dyer, lot_id, photo, "start")
    assert "image.png" not in await page(dyer, lot(studio, "NF-10"))
    files = [("photo", ("image.png", photo.read_bytes(), "image/png"))]
    await post(dyer, "/photos/new", {}, files=files)  # sent once more, as yarn
    assert (await dyer.get(f"/photos/{sha256}/shows")).status_code == 200
    assert "image.png" not in await page(dyer, lot_id)
    missing = await post(dyer, "/photos/new", {"liquor": "99999"}, files=files)
    assert missing.status_code == 404


async def test_a_filed_photo_of_yarn_is_refused(visitor: Visitor, studio: Path) -> None:
    with open_archive(studio) as archive:
        (sha256,) = archive.conn.execute("SELECT sha256 FROM photo").fetchone()
    (path,) = (studio / "photos").glob(f"{sha256}.*")
    files = [("photo", ("a.jpg", path.read_bytes(), "image/jpeg"))]
    told = {"liquor": str(lot(studio)), "look": "start"}
    answer = await post(visitor("dyer"), "/photos/new", told, files=files)
    assert answer.status_code == 400 and "filed already, as one of yarn" in answer.text
