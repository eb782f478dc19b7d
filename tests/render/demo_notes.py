"""The demo's notes as files: studio.toml from the invented studio, by a small writer."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from tests.render.demo_studio import (
    BASES,
    COLOURWAYS,
    DYE_FAMILIES,
    LOTS,
    MASTERS,
    Colourway,
    Lot,
)

STOCK_PERCENT = 1.0


def toml_value(value: Any) -> str:
    """A TOML value on one line: text, numbers, booleans, lists and inline tables."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{_key(k)} = {toml_value(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list | tuple):
        inside = [toml_value(v) for v in value]
        if value and isinstance(value[0], Mapping):
            return "[\n" + "".join(f"  {v},\n" for v in inside) + "]"
        return "[" + ", ".join(inside) + "]"
    return repr(value)


def _key(name: str) -> str:
    return name if name.replace("_", "").replace("-", "").isalnum() else toml_value(name)


def table(name: str, row: Mapping[str, Any]) -> str:
    """One ``[[name]]`` with its keys; empty values are left out."""
    lines = [f"{k} = {toml_value(v)}" for k, v in row.items() if v not in (None, "", [], {})]
    return f"[[{name}]]\n" + "\n".join(lines) + "\n"


def pack_of(dye: str) -> str:
    return dye.split()[0].upper()[:3] + "-1"


def stock_of(dye: str) -> str:
    return dye.split()[0].lower() + " 1 %"


def _planned(colourway: Colourway) -> list[dict[str, Any]]:
    hot = 82 if "silk" in BASES[colourway.base].notes["fibres"] else 90
    steps = [
        {"kind": "soak", "temperature_c": 30, "minutes": 30},
        {"kind": "dye in"},
        {"kind": "heat", "temperature_c": hot, "minutes": 50},
        {"kind": "acid in", "amount": "20 mL per 100 g", "note": "white vinegar, 5 %"},
        {"kind": "hold", "temperature_c": hot, "minutes": 25},
        {"kind": "cool", "temperature_c": 60},
        {"kind": "rinse"},
    ]
    parts = []
    for n, (name, share, recipe) in enumerate(colourway.parts):
        dyes = [{"dye": d, "depth_percent": depth} for d, depth in recipe]
        part: dict[str, Any] = {"name": name, "share_percent": float(share), "dyes": dyes}
        if n == 0:
            part["steps"] = steps
        parts.append(part)
    return parts


def dyes_in(lot: Lot) -> list[dict[str, Any]]:
    """What the notes say went in: millilitres of 1 % stock, over all parts of the goods."""
    grams: dict[str, float] = {}
    for _, share, recipe in COLOURWAYS[lot.colourway].parts:
        for dye, depth in recipe:
            factor = lot.factors.get(dye, 1.0) if lot.told else 1.0
            g = lot.dry_g * share / 100.0 * depth / 100.0 * factor
            grams[dye] = grams.get(dye, 0.0) + g
    return [
        {"dye": d, "pack": pack_of(d), "stock": stock_of(d), "amount": _ml(g)}
        for d, g in grams.items()
    ]


def _ml(dye_g: float) -> str:
    return f"{dye_g * 100.0 / STOCK_PERCENT:.4g} mL"


def _pot(lot: Lot) -> list[dict[str, Any]]:
    hot = 82 if "silk" in BASES[COLOURWAYS[lot.colourway].base].notes["fibres"] else 90
    day = lot.dyed_on
    acid = f"{0.2 * lot.dry_g:g} mL"
    return [
        {"at": f"{day}T09:10", "kind": "soak", "temperature_c": 30},
        {"at": f"{day}T09:45", "kind": "dye in", "temperature_c": 40},
        {"at": f"{day}T10:35", "kind": "look", "temperature_c": hot, "colour_left": "half"},
        {"at": f"{day}T10:36", "kind": "acid in", "amount": acid, "temperature_c": hot},
        {"at": f"{day}T10:40", "kind": "hold", "minutes": 25, "temperature_c": hot, "ph": lot.ph},
        {"at": f"{day}T11:05", "kind": "look", "temperature_c": hot, "colour_left": lot.left},
        {"at": f"{day}T12:30", "kind": "cool", "temperature_c": 58},
        {"at": f"{day}T14:00", "kind": "rinse", "note": "until clear"},
    ]


def _lot_row(lot: Lot) -> dict[str, Any]:
    n = max(1, round(lot.dry_g / 100.0))
    each = lot.dry_g / n
    # Grams lost and gained at the scales: a fixed little pattern, no chance.
    skeins = [
        {
            "label": "abc"[k],
            "grams_in": round(each + (0.6, -0.4, 0.1)[k], 1),
            "grams_out": round(each + (0.2, -0.9, -0.5)[k], 1),
        }
        for k in range(n)
    ]
    return {
        "code": lot.code,
        "base": COLOURWAYS[lot.colourway].base,
        "colourway": lot.colourway,
        "recipe_version": 1,
        "dyed_on": lot.dyed_on,
        "dry_g": lot.dry_g,
        "liquor_ml": lot.dry_g * 30.0,
        "water": lot.water,
        "dyes_in": dyes_in(lot),
        "steps": _pot(lot),
        "skeins": skeins,
        "note": lot.note,
    }


def studio_toml() -> str:
    """The whole of studio.toml."""
    out = ["# Invented: no such studio, yarn, dye or colour exists. See NOTE.txt.\n"]
    out += [table("base", {"name": n, **b.notes}) for n, b in BASES.items()]
    for dye, family in DYE_FAMILIES.items():
        out.append(table("dye", {"name": dye, "family": family}))
        pack = {"dye": dye, "code": pack_of(dye), "opened_on": "2026-01-20"}
        out.append(table("dye_pack", pack))
        stock = {"dye": dye, "code": stock_of(dye), "grams": 10.0, "made_up_to_ml": 1000.0}
        out.append(table("stock", {**stock, "mixed_on": "2026-02-02"}))
    for name, colourway in COLOURWAYS.items():
        out.append(table("colourway", {"name": name, "note": colourway.note}))
        recipe = {"colourway": name, "base": colourway.base, "version": 1}
        out.append(table("recipe", {**recipe, "parts": _planned(colourway)}))
    out += [table("lot", _lot_row(lot)) for lot in LOTS]
    for name, base, form, swatch, since in MASTERS:
        row = {"colourway": name, "base": base, "form": form, "swatch": swatch}
        reason = {"tolerance": 2.0, "k_l": 2.0, "reason": "first lot sold under the name"}
        out.append(table("master", {**row, **reason, "since": since}))
    return "\n".join(out)
