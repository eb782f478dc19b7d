"""What is told to the archive, as frozen data: yarn, dyes, recipes, lots, and notes of photos.

Names refer to other things by the name a person uses. ``None`` is unknown. Amounts are text as
typed; the archive keeps millilitres and grams beside it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Base:
    """An undyed yarn. ``fibres`` in percent, summing to 100."""

    name: str
    fibres: Mapping[str, float] = field(default_factory=dict)
    superwash: bool | None = None
    construction: str | None = None
    halo: str | None = None
    price_per_kg: float | None = None
    note: str | None = None


@dataclass(frozen=True)
class BaseLot:
    """One delivery of a base."""

    base: str
    label: str
    received_on: str | None = None
    note: str | None = None


@dataclass(frozen=True)
class Dye:
    """A dye; its jars and packets are :class:`DyePack`."""

    name: str
    family: str | None = None
    note: str | None = None


@dataclass(frozen=True)
class DyePack:
    """One jar or packet of a dye's powder."""

    dye: str
    code: str
    opened_on: str | None = None
    note: str | None = None


@dataclass(frozen=True)
class Stock:
    """A mixed stock solution: ``grams`` of powder made up to ``made_up_to_ml``."""

    dye: str
    code: str
    grams: float
    made_up_to_ml: float
    pack: str | None = None
    mixed_on: str | None = None
    left_ml: float | None = None
    left_seen_on: str | None = None
    note: str | None = None


@dataclass(frozen=True)
class Colourway:
    """A name that the dyer sells or remembers."""

    name: str
    note: str | None = None


@dataclass(frozen=True)
class PlannedDye:
    """A dye of a recipe: depth of shade in % of the dry goods of its part."""

    dye: str
    depth_percent: float


@dataclass(frozen=True)
class PlannedStep:
    """One thing to do, planned. ``amount`` as typed: ``2 %``, ``5 mL per 100 g``, ``12 mL``."""

    kind: str
    amount: str | None = None
    temperature_c: float | None = None
    minutes: float | None = None
    note: str | None = None


@dataclass(frozen=True)
class RecipePart:
    """A part of the goods or a stage, with its share of them."""

    name: str = "whole"
    share_percent: float = 100.0
    dyes: tuple[PlannedDye, ...] = ()
    steps: tuple[PlannedStep, ...] = ()
    note: str | None = None


@dataclass(frozen=True)
class Recipe:
    """A colourway on a base, in a version; ``parent`` is the version it came from, and
    ``parent_base`` that version's base where it is another."""

    colourway: str
    base: str
    version: int = 1
    parent: int | None = None
    parts: tuple[RecipePart, ...] = ()
    note: str | None = None
    parent_base: str | None = None


@dataclass(frozen=True)
class DyeIn:
    """A dye that really went into a lot, and from which pack or stock."""

    dye: str
    amount: str | None = None
    pack: str | None = None
    stock: str | None = None


@dataclass(frozen=True)
class PotStep:
    """One thing done or seen in a pot. ``colour_left`` in words or as ``15 %``."""

    kind: str
    at: str | None = None
    amount: str | None = None
    temperature_c: float | None = None
    minutes: float | None = None
    ph: float | None = None
    colour_left: str | None = None
    note: str | None = None


@dataclass(frozen=True)
class StruckStep:
    """A step that was taken back: its number in the log, what was said, the dyes it put in."""

    number: int
    step: PotStep
    dyes: tuple[DyeIn, ...]
    struck_at: str


@dataclass(frozen=True)
class Skein:
    """One hank of a lot. ``base`` only where the lot holds several."""

    label: str
    grams_in: float | None = None
    grams_out: float | None = None
    base: str | None = None
    base_lot: str | None = None
    from_lot: str | None = None
    from_skein: str | None = None
    note: str | None = None


@dataclass(frozen=True)
class Lot:
    """What came out of one pot in one go. ``bases``: usually one."""

    code: str
    bases: tuple[str, ...]
    colourway: str | None = None
    recipe_version: int | None = None
    overdyes: str | None = None
    dyed_on: str | None = None
    dry_g: float | None = None
    liquor_ml: float | None = None
    water: str | None = None
    dyes_in: tuple[DyeIn, ...] = ()
    steps: tuple[PotStep, ...] = ()
    skeins: tuple[Skein, ...] = ()
    note: str | None = None


@dataclass(frozen=True)
class Swatch:
    """A specimen of a lot (perhaps of one skein of it), or of undyed yarn."""

    label: str
    base: str
    form: str
    lot: str | None = None
    skein: str | None = None
    base_lot: str | None = None
    dry: bool | None = None
    note: str | None = None


@dataclass(frozen=True)
class Setup:
    """Phone, light and reference together. ``locked``: the camera's settings do not move."""

    name: str
    phone: str | None = None
    light: str | None = None
    locked: bool | None = None
    reference: str | None = None
    note: str | None = None


@dataclass(frozen=True)
class OwnedReference:
    """A card, steps or chart that the dyer owns; ``y`` or ``lab_d50`` and where they are from."""

    name: str
    kind: str
    y: tuple[float, ...] | None = None
    lab_d50: tuple[tuple[float, float, float], ...] | None = None
    edition: str | None = None
    tolerance_delta_e: float | None = None
    source: str | None = None
    note: str | None = None


@dataclass(frozen=True)
class Master:
    """The swatch to which a colourway on a base in a form is held.

    The defaults of ``tolerance`` and ``k_l`` are our choice, not a norm.
    """

    colourway: str
    base: str
    form: str
    swatch: str
    tolerance: float = 2.0
    k_l: float = 2.0
    since: str | None = None
    reason: str | None = None


@dataclass(frozen=True)
class PhotoNote:
    """One swatch region of a photo, as a row of photos.csv tells it; ``where`` names the row.

    ``base`` and ``form`` may be left out where an earlier row or the archive has the swatch.
    """

    photo: str
    swatch: str
    region: str | None = None
    base: str | None = None
    form: str | None = None
    colourway: str | None = None
    lot: str | None = None
    skein: str | None = None
    base_lot: str | None = None
    dry: bool | None = None
    light: str | None = None
    setup: str | None = None
    locked: bool | None = None
    note: str | None = None
    where: str = ""


@dataclass(frozen=True)
class Notes:
    """Everything that the notes in one folder tell, in the order of the files."""

    bases: tuple[Base, ...] = ()
    base_lots: tuple[BaseLot, ...] = ()
    dyes: tuple[Dye, ...] = ()
    packs: tuple[DyePack, ...] = ()
    stocks: tuple[Stock, ...] = ()
    colourways: tuple[Colourway, ...] = ()
    recipes: tuple[Recipe, ...] = ()
    lots: tuple[Lot, ...] = ()
    references: tuple[OwnedReference, ...] = ()
    setups: tuple[Setup, ...] = ()
    masters: tuple[Master, ...] = ()
    photos: tuple[PhotoNote, ...] = ()
