"""Whether part of a region has no strands: table between two skeins, a strip of paper, a label."""

from __future__ import annotations

import numpy as np

from ingest.evenness_cells import Cells, local_mean
from ingest.evenness_colours import Palette
from ingest.model import Array

#: Side in cells (mm) of the neighbourhood in which strands are light and dark.
NEAR_MM = 1.5
#: Light and dark of a field over those of all the rest, and themselves (standard deviation of
#: ln Y), under both of which it has no strands. The first alone took three of 512 rendered yarns
#: for table: where colours change from strand to strand, the rest looks rougher than strands are.
#: Their fields lie at 0.12 and more, and no yarn is under both. Half of the strips of rendered
#: paper lie under 0.02, of cloth under 0.04, of grained wood under 0.055.
SMOOTH, PLAIN = 0.3, 0.08
#: Standard deviation of ln Y in the rest under which there are no strands to miss.
LEAST_STRANDS = 0.05
#: Share of the region that a field must fill, in one piece, and cells that must be left of it
#: and of the rest without those at the border.
LEAST_SHARE, LEAST_CELLS = 0.03, 20
#: A strip of paper: ln Y over the middle of the yarn's, standard deviation of ln Y in 3 x 3 cells,
#: width and length in mm. Of 93 renders that the rule was fitted on none has over 4.3 mm of it.
PAPER_OVER, PAPER_PLAIN, PAPER_WIDE_MM, PAPER_LONG_MM = 0.5, 0.03, 0.6, 8.0
#: Share of all cells that are so bright and plain that strips must hold. Pale colours of painted
#: yarn by the second renderer, which are as plain, lie in many places: 0.30 at most in the 8 of 56
#: that have strips at all. Strips of paper 1.5 and 2.5 mm wide laid across 333 yarns by three
#: renderers hold 0.45 and more in all solids and semi-solids. And share of the yarn that they hold
#: at most: pale rows of painted yarn on a card held 0.22; paper of 6 mm and more, about 0.12 of a
#: region, is a field without strands (:func:`smooth_field`).
PAPER_ALONE, PAPER_MOST = 0.4, 0.15


def smooth_field(palette: Palette, log_y: Array) -> bool:
    """Whether a colour of 1 mm cells (h, w) fills a field without strands, others having them.

    ``log_y``: ln Y of the finer cells that those were summed from.
    """
    import cv2

    label = palette.label
    h, w = label.shape
    if len(palette.share) < 2 or min(h, w) < 3:
        return False
    factor = min(log_y.shape[0] // h, log_y.shape[1] // w)
    about = log_y - local_mean(log_y, np.ones_like(log_y), max(round(NEAR_MM * factor), 3))
    square = np.ascontiguousarray((about * about)[: h * factor, : w * factor])
    fine = cv2.resize(square, (w, h), interpolation=cv2.INTER_AREA)
    around = np.ones((3, 3), np.uint8)
    for colour in range(len(palette.share)):
        own = (label == colour).astype(np.uint8)
        _, pieces, stats, _ = cv2.connectedComponentsWithStats(
            cv2.morphologyEx(own, cv2.MORPH_OPEN, around)
        )
        areas = stats[1:, cv2.CC_STAT_AREA]
        if areas.max(initial=0) < LEAST_SHARE * label.size:
            continue
        largest = (pieces == 1 + int(np.argmax(areas))).astype(np.uint8)
        inside = fine[cv2.erode(largest, around) > 0]
        rest = fine[(label >= 0) & (cv2.dilate(own, around) == 0)]
        if min(inside.size, rest.size) < LEAST_CELLS:
            continue
        strands = float(np.sqrt(np.median(rest)))
        own_sd = float(np.sqrt(np.median(inside)))
        if strands > LEAST_STRANDS and own_sd < min(SMOOTH * strands, PLAIN):
            return True
    return False


def paper_strip(cells: Cells, log_y: Array) -> bool:
    """Whether a bright strip without strands, wider than a crest, runs through yarn.

    ``log_y``: (h, w) ln Y of the cells.
    """
    import cv2

    yarn = cells.weight > 0
    mean = cv2.blur(log_y, (3, 3))
    square = np.maximum(cv2.blur(log_y * log_y, (3, 3)) - mean * mean, 0.0)
    inside = cv2.erode(yarn.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    plain = inside & (square < PAPER_PLAIN**2)
    brightest = float(log_y[plain].max(initial=-np.inf)) - PAPER_OVER
    if 2 * np.count_nonzero((log_y < brightest) & yarn) < np.count_nonzero(yarn):
        return False  # not even that one is over the middle: a median costs far more
    bright = log_y > float(np.median(log_y[yarn])) + PAPER_OVER
    side = np.ones((max(round(PAPER_WIDE_MM / cells.mm), 2),) * 2, np.uint8)
    wide = cv2.morphologyEx((plain & bright).astype(np.uint8), cv2.MORPH_OPEN, side)
    stats = cv2.connectedComponentsWithStats(wide)[2][1:]
    spans = np.hypot(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT]) * cells.mm
    in_strips = int(stats[spans >= PAPER_LONG_MM, cv2.CC_STAT_AREA].sum())
    alone = in_strips > PAPER_ALONE * np.count_nonzero(plain & bright)
    return bool(alone and in_strips < PAPER_MOST * np.count_nonzero(yarn))
