"""In which unit does a picture say a trait, and with how many decimals?"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class TraitUnit:
    """How a trait is said: its name, its unit in full and in short, decimals, and whether less of it is wanted."""

    name: str
    unit: str
    short: str
    digits: int
    less_is_better: bool = False


UNITS = {
    "yield_kg_ha_15_5": TraitUnit("Yield", "kg/ha at 15.5 % moisture", "kg/ha", 0),
    "moisture_pct": TraitUnit("Moisture", "% moisture", "% moisture", 1, less_is_better=True),
    "erect_frac": TraitUnit("Standing", "share of plants standing", "of the plants", 3),
}
