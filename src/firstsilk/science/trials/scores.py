"""How is disease summed up over dates and plants, and when do two entries differ?

A score has a direction: some scales call 9 best, others 9 worst. These functions take severity, more is worse.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray


def _series(severity: ArrayLike, days: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    values, at = np.asarray(severity, dtype=np.float64), np.asarray(days, dtype=np.float64)
    if values.ndim != 1 or values.shape != at.shape or values.size < 2 or (np.diff(at) <= 0).any():
        raise ValueError("severity needs two or more readings, one for each of rising days")
    return values, at


def area_under_progress(severity: ArrayLike, days: ArrayLike) -> float:
    """Give the area under the disease progress curve (AUDPC).

    Parameters
    ----------
    severity
        Disease severity [% or score] (readings,).
    days
        Days of the readings (readings,), rising.

    Returns
    -------
    float
        Severity times days, by trapezia.

    Raises
    ------
    ValueError
        If there are fewer than two readings or the days do not rise.

    References
    ----------
    Shaner G., Finney R.E. 1977, Phytopathology 67:1051-1056 (pages from memory).

    Checked by ``tests/outside/test_agronomy.py`` (audpc).
    """
    values, at = _series(severity, days)
    return float(np.sum((values[1:] + values[:-1]) / 2.0 * np.diff(at)))


def area_under_progress_relative(severity: ArrayLike, days: ArrayLike, worst: float = 100.0) -> float:
    """Give the AUDPC as a share of the largest possible on those days.

    References
    ----------
    Sparks A.H. et al. 2008, Ecology and epidemiology in R: disease progress over time, APSnet.

    Checked by ``tests/outside/test_agronomy_words.py`` (audpc_relative).
    """
    _, at = _series(severity, days)
    return area_under_progress(severity, days) / (worst * float(at[-1] - at[0]))


def area_under_stairs(severity: ArrayLike, days: ArrayLike) -> float:
    """Give the area under the disease progress stairs (AUDPS), which gives first and last reading full weight.

    Notes
    -----
    ``AUDPC + (first + last)/2 x D/(n - 1)`` with D days over n readings.

    References
    ----------
    Simko I., Piepho H.P. 2012, Phytopathology 102:381-389 (pages from memory).

    Checked by ``tests/outside/test_agronomy.py`` (audps).
    """
    values, at = _series(severity, days)
    ends = float(values[0] + values[-1]) / 2.0
    return area_under_progress(severity, days) + ends * float(at[-1] - at[0]) / (values.size - 1)


def disease_severity_index(counts: Sequence[int]) -> float:
    """Give the disease severity index in percent from the number of plants at each score 0, 1, 2, ...

    Notes
    -----
    ``100 sum(score count) / (plants x highest score)``; counts are (scores,). Where scores are not equal steps,
    class midpoints are better (Chiang et al. 2017).

    Checked by ``tests/outside/test_agronomy.py`` (disease_severity_index).
    """
    weighted = sum(score * count for score, count in enumerate(counts))
    return 100.0 * weighted / (sum(counts) * (len(counts) - 1))


def disease_incidence_pct(counts: Sequence[int]) -> float:
    """Give the percentage of plants with any disease from the number of plants at each score 0, 1, 2, ...

    Checked by ``tests/outside/test_agronomy.py`` (disease_incidence).
    """
    return 100.0 * sum(counts[1:]) / sum(counts)


def yield_index(entry: float, trial_mean: float) -> float:
    """Give an entry in percent of the trial mean.

    References
    ----------
    Ontario Corn Committee, 2017 performance trials.

    Checked by ``tests/outside/test_agronomy.py`` (yield_index).
    """
    return 100.0 * entry / trial_mean


def differ_by_lsd(first: float, second: float, lsd: float) -> bool:
    """Say whether two entries differ: their gap is equal to or above the least significant difference.

    Notes
    -----
    False means "not shown to differ", never "equal". For many pairs at once an LSD finds too many.

    References
    ----------
    Ontario Corn Committee 2017; University of Minnesota 2009 ("equal to or above").

    Checked by ``tests/outside/test_agronomy_words.py`` (lsd_compare).
    """
    return abs(first - second) >= lsd
