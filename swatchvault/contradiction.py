"""Photos of one swatch that contradict each other: their mean would be of no yarn there is.

Pure: measurements come in as :class:`StoredColour`, a sentence goes out.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from swatchvault.archive.colours import StoredColour
from swatchvault.difference import delta_e_2000
from swatchvault.pair import Capture, Colour, Conditions, mean_of_photos
from swatchvault.pairdoubt import pair_doubt

#: How many times their stated standard uncertainty two photos must be apart. Our choice: 95 %.
BEYOND = 1.96
_ADVICE = (
    "one may show another lot: look at them, let the wrong one count nowhere "
    "(`swatchvault aside`), or photograph it again."
)

#: A photo's name, and what it shows.
_Seen = list[tuple[str, Colour]]


def contradiction(
    ours: Sequence[tuple[StoredColour, Colour]],
    theirs: Sequence[tuple[StoredColour, Colour]],
    conditions: Conditions,
) -> str:
    """A sentence where photos that are to be averaged contradict each other; "" where none do.

    ``ours``, ``theirs``: the photos of the master and of the lot, each with its colour. Photos
    that show both may be off by what they like, but both swatches by the same.
    """
    if conditions.capture is Capture.SAME_FRAME:
        what = "The two are not apart by the same in all photos"
        return _said(_differences(ours, theirs), conditions, what)
    for side in (ours, theirs):
        said = _said(_by_photo(side), conditions, f"The photos of {side[0][0].swatch} do not agree")
        if said:
            return said
    return ""


def _by_photo(side: Sequence[tuple[StoredColour, Colour]]) -> _Seen:
    """What each photo shows, as the mean of the places in it."""
    photos: dict[str, list[tuple[StoredColour, Colour]]] = {}
    for stored, colour in side:
        photos.setdefault(stored.photo_sha256, []).append((stored, colour))
    return [
        (places[0][0].photo or sha256[:12], mean_of_photos([colour for _, colour in places]))
        for sha256, places in photos.items()
    ]


def _differences(
    ours: Sequence[tuple[StoredColour, Colour]], theirs: Sequence[tuple[StoredColour, Colour]]
) -> _Seen:
    """The lot's colour by each photo as it would be if the master were as on average."""
    masters, lots = _by_photo(ours), _by_photo(theirs)
    middle = np.mean([colour.lab for _, colour in masters], axis=0)
    by_photo = {min(colour.photo_ids): colour for _, colour in masters}
    found = []
    for name, lot in lots:
        master = by_photo[min(lot.photo_ids)]
        cov = master.region_cov + lot.region_cov
        found.append((name, replace(lot, lab=middle + lot.lab - master.lab, region_cov=cov)))
    return found


def _said(seen: _Seen, conditions: Conditions, what: str) -> str:
    if len(seen) < 2:
        return ""
    labs = np.array([colour.lab for _, colour in seen])
    mean = np.broadcast_to(labs.mean(axis=0), labs.shape)
    if (delta_e_2000(mean, labs, conditions.k_l) <= conditions.tolerance).all():
        return ""
    alike = replace(conditions, same_dyes=True)
    first, second, apart = max(
        (
            (one, other, float(delta_e_2000(one[1].lab, other[1].lab, conditions.k_l)))
            for one, other in itertools.combinations(seen, 2)
        ),
        key=lambda pair: pair[2],
    )
    u = pair_doubt(first[1], second[1], alike).u_stated(apart)
    if not apart > BEYOND * u:
        return ""
    return f"{what} ({first[0]} and {second[0]}: ΔE00 {apart:.1f} ± {u:.1f}): {_ADVICE}"
