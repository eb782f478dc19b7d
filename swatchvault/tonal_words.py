"""What a customer reads of how tonal a swatch came out. Pure: a tonality record in, words out.

Only what was tested is said: patch length as short, medium or long, never in millimetres; no
shares of lightness, chroma and hue; for "cannot tell" no figure but its range.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

from ingest.evenness_corehalo import SIZE_TIMES
from ingest.evenness_rule import DEFAULT, is_grey
from ingest.evenness_stored import figures_of_record
from ingest.flags import FLAGS

#: Up to which unevenness (ΔE00, kL = 1, mean of 5 mm patches from their mean) which words of the
#: patches' shades hold.
#: Our own wording and bounds, no source.
HOW_FAR = (
    (0.6, "so alike that you have to look for them"),
    (1.5, "softly apart, less than two neighbouring shades on a card"),
    (3.0, "about as far apart as two neighbouring shades on a card"),
    (6.0, "clearly apart, like shades two or three places from each other on a card"),
    (float("inf"), "as far apart as different colours"),
)
#: What would help where a photo cannot tell, by flag; else the general advice.
HELP: Mapping[str, str] = {
    "scale estimated": "mark a known length in the photo, or lay the yarn on the mat",
    "scale doubtful": "check the millimetres of the mark, or the bar of the printed mat",
    "too little yarn for evenness": "mark or lay out more yarn, 45 x 35 mm at least, in focus",
    "out of focus": "photograph it again, sharp: rest the phone on something",
    "perhaps two swatches": "mark one swatch alone, with no background in it",
    "clipped beyond use": "photograph it again, darker",
    "photo too dark": "photograph it again, lighter: expose more, or use more light",
}
#: How often a range held the truth on rendered yarn of three renderers, by class; of other classes
#: it was not counted. DEVELOPERS.md, "How well evenness is told".
HELD: Mapping[str, str] = {
    "solid": "19 of 20 rendered solids and semi-solids",
    "semi-solid": "19 of 20 rendered solids and semi-solids",
    "speckled": "63 to 94 of 100 rendered speckled yarns",
}
#: Flags under which nothing is told of evenness, whatever two classes it lies between.
STOPS = frozenset({*HELP, "evenness not judged"}) - {"scale estimated"}
#: Why a photo tells nothing of core and halo, by name.
UNSEEN: Mapping[str, str] = {
    "no strands": "no single strands can be told apart here",
    "few pixels": "strands need 16 pixels across: go nearer, or mark less yarn",
    "little yarn": "too little of the middle of the region is yarn",
    "deep shadow": "the gaps are too dark: use flatter light",
    "grey or pale": "in this colour more dye looks like less light",
    "channel at an end": "a colour channel is at the end of what the file can hold",
    "no difference": "no difference beyond light and chance",
}
#: Said where several colours of a palette, or a gradient's ends, stand beside the swatch's own.
AT_CRESTS = (
    "Its colours are read where the strands catch the light; the swatch's own is the mean of all "
    "its yarn, gaps too, and so darker."
)
GENERAL_HELP = "go nearer, lay out more yarn, use flatter light"
#: The same where dye that makes lighter and darker looks as light does.
GREY_HELP = "use flatter light; or turn the yarn in the light and look: shadow moves, dye stays"
_HOW_EVENLY = "how evenly it was dyed"
NO_SCALE = (
    "Nothing says how large the yarn is, and its strands are not clear enough to guess: mark a "
    "known length in the photo, or lay the yarn on the mat."
)


@dataclass(frozen=True)
class Said:
    """``headline``: the class or "cannot tell". ``sentence``: for a customer. ``figures``: for the
    dyer. ``reasons``: what weakens it. ``help``: what would make it certain, or None. ``strands``:
    how the rims of strands differ from their crests, "" where that is not told. ``unseen``: why
    it is not, for the dyer alone: no card shows it."""

    headline: str
    sentence: str
    figures: str
    reasons: tuple[str, ...] = ()
    help: str | None = None
    strands: str = ""
    unseen: str = ""

    @property
    def lines(self) -> list[str]:
        """All of it as text."""
        helped = [] if self.help is None else [f"What would help: {self.help}."]
        figures = [w for w in (self.figures, self.strands, self.unseen) if w]
        return [f"{self.headline}: {self.sentence}", *figures, *self.reasons, *helped]

    def record(self) -> dict[str, Any]:
        return {
            "headline": self.headline,
            "sentence": self.sentence,
            "figures": self.figures,
            "strands": self.strands,
            "unseen": self.unseen,
            "reasons": list(self.reasons),
            "help": self.help,
        }


def say(record: Mapping[str, Any] | None, flags: Collection[str] = ()) -> Said:
    """The words of a tonality record; None is a photo in which nothing could be measured."""
    if record is None:
        return Said("Cannot tell", NO_SCALE, "", help=HELP["scale estimated"])
    kind = record["class"]
    # Of a flag that the measure already speaks of in its reasons, only the advice is new.
    reasons = tuple(record.get("reasons") or ())
    if kind is None:
        return _cannot_tell(record, reasons, flags)
    told = ("no reference", "scale estimated", "clipped")
    weak = tuple(FLAGS[f] for f in told if f in flags)
    sentence = {
        "solid": _solid,
        "semi-solid": _semi_solid,
        "variegated": _variegated,
        "speckled": _speckled,
        "gradient": _gradient,
    }[kind](record)
    parts = (sentence, _figures(record), (*reasons, *weak))
    unseen = UNSEEN.get(record.get("core_halo_unseen") or "", "")
    return Said(
        kind.capitalize(),
        *parts,
        strands=_strands(record),
        unseen=f"Core and halo: {unseen}." if unseen else "",
    )


def eye_words(named: str | None, kind: str | None) -> str:
    """The dyer's own word beside the class told, as a sentence; "" where there is none.

    >>> eye_words("semi-solid", "solid")
    "To the dyer's eye: semi-solid, which differs."
    """
    if not named:
        return ""
    return f"To the dyer's eye: {named}{', which differs' if kind not in (None, named) else ''}."


def advice(flags: Collection[str]) -> str:
    """What would help, by the flags raised."""
    told = [words for flag, words in HELP.items() if flag in flags]
    return "; ".join(told) if told else GENERAL_HELP


def percent(share: float) -> str:
    """A share of 0..1 in words."""
    return f"{100.0 * share:.0f} %"


def figure(unevenness: float, doubt: float) -> str:
    """An unevenness with its doubt; "under 0.1" where both would be written as noughts.

    >>> figure(0.04, 0.03), figure(0.04, 0.06)
    ('under 0.1', '0.0 ± 0.1')
    """
    words = f"{unevenness:.1f} ± {doubt:.1f}"
    return "under 0.1" if words == "0.0 ± 0.0" else words


def _cannot_tell(
    record: Mapping[str, Any], reasons: tuple[str, ...], flags: Collection[str]
) -> Said:
    between = record["between"]
    both = f"whether it is {between[0]} or {between[1]}" if between else _HOW_EVENLY
    span, figures = record["range"], ""
    if stopped := set(flags) & STOPS:
        both = _HOW_EVENLY
    if span is not None and not stopped:
        figures = f"Unevenness somewhere between {span[0]:.1f} and {span[1]:.1f} ΔE00 (kL = 1)."
    said = f"this photo does not show {both}."
    read = figures_of_record(record)
    grey = read is not None and is_grey(read) and not stopped
    return Said("Cannot tell", said, figures, reasons, GREY_HELP if grey else advice(flags))


def _figures(record: Mapping[str, Any]) -> str:
    value, doubt, span = (record[k] for k in ("unevenness", "u_unevenness", "range"))
    if value is None:
        return ""
    words = f"Unevenness {figure(value, doubt)}"
    if span is not None:
        words += f", range {span[0]:.1f} to {span[1]:.1f}"
    words += ": mean ΔE00 (kL = 1) of 5 mm patches of dye from their mean."
    held = HELD.get(record["class"])
    return words if held is None else f"{words} Such ranges held in {held}."


def _strands(record: Mapping[str, Any]) -> str:
    """Core and halo, where the record tells of them."""
    told = record.get("core_halo")
    if not told:
        return ""
    lightness, chroma, hue = (f"{v:+.1f}".replace("-", "\N{MINUS SIGN}") for v in told["lch"])
    size = told["delta_e"]
    least, most = told.get("range") or (size * times for times in SIZE_TIMES)
    return (
        f"Core and halo: the rims of the strands look {told['rim']} than their crests, by ΔE00 "
        f"{least:.1f} to {most:.1f}; at {size:.1f} L* {lightness}, C* {chroma}, h {hue}°."
    )


def how_far(unevenness: float) -> str:
    """Words for how far the shades of patches lie apart."""
    return next(words for bound, words in HOW_FAR if unevenness < bound)


def _solid(record: Mapping[str, Any]) -> str:
    """No more than what is said further on leaves of it: light and dark that may be dye, a colour
    in which dye looks like light, rims of another depth."""
    read, halo = figures_of_record(record), record.get("core_halo")
    if record.get("light_only"):
        said = "one colour all over, lighter and darker in places, by the dye or by how it lies"
    elif read is not None and (is_grey(read) or read.depth_off < DEFAULT.depth_hidden):
        said = "one colour all over, as far as a photo can show it in this colour"
    elif halo:
        said = "one colour from patch to patch"
    else:
        return "one colour all over; what is light and dark is the strands, not the dye."
    return f"{said}; the rims of its strands look {halo['rim']}." if halo else f"{said}."


def _semi_solid(record: Mapping[str, Any]) -> str:
    length = record["patch_length"]
    patches = f"{length} patches" if length else "patches"
    return f"one colour in {patches} whose shades are {how_far(float(record['unevenness']))}."


def _variegated(record: Mapping[str, Any]) -> str:
    shares = [float(c["share"]) for c in record["palette"]]
    if len(shares) < 2:
        return "colours that run into each other too finely to be counted."
    told = f"{len(shares)} colours told apart"
    if len(shares) > 2:  # plies of two colours are three with what lies between
        told += ", mixtures of two where they meet or are plied perhaps among them"
    return f"{told}; the largest covers {percent(shares[0])} of it."


def _speckled(record: Mapping[str, Any]) -> str:
    """Dots as the measure counts them: cells that stand out, those that touch as one."""
    said, dots = "a ground colour with dots of other colours", record.get("dots") or {}
    per_dm2, mean_mm = (float(dots.get(k) or 0.0) for k in ("per_dm2", "mean_mm"))
    if not per_dm2 or not mean_mm:
        return f"{said}."
    count = int(float(f"{per_dm2:.2g}"))
    return (
        f"{said}, some {count} to the dm² and {mean_mm:.1f} mm wide; those that touch count as one."
    )


def _gradient(record: Mapping[str, Any]) -> str:
    gradient = record.get("gradient")
    if not gradient:
        return "one colour that runs into another across the swatch."
    one, other = (end.removesuffix(" end") for end in ends_of(gradient))
    return f"one colour that runs into another, from {one} to {other} in this photo."


def ends_of(gradient: Mapping[str, Any]) -> tuple[str, str]:
    """What a gradient's first and last end are called, by where they lie in the picture.

    >>> ends_of({"direction_deg": 92.0})
    ('top end', 'bottom end')
    """
    around = (
        *("left", "upper left", "top", "upper right"),
        *("right", "lower right", "bottom", "lower left"),
    )
    first = round(float(gradient["direction_deg"]) / 45.0) % 8
    return f"{around[first]} end", f"{around[(first + 4) % 8]} end"
