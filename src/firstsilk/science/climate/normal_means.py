"""On which dates does the long-term daily mean temperature reach a value, and fall below it again?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import ArrayLike, NDArray

from firstsilk.science.climate.frost import day_of_common_year

MonthDay = tuple[int, int]

SMOOTHED_DAYS = 31
"""The long-term mean is smoothed over so many days around each date. Our own choice; official maps use normals."""


@dataclass(frozen=True, slots=True)
class NormalMeans:
    """The long-term daily mean by date of a common year, smoothed.

    `mean_c` (365,) [°C], NaN where unknown; `n_years` the years behind a date, at the middle.
    """

    mean_c: NDArray[np.float64]
    n_years: int


def find_normal_means(days: Sequence[date], mean_c: ArrayLike) -> NormalMeans:
    """Find the long-term daily mean by date: averaged over years, smoothed over 31 days.

    Parameters
    ----------
    days
        Dates (days,), any order.
    mean_c
        Daily means [°C] (days,); NaN is unknown. 29 February counts as the 28th.

    Returns
    -------
    NormalMeans
        NaN on dates never known. Near the ends of a file without winters the smoothing leans to the known side.

    Notes
    -----
    Checked by ``tests/science/test_season_rules.py``.
    """
    values = np.asarray(mean_c, dtype=np.float64)
    at = np.array([_place(day) for day in days], dtype=np.intp)
    known = ~np.isnan(values)
    counts = np.bincount(at[known], minlength=365)
    sums = np.bincount(at[known], weights=values[known], minlength=365)
    mean = np.where(counts > 0, sums / np.maximum(counts, 1), np.nan)
    half = SMOOTHED_DAYS // 2
    around = np.stack([np.roll(mean, step) for step in range(-half, half + 1)])
    there = ~np.isnan(around)
    smooth = np.where(there, around, 0.0).sum(axis=0) / np.maximum(there.sum(axis=0), 1)
    n_years = int(np.median(counts[counts > 0])) if known.any() else 0
    return NormalMeans(np.where(np.isnan(mean), np.nan, smooth), n_years)


def find_mean_dates(
    normals: NormalMeans, mean_c: float, south: bool = False
) -> tuple[MonthDay | None, MonthDay | None]:
    """Find the dates about the warmest on which the long-term mean reaches a value and falls below it again.

    Parameters
    ----------
    normals
        Long-term means.
    mean_c
        The value [°C].
    south
        Whether the year is looked through from July to June.

    Returns
    -------
    reaches, falls
        First date from which it stays at or above up to the warmest (the first date known if it is never below
        before), and first date below after it; None where it is never that warm, or never falls below.

    Notes
    -----
    Checked by ``tests/science/test_season_rules.py``.
    """
    order = np.roll(np.arange(365), -181) if south else np.arange(365)
    course = normals.mean_c[order]
    if np.isnan(course).all() or np.nanmax(course) < mean_c:
        return None, None
    warmest = int(np.nanargmax(course))
    below = np.flatnonzero(course < mean_c)
    before, after = below[below < warmest], below[below > warmest]
    reaches = _date_at(int(order[before[-1] + 1 if before.size else np.flatnonzero(~np.isnan(course))[0]]))
    return reaches, _date_at(int(order[after[0]])) if after.size else None


def _place(day: date) -> int:
    """0-based place in a common year; 29 February stands with the 28th."""
    return day_of_common_year(day) - 1


def _date_at(place: int) -> MonthDay:
    day = date(2001, 1, 1) + timedelta(days=place)
    return day.month, day.day
