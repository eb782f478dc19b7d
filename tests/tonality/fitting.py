"""Fits the rule of :mod:`ingest.evenness_model` and writes it where the program reads it."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from ingest.evenness_model import Rule, root, terms

HEAD = '''"""The rule that turns a region's figures into its unevenness: data, made by a program.

Fitted on renders of yarn that is solid or semi-solid, {counts} by
three renderers, by ``python -m tests.tonality fit``; no real yarn is among them. Ridge of
{ridge:g}, chosen by leaving tenths out. The inputs' order is that of ``INPUTS`` in evenness_model.
"""

TABLES = """\\
'''


#: Share of the rows at either end beyond which an input is held where it is.
EDGE = 0.003
#: Share of errors on either side that the range leaves out. Where yarn may be solid the range
#: begins at nought all the same, so that 95 % and more hold by either renderer.
LEFT_OUT = 0.04


def fit(x: np.ndarray, unevenness: np.ndarray, fold: np.ndarray) -> tuple[Rule, float]:
    """The rule of inputs (n, k) and true unevenness (n,); ``fold``: (n,) 0..9, left out in turn.

    Errors that the doubt is learned from are those of rows left out.
    """
    low, high = np.quantile(x, [EDGE, 1.0 - EDGE], axis=0)
    inside = np.clip(x, low, high)
    middle, width = inside.mean(axis=0), inside.std(axis=0)
    z = (inside - middle) / width
    wide, y = terms(z), root(unevenness)
    tried = {
        ridge: np.concatenate(
            [
                y[fold == k] - wide[fold == k] @ solve(wide[fold != k], y[fold != k], ridge)
                for k in range(10)
            ]
        )
        for ridge in np.geomspace(0.3, 300.0, 13)
    }
    ridge = min(tried, key=lambda r: float((tried[r] ** 2).mean()))
    error = np.empty(len(y))
    error[np.concatenate([np.flatnonzero(fold == k) for k in range(10)])] = tried[ridge]
    flat = np.concatenate([np.ones((len(z), 1)), z], axis=1)
    # ln|e| of a normal error lies 0.635 under ln of its standard deviation.
    log_sd = solve(flat, np.log(np.abs(error) + 0.003) + 0.635, 10.0)
    ratio = error / np.exp(flat @ log_sd)
    within = np.array([-np.quantile(ratio, LEFT_OUT), np.quantile(ratio, 1.0 - LEFT_OUT)])
    rule = Rule(low, high, middle, width, solve(wide, y, ridge), log_sd, within)
    return rule, float(ridge)


def solve(a: np.ndarray, y: np.ndarray, ridge: float) -> np.ndarray:
    """Ridge regression on standardised columns; the constant, the first, is free."""
    penalty = ridge * a.var(axis=0)
    return np.linalg.solve(a.T @ a + np.diag(penalty), a.T @ y)


def write(rule: Rule, ridge: float, counts: tuple[int, ...], path: Path) -> None:
    """The module of coefficients. ``counts``: renders by each renderer."""
    told = ", ".join(map(str, counts[:-1])) + f" and {counts[-1]}"
    head = HEAD.format(counts=told, ridge=ridge)
    blocks = []
    for name in Rule.__dataclass_fields__:
        numbers = [f"{v:.5g}" for v in getattr(rule, name)]
        lines = [" ".join(numbers[k : k + 9]) for k in range(0, len(numbers), 9)]
        blocks.append("\n".join([name, *lines]))
    path.write_text(head + "\n\n".join(blocks) + '\n"""\n', encoding="utf-8")
