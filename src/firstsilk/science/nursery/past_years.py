"""Which past years can tell whether parents would have met, and from which day to which?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from firstsilk.science.nursery.meeting import FloatArray, find_flowering_table

FAR_ENOUGH_DAYS = 150
"""Days after the last sowing day from which on a parent that has not flowered never will (a choice of ours)."""


@dataclass(frozen=True, slots=True)
class YearRun:
    """One past year: its days from the calendar day of the first sowing on, without a hole.

    `values` (days, columns) begins on `first`; `hole` is the day after its last, the first one missing.
    """

    year: int
    first: date
    values: FloatArray

    @property
    def hole(self) -> date:
        """The first day that is missing."""
        return self.first + timedelta(days=len(self.values))


def place_day(year: int, day: date) -> date:
    """The same day of another year; 29 February is 28 February where there is none."""
    leap = day.month == 2 and day.day == 29
    return date(year, 2, 28) if leap and not _is_leap(year) else date(year, day.month, day.day)


def _is_leap(year: int) -> bool:
    return year % 4 == 0 and (year % 100 != 0 or year % 400 == 0)


def find_runs(known: Mapping[date, FloatArray], sow_from: date, most_days: int) -> tuple[YearRun, ...]:
    """The run of each year before that of the first sowing day, at most so many days long; years without its first day
    are left out.

    Parameters
    ----------
    known
        What is known of each day (columns,); a day without heat is not in it.
    sow_from
        First possible sowing day of the season to come.
    """
    runs = []
    for year in sorted({day.year for day in known}):
        first = place_day(year, sow_from)
        if year >= sow_from.year or first not in known:
            continue
        values: list[FloatArray] = []
        day = first
        while len(values) < most_days and day in known:
            values.append(known[day])
            day += timedelta(days=1)
        runs.append(YearRun(year, first, np.array(values)))
    return tuple(runs)


def reaches_far_enough(daily: FloatArray, last_sowing: int, units: Sequence[float]) -> bool:
    """Whether a run tells for every parent when it flowers, or that it never does.

    Parameters
    ----------
    daily
        Heat units of the run's days (days,); day 0 is the first sowing day.
    last_sowing
        The last possible sowing day.
    units
        Units to flowering of all parents.

    Notes
    -----
    It does if all parents flower within it even when sown on the last day, or if it is `FAR_ENOUGH_DAYS` longer than
    the last sowing day.
    """
    if len(daily) <= last_sowing:
        return False
    if len(daily) > last_sowing + FAR_ENOUGH_DAYS:
        return True
    wanted = np.asarray(units, dtype=np.float64)[:, None]
    found = find_flowering_table(daily[None, :], np.array([last_sowing]), wanted)
    return bool(np.all(found < len(daily)))
