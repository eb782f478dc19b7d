"""Planned amounts as columns of a recipe's step, worked out anew when spoons change."""

from __future__ import annotations

import sqlite3
from dataclasses import asdict
from typing import Any

from swatchvault.amounts import SpoonSizes
from swatchvault.archive.entities import Recipe
from swatchvault.archive.rows import transaction
from swatchvault.errors import AmountError
from swatchvault.planned_amounts import ReadAmount, planned_amount


def planned_columns(amount: str | None, spoons: SpoonSizes) -> dict[str, Any]:
    """An amount and what it comes to; nothing of one that cannot be read."""
    read = kept_amount(amount, spoons)
    return {
        "amount": amount,
        "amount_g": read.g,
        "amount_ml": read.ml,
        "percent_of_goods": read.percent_of_goods,
        "ml_per_100_g": read.ml_per_100_g,
    }


def kept_amount(amount: str | None, spoons: SpoonSizes) -> ReadAmount:
    """An amount that is kept: of one that cannot be read, as once were not refused, no figure."""
    try:
        return planned_amount(amount, spoons)
    except AmountError:
        return ReadAmount(amount)


def refuse_unreadable(recipe: Recipe) -> None:
    """Raise ``AmountError``, which names the step, for an amount that cannot be read."""
    steps = (step for part in recipe.parts for step in part.steps)
    for number, step in enumerate(steps, 1):
        try:
            planned_amount(step.amount)
        except AmountError as error:
            raise AmountError(f"step {number}, {step.kind}: {error}") from error


def set_spoons(conn: sqlite3.Connection, spoons: SpoonSizes) -> None:
    """Set the sizes of spoon and cup. Planned amounts are worked out anew; what was done stays."""
    with transaction(conn):
        for name, value in asdict(spoons).items():
            conn.execute(
                "INSERT OR REPLACE INTO setting (name, value) VALUES (?, ?)", (name, value)
            )
        for row in conn.execute("SELECT id, amount FROM recipe_step").fetchall():
            columns = planned_columns(row["amount"], spoons)
            sets = ", ".join(f"{c} = ?" for c in columns)
            sql = f"UPDATE recipe_step SET {sets} WHERE id = ?"
            conn.execute(sql, (*columns.values(), row["id"]))
