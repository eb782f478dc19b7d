"""The archive in a browser: a Datasette plugin. Hooks only translate; pages are in their files.

In a Datasette that serves no archive of ours every hook does nothing.
"""

from __future__ import annotations

from typing import Any

from datasette import hookimpl
from datasette.permissions import Action, PermissionSQL

from swatchvault.web.studio import studio_of
from swatchvault.web.who import Verb, may, role_of

_VERBS: tuple[Verb, ...] = ("look", "log", "change", "own")

#: What Datasette's own pages need of a visitor; whatever is not named here is nobody's.
DATASETTE_ACTIONS: dict[str, Verb] = {
    "view-instance": "look",
    "view-database": "look",
    "view-table": "look",
    "view-query": "look",
    "execute-sql": "own",
}


@hookimpl
def register_actions(datasette: Any) -> list[Action]:
    """What our own pages ask for."""
    return [Action(name=f"studio-{verb}", description=f"Studio: {verb}") for verb in _VERBS]


@hookimpl
def permission_resources_sql(datasette: Any, actor: Any, action: str) -> PermissionSQL | None:
    """Roles to Datasette's permissions."""
    studio = studio_of(datasette)
    if studio is None:
        return None
    verb = needed(action)
    if verb is not None and may(role_of(actor, studio.helpers()), verb, public=studio.public):
        return PermissionSQL.allow(reason=f"swatchvault: {verb}")
    return None


def needed(action: str) -> Verb | None:
    """What an action of Datasette's or of ours takes; ``None``: nobody may."""
    for verb in _VERBS:
        if action == f"studio-{verb}":
            return verb
    return DATASETTE_ACTIONS.get(action)


@hookimpl
def register_routes(datasette: Any) -> list[Any]:
    """Our pages."""
    from swatchvault.web.routes import views

    return [] if studio_of(datasette) is None else list(views())


@hookimpl
def prepare_connection(conn: Any, database: str, datasette: Any) -> None:
    """The archive's habits for Datasette's connections, and ΔE00 for queries."""
    from swatchvault.archive import prepare_connection as habits
    from swatchvault.web.sql import add_functions
    from swatchvault.web.studio import DATABASE_NAME

    if database == DATABASE_NAME and studio_of(datasette) is not None:
        habits(conn)
        add_functions(conn)


@hookimpl
def prepare_jinja2_environment(env: Any, datasette: Any) -> None:
    """How figures look on our pages."""
    from swatchvault.web.look import add_to

    add_to(env)


@hookimpl
def menu_links(datasette: Any, actor: Any, request: Any) -> list[dict[str, str]]:
    """From Datasette's own pages back to ours."""
    if studio_of(datasette) is None:
        return []
    return [{"href": datasette.urls.path("/"), "label": "The studio"}]


@hookimpl
def render_cell(row: Any, value: Any, column: str, database: str, datasette: Any) -> Any:
    """Chips and links in Datasette's own tables of the archive."""
    from swatchvault.web.cells import cell
    from swatchvault.web.studio import DATABASE_NAME

    if database != DATABASE_NAME or studio_of(datasette) is None:
        return None
    return cell(row, value, column)


@hookimpl
def asgi_wrapper(datasette: Any) -> Any:
    """Headers that every answer carries, Datasette's own pages too."""
    from swatchvault.web.headers import with_headers

    return with_headers if studio_of(datasette) is not None else (lambda app: app)


@hookimpl
def handle_exception(datasette: Any, request: Any, exception: Exception) -> Any:
    """Our sentence in place of Datasette's page; the first answer counts, all handlers run."""
    import datasette.handle_exception as theirs

    from swatchvault.web.visit import Visit, lost

    theirs.rich = None  # it prints through rich, which fails outside of an except block
    studio = studio_of(datasette)
    if studio is None:
        return None

    async def inner() -> Any:
        return await lost(Visit(datasette, request, studio), exception)

    return inner


@hookimpl
def forbidden(datasette: Any, request: Any, message: str) -> Any:
    """Datasette's own pages, closed to this visitor."""
    from swatchvault.web.visit import Visit, closed

    studio = studio_of(datasette)
    if studio is None or request.path.endswith((".json", ".csv")):
        return None

    async def inner() -> Any:
        return await closed(Visit(datasette, request, studio))

    return inner
