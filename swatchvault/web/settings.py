"""What Datasette is told about an archive: a line on every table and view, and questions."""

from __future__ import annotations

from typing import Any


def metadata() -> dict[str, Any]:
    """Datasette metadata for the database named ``archive``."""
    from swatchvault.archive import ABOUT

    tables = {name: {"description": text} for name, text in ABOUT.items()}
    return {
        "title": "Swatchvault",
        "description": "Colours of hand-dyed yarn with their recipes and their doubt.",
        "databases": {"archive": {"tables": tables, **config()["databases"]["archive"]}},
    }


def config() -> dict[str, Any]:
    """Datasette configuration: the stored queries of the database named ``archive``."""
    from swatchvault.web.questions import QUESTIONS

    queries = {name: dict(question) for name, question in QUESTIONS.items()}
    return {"databases": {"archive": {"queries": queries}}}
