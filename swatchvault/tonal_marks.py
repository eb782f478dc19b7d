"""Unevenness of a swatch, of earlier lots and of other semi-solids, as marks on one line of SVG."""

from __future__ import annotations

from swatchvault.svg_text import text, wrap
from swatchvault.tonal_peers import Peers

INK, PALE, PAPER, SIZE = "#222222", "#767676", "#ffffff", 20.0


def unevenness_line(
    peers: Peers,
    own: float | None,
    span: tuple[float, float],
    left: float,
    right: float,
    top: float,
) -> tuple[list[str], float]:
    """The marks and where they end; ``own`` with its range ``span``, in ΔE00; None where its range
    alone may be shown."""
    read = [p.evenness for p, _ in peers.earlier]
    earlier = [e.unevenness for e in read if not e.span_alone]
    spans = [e.span for e in read if e.span_alone and e.span is not None]
    others = [p.evenness.unevenness for p in peers.others]
    far = max(1.05 * max(span[1], own or 0.0, *earlier, *others, *(s[1] for s in spans)), 1.0)
    line = top + 34

    def at(value: float) -> float:
        return left + (right - left) * value / far

    parts = [_line(left, line, right, line, PALE, 2)]
    step = next(s for s in (0.25, 0.5, 1.0, 2.0, 5.0, 10.0, far) if far / s <= 8)
    for k in range(int(far / step) + 1):
        parts.append(_line(at(k * step), line, at(k * step), line + 8, PALE, 2))
        parts.append(text(at(k * step), line + 30, f"{k * step:g}", SIZE, anchor="middle"))
    parts += [_bar(at(low), at(high), line) for low, high in spans]
    parts += [_line(at(v), line - 9, at(v), line + 9, PALE, 3) for v in others]
    parts += [_dot(at(v), line, PAPER) for v in earlier]
    parts += [_line(at(span[0]), line - 18, at(span[1]), line - 18, INK, 4)]
    parts += [] if own is None else [_dot(at(own), line - 18, INK)]
    key = "unevenness: " + ("▬ range of this one" if own is None else "● this one with its range")
    key += ", ○ earlier lots" if earlier else ""
    key += ", ▭ ranges of earlier lots" if spans else ""
    key += ", | other semi-solids" if others else ""
    end = line + 60
    for k, words in enumerate(wrap(key, right - left, SIZE + 2)):
        end = line + 60 + 1.25 * (SIZE + 2) * k
        parts.append(text(left, end, words, SIZE + 2))
    return parts, end


def _line(x1: float, y1: float, x2: float, y2: float, ink: str, thick: float) -> str:
    return (
        f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{ink}" '
        f'stroke-width="{thick:g}"/>'
    )


def _bar(low: float, high: float, y: float) -> str:
    return (
        f'<rect x="{low:.1f}" y="{y - 5:.1f}" width="{max(high - low, 1.0):.1f}" height="10" '
        f'fill="{PAPER}" stroke="{INK}" stroke-width="3"/>'
    )


def _dot(x: float, y: float, fill: str) -> str:
    return (
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="8" fill="{fill}" stroke="{INK}" stroke-width="3"/>'
    )
