"""What Datasette is told about an archive: a line on every table and view."""

from __future__ import annotations

from typing import Any


def metadata() -> dict[str, Any]:
    """Datasette metadata for the database named ``archive``."""
    from swatchvault.archive import ABOUT

    tables = {name: {"description": text} for name, text in ABOUT.items()}
    return {
        "title": "Swatchvault",
        "description": "Colours of hand-dyed yarn with their recipes and their doubt.",
        "databases": {"archive": {"tables": tables}},
    }
