"""What Datasette is told about an archive: a line on every table and view, and questions."""

from __future__ import annotations

from typing import Any


def metadata(making: bool = True) -> dict[str, Any]:
    """Datasette metadata for the database named ``archive``.

    Without ``making``: of a copy that holds nothing of it, whose tables of it are hidden;
    Datasette lists its views all the same.
    """
    from swatchvault.archive import ABOUT
    from swatchvault.archive.publishing import OF_THE_MAKING

    tables: dict[str, dict[str, Any]] = {
        name: {"description": text} for name, text in ABOUT.items()
    }
    for name in () if making else OF_THE_MAKING:
        tables[name]["hidden"] = True
    return {
        "title": "Swatchvault",
        "description": "Colours of hand-dyed yarn with their recipes and their doubt.",
        "databases": {"archive": {"tables": tables, **config(making)["databases"]["archive"]}},
    }


def config(making: bool = True) -> dict[str, Any]:
    """Datasette configuration: the stored queries of the database named ``archive``.

    Without ``making``: those that ask of nothing that a copy leaves out.
    """
    from swatchvault.archive.questions import QUESTIONS, asked_of

    # One line of SQL is wider than a phone: it is one tap away.
    queries = {name: {**QUESTIONS[name], "hide_sql": True} for name in asked_of(making)}
    return {"databases": {"archive": {"queries": queries}}}
