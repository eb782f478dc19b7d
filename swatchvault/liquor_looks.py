"""Which regions of which photos are looks at a liquor, and what a pot's log keeps of them."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from ingest.liquor import LiquorCurve, LiquorReading, Look, look_of, read_liquor
from ingest.model import Measurement, PhotoMeasurement
from swatchvault.errors import CompareError

#: Names of regions that are no looks: bare white paper, and the same glass with clear water. The
#: start once more, diluted, has a name that begins with the last.
WHITE, CLEAR, START, AGAIN = "white", "clear", "start", "again"
#: Parts that one part of the start's glass was made up to, where it is not said otherwise. Our
#: choice.
AGAIN_PARTS = 2.0
#: Steps of a log at which the liquor is gone, so that a look belongs before them.
AFTER_LOOKS = frozenset({"rinse", "dry"})
#: Share of the start over which a reading cannot be, if its doubt leaves no less; our choice.
TOO_MUCH = 1.10


@dataclass(frozen=True, eq=False)
class LiquorLook:
    """One look with the photo that it comes from. ``taken_at``: as the camera wrote it."""

    look: Look
    photo: str
    region: str
    taken_at: str | None

    @property
    def key(self) -> str:
        """What tells its entry in a log from another's."""
        return note_key(self.photo, self.region)


@dataclass(frozen=True, eq=False)
class LiquorLooks:
    """Looks in order, the start first; what makes them surer, if it was seen; warnings.

    ``clear``: the glass with clear water. ``again``: the start once more, diluted.
    """

    looks: tuple[LiquorLook, ...]
    clear: Look | None
    again: tuple[Look, ...]
    warnings: tuple[str, ...]


def looks_in(
    photos: Sequence[PhotoMeasurement], dilutions: Mapping[str, float] | None = None
) -> LiquorLooks:
    """The looks of some photos, by the names of their marked regions.

    In each photo "white" is bare white paper beside the glass, and "clear" the same glass with
    clear water, which stands for the white where there is none. "again" (or "again" and more) is
    the start's glass once more, made up to two parts if ``dilutions`` does not say: twice as
    diluted as the start. Any other region is a look, in the order of photos and marks; "start"
    comes first. ``dilutions``: look to parts made up from one of the pot's own liquor. Raises
    ``CompareError`` for a photo without a white or a look, a white that is clipped, several starts,
    the start again without the start, and a dilution of a look that is not there.
    """
    found: list[LiquorLook] = []
    clear: Look | None = None
    again: list[Look] = []
    bare: list[str] = []
    parts = {name.casefold(): value for name, value in (dilutions or {}).items()}
    by_region = _dilution_by_region(photos, parts)
    start = _the_start(photos)
    usual_again = AGAIN_PARTS * (1.0 if start is None else by_region.get((start, START), 1.0))
    for photo in photos:
        regions = {s.name.casefold(): s for s in photo.swatches}
        name = _file(photo)
        refuse_lacking(name, regions)
        white = regions.get(WHITE) or regions[CLEAR]
        _check_white(name, white)
        if CLEAR in regions and clear is None:
            clear = look_of(CLEAR, regions[CLEAR], white)
        looks = [s for key, s in regions.items() if key not in (WHITE, CLEAR)]
        for swatch in looks:
            called = _called(photo, swatch, photos)
            more = swatch.name.casefold().startswith(AGAIN)
            usual = usual_again if more else 1.0
            dilution = by_region.get((photo.path, swatch.name.casefold()), usual)
            look = look_of(called, swatch, white, dilution=dilution)
            if more:
                again.append(look)
            else:
                found.append(LiquorLook(look, name, swatch.name, photo.taken_at))
        if photo.swatches and photo.swatches[0].reference == "none":
            bare.append(name)
    if again and start is None:
        raise CompareError(
            f'{again[0].name!r} is the start\'s liquor diluted, and no region is named "start": '
            "mark the start itself too"
        )
    found.sort(key=lambda seen: seen.look.name.casefold() != START)
    return LiquorLooks(tuple(found), clear, tuple(again), _no_card(bare))


def read_glasses(
    photos: Sequence[PhotoMeasurement], dilutions: Mapping[str, float] | None = None
) -> tuple[LiquorLooks, LiquorCurve]:
    """The looks of some photos with what they tell; arguments and errors as of `looks_in`, and
    those of `read_liquor`."""
    seen = looks_in(photos, dilutions)
    looks = [s.look for s in seen.looks]
    return seen, read_liquor(looks, clear=seen.clear, again=seen.again)


def _the_start(photos: Sequence[PhotoMeasurement]) -> str | None:
    """Path of the photo that shows the start, if one does; several are refused."""
    showing = [p for p in photos for s in p.swatches if s.name.casefold() == START]
    if len(showing) > 1:
        raise CompareError(
            f"{len(showing)} starts, in {' and '.join(_file(p) for p in showing)}: one start is "
            'needed to measure against; name the others "hold 1" and so on, or "again" where the '
            "start was made up to two parts"
        )
    return showing[0].path if showing else None


def _no_card(photos: Sequence[str]) -> tuple[str, ...]:
    if not photos:
        return ()
    names = ", ".join(dict.fromkeys(photos))
    return (
        f"{names}: no card. How the phone bends light and dark was not removed, so shares may be "
        "some points off. Put neutral steps or a card in the photo.",
    )


def refuse_lacking(photo: str, names: Collection[str]) -> None:
    """Raise ``CompareError`` where a photo's regions hold no white, or nothing to look at."""
    folded = {name.casefold() for name in names}
    if not folded & {WHITE, CLEAR}:
        raise CompareError(
            f"{photo} marks no white: mark bare white paper beside the glass as a swatch named "
            '"white"'
        )
    if folded <= {WHITE}:
        raise CompareError(f'{photo} marks no liquor: name the regions "start", "hold 1" and so on')


def _file(photo: PhotoMeasurement) -> str:
    return photo.path.rsplit("/", 1)[-1]


def _check_white(photo: str, white: Measurement) -> None:
    if "clipped beyond use" in white.flags:
        raise CompareError(
            f"{photo}: the white beside the liquor is at the end of what the camera can record, "
            "so nothing can be measured against it: photograph it again, darker"
        )


def _called(
    photo: PhotoMeasurement, swatch: Measurement, photos: Sequence[PhotoMeasurement]
) -> str:
    """The look's name: its region's, with the file's where several photos have such a region."""
    folded = swatch.name.casefold()
    count = sum(s.name.casefold() == folded for p in photos for s in p.swatches)
    return swatch.name if count == 1 else f"{swatch.name} of {_file(photo)}"


def _dilution_by_region(
    photos: Sequence[PhotoMeasurement], parts: Mapping[str, float]
) -> dict[tuple[str, str], float]:
    """Dilutions by photo and region; a look may be named by region, or region and file."""
    found: dict[tuple[str, str], float] = {}
    used: set[str] = set()
    names: list[str] = []
    for photo in photos:
        for swatch in photo.swatches:
            key = swatch.name.casefold()
            if key in (WHITE, CLEAR):
                continue
            called = _called(photo, swatch, photos)
            names.append(called)
            for name in (key, called.casefold()):
                if name in parts:
                    found[photo.path, key] = parts[name]
                    used.add(name)
    if missing := sorted(parts.keys() - used):
        raise CompareError(
            f"a dilution is given for {missing[0]!r}, which is no look: there is "
            f"{', '.join(names) or 'none'}"
        )
    return found


def remarks(looks: LiquorLooks, readings: Sequence[LiquorReading]) -> tuple[str, ...]:
    """What cannot be in some readings, and what is missing where one look stands alone."""
    if start_is_missing(looks):
        name = looks.looks[0].look.name
        return (
            f"{name} stands alone, and tells nothing: photograph the start too, in the same glass, "
            'and mark it "start".',
        )
    return tuple(
        f"{r.name}: more colour than the start had cannot be left. Are the glasses exchanged, was "
        "the start diluted and not said so (--dilution), was dye added since, or was the liquor "
        "deeper or the light another?"
        for r in readings
        if r.share > TOO_MUCH and r.share - 1.96 * r.u_share > 1.0
    )


def start_is_missing(looks: LiquorLooks) -> bool:
    """Whether there is one look alone and it is not the start: nothing can be held against it."""
    first = looks.looks[0] if len(looks.looks) == 1 else None
    return first is not None and first.region.casefold() != START


def stored_left(reading: LiquorReading) -> str | None:
    """What a pot's log keeps of a reading, ``"15 %"``, or ``None`` where it could not be read."""
    if math.isnan(reading.share):
        return None
    return f"{round(100 * min(max(reading.share, 0.0), 1.0)):d} %"


def stored_note(look: LiquorLook, reading: LiquorReading) -> str:
    """The note beside it; the part before the colon says which look of which photo it is."""
    return f"{look.key}: {reading.word}, ± {100 * reading.u_share:.0f} points"


def note_key(photo: str, region: str) -> str:
    """How the note of a log's entry begins, from the photo's name and the region's."""
    return f"photo {photo}, {region}"


def channel_words(reading: LiquorReading) -> str:
    """``"red 41 ± 2 %, green 43 ± 3 %"``: the channels that can tell, or ""."""
    parts = [
        f"{name} {100 * share:.0f} ± {100 * doubt:.0f} %"
        for name, share, doubt in zip(
            ("red", "green", "blue"), reading.channels, reading.u_channels, strict=True
        )
        if not math.isnan(share)
    ]
    return ", ".join(parts)
