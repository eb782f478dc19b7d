"""What is looked for: a stated colour, a swatch of the archive, or a photo just measured."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from ingest.flags import FLAGS
from ingest.model import Measurement, PhotoMeasurement
from swatchvault import shades
from swatchvault.archive import StoredColour, speaks_of
from swatchvault.archive.swatches import swatch_there
from swatchvault.errors import SwatchvaultError
from swatchvault.naming import measured_swatch
from swatchvault.pair import Greys
from swatchvault.taken import Taken

#: Flags of what the program found by itself, so that a person looks whether it did so rightly.
FOUND_BY_SEARCH = ("located by search", "reference found by search")
#: Flags of a photo that is looked for which put its colour in doubt, the worst first; those that
#: only name how it was corrected are in its ±.
DOUBTFUL = (
    "picture by this program",
    *("reference far off", "steps not in order", "steps unlike a photo", "hardly any colour"),
    *("card unlike its value", "reference does not fit", "clipped beyond use"),
    "compressed beyond use",
    *("photo too dark", "channel at zero", "too dark", "values differ"),
    *("told and not found", "card clipped"),
    *("card in shadow", "card uneven", "card coloured", "tone varies in the frame"),
    *("light uneven", "clipped", "light of two colours"),
    *("out of focus", "perhaps two swatches", "perhaps background", "much left out", "glare"),
    *("not dry", "fluorescent", "perhaps fluorescent"),
    *FOUND_BY_SEARCH,
)


@dataclass(frozen=True, eq=False)
class Query:
    """What is looked for: a stated colour, a swatch with its photos, or a new measurement.

    ``spoken``: of a swatch's photos the one that speaks for it.
    """

    target: shades.Target
    photos: tuple[StoredColour, ...] = ()
    spoken: StoredColour | None = None
    measured: Measurement | None = None
    tonality: Mapping[str, Any] | None = None
    version: str | None = None  # of the method that measured it; None: a stated colour
    taken: Taken | None = None  # of a new measurement
    greys: Greys | None = None  # its photo's, as the camera gave them

    @property
    def evenness_method(self) -> str | None:
        return (self.tonality or {}).get("method")

    @property
    def u_lab(self) -> list[float] | None:
        """Standard uncertainties of its colour, NaN where unknown; ``None``: a stated colour."""
        photo = self.measured or self.spoken
        return None if photo is None else photo.covariance.standard_total()

    @property
    def swatch_id(self) -> int | None:
        return self.photos[0].swatch_id if self.photos else None


def query_of_swatch(conn: sqlite3.Connection, label: str) -> Query:
    """The query that a swatch of the archive is; the photo that speaks for it gives the colour."""
    photos = tuple(measured_swatch(conn, label))
    (spoken,) = speaks_of(conn, photos).values()
    warnings = [shades.NO_CARD_WARNING] if spoken.reference == "none" else []
    warnings += [shades.DAMP_WARNING] if spoken.damp else []
    target = shades.Target(spoken.lab, f"swatch {spoken.swatch}", tuple(warnings))
    return Query(target, photos, spoken, tonality=spoken.tonality, version=spoken.version)


def query_of_text(conn: sqlite3.Connection, what: str) -> Query:
    """What a person typed: a swatch's label, else a Lab triple or a hex colour, whose # may be
    left out.

    Raises ``NotFound`` for what is neither, and for a swatch that has no measured photo;
    ``SwatchvaultError`` where nothing is typed.
    """
    if not what.strip():
        raise SwatchvaultError(
            "nothing is typed: write L*, a*, b* as 45,20,-10, a screen's #7a4b90, or a swatch"
        )
    if swatch_there(conn, what):
        return query_of_swatch(conn, what)
    bare = re.fullmatch(r"[0-9a-fA-F]{6}", what.strip())
    target = shades.parse_target(f"#{what.strip()}" if bare else what)
    return query_of_swatch(conn, what) if target is None else Query(target)


def query_of_measurement(
    measured: Measurement, photo: PhotoMeasurement | None = None, taken: Taken | None = None
) -> Query:
    """The query that a new photo's swatch is; ``photo`` and ``taken``: its photo, and how that was
    taken, where they are known."""
    warnings = [shades.NO_CARD_WARNING] if measured.reference == "none" else []
    warnings += [FLAGS[f] for f in DOUBTFUL if f in measured.flags]
    warnings += taken.notes(photo) if taken and photo else ()
    target = shades.Target(np.asarray(measured.lab), measured.name, tuple(warnings))
    from ingest.pipeline import METHOD_VERSION

    return Query(
        target,
        measured=measured,
        tonality=measured.tonality,
        version=METHOD_VERSION,
        taken=taken,
        greys=photo.greys if photo else None,
    )


def any_light(query: Query) -> bool:
    """Whether its doubt is that of any light only because nobody told the photo's."""
    measured, taken = query.measured, query.taken
    return bool(measured and taken and taken.light is None and measured.reference != "none")
