"""Pairs that a check gives no verdict on, or never calls within, of many swatches at once."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ingest.model import FLAGS_THAT_STOP_A_VERDICT
from swatchvault.compare import BLURRED, verdict_stopped
from swatchvault.difference import (
    DARK_L,
    STOPPING_APART,
    STOPPING_ONE,
    STOPPING_TOGETHER,
    barring,
)
from swatchvault.pair import Capture, Colour
from swatchvault.words import listed

#: The flags that have a part in it, so that swatches that differ in others alone are of one kind.
HAVE_A_PART = (
    FLAGS_THAT_STOP_A_VERDICT
    | STOPPING_APART
    | STOPPING_TOGETHER
    | {STOPPING_ONE, BLURRED, "fluorescent", "not dry"}
)
#: What is said of a swatch that no check calls within.
NEVER_WITHIN = (
    f"So dark (L* under {DARK_L:.0f}), or with a colour channel at zero, that no check calls it "
    "within."
)


@dataclass(frozen=True, eq=False)
class Unjudged:
    """``stopped``: (n, n), no verdict; ``barred``: (n, n), never within. ``because``: sentences of
    a stopped pair, for either side. ``never``: (n,) whose pairs are barred."""

    stopped: NDArray[np.bool_]
    never: NDArray[np.bool_]
    because: Callable[[int, int], tuple[set[str], set[str]]]

    @property
    def barred(self) -> NDArray[np.bool_]:
        return np.asarray(self.never[:, None] | self.never)

    def words(self, pairs: Sequence[tuple[int, int]], names: Sequence[str]) -> tuple[str, ...]:
        """What keeps verdicts on these pairs away, each sentence with the swatches it is of."""
        said: dict[str, dict[str, None]] = {}
        for i, j in pairs:
            for row, sentences in zip((i, j), self.because(i, j), strict=True):
                for sentence in (*sorted(sentences), *([NEVER_WITHIN] if self.never[row] else [])):
                    said.setdefault(sentence, {})[names[row]] = None
        return tuple(f"{listed(list(of))}: {sentence}" for sentence, of in said.items())


def pairs_unjudged(sides: Sequence[Colour], captures: NDArray[np.intp]) -> Unjudged:
    """What a check of each pair would not say, whatever its two colours are.

    ``captures``: (n, n) place in :class:`Capture` of each pair.
    """
    shown = sorted(set().union(*(side.photo_ids for side in sides)))
    holds = np.array([[p in side.photo_ids for p in shown] for side in sides], dtype=float)
    same_frame = captures == list(Capture).index(Capture.SAME_FRAME)
    place = np.where(same_frame, 0, np.where(holds @ holds.T > 0, 1, 2))
    keys = [(side.flags & HAVE_A_PART, side.reference, side.column) for side in sides]
    known = dict(zip(keys, sides, strict=True))
    because = {
        (a, b, at): _stopped(known[a], known[b], at)
        for a in known
        for b in known
        for at in range(3)
    }
    stops = np.array([[[any(because[a, b, at]) for at in range(3)] for b in known] for a in known])
    kind = np.array([list(known).index(key) for key in keys])
    return Unjudged(
        stops[kind[:, None], kind, place],
        np.array([barring(side) for side in sides]),
        lambda i, j: because[keys[i], keys[j], int(place[i, j])],
    )


def _stopped(one: Colour, other: Colour, at: int) -> tuple[set[str], set[str]]:
    """Sentences of two in one photo (0), of which some photos are the same (1), or none (2)."""
    ours = replace(one, photo_ids=frozenset("a"))
    theirs = replace(other, photo_ids=frozenset("b" if at == 2 else "a"))
    return verdict_stopped(ours, theirs, Capture.SAME_FRAME if at == 0 else Capture.OTHER)
