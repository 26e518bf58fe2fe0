"""How many good ears are lost if a task waits until tomorrow?

Values in, values out. One formula, in good ears, ranks all tasks of a day::

    loss = weight x gain x lost

`gain` [good ears]: what the task's ears add to the good ears that their target still wants, on average. `lost` [share]:
the part of it that is gone if the task waits a day. `weight`: what the target's priority counts for. Rain, heat of the
day, hands, and plants of the row beyond those asked for are not considered.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

from firstsilk.science.flowering.demand import PLANT_SD_DAYS

SILK_LASTS_DAYS = 6
"""Days a row's silks take pollen after half of it silks: 5-6 (summary page on silk growth and receptivity)."""
WORKABLE_FRAC = 0.75
"""Chance that a later day can be worked: 20-30 % of the time is lost to rain and dew (common practice, no source)."""
LOOK_SD_DAYS = 3.0
"""An expected day of silk or shed is off by about so much [days] (a choice of ours; `docs/forecast.md` has measured
spreads)."""


@dataclass(frozen=True, slots=True)
class Stake:
    """What a task is worth today: good ears gained, the share lost by waiting a day, and the weight of its target."""

    gain_ears: float = 0.0
    lost_frac: float = 0.0
    weight: float = 1.0

    @property
    def loss_ears(self) -> float:
        """Good ears lost if it waits until tomorrow, before weighting."""
        return self.gain_ears * self.lost_frac

    @property
    def urgency(self) -> float:
        """What the list is ranked by: good ears lost, counted by priority."""
        return self.weight * self.loss_ears


@lru_cache(maxsize=65536)
def expect_wanted_ears(pollinations: int, success_frac: float, wanted: int) -> float:
    """Good ears on average, those beyond the wanted ones not counted.

    Parameters
    ----------
    pollinations
        Pollinations standing [count].
    success_frac
        Good ears per pollination [0 to 1].
    wanted
        Good ears that the target wants [count].

    Returns
    -------
    float
        E[min(J, wanted)] [good ears], J binomial.

    Checked by
    ----------
    tests/science/test_stakes.py (a slow twin over all outcomes)
    """
    if pollinations <= wanted:
        return pollinations * success_frac
    if success_frac >= 1.0:
        return float(wanted)
    chance = (1.0 - success_frac) ** pollinations
    if chance == 0.0:
        return float(min(wanted, pollinations * success_frac))
    odds = success_frac / (1.0 - success_frac)
    below, total = 0.0, 0.0
    for ears in range(wanted):
        below += chance
        total += 1.0 - below
        chance *= odds * (pollinations - ears) / (ears + 1)
    return total


def find_gain(standing: int, count: int, success_frac: float, wanted: int) -> float:
    """Good ears that `count` more pollinations add to a target with so many standing, on average [good ears]."""
    if wanted <= 0:
        return count * success_frac
    more = expect_wanted_ears(standing + count, success_frac, wanted)
    return max(0.0, more - expect_wanted_ears(standing, success_frac, wanted))


@lru_cache(maxsize=65536)
def find_silk_lost(age_days: int, later_days: tuple[int, ...], workable_frac: float = WORKABLE_FRAC) -> float:
    """The share of today's ready ears that is never pollinated if they are not pollinated today.

    Parameters
    ----------
    age_days
        Days since half the row's plants showed silk; negative before it.
    later_days
        Days from today on which the row's silk is good, a male sheds, and the cutoff is not past, rising.
    workable_frac
        Chance that any one of them can be worked [0 to 1].

    Returns
    -------
    float
        0 to 1; 1 where there is no later day.

    Notes
    -----
    lost = 1 - sum over the j-th later day k_j of w (1 - w)^(j - 1) s(k_j), w the chance of a workable day and s(k) the
    share of the plants ready today whose own silk is still good k days later. Plants silk with a standard deviation of
    2.2 days about the day of half silk, each takes pollen for six days: with a the age and P the normal distribution,
    s(k) = [P(a + 1/2) - P(a + k - 6 - 1/2)] / [P(a + 1/2) - P(a - 6 - 1/2)], at least 0.

    Checked by
    ----------
    tests/science/test_stakes.py
    """
    ready_to = _silked_by(age_days + 0.5)
    ready = ready_to - _silked_by(age_days - SILK_LASTS_DAYS - 0.5)
    if ready <= 0.0:
        return 1.0
    kept, still_waiting = 0.0, 1.0
    for day in later_days:
        share = max(0.0, ready_to - _silked_by(age_days + day - SILK_LASTS_DAYS - 0.5)) / ready
        kept += still_waiting * workable_frac * share
        still_waiting *= 1.0 - workable_frac
    return 1.0 - kept


@lru_cache(maxsize=1024)
def find_shoots_lost(silk_in_days: int) -> float:
    """The share of shoots without a bag that show silk before tomorrow's round [0 to 1]: they are open to any pollen.

    Of the plants that have not silked today, those that silk within a day, with plants spread about the day of half
    silk as in `find_silk_lost`.
    """
    still = 1.0 - _silked_by(-silk_in_days)
    return (_silked_by(1.0 - silk_in_days) - _silked_by(-silk_in_days)) / still if still > 0 else 1.0


def find_out_chance(in_days: int) -> float:
    """The chance that a silk or shed expected in so many days is out today already [0 to 1]."""
    return 0.5 * (1.0 + math.erf(-in_days / LOOK_SD_DAYS / math.sqrt(2.0)))


def _silked_by(days: float) -> float:
    """The share of a row's plants that show silk so many days after half of them do."""
    return 0.5 * (1.0 + math.erf(days / PLANT_SD_DAYS / math.sqrt(2.0)))
