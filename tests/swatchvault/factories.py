"""Measurements made by hand and a small studio of our own invention, for tests of the archive."""

import hashlib
import shutil

import numpy as np

from ingest.model import (
    LabCovariance,
    Layout,
    Measurement,
    PhotoMeasurement,
    Reference,
    ReferenceReading,
    Scale,
    Step,
    SwatchRegion,
)
from swatchvault.archive import (
    Base,
    Colourway,
    Dye,
    DyeIn,
    DyePack,
    Lot,
    Notes,
    PlannedDye,
    PlannedStep,
    PotStep,
    Recipe,
    RecipePart,
    Skein,
    Stock,
    Swatch,
    add_swatch,
    apply_notes,
    open_archive,
)

SQUARE = ((0.1, 0.1), (0.3, 0.1), (0.3, 0.3), (0.1, 0.3))
ELSEWHERE = ((0.5, 0.1), (0.7, 0.1), (0.7, 0.3), (0.5, 0.3))
LAB = (42.25, 31.5, -8.125)

STUDIO = Notes(
    bases=(
        Base("Lumme", {"wool": 80.0, "silk": 20.0}, True, "3 ply", "slight", 48.0),
        Base("Torva", {"mohair": 100.0}),
    ),
    dyes=(Dye("Ember", "levelling acid"), Dye("Tarn")),
    packs=(
        DyePack("Ember", "E1", "2026-01-05"),
        DyePack("Ember", "E2"),
        DyePack("Tarn", "T1"),
    ),
    stocks=(
        Stock("Ember", "S1", 2.0, 200.0, pack="E1", mixed_on="2026-02-01"),
        Stock("Ember", "S2", 2.0, 200.0, pack="E2"),
        Stock("Tarn", "S1", 1.0, 100.0),
    ),
    colourways=(Colourway("Low sun"), Colourway("Wet slate")),
    recipes=(
        Recipe(
            "Low sun",
            "Lumme",
            parts=(
                RecipePart(
                    dyes=(PlannedDye("Ember", 0.8), PlannedDye("Tarn", 0.2)),
                    steps=(
                        PlannedStep("soak", minutes=30.0),
                        PlannedStep("acid in", "2 %"),
                        PlannedStep("salt in", "5 mL per 100 g"),
                        PlannedStep("hold", temperature_c=85.0, minutes=30.0),
                    ),
                ),
            ),
        ),
        Recipe(
            "Low sun", "Lumme", 2, parent=1, parts=(RecipePart(dyes=(PlannedDye("Ember", 1),)),)
        ),
    ),
    lots=(
        Lot(
            "L1",
            ("Lumme",),
            "Low sun",
            recipe_version=1,
            dyed_on="2026-03-01",
            dry_g=100.0,
            liquor_ml=3000.0,
            water="tap",
            dyes_in=(DyeIn("Ember", "80 mL", stock="S1"), DyeIn("Tarn", "20 mL", stock="S1")),
            steps=(
                PotStep("dye in", "2026-03-01T10:05", "100 mL", ph=6.5),
                PotStep("look", "2026-03-01T10:45", colour_left="15 %"),
            ),
            skeins=(Skein("a", 50.0, 49.6), Skein("b", 50.0, 49.5)),
        ),
        Lot("L2", ("Lumme",), "Low sun", dyed_on="2026-04-01", dry_g=100.0),
        Lot("W1", ("Lumme", "Torva"), "Wet slate"),
    ),
)


def studio(conn):
    """Fill an archive; returns the ids of a swatch of L1 and one of L2, both skeins."""
    apply_notes(conn, STUDIO)
    first = add_swatch(conn, Swatch("sun 1", "Lumme", "skein", "L1", "a"))
    second = add_swatch(conn, Swatch("sun 2", "Lumme", "skein", "L2"))
    return first.id, second.id


def copy_of(template, folder):
    """An archive of one test's own: copying a closed one is quicker than waiting for the disk."""
    return open_archive(shutil.copytree(template, folder))


def covariance(scale=1.0):
    """Four parts that can be told apart."""
    parts = (np.diag([0.1, 0.2, 0.3]) * scale * n for n in (1, 2, 3, 4))
    return LabCovariance(*parts)


def measured(name="new", lab=LAB, **changes):
    """A measurement of one region."""
    facts = {
        "name": name,
        "lab": np.array(lab, dtype=float),
        "covariance": covariance(),
        "flags": frozenset({"scale unknown", "glare"}),
        "polygon": SQUARE,
        "reference": "steps",
        "pixels": 12000,
        "left_out": {"clipped": 0.01},
        "clipped_share": 0.01,
        "shadow_sd": 0.12,
        "mm_per_px": float("nan"),
        "tonality": {"evenness": 1.5},
    }
    return Measurement(**{**facts, **changes})


def layout(names=("new",), located="marks"):
    """Steps, a swatch region for each name, and a scale."""
    steps = Reference("steps", (SQUARE, ELSEWHERE, SQUARE), y=(0.9, 0.2, 0.04))
    regions = tuple(SwatchRegion(name, SQUARE, "marks", 0.75) for name in names)
    return Layout((steps,), regions, Scale((0.0, 0.0), (1.0, 0.0), 120.0), located)


def photo_of(path, swatches=None, version="1", **changes):
    """What a photo file gave, as if it had been measured."""
    swatches = (measured(),) if swatches is None else tuple(swatches)
    place = changes.pop("layout", None) or layout(tuple(s.name for s in swatches))
    facts = {
        "path": str(path),
        "sha256": hashlib.sha256(path.read_bytes()).hexdigest(),
        "width": 1600,
        "height": 1200,
        "format": "JPEG",
        "encoding": "sRGB",
        "taken_at": "2026-03-02T11:00:00",
        "camera": "a phone",
        "layout": place,
        "references": (ReferenceReading(place.references[0], frozenset()),),
        "swatches": swatches,
        "flags": frozenset({"light uneven"}),
        "steps": (Step("tone curve", {"left_over": 0.004}),),
        "version": version,
        "preview": np.full((48, 64, 3), 128, dtype=np.uint8),
    }
    return PhotoMeasurement(**{**facts, **changes})


def photo_file(folder, name="IMG_1.JPG", content=b"a photo's bytes"):
    """A file to file: the archive copies bytes and never looks inside."""
    path = folder / name
    path.write_bytes(content)
    return path


def dump(conn):
    """Every row of every table, to see that nothing changed."""
    sql = "SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name"
    names = [r[0] for r in conn.execute(sql)]
    return {n: [tuple(r) for r in conn.execute(f'SELECT * FROM "{n}"')] for n in names}
