"""How far could a frost date lie elsewhere, had other years of the same climate been seen?

The years that count are drawn again and again with replacement, those without the event among them, and the date is
estimated from each draw. The band holds the wanted share of those dates. It tells of the few years only: a climate
that changes, or a thermometer on a warm slope, is not in it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from firstsilk.science.climate.frost import METHODS, FrostMethod, FrostYears, QuantileType

FloatArray = NDArray[np.float64]

SPREAD_LEVEL = 0.8
"""Share of the resamples inside the band, from 10 to 90 %, as all bands of forecasts here. Our choice."""
_PLACES: dict[QuantileType, tuple[float, float]] = {5: (0.0, -0.5), 6: (1.0, -1.0), 7: (-1.0, 0.0)}
"""By quantile rule, a and b in the place ``(n + a) share + b`` among n sorted values, counted from 0. Hyndman & Fan
1996 (from memory); checked against numpy."""


@dataclass(frozen=True, slots=True)
class FrostSpread:
    """The band of a frost date.

    `low` and `high` are days of a common year, not rounded, None where that end of the band does not exist;
    `resamples` were drawn, and `without_date` of them gave no date. `sd_days` is the standard deviation of the dates
    that the others gave, None for fewer than two.
    """

    low: float | None
    high: float | None
    resamples: int
    without_date: int
    sd_days: float | None


def spread_frost_day(
    frosts: FrostYears,
    probability: float,
    method: FrostMethod = "percentile",
    quantile: QuantileType = 7,
    resamples: int = 1000,
    dice: np.random.Generator | None = None,
    level: float = SPREAD_LEVEL,
) -> FrostSpread | None:
    """Spread a frost date over resampled years.

    Parameters
    ----------
    frosts
        What the years say.
    probability, method, quantile
        As `estimate_frost_day` takes them.
    resamples
        Draws, at least 1; each has as many years as count.
    dice
        Decides which years are drawn; a Generator of seed 1 if None.
    level
        Share of the draws inside the band, above 0 and below 1.

    Returns
    -------
    FrostSpread or None
        None with fewer than two years that count: one year says nothing about other years.

    Raises
    ------
    ValueError
        If probability, level or resamples are out of range, or method or quantile rule is unknown.

    Notes
    -----
    Percentile bootstrap. A draw without a date stands behind all dates in autumn (that frost did not come, or not
    with this chance) and before all in spring, so the late end of an autumn band is None once more than
    ``(1 - level) / 2`` of the draws have none. With few years the band is too narrow, the more so for the outer
    chances; docs/frost-and-ripening.md gives measured coverage.

    References
    ----------
    Efron B. 1979, Ann. Stat. 7:1-26 (from memory).

    Checked by ``tests/science/test_frost_spread.py``: a slow twin, the known standard error under a normal law, and
    measured coverage.
    """
    if not 0.0 < probability < 1.0 or not 0.0 < level < 1.0 or resamples < 1:
        raise ValueError(f"out of range: probability {probability}, level {level} or resamples {resamples}")
    if method not in METHODS or quantile not in _PLACES:
        raise ValueError(f"unknown method {method!r} or quantile rule {quantile!r}")
    n_years = len(frosts.years)
    if n_years < 2:
        return None
    came = dict(zip(frosts.years_with_event, frosts.day_of_year, strict=True))
    days = np.array([came.get(year, math.nan) for year in frosts.years], dtype=np.float64)
    dice = np.random.default_rng(1) if dice is None else dice
    drawn = np.sort(days[dice.integers(0, n_years, (resamples, n_years))], axis=1)
    found = _estimate_each(drawn, probability, method, quantile, autumn=frosts.event == "first_autumn")
    found = np.where((found >= 0.5) & (found < 365.5), found, np.nan)
    return _band(found, level, never=math.inf if frosts.event == "first_autumn" else -math.inf)


def _band(found: FloatArray, level: float, never: float) -> FrostSpread:
    tail = (1.0 - level) / 2.0
    laid = np.where(np.isnan(found), never, found)
    # A quantile that is one of the values: there is no middle between a date and never.
    low, high = np.quantile(laid, [tail, 1.0 - tail], method="inverted_cdf").tolist()
    dated = found[~np.isnan(found)]
    return FrostSpread(
        low=low if math.isfinite(low) else None,
        high=high if math.isfinite(high) else None,
        resamples=int(found.size),
        without_date=int(found.size - dated.size),
        sd_days=float(dated.std(ddof=1)) if dated.size > 1 else None,
    )


def _estimate_each(
    drawn: FloatArray, probability: float, method: FrostMethod, quantile: QuantileType, autumn: bool
) -> FloatArray:
    """The date of each draw (resamples,), NaN where there is none; `drawn` (resamples, years) sorted, NaN last."""
    counts = np.sum(~np.isnan(drawn), axis=1)
    share = np.full(len(drawn), probability)
    if method == "percentile":
        return _quantile_each(drawn, counts, probability if autumn else 1.0 - probability, quantile)
    enough = counts >= 2
    if method == "mixed":
        share = probability * drawn.shape[1] / np.maximum(counts, 1)
        enough &= share < 1.0
    answer = np.full(len(drawn), np.nan)
    if enough.any():
        some = drawn[enough]
        law = NormalDist()
        z = np.array([law.inv_cdf(one if autumn else 1.0 - one) for one in share[enough].tolist()])
        answer[enough] = np.nanmean(some, axis=1) + z * np.nanstd(some, axis=1, ddof=1)
    return answer


def _quantile_each(drawn: FloatArray, counts: NDArray[np.intp], share: float, quantile: QuantileType) -> FloatArray:
    more, shift = _PLACES[quantile]
    last = np.maximum(counts - 1, 0)
    place = np.clip((counts + more) * share + shift, 0.0, last)
    below = np.floor(place).astype(np.intp)
    above = np.minimum(below + 1, last)
    rows = np.arange(len(drawn))
    low, high = drawn[rows, below], drawn[rows, above]
    return np.asarray(np.where(counts > 0, low + (place - below) * (high - low), np.nan))


def normal_frost_day_se(sd_days: float, years: int, probability: float) -> float:
    """Give the standard error of a date estimated by a normal law [days].

    Parameters
    ----------
    sd_days
        Standard deviation of the yearly dates [days].
    years
        Years with the event, at least 2.
    probability
        The chance of the date.

    Notes
    -----
    ``sd sqrt(1/n + z^2 / (2 (n - 1)))``: the mean and the standard deviation of a normal sample are independent.

    References
    ----------
    Textbook result for mean + z sd (from memory).

    Checked by ``tests/science/test_frost_spread.py`` against simulated samples.
    """
    if years < 2:
        raise ValueError(f"a standard error needs two years or more, not {years}")
    z = NormalDist().inv_cdf(probability)
    return sd_days * math.sqrt(1.0 / years + z * z / (2.0 * (years - 1)))
