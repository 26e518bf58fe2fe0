"""What is a doubt about days of weather, and by what spread and fineness of a site's readings is it measured?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from firstsilk.science.climate.generated import number_in_year

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
Column = Literal["tmin", "tmax", "rain", ""]
DoubtKind = Literal[
    "spike", "stuck", "copied_day", "repeated_block", "fahrenheit", "celsius", "tenths", "date_shift", "season_turned"
]


USUAL_STEP_C = 2.5
"""Day-to-day spread [°C] where fewer than `LEAST_STEPS` steps tell. Our own choice."""
LEAST_STEPS = 30
LEAST_STEP_C = 0.8
"""No smaller day-to-day spread is believed. Our own choice."""
STEPS_OF_READING = (1.0, 0.5, 0.1)
"""Finenesses of readings [°C] that are looked for; whole degrees Fahrenheit are 5/9. Finer ones count as 0.05."""


@dataclass(frozen=True, slots=True)
class Doubt:
    """Something hard to believe: the kind, its first and last day by place in the arrays, and what it is seen by.

    `column` is empty if it is of the whole day; `value` what was found and `usual` what it is set against [°C or mm];
    `like` the place of the first day of the block that is repeated, `shift_days` the shift that would fit.
    """

    kind: DoubtKind
    first: int
    last: int
    column: Column = ""
    value: float | None = None
    usual: float | None = None
    like: int | None = None
    shift_days: int | None = None

    @property
    def n_places(self) -> int:
        """How many days it covers."""
        return self.last - self.first + 1


@dataclass(frozen=True, slots=True)
class Series:
    """Days in order: `serial` (n,) day numbers, `at` (n,) day of the year, `temps` (n, 2) [°C], `rain` (n,) [mm]."""

    serial: NDArray[np.int64]
    at: NDArray[np.int64]
    temps: FloatArray
    rain: FloatArray

    @property
    def follows(self) -> BoolArray:
        """Whether the next day is there (n - 1,)."""
        follows: BoolArray = np.diff(self.serial) == 1
        return follows


def make_series(days: Sequence[date], tmin_c: ArrayLike, tmax_c: ArrayLike, rain_mm: ArrayLike | None = None) -> Series:
    """Days as the checks take them.

    Parameters
    ----------
    days
        Dates (days,), in order, none twice.
    tmin_c, tmax_c
        Minima and maxima [°C] (days,); NaN unknown.
    rain_mm
        Rain [mm] (days,); NaN unknown, None if there is none.

    Raises
    ------
    ValueError
        If the days are not in order, or one is there twice.

    Checked by ``tests/science/test_quality.py``.
    """
    serial = np.array([day.toordinal() for day in days], dtype=np.int64)
    if (np.diff(serial) < 1).any():
        raise ValueError("the days must be in order, none twice")
    temps = np.column_stack([np.asarray(tmin_c, dtype=np.float64), np.asarray(tmax_c, dtype=np.float64)])
    rain = np.full(len(serial), np.nan) if rain_mm is None else np.asarray(rain_mm, dtype=np.float64)
    return Series(serial, number_in_year(days), temps, rain)


def measure_steps(series: Series) -> FloatArray:
    """The site's day-to-day spread [°C] of minimum and maximum, at each day (n, 2).

    Notes
    -----
    1.4826 times the median size of the steps from day to day (a robust standard deviation) in the day's month and the
    two beside it; of all months where those hold fewer than `LEAST_STEPS`; `USUAL_STEP_C` where all hold fewer.

    Checked by ``tests/science/test_quality.py``.
    """
    steps = np.abs(np.diff(series.temps, axis=0))[series.follows]
    month = np.minimum(series.at // 30.5, 11).astype(np.int64)
    of_step = month[:-1][series.follows]
    known = ~np.isnan(steps).any(axis=1)
    steps, of_step = steps[known], of_step[known]
    overall = 1.4826 * np.median(steps, axis=0) if len(steps) >= LEAST_STEPS else np.full(2, USUAL_STEP_C)
    table = np.tile(overall, (12, 1))
    for one in range(12):
        near = np.isin(of_step, ((one - 1) % 12, one, (one + 1) % 12))
        if near.sum() >= LEAST_STEPS:
            table[one] = 1.4826 * np.median(steps[near], axis=0)
    spreads: FloatArray = np.maximum(table, LEAST_STEP_C)[month]
    return spreads


def measure_fineness(values: FloatArray) -> float:
    """How finely readings are told [°C]: the coarsest step of which 95 % are multiples.

    Whole degrees Fahrenheit, told to a tenth of a degree Celsius or finer, are 5/9. Checked by
    ``tests/science/test_quality.py``.
    """
    known = values[~np.isnan(values)]
    if not len(known):
        return STEPS_OF_READING[-1]

    def share(given: FloatArray, step: float, near: float) -> float:
        return float((np.abs(given / step - np.round(given / step)) * step <= near).mean())

    for step in STEPS_OF_READING[:2]:
        if share(known, step, 1e-6) >= 0.95:
            return step
    if share(known * 1.8 + 32.0, 1.0, 0.0901) >= 0.95:
        return 5.0 / 9.0
    return STEPS_OF_READING[2] if share(known, STEPS_OF_READING[2], 1e-6) >= 0.95 else 0.05
