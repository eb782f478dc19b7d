"""Shade from recipe, for one base and from the archive's own lots: the three uses in one place.

What will this recipe give (:meth:`BaseModel.predict`); what must be added to this pot
(:func:`correct_pot`); which recipes come nearest to a colour (:func:`recipes_for`). All start from
:func:`fit_base`.
"""

from swatchvault.additions import Additions, ReadingDoubt, correct_pot
from swatchvault.basefit import FEWEST_LOTS, fit_base
from swatchvault.basemodel import BaseModel, DyedLot, LeftOut, Shade, Undyed
from swatchvault.matching import RecipeFound, recipes_for

__all__ = [
    "FEWEST_LOTS",
    "Additions",
    "BaseModel",
    "DyedLot",
    "LeftOut",
    "ReadingDoubt",
    "RecipeFound",
    "Shade",
    "Undyed",
    "correct_pot",
    "fit_base",
    "recipes_for",
]
