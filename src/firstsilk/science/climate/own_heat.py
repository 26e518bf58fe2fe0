"""On which day does each row of a large nursery reach its heat, in each of many years?

Two ways. Where rows differ in base or upper temperature every row adds up its own days, compiled, and stops on the day
it gets there. Where they share one course of daily units the course is summed once a year and each row looks its
target up in it. Importing this module imports numba: do it inside the function that needs it.
"""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
NOT_REACHED = -1
"""Stands for the day in answers where the row does not get there within the days given."""


def find_days_by_own_heat(
    tmin: ArrayLike, tmax: ArrayLike, lower: ArrayLike, upper: ArrayLike, sown: ArrayLike, target: ArrayLike
) -> NDArray[np.int32]:
    """Find the day on which each row reaches its target, each with its own base and upper temperature.

    Parameters
    ----------
    tmin, tmax
        Daily minimum and maximum (years, days), in one unit, day 0 the same date in each year.
    lower, upper
        Base and upper temperature of each row (rows,), in that unit.
    sown
        Day of sowing of each row (rows,), 0-based; the first day counted is the day after, so -1 counts day 0.
    target
        Degree days to reach, of each row (rows,), above 0.

    Returns
    -------
    NDArray[np.int32]
        0-based day (rows, years); -1 where the target is not reached within the days, or not before an unknown (NaN)
        temperature.

    Raises
    ------
    ValueError
        If the shapes do not fit, a base is above its upper temperature, a target is not above 0, or a number of a row
        is not finite.

    Notes
    -----
    Degree days of a day as in `degree_days.count_gdd_capped`: both temperatures clamped to [lower, upper], averaged,
    less lower. Time grows with rows x years x days up to the target; memory is the answer alone. The sum is taken in
    the order of the days, so a plain loop gives the same to the last digit.

    Checked by ``tests/properties/test_own_heat_laws.py`` against a slow loop, exactly.
    """
    low, high = _as_years(tmin, "tmin"), _as_years(tmax, "tmax")
    base, top = _as_row_numbers(lower, "lower"), _as_row_numbers(upper, "upper")
    start, wanted = _as_days(sown, low.shape[1]), _as_targets(target)
    if low.shape != high.shape:
        raise ValueError(f"tmin has the shape {low.shape} and tmax {high.shape}; they must be the same")
    if not base.shape == top.shape == start.shape == wanted.shape:
        raise ValueError("lower, upper, sown and target must have one number for each row")
    if (base > top).any():
        raise ValueError("a row's base temperature lies above its upper temperature")
    answer: NDArray[np.int32] = _add_up(low, high, base, top, start, wanted)
    return answer


def find_days_by_shared_heat(units: ArrayLike, sown: ArrayLike, target: ArrayLike) -> NDArray[np.int32]:
    """Find the day on which each row reaches its target, where all rows share the same daily heat units.

    Parameters
    ----------
    units
        Heat units a day (years, days), in one scale and form, none negative; NaN is unknown.
    sown
        Day of sowing of each row (rows,), 0-based; the first day counted is the day after, so -1 counts day 0.
    target
        Heat units to reach, of each row (rows,), above 0, in the scale and form of `units`.

    Returns
    -------
    NDArray[np.int32]
        0-based day (rows, years); -1 where not reached within the days or before an unknown day.

    Raises
    ------
    ValueError
        If a day has negative units (then "reached" may be undone again), a target is not above 0, or the shapes do
        not fit.

    Notes
    -----
    The running total is summed once a year and searched by halving: time grows with rows x years. A total that
    differs from the target by less than the rounding of the sum may fall on either side of it.

    Checked by ``tests/properties/test_own_heat_laws.py``: the same days as `find_days_by_own_heat`.
    """
    daily = _as_years(units, "units")
    if (daily < 0.0).any():
        raise ValueError("a day has negative heat units; use a form that is never below 0")
    start, wanted = _as_days(sown, daily.shape[1]), _as_targets(target)
    if start.shape != wanted.shape:
        raise ValueError("sown and target must have one number for each row")
    n_years, n_days = daily.shape
    unknown = np.isnan(daily)
    totals = np.zeros((n_years, n_days + 1))
    np.cumsum(np.where(unknown, 0.0, daily), axis=1, out=totals[:, 1:])
    # For each day the next unknown one, itself included; a total does not reach across it.
    holes = np.where(unknown, np.arange(n_days), n_days)
    next_hole = np.full((n_years, n_days + 1), n_days)
    next_hole[:, :n_days] = np.minimum.accumulate(holes[:, ::-1], axis=1)[:, ::-1]
    first = start + 1
    # Year by year in one piece of memory; turned at the end.
    by_year = np.empty((n_years, start.size), dtype=np.int32)
    for year in range(n_years):
        course = totals[year]
        # A target lost in the rounding of the total is reached on the first day counted at the latest.
        day = np.maximum(np.searchsorted(course, course[first] + wanted, side="left") - 1, first)
        by_year[year] = np.where(day < next_hole[year, first], day, NOT_REACHED)
    return np.ascontiguousarray(by_year.T)


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def _add_up(
    low: FloatArray,
    high: FloatArray,
    base: FloatArray,
    top: FloatArray,
    sown: NDArray[np.int64],
    target: FloatArray,
) -> NDArray[np.int32]:
    n_rows, (n_years, n_days) = base.size, low.shape
    answer = np.full((n_rows, n_years), NOT_REACHED, dtype=np.int32)
    for row in range(n_rows):
        floor, cap, wanted, after = base[row], top[row], target[row], sown[row]
        for year in range(n_years):
            total = 0.0
            for day in range(after + 1, n_days):
                # An unknown temperature makes the total NaN, which reaches nothing.
                cold, warm = low[year, day], high[year, day]
                cold = floor if cold < floor else (cap if cold > cap else cold)
                warm = floor if warm < floor else (cap if warm > cap else warm)
                total += (cold + warm) / 2.0 - floor
                if total >= wanted:
                    answer[row, year] = day
                    break
    return answer


def _as_years(values: ArrayLike, name: str) -> FloatArray:
    array = np.ascontiguousarray(values, dtype=np.float64)
    if array.ndim != 2:
        raise ValueError(f"{name} must have the shape (years, days)")
    return array


def _as_row_numbers(values: ArrayLike, name: str) -> FloatArray:
    array = np.ascontiguousarray(values, dtype=np.float64)
    if array.ndim != 1 or not np.isfinite(array).all():
        raise ValueError(f"{name} must be one finite number for each row")
    return array


def _as_targets(values: ArrayLike) -> FloatArray:
    array = _as_row_numbers(values, "target")
    if (array <= 0.0).any():
        raise ValueError("a target must be above 0")
    return array


def _as_days(sown: ArrayLike, n_days: int) -> NDArray[np.int64]:
    given = np.asarray(sown)
    if given.ndim != 1 or not np.issubdtype(given.dtype, np.integer):
        raise ValueError("sown must be one whole day number for each row")
    if given.size and not (given.min() >= -1 and given.max() < n_days):
        raise ValueError(f"a day of sowing lies outside -1 to {n_days - 1}")
    return np.ascontiguousarray(given, dtype=np.int64)
