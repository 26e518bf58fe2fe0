"""How many degree days did a day's hours bring?

Corn heat units have no hourly form: their two parts are defined on the day's minimum and maximum.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from firstsilk.science.climate.degree_days import DegreeDayLimits, count_gdd_from_means
from firstsilk.science.climate.temperatures import FloatArray


def count_gdd_hourly(hours: ArrayLike, limits: DegreeDayLimits) -> FloatArray:
    """Count degree days as degree hours divided by 24, each hour clamped to the limits.

    Parameters
    ----------
    hours
        Temperature of each hour [unit of `limits`] (days, 24); NaN is unknown.
    limits
        Lower and upper temperature; without an upper limit give it as infinity.

    Returns
    -------
    FloatArray
        Degree days a day (days,), from 0 to ``upper - lower``: the mean over the hours known, which is the sum over
        24 where all are; NaN for a day without any. How many hours a day needs is for the caller to say.

    References
    ----------
    The definition of the degree day as degree hours over 24, with the corn method's clamping put on each hour:
    Luedeling E., chillR 0.75, GDD (the formula's description there).

    Checked by ``tests/science/test_hourly_heat.py``, by hand and as the limit of the sine of
    `degree_day_curves.count_gdd_curve`.
    """
    grid = np.asarray(hours, dtype=np.float64)
    return _mean_known(np.clip(grid, limits.lower, limits.upper) - limits.lower)


def count_gdd_hourly_mean(hours: ArrayLike, lower: float) -> FloatArray:
    """Count degree days from the mean of a day's hours, 0 where that is below the base.

    Parameters
    ----------
    hours
        Temperature of each hour [unit of `lower`] (days, 24); NaN is unknown.
    lower
        Base temperature.

    Returns
    -------
    FloatArray
        Degree days a day (days,), 0 or more, without upper limit; NaN for a day without a known hour.

    References
    ----------
    xclim 0.62.0, growing_degree_days.

    Checked by ``tests/outside/test_heat_beside_xclim.py``.
    """
    return count_gdd_from_means(_mean_known(np.asarray(hours, dtype=np.float64)), lower)


def _mean_known(grid: FloatArray) -> FloatArray:
    known = ~np.isnan(grid)
    counts = known.sum(axis=-1)
    total = np.where(known, grid, 0.0).sum(axis=-1)
    return np.where(counts > 0, total / np.maximum(counts, 1), np.nan)
