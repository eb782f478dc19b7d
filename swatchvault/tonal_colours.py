"""The colours beside a swatch's own: a palette with shares, a gradient's ends, a speckled yarn's
cells, or how far one colour's own light and dark lie apart. Pure: a record in, data out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from ingest.model import Array
from swatchvault.tonal_words import AT_CRESTS, ends_of, percent

#: Names of the tenths of one-colour yarn, as ``EvennessMap.tenths`` has them.
TENTHS = ("lightest", "middle", "darkest")
#: Said of the tenths: they are no shares of dye alone.
AS_SEEN = "patches as the photo shows them, light and shade in them."
#: Said of colours of dots, and of those too fine to be counted.
OF_CELLS = "squares of 1 mm in six colours at most; where colours meet they are mixed."


@dataclass(frozen=True)
class Part:
    """One colour: its Lab, its ``width`` of 0..1 in a bar of all, and what it is, in words."""

    lab: tuple[float, float, float]
    width: float
    words: str


@dataclass(frozen=True)
class Colours:
    """``parts`` from left to right, none where nothing was read. ``said``: what they are; "" of one
    alone, which is the swatch's own."""

    parts: tuple[Part, ...] = ()
    said: str = ""

    @property
    def lines(self) -> list[str]:
        """All as text; nothing of one colour alone."""
        if len(self.parts) < 2:
            return []
        told = [f"{p.words} ({', '.join(f'{v:.1f}' for v in p.lab)})" for p in self.parts]
        said = f"{self.said[:1].upper()}{self.said[1:]}"
        return [f"Its colours in L* a* b*: {'; '.join(told)}.", said]


def colours_of(record: Mapping[str, Any] | None, tenths: Array | None = None) -> Colours:
    """The colours of a tonality record. ``tenths``: (3, 3) Lab of the lightest, middle and darkest
    tenth of its patches, shown where a palette would be of one colour."""
    told = record or {}
    if gradient := told.get("gradient"):
        names = ends_of(gradient)
        ends = zip(gradient["ends"], names, strict=True)
        return Colours(tuple(_part(lab, 0.5, name) for lab, name in ends), AT_CRESTS)
    palette = told.get("palette") or ()
    if len(palette) > 1:
        return Colours(_shares(palette), AT_CRESTS)
    if told.get("class") in ("speckled", "variegated"):  # too fine for a palette of even places
        cells = told.get("signature") or palette
        return Colours(_shares(cells), f"{OF_CELLS} {AT_CRESTS}")
    if len(palette) == 1 and tenths is not None:
        named = zip(tenths.tolist(), TENTHS, strict=True)
        tenth = tuple(_part(lab, 1.0 / len(TENTHS), f"{name} tenth") for lab, name in named)
        return Colours(tenth, AS_SEEN)
    return Colours(_shares(palette))


def _shares(colours: Sequence[Mapping[str, Any]]) -> tuple[Part, ...]:
    return tuple(_part(c["lab"], float(c["share"]), percent(float(c["share"]))) for c in colours)


def _part(lab: Sequence[float], width: float, words: str) -> Part:
    return Part((float(lab[0]), float(lab[1]), float(lab[2])), width, words)
