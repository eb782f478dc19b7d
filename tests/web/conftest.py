"""The demo archive, served: in this process for most tests, and live for a real browser."""

from __future__ import annotations

import os
import shutil
import socket
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from swatchvault.web.studio import datasette_of

BROWSER_NEEDED = "SWATCHVAULT_TEST_BROWSER"  # set to "needed" where skipping would hide a fault
CHROMIUM = next((p for n in ("chromium", "chromium-browser") if (p := shutil.which(n))), None)


@pytest.fixture
def studio(demo_once: Path, tmp_path: Path) -> Path:
    """A copy of the demo archive that a test may change."""
    return Path(shutil.copytree(demo_once, tmp_path / "studio"))


@dataclass
class Client:
    """A visitor without a browser, in this process."""

    datasette: Any
    role: str

    def _cookies(self) -> dict[str, str]:
        if self.role == "anyone":
            return {}
        return {"ds_actor": self.datasette.sign({"a": {"id": self.role}}, "actor")}

    async def get(self, path: str, **named: Any) -> Any:
        return await self.datasette.client.get(path, cookies=self._cookies(), **named)

    async def post(self, path: str, data: Any = None, **named: Any) -> Any:
        return await self.datasette.client.post(
            path, data=data or {}, cookies=self._cookies(), **named
        )


@pytest.fixture
async def visitor(studio: Path) -> Callable[[str], Client]:
    """``visitor("dyer")``: a client with that role's cookie."""
    datasette = datasette_of(studio)
    await datasette.invoke_startup()
    return lambda role: Client(datasette, role)


@dataclass
class Live:
    """A running server. ``link``: a sign-in link that opens once."""

    folder: Path
    url: str
    datasette: Any

    def link(self, role: str = "dyer") -> str:
        return f"{self.url}/enter?key={self.datasette.swatchvault.links.make(role)}"


@pytest.fixture
def live(studio: Path) -> Iterator[Live]:
    """The studio on a free port of this machine."""
    import uvicorn

    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    datasette = datasette_of(studio)
    server = uvicorn.Server(
        uvicorn.Config(datasette.app(), host="127.0.0.1", port=port, log_level="error")
    )
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    until = time.monotonic() + 30
    while not server.started and time.monotonic() < until:
        time.sleep(0.02)
    assert server.started
    yield Live(studio, f"http://127.0.0.1:{port}", datasette)
    server.should_exit = True
    thread.join(10)


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    """A real browser; the test is skipped, with the reason, where none is installed.

    For one file at a time: it occupies the thread's event loop, which asynchronous tests need, so
    no file holds both.
    """
    if CHROMIUM is None:
        if os.environ.get(BROWSER_NEEDED) == "needed":
            pytest.fail("no Chromium is installed, and this run needs one")
        pytest.skip("no Chromium is installed (Debian: apt install chromium)")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", "--disable-dev-shm-usage"]
        )
        yield browser
        browser.close()


PHONE = {"width": 360, "height": 740}
DESK = {"width": 1440, "height": 900}


@pytest.fixture
def signed_in(chromium: Any, live: Live) -> Iterator[Callable[..., Any]]:
    """``signed_in("dyer", PHONE)``: a page of a browser that came in by a link."""
    contexts = []

    def make(role: str = "dyer", size: dict[str, int] | None = None, **named: Any) -> Any:
        context = chromium.new_context(viewport=size or DESK, **named)
        contexts.append(context)
        page = context.new_page()
        page.goto(live.link(role))
        page.get_by_role("button", name="Let this device in").click()
        page.wait_for_url(f"{live.url}/")
        return page

    yield make
    for context in contexts:
        context.close()


@pytest.fixture
def anyio_backend() -> str:
    """Asynchronous tests run on asyncio, as the server does."""
    return "asyncio"


AXE = "SWATCHVAULT_TEST_AXE"  # path of axe-core's script, from npm
# Rules that WCAG 2.2 A and AA name, and the checker's own best practices.
_AXE_RUN = (
    "async () => (await axe.run(document, {resultTypes: ['violations']})).violations"
    ".map(v => `${v.impact} ${v.id}: ${v.help}; `"
    " + v.nodes.map(n => n.target.join(' ')).join(', '))"
)


@pytest.fixture(scope="session")
def axe_script() -> str:
    """The text of axe-core; the test is skipped, with the reason, where it is not there."""
    named = os.environ.get(AXE)
    if not named:
        pytest.skip(f"{AXE} names no axe.min.js (npm install axe-core)")
    return Path(named).read_text(encoding="utf-8")


def violations(page: Any, axe_script: str) -> list[str]:
    """What the accessibility checker finds on the page as it is now."""
    page.evaluate(axe_script)
    found: list[str] = page.evaluate(_AXE_RUN)
    return found
