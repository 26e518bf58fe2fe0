"""Which years could a site have had? Invented weather, fitted to the few years that were measured there.

Wet and dry days follow each other with chances that change with the season; minimum and maximum have a seasonal mean
and spread of their own on wet and on dry days, and what is left over lasts from day to day (a bivariate first-order
autoregression). Such generators are known to vary too little from year to year, so a year has a warmth of its own on
top, set so that the mean of the warm half of the year varies as it was seen to.

A calendar of 365 days is used; 29 February counts as 28 February.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.typing import ArrayLike, NDArray

from firstsilk.science.climate.generated import (
    WET_MM,
    YEAR_DAYS,
    FloatArray,
    GeneratorFit,
    find_root,
    generate_days,
    number_in_year,
)

MEAN_WAVES = 2
"""Waves a year in the seasonal means of temperature. Our own choice; one leaves spring and autumn alike."""
LEAST_FIT_DAYS = 150
"""Fewest days to fit: one May to September is 153. Our own choice."""
LEAST_MONTH_DAYS = 20
"""A calendar month with fewer known days in all is not generated. Our own choice."""
WARM_HALF_DAYS = 153
"""Length of the warm half over which a year's own warmth is measured, as from May to September. Our own choice."""
USUAL_YEAR_SD_C = 0.6
"""Spread [°C] of a year's own warmth where no years tell; our own choice, no source."""
USUAL_YEAR_CORRELATION = 0.7
"""Of that of the minimum and that of the maximum. Our own choice, no source."""
USUAL_WEIGHT_YEARS = 3.0
"""The usual spread counts as much as this many years of the site's own. Our own choice."""
PROBE_YEARS = 400
"""Years generated while fitting, to see how much the warm half varies without a year's own warmth."""


@dataclass(frozen=True, slots=True)
class _Given:
    """The known days: `at` day of the year, `serial` (n,), `temps` (n, 2), `wet` (n,), `rain` (n,) or None."""

    at: NDArray[np.int64]
    serial: NDArray[np.int64]
    temps: FloatArray
    wet: FloatArray
    rain: FloatArray | None


def fit_generator(
    days: Sequence[date], tmin_c: ArrayLike, tmax_c: ArrayLike, rain_mm: ArrayLike | None = None, *, seed: int = 1
) -> GeneratorFit:
    """Fit a weather generator to the days of a site.

    Parameters
    ----------
    days
        Dates (days,), any order, none twice.
    tmin_c, tmax_c
        Minima and maxima [°C] (days,); a day with a NaN is passed over.
    rain_mm
        Rain [mm] (days,), NaN unknown; None if there is none, and then wet and dry days are not told apart.
    seed
        Of the years that are generated while fitting.

    Raises
    ------
    ValueError
        If fewer than `LEAST_FIT_DAYS` days are known, a day is there twice, or a minimum is above its maximum.

    Notes
    -----
    Means: two waves a year, and on wet days one more. Spreads: two waves and a wet part. What is left over, after a
    year's own mean is taken off, is z[t] = A z[t-1] + B e[t] with A = M1 inv(M0), B B' = M0 - A M1'. Chances of rain
    and its mean amount: one wave. A year's own warmth has the covariance by which the seen warm halves vary more than
    generated ones, drawn towards `USUAL_YEAR_SD_C` as if that were three years more.

    References
    ----------
    Richardson C. W. (1981), Stochastic simulation of daily precipitation, temperature, and solar radiation, Water
    Resources Research 17:182-190. Matalas N. C. (1967), Mathematical assessment of synthetic hydrology, Water Resources
    Research 3:937-945. Katz R. W., Parlange M. B. (1998), Overdispersion phenomenon in stochastic modeling of
    precipitation, Journal of Climate 11:591-601. (All from memory.)

    Checked by ``tests/science/test_generator.py`` and ``tests/outside/test_generator_seattle.py``.
    """
    given = _read_given(days, tmin_c, tmax_c, rain_mm)
    means = _fit_waves(given.at, given.wet, given.temps, MEAN_WAVES, wet_waves=1)
    left = given.temps - means(given.at, given.wet)
    years = np.array([one.year for one in _dates(given.serial)])
    within = left - _year_means(left, years)
    spreads = _fit_spread(given, within)
    carry, shock = _fit_carry(given.serial, within / spreads(given.at, given.wet))
    every = np.arange(YEAR_DAYS)
    dry, wet = np.zeros(YEAR_DAYS), np.ones(YEAR_DAYS)
    rain = _fit_rain(given)
    fit = GeneratorFit(
        dry_mean_c=means(every, dry),
        wet_mean_c=means(every, wet),
        dry_sd_c=spreads(every, dry),
        wet_sd_c=spreads(every, wet),
        carry=carry,
        shock=shock,
        wet_after_dry=rain[0] if rain else None,
        wet_after_wet=rain[1] if rain else None,
        rain_mean_mm=rain[2] if rain else None,
        rain_shape=rain[3] if rain else None,
        year_cov_c2=np.zeros((2, 2)),
        least_range_c=float(np.quantile(given.temps[:, 1] - given.temps[:, 0], 0.001)),
        covered=_find_covered(given.at),
        n_days=len(given.at),
        n_years=len(set(years.tolist())),
        n_seasons=0,
    )
    return _add_year_warmth(fit, given, left, seed)


def _read_given(days: Sequence[date], tmin_c: ArrayLike, tmax_c: ArrayLike, rain_mm: ArrayLike | None) -> _Given:
    if len(set(days)) != len(days):
        raise ValueError("a day is there twice")
    temps = np.column_stack([np.asarray(tmin_c, dtype=np.float64), np.asarray(tmax_c, dtype=np.float64)])
    rain = np.full(len(days), np.nan) if rain_mm is None else np.asarray(rain_mm, dtype=np.float64)
    serial = np.array([one.toordinal() for one in days], dtype=np.int64)
    known = ~np.isnan(temps).any(axis=1)
    has_rain = bool(np.isfinite(rain[known]).mean() > 0.5) if known.any() else False
    if has_rain:
        known &= np.isfinite(rain)
    order = np.flatnonzero(known)[np.argsort(serial[known])]
    if len(order) < LEAST_FIT_DAYS:
        raise ValueError(f"{len(order)} days are known; a weather generator needs {LEAST_FIT_DAYS}")
    if (temps[order, 0] > temps[order, 1]).any():
        raise ValueError("a minimum is above its maximum")
    wet = (rain[order] > WET_MM).astype(np.float64) if has_rain else np.zeros(len(order))
    if wet.all():
        # Nothing is known of dry days, so that the wet ones are what there is; no rain is generated then.
        wet = np.zeros(len(order))
    at = number_in_year([days[one] for one in order.tolist()])
    return _Given(at, serial[order], temps[order], wet, rain[order] if has_rain else None)


def _dates(serial: NDArray[np.int64]) -> list[date]:
    return [date.fromordinal(one) for one in serial.tolist()]


def _waves(at: NDArray[np.int64], count: int) -> FloatArray:
    """A constant and `count` waves a year: (days, 1 + 2 count)."""
    turn = 2.0 * np.pi * np.asarray(at, dtype=np.float64)[:, None] / YEAR_DAYS * np.arange(1, count + 1)
    return np.hstack([np.ones((len(at), 1)), np.cos(turn), np.sin(turn)])


@dataclass(frozen=True, slots=True)
class _Curve:
    """A seasonal curve with a part of its own on wet days; called with day of the year and wetness."""

    weights: FloatArray
    waves: int
    wet_waves: int
    least: float | FloatArray = -np.inf

    def __call__(self, at: NDArray[np.int64], wet: FloatArray) -> FloatArray:
        design = np.hstack([_waves(at, self.waves), wet[:, None] * _waves(at, self.wet_waves)])
        return np.maximum(design @ self.weights, self.least)


def _fit_waves(at: NDArray[np.int64], wet: FloatArray, values: FloatArray, waves: int, wet_waves: int) -> _Curve:
    """Least squares of the least norm, so that what the days do not tell stays near nothing."""
    design = np.hstack([_waves(at, waves), wet[:, None] * _waves(at, wet_waves)])
    weights = np.asarray(np.linalg.lstsq(design, values, rcond=1e-8)[0], dtype=np.float64)
    return _Curve(weights, waves, wet_waves)


@dataclass(frozen=True, slots=True)
class _Spread:
    squares: _Curve

    def __call__(self, at: NDArray[np.int64], wet: FloatArray) -> FloatArray:
        root: FloatArray = np.sqrt(self.squares(at, wet))
        return root


def _fit_spread(given: _Given, within: FloatArray) -> _Spread:
    curve = _fit_waves(given.at, given.wet, within**2, 2, wet_waves=0)
    # A wave through squares can dip too low where few days are; a quarter of the mean spread is always left.
    return _Spread(replace(curve, least=(within**2).mean(axis=0) / 16.0))


def _year_means(left: FloatArray, years: NDArray[np.int64]) -> FloatArray:
    """Each day's year mean (days, 2); of no use with one year, whose mean the curve has taken already."""
    means = np.zeros_like(left)
    for year in np.unique(years):
        means[years == year] = left[years == year].mean(axis=0)
    return means


def _fit_carry(serial: NDArray[np.int64], z: FloatArray) -> tuple[FloatArray, FloatArray]:
    follows = np.flatnonzero(np.diff(serial) == 1)
    if len(follows) < LEAST_FIT_DAYS // 2:
        raise ValueError("too few days follow each other to see how weather lasts")
    before, after = z[follows], z[follows + 1]
    same = (before.T @ before + after.T @ after) / (2 * len(follows))
    carry = (after.T @ before / len(follows)) @ np.linalg.pinv(same, rcond=1e-9, hermitian=True)
    if np.abs(np.linalg.eigvals(carry)).max() >= 1.0:
        raise ValueError("what the weather does on one day grows from day to day instead of fading")
    return carry, find_root(same - carry @ same @ carry.T)


def _fit_rain(given: _Given) -> tuple[FloatArray, FloatArray, FloatArray, float] | None:
    if given.rain is None or not 0.0 < given.wet.mean() < 1.0:
        return None
    every, none = np.arange(YEAR_DAYS), np.zeros(YEAR_DAYS)
    follows = np.flatnonzero(np.diff(given.serial) == 1)
    chances = []
    for was_wet in (0.0, 1.0):
        here = follows[given.wet[follows] == was_wet] + 1
        if len(here) < 10:
            here = np.arange(len(given.at))
        curve = _fit_waves(given.at[here], np.zeros(len(here)), given.wet[here], 1, wet_waves=0)
        chances.append(np.clip(curve(every, none), 0.01, 0.99))
    rainy = given.wet == 1.0
    amounts = given.rain[rainy]
    curve = _fit_waves(given.at[rainy], np.zeros(len(amounts)), amounts, 1, wet_waves=0)
    curve = replace(curve, least=amounts.mean() / 4.0)
    scaled = amounts / curve(given.at[rainy], np.zeros(len(amounts)))
    return chances[0], chances[1], curve(every, none), _gamma_shape(scaled)


def _gamma_shape(values: FloatArray) -> float:
    """Shape of a gamma distribution by Thom's approximation to greatest likelihood (1958, from memory)."""
    lack = float(np.log(values.mean()) - np.log(values).mean())
    return 10.0 if lack < 0.05 else (1.0 + np.sqrt(1.0 + 4.0 * lack / 3.0)) / (4.0 * lack)


def _find_covered(at: NDArray[np.int64]) -> NDArray[np.bool_]:
    month = np.array([date.fromordinal(date(2001, 1, 1).toordinal() + day).month for day in range(YEAR_DAYS)])
    counts = np.bincount(month[at], minlength=13)
    covered: NDArray[np.bool_] = counts[month] >= LEAST_MONTH_DAYS
    return covered


def find_warm_half(fit: GeneratorFit) -> NDArray[np.int64]:
    """Days of the year of the warm half, in order of the season (153,); those that are not covered left out."""
    mean = fit.dry_mean_c.mean(axis=1)
    wave = (mean[fit.covered] - mean[fit.covered].mean()) @ _waves(np.flatnonzero(fit.covered), 1)[:, 1:]
    centre = (np.arctan2(wave[1], wave[0]) / (2.0 * np.pi) * YEAR_DAYS) % YEAR_DAYS
    if not fit.covered.all():
        centre = float(np.flatnonzero(fit.covered)[np.argmax(mean[fit.covered])])
    span = (np.arange(WARM_HALF_DAYS) - WARM_HALF_DAYS // 2 + round(centre)) % YEAR_DAYS
    warm: NDArray[np.int64] = span[fit.covered[span]].astype(np.int64)
    return warm


def mean_by_season(
    serial: NDArray[np.int64], at: NDArray[np.int64], values: FloatArray, warm: NDArray[np.int64]
) -> FloatArray:
    """Means (seasons, 2) over the warm half of each year in which nine in ten of its days are known."""
    place = np.full(YEAR_DAYS, -1)
    place[warm] = np.arange(len(warm))
    inside = place[at] >= 0
    first = serial[inside] - place[at[inside]]
    # 29 February moves the first day by one; a season is what begins within half a year.
    season = np.round((first - first.min(initial=first.max(initial=0))) / 365.25).astype(np.int64)
    kept = [values[inside][season == one] for one in np.unique(season)]
    means = [one.mean(axis=0) for one in kept if len(one) >= 0.9 * len(warm)]
    return np.array(means) if means else np.zeros((0, 2))


def _add_year_warmth(fit: GeneratorFit, given: _Given, left: FloatArray, seed: int) -> GeneratorFit:
    warm = find_warm_half(fit)
    usual = USUAL_YEAR_SD_C**2 * np.array([[1.0, USUAL_YEAR_CORRELATION], [USUAL_YEAR_CORRELATION, 1.0]])
    seen = mean_by_season(given.serial, given.at, left, warm)
    n_seasons = len(seen)
    excess = np.zeros((2, 2))
    if n_seasons >= 2:
        probe = generate_days(fit, PROBE_YEARS, int(warm[0]), len(warm), seed)
        means = np.column_stack([probe.tmin_c.mean(axis=1), probe.tmax_c.mean(axis=1)])
        excess = np.cov(seen.T) - np.cov(means.T)
    told = max(0, n_seasons - 1)
    cov = (USUAL_WEIGHT_YEARS * usual + told * excess) / (USUAL_WEIGHT_YEARS + told)
    root = find_root(cov)
    return replace(fit, year_cov_c2=root @ root.T, n_seasons=n_seasons)
