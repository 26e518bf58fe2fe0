"""On which days must two parents be sown so that they flower together?

The heat-unit rule of the trade: a later parent is sown first, the other is held back by the difference of their units.
A sowing delay moves flowering by the same number of units, but May days bring fewer units than July days, so days at
sowing and days at flowering are not one for one; past years' weather is run day by day.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class SowingChoice:
    """Days after the first sowing day on which female and male are sown, and how the pair met in past years.

    Attributes
    ----------
    female_day, male_day
        Days after the first day that sowing is possible [days].
    gap_days
        Mean over years of female silk day minus male shed day [days]; None if never both reached.
    meet_frac
        Share of years in which silk and shed lay within `near_days` of each other.
    years
        Years used.
    """

    female_day: int
    male_day: int
    gap_days: float | None
    meet_frac: float
    years: int


def find_flowering_days(daily: NDArray[np.float64], sown_day: int, units: float) -> NDArray[np.float64]:
    """The day on which a row sown on `sown_day` reaches `units`, in each year.

    Parameters
    ----------
    daily
        Heat units of each day, first day that sowing is possible = column 0 (years, days) [units of one scale].
    sown_day
        Column of the sowing day; the first day counted is the day after.
    units
        Heat units from sowing to flowering [same scale].

    Returns
    -------
    numpy.ndarray
        Column of the first day on which the sum reaches `units` (years,); NaN where it is never reached.
    """
    total = np.cumsum(daily[:, sown_day + 1 :], axis=1)
    reached = total >= units
    day: NDArray[np.float64] = np.argmax(reached, axis=1).astype(np.float64) + sown_day + 1
    day[~reached.any(axis=1)] = np.nan
    return day


def choose_sowing_days(
    daily: NDArray[np.float64],
    female_units: float,
    male_units: float,
    last_day: int = 25,
    near_days: float = 3.0,
) -> SowingChoice:
    """Sow the later parent on day 0 and the other on the day that brings silk and shed closest together.

    Parameters
    ----------
    daily
        Heat units by year and day (years, days); column 0 is the first day that sowing is possible.
    female_units, male_units
        Units from sowing to half the plants in silk (female) and in shed (male) [scale of `daily`].
    last_day
        Latest day on which rows are still sown [days after the first].
    near_days
        A year counts as met if silk and shed lie no further apart [days]. A miss of up to 3 days is saved by
        early and late plants (trade practice on silk receptivity of 5-6 days and 5-8 days of shed a row).

    Notes
    -----
    The chosen delay has the largest share of years met, then the smallest mean distance. Plant-to-plant spread and
    the uncertainty of the units themselves are not considered here.
    """
    later_is_female = female_units >= male_units
    fixed = find_flowering_days(daily, 0, max(female_units, male_units))
    best: tuple[float, float, int, float] | None = None
    for delay in range(last_day + 1):
        moved = find_flowering_days(daily, delay, min(female_units, male_units))
        gap = (fixed - moved) if later_is_female else (moved - fixed)
        known = gap[~np.isnan(gap)]
        if not len(known):
            continue
        met = float(np.sum(np.abs(known) <= near_days)) / daily.shape[0]
        distance = float(np.mean(np.abs(known)))
        if best is None or (-met, distance) < (best[0], best[1]):
            best = (-met, distance, delay, float(np.mean(known)))
    if best is None:
        return SowingChoice(0, 0, None, 0.0, daily.shape[0])
    delay = best[2]
    female, male = (0, delay) if later_is_female else (delay, 0)
    return SowingChoice(female, male, best[3], -best[0], daily.shape[0])


def expect_day(units_left: float, normal_daily: Sequence[float]) -> int | None:
    """Days from today until the units left are gathered at the normal pace; None if not within the days given.

    Parameters
    ----------
    units_left
        Heat units still needed [units]; 0 or less means reached.
    normal_daily
        Normal heat units of tomorrow, the day after, and so on [units].
    """
    if units_left <= 0:
        return 0
    total = 0.0
    for day, units in enumerate(normal_daily, 1):
        total += units
        if total >= units_left:
            return day
    return None
