"""How many plants stand on a plot, how many lie, and what does that say about yield?"""

from __future__ import annotations

import math
from dataclasses import dataclass

from firstsilk.science.trials.yields import FT2_PER_ACRE

ROOT_LODGED_DEGREES = 30.0
"""A plant leaning more than this is root lodged. Goodman et al. 1992. (45 in an international trait vocabulary.)"""
SELECTION_MOISTURE_WEIGHT = 5.0
"""Bushels that a point of moisture costs in the selection number. Goodman et al. 1992."""
KERNELS_PER_FT2_PER_BU_AC = 2.0
"""Kernels lost on a square foot for a bushel an acre. Hanna; Bechman 2021."""
KERNELS_THOUSANDS_PER_BUSHEL = 90.0
"""Thousand kernels in a bushel, a usual year. extension.org. (75 to 95 by season, 110 dry.)"""
YIELD_FACTOR_MSU = 0.013
"""Bushels a thousand kernels, Michigan State University's yield check page (address not kept)."""


@dataclass(frozen=True, slots=True)
class Lodging:
    """Shares of plants, in percent of the final stand: root lodged, stalk lodged, erect."""

    root_pct: float
    stalk_pct: float
    erect_pct: float


def row_length_ft(row_in: float, acre_share: float = 1.0 / 1000.0) -> float:
    """Give the length of row [ft] that holds a share of an acre, by row width [in].

    References
    ----------
    University of Tennessee 2011, Checking corn populations.

    Checked by ``tests/outside/test_agronomy_words.py`` (row_length_1_1000_acre, row_length_1_100_acre).
    """
    return FT2_PER_ACRE * acre_share * 12.0 / row_in


def row_length_m(row_cm: float, hectare_share: float = 1.0 / 1000.0) -> float:
    """Give the length of row [m] that holds a share of a hectare, by row width [cm].

    Checked by ``tests/outside/test_agronomy_words.py`` (row_length_1_1000_ha).
    """
    return 10_000.0 * hectare_share * 100.0 / row_cm


def plants_per_acre(plants: float, row_ft: float, row_in: float) -> float:
    """Give the plants an acre from a count on a length of row [ft] of a width [in].

    Checked by ``tests/outside/test_agronomy_words.py`` (population).
    """
    return plants * row_length_ft(row_in, 1.0) / row_ft


def seed_spacing_in(seeds_per_acre: float, row_in: float) -> float:
    """Give the distance between seeds in the row [in].

    References
    ----------
    Lindsey & Zoller 2018, AGF-502, Ohio State.

    Checked by ``tests/outside/test_agronomy.py`` (seed_spacing_in).
    """
    return row_length_ft(row_in, 1.0) * 12.0 / seeds_per_acre


def plants_after_loss(seeds: float, loss_pct: float) -> float:
    """Give the plants left of seeds sown after a loss [%].

    Checked by ``tests/outside/test_agronomy.py`` (final_population).
    """
    return seeds * (1.0 - loss_pct / 100.0)


def stand_pct(count: float, intended: float) -> float:
    """Give the stand in percent of the intended one; above 100 where it was overplanted.

    References
    ----------
    Goodman M. et al. 1992, North Carolina maize trials.

    Checked by ``tests/outside/test_agronomy.py`` (stand_pct).
    """
    return 100.0 * count / intended


def measure_lodging(stand: int, root_lodged: int, stalk_lodged: int) -> Lodging:
    """Give the shares of root lodged, stalk lodged and erect plants.

    Parameters
    ----------
    stand
        Plants on the plot at harvest, not seeds sown.
    root_lodged
        Plants leaning more than 30 degrees.
    stalk_lodged
        Plants broken below the ear, or with a dropped ear; a plant is in one class only.

    Returns
    -------
    Lodging
        Shares [%], adding up to 100.

    Raises
    ------
    ValueError
        If a count is negative, there is no stand, or more plants lie than stand.

    References
    ----------
    Goodman M. et al. 1992, North Carolina maize trials.

    Checked by ``tests/outside/test_agronomy_words.py`` (lodging).
    """
    if stand < 1 or min(root_lodged, stalk_lodged) < 0 or root_lodged + stalk_lodged > stand:
        raise ValueError(f"{root_lodged} root and {stalk_lodged} stalk lodged plants do not fit a stand of {stand}")
    root, stalk = 100.0 * root_lodged / stand, 100.0 * stalk_lodged / stand
    return Lodging(root, stalk, 100.0 - root - stalk)


def selection_number(erect_pct: float, yield_in_bu_ac: float, moisture_pct: float) -> float:
    """Give North Carolina's selection number: erect + yield - 5 x moisture.

    References
    ----------
    Goodman M. et al. 1992, North Carolina maize trials.

    Checked by ``tests/outside/test_agronomy.py`` (select_index).
    """
    return erect_pct + yield_in_bu_ac - SELECTION_MOISTURE_WEIGHT * moisture_pct


def estimate_yield_bu_ac(
    ears: float, kernel_rows: float, kernels_per_row: float, thousands_per_bushel: float = KERNELS_THOUSANDS_PER_BUSHEL
) -> float:
    """Estimate yield before harvest from the ears on 1/1000 acre.

    Parameters
    ----------
    ears
        Harvestable ears on 1/1000 acre.
    kernel_rows, kernels_per_row
        Means of the ears counted.
    thousands_per_bushel
        Thousand kernels in a bushel.

    Returns
    -------
    float
        Yield [bu/ac]; a rough guess.

    References
    ----------
    extension.org, How can you estimate corn yield prior to harvest.

    Checked by ``tests/outside/test_agronomy_words.py`` (yield_estimate_components).
    """
    return ears * kernel_rows * kernels_per_row / thousands_per_bushel


def harvest_loss_bu_ac(kernels: float, area_ft2: float = 1.0) -> float:
    """Give the grain left on the field [bu/ac] from kernels counted on an area [ft²].

    Checked by ``tests/outside/test_agronomy_words.py`` (harvest_loss).
    """
    return kernels / area_ft2 / KERNELS_PER_FT2_PER_BU_AC


def feet_and_inches(length_ft: float) -> tuple[int, float]:
    """Split a length [ft] into whole feet and inches."""
    feet = math.floor(length_ft)
    return feet, (length_ft - feet) * 12.0
