"""A set-up's light and lock that were typed wrong, put right; and what hangs on them."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

from swatchvault.archive.lookup import get_setup
from swatchvault.archive.mend import NotSureError
from swatchvault.archive.mend_reference import photos_words
from swatchvault.archive.names import NAMES_SHOWN, find
from swatchvault.archive.rows import transaction
from swatchvault.archive.values import yes_no
from swatchvault.errors import ArchiveError
from swatchvault.kinds import LIGHTS

# A photo that says what its set-up says took it from there, or agreed; a photo's own light stays.
_FOLLOWS = "(photo.light IS NULL OR photo.light IS :light)"

_PHOTOS = f"""SELECT photo.sha256, COALESCE(photo.original_name, photo.sha256) FROM photo
WHERE photo.setup_id = :setup AND {_FOLLOWS}
AND EXISTS (SELECT 1 FROM filed_measurement AS m WHERE m.photo_id = photo.id)
ORDER BY photo.added_at, photo.sha256"""

_CHECKS = f"""SELECT c.id, COALESCE(lot.code, swatch.label) FROM lot_check AS c
JOIN lot_check_measurement AS judged ON judged.lot_check_id = c.id
JOIN measurement AS m ON m.id = judged.measurement_id JOIN layout ON layout.id = m.layout_id
JOIN photo ON photo.id = layout.photo_id JOIN swatch ON swatch.id = c.swatch_id
LEFT JOIN lot ON lot.id = c.lot_id WHERE photo.setup_id = :setup
AND ((:of_light AND {_FOLLOWS}) OR (:of_lock AND c.capture IN ('locked set-up', 'same set-up')))
GROUP BY c.id ORDER BY c.id"""


@dataclass(frozen=True)
class MendedSetup:
    """What was put right of a set-up. ``changes``: field, what it was, what it is, in words;
    ``photos``: measured ones that take their light from it, as (sha256, file name); ``verdicts``:
    how many were given on its photos that may come out otherwise, of ``lots``."""

    name: str
    changes: tuple[tuple[str, str | None, str], ...]
    photos: tuple[tuple[str, str], ...]
    verdicts: int
    lots: tuple[str, ...]

    @property
    def lines(self) -> list[str]:
        """What was done and what to see to, for whoever did it."""
        if not self.changes:
            return [f"set-up {self.name!r} says so already: nothing changed"]
        said = [f"set-up {self.name!r}: {self.would_be}"]
        if self.photos:
            said.append(
                f"with the doubt of the old light still: {photos_words(self.photos)}; measure anew "
                f'with `swatchvault remeasure --setup "{self.name}"`'
            )
        if self.verdicts:
            said.append(f"{self.rest_on_it}: check them again")
        return [*said, "write it in studio.toml and photos.csv too: notes that say otherwise clash"]

    @property
    def would_be(self) -> str:
        return "; ".join(f"{f} {new}, was {old or 'not said'}" for f, old, new in self.changes)

    @property
    def rest_on_it(self) -> str:
        """Which verdicts were given on its photos, and of which lots."""
        lots = ", ".join(self.lots[:NAMES_SHOWN])
        more = f" and {len(self.lots) - NAMES_SHOWN} more" if len(self.lots) > NAMES_SHOWN else ""
        rest = "a verdict rests" if self.verdicts == 1 else f"{self.verdicts} verdicts rest"
        keep = "keeps its words" if self.verdicts == 1 else "keep their words"
        return f"{rest} on its photos and {keep} (lot{'s' * (len(self.lots) > 1)} {lots}{more})"


def photos_lit_by(conn: sqlite3.Connection, name: str) -> tuple[tuple[str, str], ...]:
    """Measured photos of a set-up whose light is its light, as (sha256, file name)."""
    told = {"setup": find(conn, "setup", name), "light": get_setup(conn, name).light}
    return tuple((str(sha256), str(file)) for sha256, file in conn.execute(_PHOTOS, told))


def mend_setup(
    conn: sqlite3.Connection,
    name: str,
    *,
    light: str | None = None,
    locked: bool | None = None,
    sure: bool = False,
) -> MendedSetup:
    """Put the light and lock of the set-up of that name right; what is ``None`` stays.

    Photos that say the same light as it go along, those that say another keep theirs. Raises
    ``NotSureError`` with what would change where measured photos or verdicts hang on it and nobody
    is ``sure``: figures stay until they are measured anew, and verdicts keep their words.
    """
    if light is not None and light not in LIGHTS:
        raise ArchiveError(f"the light of a set-up cannot be {light!r}: daylight or other")
    with transaction(conn):
        old = get_setup(conn, name)
        of_light = light is not None and light != old.light
        of_lock = locked is not None and locked != old.locked
        told = {"setup": find(conn, "setup", name), "light": old.light}
        checks = conn.execute(_CHECKS, {**told, "of_light": of_light, "of_lock": of_lock})
        lots = [str(lot) for _, lot in checks]
        changes = [("light", old.light, str(light))] if of_light else []
        changes += (
            [("camera", _lock_words(old.locked), str(_lock_words(locked)))] if of_lock else []
        )
        photos = photos_lit_by(conn, name) if of_light else ()
        done = MendedSetup(old.name, tuple(changes), photos, len(lots), tuple(dict.fromkeys(lots)))
        if of_light:
            new = {**told, "new": light}
            sql = f"UPDATE photo SET light = :new WHERE setup_id = :setup AND {_FOLLOWS}"
            conn.execute(sql, new)
            conn.execute("UPDATE setup SET light = :new WHERE id = :setup", new)
        if of_lock:
            sql = "UPDATE setup SET locked = ? WHERE id = ?"
            conn.execute(sql, (yes_no(locked), told["setup"]))
        if (done.photos or done.verdicts) and not sure:
            raise NotSureError(
                f"not changed yet: {_hangs(done)}. Confirm it (--yes) if that is meant"
            )
    return done


def _hangs(done: MendedSetup) -> str:
    why = []
    if done.photos:
        why.append(
            f"lit by it so far: {photos_words(done.photos)}, whose doubt stays until measured anew"
        )
    if done.verdicts:
        why.append(done.rest_on_it)
    return f"{'; '.join(why)}. It would be: {done.would_be}"


def _lock_words(locked: bool | None) -> str | None:
    return {True: "locked", False: "free"}.get(locked) if locked is not None else None
