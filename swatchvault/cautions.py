"""The usual cautions of a dye kitchen, in our own words: one line, and the full card."""

from __future__ import annotations

from collections.abc import Mapping

# The subjects follow, without their wording: HSE (UK), "Dyes and dyeing" and its information sheets
# on dyes in textile finishing; NIOSH Hazard Controls, DHHS (NIOSH) Publication No. 97-107, 1997
# (powdered dye: asthma, eczema); CPSC Publication 5015, "Art and Craft Safety Guide". Vessels, acid
# into water and steam: common practice, no single source.
CAUTION_SHEET = "Read the maker's safety data sheet first, for every dye, acid and auxiliary."
CAUTION_POWDER = (
    "Powder: wear a suitable respirator, gloves and eye protection, keep draughts and other people "
    "away, and wipe up wet. Dye dust can bring on asthma and eczema."
)
CAUTION_VESSELS = "Pots, spoons and jars used for dye are never used for food again."
CAUTION_ACID = (
    "Acid into water, never water into acid: pour slowly, stir, and wear gloves and eye protection."
)
CAUTION_HEAT = (
    "Hot liquor and steam burn: lift lids away from you and let the pot cool to handle it."
)
CAUTION_AIR = "Ventilate the room while you mix and heat; do not breathe vapour of hot acid."
CAUTION_WASTE = "Dispose of liquor, stock and powder by your local rules."
CAUTION_LAW = (
    "Local codes and licensed practice come first; nothing here replaces them or a trained person."
)
CAUTION_PHOTO = "A colour measured from a photo is no laboratory certificate."

#: Every line of the card by its key, in the order it is shown.
CAUTIONS: Mapping[str, str] = {
    "sheet": CAUTION_SHEET,
    "powder": CAUTION_POWDER,
    "vessels": CAUTION_VESSELS,
    "acid": CAUTION_ACID,
    "heat": CAUTION_HEAT,
    "air": CAUTION_AIR,
    "waste": CAUTION_WASTE,
    "law": CAUTION_LAW,
    "photo": CAUTION_PHOTO,
}

CAUTION_LINE = (
    "Safety data sheet first; respirator, gloves and eye protection with powder; acid into water; "
    "hot liquor and steam burn; ventilate; no dye vessel for food; local rules decide."
)

CAUTION_CARD = "\n".join(["Before you mix, heat or pour", *(f"- {s}" for s in CAUTIONS.values())])
