"""Core and halo on renders: ``python -m tests.tonality rims --to FOLDER``.

Each yarn is solid, rendered twice by the same seed: its rims ΔE00 3 deeper or paler than its
crests, and alike. The tables say how often the sign is told, and rightly; how often one is told
where there is none; and how far the difference moves unevenness.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from ingest.colour import delta_e_2000
from ingest.evenness_corehalo import NO_DIFFERENCE
from ingest.tonality import Tonality
from tests.render.dye import Dyeing
from tests.tonality.draws import Case, draw
from tests.tonality.figures import measured
from tests.tonality.photos import crest_and_rim
from tests.tonality.sets import seen

#: First seed, apart from those of the other sets, and the difference asked for, ΔE00.
FIRST_SEED, APART = 8_700_000, 3.0
#: Deepest rim that is tried, ln depth over its crest.
DEEPEST = 1.2


@dataclass(frozen=True, eq=False)
class Pair:
    """One yarn with and without a difference. ``core_halo``: ln depth of rims over crests."""

    case: Case
    core_halo: float
    differing: Tonality
    alike: Tonality


def apart(dyeing: Dyeing, core_halo: float) -> float:
    """ΔE00 between a crest and a rim."""
    return float(delta_e_2000(*crest_and_rim(dyeing, core_halo)))


def core_halo_for(dyeing: Dyeing, sign: int) -> float | None:
    """ln depth of rims over crests that makes the difference; None where none does."""
    low, high = 0.0, DEEPEST
    if apart(dyeing, sign * high) < APART:
        return None
    while high - low > 1e-4:
        middle = 0.5 * (low + high)
        low, high = (low, middle) if apart(dyeing, sign * middle) >= APART else (middle, high)
    return sign * high


def pairs(folder: Path, count: int, hard: bool) -> Iterator[Pair]:
    """The first yarns of a kind of light, deeper and paler rims in turn."""
    for k in range(count):
        case = draw(FIRST_SEED + 2 * k + int(hard), hard, "solid")
        plain = replace(case, dyeing=replace(case.dyeing, core_halo=0.0))
        value = core_halo_for(plain.dyeing, 1 if k % 2 else -1)
        if value is None:
            continue
        other = replace(case, dyeing=replace(case.dyeing, core_halo=value))
        found = [
            measured(c, seen(c, folder / name)).found
            for c, name in ((other, "differing"), (plain, "alike"))
        ]
        yield Pair(case, value, *found)


def told(found: Tonality) -> int:
    """1 for a deeper rim, -1 for a paler one, 0 where nothing is told."""
    record = found.extra.get("core_halo")
    return 0 if record is None else (1 if record["rim"] == "deeper" else -1)


def unread(found: Tonality) -> str | None:
    """Why rims could not be read, None where they were."""
    if found.name != "solid":
        return f"called {found.name or 'cannot tell'}"
    why = found.extra["core_halo_unseen"]
    return None if why == NO_DIFFERENCE else str(why) if why else None


def tables(rows: list[Pair]) -> str:
    signs = np.array([told(r.differing) for r in rows])
    right = signs == np.sign([r.core_halo for r in rows])
    found = signs != 0
    reasons = Counter(unread(r.differing) for r in rows)
    read = np.array([unread(r.differing) is None for r in rows])
    alike_read = np.array([unread(r.alike) is None for r in rows])
    sizes = [r.differing.extra["core_halo"] for r in rows if told(r.differing)]
    held = [abs(s["delta_e"] - APART) <= 2.0 * s["u"] for s in sizes]
    false = np.array([told(r.alike) != 0 for r in rows])
    moved = np.array([r.differing.unevenness - r.alike.unevenness for r in rows])
    doubt = np.array([r.alike.u_unevenness for r in rows])
    same = np.mean([r.differing.name == r.alike.name for r in rows])
    because = ", ".join(f"{w} {n / len(rows):.0%}" for w, n in reasons.most_common() if w)
    return "\n".join(
        [
            f"rims could be read in {read.mean():.0%} (n {len(rows)}); not in the rest: {because}",
            f"of those read: found with the right sign {right[read].mean():.1%}, with the wrong "
            f"one {(found & ~right)[read].mean():.1%}, nothing told {(~found)[read].mean():.1%}",
            f"of all: told {found.mean():.0%}, of those with the right sign "
            f"{right[found].mean():.1%}",
            f"told where rims and crests are alike {false.mean():.1%}, of those read "
            f"{false[alike_read].mean():.1%}",
            f"size: median ΔE00 {np.median([s['delta_e'] for s in sizes]):.1f}, twice its doubt "
            f"holds the truth {np.mean(held):.0%}",
            f"unevenness moved by at most its doubt {np.mean(np.abs(moved) <= doubt):.1%}, in the "
            f"mean by {moved.mean():+.3f}; class unchanged {same:.1%}",
        ]
    )
