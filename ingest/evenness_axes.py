"""How far blocks of yarn are from their mean, and which part of it light alone can make.

Differences are judged in the axes of CIEDE2000, v = (ΔL'/SL, ΔC'/SC, ΔH'/SH), from the mean to a
block. Light only scales linear light, so it moves a colour along one line: from the mean m, the
direction of v between m and 1.05 m. What leaves that line is dye.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.colour import delta_e_2000, difference_axes, xyz_to_lab
from ingest.evenness_cells import ToXyz

Floats = NDArray[np.float64]

#: How much brighter the second point of the light line is: small, so that the line is a tangent.
BRIGHTER = 1.05
#: Colours that are taken at a time.
PIECE = 4096


@dataclass(frozen=True, eq=False)
class Spread:
    """Blocks about their mean. Lengths are mean distances in ΔE00, or in v where a part.

    ``mcdm``: mean ΔE00 of blocks from their mean, as seen. ``whole``: the same without what the
    two halves of a checkerboard do not share (noise, texture). ``off``: its part off the light
    line. ``tied``: off, and the part on the line that goes with the off-line part from block to
    block, so is dye too. ``v``: (n, 3) block by block. ``line``: (3,) the light line.
    """

    mcdm: float
    whole: float
    off: float
    tied: float
    v: Floats
    line: Floats
    lab: Floats
    mean_lab: Floats


def axes(mean_lab: Floats, lab: Floats) -> Floats:
    """(..., 3) differences from the mean (3,) in units of CIEDE2000's weights."""
    rows = np.reshape(lab, (-1, 3))
    found = np.empty(rows.shape)
    for start in range(0, len(rows), PIECE):  # as much as stays near the processor
        part, _ = difference_axes(mean_lab[None], rows[start : start + PIECE])
        found[start : start + PIECE] = part.T
    return found.reshape(np.shape(lab))


def span(columns: Floats) -> Floats:
    """(n, k) orthonormal columns that span those given (n, m), k their rank: least squares by
    them of many values cost a product each."""
    found, sizes, _ = np.linalg.svd(columns, full_matrices=False)
    return np.asarray(found[:, sizes > sizes[0] * len(columns) * np.finfo(float).eps])


def light_line(mean_light: Floats, to_xyz: ToXyz) -> Floats:
    """(3,) unit direction in which light alone moves a colour."""
    pair = xyz_to_lab(to_xyz(np.stack([mean_light, BRIGHTER * mean_light])))
    step = axes(pair[0], pair[1])
    return np.asarray(step / max(float(np.linalg.norm(step)), 1e-12))


def mcdm(lab: Floats) -> float:
    """Mean colour difference from the mean of samples (n, 3) in Lab: ΔE00, kL = 1."""
    return float(delta_e_2000(lab.mean(axis=0), lab).mean())


def spread(light: Floats, halves: Floats, to_xyz: ToXyz) -> Spread:
    """The spread of blocks with light (n, 3), whose halves are (2, n, 3).

    The method is that of a regression of the on-line part on the leading off-line component n1:
    with S the covariance that both halves share and P = I - s sᵀ, the dye's variance is
    tr(PSP) + max(0, c²/λ - 2 sᵀSs/n), c = sᵀ S n1: what chance alone would tie is taken off.
    """
    mean = light.mean(axis=0)
    line = light_line(mean, to_xyz)
    labs = xyz_to_lab(to_xyz(np.concatenate([mean[None], light, halves[0], halves[1]])))
    n = len(light)
    centre, lab = labs[0], labs[1 : n + 1]
    every, rotation = difference_axes(centre[None], labs[1:])
    v, a, b = (part - part.mean(axis=0) for part in np.split(every.T, 3))
    turned = rotation[:n] * every[1, :n] * every[2, :n]
    seen = float(np.sqrt(np.maximum((every[:, :n] ** 2).sum(axis=0) + turned, 0.0)).mean())
    shared = (a.T @ b + b.T @ a) / (2.0 * n)
    total = max(float(np.trace(v.T @ v)) / n, 1e-12)
    across = np.eye(3) - np.outer(line, line)
    dye = across @ shared @ across
    values, vectors = np.linalg.eigh(dye)
    lead, n1 = float(values[-1]), vectors[:, -1]
    off = max(float(np.trace(dye)), 0.0)
    tied = off
    if lead > 0:
        on = max(float(line @ shared @ line), 0.0)
        extra = max(0.0, float(line @ shared @ n1) ** 2 / lead - 2.0 * on / n)
        tied += extra * (lead / (lead + 0.01)) ** 2
    whole = max(float(np.trace(shared)), off)
    tied = min(tied, whole)
    whole, off, tied = (seen * float(np.sqrt(part / total)) for part in (whole, off, tied))
    return Spread(seen, whole, off, tied, v, line, lab, centre)
