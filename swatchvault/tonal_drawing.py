"""The card of :mod:`swatchvault.tonal_card` as SVG.

It is drawn in the proportion of A sheets, so that A6, A4 and a screen show the same drawing and
Letter shows it with a wider margin. The map is in neutral greys only: a colour beside a swatch
would change how the swatch is seen.
"""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from typing import Any

from ingest.evenness_map import EvennessMap
from ingest.model import Array
from ingest.screen import hex_of_lab
from swatchvault.svg_text import BOLD, in_pieces, isolated, text, wrap
from swatchvault.tonal_card import STEP_WORDS, Card, peer_lines
from swatchvault.tonal_marks import unevenness_line
from swatchvault.tonal_palette import palette
from swatchvault.tonal_words import Said

#: The drawing's width and height: a tenth of a millimetre of A6 to a unit.
WIDTH, HEIGHT, EDGE = 1050, 1480, 50
#: Width and height in mm of the papers it is printed on.
PAPERS: Mapping[str, tuple[float, float]] = {
    "A6": (105.0, 148.0),
    "A4": (210.0, 297.0),
    "Letter": (215.9, 279.4),
}
#: Neutral greys of the map's steps, nearest to the mean first: L* of about 92, 80, 66, 52, 36, 18.
GREYS = ("#e8e8e8", "#c6c6c6", "#a0a0a0", "#7c7c7c", "#555555", "#2d2d2d")
#: Most bytes of the photo in the card, and the long side in pixels that is tried first.
MOST_BYTES, LONG_SIDE = 160_000, 900
#: Most that is added between two parts where there is room.
MOST_AIR = 60.0
#: Height over width of a swatch under which its pictures lie one over the other.
LONG = 0.35
#: What the pictures are.
LABELS = (
    "the photo, corrected; bar 10 mm",
    "ΔE00 from its mean, light and shade in it",
    "where the colours lie",
)
INK, PALE, PAPER = "#222222", "#767676", "#ffffff"
BODY, SMALL, HEAD, TITLE = 27.0, 22.0, 44.0, 40.0
#: Tried in turn until all fits: how much larger the words are, how tall the pictures may be, how
#: many lines tell of others. Our choice: words of 9 points on A6 where there is room, 6 at least.
LAYOUTS = (
    *((grown, 540, 14) for grown in (1.5, 1.4, 1.3, 1.2, 1.1, 1.0)),
    *((1.0, tall, most) for tall, most in ((460, 14), (390, 12), (330, 10), (270, 8))),
    *((1.0, tall, most) for tall, most in ((220, 5), (180, 1))),
)


def card_svg(card: Card, paper: str = "A6") -> str:
    """The card as one SVG; ``paper`` sets only the size at which it is printed."""
    foot = _foot(card)
    for grown, tall, most in LAYOUTS:
        body, bottom = _drawn(card, grown, tall, most)
        spare = HEIGHT - EDGE - 14 - 1.25 * SMALL * len(foot) - bottom
        if spare >= 0:
            body, _ = _drawn(card, grown, tall, most, air=min(spare / 4.0, MOST_AIR))
            break
    for k, line in enumerate(reversed(foot)):
        body.append(text(EDGE, HEIGHT - EDGE - 1.25 * SMALL * k, line, SMALL))
    wide_mm, high_mm = PAPERS[paper]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide_mm:g}mm" height="{high_mm:g}mm" '
        f'viewBox="0 0 {WIDTH} {HEIGHT}" font-family="sans-serif" fill="{INK}">\n'
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="{PAPER}"/>\n'
        + "\n".join(body)
        + "\n</svg>\n"
    )


def _drawn(
    card: Card, grown: float, tall: int, most: int, air: float = 0.0
) -> tuple[list[str], float]:
    """All parts but the foot, and where they end; ``grown``: the words, ``tall``: the pictures,
    ``most``: lines of others, ``air``: added between parts."""
    parts, y = _head(card, grown)
    more, y = _pictures(card, y + 16 + air, tall)
    parts += more
    more, y = palette(card.colours, EDGE, WIDTH - EDGE, y + 18 + air)
    parts += more
    more, y = _words(card.said, card.to_the_eye, y + 30 + air, grown)
    parts += more
    more, y = _others(card, y + 8, most, grown)
    return parts + more, y


def _foot(card: Card) -> list[str]:
    """Lines for the card's lower edge."""
    foot = "Measured from a photo; no laboratory certificate."
    if card.record is not None:
        foot += f" Method: {card.record['method']}. ΔE00 with kL = 1."
    return [line for note in (foot, *card.notes) for line in _wrapped(note, SMALL, 3)]


def _wrapped(words: str, size: float, most: int = 99) -> list[str]:
    return wrap(words, WIDTH - 2 * EDGE, size, most)


def _head(card: Card, grown: float) -> tuple[list[str], float]:
    parts, y = [], float(EDGE - 10)
    for line in _wrapped(isolated(card.name), TITLE * BOLD, 2):
        y += TITLE * 1.15
        parts.append(text(EDGE, y, line, TITLE, bold=True))
    of = [isolated(p) for p in (*card.of, *([card.form] if card.form else []))]
    size = min(grown, 1.2) * BODY
    for line in in_pieces(of, WIDTH - 2 * EDGE, size, 2):
        y += size * 1.3
        parts.append(text(EDGE, y, line, size))
    return parts, y


def _pictures(card: Card, y: float, tall: int) -> tuple[list[str], float]:
    """The photo, the map and, where there are several colours, where they lie.

    Side by side, or one over the other where the swatch is much wider than high.
    """
    if card.picture is None and card.map is None:
        return [], y
    several = card.map is not None and card.record is not None and _several(card.record, card.map)
    count = 3 if several else 2
    ratio, gap = _ratio(card), 30.0
    stacked = ratio < LONG
    most = (WIDTH - 2 * EDGE - (0 if stacked else gap * (count - 1))) / (1 if stacked else count)
    wide = min(most, (tall / count if stacked else tall) / ratio)
    high = wide * ratio
    parts, x = [], float(EDGE)
    for k in range(count):
        drawn = (_photo, _map, _where)[k](card, x, y, wide, high)
        parts += drawn
        label = LABELS[k] if k or card.picture is not None else "no picture"
        for j, line in enumerate(wrap(label, most, SMALL, 1 if stacked else 2)):
            parts.append(text(x, y + high + SMALL * 1.25 * (j + 1), line, SMALL))
        if stacked:
            y += high + SMALL * 1.25 + 12
        x += 0.0 if stacked else most + gap
    y += -12 if stacked else high + SMALL * 2.5
    if card.map is not None:
        more, y = _legend(y + 14)
        parts += more
    return parts, y


def _several(record: Mapping[str, Any], shown: EvennessMap) -> bool:
    return len(record.get("palette") or ()) > 1 and len(shown.shares) > 1


def _ratio(card: Card) -> float:
    """Height over width of the rectangle around the swatch."""
    if card.picture is not None:
        return float(card.picture.shape[0]) / float(card.picture.shape[1])
    return 0.75 if card.map is None else card.map.size_mm[1] / card.map.size_mm[0]


def _frame(x: float, y: float, wide: float, high: float) -> str:
    return (
        f'<rect x="{x:.1f}" y="{y:.1f}" width="{wide:.1f}" height="{high:.1f}" fill="none" '
        f'stroke="{PALE}" stroke-width="1.5"/>'
    )


def _photo(card: Card, x: float, y: float, wide: float, high: float) -> list[str]:
    if card.picture is None:
        return [_frame(x, y, wide, high)]
    kind, coded = picture_bytes(card.picture)
    data = base64.b64encode(coded).decode("ascii")
    parts = [
        f'<image x="{x:.1f}" y="{y:.1f}" width="{wide:.1f}" height="{high:.1f}" '
        f'preserveAspectRatio="none" href="data:{kind};base64,{data}"/>'
    ]
    if card.map is not None and card.map.size_mm[0] > 10.0:
        bar = 10.0 / card.map.size_mm[0] * wide
        left, low = x + min(14.0, (wide - bar) / 2.0), y + high - 16.0
        for colour, thick in (("#000000", 9), ("#ffffff", 4)):
            parts.append(
                f'<line x1="{left:.1f}" x2="{left + bar:.1f}" y1="{low:.1f}" y2="{low:.1f}" '
                f'stroke="{colour}" stroke-width="{thick}"/>'
            )
    return parts


def picture_bytes(pixels: Array, most: int = MOST_BYTES) -> tuple[str, bytes]:
    """A JPEG of at most ``most`` bytes of uint8 sRGB (h, w, 3), smaller where it must be."""
    import io

    from PIL import Image

    from ingest.icc_write import display_profile

    image = Image.fromarray(pixels)
    image.thumbnail((LONG_SIDE, LONG_SIDE), Image.Resampling.BOX)
    while True:
        for quality in (90, 80, 70):
            stored = io.BytesIO()
            image.save(stored, "JPEG", quality=quality, icc_profile=display_profile("srgb"))
            if stored.tell() <= most:
                return "image/jpeg", stored.getvalue()
        half = (max(image.width * 2 // 3, 1), max(image.height * 2 // 3, 1))
        image = image.resize(half, Image.Resampling.BOX)


def _map(card: Card, x: float, y: float, wide: float, high: float) -> list[str]:
    frame = _frame(x, y, wide, high)
    if card.map is None:
        said = wrap("no map: too little to go by", wide - 20, SMALL, 4)
        middle = y + high / 2.0
        return [frame] + [text(x + 10, middle + k * 28, s, SMALL) for k, s in enumerate(said)]
    shown = card.map
    across, down = wide / shown.size_mm[0], high / shown.size_mm[1]
    half = shown.step_mm / 2.0
    left, top = x + (shown.first_mm[0] - half) * across, y + (shown.first_mm[1] - half) * down
    fills = [[None if s < 0 else GREYS[s] for s in row] for row in shown.steps()]
    return [*_squares(fills, left, top, shown.step_mm * across, shown.step_mm * down), frame]


def _where(card: Card, x: float, y: float, wide: float, high: float) -> list[str]:
    assert card.map is not None
    shown = card.map
    tones = [hex_of_lab(lab) for lab in shown.colours]
    fills = [[None if k < 0 else tones[k] for k in row] for row in shown.which]
    side = (shown.square_mm * n for n in (wide / shown.size_mm[0], high / shown.size_mm[1]))
    return [*_squares(fills, x, y, *side), _frame(x, y, wide, high)]


def _squares(
    fills: Sequence[Sequence[str | None]], left: float, top: float, wide: float, high: float
) -> list[str]:
    """A grid of fills as rectangles, runs of one fill in a row as one."""
    paths: dict[str, list[str]] = {}
    for j, row in enumerate(fills):
        # Neighbours share their edges to the digit, so that no hairline shows between them.
        y0, y1 = (f"{top + k * high:.2f}" for k in (j, j + 1))
        start = 0
        for i in range(1, len(row) + 1):
            if i < len(row) and row[i] == row[start]:
                continue
            fill = row[start]
            if fill is not None:
                x0, x1 = (f"{left + k * wide:.2f}" for k in (start, i))
                paths.setdefault(fill, []).append(f"M{x0} {y0}H{x1}V{y1}H{x0}z")
            start = i
    return [
        f'<path fill="{fill}" shape-rendering="crispEdges" d="{"".join(d)}"/>'
        for fill, d in paths.items()
    ]


def _legend(y: float) -> tuple[list[str], float]:
    """The map's steps."""
    parts = []
    room = (WIDTH - 2 * EDGE - 80) / len(GREYS)
    parts.append(text(EDGE, y + 22, "ΔE00", SMALL))
    for k, (grey, words) in enumerate(zip(GREYS, STEP_WORDS, strict=True)):
        x = EDGE + 80 + k * room
        parts.append(
            f'<rect x="{x:.1f}" y="{y:.1f}" width="28" height="28" fill="{grey}" stroke="{PALE}"/>'
        )
        parts.append(text(x + 34, y + 22, words, SMALL - 3))
    return parts, y + 28


def _words(said: Said, to_the_eye: str, y: float, grown: float) -> tuple[list[str], float]:
    parts = []
    y += grown * HEAD * 0.8
    parts.append(text(EDGE, y, said.headline, grown * HEAD, bold=True))
    helped = () if said.help is None else (f"What would help: {said.help}.",)
    y += 6
    sentence = said.sentence[:1].upper() + said.sentence[1:]
    small = (said.figures, said.strands, *said.reasons, to_the_eye, *helped)
    told = [(sentence, grown * BODY), *((w, grown * SMALL) for w in small if w)]
    for words, size in told:
        for line in _wrapped(words, size, 4):
            y += size * 1.3
            parts.append(text(EDGE, y, line, size))
        y += 4
    return parts, y


def _others(card: Card, y: float, most: int, grown: float) -> tuple[list[str], float]:
    """Earlier lots and other semi-solids: a line of marks, and the sentences."""
    parts: list[str] = []
    peers = card.peers
    if peers.earlier or peers.place is not None:
        record = card.record or {}
        own = None if record["class"] is None else float(record["unevenness"])
        span = (float(record["range"][0]), float(record["range"][1]))
        parts, y = unevenness_line(peers, own, span, EDGE, WIDTH - EDGE - 30.0, y + 10)
    size = grown * SMALL
    lines = [line for said in peer_lines(card, isolated) for line in _wrapped(said, size, 3)]
    if len(lines) > most:
        lines = [*lines[: most - 1], f"… and {len(lines) - most + 1} more lines in the text."]
    for line in lines:
        y += size * 1.3
        parts.append(text(EDGE, y, line, size))
    return parts, y
