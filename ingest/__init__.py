"""From a photo to colours with their doubt. Knows nothing of archives, recipes or the web."""

from typing import TYPE_CHECKING

from ingest.errors import (
    IngestError,
    MarksError,
    PhotoError,
    ReferenceMissing,
    SwatchError,
)

if TYPE_CHECKING:
    from ingest.pipeline import measure_photo

__all__ = [
    "IngestError",
    "MarksError",
    "PhotoError",
    "ReferenceMissing",
    "SwatchError",
    "measure_photo",
]


def __getattr__(name: str) -> object:
    """``measure_photo`` when it is asked for: errors alone need no numpy."""
    if name == "measure_photo":
        from ingest.pipeline import measure_photo

        return measure_photo
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
