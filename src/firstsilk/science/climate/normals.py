"""How does this year's running total of heat units compare with that of past years on the same date?

Years are lined up on month and day, so that 1 June is compared with 1 June. The units of 29 February are in the
total from 1 March on, and the day has no row of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import ArrayLike, NDArray


@dataclass(frozen=True, slots=True)
class HeatNormals:
    """Quantiles over years of the running total of heat units, by date.

    `month_day` (days,) are the dates in order, `levels` (levels,) the shares, `totals` (levels, days) the running
    totals [scale of the input], `years` (days,) how many years stand behind each date.
    """

    month_day: tuple[tuple[int, int], ...]
    levels: tuple[float, ...]
    totals: NDArray[np.float64]
    years: NDArray[np.int64]


def sum_by_year(
    days: Sequence[date], daily_units: ArrayLike, start: tuple[int, int], end: tuple[int, int]
) -> tuple[tuple[int, ...], tuple[tuple[int, int], ...], NDArray[np.float64]]:
    """Sum heat units from a start date on, for each year, lined up on month and day.

    Parameters
    ----------
    days
        Dates (days,), any order, none twice.
    daily_units
        Heat units [any one scale] (days,); NaN is unknown.
    start, end
        Month and day of the first and last day counted. An end before the start lies in the next year.

    Returns
    -------
    years, month_day, totals
        The years in which the start falls (years,), the dates (dates,), and the running totals (years, dates);
        NaN from the first unknown day of a year on.

    Checked by ``tests/science/test_normals.py``.
    """
    known = dict(zip(days, np.asarray(daily_units, dtype=np.float64).tolist(), strict=True))
    years = tuple(sorted({day.year for day in known if (day.month, day.day) == start}))
    dates = _dates_between(start, end)
    totals = np.full((len(years), len(dates)), np.nan)
    column = {month_day: index for index, month_day in enumerate(dates)}
    for row, year in enumerate(years):
        first = date(year, *start)
        last = date(year + (end < start), *end)
        total = 0.0
        for step in range((last - first).days + 1):
            day = first + timedelta(days=step)
            total += known.get(day, float("nan"))
            if (day.month, day.day) in column:
                totals[row, column[(day.month, day.day)]] = total
    return years, dates, totals


def _dates_between(start: tuple[int, int], end: tuple[int, int]) -> tuple[tuple[int, int], ...]:
    """Month and day of each date of a common year from start to end."""
    first = date(2001, *start)
    last = date(2001 + (end < start), *end)
    every = [first + timedelta(days=step) for step in range((last - first).days + 1)]
    return tuple((day.month, day.day) for day in every)


def build_heat_normals(
    days: Sequence[date],
    daily_units: ArrayLike,
    start: tuple[int, int],
    end: tuple[int, int] = (12, 31),
    levels: Sequence[float] = (0.1, 0.5, 0.9),
) -> HeatNormals:
    """Build the normal course of heat units: by date, the median and the outer shares of the years.

    Parameters
    ----------
    days
        Dates (days,), any order, none twice; leave this year's out to compare it with the others.
    daily_units
        Heat units [any one scale] (days,); NaN is unknown.
    start, end
        Month and day of the first and last day counted.
    levels
        Shares of years, between 0 and 1.

    Returns
    -------
    HeatNormals
        Quantiles (type 7) by date; NaN where no year is known.

    Notes
    -----
    A year stops counting at its first unknown day, so late dates may rest on fewer years.

    Checked by ``tests/science/test_normals.py``.
    """
    _, dates, totals = sum_by_year(days, daily_units, start, end)
    counts = np.sum(~np.isnan(totals), axis=0).astype(np.int64)
    curves = np.full((len(levels), len(dates)), np.nan)
    some = counts > 0
    if some.any():
        curves[:, some] = np.nanquantile(totals[:, some], list(levels), axis=0)
    return HeatNormals(dates, tuple(float(level) for level in levels), curves, counts)
