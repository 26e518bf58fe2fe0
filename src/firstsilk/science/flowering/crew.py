"""How many hands does a day's demand ask for, and how much can the hands that are there do?

Values in, values out. Two things make new workers do less at first, and they are kept apart: they are slower
(`beginner_speed`), and heat rules ask for shorter first days (`FIRST_DAYS`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

MINUTES_A_POLLINATION = 3.92
"""Field labour of one pollination, all steps. Thayer & Down 1942 (abstract); harvest and shelling take 0.71 more."""
PUBLISHED_PER_HOUR = 60.0 / MINUTES_A_POLLINATION
"""Pollinations of one worker in an hour, all field steps: 15.3. Common practice tells of 80 a day for one who does all
alone, and, where the steps are split, of 60-100 an hour for taking down and pollinating only (from memory)."""
HOURS_A_DAY = 7.0
EFFICIENCY_FRAC = 0.8
"""Share of the clock that is worked: 20-30 % is lost to rain, dew and walking (from memory, no source)."""
BEGINNER_SPEED = 0.6
BEGINNER_DAYS = 2
"""New workers do about 60 % of the usual pace on their first two days (from memory, no source)."""

FIRST_DAYS: dict[str, tuple[float, ...]] = {
    "none": (),
    "us-20": (0.2, 0.4, 0.6, 0.8),
    "thirds": (1 / 3, 1 / 3, 1 / 2, 1 / 2, 2 / 3, 2 / 3),
}
"""Shares of the normal hours that rules against heat illness give new workers on their first days.
``us-20``: 20 % on day one, 20 % more each day (MMWR 2014; the "rule of 20 %" of NIOSH for people new to the work).
``thirds``: a third on days 1-2, a half on days 3-4, two thirds on days 5-6 (Rutgers). Local law decides."""

HANDS_A_LEADER = (6, 8)
"""Beginners that one leader can look after (from memory, no source)."""
KEEPS_DAYS = 5
"""Days for which a silk that is out can wait for hands: silks take pollen for 5-6 days (an industry study of silk
growth), and fewer kernels set on each of them."""
LEAST_SHARE = 1e-6
"""A millionth of a worker is rounding of numbers, not a person."""


@dataclass(frozen=True, slots=True)
class CrewDay:
    """What one day asks for: workers at middling and high demand (None where nobody can work), hours of the day for
    each worker, and the notes on what makes it so."""

    workers_p50: int | None
    workers_p90: int | None
    hours: float
    notes: tuple[str, ...]


def count_workers(demand: float, per_hour: float, hours: float, efficiency_frac: float) -> int | None:
    """Workers needed for so many pollinations in one day, rounded up.

    Parameters
    ----------
    demand
        Pollinations, 0 or more.
    per_hour
        Pollinations of one worker in an hour of work.
    hours
        Hours of the day; 0 where nobody can work.
    efficiency_frac
        Share of the hours that is worked, above 0 and up to 1.

    Returns
    -------
    int or None
        The smallest whole number not below demand / (per_hour x hours x efficiency_frac), up to a millionth of a
        worker; None if there is demand and no hour to work in.

    Raises
    ------
    ValueError
        If a value lies outside its range.

    Notes
    -----
    Checked by tests/outside/test_crew_published.py and tests/science/test_crew.py.
    """
    if not (demand >= 0 and per_hour > 0 and hours >= 0 and 0 < efficiency_frac <= 1) or math.isinf(demand):
        raise ValueError("demand >= 0, per_hour > 0, hours >= 0 and 0 < efficiency_frac <= 1 are needed")
    if demand == 0:
        return 0
    one_worker = per_hour * hours * efficiency_frac
    return None if one_worker == 0 else max(1, math.ceil(demand / one_worker - LEAST_SHARE))


def share_of_first_day(rule: str, days_worked: int) -> float:
    """Share of the normal hours on the day after so many days worked, by a rule of `FIRST_DAYS`; 1 once it is over."""
    if rule not in FIRST_DAYS:
        raise ValueError(f"a rule for first days is one of {', '.join(FIRST_DAYS)}; not {rule!r}")
    shares = FIRST_DAYS[rule]
    return shares[days_worked] if 0 <= days_worked < len(shares) else 1.0


def plan_crew(
    p50: Sequence[float],
    p90: Sequence[float],
    per_hour: float,
    hours: float,
    efficiency_frac: float,
    beginner_speed: float = 1.0,
    beginner_days: int = 0,
    first_days: str = "none",
    lost_hours: Sequence[float] | None = None,
) -> tuple[CrewDay, ...]:
    """Workers needed on each day, in order of days, if the whole crew is new on the first working day.

    Parameters
    ----------
    p50, p90
        Pollinations of each day at middling and high demand (days,).
    per_hour, hours, efficiency_frac
        As in `count_workers`.
    beginner_speed, beginner_days
        Share of the usual pace, and on how many working days it holds.
    first_days
        Rule for the shorter first days; a name of `FIRST_DAYS`.
    lost_hours
        Hours of each day lost to rain or heat; None for none.

    Returns
    -------
    tuple of CrewDay
        One for each day.

    Notes
    -----
    A working day is one with demand at the middle (p50 > 0). Work that a day without hours leaves undone is not carried
    to the next: it is for whoever plans to see that silks wait a few days only.
    """
    if not 0 < beginner_speed <= 1 or beginner_days < 0:
        raise ValueError("0 < beginner_speed <= 1 and beginner_days >= 0 are needed")
    lost = [0.0] * len(p50) if lost_hours is None else list(lost_hours)
    days, worked = [], 0
    for middle, high, gone in zip(p50, p90, lost, strict=True):
        slow = beginner_speed if worked < beginner_days else 1.0
        share = share_of_first_day(first_days, worked)
        left = max(0.0, hours - gone) * share
        pace = per_hour * slow
        workers = [count_workers(demand, pace, left, efficiency_frac) for demand in (middle, high)]
        notes = _say_day(high, slow, share, gone, left)
        days.append(CrewDay(workers[0], workers[1], left, notes))
        worked += middle > 0 and left > 0
    return tuple(days)


def _say_day(high: float, slow: float, share: float, lost: float, left: float) -> tuple[str, ...]:
    if high == 0:
        return ("no demand",)
    said = []
    if lost > 0:
        said.append(f"{lost:.3g} h lost to rain or heat")
    if left == 0:
        return (*said, "nobody can work; what falls due waits")
    if slow < 1:
        said.append(f"beginners at {100 * slow:.0f} % of the pace")
    if share < 1:
        said.append(f"first days: {100 * share:.0f} % of the hours")
    return tuple(said)


def reckon_capacity(
    experienced: int,
    beginners: int,
    days_since_start: ArrayLike,
    per_hour: float,
    hours: ArrayLike,
    efficiency_frac: float,
    beginner_speed: float = BEGINNER_SPEED,
    beginner_days: int = BEGINNER_DAYS,
    first_days: str = "us-20",
) -> FloatArray:
    """Pollinations that the crew can make on each day.

    Parameters
    ----------
    experienced, beginners
        People who know the work, and people new to it.
    days_since_start
        (days,): days since the beginners' first; negative before they come.
    per_hour, efficiency_frac
        As in `count_workers`.
    hours
        (days,): hours that can be worked, rain and heat taken off.
    beginner_speed, beginner_days, first_days
        As in `plan_crew`; they hold for beginners only, who are taken to work every day from their first.

    Returns
    -------
    FloatArray
        (days,): pollinations.
    """
    since = np.asarray(days_since_start, dtype=np.int64)
    worked = np.asarray(hours, dtype=np.float64) * efficiency_frac * per_hour
    share = np.array([share_of_first_day(first_days, int(day)) if day >= 0 else 0.0 for day in since])
    pace = np.where(since < beginner_days, beginner_speed, 1.0)
    return np.asarray(worked * (experienced + beginners * share * pace))


def tell_shortfall(demand: ArrayLike, capacity: ArrayLike, least: float = LEAST_SHARE) -> tuple[FloatArray, FloatArray]:
    """How likely each day asks for more than the crew can do, and by how much.

    Parameters
    ----------
    demand
        (draws, days): pollinations, joint draws.
    capacity
        (days,): pollinations that can be made.
    least
        Fewer pollinations than that beyond capacity are none.

    Returns
    -------
    chance, missing
        (days,): share of draws in which demand is above capacity; mean pollinations above it over all draws.
    """
    over = np.asarray(demand, dtype=np.float64) - np.asarray(capacity, dtype=np.float64)[None, :]
    return np.mean(over > least, axis=0), np.mean(np.maximum(over, 0.0), axis=0)


def carry_over(demand: ArrayLike, capacity: ArrayLike, keep_days: int = KEEPS_DAYS) -> FloatArray:
    """Pollinations that are never made because hands were short until the silks were over.

    Parameters
    ----------
    demand
        (draws, days): pollinations that fall due on each day.
    capacity
        (days,): pollinations that can be made.
    keep_days
        Days for which what fell due can wait.

    Returns
    -------
    FloatArray
        (draws, days): pollinations lost, on the day on which they fell due; what still waits on the last day is not
        lost.

    Notes
    -----
    The oldest are done first. Checked by tests/science/test_crew.py.
    """
    waiting = np.array(demand, dtype=np.float64)
    hands = np.asarray(capacity, dtype=np.float64)
    lost = np.zeros_like(waiting)
    for day in range(waiting.shape[1]):
        left = np.full(len(waiting), hands[day])
        for due in range(max(0, day - keep_days), day + 1):
            made = np.minimum(left, waiting[:, due])
            waiting[:, due] -= made
            left -= made
        if day >= keep_days:
            lost[:, day - keep_days] = waiting[:, day - keep_days]
    return lost
