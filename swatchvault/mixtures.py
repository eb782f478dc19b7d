"""What the lots of a base have seen: depths and mixtures, and why a recipe lies outside them.

Depths are % DOS: ``depths`` (n, dyes) of the lots and undyed swatches, ``row`` (dyes,) of a
recipe, both in the order of ``dyes``. A reason is one sentence, ``None`` where there is none.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ingest.colour import Floats

#: How far beyond the deepest seen a depth may be asked for, as a factor; our choice.
REACH = 1.1
#: Share of the least that ever went with a dye below which what went with it counts as left out:
#: the two are then told apart by belief alone. Our choice; the report of simulated kitchens says
#: by how much refused recipes would have been missed.
PARTNER_LEFT = 1 / 3
#: What went with a dye at no more than this share of its amount may be left out; our choice.
SLIGHT = 0.1


def too_deep_or_pale(dyes: Sequence[str], depths: Floats, row: Floats) -> str | None:
    """Why a recipe is deeper or paler than any lot, in a sentence; ``None`` where it is not.

    ``depths``: (lots, n_dyes) and ``row``: (n_dyes,), in % DOS.
    """
    for dye, depth, deepest in zip(dyes, row.tolist(), depths.max(axis=0), strict=True):
        if depth > REACH * deepest:
            return (
                f"{depth:.3g} % of {dye} is deeper than any lot this is reckoned from "
                f"({deepest:.3g} %): dye a trial at that depth."
            )
    totals = depths.sum(axis=1)
    total, most = float(row.sum()), float(totals.max())
    if total * REACH < totals.min():  # an undyed swatch is a total of 0
        return (
            f"{total:.3g} % of dye in all is paler than any lot on this base "
            f"({totals.min():.3g} %), and no undyed swatch of it was measured: measure one."
        )
    if total > REACH * most:
        return (
            f"{total:.3g} % of dye in all is more than any lot on this base ({most:.3g} %): "
            "dye a trial at that depth."
        )
    return None


def unmixed(dyes: Sequence[str], depths: Floats, row: Floats) -> str | None:
    """Why a recipe is no mixture that the lots have seen, in a sentence; ``None`` where it is one.

    ``depths`` and ``row`` as for :func:`too_deep_or_pale`.
    """
    held = depths > 0
    most, at = int(held.sum(axis=1).max()), np.flatnonzero(row).tolist()
    if len(at) > most:
        return (
            f"{len(at)} dyes in one pot are more than any lot on this base has held "
            f"({most}): dye a trial."
        )
    for k, i in enumerate(at):
        for j in at[:k]:
            if not (held[:, i] & held[:, j]).any():
                return (
                    f"{dyes[j]} and {dyes[i]} were never in one pot on this base: "
                    "dye a trial of the two."
                )
    for i in at:
        why = _without_its_partner(dyes, depths, row, i) or _purer_than_seen(dyes, depths, row, i)
        if why:
            return why
    return None


def _without_its_partner(dyes: Sequence[str], depths: Floats, row: Floats, i: int) -> str | None:
    """Why dye ``i`` is not known apart from one that every lot with it held too."""
    with_it = depths[depths[:, i] > 0]
    least = (with_it / with_it[:, [i]]).min(axis=0)
    left_out = np.flatnonzero((least > SLIGHT) & (row < PARTNER_LEFT * least * row[i]))
    if not left_out.size:
        return None
    j = int(left_out[0])
    return (
        f"{dyes[i]} was never in a pot on this base without at least {least[j]:.2g} times as much "
        f"{dyes[j]}, so the lots do not show what it gives with less: dye a trial."
    )


def _purer_than_seen(dyes: Sequence[str], depths: Floats, row: Floats, i: int) -> str | None:
    """Why dye ``i`` is not known with so little beside it, whatever that is."""
    with_it = depths[depths[:, i] > 0]
    purest = float((with_it[:, i] / with_it.sum(axis=1)).max())
    beside, least = float(row.sum() / row[i]) - 1, 1 / purest - 1
    if least <= SLIGHT or beside >= PARTNER_LEFT * least:
        return None
    return (
        f"{dyes[i]} was never more than {100 * purest:.0f} % of the dye in a pot on this base, so "
        f"the lots do not show what it gives at {100 / (1 + beside):.0f} %: dye a trial."
    )
