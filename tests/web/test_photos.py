"""Photos sent, marked, told and filed, without a browser; each refusal a sentence."""

from __future__ import annotations

import asyncio
import hashlib
import html
import io
import json
import os
import re
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from swatchvault.archive import open_archive, verify
from swatchvault.web import incoming, photos
from swatchvault.web.studio import datasette_of
from tests.web.conftest import Client
from tests.web.newphotos import jpeg, marks

pytestmark = pytest.mark.anyio
Visitor = Callable[[str], Any]


def once(text: str) -> str:
    found = re.search(r'name="once" value="([^"]*)"', text)
    assert found
    return found.group(1)


def rows(folder: Path) -> dict[str, int]:
    with sqlite3.connect(folder / "archive.db") as conn:
        names = ("photo", "layout", "measurement", "swatch", "lot", "base", "colourway", "setup")
        return {n: conn.execute(f"SELECT count(*) FROM {n}").fetchone()[0] for n in names}


def waiting(folder: Path) -> list[str]:
    place = folder / "incoming"
    return sorted(p.name for p in place.iterdir()) if place.is_dir() else []


async def none_waits(folder: Path) -> bool:
    """Whether `incoming` gets empty: a photo is said to be filed while its draft is cleared."""
    for _ in range(200):
        if not waiting(folder):
            return True
        await asyncio.sleep(0.05)
    return False


async def send(client: Any, *files: tuple[str, bytes], **named: Any) -> Any:
    sent = [("photo", (name, data, "image/jpeg")) for name, data in files]
    return await client.post("/photos/new", {"once": "x" * 20}, files=sent, **named)


async def sent(client: Any, data: bytes, name: str = "one.jpg") -> str:
    answer = await send(client, (name, data))
    assert answer.status_code == 303, answer.text
    sha256 = hashlib.sha256(data).hexdigest()
    assert answer.headers["location"] == f"/photos/{sha256}/mark"
    return sha256


async def marked(client: Any, sha256: str, said: Any, **about: str) -> Any:
    text = said if isinstance(said, str) else json.dumps(said)
    return await client.post(f"/photos/{sha256}/mark", {"marks": text, "once": "y" * 20, **about})


async def measured(client: Any, sha256: str) -> Any:
    for _ in range(600):
        asked = await client.get(f"/photos/{sha256}/state", headers={"Accept": "application/json"})
        said = asked.json()
        if said["state"] not in ("measuring", "filing"):
            return said
        await asyncio.sleep(0.05)
    raise AssertionError("never measured")


# ---- sending --------------------------------------------------------------------------------


def _pdf() -> bytes:
    return b"%PDF-1.4 no picture at all" + bytes(300)


@pytest.mark.parametrize(
    ("files", "words"),
    [
        ([], "No photo came"),
        ([("a.jpg", b"")], "empty"),
        ([("a.jpg", b"hello, this is text " * 40)], "a.jpg"),
        ([("paper.pdf", _pdf())], "paper.pdf"),
        ([("cut.jpg", jpeg()[:60_000])], "cut.jpg"),
        ([("a.jpg", jpeg()), ("b.jpg", jpeg(variant=1))], "2 photos came at once"),
    ],
    ids=["none", "empty", "text", "pdf", "cut", "two"],
)
async def test_what_is_no_photo_is_refused(
    files: list[tuple[str, bytes]], words: str, visitor: Visitor, studio: Path
) -> None:
    answer = await send(visitor("dyer"), *files)
    assert answer.status_code == 400
    assert words in html.unescape(answer.text)
    asked = await send(visitor("dyer"), *files, headers={"Accept": "application/json"})
    assert asked.status_code == 400
    assert asked.json()["ok"] is False and words in asked.json()["words"]
    assert waiting(studio) == []


SCRIPT = b"<script>window.got_in=1</script>"


@pytest.mark.parametrize(
    "data",
    [
        b'<svg xmlns="http://www.w3.org/2000/svg" width="64" height="64">' + SCRIPT + b"</svg>",
        b'<?xml version="1.0"?><!DOCTYPE svg [<!ENTITY x SYSTEM "file:///etc/passwd">]><svg>&x;</svg>',
        b"<!doctype html>" + SCRIPT,
        b"GIF89a" + SCRIPT,
        b"%PDF-1.7\n" + SCRIPT,
        b"PK\x03\x04" + SCRIPT,
    ],
    ids=["svg", "xml with a file", "html", "gif", "pdf", "zip"],
)
async def test_what_only_calls_itself_a_photo_is_refused(
    data: bytes, visitor: Visitor, studio: Path
) -> None:
    answer = await send(visitor("dyer"), ("one.jpg", data))
    assert answer.status_code == 400
    assert SCRIPT.decode() not in answer.text
    assert waiting(studio) == []


async def test_a_photo_that_is_a_page_too_is_only_ever_a_picture(
    visitor: Visitor, studio: Path
) -> None:
    dyer = visitor("dyer")
    sha256 = await sent(dyer, jpeg() + SCRIPT, "one.html")
    for path in (f"/photos/{sha256}/preview", f"/photos/{sha256}/mark"):
        answer = await dyer.get(path)
        assert answer.status_code == 200
        assert SCRIPT not in answer.content
    await marked(dyer, sha256, marks(), light="daylight")
    page = (await dyer.get(f"/photos/{sha256}/shows")).text
    await measured(dyer, sha256)
    await dyer.post(f"/photos/{sha256}/shows", told(once(page)))
    assert (await measured(dyer, sha256))["state"] == "filed"
    answer = await dyer.get(f"/original/{sha256}")
    assert answer.content.endswith(SCRIPT)  # byte for byte, and shown as a picture alone
    assert answer.headers["content-type"] == "image/jpeg"
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert "sandbox" in answer.headers["content-security-policy"]


@pytest.mark.parametrize("over", [1, 300_000], ids=["by one byte", "by far"])
async def test_too_large_is_a_sentence(
    over: int, visitor: Visitor, studio: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(photos, "MOST_BYTES", len(jpeg()) - over)
    answer = await send(visitor("dyer"), ("a.jpg", jpeg()))
    assert answer.status_code == 413
    assert "larger than 60 MB" in answer.text
    assert waiting(studio) == []


async def test_forty_megabytes_are_taken(visitor: Visitor) -> None:
    from PIL import Image

    noise = np.random.default_rng(1).integers(0, 256, (3650, 3650, 3), dtype=np.uint8)
    coded = io.BytesIO()
    Image.fromarray(noise).save(coded, "PNG", compress_level=0)
    assert len(coded.getvalue()) > 39_900_000
    await sent(visitor("dyer"), coded.getvalue(), "large.png")


async def test_the_same_upload_twice_is_one_photo(visitor: Visitor, studio: Path) -> None:
    dyer = visitor("dyer")
    answers = await asyncio.gather(*(send(dyer, ("one.jpg", jpeg())) for _ in range(3)))
    assert {a.headers["location"] for a in answers} == {answers[0].headers["location"]}
    assert len(waiting(studio)) == 1
    await send(dyer, ("renamed.jpg", jpeg()))
    assert len(waiting(studio)) == 1


async def test_a_photo_of_the_archive_is_not_added_again(visitor: Visitor, studio: Path) -> None:
    original = next((studio / "photos").glob("*.jpg"))
    before = rows(studio)
    answer = await send(visitor("dyer"), ("again.jpg", original.read_bytes()))
    assert answer.headers["location"] == f"/photos/{original.stem}?again=1"
    page = await visitor("dyer").get(answer.headers["location"])
    assert "in the archive already" in page.text
    assert rows(studio) == before and waiting(studio) == []


async def test_what_waits_is_no_problem_and_goes_after_a_day(
    visitor: Visitor, studio: Path
) -> None:
    import os
    import time

    dyer = visitor("dyer")
    sha256 = await sent(dyer, jpeg())
    assert (await dyer.get(f"/photos/{sha256}/preview")).status_code == 200
    with open_archive(studio) as archive:
        assert verify(archive) == []
    yesterday = time.time() - 25 * 3600
    os.utime(studio / "incoming" / sha256, (yesterday, yesterday))
    other = await sent(dyer, jpeg(variant=2))
    assert waiting(studio) == [other]
    gone = await dyer.get(f"/photos/{sha256}/mark")
    assert gone.status_code == 404 and "kept for a day" in gone.text


@pytest.mark.parametrize(
    ("said", "kept"),
    [
        ("../../etc/x.jpg", "_.._etc_x.jpg"),
        ("C:\\a\\b.JPG", "C__a_b.JPG"),
        (".hidden", "hidden"),
        ("", "photo"),
        ("...", "photo"),
        ("a\x00b\n.jpg", "a b .jpg"),
        ("draft.json", "photo.json_"),
        ("no.su/ffix", "no"),
    ],
)
def test_a_file_name_stays_in_its_folder(said: str, kept: str) -> None:
    assert incoming.safe_name(said) == kept


@pytest.mark.parametrize(
    "name",
    ["../../etc/x.jpg", "a<script>alert(1)</script>.jpg", 'q"uo\'te.jpg', "אבג\u202e.jpg", "🧶.jpg",
     "x" * 400 + ".jpg", ".hidden.jpg", "draft.json"],
)  # fmt: skip
async def test_a_strange_name_stays_a_name(name: str, visitor: Visitor, studio: Path) -> None:
    dyer = visitor("dyer")
    sha256 = await sent(dyer, jpeg(), name)
    inside = [p for p in (studio / "incoming" / sha256).iterdir() if p.name != "draft.json"]
    assert len(inside) == 1 and inside[0].read_bytes() == jpeg()
    assert waiting(studio) == [sha256]
    page = await dyer.get(f"/photos/{sha256}/mark")
    assert "<script>alert" not in page.text
    assert html.escape(inside[0].name, quote=False) in page.text.replace("&#34;", '"').replace(
        "&#39;", "'"
    )


# ---- marking --------------------------------------------------------------------------------


async def test_what_was_found_is_offered(visitor: Visitor) -> None:
    dyer = visitor("dyer")
    sha256 = await sent(dyer, jpeg())
    page = await dyer.get(f"/photos/{sha256}/mark")
    assert "Found by the program" in page.text and "by search" in page.text
    text = re.search(r'<textarea id="marks"[^>]*>(.*?)</textarea>', page.text, re.DOTALL)
    assert text
    assert json.loads(html.unescape(text.group(1)))["swatches"]


async def test_a_mat_keeps_its_swatches_where_its_reference_is_not_read(visitor: Visitor) -> None:
    from PIL import Image

    from tests.render.mat import random_view

    coded = io.BytesIO()
    Image.fromarray(random_view(0, 2000).pixels).save(coded, "JPEG", quality=90)  # steps, no values
    dyer = visitor("dyer")
    sha256 = await sent(dyer, coded.getvalue())
    page = await dyer.get(f"/photos/{sha256}/mark")
    assert "on its place for a reference no card or chart can be read" in html.unescape(page.text)
    text = re.search(r'<textarea id="marks"[^>]*>(.*?)</textarea>', page.text, re.DOTALL)
    assert text
    offered = json.loads(html.unescape(text.group(1)))
    assert offered["swatches"] and not offered.get("references")


CROSSED = [[0.3, 0.5], [0.6, 0.9], [0.6, 0.5], [0.3, 0.9]]
BAD_MARKS: list[tuple[Any, str]] = [
    ({"swatches": [{"name": "new", "polygon": CROSSED}]}, "crosses itself"),
    ({"swatches": [{"name": "new", "polygon": [[0.1, 0.1], [1.2, 0.1], [0.5, 0.5]]}]}, "outside"),
    ({"swatches": [{"name": "new", "polygon": [[0.1, 0.1], [0.2, 0.1]]}]}, "at least 3"),
    ({"swatches": []}, "no swatch is marked"),
    ({**marks(), "extra": 1}, "unknown key"),
    (
        {"swatches": [{"name": n, "polygon": [[0, 0], [1, 0], [1, 1]]} for n in "aa"]},
        "two swatches",
    ),
    ("<script>alert(1)</script>", "no JSON"),
    ("[" * 5000, "no JSON"),
    ({"swatches": [{"name": "n", "polygon": [[float("nan"), 0], [1, 0], [1, 1]]}]}, "not a number"),
]


@pytest.mark.parametrize(("said", "words"), BAD_MARKS, ids=[w for _, w in BAD_MARKS])
async def test_bad_marks_are_told_and_stay(said: Any, words: str, visitor: Visitor) -> None:
    dyer = visitor("dyer")
    sha256 = await sent(dyer, jpeg())
    answer = await marked(dyer, sha256, said, light="daylight", setup="my <b>bench</b>")
    assert answer.status_code == 400
    assert words in html.unescape(answer.text)
    text = said if isinstance(said, str) else json.dumps(said)
    kept = re.search(r'<textarea id="marks"[^>]*>(.*?)</textarea>', answer.text, re.DOTALL)
    assert kept and html.unescape(kept.group(1)) == text
    assert "<script>alert" not in answer.text and "<b>bench" not in answer.text
    assert "my &lt;b&gt;bench&lt;/b&gt;" in answer.text
    state = await measured(dyer, sha256)
    assert state["state"] == "not marked"


# ---- telling and filing ---------------------------------------------------------------------


def told(token: str, **more: str) -> dict[str, str]:
    return {
        "once": token, "swatch_0": "HF-2 again", "base_0": "Tebbet double", "lot_0": "HF-2",
        "colourway_0": "Harbour at Four", "form_0": "skein", "dry_0": "yes", **more,
    }  # fmt: skip


async def up_to_words(client: Any, data: bytes, **about: str) -> tuple[str, str]:
    """Sent, marked and measured: the sha256 and the token of the form that asks for words."""
    sha256 = await sent(client, data)
    answer = await marked(client, sha256, marks(), light="daylight", **about)
    assert answer.status_code == 303 and answer.headers["location"] == f"/photos/{sha256}/shows"
    assert (await measured(client, sha256))["state"] == "measured"
    return sha256, once((await client.get(f"/photos/{sha256}/shows")).text)


async def test_a_photo_is_filed_with_the_figures_of_measure(
    visitor: Visitor, studio: Path, tmp_path: Path
) -> None:
    from ingest.locate import parse_marks
    from ingest.pipeline import measure_photo

    dyer = visitor("dyer")
    before = rows(studio)
    sha256, token = await up_to_words(dyer, jpeg(), setup="my bench", locked="no")
    assert rows(studio) == before, "nothing is kept before it is said what it shows"
    answer = await dyer.post(
        f"/photos/{sha256}/shows", told(token, swatch_1="HF-1 skein a", note="by the window")
    )
    assert answer.headers["location"] == f"/photos/{sha256}"
    after = rows(studio)
    added = {k: after[k] - before[k] for k in after}
    assert added == {
        "photo": 1, "layout": 1, "measurement": 2, "swatch": 1, "setup": 1,
        "lot": 0, "base": 0, "colourway": 0,
    }  # fmt: skip
    assert waiting(studio) == []
    file = tmp_path / "same.jpg"
    file.write_bytes(jpeg())
    truth = measure_photo(file, layout=parse_marks(marks()))
    with open_archive(studio) as archive:
        assert verify(archive) == []
        sql = "SELECT region, lab_l, lab_a, lab_b, dry FROM current_measurement AS m "
        sql += "WHERE m.photo_sha256 = ?"
        kept = {r[0]: tuple(r)[1:] for r in archive.conn.execute(sql, (sha256,))}
        name, note, light = archive.conn.execute(
            "SELECT original_name, note, light FROM photo WHERE sha256 = ?", (sha256,)
        ).fetchone()
    assert (name, note, light) == ("one.jpg", "by the window", "daylight")
    for swatch in truth.swatches:
        assert kept[swatch.name][:3] == pytest.approx(tuple(swatch.lab), abs=1e-9)
    assert kept["new"][3] == 1 and kept["master"][3] is None
    page = await dyer.get(f"/photos/{sha256}")
    assert "HF-2 again" in page.text and page.text.count('class="edge swatch"') == 2


async def test_a_photo_that_is_not_kept_yet_is_found_again(visitor: Visitor, studio: Path) -> None:
    helper = visitor("helper")
    assert "not kept yet" not in (await helper.get("/photos/new")).text
    first = await sent(helper, jpeg(), "skein <one>.jpg")
    second, _ = await up_to_words(helper, jpeg(variant=1))
    page = html.unescape((await helper.get("/photos/new")).text)
    assert f'<a href="/photos/{first}/mark"><bdi>skein _one_.jpg</bdi>' in page
    assert f'<a href="/photos/{second}/shows">' in page and page.count("is removed 20") == 2
    (small,) = re.findall(rf'src="(/photos/{first}/preview[^"]*)"', page)
    small_picture = await helper.get(small)
    whole = await helper.get(f"/photos/{first}/preview")
    assert len(small_picture.content) < len(whole.content) / 10
    assert (await visitor("anyone").post(f"/photos/{first}/drop")).status_code == 403
    assert waiting(studio) == sorted([first, second])
    gone = await helper.post(f"/photos/{first}/drop", {"once": "d" * 20})
    assert gone.headers["location"] == "/photos/new" and waiting(studio) == [second]
    os.utime(studio / "incoming" / second, (0, 0))  # older than a day: it goes with the next one
    assert "not kept yet" not in (await helper.get("/photos/new")).text


async def test_a_form_sent_twice_files_once(visitor: Visitor, studio: Path) -> None:
    dyer = visitor("dyer")
    before = rows(studio)
    sha256, token = await up_to_words(dyer, jpeg())
    form = told(token)
    answers = await asyncio.gather(*(dyer.post(f"/photos/{sha256}/shows", form) for _ in range(3)))
    answers.append(await dyer.post(f"/photos/{sha256}/shows", form))
    assert {a.headers.get("location") for a in answers} == {f"/photos/{sha256}"}
    after = rows(studio)
    assert after["measurement"] - before["measurement"] == 1
    assert after["swatch"] - before["swatch"] == 1
    assert await none_waits(studio)


async def test_words_before_figures_are_filed_when_measured(visitor: Visitor, studio: Path) -> None:
    dyer = visitor("dyer")
    before = rows(studio)
    sha256 = await sent(dyer, jpeg())
    busy = dyer.datasette.swatchvault.state.setdefault("one large picture", asyncio.Lock())
    async with busy:  # nothing is measured meanwhile
        await marked(dyer, sha256, marks(), light="daylight")
        token = once((await dyer.get(f"/photos/{sha256}/shows")).text)
        wrong = await dyer.post(f"/photos/{sha256}/shows", told(token, lot_0="NOPE-1"))
        assert wrong.status_code == 400 and "unknown lot" in wrong.text
        answer = await dyer.post(f"/photos/{sha256}/shows", told(token))
        assert answer.headers["location"] == f"/photos/{sha256}/state"
        page = (await dyer.get(f"/photos/{sha256}/state")).text
        assert "Measuring" in page and '<noscript><meta http-equiv="refresh"' in page
        assert rows(studio) == before
    assert (await measured(dyer, sha256))["state"] == "filed"
    assert await none_waits(studio)
    assert rows(studio)["measurement"] == before["measurement"] + 1


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"swatch_0": ""}, "name at least one"),
        ({"base_0": "No such base"}, "unknown base"),
        ({"lot_0": "NOPE-1"}, "unknown lot"),
        ({"base_0": "", "lot_0": "", "undyed_0": "yes"}, "give its base and its form"),
        ({"lot_0": "", "colourway_0": ""}, "is new, and no lot is named: write it, or tick"),
        ({"swatch_0": "NF-1 card", "base_0": "Tebbet double"}, "NF-1 card"),
    ],
    ids=["no name", "base", "lot", "new", "no lot", "another's label"],
)
async def test_words_that_do_not_fit_are_told_and_stay(
    change: dict[str, str], words: str, visitor: Visitor, studio: Path
) -> None:
    dyer = visitor("dyer")
    before = rows(studio)
    sha256, token = await up_to_words(dyer, jpeg())
    answer = await dyer.post(f"/photos/{sha256}/shows", told(token, note="<i>mine</i>", **change))
    assert answer.status_code == 400
    assert words in html.unescape(answer.text)
    assert 'value="&lt;i&gt;mine&lt;/i&gt;"' in answer.text
    assert rows(studio) == before and waiting(studio) == [sha256]
    good = await dyer.post(f"/photos/{sha256}/shows", told(once(answer.text)))
    assert good.headers["location"] == f"/photos/{sha256}"


async def test_new_things_are_made_when_the_dyer_says_so(visitor: Visitor, studio: Path) -> None:
    new = {"base_0": "New <base>", "colourway_0": "Ünï 🧶", "lot_0": "ZZ-1", "swatch_0": "ZZ-1 a"}
    helper, dyer = visitor("helper"), visitor("dyer")
    before = rows(studio)
    sha256, token = await up_to_words(helper, jpeg())
    refused = await helper.post(f"/photos/{sha256}/shows", told(token, create="yes", **new))
    assert refused.status_code == 400 and "unknown" in refused.text
    assert rows(studio) == before
    made = await dyer.post(f"/photos/{sha256}/shows", told("z" * 20, create="yes", **new))
    assert made.headers["location"] == f"/photos/{sha256}"
    page = await dyer.get(f"/photos/{sha256}")
    assert "New &lt;base&gt;" in page.text and "Ünï 🧶" in page.text


async def test_a_helper_adds_and_does_not_mark_anew(visitor: Visitor, studio: Path) -> None:
    helper = visitor("helper")
    sha256, token = await up_to_words(helper, jpeg())
    filed = await helper.post(f"/photos/{sha256}/shows", told(token))
    assert filed.headers["location"] == f"/photos/{sha256}"
    before = rows(studio)
    assert '/mark"' not in (await helper.get(f"/photos/{sha256}")).text
    for answer in (
        await helper.get(f"/photos/{sha256}/mark"),
        await marked(helper, sha256, marks()),
    ):
        assert answer.status_code == 400 and "ask the dyer" in answer.text
    assert rows(studio) == before and waiting(studio) == []


async def test_marked_anew_supersedes(visitor: Visitor, studio: Path) -> None:
    dyer = visitor("dyer")
    sha256, token = await up_to_words(dyer, jpeg())
    await dyer.post(f"/photos/{sha256}/shows", told(token))
    said = marks()
    said["swatches"][0]["polygon"][0][0] += 0.02
    said["swatches"] = said["swatches"][:1]
    assert (await marked(dyer, sha256, said, light="daylight")).status_code == 303
    assert (await measured(dyer, sha256))["state"] == "measured"
    page = (await dyer.get(f"/photos/{sha256}/shows")).text
    assert 'value="HF-2 again"' in page
    form = {"once": once(page), "swatch_0": "HF-2 again"}
    assert (await dyer.post(f"/photos/{sha256}/shows", form)).status_code == 303
    with open_archive(studio) as archive:
        sql = (
            "SELECT {0}.superseded_by IS NULL FROM photo JOIN layout ON layout.photo_id = photo.id "
            "JOIN measurement ON layout_id = layout.id WHERE sha256 = ? ORDER BY {0}.id"
        )
        for table in ("layout", "measurement"):
            kept = [r[0] for r in archive.conn.execute(sql.format(table), (sha256,))]
            assert kept == [0, 1], table
        assert verify(archive) == []


async def test_a_swatch_whose_mark_went_to_another_says_so(visitor: Visitor, studio: Path) -> None:
    dyer = visitor("dyer")
    sha256, token = await up_to_words(dyer, jpeg())
    await dyer.post(f"/photos/{sha256}/shows", told(token, create="yes"))
    assert (await marked(dyer, sha256, marks(), light="daylight")).status_code == 303
    await measured(dyer, sha256)
    page = (await dyer.get(f"/photos/{sha256}/shows")).text
    form = {"once": once(page), "swatch_0": "HF-1 skein a"}
    refused = await dyer.post(f"/photos/{sha256}/shows", form)
    said = html.unescape(refused.text)
    assert refused.status_code == 400 and sha256 not in said.split("Not kept:")[1].split("</p>")[0]
    assert "Not kept: one.jpg: this picture is filed already" in said and "--relabel" not in said
    box = re.search(r'<label class="tick caution">(<input [^>]*name="relabel"[^>]*>) ([^<]*)', said)
    assert box and "autofocus" in box[1] and f"tick “{box[2]}”" in said
    form |= {"relabel": "yes", "once": once(refused.text)}
    assert (await dyer.post(f"/photos/{sha256}/shows", form)).status_code == 303
    with sqlite3.connect(studio / "archive.db") as conn:
        sql = "SELECT id FROM swatch WHERE label = 'HF-2 again'"
        (swatch,) = conn.execute(sql).fetchone()
        conn.execute("INSERT INTO swatch (label, base_id, form) SELECT 'bare', base_id, form "
                     "FROM swatch WHERE id = ?", (swatch,))  # fmt: skip
        (bare,) = conn.execute("SELECT id FROM swatch WHERE label = 'bare'").fetchone()
    page = (await dyer.get(f"/swatch/{swatch}")).text
    assert "No photo of it is measured" not in page and ">Measured</h2>" in page
    assert "No measurement of it counts now" in page and f'href="/photos/{sha256}">See' in page
    page = (await dyer.get(f"/swatch/{bare}")).text
    assert "No photo of it is measured yet" in page and "counts now" not in page


async def test_another_server_goes_on_where_one_was_killed(visitor: Visitor, studio: Path) -> None:
    first = visitor("dyer")
    sha256 = await sent(first, jpeg())
    await marked(first, sha256, marks(), light="daylight")
    token = once((await first.get(f"/photos/{sha256}/shows")).text)
    draft = studio / "incoming" / sha256 / "draft.json"
    kept = json.loads(draft.read_text(encoding="utf-8"))
    await measured(first, sha256)
    # As it stands when the server dies between the words and the figures.
    facts = ("base", "colourway", "lot", "skein", "form", "dry", "swatch")
    region = {k: told(token).get(f"{k}_0", "") for k in facts}
    more = {"note": "", "create": False, "relabel": False, "once": token}
    told_of = {"regions": [{"region": "new", **region}], **more}
    draft.write_text(json.dumps({**kept, "told": told_of}), encoding="utf-8")
    datasette = datasette_of(studio)
    await datasette.invoke_startup()
    second = Client(datasette, "dyer")
    assert (await measured(second, sha256))["state"] == "filed"
    assert await none_waits(studio)
    assert "HF-2 again" in (await second.get(f"/photos/{sha256}")).text


async def test_a_photo_that_cannot_be_measured_says_what_next(visitor: Visitor) -> None:
    dyer = visitor("dyer")
    sha256 = await sent(dyer, jpeg("confetti-knit"))
    said = {"references": [], "swatches": marks("confetti-knit")["swatches"]}
    await marked(dyer, sha256, said)
    state = await measured(dyer, sha256)
    assert state["state"] == "failed" and "no grey card" in state["words"]
    for path in ("state", "shows"):
        page = (await dyer.get(f"/photos/{sha256}/{path}")).text
        assert "no grey card" in page and "What to do next" in page and "(--" not in page
    again = await marked(dyer, sha256, said, no_card="yes")
    assert again.status_code == 303
    state = await measured(dyer, sha256)
    assert state["state"] == "measured"
    assert "no reference" in [flag[0] for flag in state["regions"][0]["flags"]]
    assert "No lot is judged on this" in (await dyer.get(f"/photos/{sha256}/state")).text


async def test_a_photo_under_black_light_is_kept_to_be_seen(visitor: Visitor, studio: Path) -> None:
    dyer = visitor("dyer")
    sha256 = await sent(dyer, jpeg())
    await marked(dyer, sha256, {"swatches": []}, light="black light")
    await measured(dyer, sha256)
    token = once((await dyer.get(f"/photos/{sha256}/shows")).text)
    form = {"once": token, "swatch_0": "HF-2 skein a"}
    filed = await dyer.post(f"/photos/{sha256}/shows", form)
    assert filed.headers["location"] == f"/photos/{sha256}"
    page = (await dyer.get(f"/photos/{sha256}")).text
    assert "Nothing was measured" in page and "HF-2 skein a" in page


async def test_the_lot_that_asked_is_filled_in(visitor: Visitor, studio: Path) -> None:
    dyer = visitor("dyer")
    with sqlite3.connect(studio / "archive.db") as conn:
        (lot,) = conn.execute("SELECT id FROM lot WHERE code = 'HF-2'").fetchone()
    page = await dyer.get(f"/photos/new?lot={lot}")
    assert f'name="lot" value="{lot}"' in page.text
    sha256 = hashlib.sha256(jpeg()).hexdigest()
    await dyer.post("/photos/new", {"lot": str(lot)}, files=[("photo", ("a.jpg", jpeg()))])
    await marked(dyer, sha256, marks(), light="daylight")
    shows = (await dyer.get(f"/photos/{sha256}/shows")).text
    assert 'name="lot_0" value="HF-2"' in shows and 'name="lot_1" value=""' in shows
    await measured(dyer, sha256)


async def test_both_in_one_frame_are_named_and_filled_in(visitor: Visitor, studio: Path) -> None:
    dyer = visitor("dyer")
    with sqlite3.connect(studio / "archive.db") as conn:
        check, new, master = conn.execute(
            "SELECT c.id, new.label, held.label FROM lot_check AS c JOIN swatch AS new "
            "ON new.id = c.swatch_id JOIN swatch AS held ON held.id = c.master_swatch_id "
            "WHERE c.verdict = 'cannot tell' AND c.capture <> 'same frame'"
        ).fetchone()
    link = re.search(
        r'href="(/photos/new[^"]*with=[^"]*)"', (await dyer.get(f"/check/{check}")).text
    )
    assert link
    page = (await dyer.get(html.unescape(link[1]))).text
    assert f"swatch <bdi>{master}</bdi>" in page
    fields = dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', page))
    sha256 = hashlib.sha256(jpeg()).hexdigest()
    await dyer.post("/photos/new", fields, files=[("photo", ("a.jpg", jpeg()))])
    page = (await dyer.get(f"/photos/{sha256}/mark")).text
    assert 'data-names="new,master"' in page and f"<bdi>{master}</bdi>" in page
    text = re.search(r'<textarea id="marks"[^>]*>(.*?)</textarea>', page, re.DOTALL)
    assert text
    found = [s["name"] for s in json.loads(html.unescape(text[1]))["swatches"]]
    assert found == ["new"] and "Only one was found" in page
    two = marks()
    two["swatches"] = [
        {"name": n, "polygon": s["polygon"]}
        for n, s in zip(("new", "master"), two["swatches"], strict=True)
    ]
    await marked(dyer, sha256, two, light="daylight")
    shows = (await dyer.get(f"/photos/{sha256}/shows")).text
    assert re.findall(r'name="swatch_\d" value="([^"]*)"', shows) == [new, master]
    await measured(dyer, sha256)


# ---- corrected pictures ---------------------------------------------------------------------


def _of_region(studio: Path) -> tuple[str, str]:
    with sqlite3.connect(studio / "archive.db") as conn:
        found = conn.execute("SELECT photo_sha256, region FROM current_measurement").fetchone()
    return str(found[0]), str(found[1])


async def test_a_corrected_picture(visitor: Visitor, studio: Path) -> None:
    from PIL import Image

    dyer = visitor("dyer")
    sha256, region = _of_region(studio)
    whole = await dyer.get(f"/picture/{sha256}")
    assert whole.status_code == 200 and whole.headers["content-type"] == "image/jpeg"
    assert max(Image.open(io.BytesIO(whole.content)).size) == 1200
    part = await dyer.get(f"/picture/{sha256}?region={region}&width=230")
    size = Image.open(io.BytesIO(part.content)).size
    assert max(size) == 240 and size != (240, 180)
    kept = {"If-None-Match": part.headers["etag"]}
    same = await dyer.get(f"/picture/{sha256}?region={region}&width=240", headers=kept)
    assert same.status_code == 304 and not same.content
    saved = await dyer.get(f"/picture/{sha256}?save=1")
    assert saved.headers["content-disposition"].startswith("attachment; filename*=UTF-8''")
    assert "corrected.jpg" in saved.headers["content-disposition"]
    none = await dyer.get(f"/picture/{sha256}?region=no<b>such")
    assert none.status_code == 404 and "<b>such" not in none.text
    assert (await dyer.get(f"/picture/{'0' * 64}")).status_code == 404
    with open_archive(studio) as archive:
        assert verify(archive) == []


async def test_pictures_are_made_where_they_cannot_be_kept(visitor: Visitor, studio: Path) -> None:
    sha256, _ = _of_region(studio)
    (studio / "pictures").write_text("a file in the way of the folder", encoding="utf-8")
    answer = await visitor("dyer").get(f"/picture/{sha256}?width=240")
    assert answer.status_code == 200
    assert answer.content[:2] == b"\xff\xd8"


async def test_a_photo_whose_original_is_not_here(visitor: Visitor, studio: Path) -> None:
    sha256, _ = _of_region(studio)
    next((studio / "photos").glob(f"{sha256}*")).unlink()
    page = (await visitor("dyer").get(f"/photos/{sha256}")).text
    assert f'src="/thumb/{sha256}"' in page and "are not here" in page
    assert f"/original/{sha256}" not in page and f"/picture/{sha256}" not in page
    picture = await visitor("dyer").get(f"/picture/{sha256}")
    assert picture.status_code == 404 and "run verify" in picture.text
