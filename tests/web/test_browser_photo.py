"""In a real browser: a photo sent, marked by mouse, touch and keyboard, measured, and shown."""

from __future__ import annotations

import hashlib
import json
import re
import socket
import sqlite3
import threading
from collections.abc import Callable
from contextlib import suppress
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from tests.web.conftest import DESK, PHONE, Live, violations
from tests.web.newphotos import jpeg, marks

Point = tuple[float, float]
NO_TIMERS = "for (let i = 0; i < 9999; i += 1) clearTimeout(i)"
FILED = re.compile(r"/photos/[0-9a-f]{64}$")


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    path = tmp_path / "harbour two.jpg"
    path.write_bytes(jpeg())
    return path


def sha_of(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def until(page: Any, true: str) -> None:
    """Wait for a condition; the page's own policy forbids playwright's way to do it."""
    for _ in range(300):
        if page.evaluate(true):
            return
        page.wait_for_timeout(50)
    raise AssertionError(f"never {true}")


def send(page: Any, live: Live, photo: Path, asked: str = "") -> None:
    page.goto(f"{live.url}/photos/new{asked}")
    page.set_input_files("#choose", str(photo))
    page.get_by_role("button", name="Send the photo").click()
    page.wait_for_url("**/mark")
    until(page, "document.getElementById('picture').naturalWidth > 0")


def put(page: Any, said: dict[str, Any]) -> None:
    """Marks by their text field, as one who has a marks file does."""
    page.locator("#as-text summary").click()
    page.locator("#marks").fill(json.dumps(said))
    page.locator("#marks").dispatch_event("change")
    page.locator("#as-text summary").click()


def sent(page: Any) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(page.locator("#marks").input_value())
    return found


def corner(page: Any, i: int) -> Point:
    x, y = sent(page)["swatches"][0]["polygon"][i]
    return float(x), float(y)


def centre(page: Any, i: int) -> Point:
    handle = page.locator("#handles button.corner").nth(i)
    handle.scroll_into_view_if_needed()
    box = handle.bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def stage(page: Any) -> dict[str, float]:
    box: dict[str, float] = page.locator("#stage").bounding_box()
    return box


def measure_and_keep(
    page: Any, live: Live, labels: dict[str, str], axe_script: str | None = None
) -> str:
    page.locator("select[name=light]").select_option("daylight")
    page.get_by_role("button", name="Measure").click()
    page.wait_for_url("**/shows")
    for region, label in labels.items():
        group = page.get_by_role("group", name=f"Region {region}")
        group.get_by_label("Swatch: its label").fill(label)
    page.get_by_text("Measured: the figures stand").wait_for()
    if axe_script:
        page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true; })")
        assert violations(page, axe_script) == []
        assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    page.get_by_role("button", name="Keep it in the archive").click()
    page.wait_for_url(FILED)
    return str(page.url).rsplit("/", 1)[-1]


def stored(live: Live, sha256: str) -> dict[str, Any]:
    with sqlite3.connect(live.folder / "archive.db") as conn:
        sql = "SELECT marks FROM layout JOIN photo ON photo.id = photo_id "
        sql += "WHERE sha256 = ? AND superseded_by IS NULL"
        found: dict[str, Any] = json.loads(conn.execute(sql, (sha256,)).fetchone()[0])
        return found


def test_by_mouse_from_the_phone_to_the_result(
    signed_in: Callable[..., Any], live: Live, photo: Path, axe_script: str
) -> None:
    page = signed_in("dyer", PHONE)
    broken: list[str] = []
    page.on("pageerror", lambda error: broken.append(str(error)))
    page.on("console", lambda m: broken.append(m.text) if m.type == "error" else None)
    send(page, live, photo)
    assert page.get_by_text("Found by the program").is_visible()
    offered = page.locator("#marks").evaluate("e => [e.value, e.defaultValue]")
    assert offered[0] == offered[1], "as it was found, to the last digit, until it is moved"
    put(page, marks())
    before, box = corner(page, 2), stage(page)
    x, y = centre(page, 2)
    page.mouse.move(x, y)
    page.mouse.down()
    assert page.locator("#glass").is_visible()
    page.mouse.move(x + 20, y + 10, steps=5)
    glass = page.locator("#glass").bounding_box()
    under = glass["x"] <= x + 20 <= glass["x"] + glass["width"]
    assert not (under and glass["y"] <= y + 10 <= glass["y"] + glass["height"])
    page.mouse.up()
    assert page.locator("#glass").is_hidden()
    after = corner(page, 2)
    assert after[0] - before[0] == pytest.approx(20 / box["width"], abs=2e-3)
    assert after[1] - before[1] == pytest.approx(10 / box["height"], abs=2e-3)
    assert violations(page, axe_script) == []
    labels = {"new": "HF-2 skein a", "master": "HF-1 skein a"}
    sha256 = measure_and_keep(page, live, labels, axe_script)
    assert sha256 == sha_of(photo)
    assert stored(live, sha256)["swatches"][0]["polygon"][2] == pytest.approx(after, abs=1e-5)
    assert page.get_by_role("heading", name="HF-2 skein a").is_visible()
    assert page.get_by_text("Evenness: ").first.is_visible()
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    assert not broken


def test_by_touch(signed_in: Callable[..., Any], live: Live, photo: Path) -> None:
    page = signed_in("dyer", PHONE, has_touch=True, is_mobile=True)
    send(page, live, photo)
    put(page, marks())
    cdp = page.context.new_cdp_session(page)
    before = corner(page, 0)
    x, y = centre(page, 0)

    def touch(kind: str, at: Point | None) -> None:
        points = [] if at is None else [{"x": at[0], "y": at[1], "id": 1}]
        cdp.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    scrolled = page.evaluate("scrollY")
    touch("touchStart", (x, y))
    for i in range(1, 9):
        touch("touchMove", (x + 3 * i, y + 2 * i))
    assert page.locator("#glass").is_visible()
    touch("touchEnd", None)
    box, after = stage(page), corner(page, 0)
    assert after[0] - before[0] == pytest.approx(24 / box["width"], abs=4e-3)
    assert after[1] - before[1] == pytest.approx(16 / box["height"], abs=4e-3)
    assert page.evaluate("scrollY") == scrolled, "the page does not scroll under a drag"
    assert page.locator("#glass").is_hidden()


def test_by_keyboard_alone(signed_in: Callable[..., Any], live: Live, photo: Path) -> None:
    page = signed_in("dyer", DESK)
    send(page, live, photo)
    put(page, {**marks(), "swatches": marks()["swatches"][:1]})
    page.locator("#smaller, #farther").first.focus()

    def tab_to(words: str, most: int = 60) -> None:
        for _ in range(most):
            page.keyboard.press("Tab")
            said = page.evaluate(
                "(e => e.getAttribute('aria-label') || e.labels?.[0]?.textContent || e.textContent)"
                "(document.activeElement)"
            )
            if words in said:
                return
        raise AssertionError(f"{words} is not reached with Tab")

    width, height = page.evaluate("[picture.naturalWidth, picture.naturalHeight]")
    tab_to("Corner 2 of")
    before = corner(page, 1)
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Shift+ArrowRight")
    after = corner(page, 1)
    assert after[0] - before[0] == pytest.approx(11 / width, abs=3e-5)
    assert after[1] - before[1] == pytest.approx(1 / height, abs=3e-5)
    assert page.locator("#glass").is_visible()
    tab_to("Corner 1, across")
    assert page.locator("#glass").is_hidden()
    page.keyboard.press("Control+A")
    page.keyboard.type("31.5")
    assert corner(page, 0)[0] == pytest.approx(0.315)
    tab_to("Light")
    page.keyboard.press("d")
    tab_to("Measure")
    while page.evaluate("document.activeElement.tagName") != "BUTTON":
        tab_to("Measure")
    page.keyboard.press("Enter")
    page.wait_for_url("**/shows")
    page.get_by_text("Measured: the figures stand").wait_for()
    page.locator("#main").focus()
    tab_to("Swatch: its label")
    page.keyboard.type("HF-2 skein a")
    page.keyboard.press("Escape")
    tab_to("Keep it in the archive")
    page.keyboard.press("Enter")
    page.wait_for_url(FILED)
    kept = stored(live, sha_of(photo))["swatches"][0]["polygon"]
    assert kept[0][0] == pytest.approx(0.315) and kept[1] == pytest.approx(after, abs=1e-5)


def test_a_photo_of_two_offers_their_names(
    signed_in: Callable[..., Any], live: Live, photo: Path
) -> None:
    page = signed_in("dyer", PHONE)
    send(page, live, photo, "?with=1")
    assert [s["name"] for s in sent(page)["swatches"]] == ["new"]
    names = []
    for _ in range(2):
        page.get_by_label("Add", exact=True).select_option("a swatch")
        page.get_by_role("button", name="Add it").click()
        names = [s["name"] for s in sent(page)["swatches"]]
    assert names == ["new", "master", "swatch"]
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]


def test_a_swatch_keeps_its_own_scale_until_the_length_is_changed(
    signed_in: Callable[..., Any], live: Live, photo: Path
) -> None:
    page = signed_in("dyer", DESK)
    send(page, live, photo)
    (swatch,) = marks()["swatches"][:1]
    length = {"from": [0.1, 0.9], "to": [0.8, 0.9], "mm": 100}
    put(page, {"swatches": [{**swatch, "across_mm": 180.5}], "scale": length})
    page.get_by_role("button", name="Add a corner").click()
    assert sent(page)["swatches"][0]["across_mm"] == 180.5
    page.get_by_label("Add", exact=True).select_option("a known length")
    page.get_by_role("button", name="Add it").click()
    assert "across_mm" not in sent(page)["swatches"][0]


def test_regions_and_corners_by_buttons(
    signed_in: Callable[..., Any], live: Live, photo: Path
) -> None:
    page = signed_in("dyer", DESK)
    send(page, live, photo)
    put(page, {"swatches": marks()["swatches"][:1]})
    for kind in (
        "the grey card",
        "neutral steps",
        "a 24-patch chart",
        "a known length",
        "a swatch",
    ):
        page.get_by_label("Add", exact=True).select_option(kind)
        page.get_by_role("button", name="Add it").click()
    said = sent(page)
    assert [r["kind"] for r in said["references"]] == ["card", "steps", "chart24"]
    assert said["scale"]["mm"] is None  # no length is guessed
    page.get_by_role("button", name="length", exact=True).click()
    page.get_by_label("How long it is, mm").fill("97,5")
    said = sent(page)
    assert said["scale"]["mm"] == 97.5
    page.get_by_role("button", name="swatch", exact=True).click()
    assert [s["name"] for s in said["swatches"]] == ["new", "swatch"]
    page.get_by_role("button", name="Add a corner").click()
    assert len(sent(page)["swatches"][1]["polygon"]) == 5
    for _ in range(3):
        page.get_by_role("button", name="Remove the chosen corner").click()
    assert len(sent(page)["swatches"][1]["polygon"]) == 3
    assert page.get_by_text("at least three corners").is_visible()
    page.get_by_role("button", name="steps", exact=True).click()
    page.get_by_label("What the steps reflect").fill("0,9; 0,59; 0,36; 0,195; 0,09; 0,032")
    commas = sent(page)["references"][1]["y"]
    page.get_by_label("What the steps reflect").fill("0.9 0.59 0.36 0.195 0.09 0.032")
    assert commas == sent(page)["references"][1]["y"]
    page.get_by_role("button", name="steps 6").click()
    page.get_by_label("Corner 1, across").fill("80")
    page.get_by_role("button", name="Spread the steps").click()
    steps = sent(page)["references"][1]
    assert steps["y"] == [0.9, 0.59, 0.36, 0.195, 0.09, 0.032]
    firsts = [patch[0][0] for patch in steps["patches"]]
    gaps = [b - a for a, b in pairwise(firsts)]
    assert firsts[-1] == pytest.approx(0.8) and gaps == pytest.approx([gaps[0]] * 5, abs=2e-5)
    page.get_by_role("button", name="Remove chart").click()
    assert [r["kind"] for r in sent(page)["references"]] == ["card", "steps"]


def test_crossing_marks_are_told_and_stay(
    signed_in: Callable[..., Any], live: Live, photo: Path, axe_script: str
) -> None:
    page = signed_in("dyer", PHONE)
    send(page, live, photo)
    put(page, {**marks(), "swatches": marks()["swatches"][:1]})
    third, fourth = corner(page, 2), corner(page, 3)
    page.get_by_label("Corner 3, across").fill(f"{100 * fourth[0]:.1f}")
    page.get_by_label("Corner 4, across").fill(f"{100 * third[0]:.1f}")
    assert page.locator("#told").get_by_text("crosses itself").is_visible()
    posted = sent(page)
    page.get_by_role("button", name="Measure").click()
    page.locator("#refused").get_by_text("crosses itself").wait_for()
    assert sent(page) == posted
    page.locator("#handles button.corner").nth(3).wait_for()
    assert page.locator("#handles button.corner").count() == 4
    assert violations(page, axe_script) == []


class Line:
    """A line between browser and server that can break: each connection carries ``most`` bytes."""

    def __init__(self, to: int) -> None:
        self.to, self.most, self.cuts = to, 1 << 40, 0
        self.listening = socket.create_server(("127.0.0.1", 0))
        self.port = self.listening.getsockname()[1]
        threading.Thread(target=self._serve, daemon=True).start()

    def _serve(self) -> None:
        while True:
            try:
                near, _ = self.listening.accept()
            except OSError:
                return
            far = socket.create_connection(("127.0.0.1", self.to))
            for ends, counted in (((near, far), True), ((far, near), False)):
                threading.Thread(target=self._carry, args=(*ends, counted), daemon=True).start()

    def _carry(self, source: socket.socket, to: socket.socket, counted: bool) -> None:
        carried = 0
        try:
            while data := source.recv(8192):
                to.sendall(data)
                carried += len(data)
                if counted and carried > self.most:
                    self.cuts += 1
                    break
        except OSError:
            pass
        for end in (source, to):
            with suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)


def test_a_lost_connection_is_made_good(
    signed_in: Callable[..., Any], live: Live, photo: Path
) -> None:
    page = signed_in("dyer", PHONE)
    line = Line(int(live.url.rsplit(":", 1)[1]))
    page.goto(f"http://127.0.0.1:{line.port}/photos/new")
    page.set_input_files("#choose", str(photo))
    line.most = 150_000
    page.get_by_role("button", name="Send the photo").click()
    page.get_by_text("The connection was lost").wait_for()
    assert line.cuts >= 1, "it was cut in the middle"
    page.context.set_offline(True)
    assert "still chosen here" in page.locator("#said").inner_text()
    assert page.locator("#choose").evaluate("e => e.files.length") == 1
    page.wait_for_timeout(2500)  # a try in vain
    page.get_by_text("in 4 seconds").wait_for()
    assert not (live.folder / "incoming").exists()
    page.evaluate(NO_TIMERS)  # so that it is the connection's return that sends
    line.most = 1 << 40
    page.context.set_offline(False)
    page.wait_for_url("**/mark")
    assert page.url.split("/")[-2] == sha_of(photo)
    assert [p.name for p in (live.folder / "incoming").iterdir()] == [sha_of(photo)]
    line.listening.close()


def test_a_lost_connection_and_a_tap(
    signed_in: Callable[..., Any], live: Live, photo: Path
) -> None:
    page = signed_in("dyer", PHONE)
    line = Line(int(live.url.rsplit(":", 1)[1]))
    page.goto(f"http://127.0.0.1:{line.port}/photos/new")
    page.set_input_files("#choose", str(photo))
    line.most = 150_000
    page.get_by_role("button", name="Send the photo").click()
    page.get_by_text("The connection was lost").wait_for()
    page.evaluate(NO_TIMERS)  # so that it is the tap that sends
    line.most = 1 << 40
    page.get_by_role("button", name="Send it now").click()
    page.wait_for_url("**/mark")
    line.listening.close()


def test_refused_in_the_page(signed_in: Callable[..., Any], live: Live, tmp_path: Path) -> None:
    page = signed_in("dyer", PHONE)
    page.goto(f"{live.url}/photos/new")
    said = page.locator("#said")
    page.get_by_role("button", name="Send the photo").click()
    assert "No photo is chosen yet" in said.inner_text()
    words = tmp_path / "words.jpg"
    words.write_text("no picture " * 99, encoding="utf-8")
    page.set_input_files("#choose", str(words))
    page.get_by_role("button", name="Send the photo").click()
    page.get_by_text("words.jpg: ").wait_for()
    large = tmp_path / "large.jpg"
    with large.open("wb") as file:
        file.truncate(60_000_001)
    page.set_input_files("#take", str(large))
    assert page.locator("#choose").evaluate("e => e.files.length") == 0
    page.get_by_role("button", name="Send the photo").click()
    assert "at most 60.0 MB" in said.inner_text()


@pytest.mark.parametrize("size", [60_000_001, 75_000_000])
def test_too_large_without_a_script(
    size: int, signed_in: Callable[..., Any], live: Live, tmp_path: Path
) -> None:
    page = signed_in("dyer", PHONE, java_script_enabled=False)
    page.goto(f"{live.url}/photos/new")
    large = tmp_path / "large.jpg"
    with large.open("wb") as file:
        file.truncate(size)
    page.set_input_files("#choose", str(large))
    page.get_by_role("button", name="Send the photo").click()
    assert page.get_by_text("larger than 60 MB").is_visible()


def test_without_a_script(signed_in: Callable[..., Any], live: Live, photo: Path) -> None:
    page = signed_in("dyer", PHONE, java_script_enabled=False)
    page.goto(f"{live.url}/photos/new")
    page.set_input_files("#choose", str(photo))
    page.get_by_role("button", name="Send the photo").click()
    page.locator("#as-text summary").click()
    page.get_by_label("Marks, as in a marks file").fill(json.dumps(marks()))
    page.get_by_role("button", name="Measure").click()
    page.get_by_label("Swatch: its label").first.fill("HF-2 skein a")
    page.get_by_role("button", name="Keep it in the archive").click()
    page.get_by_role("heading", name="HF-2 skein a").wait_for(timeout=60_000)
    assert "located" not in stored(live, sha_of(photo))  # by hand


def test_what_the_chosen_set_up_says_stands_below_it(
    signed_in: Callable[..., Any], live: Live
) -> None:
    page = signed_in("dyer", PHONE)
    page.goto(f"{live.url}/photos/new")
    names = page.locator("#setup option").all_inner_texts()
    for name in names:
        page.locator("#setup").select_option(label=name)
        (shown,) = page.locator("#setups-say li:visible").all_inner_texts()
        assert shown.startswith(f"{name}: ")
    assert (
        len(names) > 1 and page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    )
