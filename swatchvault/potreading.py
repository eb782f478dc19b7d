"""A pot as its photos show it beside the colour wanted: how far apart, and whose doubt that is.

The distance and its ± are those of `near` and of a check, by the photos that belong together best.
The lots that a pot is reckoned from were photographed in a set-up of their own, so the doubt of the
pair is shared out between pot and target, each as it stands beside those.
"""

from __future__ import annotations

import math
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ingest.colour import Floats
from ingest.model import LabCovariance, none_if_nan
from swatchvault.additions import ReadingDoubt
from swatchvault.archive import StoredColour
from swatchvault.archive.dyed import PotAsDyed
from swatchvault.bands import metric
from swatchvault.colour_words import delta_e_words
from swatchvault.finding import apart_from, dyed_alike
from swatchvault.groups import U_UNKNOWN
from swatchvault.pair import Capture
from swatchvault.photodoubt import Apart, own_frames
from swatchvault.queries import Query
from swatchvault.shades import TOLD_APART, Target

#: Where the pot's own swatch is the colour wanted.
ITSELF = "the same swatch"


@dataclass(frozen=True, eq=False)
class PotReading:
    """A pot's swatch beside its target. ``lab``: (3,) the pot; ``target``: by the same photos.

    ``apart``: their ΔE00 with its ±; ``doubt``: of both beside the lots' photos.
    """

    swatch: str
    lab: Floats
    target: Target
    apart: Apart
    doubt: ReadingDoubt

    @property
    def told_apart(self) -> bool:
        """Whether these photos can tell the pot from its target."""
        return self.apart.delta_e > TOLD_APART * self.apart.u  # not, where that is unknown

    @property
    def words(self) -> str:
        """How far apart, in a sentence without its end."""
        if self.apart.photos == ITSELF:
            return f"{self.swatch} is the colour wanted itself"
        said = delta_e_words(self.apart.delta_e, self.apart.u)
        how = f", as a check of the two states it (photos: {self.apart.photos})"
        if self.apart.pair is None:
            how = ", ± of the photo against a stated colour"
        return f"{self.swatch} is ΔE00 {said} from {self.target.name}{how}"

    @property
    def warnings(self) -> list[str]:
        """That the photos cannot tell the two apart, with what to do; none where they can."""
        if self.told_apart or self.apart.photos == ITSELF:
            return []
        said = delta_e_words(self.apart.delta_e, self.apart.u)
        why = f"ΔE00 {said} is under twice its ±"
        if math.isnan(self.apart.u):
            why = f"how sure ΔE00 {self.apart.delta_e:.2f} is, is not known"
        return [
            f"These photos cannot tell {self.swatch} from {self.target.name}: {why}. Additions by "
            f"this reading would chase the camera and not the dye: {self._help()}."
        ]

    def _help(self) -> str:
        if self.apart.pair is None:
            return (
                "name the swatch that the colour was read from, or dye one, photograph both in one "
                "frame and say it with --to"
            )
        if self.apart.photos == Capture.SAME_FRAME.value:
            return "even in one frame no difference is seen, so leave the pot as it is"
        return "photograph both in one frame, with six or more neutral steps, and ask again"

    def record(self) -> dict[str, Any]:
        """Plain JSON data."""
        return {
            "delta_e_before": self.apart.delta_e,
            "u_before": none_if_nan(self.apart.u),
            "photos": self.apart.photos,
            "told_apart": self.told_apart,
        }


def read_pot(
    conn: sqlite3.Connection, pot: PotAsDyed, query: Query, k_l: float, setup_id: int | None
) -> PotReading:
    """A pot's swatch beside what is wanted. ``setup_id``: that most of the lots were taken in."""
    mine = pot.colour
    if query.swatch_id == mine.swatch_id:
        same = Apart(0.0, 0.0, ITSELF)
        none = np.zeros((3, 3))
        doubt = ReadingDoubt(none, none, beside_lots([mine], setup_id))
        return PotReading(mine.swatch, mine.lab, query.target, same, doubt)
    frames = own_frames(conn, query.photos)
    same_dyes = dyed_alike(conn, query, {mine.swatch_id: pot.photos})[mine.swatch_id]
    found = apart_from(query, pot.photos, mine.lab, k_l, frames, same_dyes)
    if found.pair is None:
        doubt = ReadingDoubt(beside_lots([mine], setup_id))
        return PotReading(mine.swatch, mine.lab, query.target, found, doubt)
    theirs, ours = found.pair.sides
    own = beside_lots(found.pair.photos[1], setup_id)
    wanted = _doubt_of(query, found.pair.photos[0], setup_id)
    target = Target(theirs.lab, query.target.name, query.target.warnings)
    middle = metric((ours.lab + theirs.lab) / 2.0)
    doubt = shared_out(own, wanted, found.pair.covariance, middle)
    return PotReading(mine.swatch, ours.lab, target, found, doubt)


def doubt_of_target(query: Query, setup_id: int | None) -> Floats:
    """(3, 3) of the colour wanted beside the photos of lots that were taken in ``setup_id``.

    Of a stated colour none; of a photo without a reference what such a one is worth.
    """
    spoken = () if query.spoken is None else (query.spoken,)
    found = _doubt_of(query, spoken, setup_id)
    return found if np.isfinite(found).all() else _unknown(metric(query.target.lab))


def shared_out(own: Floats, wanted: Floats, pair: Floats, middle: Floats) -> ReadingDoubt:
    """What of a pair's doubt is the pot's, what the target's, and what both are wrong by alike.

    ``own``, ``wanted``: (3, 3) each beside the lots' photos; ``pair``: (3, 3) of their difference,
    NaN where unknown; ``middle``: metric at the pair. The two are scaled alike until they make the
    pair's; where they are less sure than the pair is, the rest is wrong alike in both and cancels.
    """
    if not np.isfinite(pair).all() or not np.isfinite(wanted).all():
        return ReadingDoubt(own, _unknown(middle))
    both = own + wanted
    factor = float(np.trace(middle @ pair) / np.trace(middle @ both))
    return ReadingDoubt(factor * own, factor * wanted, max(0.0, 1.0 - factor) / 2.0 * both)


def beside_lots(photos: Sequence[StoredColour], setup_id: int | None) -> Floats:
    """(3, 3) of the mean of these photos beside photos that were taken in ``setup_id``."""
    return np.asarray(
        np.mean([_beside(c.covariance, c.setup_id, setup_id, len(photos)) for c in photos], axis=0)
    )


def _beside(
    parts: LabCovariance, taken_in: int | None, setup_id: int | None, photos: int = 1
) -> Floats:
    fresh = (parts.region + parts.frame) / photos
    elsewhere = taken_in is None or taken_in != setup_id
    return np.asarray(fresh + parts.setup if elsewhere else fresh)


def _doubt_of(query: Query, photos: Sequence[StoredColour], setup_id: int | None) -> Floats:
    if photos:
        return beside_lots(photos, setup_id)
    if query.measured is None:
        return np.zeros((3, 3))
    taken_in = query.taken.setup_id if query.taken else None
    return _beside(query.measured.covariance, taken_in, setup_id)


def _unknown(middle: Floats) -> Floats:
    """(3, 3) of a colour of which nothing is known but that a camera saw it."""
    return np.asarray(U_UNKNOWN**2 * np.linalg.inv(middle))
