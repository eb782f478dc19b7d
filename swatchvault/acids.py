"""Acids of the dye kitchen: one kind and strength in terms of another, and dilution.

By equivalents: equal moles of protons, which is not equal pH. Raises ``AmountError`` for what
cannot be.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from swatchvault.amounts import check_number
from swatchvault.cautions import CAUTION_ACID
from swatchvault.errors import AmountError

#: IUPAC (CIAAW) abridged standard atomic weights 2021, g/mol.
ATOMIC_WEIGHTS: Mapping[str, float] = {"H": 1.0080, "C": 12.011, "O": 15.999}

AcidBasis = Literal["g/100 g", "g/100 mL"]

# The densest at hand is solid citric acid, about 1.67 g/mL (from memory, unverified).
_MOST_G_PER_100_ML = 170.0


#: Stands in examples for a density; of acetic acid of 56 %, from memory, unverified.
_EXAMPLE_DENSITY = "1.06"


@dataclass(frozen=True)
class Acid:
    """An acid: atoms of carbon, hydrogen and oxygen, and protons that it can give."""

    name: str
    carbon: int
    hydrogen: int
    oxygen: int
    protons: int

    @property
    def molar_mass_g(self) -> float:
        """Grams a mole, from the standard atomic weights."""
        w = ATOMIC_WEIGHTS
        return self.carbon * w["C"] + self.hydrogen * w["H"] + self.oxygen * w["O"]

    @property
    def equivalent_g(self) -> float:
        """Grams that give one mole of protons when wholly neutralised."""
        return self.molar_mass_g / self.protons


#: The acids whose sums are known here, by name.
ACIDS: Mapping[str, Acid] = {
    a.name: a
    for a in (
        Acid("acetic", 2, 4, 2, 1),
        Acid("citric anhydrous", 6, 8, 7, 3),
        Acid("citric monohydrate", 6, 10, 8, 3),
        Acid("formic", 1, 2, 2, 1),
    )
}


def _acid(name: str) -> Acid:
    if name not in ACIDS:
        raise AmountError(
            f"acid {name!r} is not known here: say one of {', '.join(ACIDS)}, and how strong it "
            'is: "citric anhydrous 50 g/100 mL"'
        )
    return ACIDS[name]


@dataclass(frozen=True)
class AcidSolution:
    """An acid in water: ``percent`` in the ``basis`` it is stated in.

    By mass (``"g/100 g"``) the density is needed too. A basis that is not known is an error that
    names both readings, for the two differ.
    """

    acid: str
    percent: float
    basis: AcidBasis | None = None
    density_g_per_ml: float | None = None

    @property
    def g_per_100_ml(self) -> float:
        """Grams of the acid in 100 mL of the solution.

        Raises :class:`AmountError` where its percentage may be read in two ways, or is by mass and
        no density is told.
        """
        name, unit = f"the strength of the {_acid(self.acid).name} acid", self.basis or "%"
        percent = check_number(name, self.percent, unit=unit, above=0.0)
        if self.basis == "g/100 mL":
            return check_number(name, percent, unit=unit, high=_MOST_G_PER_100_ML)
        if self.basis == "g/100 g" and self.density_g_per_ml is not None:
            check_number(name, percent, unit=unit, high=100.0)
            density = check_number(
                "the density", self.density_g_per_ml, unit="g/mL", low=0.7, high=2.0
            )
            return percent * density
        by_mass = f'"{self.acid} {percent:g} g/100 g density {_EXAMPLE_DENSITY}"'
        where = (
            f"with its own density, in g/mL, in place of {_EXAMPLE_DENSITY}; it stands on the "
            "label or in the safety data sheet"
        )
        if self.basis == "g/100 g":
            raise AmountError(
                f"{percent:g} % {self.acid} acid by mass: its density is needed too: write "
                f"{by_mass}, {where}"
            )
        raise AmountError(
            f"{percent:g} % {self.acid} acid can be read as g/100 mL or as g/100 g, by mass, and "
            f'its label says which: write "{self.acid} {percent:g} g/100 mL", or {by_mass}, {where}'
        )

    @property
    def mol_per_ml(self) -> float:
        """Equivalents (moles of protons) in a millilitre."""
        return self.g_per_100_ml / 100 / _acid(self.acid).equivalent_g


@dataclass(frozen=True)
class AcidSwap:
    """A volume of one acid in terms of another: as that solution, and as the dry or pure acid."""

    from_ml: float
    equivalents_mol: float
    to_ml: float
    to_pure_g: float


def swap_acid(ml: float, have: AcidSolution, other: AcidSolution) -> AcidSwap:
    """How much of ``other`` neutralises as much alkali as ``ml`` of ``have``.

    Equal equivalents are not equal pH, above all between acids of different strength: a starting
    point to record and check with pH paper.
    """
    mol = check_number("the acid", ml, unit="mL", low=0.0) * have.mol_per_ml
    return AcidSwap(ml, mol, mol / other.mol_per_ml, mol * _acid(other.acid).equivalent_g)


@dataclass(frozen=True)
class AcidDilution:
    """Acid to pour into water and make up to a volume. Always shown with its caution."""

    acid_ml: float
    make_up_to_ml: float
    caution: str = CAUTION_ACID

    @property
    def words(self) -> str:
        return (
            f"Put most of the water in first, pour {self.acid_ml:.4g} mL of acid into it, and make "
            f"it up to {self.make_up_to_ml:.6g} mL."
        )


def dilute_acid(have: AcidSolution, to_g_per_100_ml: float, make_up_to_ml: float) -> AcidDilution:
    """How much of ``have`` makes a weaker solution, stated in g/100 mL."""
    strength, unit = have.g_per_100_ml, "g/100 mL"
    want = check_number("the wanted strength", to_g_per_100_ml, unit=unit, above=0.0, high=strength)
    ml = check_number("the volume to make", make_up_to_ml, unit="mL", above=0.0)
    return AcidDilution(ml * want / strength, ml)
