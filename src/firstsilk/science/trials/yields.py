"""What is a plot's yield, at a stated moisture and on a stated area?

Plot weights stay as they were weighed; every adjustment is one of these formulas. Percent moisture is of wet weight.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

KG_PER_LB = 0.45359237
"""International pound, by definition."""
M2_PER_ACRE = 4046.8564224
"""International acre, by definition: 43 560 square feet of 0.3048 m."""
FT2_PER_ACRE = 43_560.0
"""By definition."""
LB_PER_BUSHEL = 56.0
"""Shelled maize, by convention. (A bushel of ear corn is by convention 70 lb.)"""
STANDARD_MOISTURE_PCT = 15.5
"""Trade moisture of maize in North America. (14 %: Europe and Canada at times; 12.5 % in some vocabularies.)"""
KG_HA_PER_BU_AC = LB_PER_BUSHEL * KG_PER_LB / (M2_PER_ACRE / 10_000.0)
"""62.7677 kg/ha in one bushel an acre, from the definitions."""
BUSHELS_PER_TONNE = 1000.0 / (LB_PER_BUSHEL * KG_PER_LB)
"""39.3683 bushels in a tonne, from the definitions."""

EAR_CORN_LB_PER_BU: tuple[tuple[float, float], ...] = (
    (10.0, 63.49),
    (15.0, 67.89),
    (15.5, 68.40),
    (18.0, 71.31),
    (20.0, 73.96),
    (25.0, 81.25),
    (28.0, 85.62),
    (30.0, 88.50),
    (35.0, 95.71),
)
"""Kernel moisture [%] and pounds of ear corn that shell to 56 lb at 15.5 %. Values credited to M. Zuber, Missouri;
Lindsey & Zoller 2018, Useful Tables, AGF-502, Ohio State. Hybrids; weigh cobs of inbreds yourself."""


def change_moisture_basis(weight: ArrayLike, from_pct: ArrayLike, to_pct: ArrayLike) -> FloatArray:
    """Restate a weight or a yield at another moisture; the dry matter stays the same.

    Parameters
    ----------
    weight
        Weight or yield [any unit], any shape.
    from_pct, to_pct
        Moisture it has and moisture wanted [% of wet weight], below 100.

    Returns
    -------
    FloatArray
        Weight or yield in the same unit.

    Notes
    -----
    ``weight (100 - from) / (100 - to)``.

    Checked by ``tests/outside/test_agronomy_words.py`` (moisture_basis).
    """
    dry = np.asarray(weight, dtype=np.float64) * (100.0 - np.asarray(from_pct, dtype=np.float64))
    return np.asarray(dry / (100.0 - np.asarray(to_pct, dtype=np.float64)))


def yield_kg_ha(
    weight_kg: ArrayLike, area_m2: ArrayLike, moisture_pct: ArrayLike, standard_pct: float = STANDARD_MOISTURE_PCT
) -> FloatArray:
    """Give grain yield per hectare at a standard moisture.

    Parameters
    ----------
    weight_kg
        Grain weight as harvested [kg] (plots,).
    area_m2
        Harvested area [m²] (plots,).
    moisture_pct
        Grain moisture as harvested [% of wet weight] (plots,).
    standard_pct
        Moisture the yield is stated at [%]; 15.5 if not said, 0 for dry matter.

    Returns
    -------
    FloatArray
        Yield at that moisture [kg/ha] (plots,).

    References
    ----------
    Meyer R. 2012, Colorado State University, in SI units.

    Checked by ``tests/outside/test_agronomy.py`` (yield_kg_ha).
    """
    standard = change_moisture_basis(weight_kg, moisture_pct, standard_pct)
    return np.asarray(standard * 10_000.0 / np.asarray(area_m2, dtype=np.float64))


def yield_bu_ac(
    weight_lb: ArrayLike, area_ft2: ArrayLike, moisture_pct: ArrayLike, standard_pct: float = STANDARD_MOISTURE_PCT
) -> FloatArray:
    """Give grain yield in bushels an acre.

    Parameters
    ----------
    weight_lb
        Grain weight as harvested [lb] (plots,).
    area_ft2
        Harvested area [ft²] (plots,).
    moisture_pct
        Grain moisture as harvested [% of wet weight] (plots,).
    standard_pct
        Moisture the yield is stated at [%].

    Returns
    -------
    FloatArray
        Yield [bu/ac of 56 lb] (plots,).

    References
    ----------
    Meyer R. 2012, Colorado State University.

    Checked by ``tests/outside/test_agronomy.py`` (yield_bu_ac).
    """
    acres = np.asarray(area_ft2, dtype=np.float64) / FT2_PER_ACRE
    return np.asarray(change_moisture_basis(weight_lb, moisture_pct, standard_pct) / LB_PER_BUSHEL / acres)


def yield_constant(standard_pct: float = STANDARD_MOISTURE_PCT) -> float:
    """Give the constant c of ``bu/ac = (100 - M) lb c / row ft / row in / rows``; 110.465 at 15.5 %.

    Checked by ``tests/outside/test_agronomy_words.py`` (yield_constant).
    """
    return FT2_PER_ACRE * 12.0 / ((100.0 - standard_pct) * LB_PER_BUSHEL)


def plot_area_ac(row_ft: ArrayLike, row_in: ArrayLike, rows: ArrayLike = 1) -> FloatArray:
    """Give a plot's area [ac] from row length [ft], row width [in] and number of rows.

    Checked by ``tests/outside/test_agronomy.py`` (plot_area_acres).
    """
    square_feet = np.asarray(row_ft, dtype=np.float64) * np.asarray(row_in, dtype=np.float64) / 12.0
    return np.asarray(square_feet * np.asarray(rows, dtype=np.float64) / FT2_PER_ACRE)


def convert_bu_ac_to_kg_ha(yield_in_bu_ac: ArrayLike) -> FloatArray:
    """Convert bushels an acre to kg/ha, both at the same moisture.

    Checked by ``tests/outside/test_agronomy_words.py`` (bu_ac_to_kg_ha).
    """
    return np.asarray(yield_in_bu_ac, dtype=np.float64) * KG_HA_PER_BU_AC


def convert_kg_ha_to_bu_ac(yield_in_kg_ha: ArrayLike) -> FloatArray:
    """Convert kg/ha to bushels an acre, both at the same moisture.

    Checked by ``tests/outside/test_agronomy_words.py`` (t_ha_to_bu_ac).
    """
    return np.asarray(yield_in_kg_ha, dtype=np.float64) / KG_HA_PER_BU_AC


def dry_matter_lb_per_bushel(moisture_pct: float = STANDARD_MOISTURE_PCT) -> float:
    """Give the dry matter [lb] in a 56-lb bushel at a moisture [%].

    Checked by ``tests/outside/test_agronomy_words.py`` (dry_matter_per_bushel).
    """
    return LB_PER_BUSHEL * (100.0 - moisture_pct) / 100.0


def shelled_lb_per_bushel(moisture_pct: ArrayLike) -> FloatArray:
    """Give the shelled grain [lb] at a moisture [%] that makes one bushel at 15.5 %.

    References
    ----------
    Lindsey & Zoller 2018, AGF-502, Ohio State.

    Checked by ``tests/outside/test_agronomy.py`` (shelled_lb_per_bu).
    """
    return change_moisture_basis(LB_PER_BUSHEL, STANDARD_MOISTURE_PCT, moisture_pct)


def ear_corn_lb_per_bushel(moisture_pct: ArrayLike) -> FloatArray:
    """Give the ear corn [lb] that shells to one bushel at 15.5 %, by kernel moisture.

    Parameters
    ----------
    moisture_pct
        Kernel moisture [%], 10 to 35, any shape.

    Returns
    -------
    FloatArray
        Ear corn [lb]; between the table's moistures in a straight line; NaN outside it.

    Checked by ``tests/outside/test_agronomy.py`` (ear_corn_lb_per_bu).
    """
    moistures, pounds = zip(*EAR_CORN_LB_PER_BU, strict=True)
    return np.asarray(
        np.interp(np.asarray(moisture_pct, dtype=np.float64), moistures, pounds, left=np.nan, right=np.nan)
    )
