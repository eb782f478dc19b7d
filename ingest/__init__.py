"""From a photo to colours with their doubt. Knows nothing of archives, recipes or the web."""

from ingest.errors import (
    IngestError,
    MarksError,
    PhotoError,
    ReferenceMissing,
    SwatchError,
)

__all__ = [
    "IngestError",
    "MarksError",
    "PhotoError",
    "ReferenceMissing",
    "SwatchError",
]
