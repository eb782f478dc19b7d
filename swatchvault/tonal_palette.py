"""The bar of colours on a card: a palette with shares, a gradient's ends, or how far one colour's
own light and dark lie apart."""

from __future__ import annotations

from collections.abc import Sequence

from ingest.screen import hex_of_lab
from swatchvault.svg_text import text, wrap
from swatchvault.tonal_card import TENTHS, Card, tenths_of
from swatchvault.tonal_words import AT_CRESTS, percent

#: Said of the tenths: they are no shares of dye alone.
AS_SEEN = "patches as the photo shows them, light and shade in them"
SIZE, HIGH, KEY = 22.0, 60.0, 24.0


def palette(card: Card, left: float, right: float, y: float) -> tuple[list[str], float]:
    """The bar with its key, and where they end."""
    found = bar(card)
    if not found:
        return [], y
    whole, parts, x = right - left, [], left
    total = sum(share for _, share, _ in found)
    for lab, share, _ in found:
        wide = whole * share / total
        parts.append(_square(x, y, wide, HIGH, lab))
        x += wide
    y += HIGH
    if len(found) == 1:
        return parts, y
    y += 12
    room = whole / len(found)
    for k, (lab, _, words) in enumerate(found):
        parts.append(_square(left + k * room, y, KEY, KEY, lab))
        parts.append(text(left + k * room + 32, y + 20, words, SIZE))
    y += KEY
    said = AS_SEEN if tenths_of(card) is not None else AT_CRESTS
    for line in wrap(said, whole, SIZE):
        y += SIZE * 1.25
        parts.append(text(left, y, line, SIZE))
    return parts, y


def bar(card: Card) -> list[tuple[Sequence[float], float, str]]:
    """Lab, share and words of each part of the bar, from left to right."""
    record = card.record or {}
    if gradient := record.get("gradient"):
        words = ("one end", "the other end")
        return [(lab, 0.5, said) for lab, said in zip(gradient["ends"], words, strict=True)]
    if (tenths := tenths_of(card)) is not None:
        named = zip(tenths.tolist(), TENTHS, strict=True)
        return [(lab, 1.0 / len(TENTHS), f"{said} tenth") for lab, said in named]
    colours = [(c["lab"], float(c["share"])) for c in record.get("palette") or ()]
    return [(lab, share, percent(share)) for lab, share in colours]


def _square(x: float, y: float, wide: float, high: float, lab: Sequence[float]) -> str:
    return (
        f'<rect x="{x:.1f}" y="{y:.1f}" width="{wide:.1f}" height="{high:g}" '
        f'fill="{hex_of_lab(lab)}"/>'
    )
