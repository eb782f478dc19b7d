"""The registry of flags: every name that can weaken an answer, with the sentence for a person."""

from __future__ import annotations

from collections.abc import Mapping

#: Share of clipped pixels from which it is noted, of a swatch or of a reference's patch, which then
#: shapes no curve; and from which a swatch's colour is shown and no more. Our choice.
CLIPPED_NOTED, CLIPPED_BEYOND_USE = 0.01, 0.03
#: Share of a swatch's pixels with a channel at zero from which that is noted. Our choice.
ZERO_SHARE = 0.03

#: Every flag that a photo, a reference or a swatch can carry, with the sentence that explains it.
FLAGS: Mapping[str, str] = {
    # what the file says
    "no profile": "The file names no colour profile, so its numbers were read as sRGB.",
    "profile converted": (
        "The file's profile is an unusual one; its colours were converted to sRGB by the colour "
        "library in 8 bits, so strong colours may be cut off."
    ),
    "gain map": (
        "The file holds a gain map or HDR rendering. The phone may have changed tones from place "
        "to place: switch HDR off for colour photos."
    ),
    "strongly compressed": (
        "The JPEG is compressed so strongly that fine light and dark is lost, or made: how even "
        "the yarn is cannot be told from it. Send the file as the camera wrote it."
    ),
    "compressed beyond use": (
        "The JPEG is compressed so strongly that its greys and plain colours are off: no lot is "
        "judged on it. Send the file as the camera wrote it."
    ),
    "hardly any colour": (
        "Every lightness in the picture has one colour, as in a toned or faded photo: a filter may "
        "have taken hue and chroma away. Switch filters off, or lay something coloured beside."
    ),
    "picture by this program": (
        "This program wrote the picture: its colours are corrected already, cut off or drawn over, "
        "and no lot is judged on them. Measure the photo that it was made from."
    ),
    "raw": "A camera raw file, decoded linear and without the camera's own rendering.",
    # what the reference says
    "no reference": (
        "No grey card, steps or chart corrected this photo: the colour is the camera's opinion."
    ),
    "located by search": (
        "Found by the program, not marked by a person: look at where it was found before you "
        "trust the figures."
    ),
    "reference found by search": (
        "The grey card or chart was found by the program, not marked by a person: look at where."
    ),
    "another chart": (
        "Two charts lie in the picture: the one that fits its published colours better is used, "
        "and the other is not. Mark the one that you mean, or take one away."
    ),
    "another swatch": (
        "Two pieces look like yarn: one is measured, and the other is not. See with --show which, "
        "and mark each that you mean."
    ),
    "mat not flat": (
        "The capture mat's marks do not lie where they should: lay the sheet flat, and check that "
        "it was printed whole. Regions may be a little off."
    ),
    "card clipped": (
        "Part of the grey reference is at the end of what the camera can record: expose less, and "
        "keep glare off it."
    ),
    "photo too dark": (
        "The photo is far too dark: a white would lie under 10 % of what the camera can record, "
        "where steps of its numbers and noise shape colours. Expose more, or use more light."
    ),
    "card uneven": "The grey reference is not of one grey: dirt, print, texture or glare on it.",
    "card coloured": (
        "The grey reference looks coloured in the photo as taken: see that its mark lies on it, "
        "and not on wood or cloth. If it does, the camera's white balance is far off, so that the "
        "colours may lie further off than their ± says: set it for this light."
    ),
    "card tilted in the light": (
        "The light changes across the grey reference: it is tilted, or the light is very near."
    ),
    "card in shadow": (
        "A shadow edge lies across the grey reference, or one of its several greys is not as "
        "stated (dirt, glare, a wrong value), so the photo's colours are off, and by steps or a "
        "chart also how far apart they read: photograph it again, clean, in one even light. "
        "Beside a single card swatches are held to each other within this photo alone, where plain "
        "paper shows the light on them."
    ),
    "tone curve not removed": (
        "One grey card, or fewer than six neutrals, cannot show how the camera bends light and "
        "dark: colours much lighter or darker are uncertain. Six neutral steps or a chart, none "
        "of them clipped, remove this."
    ),
    "steps not in order": "The neutral steps do not get darker in the order stated.",
    "reference does not fit": (
        "The reference's patches do not agree with their stated values after correction: another "
        "make or edition, worn, or in uneven light."
    ),
    "reference far off": (
        "The reference's patches are nowhere near their stated values: is each marked where it "
        "lies, in the order of the values, with nothing over it, on the picture turned upright? "
        "Look with --show, and mark anew."
    ),
    "card unlike its value": (
        "Were the grey reference as light as is stated, the paper about it would be lighter than "
        "paper is, or white far beyond what this picture can hold. See that the mark lies on the "
        "card, and that its value is right: 18 % is 0.18."
    ),
    "steps unlike a photo": (
        "The steps' stated values would need a tone that no phone's picture has. Say reflectances "
        "(a white step 0.9, a black one 0.03), not lightness, one for each step, lightest first."
    ),
    "values differ": (
        "The marks state other values of the reference than the set-up does, and the marks' were "
        "taken: put right the one that is wrong."
    ),
    "told and not found": (
        "What a card or steps reflect was told with the photo or by its set-up, or how long the "
        "mat's bar is, and none is marked or found: it was used for nothing. See with --show what "
        "was taken instead, and mark the one that you mean."
    ),
    "tone varies in the frame": (
        "Neutrals at two places disagree after correction: the phone changed tones by place, or "
        "the light differs between them."
    ),
    "light uneven": (
        "The light on the swatches and the reference is not the same, by the paper about them, and "
        "could not be corrected for: keep shadows off, yours too, and take one even light."
    ),
    "light not seen": (
        "No plain surround was found that shows whether the light is the same on all swatches, so "
        "light that changes as it did in other photos is in the ±: lay all on plain paper, white "
        "or grey, that shows on every side."
    ),
    "light of two colours": (
        "The light's colour changes over the frame, as with a lamp on one side and a window on the "
        "other: use one light, and lay what is compared side by side."
    ),
    "light field corrected": "Uneven light was measured on grey or paper and divided out.",
    "camera colours not corrected": (
        "Greys alone corrected this photo; the camera's rendering of strong colours was not."
    ),
    "read at half size": (
        "The picture has more pixels than are read whole, so each was averaged with its neighbours "
        "as coded: set the camera to fewer megapixels (12 to 50 do)."
    ),
    # what the swatch says
    "clipped": (
        f"At least {CLIPPED_NOTED * 100:g} % of the swatch's pixels are at the end of what the "
        "camera can record."
    ),
    "clipped beyond use": (
        f"At least {CLIPPED_BEYOND_USE * 100:g} % of the swatch's pixels are at the end of what "
        "the camera can record: the colour is shown, but no lot is judged on it. Photograph it "
        "again, darker."
    ),
    "channel at zero": (
        "A colour channel is at zero in much of the swatch: the yarn is more saturated than the "
        "file can hold."
    ),
    "too dark": "The swatch is so dark that the camera's noise and veil shape its colour.",
    "glare": (
        "Bright colourless spots in the swatch: sheen, a lamp mirrored in it, or paper or table "
        "within its outline. Look at the marks."
    ),
    "background left out": "Background seen between strands was left out of the mean.",
    "perhaps background": (
        "Part of the region looks like what lies around it, and could be the table seen between "
        "strands or undyed yarn of that tint: it was kept. Lay the yarn on another colour."
    ),
    "much left out": ("More than a fifth of the region was left out as background: mark less."),
    "fluorescent": (
        "Lighter than a surface of this colour can be by reflection alone: it gives light of its "
        "own under the lamp or sky it was seen in. Compare it only within one photo."
    ),
    "perhaps fluorescent": (
        "Nearly as light as a surface of this colour can be by reflection alone: it may "
        "fluoresce. A camera can prove this but never exclude it."
    ),
    "too few texture lengths": (
        "The region holds too few strands for its doubt to be known well: mark more yarn or go "
        "nearer."
    ),
    "scale unknown": "Nothing in the photo says how many millimetres a pixel is.",
    "scale estimated": (
        "How even the yarn is was measured at a scale guessed from its strands: mark a known "
        "length to make it sure."
    ),
    "scale doubtful": (
        "At the scale stated the strands would be of an unlikely size: check the millimetres. "
        "Evenness is not judged on it."
    ),
    "too little yarn for evenness": (
        "The region is too small to say how even the yarn is, or so blurred that its strands look "
        "larger: mark at least 45 x 35 mm, in focus."
    ),
    "out of focus": "The strands are blurred: evenness is not judged. Photograph it again, sharp.",
    "perhaps two swatches": (
        "Two plain fields of colour meet in the region: mark one swatch, without background, or "
        "know that the yarn is painted so. Evenness is not judged."
    ),
    "evenness not judged": (
        "Shadow, clipping, a photo far too dark or what else lies in the region keeps its evenness "
        "from being judged."
    ),
    "not dry": "Measured wet or damp: wet yarn is darker and stronger in colour than dry.",
}

#: Flags under which no lot check says anything but "cannot tell".
FLAGS_THAT_STOP_A_VERDICT = frozenset(
    {
        *("clipped beyond use", "no reference", "reference far off", "steps not in order"),
        *("steps unlike a photo", "card unlike its value", "hardly any colour"),
        *("picture by this program", "compressed beyond use"),
    }
)


def check_flags(flags: frozenset[str]) -> frozenset[str]:
    """Return ``flags`` if all stand in :data:`FLAGS`, else raise ``KeyError``."""
    for name in flags:
        if name not in FLAGS:
            raise KeyError(f"flag {name!r} is not in the registry")
    return flags
