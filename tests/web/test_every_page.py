"""Every page in a real browser: nothing sideways on a phone, no violation, large targets."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from swatchvault.web.routes import ROUTES
from tests.web.conftest import DESK, PHONE, Live, violations
from tests.web.examples import EXAMPLES, NO_PAGES, address

PAGES = [r.path for r in ROUTES if not EXAMPLES[r.path].startswith(NO_PAGES)]

# Controls that stand alone; links inside a sentence or table are exempt (WCAG 2.2, 2.5.8).
_SMALL = """() => [...document.querySelectorAll(
    'button, input:not([type=hidden]), select, summary, nav a')]
  .filter(e => e.offsetParent !== null)
  .map(e => { const hit = e.closest('label') || e; const r = hit.getBoundingClientRect();
              return [e.outerHTML.slice(0, 80), r.width, r.height]; })
  .filter(([, w, h]) => w < 43.5 || h < 43.5).map(([what]) => what)"""


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_page_is_sound(
    scheme: str, signed_in: Callable[..., Any], live: Live, axe_script: str
) -> None:
    wrong: list[str] = []
    for size in (PHONE, DESK):
        page = signed_in("dyer", size, color_scheme=scheme)
        broken: list[str] = []
        page.on("pageerror", lambda error, b=broken: b.append(str(error)))
        page.on("console", lambda m, b=broken: b.append(m.text) if m.type == "error" else None)
        for pattern in PAGES:
            path = address(pattern, live.folder)
            answer = page.goto(live.url + path)
            said = f"{path} at {size['width']} {scheme}: "
            if answer.status >= 500:
                wrong.append(f"{said}status {answer.status}")
            if page.evaluate("document.documentElement.scrollWidth - innerWidth") > 0:
                wrong.append(f"{said}scrolls sideways")
            wrong += [f"{said}{v}" for v in violations(page, axe_script)]
            wrong += [f"{said}small: {s}" for s in page.evaluate(_SMALL)]
        wrong += [f"{size['width']} {b}" for b in broken if "403" not in b]
    assert not wrong, "\n".join(wrong)
