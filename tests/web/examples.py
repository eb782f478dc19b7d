"""An address of each route of the demo archive, for tests that go through all of them."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

Find = Callable[[str], str]

#: Route's pattern to an address; ``{...}`` is a query whose first value is put in.
EXAMPLES: dict[str, str] = {
    r"/$": "/",
    r"/enter$": "/enter?key=none",
    r"/leave$": "/leave",
    r"/devices$": "/devices",
    r"/thumb/(?P<sha256>[0-9a-f]{64})$": "/thumb/{SELECT sha256 FROM photo}",
    r"/original/(?P<sha256>[0-9a-f]{64})$": "/original/{SELECT sha256 FROM photo}",
    r"/find$": "/find?l=45&c=30&h=30",
    r"/find/plane$": "/find/plane?l=50",
    r"/groups$": "/groups?colourway={SELECT colourway_id FROM lot}&form=wound+card&go=1",
    r"/gaps$": "/gaps?base={SELECT base_id FROM lot_base}",
    r"/foretell$": "/foretell?recipe={SELECT id FROM recipe}&times=0.5&against=45,20,-10",
    r"/ways$": "/ways?swatch={SELECT swatch_id FROM master}&overdyed=1",
    r"/shelf$": "/shelf",
    r"/dye/(?P<id>\d{1,18})$": "/dye/{SELECT id FROM dye}",
    r"/setups$": "/setups",
    r"/setup/(?P<id>\d{1,18})$": "/setup/{SELECT setup_id FROM photo WHERE setup_id}?all=1",
    r"/sums$": "/sums?sum=dye&goods=100+g&depth1=0.001&stock1=1",
    r"/pots$": "/pots?recipe={SELECT id FROM recipe}&goods=200+g&ratio=30",
    r"/pot/(?P<id>\d{1,18})$": "/pot/{SELECT id FROM lot}",
    r"/pot/(?P<id>\d{1,18})/correct$": "/pot/{SELECT id FROM lot WHERE id = 4}/correct?to=30,23,11",
    r"/pot/(?P<id>\d{1,18})/liquor$": "/pot/{SELECT id FROM lot}/liquor",
    r"/picture/(?P<sha256>[0-9a-f]{64})$": "/picture/{SELECT sha256 FROM photo}?width=240",
    r"/photos/new$": "/photos/new",
    r"/photos/(?P<sha256>[0-9a-f]{64})$": "/photos/{SELECT sha256 FROM photo}",
    r"/photos/(?P<sha256>[0-9a-f]{64})/preview$": "/photos/{SELECT sha256 FROM photo}/preview",
    r"/photos/(?P<sha256>[0-9a-f]{64})/mark$": "/photos/{SELECT sha256 FROM photo}/mark",
    r"/photos/(?P<sha256>[0-9a-f]{64})/shows$": "/photos/{SELECT sha256 FROM photo}/shows",
    r"/photos/(?P<sha256>[0-9a-f]{64})/state$": "/photos/{SELECT sha256 FROM photo}/state",
    r"/photos/(?P<sha256>[0-9a-f]{64})/drop$": "/photos/{SELECT sha256 FROM photo}/drop",
    r"/photos/(?P<sha256>[0-9a-f]{64})/aside$": (
        "/photos/{SELECT sha256 FROM photo WHERE id = 1}/aside?swatch="
        "{SELECT swatch_id FROM filed_measurement WHERE photo_id = 1}"
    ),
    r"/colourway/(?P<id>\d{1,18})$": "/colourway/{SELECT colourway_id FROM master}",
    r"/base/(?P<id>\d{1,18})$": "/base/{SELECT base_id FROM lot_base}",
    r"/recipe/new$": (
        "/recipe/new?from={SELECT recipe_id FROM recipe_part GROUP BY recipe_id "
        "HAVING count(*) > 1}"
    ),
    r"/recipe/(?P<id>\d{1,18})$": "/recipe/{SELECT id FROM recipe ORDER BY id DESC}",
    r"/recipe/(?P<id>\d{1,18})/card$": "/recipe/{SELECT id FROM recipe ORDER BY id DESC}/card",
    r"/lot/(?P<id>\d{1,18})$": "/lot/{SELECT lot_id FROM lot_check}",
    r"/lot/(?P<id>\d{1,18})/card$": "/lot/{SELECT lot_id FROM lot_check}/card",
    r"/lot/(?P<id>\d{1,18})/label$": "/lot/{SELECT lot_id FROM lot_check}/label",
    r"/swatch/(?P<id>\d{1,18})$": "/swatch/{SELECT swatch_id FROM measurement}",
    r"/swatch/(?P<id>\d{1,18})/tonal$": "/swatch/{SELECT swatch_id FROM measurement}/tonal",
    r"/swatch/(?P<id>\d{1,18})/tonal\.svg$": (
        "/swatch/{SELECT swatch_id FROM measurement}/tonal.svg"
    ),
    r"/(?P<kind>colourway|lot|swatch|base|dye)/(?P<id>\d{1,18})/name$": (
        "/colourway/{SELECT colourway_id FROM master}/name"
    ),
    r"/(?P<kind>stock|swatch|lot|base)/(?P<id>\d{1,18})/facts$": (
        "/stock/{SELECT id FROM stock}/facts"
    ),
    r"/(?P<kind>base|colourway|lot|swatch|dye|stock|recipe)/(?P<id>\d{1,18})/gone$": (
        "/base/{SELECT id FROM base}/gone"
    ),
    r"/check/new$": "/check/new?lot={SELECT lot_id FROM lot_check}",
    r"/check/(?P<id>\d{1,18})$": "/check/{SELECT id FROM lot_check WHERE verdict = 'cannot tell'}",
    r"/mat\.pdf$": "/mat.pdf",
    r"/more$": "/more",
    r"/cautions$": "/cautions",
}

#: Answers that are no pages: pictures, data for scripts, printed sheets.
NO_PAGES = (
    "/find/plane",
    "/thumb/",
    "/original/",
    "/picture/",
    "/photos/{SELECT sha256 FROM photo}/preview",
    "/swatch/{SELECT swatch_id FROM measurement}/tonal.svg",
    "/mat.pdf",
)


def address(pattern: str, folder: Path) -> str:
    """The example of a route, with values of the archive in ``folder``."""
    said = EXAMPLES[pattern]
    while "{" in said:
        start, rest = said.split("{", 1)
        sql, end = rest.split("}", 1)
        with sqlite3.connect(folder / "archive.db") as conn:
            said = start + str(conn.execute(sql).fetchone()[0]) + end
    return said
