"""After which day is it too late to pollinate, what does each more day gain, and will what is gained ripen?

Values in, values out, from the joint draws of the forecast.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from firstsilk.science.flowering.day import RIPE_AFTER_DAYS
from firstsilk.science.flowering.demand import PLANT_SD_DAYS

FloatArray = NDArray[np.float64]

LEAST_CHOSEN_FRAC = 1e-3
"""Where fewer plants than that have silked, no differential is told (a choice of ours)."""
SURE_FRAC = 0.9
"""A cutoff is called sure where this share of draws has the wanted share by then (a choice of ours)."""


@dataclass(frozen=True, slots=True)
class CutoffDay:
    """One possible last day [days after today].

    Attributes
    ----------
    share_p10, share_p50, share_p90
        Share of the season's pollinations possible by then, done ones included: low, middle, high.
    gained
        Pollinations that this day adds in the mean of draws.
    chance_frac
        Share of draws that have the wanted share by then.
    ripe_frac
        Chance that an ear pollinated on this day ripens before the killing frost; NaN where no past year tells.
    """

    day: int
    share_p10: float
    share_p50: float
    share_p90: float
    gained: float
    chance_frac: float
    ripe_frac: float


def weigh_cutoffs(
    demand: ArrayLike, first_day: int, done: float, total: float, wanted_frac: float, ripe_frac: ArrayLike | None = None
) -> tuple[CutoffDay, ...]:
    """What each possible last day of pollinating gives.

    Parameters
    ----------
    demand
        (draws, days): pollinations still possible by day, with no cutoff, as `spread_demand` gives them.
    first_day
        Day of the first column [days after today].
    done, total
        Pollinations standing, and all that the season wants.
    wanted_frac
        Share of the season's pollinations that is wanted, in 0..1.
    ripe_frac
        (days,): chance of ripening by day of pollination; None where it is not known.

    Returns
    -------
    tuple of CutoffDay
        One for each day.

    Raises
    ------
    ValueError
        If nothing is wanted, or a share lies outside 0..1.

    Notes
    -----
    Never falls from day to day. Rows that never silk keep the share below 1.
    Checked by tests/science/test_cutoff.py.
    """
    by_day = np.asarray(demand, dtype=np.float64)
    if not 0 <= wanted_frac <= 1 or not total > 0 or not done >= 0 or by_day.ndim != 2:
        raise ValueError("total > 0, done >= 0, 0 <= wanted_frac <= 1 and demand of (draws, days) are needed")
    ripe = np.full(by_day.shape[1], np.nan) if ripe_frac is None else np.asarray(ripe_frac, dtype=np.float64)
    share = np.minimum(1.0, (done + np.cumsum(by_day, axis=1)) / total)
    low, middle, high = np.quantile(share, (0.1, 0.5, 0.9), axis=0)
    # A share that is a rounding error short of the wanted one has it.
    chance = np.mean(share >= wanted_frac - 1e-9, axis=0)
    gained = by_day.mean(axis=0)
    return tuple(
        CutoffDay(first_day + at, *(float(one[at]) for one in (low, middle, high, gained, chance, ripe)))
        for at in range(by_day.shape[1])
    )


def find_cutoffs(days: Sequence[CutoffDay], wanted_frac: float) -> tuple[int | None, int | None]:
    """The first last day that gives the wanted share in the middle of draws, and the first that is sure to [days after
    today]; None where no day does."""
    middle = next((one.day for one in days if one.share_p50 >= wanted_frac - 1e-9), None)
    sure = next((one.day for one in days if one.chance_frac >= SURE_FRAC), None)
    return middle, sure


def find_earlier_days(
    silk: ArrayLike, weights: ArrayLike, last_days: ArrayLike, plant_sd_days: float = PLANT_SD_DAYS
) -> FloatArray:
    """By how many days the plants pollinated up to each last day silk before all plants: the selection differential.

    Parameters
    ----------
    silk
        (rows, draws): days after today of half silk; NaN = never.
    weights
        (rows,): what each row counts for, such as its pollinations.
    last_days
        (days,): last days of pollinating [days after today].
    plant_sd_days
        Spread of the plants of a row about half silk [days].

    Returns
    -------
    numpy.ndarray
        (days,): mean silk of all plants less that of those that silk by the end of the day, mean over draws [days], 0
        or more; NaN where no row silks, or none has by then.

    Notes
    -----
    A plant silks at s + N(0, sd). Of row r, with z = (d + 1/2 - s) / sd, the share P(z) silks by day d, and the mean
    of these is s - sd p(z) / P(z). Over rows the sums are weighted. For one row the result is sd x i, i the intensity
    of truncation selection at the share P(z). Rows that never silk are in neither mean. What it brings in the next
    generation is this times the heritability of the day of silk in those plants.

    Checked by
    ----------
    tests/outside/test_selection_published.py (intensities of truncation selection); tests/science/test_cutoff.py
    """
    days = np.asarray(silk, dtype=np.float64)
    counts = np.where(np.isnan(days), 0.0, np.asarray(weights, dtype=np.float64)[:, None])
    known = np.nan_to_num(days)
    total = counts.sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        everyone = (counts * known).sum(axis=0) / total
        found = []
        for last in np.asarray(last_days, dtype=np.float64):
            z = (last + 0.5 - known) / plant_sd_days
            share, density = ndtr(z), np.exp(-0.5 * z * z) / np.sqrt(2.0 * np.pi)
            chosen = (counts * share).sum(axis=0)
            mean = (counts * (known * share - plant_sd_days * density)).sum(axis=0) / chosen
            each = np.where(chosen > LEAST_CHOSEN_FRAC * total, everyone - mean, np.nan)
            found.append(float(np.nanmean(each)) if np.isfinite(each).any() else np.nan)
    return np.asarray(np.maximum(np.array(found), 0.0))


def ripen_before_frost(
    pollinated_on: Sequence[date], frosts_on: Sequence[date | None], ripe_after_days: int = RIPE_AFTER_DAYS
) -> FloatArray:
    """The chance that an ear pollinated on each day is at black layer before the killing frost.

    Parameters
    ----------
    pollinated_on
        (days,): days of this season.
    frosts_on
        (years,): day of the killing frost of each past year, None for a year without one.
    ripe_after_days
        Days from pollination to black layer.

    Returns
    -------
    FloatArray
        (days,): share of past years whose frost came later; NaN where there is no past year.

    Notes
    -----
    Days are compared by the date of the year, from 1 July on, so a frost in January comes after one in October. Where
    all frosts lie from July on, a day of June comes before them, not after. Seed sprouts well before black layer, and
    black layer comes later in a cool autumn: this is a plain rule of days.
    """
    if not frosts_on:
        return np.full(len(pollinated_on), np.nan)
    frost = np.array([np.inf if day is None else _place(day) for day in frosts_on])
    is_north = all(day is None or day.month >= 7 for day in frosts_on)
    ripe = np.array([_place(day, is_north) + ripe_after_days for day in pollinated_on], dtype=np.float64)
    return np.asarray(np.mean(frost[None, :] >= ripe[:, None], axis=1))


def _place(day: date, is_north: bool = False) -> float:
    """Days since the 1 July before; in the north since 1 July of the same year, below 0 before it."""
    start = date(day.year, 7, 1) if day.month >= 7 or is_north else date(day.year - 1, 7, 1)
    return float((day - start).days)
