"""With what chance will a target be reached, how many more pollinations does it want, and when may one stop?

Values in, values out. The days left are played in every draw of the joint forecast: plants of a
row silk about its day of half silk, wait for pollen, and are pollinated on workable days on which one of its males
sheds, as many as are asked for and as hands allow, the first-ranked target first. What a number of pollinations is
worth is exact (`seed.pollinations`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

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


@dataclass(frozen=True, slots=True)
class _OpenDay:
    """The rows that can be pollinated on a day, draw by draw: the places of such cells, row by row.

    `cell` counts (rows, draws), `of` (targets, draws); `too_old` and `out` are the shares of the row's plants whose
    silk is over, and that have silked.
    """

    cell: NDArray[np.intp]
    of: NDArray[np.intp]
    plants: FloatArray
    too_old: FloatArray
    out: FloatArray


class _Play:
    """What is made of what is asked for, day by day: `made` (targets, draws), `passed` (rows x draws)."""

    def __init__(self, ahead: SeasonAhead, asked: FloatArray) -> None:
        n_draws = len(ahead.open_days)
        self.asked = asked[:, None]
        self.made = np.zeros((len(asked), n_draws))
        gone = np.divide(ahead.used, ahead.plants, out=np.ones_like(ahead.used), where=ahead.plants > 0)
        self.passed = np.repeat(np.minimum(gone, 1.0), n_draws)

    def go_on(self, day: _OpenDay, hands: float) -> NDArray[np.intp]:
        """One day more with so many hands; gives the places (targets, draws) where something was made."""
        lower = np.maximum(day.too_old, self.passed[day.cell])
        share = np.maximum(day.out - lower, 0.0)
        ready = np.bincount(day.of, day.plants * share, minlength=self.made.size)
        waiting = ready.reshape(self.made.shape)
        wanted = np.minimum(waiting, np.maximum(self.asked - self.made, 0.0))
        if np.isfinite(hands):
            before = np.cumsum(wanted, axis=0) - wanted
            wanted = np.clip(hands - before, 0.0, wanted)
        part = np.divide(wanted, waiting, out=np.zeros_like(wanted), where=waiting > 0).ravel()[day.of]
        self.made += wanted
        self.passed[day.cell] = lower + part * share
        return np.flatnonzero(wanted)


def _open_days(ahead: SeasonAhead, n_targets: int) -> Iterator[_OpenDay]:
    """Each of the days left, with the rows that are open on it."""
    n_draws, n_days = ahead.open_days.shape
    silk = np.where(np.isnan(ahead.silk), 1e6, ahead.silk)
    half_on = np.rint(silk).astype(np.int32)
    sheds = np.ascontiguousarray(np.moveaxis(ahead.sheds, 2, 0))
    for day in range(n_days):
        is_open = (half_on <= day + FIRST_SILKS_DAYS) & (half_on >= day - SILK_LASTS_DAYS)
        is_open &= ahead.open_days[:, day]
        is_open &= sheds[day][ahead.group_of]
        is_open[ahead.enter_day > day] = False
        cell = np.flatnonzero(is_open)
        row, draw = np.divmod(cell, n_draws)
        own = silk.ravel()[cell]
        yield _OpenDay(
            cell=cell,
            of=ahead.target_of[row] * n_draws + draw,
            plants=ahead.plants[row],
            too_old=ndtr((day - SILK_LASTS_DAYS - 0.5 - own) / PLANT_SD_DAYS),
            out=ndtr((day + 0.5 - own) / PLANT_SD_DAYS),
        )


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
    play = _Play(ahead, asked)
    told, last = [], np.full(play.made.shape, np.nan)
    for day, opened in enumerate(_open_days(ahead, len(asked))):
        last.ravel()[opened.of] = day
        play.go_on(opened, float(ahead.hands[day]))
        told.append(play.made.copy())
    return np.stack(told, axis=2), last


class Chances:
    """The tables of all targets in one, to be read for many targets and counts at once, between two numbers by
    nearness and at the last beyond it."""

    def __init__(self, tables: Sequence[FloatArray], standing: Sequence[int]) -> None:
        length = np.array([len(table) for table in tables])
        self.flat = np.concatenate(tables)
        self.first = np.cumsum(length) - length
        self.last = length - 1
        self.standing = np.array(standing, dtype=np.float64)

    def read(self, of: NDArray[np.intp], made: FloatArray) -> FloatArray:
        """The chance of each of these targets with so many more than stand."""
        count = self.standing[of] + made
        low = np.minimum(count.astype(np.intp), self.last[of])
        high = np.minimum(low + 1, self.last[of])
        below, above = self.flat[self.first[of] + low], self.flat[self.first[of] + high]
        return np.asarray((above - below) * (count - low) + below)

    def read_all(self, made: FloatArray) -> FloatArray:
        """The chance of each target in each draw; `made` (targets, draws)."""
        of = np.repeat(np.arange(len(made)), made.shape[1])
        return self.read(of, made.ravel()).reshape(made.shape)


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
    asked = _Play(ahead, np.array(more, dtype=np.float64))
    free = _Play(ahead, np.full(len(more), np.inf))
    chances = Chances(reach, standing)
    n_draws, n_days = ahead.open_days.shape
    chance, last = chances.read_all(asked.made), np.full(asked.made.shape, np.nan)
    by_day = np.empty((len(more), n_days))
    for day, opened in enumerate(_open_days(ahead, len(more))):
        last.ravel()[opened.of] = day
        free.go_on(opened, np.inf)
        changed = asked.go_on(opened, float(ahead.hands[day]))
        chance.ravel()[changed] = chances.read(changed // n_draws, asked.made.ravel()[changed])
        by_day[:, day] = chance.mean(axis=1)
    possible, can = np.median(free.made, axis=1), chances.read_all(free.made).mean(axis=1)
    now = chances.read_all(np.zeros((len(more), 1)))[:, 0]
    days = zip(_find_last_days(last), by_day, strict=True)
    return tuple(
        _tell(float(now[at]), more[at], last_day, float(possible[at]), float(can[at]), of_days)
        for at, (last_day, of_days) in enumerate(days)
    )


def _find_last_days(last: FloatArray) -> list[int | None]:
    """Middle of the draws that have one, by target; None where hardly any has."""
    ordered = np.sort(last, axis=1)
    known = np.isfinite(ordered).sum(axis=1)
    at = np.arange(len(ordered))
    middle = 0.5 * (
        ordered[at, np.maximum(known - 1, 0) // 2] + ordered[at, np.minimum(known // 2, ordered.shape[1] - 1)]
    )
    told = known > SELDOM_FRAC * last.shape[1]
    return [int(day) if is_told else None for day, is_told in zip(middle, told, strict=True)]


def _tell(
    now: float, more: int, last_day: int | None, possible: float, can: float, by_day: FloatArray
) -> TargetOutlook:
    asked = float(by_day[-1])
    goes_on = last_day is not None and asked - now >= SMALL_CHANGE_FRAC
    still = int(np.argmax(asked - by_day < SMALL_CHANGE_FRAC))
    return TargetOutlook(
        now_frac=now,
        asked_frac=asked,
        can_frac=max(asked, can),
        more=more,
        possible=possible,
        stop_day=min(still, last_day or 0) if goes_on else None,
        last_day=last_day,
    )
