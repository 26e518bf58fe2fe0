"""At which growth stage is maize after so many heat units?

Published coefficients differ: after 785 GDD one puts the plant at V8, another at V11. The set is always named. All
are for commercial hybrids; inbreds are usually slower for the same rating.
"""

from __future__ import annotations

from dataclasses import dataclass

EMERGENCE_GDD_F = 115.0
"""Planting to emergence [gdd_f]. Purdue, 2016, range 90-120. (100-120 Nielsen 2020; 125 Lauer; 120 Iowa; 150 AgWeb
2011 as the gap between ratings from planting and from emergence.)"""
EMERGENCE_CHU = 170.0
"""Planting to emergence [chu]. Cowan, AGRIS, 160-170. (165-175 RealAg 2020.)"""
LATE_GDD_F_PER_DAY = 6.8
"""Fewer gdd_f to black layer for each day of planting after 1 May. Nielsen; Thomison. (3.8: Nielsen et al. 2002,
Agron. J. 94:549-558; seed companies about 5 to 6.)"""
CHU_PER_RM_DAY = 30.0
"""chu for each relative-maturity day. Mahanna & Thomas."""
MOISTURE_POINTS_PER_RM_DAY = 0.5
"""Points of harvest moisture for a relative-maturity day. Nielsen. (0.5-0.75: Ohio State.)"""


@dataclass(frozen=True, slots=True)
class LeafRates:
    """gdd_f for each leaf collar: `early` up to leaf `change_at`, `later` after it."""

    early: float
    change_at: float
    later: float


LEAVES_PURDUE = LeafRates(82.0, 10.0, 50.0)
"""Nielsen, from Wuethrich 1997, Purdue."""
LEAVES_IOWA = LeafRates(84.0, 10.0, 56.0)
"""Abendroth et al. 2011, Iowa State, as quoted by an industry agronomy note."""
LEAVES_FAR_NORTH = LeafRates(59.0, 10.0, 59.0)
"""Hybrids of 73-87 relative maturity, NW Minnesota and E North Dakota, 2015-17. For a short season use this."""
LEAVES_NEBRASKA = LeafRates(60.0, 10.0, 60.0)
"""High Plains Regional Climate Center, coefficients table: 60 gdd_f a leaf; use its differences only."""

GDD_F_TO_BLACK_LAYER_LAUER: dict[str, tuple[float, float, float]] = {
    "R1": (1000.0, 1100.0, 1200.0),
    "R2": (800.0, 880.0, 960.0),
    "R3.5": (600.0, 660.0, 720.0),
    "R4.5": (400.0, 440.0, 480.0),
    "R5": (200.0, 220.0, 240.0),
}
"""gdd_f still needed at a stage, for relative maturity 85-90, 95-105, 110-120. Lauer, W028, from Carter 1991."""
LAUER_GROUPS: tuple[str, str, str] = ("85-90", "95-105", "110-120")
"""The maturity groups of `GDD_F_TO_BLACK_LAYER_LAUER`."""


def count_leaf_stage(gdd_f_since_emergence: float, rates: LeafRates = LEAVES_FAR_NORTH) -> float:
    """Give the V stage, with its fraction, from heat units since emergence.

    Parameters
    ----------
    gdd_f_since_emergence
        Heat units since emergence [gdd_f]; below 0 means not emerged.
    rates
        The published leaf rates.

    Returns
    -------
    float
        Number of visible collars, with fraction; 0 before emergence. Not limited above, so meaningless after the
        last leaf.

    References
    ----------
    Nielsen R.L., leaf-stage prediction by thermal time, Purdue.

    Checked by ``tests/outside/test_agronomy_words.py`` (vstage_from_gdd_f).
    """
    early = rates.early * rates.change_at
    if gdd_f_since_emergence <= early:
        return max(gdd_f_since_emergence, 0.0) / rates.early
    return rates.change_at + (gdd_f_since_emergence - early) / rates.later


def gdd_f_to_leaf(leaf: float, emergence_gdd_f: float = EMERGENCE_GDD_F, rates: LeafRates = LEAVES_FAR_NORTH) -> float:
    """Give the heat units from planting to a V stage [gdd_f]; the inverse of `count_leaf_stage`.

    Checked by ``tests/outside/test_agronomy_words.py`` (vstage_gdd_after_V10).
    """
    early = min(leaf, rates.change_at) * rates.early
    return emergence_gdd_f + early + max(leaf - rates.change_at, 0.0) * rates.later


def days_per_leaf(gdd_f_per_leaf: float, gdd_f_per_day: float) -> float:
    """Give the days from one collar to the next.

    Checked by ``tests/outside/test_agronomy.py`` (days_per_leaf).
    """
    return gdd_f_per_leaf / gdd_f_per_day


def chu_since_emergence(chu_since_planting: float, emergence_chu: float = EMERGENCE_CHU) -> float:
    """Give the chu since emergence, 0 before it.

    Checked by ``tests/outside/test_agronomy.py`` (chu_after_emergence).
    """
    return max(chu_since_planting - emergence_chu, 0.0)


def rating_from_planting_gdd_f(rating_from_emergence_gdd_f: float, emergence_gdd_f: float = EMERGENCE_GDD_F) -> float:
    """Turn a rating counted from emergence into one counted from planting [gdd_f].

    Checked by ``tests/outside/test_agronomy_words.py`` (emergence_offset).
    """
    return rating_from_emergence_gdd_f + emergence_gdd_f


def late_planting_cut_gdd_f(days_after_1_may: float, per_day: float = LATE_GDD_F_PER_DAY) -> float:
    """Give by how much fewer heat units a late-planted hybrid needs to black layer [gdd_f].

    References
    ----------
    Nielsen R.L., Hybrid maturity decisions for delayed planting, Purdue; Thomison P., Ohio State.

    Checked by ``tests/outside/test_agronomy.py`` (gdd_to_black_layer_late).
    """
    return days_after_1_may * per_day


def late_planting_need_gdd_f(
    normal_gdd_f: float, days_after_1_may: float, per_day: float = LATE_GDD_F_PER_DAY
) -> float:
    """Give the heat units a late-planted hybrid needs to black layer [gdd_f].

    Checked by ``tests/outside/test_agronomy.py`` (gdd_to_black_layer_late).
    """
    return normal_gdd_f - late_planting_cut_gdd_f(days_after_1_may, per_day)


def gdd_f_to_black_layer(relative_maturity_days: float) -> float:
    """Give the heat units from planting to black layer of a relative maturity [gdd_f]: 1900 at 75, 20 a day more.

    References
    ----------
    North Dakota State University 2004: 75 about 1900, 95 about 2300.

    Checked by ``tests/outside/test_agronomy.py`` (gdd_planting_to_black_layer).
    """
    return 1900.0 + 20.0 * (relative_maturity_days - 75.0)


def gdd_f_to_silk_by_line(relative_maturity_days: float) -> float:
    """Give the heat units to silk by a straight line in relative maturity [gdd_f] (from memory).

    Checked by ``tests/outside/test_agronomy.py`` (gdd_silk_u2u), itself from memory.
    """
    return 11.459 * relative_maturity_days + 100.27


def gdd_f_to_black_layer_by_line(relative_maturity_days: float) -> float:
    """Give the heat units to black layer by a straight line in relative maturity [gdd_f] (from memory).

    Checked by ``tests/outside/test_agronomy.py`` (gdd_black_layer_u2u), itself from memory.
    """
    return 24.16 * relative_maturity_days - 15.388


def gdd_f_left_to_black_layer(stage: str, group: str) -> float:
    """Give the heat units still needed at a stage [gdd_f], for a maturity group of Wisconsin's table.

    Raises
    ------
    KeyError
        If the table has no such stage or group.

    Checked by ``tests/outside/test_agronomy.py`` (gdd_silk_to_black_layer, gdd_dent_R5_to_black_layer).
    """
    if group not in LAUER_GROUPS or stage not in GDD_F_TO_BLACK_LAYER_LAUER:
        raise KeyError(f"the table has the groups {LAUER_GROUPS} and the stages {tuple(GDD_F_TO_BLACK_LAYER_LAUER)}")
    return GDD_F_TO_BLACK_LAYER_LAUER[stage][LAUER_GROUPS.index(group)]


def chu_from_relative_maturity(relative_maturity_days: float, per_day: float = CHU_PER_RM_DAY) -> float:
    """Give a rough corn heat unit rating from relative maturity [chu].

    Checked by ``tests/outside/test_agronomy.py`` (chu_from_rm).
    """
    return relative_maturity_days * per_day


def relative_maturity_from_moisture(
    check_days: float, moisture_above_check_points: float, points_per_day: float = MOISTURE_POINTS_PER_RM_DAY
) -> float:
    """Give the relative maturity of an entry from its harvest moisture against a check's.

    Checked by ``tests/outside/test_agronomy_words.py`` (rm_from_moisture).
    """
    return check_days + moisture_above_check_points / points_per_day
