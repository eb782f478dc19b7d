"""The demo's photos: which swatches lie in which picture, in what light, by which phone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tests.render.camera import Shot
from tests.render.demo_studio import BASES, base_of, dyeing_of
from tests.render.objects import Card, Chart, Place, Steps, Swatch
from tests.render.scene import FileStyle, Scene, Thing
from tests.render.yarn import Lamp


@dataclass(frozen=True)
class Item:
    """A swatch that exists: its lot, form and place in the pot. Its label is its key below."""

    lot: str
    form: str
    skein: str = ""


@dataclass(frozen=True)
class Setting:
    """A phone, its light and what it stands over; ``notes``: how photos.csv speaks of it."""

    shot: Shot
    lamp: Lamp
    tables: tuple[str, ...]
    camera: tuple[str, str]
    notes: Mapping[str, str]
    locked: bool = False


_NOISE: dict[str, Any] = {"read_noise": 0.0025, "full_well": 9000.0}

SETTINGS: Mapping[str, Setting] = {
    "window": Setting(
        Shot(camera="phone wide", light="D65", tone="soft s", veil=0.006, **_NOISE),
        Lamp(215.0, 50.0, 0.55),
        ("paper",),
        ("Fennick", "Fennick Pocket"),
        {"light": "daylight", "setup": "bench by the window", "locked": "no"},
    ),
    "box": Setting(
        Shot(camera="phone wide", light="LED-B3", tone="soft s", veil=0.008, **_NOISE),
        Lamp(250.0, 62.0, 0.40),
        ("paper",),
        ("Fennick", "Fennick Pocket"),
        {"light": "other", "setup": "lamp box", "locked": "yes"},
        True,
    ),
    "yard": Setting(
        Shot(camera="phone observer bent", light="D50", tone="film", veil=0.004, **_NOISE),
        Lamp(320.0, 45.0, 0.50),
        ("paper",),
        ("Ostle", "Ostle Two"),
        {"light": "daylight", "setup": "", "locked": ""},
    ),
    "evening": Setting(
        Shot(camera="phone observer bent", light="LED-V1", tone="strong s", veil=0.010, **_NOISE),
        Lamp(190.0, 55.0, 0.60),
        ("wood",),
        ("Ostle", "Ostle Two"),
        {"light": "other", "setup": "", "locked": ""},
    ),
}


def _card(lot: str) -> tuple[str, Item]:
    return f"{lot} card", Item(lot, "wound card")


def _skein(lot: str, skein: str = "a") -> tuple[str, Item]:
    return f"{lot} skein {skein}", Item(lot, "skein", skein)


def _knit(lot: str) -> tuple[str, Item]:
    return f"{lot} knit", Item(lot, "knit")


ITEMS: Mapping[str, Item] = dict(
    [_card(c) for c in ("NF-1", "NF-2", "NF-3", "NF-4", "NF-5", "PS-1", "PS-2", "PS-3", "PS-4")]
    + [_card(c) for c in ("SR-1", "FH-1", "CP-1")]
    + [_skein(c) for c in ("HF-1", "HF-2", "HF-3", "HF-4", "HF-5", "CG-1", "MA-1", "EA-1")]
    + [_skein("HF-2", "b"), _skein("HF-2", "c")]
    + [_knit(c) for c in ("TF-1", "TF-2", "CG-1", "MA-1", "EA-1", "NF-1")]
    + [(f"undyed {b}", Item(f"undyed {b}", "wound card")) for b in BASES]
)

_SIZES = {"wound card": (52.0, 46.0), "skein": (156.0, 50.0), "knit": (64.0, 62.0)}


@dataclass(frozen=True)
class Plan:
    """One photo. ``regions``: (region name, swatch label), from left to right or top to bottom."""

    file: str
    taken: str
    setting: str
    regions: tuple[tuple[str, str], ...]
    reference: str = "steps"
    marked: bool = True
    style: tuple[tuple[str, Any], ...] = ()
    space: str = "srgb"
    note: str = ""


def _one(file: str, taken: str, setting: str, label: str, **more: Any) -> Plan:
    return Plan(file, taken, setting, (("swatch", label),), **more)


def _pair(file: str, taken: str, setting: str, new: str, master: str, **more: Any) -> Plan:
    return Plan(file, taken, setting, (("new", new), ("master", master)), **more)


PLANS: tuple[Plan, ...] = (
    _one("furrow-1", "2026-02-16 11:05", "window", "NF-1 card"),
    _pair("furrow-2", "2026-03-21 12:10", "window", "NF-2 card", "NF-1 card"),
    _pair("furrow-3", "2026-05-09 11:40", "window", "NF-3 card", "NF-1 card"),
    _one("furrow-4", "2026-06-26 15:20", "yard", "NF-4 card", reference="card"),
    _pair("furrow-5", "2026-09-05 12:30", "window", "NF-5 card", "NF-1 card", reference="card"),
    _one("furrow-knit", "2026-02-28 11:30", "window", "NF-1 knit", style=(("orientation", 6),)),
    _one("harbour-1", "2026-02-24 12:00", "window", "HF-1 skein a"),
    _pair("harbour-2", "2026-04-06 11:15", "window", "HF-2 skein a", "HF-1 skein a"),
    _pair("harbour-3", "2026-06-01 10:50", "window", "HF-3 skein a", "HF-1 skein a"),
    _pair("harbour-4", "2026-07-17 11:10", "window", "HF-4 skein a", "HF-1 skein a"),
    _one("harbour-5", "2026-09-13 20:40", "evening", "HF-5 skein a", reference="card"),
    Plan(
        "harbour-parcel",
        "2026-04-07 11:20",
        "window",
        (("a", "HF-2 skein a"), ("b", "HF-2 skein b"), ("c", "HF-2 skein c")),
        note="Which of these can go in one parcel?",
    ),
    _one("pear-1", "2026-03-08 11:30", "window", "PS-1 card"),
    _pair("pear-2", "2026-04-20 12:00", "window", "PS-2 card", "PS-1 card", reference="chart"),
    _pair("pear-3", "2026-06-13 11:00", "window", "PS-3 card", "PS-1 card"),
    _one("pear-box-1", "2026-06-14 09:30", "box", "PS-1 card"),
    _one("pear-box-4", "2026-08-09 09:40", "box", "PS-4 card"),
    _one("pear-box-4-again", "2026-08-09 09:44", "box", "PS-4 card"),
    _one("slate-1", "2026-03-28 12:20", "window", "SR-1 card", style=(("quality", 92),)),
    _one("foxgloves-1", "2026-04-13 11:50", "window", "TF-1 knit"),
    _pair("foxgloves-2", "2026-06-06 13:00", "yard", "TF-2 knit", "TF-1 knit", reference="card"),
    _one("confetti-skein", "2026-05-17 12:30", "window", "CG-1 skein a"),
    _one("confetti-knit", "2026-05-24 16:10", "yard", "CG-1 knit"),
    _one("hedge", "2026-05-24 12:15", "window", "FH-1 card", space="p3"),
    _one("awning-skein", "2026-06-20 12:40", "window", "MA-1 skein a"),
    _one("awning-knit", "2026-06-28 15:30", "yard", "MA-1 knit", style=(("orientation", 8),)),
    _one("ember-skein", "2026-07-05 12:00", "window", "EA-1 skein a"),
    _one("ember-knit", "2026-07-12 15:45", "yard", "EA-1 knit", reference="card", marked=False),
    _one("chalk", "2026-07-26 12:05", "window", "CP-1 card", reference="card", marked=False),
    Plan(
        "undyed-1",
        "2026-02-03 12:00",
        "window",
        (("left", "undyed Orrin four-ply"), ("right", "undyed Tebbet double")),
    ),
    Plan(
        "undyed-2",
        "2026-02-03 12:06",
        "window",
        (("left", "undyed Sillan lustre"), ("right", "undyed Pask haze")),
    ),
)


def _places(plan: Plan, form: str) -> tuple[list[Place], Place]:
    """Where swatches and reference lie, in mm about the middle of the picture."""
    n = len(plan.regions)
    chart = plan.reference == "chart"
    if form == "skein":
        at = {1: [(4, -18)], 2: [(0, -49), (0, 4)], 3: [(0, -54), (0, -9), (0, 36)]}[n]
        below = (-8.0, 46.0) if n == 1 else (-30.0 if n == 2 else 0.0, 56.0 if n == 2 else 67.0)
    elif n == 1:
        at = [(38, -8)] if plan.reference == "card" else [(6, -20 if form == "knit" else -16)]
        below = (-45.0, 22.0) if plan.reference == "card" else (-10.0, 35.0)
    else:
        at = [(-47, -33 if form == "wound card" else -32), (47, -30)]
        below = (-10.0, 26.0 if chart else 44.0)
    return [Place(float(x), float(y)) for x, y in at], Place(*below)


def _width_mm(plan: Plan) -> float:
    """How near the phone is held: 210 x 157 mm of table, or 160 x 120 mm for one small swatch."""
    small = len(plan.regions) == 1 and ITEMS[plan.regions[0][1]].form != "skein"
    return 160.0 if small else 210.0


def _reference(plan: Plan, place: Place) -> Thing:
    if plan.reference == "card":
        return Card(place, (58.0, 40.0))
    if plan.reference == "chart":
        return Chart(place, patch_mm=11.0)
    narrow = len(plan.regions) == 3
    return Steps(place, patch_mm=(13.0, 11.0 if narrow else 19.0))


def scene_of(plan: Plan, size_px: tuple[int, int] = (1600, 1200)) -> Scene:
    """The scene of a plan: the same plan gives the same picture."""
    seed = sum(ord(c) * (k + 1) for k, c in enumerate(plan.file))
    rng = np.random.default_rng([seed, 5])
    setting = SETTINGS[plan.setting]
    form = ITEMS[plan.regions[0][1]].form
    places, ref_place = _places(plan, form)
    things: list[Thing] = []
    for (region, label), place in zip(plan.regions, places, strict=True):
        things.append(_swatch(region, label, _nudge(rng, place, len(plan.regions))))
    things.append(_reference(plan, _nudge(rng, ref_place, len(plan.regions))))
    return Scene(
        tuple(things),
        _shot(rng, setting),
        setting.lamp if setting.locked else setting.lamp.turned(float(rng.normal(0, 8.0))),
        setting.tables[int(rng.integers(len(setting.tables)))] if plan.marked else "wood",
        width_mm=_width_mm(plan),
        size_px=size_px,
        tilt=tuple(rng.normal(0, 0.5 if setting.locked else 2.2, 2)),
        roll=float(rng.normal(0, 0.3 if setting.locked else 1.5)),
        blur_px=0.65,
        vignette=0.0,
        space=plan.space,
        seed=seed,
    )


def _swatch(region: str, label: str, place: Place) -> Swatch:
    item = ITEMS[label]
    w, h = _SIZES[item.form]
    if item.form == "skein":
        h *= 0.86
    seed = sum(ord(c) * (k + 3) ** 2 for k, c in enumerate(label))
    dyeing = dyeing_of(item.lot)
    written = "" if item.lot.startswith("undyed") else item.lot
    yarn = BASES[base_of(item.lot)].yarn
    return Swatch(region, place, item.form, (w, h), yarn, dyeing, seed, label=written)


def _nudge(rng: np.random.Generator, place: Place, crowd: int) -> Place:
    """Put down by hand: a few millimetres and degrees off."""
    shift, turn = ((2.0, 2.5), (1.2, 1.6), (0.6, 0.8))[crowd - 1]
    dx, dy = rng.uniform(-shift, shift, 2)
    return Place(place.x + float(dx), place.y + float(dy), float(rng.normal(0, turn)))


def _shot(rng: np.random.Generator, setting: Setting) -> Shot:
    """A locked setting keeps everything but the hand; a free one exposes and balances anew."""
    gradient, angle = rng.uniform(0.02, 0.09), rng.uniform(-0.5, 0.5) + 3.6
    wb = rng.normal(0, 0.02, 2)
    exposure = rng.uniform(0.80, 0.95)
    if setting.locked:
        return replace(setting.shot, exposure=0.88, gradient=0.03, gradient_angle=3.6)
    return replace(
        setting.shot,
        exposure=float(exposure),
        wb_error=(float(wb[0]), float(wb[1])),
        gradient=float(gradient),
        gradient_angle=float(angle),
    )


def file_style(plan: Plan) -> FileStyle:
    make, model = SETTINGS[plan.setting].camera
    day, clock = plan.taken.split()
    taken = f"{day.replace('-', ':')} {clock}:00"
    style = FileStyle(87, taken, make, model, with_icc=plan.setting != "yard")
    return replace(style, **dict(plan.style))
