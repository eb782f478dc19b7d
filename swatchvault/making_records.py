"""Between the archive's recipes and lots and the records that a file holds: pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from swatchvault.amounts import SpoonSizes
from swatchvault.archive.entities import (
    Base,
    BaseLot,
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
    StruckStep,
)
from swatchvault.archive.exchange import DyeKept, LotKept, Making, StepKept
from swatchvault.errors import SwatchvaultError
from swatchvault.record_kinds import Record

_ADDED_UNKNOWN = "1970-01-01T00:00:00Z"


# ---------------------------------------------------------------------------------------------
# To records
# ---------------------------------------------------------------------------------------------


def making_records(making: Making) -> tuple[Record, ...]:
    """Recipes and lots with all that they name, as records."""
    notes = making.notes
    records = [_flat("spoons", making.spoons), *(_base(base) for base in notes.bases)]
    for kind, things in (
        ("base lot", notes.base_lots),
        ("dye", notes.dyes),
        ("dye pack", notes.packs),
        ("stock", notes.stocks),
        ("colourway", notes.colourways),
    ):
        records += [_flat(kind, thing) for thing in things]
    records += [_recipe(r, at) for r, at in zip(notes.recipes, making.added_at, strict=True)]
    records += [_lot(lot, kept) for lot, kept in zip(notes.lots, making.kept, strict=True)]
    return tuple(records)


def _record(kind: str, facts: dict[str, Any], inner: Sequence[Record] = ()) -> Record:
    return Record(kind, {k: v for k, v in facts.items() if v is not None}, tuple(inner))


def _flat(kind: str, thing: Any, **more: Any) -> Record:
    return _record(kind, {**asdict(thing), **more})


def _base(base: Base) -> Record:
    facts = asdict(base)
    fibres = facts.pop("fibres")
    inner = [_record("fibre", {"fibre": f, "percent": p}) for f, p in fibres.items()]
    return _record("base", facts, inner)


def _recipe(recipe: Recipe, added_at: str) -> Record:
    facts = {**asdict(recipe), "added_at": added_at}
    del facts["parts"]
    return _record("recipe", facts, [_part(part) for part in recipe.parts])


def _part(part: RecipePart) -> Record:
    facts = {"name": part.name, "share_percent": part.share_percent, "note": part.note}
    inner = [_flat("planned dye", d) for d in part.dyes]
    return _record("part", facts, [*inner, *(_flat("planned step", s) for s in part.steps)])


def _lot(lot: Lot, kept: LotKept) -> Record:
    facts = asdict(lot)
    for name in ("bases", "dyes_in", "steps", "skeins"):
        del facts[name]
    inner = [_record("in the pot", {"base": b}) for b in lot.bases]
    if kept.pot is not None:
        inner.append(_record("pot", dict(kept.pot)))
    for dye, stock in (kept.planned_from or {}).items():
        inner.append(_record("planned from", {"dye": dye, "stock": stock}))
    for dye_in, beside in zip(lot.dyes_in, kept.dyes, strict=True):
        inner.append(_flat("dye in", dye_in, **asdict(beside)))
    for step, seen in zip(lot.steps, kept.steps, strict=True):
        more = {"amount_ml": seen.amount_ml, "amount_g": seen.amount_g}
        inner.append(_flat("step", step, planned_step=seen.plan_number, **more))
    inner += [_struck(s) for s in kept.struck]
    inner += [_flat("skein", s) for s in lot.skeins]
    return _record("lot", facts, inner)


def _struck(struck: StruckStep) -> Record:
    facts = {"number": struck.number, "struck_at": struck.struck_at, **asdict(struck.step)}
    return _record("struck step", facts, [_flat("struck dye", dye) for dye in struck.dyes])


# ---------------------------------------------------------------------------------------------
# From records
# ---------------------------------------------------------------------------------------------


def making_of(records: Sequence[Record]) -> Making:
    """The recipes and lots that records hold. Raises ``SwatchvaultError`` in one line."""
    by_kind: dict[str, list[Record]] = {}
    for record in records:
        by_kind.setdefault(record.kind, []).append(record)

    def each(kind: str, make: Any) -> tuple[Any, ...]:
        return tuple(make(r) for r in by_kind.get(kind, ()))

    recipes = by_kind.get("recipe", [])
    notes = Notes(
        bases=each("base", _base_of),
        base_lots=each("base lot", lambda r: BaseLot(**r.facts)),
        dyes=each("dye", lambda r: Dye(**r.facts)),
        packs=each("dye pack", lambda r: DyePack(**r.facts)),
        stocks=each("stock", lambda r: Stock(**r.facts)),
        colourways=each("colourway", lambda r: Colourway(**r.facts)),
        recipes=each("recipe", _recipe_of),
        lots=each("lot", _lot_of),
    )
    added = tuple(str(r.facts.get("added_at", _ADDED_UNKNOWN)) for r in recipes)
    spoons = each("spoons", lambda r: SpoonSizes(**r.facts))
    if len(spoons) > 1:
        raise SwatchvaultError(f"there are {len(spoons)} records of spoons: keep one")
    return Making(notes, added, each("lot", _kept_of), spoons[0] if spoons else SpoonSizes())


def _without(record: Record, *names: str) -> dict[str, Any]:
    return {k: v for k, v in record.facts.items() if k not in names}


def _base_of(record: Record) -> Base:
    fibres = {str(f.facts["fibre"]): float(f.facts["percent"]) for f in record.of("fibre")}
    return Base(fibres=fibres, **_without(record))


def _recipe_of(record: Record) -> Recipe:
    parts = tuple(
        RecipePart(
            dyes=tuple(PlannedDye(**_without(d)) for d in part.of("planned dye")),
            steps=tuple(PlannedStep(**_without(s)) for s in part.of("planned step")),
            **_without(part),
        )
        for part in record.of("part")
    )
    return Recipe(parts=parts, **_without(record, "added_at"))


def _lot_of(record: Record) -> Lot:
    code = record.facts["code"]
    if not record.of("in the pot"):
        raise SwatchvaultError(f"lot {code!r} has no 'in the pot': say which base went in")
    return Lot(
        bases=tuple(str(b.facts["base"]) for b in record.of("in the pot")),
        dyes_in=tuple(
            DyeIn(**_without(d, "amount_ml", "amount_g", "dye_g", "with_step"))
            for d in record.of("dye in")
        ),
        steps=tuple(
            PotStep(**_without(s, "amount_ml", "amount_g", "planned_step"))
            for s in record.of("step")
        ),
        skeins=tuple(Skein(**_without(s)) for s in record.of("skein")),
        **_without(record),
    )


def _kept_of(record: Record) -> LotKept:
    pots = record.of("pot")
    if len(pots) > 1:
        raise SwatchvaultError(f"lot {record.facts['code']!r} has {len(pots)} pots: keep one")
    return LotKept(
        lot=str(record.facts["code"]),
        pot=_without(pots[0]) if pots else None,
        planned_from={f.facts["dye"]: f.facts.get("stock") for f in record.of("planned from")},
        steps=tuple(
            StepKept(s.facts.get("amount_ml"), s.facts.get("amount_g"), s.facts.get("planned_step"))
            for s in record.of("step")
        ),
        dyes=tuple(
            DyeKept(*(d.facts.get(k) for k in ("amount_ml", "amount_g", "dye_g", "with_step")))
            for d in record.of("dye in")
        ),
        struck=tuple(_struck_of(s) for s in record.of("struck step")),
    )


def _struck_of(record: Record) -> StruckStep:
    return StruckStep(
        int(record.facts["number"]),
        PotStep(**_without(record, "number", "struck_at")),
        tuple(DyeIn(**_without(d)) for d in record.of("struck dye")),
        str(record.facts["struck_at"]),
    )
