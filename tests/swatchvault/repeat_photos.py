"""Repeat photos filed in an archive one by one, as measured by hand, for tests."""

from dataclasses import replace

import numpy as np

from ingest.model import ReferenceReading
from swatchvault.archive import (
    PhotoFacts,
    RegionOf,
    Setup,
    Swatch,
    add_setup,
    add_swatch,
    file_photo,
)
from tests.swatchvault.factories import layout, measured, photo_file, photo_of

HUES = {"red": (45, 50, 25), "yellow": (75, 5, 60), "green": (50, -40, 20), "blue": (40, 5, -40)}


def taken_on(number):
    """A day of 2026 for each photo, the oldest first."""
    return f"2026-04-{number + 1:02d}T10:{number:02d}:30"


def shots(folder, scatter=0.5, count=12, names=tuple(HUES), version="4", seed=0):
    """Files and what was measured in them: all swatches in each, moved together by ``scatter``."""
    rng = np.random.default_rng(seed)
    place = layout(names)
    for i in range(count):
        shift, grey = rng.normal(0, scatter, 3), 0.18 * np.exp(rng.normal(0, 0.004, 3))
        path = photo_file(folder, f"repeat-{seed}-{i}.jpg", f"{seed} {i}".encode())
        swatches = [
            measured(n, np.array(HUES[n]) + shift, flags=frozenset(), reference="steps")
            for n in names
        ]
        steps = ReferenceReading(place.references[0], frozenset(), neutral=tuple(grey))
        seen = rng.integers(0, 255, (48, 64, 3), dtype=np.uint8)
        facts = {"preview": seen, "layout": place, "references": (steps,), "flags": frozenset()}
        yield path, photo_of(path, swatches, version, taken_at=taken_on(i), **facts)


def file_repeats(archive, folder, base, setup="sill", locked=True, **how):
    """File such photos with a set-up; their sha256, oldest first, and what was measured."""
    add_setup(archive.conn, Setup(setup, light="daylight", locked=locked))
    names = how.get("names", tuple(HUES))
    ids = {n: add_swatch(archive.conn, Swatch(n, base, "wound card")).id for n in names}
    setup_id = archive.conn.execute("SELECT id FROM setup WHERE name = ?", (setup,)).fetchone()[0]
    filed, seen = [], []
    for path, found in shots(folder, **how):
        regions = [RegionOf(n, ids[n]) for n in names]
        filed.append(file_photo(archive, found, path, regions, PhotoFacts(setup_id)).photo_sha256)
        seen.append(found)
    return filed, seen


def without_grey(photo):
    """The photo as an earlier version would have filed it."""
    return replace(photo, references=tuple(replace(r, neutral=None) for r in photo.references))
