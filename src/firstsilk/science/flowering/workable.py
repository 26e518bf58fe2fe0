"""How many hours of a day can be worked, with rain and heat?

Values in, values out, from daily weather. Rules of thumb, stated and few: they are for counting people, not for
deciding whether anyone may work in the heat; that is for the leader, the law and the day itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np
from numpy.typing import ArrayLike, NDArray

from firstsilk.science.climate.day_curve import HOURS, draw_day_curve

FloatArray = NDArray[np.float64]

WET_DAY_MM = 1.0
"""Rain of a day from which it is a wet day (the index of wet days of WMO's expert team, RR1)."""
SOAKED_DAY_MM = 10.0
"""Rain of a day from which it is one of heavy rain (R10mm of the same team)."""
WET_LOST_FRAC = 0.5
"""Share of the hours lost on a wet day: rain and dew shift the start to noon (common practice, no source). On a day of
heavy rain all of them are (a choice of ours)."""
TOO_HOT_C = 35.0
"""Above this, shed and viability fall (University of Nebraska 2019); pollen dries at 37.8 °C (trade advice)."""
START_HOUR = 9.5
"""Hour of the day, in standard time, from which hours are counted for heat (a choice of ours)."""


def count_lost_hours(hours: float, rain_mm: ArrayLike, tmin_c: ArrayLike, tmax_c: ArrayLike) -> FloatArray:
    """Hours of each day lost to rain or heat.

    Parameters
    ----------
    hours
        Hours of a day without either.
    rain_mm
        (days,): rain [mm]; NaN where it is not known, and then none is taken to be lost.
    tmin_c, tmax_c
        (days,): extremes [°C]; NaN where they are not known.

    Returns
    -------
    FloatArray
        (days,): hours, from 0 to `hours`.

    Notes
    -----
    Half the hours on a wet day (1 mm), all on one of heavy rain (10 mm), and those of the working day in which the
    day's curve lies above 35 °C; the larger of both.
    """
    rain = np.nan_to_num(np.asarray(rain_mm, dtype=np.float64), nan=0.0)
    by_rain = np.where(rain >= SOAKED_DAY_MM, hours, np.where(rain >= WET_DAY_MM, WET_LOST_FRAC * hours, 0.0))
    curve = draw_day_curve(tmin_c, tmax_c)
    # Each reading of the curve stands for the hour that begins with it.
    inside = np.clip(np.minimum(HOURS + 1.0, START_HOUR + hours) - np.maximum(HOURS, START_HOUR), 0.0, 1.0)
    by_heat = ((curve > TOO_HOT_C) * inside).sum(axis=-1)
    return np.asarray(np.minimum(hours, np.maximum(by_rain, by_heat)))


def expect_lost_hours(
    days: Sequence[date], known_days: Sequence[date], known_lost: ArrayLike, near_days: int = 7
) -> FloatArray:
    """Hours to be expected as lost on each day: those of the day itself where it is known, else the usual ones.

    Parameters
    ----------
    days
        (days,): the days asked for.
    known_days, known_lost
        (known,): days with weather, of this year or earlier ones, and hours lost on them.
    near_days
        How far from the date of the year a past day may lie.

    Returns
    -------
    FloatArray
        (days,): the mean of other years' days within `near_days` of that date where the day itself is not known; 0
        where there is none of those either.
    """
    at = {day: index for index, day in enumerate(known_days)}
    lost = np.asarray(known_lost, dtype=np.float64)
    place = np.array([day.timetuple().tm_yday for day in known_days], dtype=np.int64)
    years = np.array([day.year for day in known_days], dtype=np.int64)
    found = np.zeros(len(days))
    for index, day in enumerate(days):
        if day in at:
            found[index] = lost[at[day]]
            continue
        apart = np.abs(place - day.timetuple().tm_yday)
        near = (np.minimum(apart, 365 - apart) <= near_days) & (years != day.year)
        found[index] = lost[near].mean() if near.any() else 0.0
    return found


def find_lost_chance(rain_mm: ArrayLike) -> FloatArray:
    """The chance that a day's hours of pollen are lost to its rain [0 to 1], by daily rain [mm]; NaN stays NaN.

    Notes
    -----
    None on a dry day, a half on a wet one (1 mm: the half of the hours that is lost may be those of pollen or the
    others), certain with heavy rain (10 mm). Dew alone loses none. The bounds are those of `count_lost_hours`.
    """
    rain = np.asarray(rain_mm, dtype=np.float64)
    lost = np.where(rain >= SOAKED_DAY_MM, 1.0, np.where(rain >= WET_DAY_MM, WET_LOST_FRAC, 0.0))
    return np.asarray(np.where(np.isnan(rain), np.nan, lost))


def draw_workable_days(
    own_lost: ArrayLike, past_lost: ArrayLike, n_draws: int, usual_frac: float, dice: np.random.Generator
) -> NDArray[np.bool_]:
    """Which of the days ahead can be worked, draw by draw.

    Parameters
    ----------
    own_lost
        (days,): chance that each day is lost by its own weather, as measured or forecast; NaN where it is not known.
    past_lost
        (years, days): the same on the same dates of past years; NaN where nothing was noted. No years: none are known.
    n_draws
        Draws [count].
    usual_frac
        Chance that a day can be worked of which neither tells.
    dice
        Where chance comes from.

    Returns
    -------
    numpy.ndarray
        (draws, days).

    Notes
    -----
    Each draw goes on as one past year did, so that wet spells stay together. Checked by tests/science/test_workable.py.
    """
    own = np.asarray(own_lost, dtype=np.float64)
    past = np.asarray(past_lost, dtype=np.float64)
    lost = past[dice.integers(0, len(past), n_draws)] if len(past) else np.full((n_draws, len(own)), np.nan)
    lost = np.where(np.isnan(own), lost, own)
    lost = np.where(np.isnan(lost), 1.0 - usual_frac, lost)
    return np.asarray(dice.random(lost.shape) >= lost)
