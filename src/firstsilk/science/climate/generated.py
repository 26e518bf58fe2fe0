"""What does a fitted weather generator draw: whole years, or a stretch of the calendar, from today on if asked?

The model is told in `firstsilk.science.climate.generator`, which fits it. A calendar of 365 days is used; 29 February
counts as 28 February.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import ArrayLike, NDArray

from firstsilk.science.climate.frost import day_of_common_year

FloatArray = NDArray[np.float64]

YEAR_DAYS = 365
WET_MM = 0.2
"""A day with more rain than this is wet: a hundredth of an inch, to a tenth (Richardson 1981)."""


@dataclass(frozen=True, slots=True)
class Anomaly:
    """How far recent days were from the site's seasonal mean, minimum and maximum [°C].

    `last_c` (2,) is of the last day, `mean_c` (2,) of the last `n_days` days.
    """

    last_c: FloatArray
    mean_c: FloatArray
    n_days: int


@dataclass(frozen=True, slots=True)
class GeneratorFit:
    """What is needed to generate years like those of a site.

    `dry_mean_c`, `wet_mean_c`, `dry_sd_c`, `wet_sd_c` (365, 2): minimum and maximum by day of the year. `carry` (2, 2)
    what lasts from day to day, `shock` (2, 2) a root of the covariance of what is new. `wet_after_dry`,
    `wet_after_wet` (365,), `rain_mean_mm` (365,) on wet days and `rain_shape` of its gamma distribution; None where
    no rain was given. `year_cov_c2` (2, 2) of a year's own warmth. `least_range_c` the smallest daily range.
    `covered` (365,) days of the year that can be generated. `n_days`, `n_years` were fitted; `n_seasons` warm halves.
    """

    dry_mean_c: FloatArray
    wet_mean_c: FloatArray
    dry_sd_c: FloatArray
    wet_sd_c: FloatArray
    carry: FloatArray
    shock: FloatArray
    wet_after_dry: FloatArray | None
    wet_after_wet: FloatArray | None
    rain_mean_mm: FloatArray | None
    rain_shape: float | None
    year_cov_c2: FloatArray
    least_range_c: float
    covered: NDArray[np.bool_]
    n_days: int
    n_years: int
    n_seasons: int


@dataclass(frozen=True, slots=True)
class GeneratedYears:
    """Invented days: `day_of_year` (days,) from 0; `tmin_c`, `tmax_c` [°C] and `rain_mm` [mm] (years, days).

    `rain_mm` is None where no rain was fitted.
    """

    day_of_year: NDArray[np.int64]
    tmin_c: FloatArray
    tmax_c: FloatArray
    rain_mm: FloatArray | None


def number_in_year(days: Sequence[date]) -> NDArray[np.int64]:
    """Day of a common year, 1 January being 0 (days,); 29 February counts as 28 February."""
    return np.array([day_of_common_year(one) - 1 for one in days], dtype=np.int64)


def find_root(covariance: FloatArray) -> FloatArray:
    """A matrix whose product with its own transpose is the covariance, negative parts left out."""
    values, vectors = np.linalg.eigh((covariance + covariance.T) / 2.0)
    root: FloatArray = np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)), dtype=np.float64)
    return root


def measure_anomaly(
    fit: GeneratorFit, days: Sequence[date], tmin_c: ArrayLike, tmax_c: ArrayLike, rain_mm: ArrayLike | None = None
) -> Anomaly:
    """How far the days were from what the site has at their dates, wet and dry days apart where rain is known.

    Parameters
    ----------
    fit
        The fitted generator.
    days
        Recent dates in order (days,), at least one.
    tmin_c, tmax_c
        Minima and maxima [°C] (days,).
    rain_mm
        Rain [mm] (days,); None if not known.

    Checked by ``tests/science/test_generator.py``.
    """
    at = number_in_year(days)
    temps = np.column_stack([np.asarray(tmin_c, dtype=np.float64), np.asarray(tmax_c, dtype=np.float64)])
    rain = np.zeros(len(days)) if rain_mm is None else np.nan_to_num(np.asarray(rain_mm, dtype=np.float64))
    wet = (rain > WET_MM)[:, None]
    apart = temps - np.where(wet, fit.wet_mean_c[at], fit.dry_mean_c[at])
    return Anomaly(apart[-1], apart.mean(axis=0), len(days))


def generate_years(fit: GeneratorFit, n_years: int, seed: int, anomaly: Anomaly | None = None) -> GeneratedYears:
    """Generate whole years of 365 days from 1 January. As `generate_days`."""
    return generate_days(fit, n_years, 0, YEAR_DAYS, seed, anomaly)


def generate_days(
    fit: GeneratorFit, n_years: int, start_day: int, n_days: int, seed: int, anomaly: Anomaly | None = None
) -> GeneratedYears:
    """Generate the same stretch of the calendar for many years.

    Parameters
    ----------
    fit
        The fitted generator.
    n_years
        Years wanted.
    start_day
        Day of the year of the first day, 1 January being 0.
    n_days
        Days wanted; the calendar goes round.
    seed
        The same seed gives the same years; more years begin with the same ones only by chance.
    anomaly
        How the days before the first were; None draws them too.

    Raises
    ------
    ValueError
        If the stretch touches months in which the site had too few days.

    Notes
    -----
    With an anomaly, what lasts from day to day starts from the last day, and a year's own warmth is drawn given the
    mean of the days so far. The maximum is held above the minimum by the smallest range seen.

    Checked by ``tests/science/test_generator.py`` and ``tests/outside/test_generator_seattle.py``.
    """
    at = (start_day + np.arange(n_days)) % YEAR_DAYS
    if not fit.covered[at].all():
        raise ValueError("the site has too few days in a month of this stretch to generate it")
    dice = np.random.default_rng(seed)
    wet = _draw_wet(fit, n_years, at, dice)
    z = _draw_lasting(fit, n_years, n_days, anomaly, at, dice)
    year = _draw_year_warmth(fit, n_years, anomaly, at, dice)
    is_wet = wet[:, :, None]
    mean = np.where(is_wet, fit.wet_mean_c[at], fit.dry_mean_c[at])
    temps = mean + z * np.where(is_wet, fit.wet_sd_c[at], fit.dry_sd_c[at]) + year[:, None, :]
    middle, half = temps.mean(axis=2), np.maximum(temps[..., 1] - temps[..., 0], fit.least_range_c) / 2.0
    return GeneratedYears(at.astype(np.int64), middle - half, middle + half, _draw_rain(fit, wet, at, dice))


def _draw_wet(fit: GeneratorFit, n_years: int, at: NDArray[np.int64], dice: np.random.Generator) -> NDArray[np.bool_]:
    wet = np.zeros((n_years, len(at)), dtype=np.bool_)
    after_dry, after_wet = fit.wet_after_dry, fit.wet_after_wet
    if after_dry is None or after_wet is None:
        return wet
    first = at[0]
    now = dice.random(n_years) < after_dry[first] / (1.0 + after_dry[first] - after_wet[first])
    throws = dice.random((n_years, len(at)))
    for step, day in enumerate(at.tolist()):
        now = throws[:, step] < np.where(now, after_wet[day], after_dry[day])
        wet[:, step] = now
    return wet


def _draw_lasting(
    fit: GeneratorFit,
    n_years: int,
    n_days: int,
    anomaly: Anomaly | None,
    at: NDArray[np.int64],
    dice: np.random.Generator,
) -> FloatArray:
    """What lasts from day to day, standardised (years, days, 2)."""
    new = dice.standard_normal((n_years, n_days, 2)) @ fit.shock.T
    start = dice.standard_normal((n_years, 2)) @ find_root(_settled(fit)).T
    if anomaly is not None:
        start = np.broadcast_to(anomaly.last_c / fit.dry_sd_c[at[0]], (n_years, 2))
    z = np.empty((n_years, n_days, 2))
    now = start
    for step in range(n_days):
        now = now @ fit.carry.T + new[:, step]
        z[:, step] = now
    return z


def _settled(fit: GeneratorFit) -> FloatArray:
    """The covariance to which what lasts settles: S = A S A' + B B'."""
    alone = np.kron(fit.carry, fit.carry)
    settled = np.asarray(np.linalg.solve(np.eye(4) - alone, (fit.shock @ fit.shock.T).ravel())).reshape(2, 2)
    return (settled + settled.T) / 2.0


def _draw_year_warmth(
    fit: GeneratorFit, n_years: int, anomaly: Anomaly | None, at: NDArray[np.int64], dice: np.random.Generator
) -> FloatArray:
    """A year's own warmth [°C] (years, 2), given the mean of the days so far if that is known."""
    throws = dice.standard_normal((n_years, 2))
    if anomaly is None:
        return throws @ find_root(fit.year_cov_c2).T
    sd = np.diag(fit.dry_sd_c[at[0]])
    settled, eye = _settled(fit), np.eye(2)
    lasts = settled @ np.linalg.inv(eye - fit.carry).T
    of_mean = sd @ (lasts + lasts.T - settled) @ sd / anomaly.n_days
    gain = fit.year_cov_c2 @ np.linalg.inv(fit.year_cov_c2 + of_mean + 1e-9 * eye)
    rest = (eye - gain) @ fit.year_cov_c2
    drawn: FloatArray = gain @ anomaly.mean_c + throws @ find_root(rest).T
    return drawn


def _draw_rain(
    fit: GeneratorFit, wet: NDArray[np.bool_], at: NDArray[np.int64], dice: np.random.Generator
) -> FloatArray | None:
    if fit.rain_mean_mm is None or fit.rain_shape is None:
        return None
    fallen = dice.gamma(fit.rain_shape, 1.0 / fit.rain_shape, size=wet.shape) * fit.rain_mean_mm[at]
    return np.where(wet, np.maximum(fallen, WET_MM + 0.1), 0.0)
