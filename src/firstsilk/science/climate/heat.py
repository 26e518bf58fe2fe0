"""How many heat units did a day bring, in a named scale?

Three scales are offered to people: `chu` (Ontario corn heat units), `gdd_c` (growing degree days 10/30 °C) and
`gdd_f` (the same at 50/86 °F). The other published forms stand beside them as named constants and functions, so
that a number from elsewhere can be traced to its rule.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
Scale = Literal["chu", "gdd_c", "gdd_f"]
Unit = Literal["c", "f"]
SCALES: tuple[Scale, ...] = get_args(Scale)

F_PER_C = 1.8
"""Fahrenheit degrees in one Celsius degree, by definition; also gdd_f per gdd_c."""
FREEZING_F = 32.0
"""0 °C in °F, by definition."""


@dataclass(frozen=True, slots=True)
class DegreeDayLimits:
    """Lower and upper temperature of a degree-day method, in one unit."""

    lower: float
    upper: float


GDD_C = DegreeDayLimits(10.0, 30.0)
"""The corn method in °C. Nielsen 2020, Heat Unit Concepts Related to Corn Development, Purdue."""
GDD_F = DegreeDayLimits(50.0, 86.0)
"""The corn method in °F. Nielsen 2020; Eckert & Thomison 2017, AGF-101, Ohio State; Gilmore & Rogers 1958."""


@dataclass(frozen=True, slots=True)
class ChuConstants:
    """Numbers of one published form of corn heat units; temperatures in °C.

    The day part is ``day_slope x - day_curve x^2`` with ``x = tmax - day_base_c``; the night part is
    ``night_slope (tmin - night_base_c)``; the units are half their sum. `floored` sets each part to 0 if negative.
    """

    day_slope: float
    day_curve: float
    day_base_c: float
    night_slope: float
    night_base_c: float
    floored: bool


CHU_ONTARIO = ChuConstants(3.33, 0.084, 10.0, 1.8, 4.4, True)
"""Ontario. Brown & Bootsma 1993, Agdex 111/31 (title from memory); Weather Innovations, Crop Heat Unit."""
CHU_UNFLOORED = ChuConstants(3.33, 0.084, 10.0, 1.8, 4.4, False)
"""The same without floors, so a cool day can be negative. Agriculture and Agri-Food Canada, open data layer."""
CHU_NIGHT_4_44 = ChuConstants(3.33, 0.084, 10.0, 1.8, 4.44, True)
"""Night base 4.44 °C (40 °F). Bootsma et al. 1999 and Audet et al. 2012, as cited by xclim 0.62.0, its default."""
CHU_PRAIRIE = ChuConstants(3.30, 0.082, 10.0, 1.8, 4.4, True)
"""A prairie province's constants (provincial agriculture page). Floors assumed, the page does not say."""


def convert_f_to_c(temperature_f: ArrayLike) -> FloatArray:
    """Convert temperatures from °F to °C.

    Parameters
    ----------
    temperature_f
        Temperature [°F], any shape.

    Returns
    -------
    FloatArray
        Temperature [°C], same shape.

    Notes
    -----
    ``(f - 32) / 1.8``, by definition. Checked by ``tests/outside/test_agronomy.py`` (f_to_c).
    """
    return (np.asarray(temperature_f, dtype=np.float64) - FREEZING_F) / F_PER_C


def convert_c_to_f(temperature_c: ArrayLike) -> FloatArray:
    """Convert temperatures from °C to °F.

    Parameters
    ----------
    temperature_c
        Temperature [°C], any shape.

    Returns
    -------
    FloatArray
        Temperature [°F], same shape.

    Notes
    -----
    ``1.8 c + 32``, by definition. Checked by ``tests/properties/test_heat_laws.py`` (there and back).
    """
    return np.asarray(temperature_c, dtype=np.float64) * F_PER_C + FREEZING_F


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


def count_gdd_sine(tmin: ArrayLike, tmax: ArrayLike, limits: DegreeDayLimits) -> FloatArray:
    """Count degree days under a single sine curve with a horizontal upper cutoff.

    Parameters
    ----------
    tmin, tmax
        Daily minimum and maximum [unit of `limits`], same shape, ``tmin <= tmax``.
    limits
        Lower threshold and horizontal cutoff.

    Returns
    -------
    FloatArray
        Degree days a day, from 0 to ``upper - lower``.

    Notes
    -----
    Degree days above the lower threshold less those above the upper. With mean M and half range a, above a
    threshold h between them ``((M - h)(pi/2 - t) + a cos t) / pi`` with ``t = asin((h - M) / a)``.

    References
    ----------
    Baskerville G.L., Emin P. 1969; Allen J.C. 1976 (both from memory); UC IPM, degree-day glossary.

    Checked by ``tests/outside/test_agronomy.py`` (gdd_f_sine_hcut, gdd_c_sine_hcut) and against numeric
    integration in ``tests/properties/test_heat_laws.py``.
    """
    return _above_by_sine(tmin, tmax, limits.lower) - _above_by_sine(tmin, tmax, limits.upper)


def _above_by_sine(tmin: ArrayLike, tmax: ArrayLike, threshold: float) -> FloatArray:
    low, high = np.asarray(tmin, dtype=np.float64), np.asarray(tmax, dtype=np.float64)
    mean, half = (high + low) / 2.0, (high - low) / 2.0
    # Where the curve does not cross the threshold the angle is not used; keep it finite there.
    crossing = (low < threshold) & (high > threshold)
    sine = np.clip((threshold - mean) / np.where(crossing, half, 1.0), -1.0, 1.0)
    angle = np.arcsin(sine)
    crossed = ((mean - threshold) * (np.pi / 2.0 - angle) + half * np.cos(angle)) / np.pi
    return _pick(low, high, threshold, mean - threshold, crossed)


def count_gdd_triangle(tmin: ArrayLike, tmax: ArrayLike, limits: DegreeDayLimits) -> FloatArray:
    """Count degree days under a single triangle with a horizontal upper cutoff.

    Parameters
    ----------
    tmin, tmax
        Daily minimum and maximum [unit of `limits`], same shape, ``tmin <= tmax``.
    limits
        Lower threshold and horizontal cutoff.

    Returns
    -------
    FloatArray
        Degree days a day, from 0 to ``upper - lower``.

    Notes
    -----
    Above a threshold h between the two temperatures ``(tmax - h)^2 / (2 (tmax - tmin))``.

    References
    ----------
    UC IPM, degree-day glossary.

    Checked by ``tests/outside/test_agronomy.py`` (gdd_f_triangle_hcut).
    """
    return _above_by_triangle(tmin, tmax, limits.lower) - _above_by_triangle(tmin, tmax, limits.upper)


def _above_by_triangle(tmin: ArrayLike, tmax: ArrayLike, threshold: float) -> FloatArray:
    low, high = np.asarray(tmin, dtype=np.float64), np.asarray(tmax, dtype=np.float64)
    crossing = (low < threshold) & (high > threshold)
    crossed = (high - threshold) ** 2 / (2.0 * np.where(crossing, high - low, 1.0))
    return _pick(low, high, threshold, (high + low) / 2.0 - threshold, crossed)


def _pick(low: FloatArray, high: FloatArray, threshold: float, whole: FloatArray, crossed: FloatArray) -> FloatArray:
    """Whole day above, whole day below, or crossed; NaN stays NaN."""
    picked = np.where(low >= threshold, whole, np.where(high <= threshold, 0.0, crossed))
    return np.where(np.isnan(low) | np.isnan(high), np.nan, picked)


def count_chu(tmin_c: ArrayLike, tmax_c: ArrayLike, constants: ChuConstants = CHU_ONTARIO) -> FloatArray:
    """Count corn heat units of a day.

    Parameters
    ----------
    tmin_c, tmax_c
        Daily minimum and maximum [°C], same shape, midnight to midnight.
    constants
        The published form; Ontario's if not said.

    Returns
    -------
    FloatArray
        Corn heat units a day [CHU]; NaN where a temperature is NaN.

    Notes
    -----
    Ontario: half of ``max(0, 3.33 (tmax - 10) - 0.084 (tmax - 10)^2) + max(0, 1.8 (tmin - 4.4))``. The day part
    peaks at 29.82 °C and is 0 again from 49.64 °C; the night part has no ceiling.

    References
    ----------
    Weather Innovations, Crop Heat Unit; OMAFRA 2025, Using Crop Heat Units.

    Checked by ``tests/outside/test_agronomy.py`` (chu_ontario, chu_444_clipped, chu_unclipped_AAFC,
    chu_prairie_3.30_0.082).
    """
    warmth = np.asarray(tmax_c, dtype=np.float64) - constants.day_base_c
    day = constants.day_slope * warmth - constants.day_curve * warmth**2
    night = constants.night_slope * (np.asarray(tmin_c, dtype=np.float64) - constants.night_base_c)
    if constants.floored:
        day, night = np.maximum(day, 0.0), np.maximum(night, 0.0)
    return np.asarray((day + night) / 2.0)


def find_chu_peak_c(constants: ChuConstants = CHU_ONTARIO) -> float:
    """Find the maximum temperature at which the day part of corn heat units is largest [°C].

    Checked by ``tests/outside/test_agronomy.py`` (chu_ymax_peak).
    """
    return constants.day_base_c + constants.day_slope / (2.0 * constants.day_curve)


def find_chu_end_c(constants: ChuConstants = CHU_ONTARIO) -> float:
    """Find the maximum temperature at which the day part of corn heat units has fallen back to 0 [°C].

    Checked by ``tests/outside/test_agronomy.py`` (chu_ymax_zero_again).
    """
    return constants.day_base_c + constants.day_slope / constants.day_curve


def heat_units(tmin: ArrayLike, tmax: ArrayLike, scale: Scale, unit: Unit = "c") -> FloatArray:
    """Count heat units of each day in one of the three scales.

    Parameters
    ----------
    tmin, tmax
        Daily minimum and maximum [`unit`], same shape.
    scale
        ``chu``, ``gdd_c`` or ``gdd_f``.
    unit
        The unit of the temperatures, ``c`` or ``f``; they are converted only if the scale needs the other.

    Returns
    -------
    FloatArray
        Heat units a day [`scale`], same shape; NaN where a temperature is NaN.

    Raises
    ------
    ValueError
        If the scale or the unit is not one of those named.

    Notes
    -----
    See `count_chu` and `count_gdd_capped`. ``tmin > tmax`` is not looked for here; see `climate.weather`.

    Checked by ``tests/outside/test_agronomy.py`` and ``tests/properties/test_heat_laws.py``.
    """
    if scale not in SCALES or unit not in ("c", "f"):
        raise ValueError(f"heat units have the scales {', '.join(SCALES)} and the units c, f; not {scale!r}, {unit!r}")
    wanted: Unit = "f" if scale == "gdd_f" else "c"
    if unit != wanted:
        convert = convert_c_to_f if wanted == "f" else convert_f_to_c
        tmin, tmax = convert(tmin), convert(tmax)
    if scale == "chu":
        return count_chu(tmin, tmax)
    return count_gdd_capped(tmin, tmax, GDD_F if scale == "gdd_f" else GDD_C)
