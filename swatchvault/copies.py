"""Photos that show one shot: copies saved again or smaller, told by their pictures. Arrays only."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from swatchvault.words import listed

View = NDArray[np.float32]

#: Side of the grid that pictures are held to each other on, whatever their size, and blurs in its
#: pixels between which detail lies: coarser than a JPEG's blocks, finer than uneven light. Our
#: choice.
SIDE, FINEST, COARSEST = 256, 1.0, 6.0
#: Share of that detail by which two pictures differ up to which they are one shot. Rendered photos,
#: 1200 to 1600 px: copies saved at JPEG quality 60 to 95 and at half to full size differ by 0.03 at
#: most, those of outside photos at quality 50 and a fifth to full size by 0.08; 180 pairs set up
#: anew (pieces laid down within 2 mm of their place, light 8 degrees about) by 0.31 and more. A
#: camera moved by a 500th of the picture's width makes 0.13 to 0.22.
ONE_SHOT = 0.2
#: Names that are told of a group of copies; the rest are counted. Our choice.
_TOLD = 3


def view_of(picture: NDArray[np.uint8]) -> View | None:
    """(SIDE²,) the detail of a picture (h, w, 3), of length one; ``None`` where it shows none."""
    import cv2

    grid = cv2.resize(np.asarray(picture), (SIDE, SIDE), interpolation=cv2.INTER_AREA)
    grey = grid.mean(axis=2, dtype=np.float32)
    detail = cv2.GaussianBlur(grey, (0, 0), FINEST) - cv2.GaussianBlur(grey, (0, 0), COARSEST)
    length = float(np.linalg.norm(detail))
    # Under half a code on average nothing but rounding is seen.
    return np.asarray(detail.ravel() / length, np.float32) if length > 0.5 * SIDE else None


def unlike(views: Sequence[View | None]) -> NDArray[np.float64]:
    """(n, n) share of the detail by which each two views differ, 0 to 1, however exposed; 1 where
    one is unknown."""
    known = np.array([v is not None for v in views], dtype=bool)
    grid = np.stack([np.zeros(SIDE**2, np.float32) if v is None else v for v in views])
    alike = np.clip((grid @ grid.T).astype(float), 0.0, 1.0)
    return np.where(known[:, None] & known, np.sqrt(1.0 - alike**2), 1.0)


def of_one_shot(views: Sequence[View | None], times: Sequence[str | None]) -> list[tuple[int, ...]]:
    """Which photos are of one shot: their numbers, a photo of its own alone. Of one picture, or
    taken in one second; what both are with a third, they are with each other."""
    apart = unlike(views)
    group = list(range(len(views)))
    for one, other in combinations(range(len(views)), 2):
        at_once = times[one] is not None and times[one] == times[other]
        if group[one] != group[other] and (at_once or apart[one, other] < ONE_SHOT):
            former = group[other]
            group = [group[one] if g == former else g for g in group]
    return [tuple(i for i, g in enumerate(group) if g == each) for each in dict.fromkeys(group)]


def why_one(names: Sequence[str], times: Sequence[str | None]) -> str:
    """Why photos are of one shot, as a phrase: their names and times."""
    told = listed(names, _TOLD)
    if times[0] is not None and len(set(times)) == 1:
        return f"{told} were taken in the same second ({times[0]})"
    return f"{told} are one picture, in which nothing moved"
