"""How tonal a swatch came out, on one card: photo, map, palette, words, and how others came out.

Pure: data in, text and plain data out; :mod:`swatchvault.tonal_drawing` draws it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np

from ingest.evenness_map import STEPS, EvennessMap
from ingest.model import Array
from swatchvault.evenness_check import AT_BOUNDARY, EvennessComparison, Tonal
from swatchvault.kinds import NO_MORE_TONAL
from swatchvault.tonal_colours import Colours, colours_of
from swatchvault.tonal_peers import Peers, Place
from swatchvault.tonal_words import Said, eye_words, figure, percent, say

#: Words of the map's steps.
STEP_WORDS = (
    f"under {STEPS[0]:g}",
    *(f"{a:g} to {b:g}" for a, b in pairwise(STEPS)),
    f"over {STEPS[-1]:g}",
)
#: Others from which a place among them is told in hundredths; our choice.
FEWEST_FOR_A_PERCENTILE = 20
#: A share that rounds to nothing, which the text leaves out.
NOTHING = percent(0.0)


@dataclass(frozen=True, eq=False)
class Card:
    """What a card shows. ``name``: the swatch's. ``of``: what it is of, in short pieces (colourway,
    base, lot, day). ``record``: the tonality record, None where nothing was measured.
    ``picture``: uint8 sRGB of the rectangle around the swatch. ``named``: the dyer's own word."""

    name: str
    of: tuple[str, ...]
    form: str | None
    record: Mapping[str, Any] | None
    flags: frozenset[str] = frozenset()
    map: EvennessMap | None = None
    picture: Array | None = None
    peers: Peers = field(default_factory=Peers)
    notes: tuple[str, ...] = ()
    named: str | None = None

    @property
    def said(self) -> Said:
        return say(self.record, self.flags)

    @property
    def to_the_eye(self) -> str:
        return eye_words(self.named, (self.record or {}).get("class"))

    @property
    def colours(self) -> Colours:
        return colours_of(self.record, None if self.map is None else self.map.tenths)


def card_lines(card: Card) -> list[str]:
    """The card as text."""
    of = [*card.of, *([card.form] if card.form else [])]
    lines = [" · ".join([card.name, *of])]
    lines += [f"  {line}" for line in (*card.said.lines, card.to_the_eye) if line]
    if card.map is not None:
        shares = card.map.step_shares()
        steps = zip(STEP_WORDS, map(percent, shares), strict=True)
        told = "; ".join(f"{words}: {share}" for words, share in steps if share != NOTHING)
        lines.append(
            f"  ΔE00 (kL = 1) of its patches from the mean, light and shade included: {told}"
        )
    lines += [f"  {line}" for line in card.colours.lines]
    return [*lines, *(f"  {line}" for line in peer_lines(card)), *(f"  {n}" for n in card.notes)]


def peer_lines(card: Card, set_name: Callable[[str], str] = str) -> list[str]:
    """How the swatch compares with others, as sentences; of earlier lots the newest first."""
    lines = []
    place = card.peers.place
    if place is not None:
        lines.append(
            f"Of {place.count} other semi-solids measured as {card.form} it reads more tonal than "
            f"{place.less}{_percentile(place)}; allowing for doubt, than {place.surely} at least "
            f"and {place.at_most} at most."
        )
    lines += card.peers.notes
    for peer, comparison in reversed(card.peers.earlier):
        when = (
            f"{', first photo' if peer.by_photo else ' of'} {peer.when[:10]}" if peer.when else ""
        )
        even = peer.evenness
        read = even.span_alone or figure(even.unevenness, even.u)
        lines.append(f"{set_name(peer.name)}{when}, {read}: {_against(comparison)}")
    return lines


def _percentile(place: Place) -> str:
    """The place in hundredths, where there are enough others to say it so."""
    return f" (percentile {place.percentile})" if place.count >= FEWEST_FOR_A_PERCENTILE else ""


def _against(comparison: EvennessComparison) -> str:
    if comparison.verdict is Tonal.CANNOT_TELL:
        surely = {"more": comparison.chances.more, "less": comparison.chances.less}
        for word, chance in surely.items():
            if chance <= AT_BOUNDARY:
                by = f"by more than {comparison.tolerance:.2g}"
                return f"this one is {word} tonal; whether {by}, cannot be told"
        return "cannot tell which is more tonal"
    shown = comparison.shown
    if comparison.verdict is not Tonal.AS:
        return f"this one is {shown}"
    within = f"that, within {comparison.tolerance:.2g}"
    if shown == NO_MORE_TONAL:
        return f"this one is {shown} than {within}; whether less, cannot be told"
    return f"this one is {shown} as {within}"


def card_record(card: Card) -> dict[str, Any]:
    """The card as plain JSON data, without the picture."""
    shown = card.map
    return {
        "name": card.name,
        "of": list(card.of),
        "form": card.form,
        "tonality": None if card.record is None else dict(card.record),
        "flags": sorted(card.flags),
        "words": card.said.record(),
        "you_named_it": card.named,
        "map": None if shown is None else _map_record(shown),
        "compared": card.peers.record(),
        "notes": list(card.notes),
    }


def _map_record(shown: EvennessMap) -> dict[str, Any]:
    rows = [[None if np.isnan(v) else round(float(v), 2) for v in row] for row in shown.deviation]
    return {
        "delta_e_00": rows,
        "step_mm": round(shown.step_mm, 4),
        "first_mm": [round(v, 4) for v in shown.first_mm],
        "size_mm": [round(v, 4) for v in shown.size_mm],
        "mean": round(shown.mean, 3),
        "bounds": list(STEPS),
        "shares": [round(s, 4) for s in shown.step_shares()],
        "square_mm": round(shown.square_mm, 4),
        "colours": [[round(float(v), 2) for v in lab] for lab in shown.colours],
        "which_colour": shown.which.tolist(),
        "tenths": None
        if shown.tenths is None
        else [[round(float(v), 2) for v in lab] for lab in shown.tenths],
    }
