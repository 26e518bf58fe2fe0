"""How fast does this station's crew work, as its own notes tell it?

Values in, values out: who noted what at which minute of which day. The published rate stands until enough of the
station's own days are known, and never quite leaves.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

import numpy as np

from firstsilk.science.flowering.crew import BEGINNER_DAYS, BEGINNER_SPEED, MINUTES_A_POLLINATION, PUBLISHED_PER_HOUR

BREAK_MIN = 30.0
SLOWEST_TIMES = 2.0
"""Minutes without a note are a break and no work if they are more than 30, and more than twice what the pollinations
told after them take at the published rate (a choice of ours)."""
LEAST_HOURS = 1.0
LEAST_POLLINATIONS = 10
"""A worker's day counts from so much work on (a choice of ours)."""
FASTEST_PER_HOUR = 100.0
"""Practised hands who only take down and pollinate do 60-100 an hour (from memory): what is faster was noted in one go,
and its minutes are not those of the work."""
PRIOR_WORKER_DAYS = 10
"""Worker-days that the published rate counts for beside the station's own (a choice of ours)."""


@dataclass(frozen=True, slots=True)
class TimedNote:
    """One field note of a phone: who, which day, minute of the day, pollinations it tells (0 for other work)."""

    worker: str
    day: date
    minute: float
    pollinations: int


@dataclass(frozen=True, slots=True)
class WorkerDay:
    """One worker's day in the field: hours worked without breaks, pollinations made in them, and which of the
    worker's own days with pollinations it is, from 0."""

    worker: str
    day: date
    hours: float
    pollinations: int
    nth_day: int

    @property
    def per_hour(self) -> float:
        """Pollinations in an hour of work."""
        return self.pollinations / self.hours


@dataclass(frozen=True, slots=True)
class Speed:
    """The crew's pace.

    Attributes
    ----------
    per_hour
        Pollinations of a worker in an hour, all steps, shrunk towards the published rate.
    own_per_hour
        The station's own middle, None if there is none.
    n_days
        Worker-days it rests on.
    n_too_fast
        Worker-days left out because their notes were written in one go.
    beginner_speed
        Pace of first days as a share of later ones, shrunk towards 0.6.
    n_first, n_later
        Worker-days that tells it: on first days, and later ones.
    """

    per_hour: float
    own_per_hour: float | None
    n_days: int
    n_too_fast: int
    beginner_speed: float
    n_first: int
    n_later: int


def gather_worker_days(notes: Iterable[TimedNote], break_min: float = BREAK_MIN) -> tuple[WorkerDay, ...]:
    """Each worker's days with pollinations, from notes in any order.

    Notes
    -----
    Hours run from a day's first note to its last, gaps longer than a break left out. What the first note of a stretch
    tells was done before it, so its pollinations are not counted, as its time is not.
    """
    by_day: dict[tuple[str, date], list[TimedNote]] = defaultdict(list)
    for note in notes:
        by_day[note.worker, note.day].append(note)
    nth: dict[str, int] = defaultdict(int)
    found = []
    for (worker, day), group in sorted(by_day.items()):
        if not any(note.pollinations for note in group):
            continue
        hours, made = _measure(sorted(group, key=lambda note: note.minute), break_min)
        found.append(WorkerDay(worker, day, hours, made, nth[worker]))
        nth[worker] += 1
    return tuple(found)


def _measure(notes: list[TimedNote], break_min: float) -> tuple[float, int]:
    minutes, made = 0.0, 0
    for before, note in pairwise(notes):
        gap = note.minute - before.minute
        if gap <= max(break_min, SLOWEST_TIMES * MINUTES_A_POLLINATION * note.pollinations):
            minutes += gap
            made += note.pollinations
    return minutes / 60.0, made


def measure_speed(
    days: Iterable[WorkerDay], prior_days: int = PRIOR_WORKER_DAYS, beginner_days: int = BEGINNER_DAYS
) -> Speed:
    """The pace that worker-days tell, shrunk towards what is published.

    Parameters
    ----------
    days
        Worker-days, as `gather_worker_days` gives them.
    prior_days
        Worker-days that the published rate counts for.
    beginner_days
        A worker's first so many days with pollinations are first days.

    Returns
    -------
    Speed
        Middles are medians over worker-days weighted by hours, so that one odd day does not move them.

    Raises
    ------
    ValueError
        If a number of days is too small.

    Notes
    -----
    rate = (n own + m published) / (n + m) with m = `prior_days`; the beginners' share likewise, with n the smaller of
    its two numbers of days. A worker counts as new on the first days that the notes hold of that code: whoever came
    with experience, or was noted under another code, is mistaken for a beginner. Days of one worker are alike, so n
    overstates what is known where few people were noted.
    Checked by tests/science/test_speed.py.
    """
    if prior_days < 1 or beginner_days < 0:
        raise ValueError("prior_days >= 1 and beginner_days >= 0 are needed")
    enough = [one for one in days if one.hours >= LEAST_HOURS and one.pollinations >= LEAST_POLLINATIONS]
    kept = [one for one in enough if one.per_hour <= FASTEST_PER_HOUR]
    own = _middle(kept)
    first = [one for one in kept if one.nth_day < beginner_days]
    later = [one for one in kept if one.nth_day >= beginner_days]
    slow, usual = _middle(first), _middle(later)
    n_ratio = min(len(first), len(later))
    ratio = min(1.0, slow / usual) if slow is not None and usual else BEGINNER_SPEED
    # First days are slow: where later ones are known, they tell the usual pace.
    pace, n_pace = (usual, len(later)) if usual is not None else (own, len(kept))
    return Speed(
        (n_pace * (pace or 0.0) + prior_days * PUBLISHED_PER_HOUR) / (n_pace + prior_days),
        pace,
        n_pace,
        len(enough) - len(kept),
        (n_ratio * ratio + prior_days * BEGINNER_SPEED) / (n_ratio + prior_days),
        len(first),
        len(later),
    )


def _middle(days: list[WorkerDay]) -> float | None:
    """The median rate, weighted by hours."""
    if not days:
        return None
    rates = np.array([one.per_hour for one in days])
    order = np.argsort(rates, kind="stable")
    weight = np.cumsum(np.array([one.hours for one in days])[order])
    return float(rates[order][np.searchsorted(weight, weight[-1] / 2)])
