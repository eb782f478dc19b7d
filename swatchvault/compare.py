"""A lot against its master: the decision, the words and the advice as data. No SQL, no printing."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from ingest.model import FLAGS, none_if_nan
from swatchvault import words
from swatchvault.advice import Advice, what_next
from swatchvault.difference import Difference, Verdict, judge, stopping_flags
from swatchvault.errors import CompareError
from swatchvault.pair import Capture, Colour, Conditions, capture_class

#: A larger difference of ``shadow_sd`` than this is flagged. The project's own simulation: 0.05
#: moved ΔE00 by 1.6 with the peak level fixed, nearly all of it ΔL*.
SHADOW_SD_BOUND = 0.03

#: L* below which a simulated colourway counts as dark (``DARK_BELOW`` in
#: `tests.simulation.colourways`), so up to which the figure in the flag ``dark`` speaks. Under
#: ``DARK_L`` of `difference` none is called within.
SIMULATED_DARK_L = 30.0

#: Flag of a swatch whose strands are blurred in the photo.
BLURRED = "out of focus"

#: Flags that belong to a pair, with the sentence that explains each.
PAIR_FLAGS: Mapping[str, str] = {
    "forms differ": (
        "The two are not in the same form (skein, wound card, knit). Form alone changes shadow "
        "and so the colour: compare like with like."
    ),
    "form unknown": "The form (skein, wound card, knit) of one is not stated.",
    "shadow differs": (
        "Light and shadow between the strands differ (wound looser or tighter, or lit from "
        "another side): ΔL* may be in the winding and not in the dye."
    ),
    "one is wet": (
        "One is dry and the other is not: wet yarn is darker and stronger in colour. Dry both."
    ),
    "fluorescent, two photos": (
        "One of them fluoresces, and how much depends on the light of the photo: no verdict is "
        "given across two photos. Photograph both in one frame."
    ),
    "fluorescent": (
        "One of them fluoresces: the two may match in this light and differ in another, and a "
        "screen or print will not show it. Judge them by eye in the light they are worn in."
    ),
    "one is blurred": (
        "One of the two is sharp in the photo and the other is blurred, as a phone's portrait and "
        "food modes make it, which lighten and colour what they take for the subject, too: switch "
        "such modes off, hold the camera straight above, and photograph both sharp."
    ),
    "not locked": (
        "The photos were said to be of a locked set-up, but the greys of their references, or "
        "the paper beside a card, differ: the camera's settings, its curve of tone or the light "
        "moved, so they count as the same set-up with settings free."
    ),
    "dark": (
        "A dark colour: of such lots that were called within in simulation up to 1.9 % lay beyond "
        "the tolerance. Judge it beside the master by eye, in daylight."
    ),
}


@dataclass(frozen=True, eq=False)
class Comparison:
    """``new`` held to ``master``: figures, verdict, words, advice. Signed as new minus master."""

    master: Colour
    new: Colour
    difference: Difference
    directions: tuple[words.Direction, ...]
    reasons: tuple[str, ...]
    what_next: tuple[Advice, ...]
    flags: frozenset[str]
    notes: tuple[str, ...]

    @property
    def verdict(self) -> Verdict:
        return self.difference.verdict

    @property
    def words(self) -> str:
        """Which way it is off, as one phrase."""
        return words.in_words(self.directions)

    @property
    def best_next(self) -> tuple[Advice, ...]:
        """The advice that would be enough, and what cannot be foretold; all where none would."""
        if not any(a.enough for a in self.what_next):
            return self.what_next
        return tuple(a for a in self.what_next if a.enough or math.isnan(a.u_at_tolerance))

    @property
    def sentences(self) -> tuple[str, ...]:
        """All of it, ready to print, most important first."""
        phrase = self.words[0].upper() + self.words[1:] + "."
        return (
            words.headline(self.difference),
            phrase,
            *self.reasons,
            *(a.text for a in self.best_next),
            *words.figures(self.difference),
            *self.notes,
        )


def compare(
    master: Colour,
    new: Colour,
    conditions: Conditions,
    *,
    across_forms: bool = False,
    stops: Sequence[str] = (),
) -> Comparison:
    """Hold ``new`` to ``master`` under ``conditions``.

    Where these do not say whether both are of the same dyes, the packets recorded with both
    colours decide, or it stays unknown. ``stops``: sentences of the caller that leave only "cannot
    tell". Raises :class:`CompareError` for "same frame" of two
    photos, and for two forms unless ``across_forms``.
    """
    if conditions.same_dyes is None and None not in (master.dyes, new.dyes):
        conditions = replace(conditions, same_dyes=master.dyes == new.dyes)
    _check_frame(master, new, conditions.capture)
    flags = _pair_flags(master, new, across_forms)
    counts = capture_class(master, new, conditions.capture)
    if counts is not conditions.capture:
        flags |= {"not locked"}
        conditions = replace(conditions, capture=counts)
    flags |= _of_their_photos(master, new, conditions.capture)
    stops = [*stops, *(PAIR_FLAGS[f] for f in sorted(flags & _STOPPING))]
    diff = judge(master, new, conditions, stops)
    if diff.verdict is Verdict.WITHIN and min(master.lab[0], new.lab[0]) < SIMULATED_DARK_L:
        flags |= {"dark"}
    return Comparison(
        master,
        new,
        diff,
        words.directions(master.lab, new.lab, diff),
        words.reasons(diff),
        what_next(master, new, diff),
        flags,
        (*words.notes(diff), *(PAIR_FLAGS[f] for f in sorted(flags) if PAIR_FLAGS[f] not in stops)),
    )


#: Pair flags under which no verdict but "cannot tell" is given. Of 18 rendered pairs in one frame,
#: the new lot a quarter lighter and all else blurred as by a portrait mode, two of one yarn had
#: been called outside, by steps and by a chart. Of 24 others none is told so sharp or blurred a
#: little, 4 where blurred as a whole by 3 of 1000 pixels, and 7 by 6.
_STOPPING = frozenset({"one is wet", "fluorescent, two photos", "one is blurred"})


def verdict_stopped(master: Colour, new: Colour, capture: Capture) -> tuple[set[str], set[str]]:
    """Sentences of what leaves no verdict on a pair so taken, for either side; none where one can
    be given. What lies in the pair stands with the second."""
    ours, theirs = ({FLAGS[f] for f in side} for side in stopping_flags(master, new, capture))
    pair = _of_their_photos(master, new, capture) & _STOPPING
    return ours, theirs | {PAIR_FLAGS[f] for f in pair}


def _of_their_photos(master: Colour, new: Colour, capture: Capture) -> frozenset[str]:
    wet = ("not dry" in master.flags) != ("not dry" in new.flags)
    return (
        frozenset({"one is wet"} if wet else ())
        | _fluorescence(master, new, capture)
        | _one_blurred(master, new, capture)
    )


def _one_blurred(master: Colour, new: Colour, capture: Capture) -> frozenset[str]:
    """Of two photos either may be out of focus as a whole; in one, something blurred a part."""
    together = capture is Capture.SAME_FRAME or master.photo_ids & new.photo_ids
    apart = BLURRED in master.flags ^ new.flags and together
    return frozenset({"one is blurred"} if apart else ())


def _fluorescence(master: Colour, new: Colour, capture: Capture) -> frozenset[str]:
    if "fluorescent" not in master.flags | new.flags:
        return frozenset()
    apart = capture is not Capture.SAME_FRAME
    return frozenset({"fluorescent, two photos" if apart else "fluorescent"})


def _check_frame(master: Colour, new: Colour, capture: Capture) -> None:
    known = master.photo_ids and new.photo_ids
    if capture is Capture.SAME_FRAME and known and master.photo_ids != new.photo_ids:
        raise CompareError(
            "'same frame' was stated, but the colours come from different photos: state "
            "'locked set-up', 'same set-up' or 'other', or photograph both in one frame"
        )


def _pair_flags(master: Colour, new: Colour, across_forms: bool) -> frozenset[str]:
    flags = set()
    if master.form is None or new.form is None:
        if master.form != new.form:
            flags.add("form unknown")
    elif master.form != new.form:
        if not across_forms:
            raise CompareError(
                f"the master is a {master.form} and the new one a {new.form}: form alone changes "
                "the colour, so compare the same form, or ask to compare across forms"
            )
        flags.add("forms differ")
    # Rounded so that exactly 0.03 is not flagged for its last binary digit; NaN flags nothing.
    if round(abs(master.shadow_sd - new.shadow_sd), 9) > SHADOW_SD_BOUND:
        flags.add("shadow differs")
    return frozenset(flags)


def as_record(comparison: Comparison) -> dict[str, Any]:
    """The comparison as plain JSON data; unknown is None."""
    d = comparison.difference
    sides = (("master", comparison.master), ("new", comparison.new))
    own = [f"{side}: {flag}" for side, c in sides for flag in sorted(c.flags)]
    return {
        "delta_e_00": d.delta_e_00,
        "k_l": d.conditions.k_l,
        "d_lch": list(d.d_lch),
        "u": {
            "reading": none_if_nan(d.u_reading),
            "at_tolerance": none_if_nan(d.u_at_tolerance),
            "d_lch": [none_if_nan(u) for u in d.u_lch],
        },
        "capture": d.conditions.capture.value,
        "words": comparison.words,
        "tolerance": d.conditions.tolerance,
        "verdict": d.verdict.value,
        "p_within": none_if_nan(d.p_within),
        "p_outside": none_if_nan(d.p_outside),
        "gross": d.gross,
        "directions": [words.direction_record(x) for x in comparison.directions],
        "reasons": list(comparison.reasons),
        "what_next": [
            {"text": a.text, "u_at_tolerance": none_if_nan(a.u_at_tolerance), "enough": a.enough}
            for a in comparison.what_next
        ],
        "flags": sorted(comparison.flags) + own,
        "notes": list(comparison.notes),
    }
