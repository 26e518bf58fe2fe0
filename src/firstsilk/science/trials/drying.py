"""What does grain lose, cost and weigh when it is dried?

Shrink, drying fuel, market bushels, test weight.
"""

from __future__ import annotations

from firstsilk.science.trials.yields import KG_PER_LB, LB_PER_BUSHEL, change_moisture_basis

LITRES_PER_BUSHEL_US = 35.23907016688
"""Winchester bushel, by definition. (Imperial or Avery bushel: 36.36872 L.)"""
KG_HL_PER_LB_BU_US = KG_PER_LB / (LITRES_PER_BUSHEL_US / 100.0)
"""1.28719 kg/hL in one pound a US bushel, from the definitions."""
KG_HL_PER_LB_BU_AVERY = 1.247
"""kg/hL in one pound an Avery bushel, as the Canadian Grain Commission rounds it."""
CGC_CORN_INTERCEPT = 2.1025
"""Canadian Grain Commission, test weight of corn: kg/hL = 2.1025 + 0.192 g/0.5 L."""
CGC_CORN_SLOPE = 0.192
"""See `CGC_CORN_INTERCEPT`."""
PROPANE_GAL_PER_BU_POINT = 0.02
"""US gallons a bushel a point. Fanning; Midwest Plan Service, 20 gal per 100 bu for 10 points. (Hellevang: 0.022.)"""


def shrink_pct(from_pct: float, to_pct: float, handling_pct: float = 0.0) -> float:
    """Give the weight lost in drying, in percent of wet weight.

    Parameters
    ----------
    from_pct, to_pct
        Moisture before and after [% of wet weight].
    handling_pct
        Dust and broken grain lost besides [% of wet weight]; under 1 is good (Karki 2020).

    Returns
    -------
    float
        Shrink [% of wet weight].

    Notes
    -----
    ``(1 - (100 - from)/(100 - to)) 100``, plus handling.

    References
    ----------
    Karki D. 2020, South Dakota State University.

    Checked by ``tests/outside/test_agronomy_words.py`` (shrink_pct, shrink, shrink_with_handling).
    """
    return (1.0 - (100.0 - from_pct) / (100.0 - to_pct)) * 100.0 + handling_pct


def shrink_by_difference_pct(from_pct: float, to_pct: float) -> float:
    """Give the same shrink as Canada writes it: ``(from - to) 100 / (100 - to)``.

    References
    ----------
    Canadian Grain Commission, Order 2017-01.

    Checked by ``tests/outside/test_agronomy_words.py`` (shrink_cgc, shrink_forms_agree).
    """
    return (from_pct - to_pct) * 100.0 / (100.0 - to_pct)


def shrink_factor_per_point(to_pct: float) -> float:
    """Give the shrink [% of wet weight] for each point of moisture removed: ``100 / (100 - to)``.

    Checked by ``tests/outside/test_agronomy.py`` (shrink_factor_per_pt).
    """
    return 100.0 / (100.0 - to_pct)


def shrink_weight(weight: float, from_pct: float, to_pct: float, handling_pct: float = 0.0) -> float:
    """Give the weight left after drying, in the unit it came in.

    Checked by ``tests/outside/test_agronomy_words.py`` (shrink, shrink_with_handling).
    """
    return weight * (1.0 - shrink_pct(from_pct, to_pct, handling_pct) / 100.0)


def water_bushels(wet_bushels: float, from_pct: float, to_pct: float, factor_per_point: float) -> float:
    """Give the bushels of water in a wet load by a rounded factor [% a point], as elevators do.

    Checked by ``tests/outside/test_agronomy_words.py`` (wet_to_dry_bushels).
    """
    return wet_bushels * (from_pct - to_pct) * factor_per_point / 100.0


def market_bushels(weight_lb: float) -> float:
    """Give a weight [lb] in bushels of 56 lb, whatever its test weight.

    Checked by ``tests/outside/test_agronomy_words.py`` (market_bushels).
    """
    return weight_lb / LB_PER_BUSHEL


def drying_cost(
    price_per_gal: float, points: float, bushels: float = 1.0, gal_per_bu_point: float = PROPANE_GAL_PER_BU_POINT
) -> float:
    """Give the cost of propane for drying, in the currency of the price.

    Parameters
    ----------
    price_per_gal
        Price of a US gallon.
    points
        Points of moisture removed [%].
    bushels
        Bushels dried.
    gal_per_bu_point
        Use of propane [gal a bushel a point].

    Returns
    -------
    float
        Cost.

    References
    ----------
    Hellevang K., Knowing the cost of drying corn; Fanning.

    Checked by ``tests/outside/test_agronomy_words.py`` (drying_cost, drying_cost_ac).
    """
    return gal_per_bu_point * price_per_gal * points * bushels


def propane_gal_per_bu_point(gallons: float, bushels: float, points: float) -> float:
    """Give the use of propane [gal a bushel a point] from an amount used.

    Checked by ``tests/outside/test_agronomy_words.py`` (propane_use).
    """
    return gallons / bushels / points


def weigh_kg_hl(test_weight_lb_bu: float) -> float:
    """Convert test weight from pounds a US bushel to kg/hL.

    Checked by ``tests/outside/test_agronomy_words.py`` (test_weight).
    """
    return test_weight_lb_bu * KG_HL_PER_LB_BU_US


def weigh_cgc_kg_hl(half_litre_g: float) -> float:
    """Give the test weight of maize [kg/hL] from the grams in half a litre, before rounding to a whole number.

    References
    ----------
    Canadian Grain Commission, test weight.

    Checked by ``tests/outside/test_agronomy_words.py`` (test_weight_cgc_corn).
    """
    return CGC_CORN_INTERCEPT + CGC_CORN_SLOPE * half_litre_g


def weigh_cgc_lb_avery(half_litre_g: float) -> float:
    """Give the test weight of maize [lb an Avery bushel] from the grams in half a litre.

    Checked by ``tests/outside/test_agronomy_words.py`` (test_weight_cgc_corn).
    """
    return weigh_cgc_kg_hl(half_litre_g) / KG_HL_PER_LB_BU_AVERY


def weigh_when_dried(test_weight_lb_bu: float, from_pct: float, to_pct: float) -> float:
    """Give the test weight expected after drying: ``wet (100 - to) / (100 - from)``.

    Notes
    -----
    Weight for a volume of grain of the same kernels: they shrink as they dry.

    References
    ----------
    Hellevang K. 1995, NDSU, as quoted by Purdue.

    Checked by ``tests/outside/test_agronomy_words.py`` (test_weight_dried).
    """
    return float(change_moisture_basis(test_weight_lb_bu, to_pct, from_pct))
