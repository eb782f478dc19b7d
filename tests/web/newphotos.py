"""Photos of the demo as new bytes, and their marks, for tests that send them."""

from __future__ import annotations

import io
import json
from functools import cache
from pathlib import Path
from typing import Any

import example_archive

DEMO = Path(example_archive.__file__).parent


@cache
def jpeg(name: str = "harbour-2", variant: int = 0) -> bytes:
    """A demo photo coded anew: another file to the archive, the same to the eye."""
    from PIL import Image

    picture = Image.open(DEMO / f"{name}.jpg").convert("RGB")
    picture.putpixel((0, 0), (variant % 256, 7, 7))
    coded = io.BytesIO()
    picture.save(coded, "JPEG", quality=95, subsampling=0)
    return coded.getvalue()


def marks(name: str = "harbour-2") -> dict[str, Any]:
    """The demo's own marks of that photo."""
    said: dict[str, Any] = json.loads((DEMO / f"{name}.marks.json").read_text(encoding="utf-8"))
    return said
