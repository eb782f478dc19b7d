"""The invented studio of the demo: yarns, dyes, colourways, recipes and lots, and their notes.

All names and numbers here are made up. A lot's true depths are its recipe's times its factors;
they are what the photos are rendered with, and nobody in the story knows them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from tests.render.dye import Dyeing
from tests.render.strands import Yarn

Recipe = tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class Base:
    """A yarn: what the notes say of it, how it is drawn, and its undyed reflectance."""

    notes: Mapping[str, Any]
    yarn: Yarn
    reflectance: str


BASES: Mapping[str, Base] = {
    "Orrin four-ply": Base(
        {
            "fibres": {"wool": 100},
            "superwash": True,
            "construction": "4 plies, round",
            "halo": "none",
            "price_per_kg": 58.0,
        },
        Yarn(1.6, 4, 7.0, 0.40, 0.09, 60.0),
        "white wool",
    ),
    "Tebbet double": Base(
        {
            "fibres": {"wool": 100},
            "superwash": False,
            "construction": "3 plies, soft twist",
            "halo": "slight",
            "price_per_kg": 41.0,
        },
        Yarn(2.2, 3, 10.0, 0.42, 0.11, 160.0),
        "wool",
    ),
    "Sillan lustre": Base(
        {
            "fibres": {"wool": 50, "silk": 50},
            "superwash": False,
            "construction": "2 plies",
            "halo": "none",
            "price_per_kg": 112.0,
        },
        Yarn(1.8, 2, 7.5, 0.38, 0.08, 45.0),
        "silk",
    ),
    "Pask haze": Base(
        {
            "fibres": {"mohair": 70, "silk": 30},
            "superwash": False,
            "construction": "single, brushed",
            "halo": "strong",
            "price_per_kg": 140.0,
        },
        Yarn(1.5, 2, 8.0, 0.25, 0.14, 1400.0),
        "white wool",
    ),
}

#: Invented dyes in use, with the family the notes give them.
DYE_FAMILIES: Mapping[str, str] = {
    "Ostrel yellow": "acid, levelling",
    "Quince orange": "acid, levelling",
    "Pellow red": "acid, levelling",
    "Tavick rose": "acid, milling",
    "Hessard violet": "acid, milling",
    "Marn blue": "acid, milling",
    "Corrow turquoise": "acid, milling",
    "Brackle brown": "acid, levelling",
    "Sallow black": "acid, milling",
}


@dataclass(frozen=True)
class Colourway:
    """A colourway on its base. ``parts``: (name, share in %, recipe); knots are built of them."""

    base: str
    kind: str
    parts: tuple[tuple[str, float, Recipe], ...]
    tonal_sd: float = 0.012
    patch_mm: float = 20.0
    specks_per_cm2: float = 2.2
    note: str = ""


COLOURWAYS: Mapping[str, Colourway] = {
    "Ninth Furrow": Colourway(
        "Orrin four-ply",
        "solid",
        (("whole", 100, (("Pellow red", 0.30), ("Brackle brown", 0.45))),),
        note="Turned earth after rain.",
    ),
    "Harbour at Four": Colourway(
        "Tebbet double",
        "semi-solid",
        (("whole", 100, (("Marn blue", 0.26), ("Sallow black", 0.07))),),
        0.13,
        9.0,
        note="Grey blue, tonal. Low water, two thirds of the dye at once.",
    ),
    "Pear on the Sill": Colourway(
        "Sillan lustre",
        "solid",
        (("whole", 100, (("Ostrel yellow", 0.22), ("Marn blue", 0.012))),),
        note="Silk takes it up later than the wool: keep it moving.",
    ),
    "Slate Roof, Rain": Colourway(
        "Orrin four-ply",
        "solid",
        (("whole", 100, (("Sallow black", 0.34), ("Marn blue", 0.12))),),
    ),
    "Two Foxgloves": Colourway(
        "Tebbet double",
        "semi-solid",
        (("whole", 100, (("Tavick rose", 0.11), ("Hessard violet", 0.03))),),
        0.16,
        10.0,
    ),
    "Confetti on Gravel": Colourway(
        "Sillan lustre",
        "speckled",
        (
            ("ground", 91, (("Sallow black", 0.018),)),
            ("sprinkled red", 3, (("Pellow red", 0.45), ("Sallow black", 0.018))),
            ("sprinkled blue", 3, (("Marn blue", 0.36), ("Sallow black", 0.018))),
            ("sprinkled gold", 3, (("Ostrel yellow", 0.35), ("Sallow black", 0.018))),
        ),
        0.05,
    ),
    "Field to Hedge": Colourway(
        "Orrin four-ply",
        "gradient",
        (
            ("pale end", 34, (("Ostrel yellow", 0.12), ("Marn blue", 0.004))),
            ("middle", 33, (("Ostrel yellow", 0.20), ("Marn blue", 0.07))),
            ("deep end", 33, (("Ostrel yellow", 0.16), ("Marn blue", 0.22))),
        ),
        0.03,
        note="Dipped in three depths, each end kept out for ten minutes.",
    ),
    "Market Awning": Colourway(
        "Tebbet double",
        "variegated",
        (
            ("orange", 34, (("Quince orange", 0.16), ("Brackle brown", 0.02))),
            ("cream", 33, (("Ostrel yellow", 0.008), ("Brackle brown", 0.006))),
            ("blue green", 33, (("Marn blue", 0.10), ("Ostrel yellow", 0.05))),
        ),
        0.08,
        42.0,
    ),
    "Ember in Ash": Colourway(
        "Pask haze",
        "semi-solid",
        (("whole", 100, (("Quince orange", 0.10), ("Brackle brown", 0.14))),),
        0.12,
        11.0,
    ),
    "Chalk Path": Colourway(
        "Orrin four-ply",
        "solid",
        (("whole", 100, (("Brackle brown", 0.018), ("Sallow black", 0.010))),),
    ),
}


@dataclass(frozen=True)
class Lot:
    """One pot. ``factors``: how much of each dye truly went on, against the recipe (1: as meant).

    ``told``: whether the notes record the odd amount (a slip at the scales) or the recipe's.
    """

    code: str
    colourway: str
    dyed_on: str
    factors: Mapping[str, float] = field(default_factory=dict)
    told: bool = False
    dry_g: float = 200.0
    water: str = "tap"
    ph: float = 5.1
    left: str = "3 %"
    note: str = ""


LOTS: tuple[Lot, ...] = (
    Lot("NF-1", "Ninth Furrow", "2026-02-12", note="First full lot; the one I want again."),
    Lot("NF-2", "Ninth Furrow", "2026-03-18", {"Brackle brown": 1.03}),
    Lot(
        "NF-3",
        "Ninth Furrow",
        "2026-05-06",
        {"Pellow red": 1.95, "Brackle brown": 1.85},
        told=True,
        note="Goods weighed damp, so the dye was counted for too much yarn.",
    ),
    Lot("NF-4", "Ninth Furrow", "2026-06-23", {"Brackle brown": 1.12}),
    Lot("NF-5", "Ninth Furrow", "2026-09-02", {"Pellow red": 0.97}),
    Lot("HF-1", "Harbour at Four", "2026-02-20", dry_g=300.0),
    Lot("HF-2", "Harbour at Four", "2026-04-02", {"Marn blue": 1.02}, dry_g=300.0),
    Lot(
        "HF-3",
        "Harbour at Four",
        "2026-05-29",
        {"Sallow black": 1.35, "Marn blue": 0.94},
        left="8 %",
    ),
    Lot(
        "HF-4",
        "Harbour at Four",
        "2026-07-14",
        {"Marn blue": 0.55, "Sallow black": 0.75},
        water="tap, brown after works in the street",
        ph=5.9,
        left="25 %",
        note="Colour still in the pot after the second hold; let go too soon.",
    ),
    Lot("HF-5", "Harbour at Four", "2026-09-10", {"Marn blue": 1.03}),
    Lot("PS-1", "Pear on the Sill", "2026-03-04", dry_g=150.0),
    Lot("PS-2", "Pear on the Sill", "2026-04-16", {"Ostrel yellow": 1.04}, dry_g=150.0),
    Lot(
        "PS-3",
        "Pear on the Sill",
        "2026-06-10",
        {"Marn blue": 2.2},
        told=True,
        dry_g=150.0,
        note="Blue stock measured with the 10 mL syringe by lamplight.",
    ),
    Lot("PS-4", "Pear on the Sill", "2026-08-05", {"Marn blue": 1.45}, dry_g=150.0),
    Lot("SR-1", "Slate Roof, Rain", "2026-03-25"),
    Lot("TF-1", "Two Foxgloves", "2026-04-09"),
    Lot("TF-2", "Two Foxgloves", "2026-06-03", {"Tavick rose": 1.05}),
    Lot("CG-1", "Confetti on Gravel", "2026-05-13", dry_g=100.0),
    Lot("FH-1", "Field to Hedge", "2026-05-20", dry_g=100.0),
    Lot("MA-1", "Market Awning", "2026-06-17", dry_g=100.0),
    Lot("EA-1", "Ember in Ash", "2026-07-01", dry_g=50.0),
    Lot("CP-1", "Chalk Path", "2026-07-22"),
)
LOT_BY_CODE = {lot.code: lot for lot in LOTS}


def dyeing_of(code: str) -> Dyeing:
    """How a lot really came out, for the renderer; ``"undyed NAME"`` for a bare base."""
    if code.startswith("undyed "):
        base = BASES[code.removeprefix("undyed ")]
        return Dyeing(base.reflectance, ((),), "solid", 0.0)
    lot = LOT_BY_CODE[code]
    colourway = COLOURWAYS[lot.colourway]
    knots = [
        tuple((dye, depth * lot.factors.get(dye, 1.0)) for dye, depth in recipe)
        for _, _, recipe in colourway.parts
    ]
    if colourway.kind == "speckled":  # ground and speck by turns
        knots = [k for speck in knots[1:] for k in (knots[0], speck)]
    if colourway.kind == "variegated":
        knots.append(knots[0])
    return Dyeing(
        BASES[colourway.base].reflectance,
        tuple(knots),
        colourway.kind,
        colourway.tonal_sd,
        colourway.patch_mm,
        colourway.specks_per_cm2,
    )


def base_of(code: str) -> str:
    """Name of the base of a lot, or of ``"undyed NAME"``."""
    if code.startswith("undyed "):
        return code.removeprefix("undyed ")
    return COLOURWAYS[LOT_BY_CODE[code].colourway].base


#: (colourway, base, form, swatch, since): the masters.
MASTERS: Sequence[tuple[str, str, str, str, str]] = (
    ("Ninth Furrow", "Orrin four-ply", "wound card", "NF-1 card", "2026-02-16"),
    ("Harbour at Four", "Tebbet double", "skein", "HF-1 skein a", "2026-02-24"),
    ("Pear on the Sill", "Sillan lustre", "wound card", "PS-1 card", "2026-03-08"),
    ("Two Foxgloves", "Tebbet double", "knit", "TF-1 knit", "2026-04-13"),
)
