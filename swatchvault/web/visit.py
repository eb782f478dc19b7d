"""One request as a page's handler sees it, and how every answer and refusal leaves."""

from __future__ import annotations

import asyncio
import secrets
import sqlite3
from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

from datasette import Response

from swatchvault.errors import NotFound, SwatchvaultError
from swatchvault.web.studio import DATABASE_NAME, Studio
from swatchvault.web.who import Role, SignInError, Verb, may, role_of

T = TypeVar("T")

#: Our own pages run no script but ours and load nothing from elsewhere.
PAGE_HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
        "connect-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
}

#: Why a page of the making is not in a copy for others.
NOT_IN_COPY = "How colours were made is not in this copy: no dye, stock, recipe or pot log is."


@cache
def static_base() -> str:
    """Address of our style and scripts: Datasette names it by the package or the distribution."""
    from datasette.plugins import get_plugins

    here = str(Path(__file__).parent / "static")
    name = next(p["name"] for p in get_plugins() if p["static_path"] == here)
    return f"/-/static-plugins/{name}"


class RefusedError(SwatchvaultError):
    """An answer that is a sentence: what was wrong with the request, and what to do.

    ``links``: address and words of the pages where that is done.
    """

    def __init__(
        self, words: str, status: int = 400, links: Sequence[tuple[str, str]] = ()
    ) -> None:
        super().__init__(words)
        self.status = status
        self.links = tuple(links)


@dataclass(frozen=True)
class Form:
    """A posted form: text by name, trimmed; files as Datasette's form parser gives them."""

    said: Any

    def text(self, name: str, default: str = "") -> str:
        """A field's text, or ``default`` where it is absent or blank."""
        value = self.said.get(name, "")
        return (value.strip() if isinstance(value, str) else "") or default

    def need(self, name: str, what: str) -> str:
        """A field that must not be blank; ``what`` names it in the refusal."""
        found = self.text(name)
        if not found:
            raise RefusedError(f"{what} is missing: fill it in and send the form again")
        return found

    def texts(self, name: str) -> list[str]:
        """All values of a field that may be there several times."""
        return [v.strip() for v in self.said.getlist(name) if isinstance(v, str) and v.strip()]

    def files(self, name: str) -> list[Any]:
        """The files of a field that hold something."""
        return [f for f in self.said.getlist(name) if not isinstance(f, str) and f.size]


@dataclass
class Visit:
    """A request, who sends it, and the archive it is about."""

    datasette: Any
    request: Any
    studio: Studio

    @property
    def role(self) -> Role:
        """What the visitor's signed cookie says."""
        return role_of(self.request.actor, self.studio.helpers())

    @property
    def folder(self) -> Path:
        """The archive's folder."""
        return self.studio.folder

    def may(self, verb: Verb) -> bool:
        """Whether this visitor may do ``verb``."""
        return may(self.role, verb, public=self.studio.public)

    def part(self, name: str) -> str:
        """A named part of the address."""
        return str(self.request.url_vars[name])

    def asked(self, name: str, default: str = "") -> str:
        """A value of the query string, as text."""
        return str(self.request.args.get(name) or default)

    @property
    def wants_json(self) -> bool:
        """Whether a script asks, not a person."""
        accepts = self.request.headers.get("accept") or ""
        return "application/json" in accepts or self.request.path.endswith(".json")

    async def read(self, fn: Callable[..., T], *args: Any, **named: Any) -> T:
        """``fn(conn, ...)`` on a reading connection, in a thread of its own."""
        found: T = await self._db.execute_fn(lambda conn: _ending(fn, conn, *args, **named))
        return found

    async def making_withheld(self) -> bool:
        """Whether this is a copy for others that does not say how colours were made."""
        from swatchvault.archive.publishing import making_withheld

        return self.studio.public and await self.read(making_withheld)

    async def none_here(self, words: str) -> str:
        """Why there is nothing at this address: a copy for others leaves it out, else ``words``."""
        from swatchvault.archive import publishing, questions

        _, kind, name = f"{self.request.path}//".split("/", 3)[:3]
        of_it = kind in publishing.OF_THE_MAKING
        of_it |= kind == DATABASE_NAME and name in questions.OF_THE_MAKING
        return NOT_IN_COPY if of_it and await self.making_withheld() else words

    async def need_making(self) -> None:
        """Refuse a page that needs to know how colours were made, where a copy does not say it."""
        if await self.making_withheld():
            raise RefusedError(NOT_IN_COPY, 404)

    async def write(self, fn: Callable[..., T], *args: Any, **named: Any) -> T:
        """``fn(conn, ...)`` on the writing connection; ``fn`` makes its own short transaction."""
        made: T = await self._db.execute_write_fn(
            lambda conn: _ending(fn, conn, *args, **named), transaction=False
        )
        return made

    async def work(self, fn: Callable[..., T], *args: Any, **named: Any) -> T:
        """Heavy work without the database, in a thread, so that others are not kept waiting."""
        return await asyncio.to_thread(_ending, fn, *args, **named)

    async def form(self, *, files: bool = False, most_bytes: int = 2_000_000) -> Form:
        """The posted form."""
        return Form(
            await self.request.form(
                files=files, max_file_size=most_bytes, max_request_size=most_bytes + 1_000_000
            )
        )

    async def change(
        self, form: Form, work: Callable[[sqlite3.Connection], str], words: str = ""
    ) -> Response:
        """Do a form's work once, in one transaction, and go to the page that it returns.

        ``work(conn)`` returns a path of ours; the same form sent again leads there too. A script
        gets JSON with the path as ``go``.
        """
        from swatchvault.archive import once

        path = await self.write(once, form.text("once"), work)
        return (
            self.json({"ok": True, "go": path, "words": words})
            if self.wants_json
            else self.go(path)
        )

    async def page(
        self, template: str, values: Mapping[str, Any] | None = None, status: int = 200
    ) -> Response:
        """A page from one of our templates. Everything in it is escaped."""
        context = {
            "role": self.role,
            "may": self.may,
            "public": self.studio.public,
            "path": self.request.path,
            "withheld": await self.making_withheld(),
            "once": secrets.token_urlsafe(16),
            "static": static_base(),
            "only_here": self.request.host.startswith(("127.", "localhost", "[::1]")),
            **(values or {}),
        }
        body = await self.datasette.render_template(template, context, request=self.request)
        return Response.html(body, status=status, headers=dict(PAGE_HEADERS))

    def json(self, values: Any, status: int = 200) -> Response:
        """An answer for a script."""
        return Response.json(values, status=status, headers={"Cache-Control": "no-store"})

    def go(self, path: str) -> Response:
        """After a form: on to another page of ours."""
        return Response.redirect(path, status=303)

    async def refuse(
        self, words: str, status: int, links: Sequence[tuple[str, str]] = ()
    ) -> Response:
        """A sentence, as a page or as JSON."""
        if self.wants_json:
            return self.json({"ok": False, "words": words}, status)
        back = self.request.path if self.request.method == "POST" and status == 400 else ""
        values = {"words": words, "status": status, "back": back, "links": links}
        return await self.page("sv_refused.html", values, status)

    @property
    def _db(self) -> Any:
        return self.datasette.get_database(DATABASE_NAME)


Handler = Callable[[Visit], Awaitable[Response]]


async def answer(visit: Visit, verb: Verb | None, handler: Handler) -> Response:
    """Ask for permission, run the handler, and turn every mistake into a sentence.

    ``verb`` ``None``: anyone may (the sign-in page).
    """
    from datasette.utils.asgi import BadRequest

    from ingest.errors import IngestError

    if verb is not None and not await visit.datasette.allowed(
        action=f"studio-{verb}", actor=visit.request.actor
    ):
        return await visit.refuse(*_no_entry(visit))
    try:
        return await handler(visit)
    except RefusedError as error:
        return await visit.refuse(str(error), error.status, error.links)
    except SignInError as error:
        return await visit.refuse(str(error), 403)
    except NotFound as error:
        return await visit.refuse(await visit.none_here(str(error)), 404)
    except (SwatchvaultError, IngestError) as error:
        return await visit.refuse(" ".join(str(error).split()), 400)
    except BadRequest as error:
        return await visit.refuse(_of_form(str(error)), 400)


async def closed(visit: Visit) -> Response:
    """A page that is not open to this visitor."""
    return await visit.refuse(*_no_entry(visit))


def _ending(fn: Callable[..., T], *args: Any, **named: Any) -> T:
    """``fn(...)`` in a thread, which an iterator's end cannot leave: no page would come."""
    try:
        return fn(*args, **named)
    except StopIteration as error:
        raise RuntimeError("an iterator ended too early") from error


async def lost(visit: Visit, exception: Exception) -> Response:
    """An error that no handler of ours caught: unknown addresses, Datasette's own, and faults."""
    if type(exception).__name__ == "QueryInterrupted":
        return await visit.refuse(
            "The table took longer to read than the server allows: narrow it with a filter.", 400
        )
    status = int(getattr(exception, "status", 500))
    if status == 404:
        return await visit.refuse(await visit.none_here("There is no such page."), 404)
    if status < 500:
        return await visit.refuse(" ".join(str(exception).split()) or "Not done.", status)
    return await visit.refuse(
        "Something went wrong here that should not have: nothing was changed by this request. "
        "The server's window says more.",
        500,
    )


def _no_entry(visit: Visit) -> tuple[str, int]:
    if visit.studio.public:
        return "This is a published copy: it is there to be looked at, and nothing more.", 403
    if visit.role == "anyone":
        return (
            "This archive is open to its dyer. Sign in with the link that the server printed, "
            "or with one made on a device that is signed in.",
            403,
        )
    return "A helper may log pots and photos, and not change this: ask the dyer.", 403


def _of_form(said: str) -> str:
    """What the form parser refused, in our words."""
    if "large" in said.lower() or "exceed" in said.lower() or "too big" in said.lower():
        return f"what was sent is larger than this page takes ({said})"
    return f"the form could not be read ({said}): load the page again and send it once more"
