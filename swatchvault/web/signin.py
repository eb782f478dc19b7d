"""Signing in by a one-time link, signing out, and letting another device or a helper in."""

from __future__ import annotations

import time
from typing import Any

from datasette import Response
from datasette.utils import baseconv

from swatchvault.web.visit import RefusedError, Visit
from swatchvault.web.who import COOKIE_LASTS_S, LINK_LASTS_S, Role, SignInError, actor_of

_MINUTES = LINK_LASTS_S // 60


async def enter_page(visit: Visit) -> Response:
    """A link shows a button; only the button uses the key up, so that a preview does not."""
    if visit.request.method == "POST":
        form = await visit.form()
        role = visit.studio.links.use(form.text("key"))
        response = visit.go("/")
        set_cookie(visit.datasette, response, role, visit.studio.helpers())
        return response
    key = visit.asked("key")
    if not visit.studio.links.good(key):
        if visit.role != "anyone" and not key:
            return visit.go("/")
        raise RefusedError(str(_too_late()), 403)
    return await visit.page("sv_enter.html", {"key": key})


async def leave_page(visit: Visit) -> Response:
    """Sign this device out."""
    if visit.request.method != "POST":
        return await visit.page("sv_leave.html")
    response = await visit.page("sv_refused.html", {"words": "Signed out.", "status": 200})
    response.set_cookie("ds_actor", "", expires=0, max_age=0, httponly=True)
    return response


async def devices_page(visit: Visit) -> Response:
    """A link and its code for the phone, or for a helper; and all helpers signed out."""
    made: dict[str, Any] = {}
    if visit.request.method == "POST":
        form = await visit.form()
        if form.text("who") == "helpers out":
            await visit.work(visit.studio.sign_helpers_out)
            return await visit.page("sv_devices.html", {"minutes": _MINUTES, "out": True})
        role: Role = "helper" if form.text("who") == "helper" else "dyer"
        link = f"{visit.request.scheme}://{visit.request.host}" + link_path(visit, role)
        made = {"link": link, "who": role, "code": code_svg(link)}
    return await visit.page("sv_devices.html", {"minutes": _MINUTES, **made})


def link_path(visit: Visit, role: Role) -> str:
    """The path of a new one-time link."""
    return f"/enter?key={visit.studio.links.make(role)}"


def code_svg(text: str) -> str:
    """A QR code as a data address of an SVG."""
    import segno

    return str(segno.make(text, error="m").svg_data_uri(scale=4, light="#fff", dark="#000"))


def set_cookie(datasette: Any, response: Response, role: Role, helpers: str = "") -> None:
    """The signed cookie: Datasette's own format, not readable by scripts, gone after a while."""
    until = baseconv.base62.encode(int(time.time()) + COOKIE_LASTS_S)
    signed = datasette.sign({"a": actor_of(role, helpers), "e": until}, "actor")
    response.set_cookie("ds_actor", signed, max_age=COOKIE_LASTS_S, httponly=True)


def _too_late() -> SignInError:
    return SignInError(
        "This sign-in link was used already, is too old, or is not one of ours: make a new one "
        "on a device that is signed in, or start the server again."
    )
