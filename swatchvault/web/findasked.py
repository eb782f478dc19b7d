"""What a search asks for, read from the address: a colour, a swatch or a photo, and its limits."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from swatchvault.web.typed import number, whole
from swatchvault.web.visit import RefusedError

if TYPE_CHECKING:
    from ingest.model import PhotoMeasurement
    from swatchvault.archive.made import Filters
    from swatchvault.queries import Query
    from swatchvault.taken import Taken

#: The colour that the picker stands at before anything was picked: a middling one.
FIRST = ("55", "25", "30")
MOST_HITS = 200

_LIMITS = ("base", "fibre", "form", "dye", "since", "until", "tonality")
_NAMES = (
    *("by", "what", "swatch", "photo", "region", "l", "c", "h", "rank", "other"),
    *(*_LIMITS, "dry"),
    *("n", "k_l", "tolerance"),
)


@dataclass(frozen=True)
class Asked:
    """A search as typed: text by its field's name."""

    said: dict[str, str]

    def __getitem__(self, name: str) -> str:
        return self.said.get(name, "")

    @property
    def by(self) -> str:
        """colour, typed, swatch or photo; blank where nothing is asked yet."""
        by = self["by"]
        if by in ("colour", "typed") or (by in ("swatch", "photo") and self[by]):
            return by
        known = (("typed", "what"), ("swatch", "swatch"), ("photo", "photo"), ("colour", "l"))
        return next((by for by, name in known if self[name]), "")

    @property
    def target(self) -> dict[str, str]:
        """The colour alone, without limits, as fields of an address."""
        names = {"typed": ("what",), "swatch": ("swatch",), "photo": ("photo", "region")}
        told = names.get(self.by, ("l", "c", "h") if self.by else ())
        return {"by": self.by, **{n: self[n] for n in told if self[n]}} if told else {}

    @property
    def lch(self) -> tuple[float, float, float]:
        """L*, C*ab, hab of the picker. Raises ``RefusedError``."""
        texts = [self[n] or first for n, first in zip("lch", FIRST, strict=True)]
        names = ("L*", "C*", "h")
        lightness, chroma, hue = (number(t, n) for t, n in zip(texts, names, strict=True))
        if not 0.0 <= lightness <= 100.0 or not 0.0 <= chroma <= 300.0:
            raise RefusedError("L* lies between 0 and 100, and C* is 0 or more")
        return lightness, chroma, hue % 360.0

    @property
    def count(self) -> int:
        """How many hits to show."""
        return max(1, min(MOST_HITS, whole(self["n"], "how many"))) if self["n"] else 10

    def above_zero(self, name: str, what: str) -> float:
        """kL or a tolerance; 2 where it is not typed."""
        value = number(self[name], what) if self[name] else 2.0
        if value <= 0:
            raise RefusedError(f"{what} is {self[name]}, and must be above 0")
        return value

    @property
    def narrowed(self) -> bool:
        """Whether anything is asked of a swatch, also what cannot be."""
        return any(self[n] for n in (*_LIMITS, "dry"))

    def filters(self) -> Filters:
        """What a swatch must be. Raises ``ArchiveError`` for a date that is none."""
        from swatchvault.archive.made import Filters

        dry = {"yes": True, "no": False}.get(self["dry"])
        return Filters(**{n: self[n] or None for n in _LIMITS}, dry=dry)


def read_asked(value: Callable[[str], str]) -> Asked:
    """The search that an address asks for."""
    return Asked({n: v for n in _NAMES if (v := value(n).strip())})


def query_of(
    conn: sqlite3.Connection, asked: Asked, photos: dict[str, tuple[PhotoMeasurement, Taken]]
) -> tuple[Query, str]:
    """The query, and a sentence where the colour asked for was not taken as it was."""
    from swatchvault import queries
    from swatchvault.archive.pages_find import swatch_label

    if asked.by == "swatch":
        label = swatch_label(conn, whole(asked["swatch"], "the swatch"))
        return queries.query_of_swatch(conn, label), ""
    if asked.by == "photo":
        return _of_photo(asked, photos), ""
    if asked.by == "typed":
        return queries.query_of_text(conn, asked["what"]), ""
    return _of_colour(asked)


def _of_colour(asked: Asked) -> tuple[Query, str]:
    import numpy as np

    from swatchvault import queries, shades
    from swatchvault.picker import chroma_limit, lab_of_lch

    lightness, chroma, hue = asked.lch
    most = chroma_limit(lightness, hue)
    words = ""
    if chroma > most + 0.5:
        words = (
            f"No surface that only reflects has C* {chroma:.0f} at L* {lightness:.0f} and this "
            f"hue: {most:.0f} is the most, and is what was looked for."
        )
    lab = lab_of_lch(lightness, min(chroma, most), hue)
    name = f"L* {lab[0]:.1f} a* {lab[1]:.1f} b* {lab[2]:.1f}"
    return queries.Query(shades.Target(np.array(lab), name)), words


def _of_photo(asked: Asked, photos: dict[str, Any]) -> Query:
    from swatchvault import queries

    if asked["photo"] not in photos:
        raise RefusedError("this photo is not kept any more: send it again")
    photo, taken = photos[asked["photo"]]
    names = [s.name for s in photo.swatches]
    if asked["region"] and asked["region"] not in names:
        raise RefusedError(f"the photo has no region of that name: it has {', '.join(names)}")
    if not asked["region"] and len(names) > 1:
        raise RefusedError(f"the photo shows {', '.join(names)}: choose which one to look for")
    found = photo.swatches[names.index(asked["region"]) if asked["region"] else 0]
    return queries.query_of_measurement(found, photo, taken)
