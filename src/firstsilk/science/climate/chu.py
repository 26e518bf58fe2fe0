"""How many corn heat units did a day bring, by each published set of constants?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from firstsilk.science.climate.temperatures import FloatArray


@dataclass(frozen=True, slots=True)
class ChuConstants:
    """Numbers of one published form of corn heat units; temperatures in °C.

    The day part is ``day_slope x - day_curve x^2`` with ``x = tmax - day_base_c``; the night part is
    ``night_slope (tmin - night_base_c)``; the units are half their sum. `floored` sets each part to 0 if negative.
    """

    day_slope: float
    day_curve: float
    day_base_c: float
    night_slope: float
    night_base_c: float
    floored: bool


CHU_ONTARIO = ChuConstants(3.33, 0.084, 10.0, 1.8, 4.4, True)
"""Ontario. Brown & Bootsma 1993, Agdex 111/31 (title from memory); Weather Innovations, Crop Heat Unit."""
CHU_UNFLOORED = ChuConstants(3.33, 0.084, 10.0, 1.8, 4.4, False)
"""The same without floors, so a cool day can be negative. Agriculture and Agri-Food Canada, open data layer."""
CHU_NIGHT_4_44 = ChuConstants(3.33, 0.084, 10.0, 1.8, 4.44, True)
"""Night base 4.44 °C (40 °F). Bootsma et al. 1999 and Audet et al. 2012, as cited by xclim 0.62.0, its default."""
CHU_PRAIRIE = ChuConstants(3.30, 0.082, 10.0, 1.8, 4.4, True)
"""A prairie province's constants (provincial agriculture page). Floors assumed, the page does not say."""


def count_chu(tmin_c: ArrayLike, tmax_c: ArrayLike, constants: ChuConstants = CHU_ONTARIO) -> FloatArray:
    """Count corn heat units of a day.

    Parameters
    ----------
    tmin_c, tmax_c
        Daily minimum and maximum [°C], same shape, midnight to midnight.
    constants
        The published form; Ontario's if not said.

    Returns
    -------
    FloatArray
        Corn heat units a day [CHU]; NaN where a temperature is NaN.

    Notes
    -----
    Ontario: half of ``max(0, 3.33 (tmax - 10) - 0.084 (tmax - 10)^2) + max(0, 1.8 (tmin - 4.4))``. The day part
    peaks at 29.82 °C and is 0 again from 49.64 °C; the night part has no ceiling.

    References
    ----------
    Weather Innovations, Crop Heat Unit; OMAFRA 2025, Using Crop Heat Units.

    Checked by ``tests/outside/test_agronomy.py`` (chu_ontario, chu_444_clipped, chu_unclipped_AAFC,
    chu_prairie_3.30_0.082).
    """
    warmth = np.asarray(tmax_c, dtype=np.float64) - constants.day_base_c
    day = constants.day_slope * warmth - constants.day_curve * warmth**2
    night = constants.night_slope * (np.asarray(tmin_c, dtype=np.float64) - constants.night_base_c)
    if constants.floored:
        day, night = np.maximum(day, 0.0), np.maximum(night, 0.0)
    return np.asarray((day + night) / 2.0)


def find_chu_peak_c(constants: ChuConstants = CHU_ONTARIO) -> float:
    """Find the maximum temperature at which the day part of corn heat units is largest [°C].

    Checked by ``tests/outside/test_agronomy.py`` (chu_ymax_peak).
    """
    return constants.day_base_c + constants.day_slope / (2.0 * constants.day_curve)


def find_chu_end_c(constants: ChuConstants = CHU_ONTARIO) -> float:
    """Find the maximum temperature at which the day part of corn heat units has fallen back to 0 [°C].

    Checked by ``tests/outside/test_agronomy.py`` (chu_ymax_zero_again).
    """
    return constants.day_base_c + constants.day_slope / constants.day_curve
