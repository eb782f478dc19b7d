"""What is customary with acid dyes on wool and silk, for comparison: shown, and never enforced."""

from __future__ import annotations

from dataclasses import dataclass

#: The most that silk is customarily heated to in a pot, °C. Common practice, no source.
SILK_C = 85.0

COMMON_PRACTICE = "common practice, no source"
#: Not verified against the book: J. Broadbent, Basic Principles of Textile Coloration, 2001.
FROM_MEMORY = "from memory, after Broadbent 2001; not verified"


@dataclass(frozen=True)
class Custom:
    """What is usual of a thing, in words with units, and where that is from."""

    of: str
    usual: str
    source: str


CUSTOMS = (
    Custom("depth of shade", "light 0.5 %, medium 1 %, deep 2 to 4 %", COMMON_PRACTICE),
    Custom("pH of levelling acid dyes", "2.5 to 4", FROM_MEMORY),
    Custom("pH of milling acid dyes", "5 to 7", FROM_MEMORY),
    Custom("pH of a mixture of both", "4.5 to 5", FROM_MEMORY),
    Custom("wool", "to 85 to 96 °C at about 1 °C a minute, hold 20 to 30 min", COMMON_PRACTICE),
    Custom("silk and its blends", f"not above {SILK_C:g} °C", COMMON_PRACTICE),
    Custom("end of the bath", "cool in the pot to below 70 °C", COMMON_PRACTICE),
    Custom("superwash wool", "takes dye faster and deeper than untreated wool", COMMON_PRACTICE),
    Custom("stock solution", "keeps about six months", COMMON_PRACTICE),
)

FIRST = (
    "For comparison, and nothing here is held to it: the leaflet of your dye and what your own "
    "lots gave come first. Amounts of acid differ too widely between sources to name one: note "
    "yours."
)


def customary_lines() -> list[str]:
    """All of it, a line each, with its source."""
    return [f"{c.of}: {c.usual} ({c.source})" for c in CUSTOMS]
