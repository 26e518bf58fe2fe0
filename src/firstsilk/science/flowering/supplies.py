"""How many bags, clips, tags and envelopes does the season ask for, how many the next week, and when to order them?

Values in, values out. The rates are what practice tells, from memory, with no source: look at what is left over at the
end of a season, and change your order by that.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class Rate:
    """How much of one thing goes with one of what it hangs on.

    Attributes
    ----------
    name
        What it is called.
    per
        What it hangs on: a key of `SupplyNeed`.
    low, high
        Least and most for one of those.
    used_by
        Which noted count tells what is used up; empty where notes tell nothing, or where it is used again.
    weekly
        True where the next week needs its share of the season, false for what everybody or every row has once.
    """

    name: str
    per: str
    low: float
    high: float
    used_by: str = ""
    weekly: bool = True


RATES: tuple[Rate, ...] = (
    Rate("shoot bags", "pollinations", 1.5, 1.8, "shoot_bags"),
    Rate("tassel bags", "pollinations", 1.1, 1.2, "tassel_bags"),
    Rate("staples", "pollinations", 1.0, 1.1, "pollinations"),
    Rate("clips", "peak_day", 1.2, 1.5, "", weekly=False),
    Rate("tags and stakes", "rows", 1.0, 1.05, "", weekly=False),
    Rate("envelopes", "ears", 1.0, 1.0, "ears_picked", weekly=False),
    Rate("mesh bags", "ears", 1 / 30, 1 / 20, "", weekly=False),
    Rate("staplers", "workers", 1.0, 1.0, "", weekly=False),
    Rate("aprons", "workers", 1.0, 1.0, "", weekly=False),
    Rate("markers", "worker_weeks", 2.0, 2.0),
)
"""Shares are told for 10,000 planned pollinations: 15,000-18,000 shoot bags (two shoots, losses), 11,000-12,000 tassel
bags, staples one each and 10 % more, 1,200-1,500 clips for each 1,000 of the peak day (used again the next day), row
tags and stakes one a row and 5 % more, coin envelopes one an ear, mesh bags one for 20-30 ears, a stapler and an apron
for each worker, two markers a worker and week. All from memory, no source. Goggles, gloves, hats and water go by
people, not by pollinations: one each, and they are not counted here."""

ORDER_BEFORE = (2, 28)
"""Shoot and tassel bags are ordered by February: lead times of months (from memory, no source)."""


@dataclass(frozen=True, slots=True)
class SupplyNeed:
    """What supplies hang on: middling and high. `peak_day` is the largest day, `worker_weeks` workers times weeks."""

    pollinations: tuple[float, float]
    peak_day: tuple[float, float]
    rows: tuple[float, float]
    ears: tuple[float, float]
    workers: tuple[float, float]
    worker_weeks: tuple[float, float]

    def of(self, name: str) -> tuple[float, float]:
        """The middling and the high number behind a rate's `per`."""
        found: tuple[float, float] = getattr(self, name)
        return found


@dataclass(frozen=True, slots=True)
class Supply:
    """One thing: how many the season asks for (middling at the low rate, high at the high one), how many notes say are
    used, how many are still to be had, and how many of those for the next week (None where a week asks for none of its
    own)."""

    name: str
    season_low: int
    season_high: int
    used: int | None
    left_low: int
    left_high: int
    week_low: int | None
    week_high: int | None
    rate: Rate


def count_supplies(season: SupplyNeed, week: SupplyNeed, used: Mapping[str, int]) -> tuple[Supply, ...]:
    """How many of each thing are needed in the season and in the next week.

    Parameters
    ----------
    season
        What the whole season asks for, what is done included.
    week
        What the next seven days ask for.
    used
        What notes count as used: ``shoot_bags``, ``tassel_bags``, ``pollinations``, ``ears_picked``.

    Returns
    -------
    tuple of Supply
        In the order of `RATES`, rounded up.

    Raises
    ------
    ValueError
        If a number is negative or no number.

    Notes
    -----
    What is still to be had never falls below the next week's need, where more was used than the rates tell.
    Checked by tests/science/test_supplies.py.
    """
    return tuple(_count(rate, season, week, used) for rate in RATES)


def _count(rate: Rate, season: SupplyNeed, week: SupplyNeed, used: Mapping[str, int]) -> Supply:
    low, high = _times(rate, season)
    gone = used.get(rate.used_by, 0) if rate.used_by else None
    soon = _times(rate, week) if rate.weekly else (0, 0)
    return Supply(
        rate.name,
        low,
        high,
        gone,
        max(low - (gone or 0), soon[0], 0),
        max(high - (gone or 0), soon[1], 0),
        soon[0] if rate.weekly else None,
        soon[1] if rate.weekly else None,
        rate,
    )


def _times(rate: Rate, need: SupplyNeed) -> tuple[int, int]:
    middle, high = need.of(rate.per)
    if not (0 <= middle < math.inf and 0 <= high < math.inf):
        raise ValueError(f"{rate.per} must be 0 or more")
    return math.ceil(middle * rate.low - ROUNDING), math.ceil(max(middle, high) * rate.high - ROUNDING)


def find_order_day(first_silk: date) -> date:
    """The day by which bags should be ordered: the end of the February before silk, six months apart in the south."""
    if first_silk.month >= 3:
        return date(first_silk.year, *ORDER_BEFORE)
    return date(first_silk.year - 1, 8, 31)
