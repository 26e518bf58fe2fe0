"""Is a daily temperature series fit to be summed: no day twice, none missing, no minimum above its maximum?

Values in, faults out; the caller decides which of them stop. Missing days can be filled in a straight line between
the known days on either side, and nothing that was given is changed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

FaultCode = Literal["day_twice", "day_missing", "crossed", "implausible"]

COLDEST_C = -90.0
"""No lower shelter temperature is believed. World record -89.2 °C (World Meteorological Organization; from memory)."""
HOTTEST_C = 60.0
"""No higher shelter temperature is believed. World record 56.7 °C (World Meteorological Organization; from memory)."""


@dataclass(frozen=True, slots=True)
class DayFault:
    """Something wrong with a day: which, where in the arrays (None: not there at all), and the value if one."""

    code: FaultCode
    day: date
    index: int | None = None
    value: float | None = None
    field: str = ""


@dataclass(frozen=True, slots=True)
class FilledDays:
    """A series without holes between its first and last known day.

    `tmin` and `tmax` are (days,) in the unit they came in; `filled` names the days that were not given, or not
    wholly; `days` runs day by day.
    """

    days: tuple[date, ...]
    tmin: NDArray[np.float64]
    tmax: NDArray[np.float64]
    filled: tuple[date, ...]


def check_days(days: Sequence[date], tmin_c: ArrayLike, tmax_c: ArrayLike) -> tuple[DayFault, ...]:
    """Check given days, one by one: a day twice, minimum above maximum, temperatures that cannot be.

    Parameters
    ----------
    days
        Dates (days,), any order.
    tmin_c, tmax_c
        Minima and maxima [°C] (days,); NaN is missing and not a fault here.

    Returns
    -------
    tuple of DayFault
        In the order of the days given; for ``day_twice`` the second and later ones.

    Checked by ``tests/science/test_weather.py`` and ``tests/faces/test_heat_door.py``.
    """
    low, high = np.asarray(tmin_c, dtype=np.float64), np.asarray(tmax_c, dtype=np.float64)
    faults: list[DayFault] = []
    seen: set[date] = set()
    for index, day in enumerate(days):
        if day in seen:
            faults.append(DayFault("day_twice", day, index))
        seen.add(day)
        for field, value in (("tmin", float(low[index])), ("tmax", float(high[index]))):
            if value < COLDEST_C or value > HOTTEST_C:
                faults.append(DayFault("implausible", day, index, value, field))
        if low[index] > high[index]:
            faults.append(DayFault("crossed", day, index, float(low[index]), "tmin"))
    return tuple(faults)


def find_missing_days(
    days: Sequence[date], tmin: ArrayLike, tmax: ArrayLike, first: date, last: date
) -> tuple[date, ...]:
    """Name each day from first to last that is absent or has a temperature missing.

    Parameters
    ----------
    days
        Dates (days,), any order.
    tmin, tmax
        Temperatures (days,), any unit; NaN is missing.
    first, last
        The span, both ends included.

    Returns
    -------
    tuple of date
        The missing days in order.

    Checked by ``tests/science/test_weather.py``.
    """
    whole = ~(np.isnan(np.asarray(tmin, dtype=np.float64)) | np.isnan(np.asarray(tmax, dtype=np.float64)))
    known = {day for day, is_whole in zip(days, whole.tolist(), strict=True) if is_whole}
    return tuple(day for day in _every_day(first, last) if day not in known)


def fill_missing_days(days: Sequence[date], tmin: ArrayLike, tmax: ArrayLike) -> FilledDays:
    """Fill missing days in a straight line between the known days on either side.

    Parameters
    ----------
    days
        Dates (days,), any order, none twice, at least one.
    tmin, tmax
        Temperatures (days,), any unit; NaN is missing.

    Returns
    -------
    FilledDays
        Every day from the first to the last given. Given values are kept as they are; a hole before the first or
        after the last known value stays NaN, since there is nothing to draw the line to.

    Raises
    ------
    ValueError
        If there are no days, or one is there twice.

    Checked by ``tests/properties/test_heat_laws.py``.
    """
    if not days or len(set(days)) != len(days):
        raise ValueError("filling needs at least one day, and none twice")
    every = _every_day(min(days), max(days))
    start = every[0].toordinal()
    at = np.array([day.toordinal() - start for day in days], dtype=np.intp)
    low, low_holes = _fill(at, np.asarray(tmin, dtype=np.float64), len(every))
    high, high_holes = _fill(at, np.asarray(tmax, dtype=np.float64), len(every))
    now_known = (low_holes | high_holes) & ~np.isnan(low) & ~np.isnan(high)
    filled = tuple(every[index] for index in np.flatnonzero(now_known).tolist())
    return FilledDays(every, low, high, filled)


def _fill(
    at: NDArray[np.intp], values: NDArray[np.float64], length: int
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    series = np.full(length, np.nan)
    series[at] = values
    holes = np.isnan(series)
    known = np.flatnonzero(~holes)
    if known.size:
        gaps = np.flatnonzero(holes)
        series[gaps] = np.interp(gaps, known, series[known], left=np.nan, right=np.nan)
    return series, holes


def _every_day(first: date, last: date) -> tuple[date, ...]:
    return tuple(first + timedelta(days=step) for step in range((last - first).days + 1))
