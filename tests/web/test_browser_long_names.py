"""In a real browser: names of many letters without a space scroll no page sideways."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from itertools import count
from pathlib import Path
from typing import Any

from swatchvault.web.routes import ROUTES
from tests.web.conftest import PHONE, Live
from tests.web.examples import EXAMPLES, NO_PAGES, address

#: What a person names or writes, by table; every one of it becomes one word of fifty letters.
_NAMED = {
    "base": ("name", "construction", "note"),
    "base_fibre": ("fibre",),
    "base_lot": ("label", "note"),
    "dye": ("name", "family", "note"),
    "dye_pack": ("code", "note"),
    "stock": ("code", "note"),
    "colourway": ("name", "note"),
    "recipe": ("note",),
    "recipe_part": ("name", "note"),
    "recipe_step": ("note",),
    "lot": ("code", "water", "note"),
    "pot_step": ("note",),
    "pot": ("bled", "handle", "success", "next_time"),
    "skein": ("label", "note"),
    "swatch": ("label", "note"),
    "setup": ("name", "phone", "note"),
    "reference": ("name", "source", "note"),
    "photo": ("original_name", "camera", "note"),
    "measurement": ("region",),
    "master": ("reason",),
}
#: What stands left of the page's right edge must end there, unless it scrolls in a box of its own.
_BEYOND = """() => {
  const boxed = e => { for (let p = e.parentElement; p; p = p.parentElement)
    if (['auto', 'scroll', 'hidden', 'clip'].includes(getComputedStyle(p).overflowX)) return true;
    return false; };
  return [...document.querySelectorAll('body *')]
    .filter(e => e.getBoundingClientRect().right > innerWidth + 0.5 && !boxed(e))
    .map(e => e.outerHTML.slice(0, 160));
}"""


def _words() -> Iterator[str]:
    """Words of fifty letters, no two alike and none with a place to break it."""
    letters = "mwhgkaeu"
    for number in count():
        tail = "".join(letters[number >> shift & 7] for shift in range(12, -1, -3))
        yield f"{'WolleMohairSchurwollgarnfadenknaeuelstrangX' * 2}"[:45] + tail


def lengthen(folder: Path) -> None:
    """Make long words of all that the archive names, and give it an open pot and odd verdicts."""
    words = _words()
    with sqlite3.connect(folder / "archive.db") as conn:
        conn.execute("PRAGMA foreign_keys = OFF")
        for (trigger,) in conn.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'"):
            conn.execute(f'DROP TRIGGER "{trigger}"')
        conn.execute("INSERT OR IGNORE INTO pot (lot_id, planned_from) SELECT id, '{}' FROM lot")
        conn.execute("UPDATE pot SET ended_at = NULL, started_at = '2026-11-20T10:00:00+00:00'")
        conn.execute("UPDATE pot SET ended_at = started_at WHERE lot_id % 2 = 0")
        conn.execute("UPDATE lot SET overdyes_lot_id = 1 WHERE id = 2")
        for table, columns in _NAMED.items():
            for (row,) in conn.execute(f"SELECT rowid FROM {table}").fetchall():
                for column in columns:
                    sql = f"UPDATE {table} SET {column} = ? WHERE rowid = ?"
                    conn.execute(sql, (next(words), row))
        master = "SELECT id FROM master ORDER BY id LIMIT 1"
        conn.execute(
            "INSERT INTO master_evenness (master_id, stated_at, unevenness, u_unevenness, "
            f"tolerance, method, reason) SELECT ({master}), '2026-11-20', 1, 0.2, 2, 'm', ?",
            (next(words),),
        )
        conn.execute("UPDATE lot_check SET verdict = 'cannot tell'")
        conn.execute(
            "INSERT INTO evenness_check (lot_check_id, master_evenness_id, verdict, tolerance, "
            "words, detail) SELECT id, (SELECT max(id) FROM master_evenness), 'cannot tell', 0.5, "
            "'Evenness.', '{}' FROM lot_check"
        )


def _addresses(folder: Path) -> list[str]:
    """One of each page, and those that only show more when asked."""
    found = [address(r.path, folder) for r in ROUTES if not EXAMPLES[r.path].startswith(NO_PAGES)]
    with sqlite3.connect(folder / "archive.db") as conn:
        (opened,) = conn.execute("SELECT lot_id FROM pot WHERE ended_at IS NULL").fetchone()
        (ended,) = conn.execute("SELECT lot_id FROM pot WHERE ended_at > ''").fetchone()
        (swatch,) = conn.execute("SELECT swatch_id FROM master").fetchone()
        logged, step = conn.execute("SELECT lot_id, count(*) FROM pot_step GROUP BY 1").fetchone()
    found += [f"/pot/{opened}", f"/pot/{ended}", f"/lot/{opened}", f"/lot/{logged}"]
    found += [f"/pot/{logged}?edit={step}", f"/find?swatch={swatch}", f"/swatch/{swatch}"]
    return [*found, f"/find?swatch={swatch}&rank=looks", "/shelf", "/?text=W"]


def test_a_long_word_scrolls_no_page_sideways(signed_in: Callable[..., Any], live: Live) -> None:
    lengthen(live.folder)
    page = signed_in("dyer", PHONE)
    wrong: list[str] = []
    for path in dict.fromkeys(_addresses(live.folder)):
        answer = page.goto(live.url + path)
        assert answer.status < 500, path
        page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true; })")
        wide = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        if wide > 0:
            wrong.append(f"{path}: {wide} px: " + "\n    ".join(page.evaluate(_BEYOND)[-4:]))
    assert not wrong, "\n".join(wrong)


def test_a_label_holds_long_names_whole(signed_in: Callable[..., Any], live: Live) -> None:
    lengthen(live.folder)
    page = signed_in("dyer")
    for path in ("/lot/1/label", "/lot/1/label?copies=4"):
        page.goto(live.url + path)
        page.emulate_media(media="print")
        beyond = page.locator(".label").first.evaluate(
            """label => { const of = label.getBoundingClientRect();
              return [...label.querySelectorAll('strong, span, bdi, img')].filter(part => {
                const on = part.getBoundingClientRect();
                return on.top < of.top || on.bottom > of.bottom || on.right > of.right + 0.5;
              }).map(part => part.outerHTML.slice(0, 80)); }"""
        )
        assert not beyond, (path, beyond)
