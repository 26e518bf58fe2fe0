"""From when to when in the day is pollen dry, flying and alive, as a range?

Values in, values out, in standard time. Sources agree on what matters (dew, humidity, warmth, heat) and not on one
threshold, so the answer is a range: the early end is where the first of the published conditions is met, the late end
where all of them are. Common practice to check against, no source: on a dry warm day collecting starts at ten or
eleven o'clock, once it is warm enough and not too humid.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from firstsilk.science.climate.day_curve import draw_day_curve
from firstsilk.science.climate.humidity import dew_point_from_humidity_c, relative_humidity_pct, vapour_deficit_kpa
from firstsilk.science.flowering.workable import SOAKED_DAY_MM, TOO_HOT_C, WET_DAY_MM

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

OPENS_KPA = (0.2, 0.5)
"""Vapour pressure deficit above which anthers open and shed starts: early and late. Jarosz et al. 2005."""
DRY_ENOUGH_PCT = 70.0
"""Relative humidity above which shed is cut. Jeschke 2023."""
WARM_ENOUGH_C = (16.0, 20.0)
"""Temperature high enough for shed: early and late. A choice of ours; sources say that cool days shed late or not."""
AFTER_SUNRISE_H = 2.0
"""Shed starts two hours after sunrise. Ogden & Hayes 1969; sunrise is taken as the coolest hour of the morning."""
DAWN = (4.5, 7.0)
"""Hours among which the coolest one is looked for: sunrise of the flowering months in middle latitudes."""
DEWY_C = 2.0
"""Temperature this near to the dew point in the night leaves dew (common practice for leaf wetness, no source)."""
DEW_DRIES_H = (1.0, 2.0)
"""Hours that tassels take to dry after a dewy night, from when the deficit reaches 0.2 kPa: early and late. A choice of
ours."""
ENDS_AT = (13.0, 18.0)
"""The main shed of the day is over (peak 9-11 o'clock: trade advice), and near sunset (Ogden & Hayes 1969, fairly even
until then): sources disagree, so the end is a range too."""
DRIES_UP_C = (TOO_HOT_C, 37.8)
"""Heat that depresses shed and viability (University of Nebraska 2019), and that dries pollen up (trade advice)."""
RAIN_MM = 0.2
"""Rain of an hour that wets tassels (a choice of ours)."""
HALF_LOST_KPA_H = 2.0
HALF_LOST_MIN = (60.0, 240.0)
"""Half of germination is lost in 60-240 minutes, governed by the deficit summed over time. Aylor 2004. The sum is
ours, set so that 60 minutes go with 2 kPa and 240 with 0.5 kPa."""
DRY_AIR_C = 2.5
"""Where only a day's extremes are known: dew point at the minimum (humid places), or this much below it (dry ones).
Allen et al. 1998, eq. 48 and annex 6."""
STEP_H = 0.25


@dataclass(frozen=True, slots=True)
class Windows:
    """The window of each day; all arrays are (days,), clock times in hours, NaN where there is none.

    `dewy`: dew or rain lay on the tassels in the morning. `hot`: heat ends the window. `rained`: rain ends or delays
    it.
    `usable_min`: minutes in which collected pollen loses half of its germination, at the late start.
    """

    start_early: FloatArray
    start_late: FloatArray
    end_early: FloatArray
    end_late: FloatArray
    usable_min: FloatArray
    dewy: BoolArray
    hot: BoolArray
    rained: BoolArray


def find_windows(temperature_c: ArrayLike, humidity_pct: ArrayLike, rain_mm: ArrayLike | None = None) -> Windows:
    """The pollination window of days with hourly temperature and humidity.

    Parameters
    ----------
    temperature_c, humidity_pct
        (days, 24): of each full hour, standard time [°C, %]; NaN where not known.
    rain_mm
        (days, 24): rain of the hour that begins there [mm]; None if not known.

    Returns
    -------
    Windows
        Early start: the first quarter hour, two hours or more after the coolest one, from which for an hour the deficit
        is at least 0.2 kPa at 16 °C or more; late start: 0.5 kPa, at most 70 % and at least 20 °C. After a dewy night
        not sooner than one and two hours after the air began to dry the tassels. A condition that is never met gives
        NaN: no shed is sure that day.

    Raises
    ------
    ValueError
        If shapes do not fit.

    Notes
    -----
    Genotypes differ; wind, shade and what the night's bag holds are not considered.
    Checked by tests/science/test_pollen_window.py, on hourly readings of three real stations and on made days.
    """
    warmth, damp = np.asarray(temperature_c, dtype=np.float64), np.asarray(humidity_pct, dtype=np.float64)
    wet = np.zeros_like(warmth) if rain_mm is None else np.nan_to_num(np.asarray(rain_mm, dtype=np.float64))
    if warmth.ndim != 2 or warmth.shape[1] != 24 or damp.shape != warmth.shape or wet.shape != warmth.shape:
        raise ValueError("temperature, humidity and rain must be (days, 24)")
    dewy = _is_dewy(warmth, damp, wet)
    warmth, damp = _by_quarters(warmth), np.clip(_by_quarters(damp), 0.0, 100.0)
    deficit = vapour_deficit_kpa(warmth, damp)
    shower = np.repeat(wet >= RAIN_MM, int(1 / STEP_H), axis=1)
    clock = np.asarray(np.arange(warmth.shape[1]) * STEP_H, dtype=np.float64)
    since = clock[None, :] - _coolest(warmth, clock)[:, None]
    after = since >= AFTER_SUNRISE_H
    fits = [
        after & ~shower & (deficit >= opens) & (warmth >= warm)
        for opens, warm in zip(OPENS_KPA, WARM_ENOUGH_C, strict=True)
    ]
    fits[1] &= damp <= DRY_ENOUGH_PCT
    drying_from = _first(_stays((since >= 0) & ~shower & (deficit >= OPENS_KPA[0])), clock)
    early, late = (
        np.maximum(_first(_stays(fit), clock), drying_from + np.where(dewy, dries, 0.0))
        for fit, dries in zip(fits, DEW_DRIES_H, strict=True)
    )
    late = np.maximum(early, late)
    return _close(early, late, warmth, deficit, shower, clock, dewy)


def _is_dewy(warmth: FloatArray, damp: FloatArray, wet: FloatArray) -> BoolArray:
    """Whether the air came near its dew point in the small hours, or rain fell."""
    night = slice(0, 8)
    dew = dew_point_from_humidity_c(warmth[:, night], np.clip(damp[:, night], 1.0, 100.0))
    near = np.nan_to_num(warmth[:, night] - dew, nan=np.inf).min(axis=1) <= DEWY_C
    return np.asarray(near | (wet[:, night] >= RAIN_MM).any(axis=1))


def _by_quarters(hourly: FloatArray) -> FloatArray:
    """Quarter hours between full hours, in straight lines; the last hour holds."""
    step = np.arange(0.0, 1.0, STEP_H)
    following = np.concatenate([hourly[:, 1:], hourly[:, -1:]], axis=1)
    return np.asarray((hourly[:, :, None] * (1 - step) + following[:, :, None] * step).reshape(len(hourly), -1))


def _coolest(warmth: FloatArray, clock: FloatArray) -> FloatArray:
    """The coolest time of the early morning; sunrise, near enough."""
    dawn = (clock >= DAWN[0]) & (clock <= DAWN[1])
    known = np.where(np.isnan(warmth[:, dawn]), np.inf, warmth[:, dawn])
    return np.asarray(clock[dawn][known.argmin(axis=1)])


def _stays(fit: BoolArray) -> BoolArray:
    """Where a condition holds for an hour from there on."""
    steps = int(1 / STEP_H)
    longer = np.concatenate([fit, np.zeros((len(fit), steps), dtype=bool)], axis=1)
    return np.asarray(np.logical_and.reduce([longer[:, at : at + fit.shape[1]] for at in range(steps + 1)]))


def _first(holds: BoolArray, clock: FloatArray) -> FloatArray:
    return np.where(holds.any(axis=1), clock[holds.argmax(axis=1)], np.nan)


def _close(
    early: FloatArray,
    late: FloatArray,
    warmth: FloatArray,
    deficit: FloatArray,
    shower: BoolArray,
    clock: FloatArray,
    dewy: BoolArray,
) -> Windows:
    """Ends of the windows: by the clock, by heat, by rain."""
    begun = clock[None, :] >= early[:, None]
    rain_at = _first(shower & begun, clock)
    heat_at = [_first((warmth >= limit) & begun, clock) for limit in DRIES_UP_C]
    # An early end lies before no start that may still come.
    plain = (np.fmax(ENDS_AT[0], late), np.full_like(early, ENDS_AT[1]))
    ends = [
        np.where(np.isnan(early), np.nan, np.fmin(np.fmin(end, heat), rain_at))
        for end, heat in zip(plain, heat_at, strict=True)
    ]
    late = np.where(late >= ends[1], np.nan, late)
    at = np.where(np.isnan(late), early, late)
    place = np.nan_to_num(at / STEP_H).astype(np.int64).clip(0, len(clock) - 1)
    drying = deficit[np.arange(len(deficit)), place]
    usable = np.where(np.isnan(early), np.nan, count_usable_minutes(drying))
    rained = ~np.isnan(rain_at) | (shower & (clock[None, :] < ENDS_AT[0])).any(axis=1)
    return Windows(early, late, ends[0], ends[1], usable, dewy, ~np.isnan(heat_at[0]), rained)


def count_usable_minutes(deficit_kpa: ArrayLike) -> FloatArray:
    """Minutes in which collected pollen loses half of its germination, in air of this deficit [kPa].

    Notes
    -----
    ``60 x 2 / deficit``, held between 60 and 240 minutes: the range that is published (Aylor 2004).
    Checked by tests/outside/test_pollen_published.py.
    """
    deficit = np.asarray(deficit_kpa, dtype=np.float64)
    minutes = np.divide(60.0 * HALF_LOST_KPA_H, deficit, out=np.full_like(deficit, np.inf), where=deficit > 0)
    return np.asarray(np.where(np.isnan(deficit), np.nan, np.clip(minutes, *HALF_LOST_MIN)))


def guess_windows(tmin_c: ArrayLike, tmax_c: ArrayLike, rain_mm: ArrayLike | None = None) -> Windows:
    """The window of days of which only the extremes are known: wider, since humidity is guessed.

    Parameters
    ----------
    tmin_c, tmax_c
        (days,): extremes [°C].
    rain_mm
        (days,): rain of the day [mm]; None or NaN if not known.

    Returns
    -------
    Windows
        The widest range of two guesses: dew point at the night's minimum, and 2.5 °C below it. On a wet day (1 mm) the
        late start is noon at the earliest, and on one of heavy rain (10 mm) none is sure.
    """
    low = np.asarray(tmin_c, dtype=np.float64)
    curve = draw_day_curve(low, tmax_c)
    guesses = []
    for below in (0.0, DRY_AIR_C):
        humidity = relative_humidity_pct(curve, np.broadcast_to((low - below)[:, None], curve.shape))
        guesses.append(find_windows(curve, humidity))
    humid, dry = guesses
    rain = np.zeros_like(low) if rain_mm is None else np.nan_to_num(np.asarray(rain_mm, dtype=np.float64))
    late = np.fmax(humid.start_late, dry.start_late)
    # Humidity is guessed: where the humid guess never dries, no start is sure.
    late = np.where(np.isnan(humid.start_late) & ~np.isnan(dry.start_late), np.nan, late)
    late = np.where(rain >= SOAKED_DAY_MM, np.nan, np.where(rain >= WET_DAY_MM, np.maximum(late, 12.0), late))
    return Windows(
        np.fmin(humid.start_early, dry.start_early),
        late,
        np.fmin(humid.end_early, dry.end_early),
        np.fmax(humid.end_late, dry.end_late),
        np.fmin(humid.usable_min, dry.usable_min),
        humid.dewy,
        humid.hot | dry.hot,
        rain >= WET_DAY_MM,
    )
