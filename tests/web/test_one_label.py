"""Several places of a photo under one label: one swatch in one photo, and told so."""

from __future__ import annotations

import html
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from swatchvault.archive import RegionOf, file_photo, open_archive
from tests.swatchvault.factories import measured, photo_file, photo_of

pytestmark = pytest.mark.anyio

NOTE = "2 places in this photo are filed as HF-2 skein a, so they count as one swatch in one photo"


def words(text: str) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", text)).split())


def file_as_one(folder: Path) -> tuple[str, int]:
    """File a photo with two places under the label of a swatch that has photos: it, and the
    swatch."""
    path = photo_file(folder.parent)
    with open_archive(folder) as archive:
        sql = "SELECT id FROM swatch WHERE label = 'HF-2 skein a'"
        (swatch,) = archive.conn.execute(sql).fetchone()
        seen = photo_of(path, [measured(name, tonality=None) for name in ("left", "right")])
        file_photo(archive, seen, path, [RegionOf("left", swatch), RegionOf("right", swatch)])
    return seen.sha256, swatch


async def test_it_is_told_on_the_photo_and_counts_as_one(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    photo, swatch = file_as_one(studio)
    page = words((await dyer.get(f"/photos/{photo}")).text)
    assert page.count(NOTE) == 2  # beside each of the two
    assert page.count("How even HF-2 skein a is") == 1
    page = words((await dyer.get(f"/swatch/{swatch}")).text)
    assert re.search(r"of \d places in \d photos the one that leaves least doubt", page), page
