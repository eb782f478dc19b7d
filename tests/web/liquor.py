"""A pot, and rendered photos of glasses of its liquor, for tests that send them."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Any

from swatchvault.archive import Lot, find, open_archive, start_pot
from swatchvault.potwork import local_now
from tests.swatchvault.liquorphotos import photograph, views

SEEN = views({"start": 1.0, "hold 1": 0.5, "again": 1.0}, dilutions={"again": 2.0})


def glass(folder: Path, name: str, *, steps: bool = True, **others: Any) -> Path:
    """A rendered photo of one glass of :data:`SEEN`, or of ``others``, named as a phone does."""
    place = folder / name.replace(" ", "-")
    place.mkdir(exist_ok=True)
    shown = others or {name: SEEN[name]}
    return photograph(place / "image.png", {"white": SEEN["white"], **shown}, steps=steps)


def lot(studio: Path, code: str = "NF-9") -> int:
    """Number of the lot of a pot that was started yesterday at eight."""
    started = local_now().replace(hour=8, minute=0) - timedelta(days=1)
    with open_archive(studio) as archive:
        made = Lot(code, ("Orrin four-ply",), "Ninth Furrow", dry_g=100.0)
        start_pot(archive.conn, made, started.isoformat(timespec="seconds"), {})
        return find(archive.conn, "lot", code)
