"""The bar of colours on a card, with its key."""

from __future__ import annotations

from collections.abc import Sequence

from ingest.screen import hex_of_lab
from swatchvault.svg_text import text, wrap
from swatchvault.tonal_colours import Colours

SIZE, HIGH, KEY = 22.0, 60.0, 24.0


def palette(found: Colours, left: float, right: float, y: float) -> tuple[list[str], float]:
    """The bar with its key, and where they end."""
    if not found.parts:
        return [], y
    whole, parts, x = right - left, [], left
    total = sum(part.width for part in found.parts)
    for part in found.parts:
        wide = whole * part.width / total
        parts.append(_square(x, y, wide, HIGH, part.lab))
        x += wide
    y += HIGH
    if len(found.parts) == 1:
        return parts, y
    y += 12
    room = whole / len(found.parts)
    for k, part in enumerate(found.parts):
        parts.append(_square(left + k * room, y, KEY, KEY, part.lab))
        parts.append(text(left + k * room + 32, y + 20, part.words, SIZE))
    y += KEY
    for line in wrap(found.said, whole, SIZE):
        y += SIZE * 1.25
        parts.append(text(left, y, line, SIZE))
    return parts, y


def _square(x: float, y: float, wide: float, high: float, lab: Sequence[float]) -> str:
    return (
        f'<rect x="{x:.1f}" y="{y:.1f}" width="{wide:.1f}" height="{high:g}" '
        f'fill="{hex_of_lab(lab)}"/>'
    )
