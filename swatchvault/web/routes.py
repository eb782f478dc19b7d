"""Every address of ours with what it takes to read it and to post to it: one table."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from swatchvault.web.who import Verb


@dataclass(frozen=True)
class Route:
    """An address. ``handler``: module in ``swatchvault.web`` and function, ``pages:wall``.

    ``read``: what a GET needs (``None``: nothing); ``write``: what a POST needs, or ``"none"``
    where nothing may be posted. ``open_write``: a POST that needs no role (signing in).
    """

    path: str
    handler: str
    read: Verb | None = "look"
    write: Verb | None = None
    open_write: bool = False


ROUTES: tuple[Route, ...] = (
    Route(r"/$", "wall:wall_page"),
    Route(r"/enter$", "signin:enter_page", read=None, open_write=True),
    Route(r"/leave$", "signin:leave_page", read=None, open_write=True),
    Route(r"/devices$", "signin:devices_page", read="own", write="own"),
    Route(r"/thumb/(?P<sha256>[0-9a-f]{64})$", "files:thumb"),
    Route(r"/original/(?P<sha256>[0-9a-f]{64})$", "files:original"),
    Route(r"/find$", "finds:find_page", write="log"),
    Route(r"/find/plane$", "finds:plane_page"),
    Route(r"/groups$", "together:groups_page"),
    Route(r"/gaps$", "together:gaps_page"),
    Route(r"/foretell$", "foretell:foretell_page"),
    Route(r"/ways$", "ways:ways_page"),
    Route(r"/shelf$", "shelf:shelf_page", write="change"),
    Route(r"/dye/(?P<id>\d{1,18})$", "shelf:dye_page"),
    Route(r"/setups$", "setups:setups_page", read="log", write="change"),
    Route(r"/setup/(?P<id>\d{1,18})$", "repeats:setup_page", read="log", write="change"),
    Route(r"/sums$", "sums:sums_page"),
    Route(r"/pots$", "pots:pots_page", write="log"),
    Route(r"/pot/(?P<id>\d{1,18})$", "potlog:pot_page", write="log"),
    Route(r"/pot/(?P<id>\d{1,18})/correct$", "potcorrect:correct_page", read="log"),
    Route(r"/pot/(?P<id>\d{1,18})/liquor$", "liquor:liquor_page", read="log", write="log"),
    Route(r"/picture/(?P<sha256>[0-9a-f]{64})$", "picture:picture"),
    Route(r"/photos/new$", "photos:new_page", read="log", write="log"),
    Route(r"/photos/(?P<sha256>[0-9a-f]{64})$", "photos:photo_page"),
    Route(r"/photos/(?P<sha256>[0-9a-f]{64})/preview$", "picture:preview"),
    Route(r"/photos/(?P<sha256>[0-9a-f]{64})/mark$", "marking:mark_page", "log", "log"),
    Route(r"/photos/(?P<sha256>[0-9a-f]{64})/shows$", "shows:shows_page", "log", "log"),
    Route(r"/photos/(?P<sha256>[0-9a-f]{64})/state$", "measuring:state_page", "log"),
    Route(r"/photos/(?P<sha256>[0-9a-f]{64})/drop$", "waiting:drop_page", "log", "log"),
    Route(r"/photos/(?P<sha256>[0-9a-f]{64})/aside$", "aside:aside_page", "change", "change"),
    Route(r"/colourway/(?P<id>\d{1,18})$", "yarn:colourway_page", write="change"),
    Route(r"/base/(?P<id>\d{1,18})$", "yarn:base_page"),
    Route(r"/recipe/new$", "newrecipe:new_recipe_page", read="change", write="change"),
    Route(r"/recipe/(?P<id>\d{1,18})$", "recipes:recipe_page"),
    Route(r"/recipe/(?P<id>\d{1,18})/card$", "recipes:recipe_card"),
    Route(r"/lot/(?P<id>\d{1,18})$", "lots:lot_page"),
    Route(r"/lot/(?P<id>\d{1,18})/card$", "lots:lot_card"),
    Route(r"/lot/(?P<id>\d{1,18})/label$", "lots:lot_label"),
    Route(r"/swatch/(?P<id>\d{1,18})$", "swatches:swatch_page", write="change"),
    Route(r"/swatch/(?P<id>\d{1,18})/tonal$", "swatches:tonal_page"),
    Route(r"/swatch/(?P<id>\d{1,18})/tonal\.svg$", "swatches:tonal_drawing"),
    Route(
        r"/(?P<kind>colourway|lot|swatch|base|dye)/(?P<id>\d{1,18})/name$",
        "rename:name_page",
        read="change",
        write="change",
    ),
    Route(
        r"/(?P<kind>stock|swatch|lot|base)/(?P<id>\d{1,18})/facts$",
        "mend:facts_page",
        read="change",
        write="change",
    ),
    Route(
        r"/(?P<kind>base|colourway|lot|swatch|dye|stock|recipe)/(?P<id>\d{1,18})/gone$",
        "mend:let_go_page",
        read="change",
        write="change",
    ),
    Route(r"/check/new$", "checks:new_check_page", read="log", write="log"),
    Route(r"/check/(?P<id>\d{1,18})$", "checks:check_page"),
    Route(r"/mat\.pdf$", "places:mat_pdf"),
    Route(r"/more$", "places:more_page"),
    Route(r"/cautions$", "places:cautions_page"),
)


def views() -> list[tuple[str, Callable[..., Any]]]:
    """The routes as Datasette takes them."""
    return [(route.path, _view(route)) for route in ROUTES]


def _view(route: Route) -> Callable[..., Any]:
    async def view(datasette: Any, request: Any) -> Any:
        from datasette import Response

        from swatchvault.web.studio import studio_of
        from swatchvault.web.visit import Visit, answer

        studio = studio_of(datasette)
        assert studio is not None
        visit = Visit(datasette, request, studio)
        verb: Verb | None = route.read
        if request.method == "POST":
            if route.write is None and not route.open_write:
                return Response.text("nothing can be posted here", status=405)
            verb = route.write
        elif request.method not in ("GET", "HEAD"):
            return Response.text("only GET and POST", status=405)
        module, name = route.handler.split(":")
        handler = getattr(importlib.import_module(f"swatchvault.web.{module}"), name)
        return await answer(visit, verb, handler)

    return view
