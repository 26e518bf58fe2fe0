"""How many degree days did a day bring, by the forms that work with averages?

The corn method clamps both temperatures and then averages; the others average first, or clamp at one end only. They
differ by several units on a cool night, so a sum is worth nothing without the name of its form.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from firstsilk.science.climate.temperatures import FloatArray


@dataclass(frozen=True, slots=True)
class DegreeDayLimits:
    """Lower and upper temperature of a degree-day method, in one unit."""

    lower: float
    upper: float


GDD_C = DegreeDayLimits(10.0, 30.0)
"""The corn method in °C. Nielsen 2020, Heat Unit Concepts Related to Corn Development, Purdue."""
GDD_F = DegreeDayLimits(50.0, 86.0)
"""The corn method in °F. Nielsen 2020; Eckert & Thomison 2017, AGF-101, Ohio State; Gilmore & Rogers 1958."""


def count_gdd_capped(tmin: ArrayLike, tmax: ArrayLike, limits: DegreeDayLimits = GDD_C) -> FloatArray:
    """Count growing degree days by the corn method: clamp both temperatures, then average.

    Parameters
    ----------
    tmin, tmax
        Daily minimum and maximum [unit of `limits`], same shape.
    limits
        Lower and upper temperature; `GDD_C` or `GDD_F`.

    Returns
    -------
    FloatArray
        Degree days a day [unit of `limits`], from 0 to ``upper - lower``; NaN where a temperature is NaN.

    Notes
    -----
    Each of the two is clamped at both ends (the reading that keeps the result in its range); this is method 2 of
    the reference, with an upper limit.

    References
    ----------
    Nielsen R.L. 2020, Heat Unit Concepts Related to Corn Development, Purdue University.
    McMaster G.S., Wilhelm W.W. 1997, Agric. For. Meteorol. 87:291-300.

    Checked by ``tests/outside/test_agronomy.py`` (gdd_f_capped, gdd_c_capped).
    """
    low = np.clip(np.asarray(tmin, dtype=np.float64), limits.lower, limits.upper)
    high = np.clip(np.asarray(tmax, dtype=np.float64), limits.lower, limits.upper)
    return np.asarray((low + high) / 2.0 - limits.lower)


def count_gdd_plain(tmin: ArrayLike, tmax: ArrayLike, base: float) -> FloatArray:
    """Count growing degree days as the plain average above a base, never below 0.

    Parameters
    ----------
    tmin, tmax
        Daily minimum and maximum [unit of `base`], same shape.
    base
        Base temperature, e.g. 10 °C or 50 °F for maize, 5 °C for lucerne, 0 °C for cereals in Ontario.

    Returns
    -------
    FloatArray
        Degree days a day, 0 or more, without upper limit.

    References
    ----------
    OMAFRA, Publication 811, growing degree days and crop heat units.

    Checked by ``tests/outside/test_agronomy.py`` (gdd_f_plain, gdd_c_plain).
    """
    mean = (np.asarray(tmin, dtype=np.float64) + np.asarray(tmax, dtype=np.float64)) / 2.0
    return count_gdd_from_means(mean, base)


def count_gdd_from_means(tmean: ArrayLike, base: float) -> FloatArray:
    """Count growing degree days from daily mean temperatures.

    Parameters
    ----------
    tmean
        Daily mean [unit of `base`], any shape.
    base
        Base temperature.

    Returns
    -------
    FloatArray
        Degree days a day, 0 or more.

    References
    ----------
    xclim 0.62.0, growing_degree_days.

    Checked by ``tests/outside/test_agronomy.py`` (gdd_c_from_means_sum).
    """
    return np.asarray(np.maximum(np.asarray(tmean, dtype=np.float64) - base, 0.0))


def count_gdd_mean_clamped(tmin: ArrayLike, tmax: ArrayLike, limits: DegreeDayLimits = GDD_C) -> FloatArray:
    """Count growing degree days by McMaster and Wilhelm's method 1: average first, then clamp the mean.

    Parameters
    ----------
    tmin, tmax
        Daily minimum and maximum [unit of `limits`], same shape.
    limits
        Lower and upper temperature of the mean.

    Returns
    -------
    FloatArray
        Degree days a day, from 0 to ``upper - lower``; never above method 2 while tmax is under the upper limit.

    References
    ----------
    McMaster G.S., Wilhelm W.W. 1997, Agric. For. Meteorol. 87:291-300.

    Checked by ``tests/outside/test_agronomy.py`` (gdd_c_method1).
    """
    mean = (np.asarray(tmin, dtype=np.float64) + np.asarray(tmax, dtype=np.float64)) / 2.0
    return np.asarray(np.clip(mean, limits.lower, limits.upper) - limits.lower)
