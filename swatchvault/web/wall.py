"""The wall: every colourway at a glance, page after page."""

from __future__ import annotations

from datasette import Response

from swatchvault.web.visit import Visit

_A_PAGE = 48  # fills a desk's screen twice; our choice


async def wall_page(visit: Visit) -> Response:
    """Colourways by name; ``after`` and ``text`` narrow it, ``part`` sends only the tiles."""
    from swatchvault.archive.wall import wall

    after, text = visit.asked("after"), visit.asked("text")
    tiles = await visit.read(wall, after=after, text=text, count=_A_PAGE + 1)
    more = tiles[_A_PAGE - 1].name if len(tiles) > _A_PAGE else None
    values = {"tiles": tiles[:_A_PAGE], "more": more, "text": text}
    template = "sv_wall_tiles.html" if visit.asked("part") else "sv_wall.html"
    return await visit.page(template, values)
