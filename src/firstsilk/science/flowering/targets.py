"""With what chance will a target be reached, how many more pollinations does it want, and when may one stop?

Values in, values out. The days left are played in every draw of the joint forecast: plants of a
row silk about its day of half silk, wait for pollen, and are pollinated on workable days on which one of its males
sheds, as many as are asked for and as hands allow, the first-ranked target first. What a number of pollinations is
worth is exact (`seed.pollinations`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from firstsilk.science.flowering.day import FIRST_SILKS_DAYS
from firstsilk.science.flowering.day_rows import SHED_LASTS_DAYS
from firstsilk.science.flowering.demand import PLANT_SD_DAYS
from firstsilk.science.flowering.stakes import SILK_LASTS_DAYS

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

ASSURANCE_FRAC = 0.95
"""A target is asked for with this chance (a choice of ours, as in `plan_pollinations`)."""
RED_FRAC = 0.8
"""A target whose chance, all asked for being made, is less than that is on the red list (a choice of ours)."""
HOPELESS_FRAC = 0.05
"""If even all plants that can still be pollinated give less than that, another way is spoken of (a choice of ours)."""
SMALL_CHANGE_FRAC = 0.01
"""Pollinations that raise the chance by less than that in all are not worth a day more (a choice of ours)."""
SELDOM_FRAC = 0.1
"""What no more than this share of draws has is not counted on (a choice of ours)."""


@dataclass(frozen=True, slots=True)
class SeasonAhead:
    """What the days left may bring. Column 0 of days is today.

    Attributes
    ----------
    silk
        (rows, draws): days after today of half silk; negative = past, NaN = never.
    sheds
        (groups of males, draws, days): whether one of the males of a group sheds.
    group_of
        (rows,): the group of males that gives pollen to each row.
    target_of
        (rows,): place of each row's target; targets are in the order in which hands are given.
    plants, used
        (rows,): plants that stand, and those that have been pollinated, lost ones counted in.
    enter_day
        (rows,): first day on which each row may be entered, 0 where nothing is sprayed.
    open_days
        (draws, days): whether the day can be worked, and is not past the cutoff or a killing frost.
    hands
        (days,): pollinations that the crew can make; infinity where none is set.
    """

    silk: FloatArray
    sheds: BoolArray
    group_of: NDArray[np.intp]
    target_of: NDArray[np.intp]
    plants: FloatArray
    used: FloatArray
    enter_day: NDArray[np.intp]
    open_days: BoolArray
    hands: FloatArray


@dataclass(frozen=True, slots=True)
class TargetOutlook:
    """What is to be expected of one target.

    Attributes
    ----------
    now_frac
        Chance if nothing more is made.
    asked_frac
        Chance if, on the days left, as many are made as are asked for and as hands allow.
    can_frac
        Chance if every plant is pollinated that still can be, with as many hands as that takes.
    more
        Pollinations still asked for: the fewest that give the assurance, or the share of it that its plan gives.
    possible
        Pollinations still possible, middle of the draws.
    stop_day, last_day
        Day after which going on changes the chance by less than `SMALL_CHANGE_FRAC`, None if that is so already; and
        the last on which anything can be pollinated, middle of the draws that have one, None if fewer than one draw in
        ten has [days after today].
    """

    now_frac: float
    asked_frac: float
    can_frac: float
    more: int
    possible: float
    stop_day: int | None
    last_day: int | None


def find_more(reach: FloatArray, standing: int, assurance: float = ASSURANCE_FRAC) -> int:
    """The fewest pollinations more that give the assurance; those left in the table if it does not go that far.

    Parameters
    ----------
    reach
        (most + 1,): chance by number of pollinations, as `tabulate_reach` gives it.
    standing
        Pollinations that stand [count].
    """
    enough = int(np.searchsorted(reach, assurance - 1e-12))
    return max(0, min(enough, len(reach) - 1) - standing)


def find_open_pollen(shed: FloatArray, n_days: int) -> BoolArray:
    """(draws, days): whether one of these males (males, draws) sheds, from its day of half shed for a week."""
    days = np.arange(n_days)[None, None, :]
    age = days - np.rint(shed)[:, :, None]
    return np.asarray(((age >= 0) & (age <= SHED_LASTS_DAYS)).any(axis=0))


def play_days(ahead: SeasonAhead, asked: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Pollinations made by the end of each day in each draw, and the last day on which any can be.

    Parameters
    ----------
    ahead
        The days left.
    asked
        (targets,): pollinations still asked for; infinity for as many as can be.

    Returns
    -------
    made, last
        (targets, draws, days): sums up to and with each day, never falling; (targets, draws): last workable day with
        silk, a male and no cutoff on one of its rows, NaN where there is none.

    Notes
    -----
    State of a row in a draw: the share u of its plants that is pollinated or past. On a day d on which it is open,
    the plants that silked from d - 6 - 1/2 to d + 1/2 and are beyond u can be pollinated, the oldest first; as many of
    them are made as the target still asks for, and as hands are left by the targets before it. Plants are taken by
    shares: that a row of few has by chance more or fewer in silk on a day is not considered.

    Checked by
    ----------
    tests/science/test_targets.py (plant by plant), tests/properties/test_target_laws.py
    """
    n_targets, (n_draws, n_days) = len(asked), ahead.open_days.shape
    made = np.zeros((n_targets, n_draws))
    told, last = np.zeros((n_targets, n_draws, n_days)), np.full((n_targets, n_draws), np.nan)
    gone = np.divide(ahead.used, ahead.plants, out=np.ones_like(ahead.used), where=ahead.plants > 0)
    passed = np.repeat(np.minimum(gone, 1.0)[:, None], n_draws, axis=1)
    silk = np.where(np.isnan(ahead.silk), 1e6, ahead.silk)
    for day in range(n_days):
        at = day - np.rint(silk)
        is_open = (at >= -FIRST_SILKS_DAYS) & (at <= SILK_LASTS_DAYS) & ahead.open_days[:, day]
        is_open &= ahead.sheds[ahead.group_of, :, day] & (day >= ahead.enter_day)[:, None]
        if is_open.any():
            has_open = np.zeros((n_targets, n_draws), dtype=bool)
            np.logical_or.at(has_open, ahead.target_of, is_open)
            last[has_open] = day
            _play_day(ahead, asked, made, passed, silk, day, is_open)
        told[:, :, day] = made
    return told, last


def _play_day(
    ahead: SeasonAhead,
    asked: FloatArray,
    made: FloatArray,
    passed: FloatArray,
    silk: FloatArray,
    day: int,
    is_open: BoolArray,
) -> None:
    """One day: `made` (targets, draws) and `passed` (rows, draws) go on."""
    rows = np.flatnonzero(is_open.any(axis=1))
    too_old = ndtr((day - SILK_LASTS_DAYS - 0.5 - silk[rows]) / PLANT_SD_DAYS)
    lower = np.maximum(too_old, passed[rows])
    share = np.where(is_open[rows], np.maximum(ndtr((day + 0.5 - silk[rows]) / PLANT_SD_DAYS) - lower, 0.0), 0.0)
    ready = ahead.plants[rows, None] * share
    of = ahead.target_of[rows]
    waiting = np.zeros_like(made)
    np.add.at(waiting, of, ready)
    wanted = np.minimum(waiting, np.maximum(asked[:, None] - made, 0.0))
    if np.isfinite(ahead.hands[day]):
        before = np.cumsum(wanted, axis=0) - wanted
        wanted = np.clip(ahead.hands[day] - before, 0.0, wanted)
    part = np.divide(wanted, waiting, out=np.zeros_like(wanted), where=waiting > 0)[of]
    made += wanted
    passed[rows] = np.where(is_open[rows], lower + part * share, passed[rows])


def weigh_targets(
    reach: Sequence[FloatArray],
    standing: Sequence[int],
    ahead: SeasonAhead,
    assurance: Sequence[float],
) -> tuple[TargetOutlook, ...]:
    """What is to be expected of each target.

    Parameters
    ----------
    reach
        For each target the chance by number of pollinations (`tabulate_reach`), up to as many as may ever stand.
    standing
        Pollinations that stand, of each.
    ahead
        The days left.
    assurance
        Chance that each is asked for with.

    Returns
    -------
    tuple of TargetOutlook
        In the order of the targets.

    Notes
    -----
    Chances are means over the draws of the exact chance with what stands and what is made. A part of a pollination
    counts as that chance of one.

    Checked by
    ----------
    tests/science/test_targets.py, tests/properties/test_target_laws.py; calibration: tests/soak/judge_targets.py
    """
    more = [find_more(table, stand, sure) for table, stand, sure in zip(reach, standing, assurance, strict=True)]
    made, last = play_days(ahead, np.array(more, dtype=np.float64))
    free = replace(ahead, hands=np.full_like(ahead.hands, np.inf))
    can = play_days(free, np.full(len(more), np.inf))[0][:, :, -1]
    return tuple(
        _tell(table, stand, wanted, made[at], last[at], can[at])
        for at, (table, stand, wanted) in enumerate(zip(reach, standing, more, strict=True))
    )


def _tell(
    table: FloatArray, standing: int, more: int, made: FloatArray, last: FloatArray, can: FloatArray
) -> TargetOutlook:
    now = float(table[min(standing, len(table) - 1)])
    by_day = read_chance(table, standing + made).mean(axis=0)
    asked, possible = float(by_day[-1]), float(np.median(can))
    known = last[np.isfinite(last)]
    last_day = int(np.median(known)) if len(known) > SELDOM_FRAC * len(last) else None
    still = np.flatnonzero(asked - by_day < SMALL_CHANGE_FRAC)
    goes_on = last_day is not None and asked - now >= SMALL_CHANGE_FRAC
    return TargetOutlook(
        now_frac=now,
        asked_frac=asked,
        can_frac=max(asked, float(read_chance(table, standing + can).mean())),
        more=more,
        possible=possible,
        stop_day=min(int(still[0]), last_day or 0) if goes_on else None,
        last_day=last_day,
    )


def read_chance(table: FloatArray, count: FloatArray) -> FloatArray:
    """The chance at counts that need not be whole: between two numbers by nearness, at the last beyond it."""
    return np.asarray(np.interp(count, np.arange(len(table)), table))
