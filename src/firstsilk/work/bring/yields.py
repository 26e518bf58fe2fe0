"""What did a plot yield, if its weight, moisture and area are known?"""

from __future__ import annotations

from firstsilk.science.trials.yields import yield_kg_ha


def find_yield(weight_kg: float | None, moisture_pct: float | None, area_m2: float | None) -> float | None:
    """Grain at 15.5 % moisture [kg/ha], or None where one of the three is not known or cannot be."""
    if weight_kg is None or moisture_pct is None or not area_m2:
        return None
    if weight_kg < 0 or not 0 <= moisture_pct < 100 or area_m2 < 0:
        return None
    return float(yield_kg_ha(weight_kg, area_m2, moisture_pct))
