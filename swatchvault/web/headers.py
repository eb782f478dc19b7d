"""Headers that every answer of the server carries."""

from __future__ import annotations

from typing import Any

ALWAYS = {
    b"x-content-type-options": b"nosniff",
    b"referrer-policy": b"no-referrer",
    b"x-frame-options": b"DENY",
    b"cross-origin-resource-policy": b"same-origin",
}


def with_headers(app: Any) -> Any:
    """``app`` with :data:`ALWAYS` added where an answer does not say otherwise."""

    async def wrapped(scope: Any, receive: Any, send: Any) -> None:
        if scope["type"] != "http":
            await app(scope, receive, send)
            return
        if scope["path"].startswith(("//", "/\\")):  # would be redirected to another site
            start = {"type": "http.response.start", "status": 404, "headers": []}
            await send(start)
            await send({"type": "http.response.body", "body": b"There is no such page."})
            return

        async def sending(message: Any) -> None:
            if message["type"] == "http.response.start":
                said = {name.lower() for name, _ in message.get("headers", [])}
                extra = [(k, v) for k, v in ALWAYS.items() if k not in said]
                message = {**message, "headers": [*message.get("headers", []), *extra]}
            await send(message)

        await app(scope, receive, sending)

    return wrapped
