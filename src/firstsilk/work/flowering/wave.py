"""How do silk and shed run through a nursery: what has flowered, what is to come on which day, and with what spread?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from firstsilk.work.flowering.forecast import RowForecast, SeasonForecast, Span

WEEK_DAYS = 7
LEVELS = (0.1, 0.5, 0.9)
SEEN_ROWS = 0.1
"""A day is told from so many rows on, at its high end or on the average (a choice of ours)."""
FURTHEST_DAYS = 250
EARS, MALES = ("self", "female"), ("male",)


@dataclass(frozen=True, slots=True)
class WaveDay:
    """One day: rows noted on it, rows expected on it without a note on the average of the draws, both together as 10
    and 90 % of the draws, and 10, 50 and 90 % of the rows that have come up to it."""

    date: date
    noted: int
    expected: float
    low: float
    high: float
    so_far: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Wave:
    """Silk or shed of some rows, day by day.

    Attributes
    ----------
    what
        ``silk`` or ``shed``.
    n_rows, n_noted, n_never
        Rows; those of them with a note; those that most draws do not bring within the days looked at.
    overdue
        Rows expected before today without a note, on the average.
    days
        From the first to the last day worth a line; empty where nothing is known.
    half_on, most_on
        When half and nine in ten of the rows have come; None where most draws do not bring it.
    week
        Rows of the next seven days from today on, low, middle, high.
    """

    what: str
    n_rows: int
    n_noted: int
    n_never: int
    overdue: float
    days: tuple[WaveDay, ...]
    half_on: Span
    most_on: Span
    week: tuple[float, float, float]

    @property
    def peak(self) -> WaveDay | None:
        """The day that brings most rows, noted or expected."""
        return max(self.days, key=lambda one: one.noted + one.expected, default=None)


@dataclass(frozen=True, slots=True)
class PurposeShare:
    """Rows of one purpose: how many, how many are noted in silk (males: shed), and when half of them have come."""

    purpose: str
    n_rows: int
    n_noted: int
    half_on: Span


def build_wave(forecast: SeasonForecast, what: str = "silk", purposes: Sequence[str] = EARS) -> Wave:
    """Silk or shed of the rows of some purposes, by day.

    Notes
    -----
    Daily and running counts are counted in each draw, so that a warm week, which brings all rows together, is in the
    spread. A row that is noted stands on its day in every draw.
    """
    at = [place for place, row in enumerate(forecast.rows) if row.purpose in purposes]
    rows = [forecast.rows[place] for place in at]
    days, noted = _lay_out(forecast, rows, at, what)
    never = int((~noted & (np.isnan(days).mean(axis=1) > 0.5)).sum()) if len(rows) else 0
    reached = days[np.isfinite(days)]
    if not len(reached):
        return Wave(what, len(rows), 0, never, 0.0, (), None, None, (0.0, 0.0, 0.0))
    first = int(reached.min())
    n_days = int(min(reached.max() - first + 1, FURTHEST_DAYS))
    ours, others = _count(days[noted], first, n_days), _count(days[~noted], first, n_days)
    both = ours + others
    running = np.cumsum(both, axis=1)
    place = np.arange(first, first + n_days)
    week = both[:, (place >= 0) & (place < WEEK_DAYS)].sum(axis=1)
    return Wave(
        what=what,
        n_rows=len(rows),
        n_noted=int(noted.sum()),
        n_never=never,
        overdue=float(others[:, place < 0].sum(axis=1).mean()),
        days=_tell_days(forecast.today, first, ours, others, running),
        half_on=_when(forecast.today, first, running, 0.5 * len(rows)),
        most_on=_when(forecast.today, first, running, 0.9 * len(rows)),
        week=_levels(week),
    )


def share_by_purpose(forecast: SeasonForecast) -> tuple[PurposeShare, ...]:
    """How far the rows of each purpose are."""
    told = []
    for purpose in dict.fromkeys(row.purpose for row in forecast.rows):
        wave = build_wave(forecast, "shed" if purpose in MALES else "silk", (purpose,))
        told.append(PurposeShare(purpose, wave.n_rows, wave.n_noted, wave.half_on))
    order = (*EARS, *MALES)
    return tuple(sorted(told, key=lambda one: order.index(one.purpose) if one.purpose in order else len(order)))


def _lay_out(
    forecast: SeasonForecast, rows: Sequence[RowForecast], at: Sequence[int], what: str
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Days after today of each row in each draw (rows, draws), and which rows are noted (rows,)."""
    days = np.asarray((forecast.silk if what == "silk" else forecast.shed)[list(at)], dtype=np.float64)
    seen = [row.silk_on if what == "silk" else row.shed_on for row in rows]
    noted = np.array([day is not None for day in seen], dtype=bool)
    for place, day in enumerate(seen):
        if day is not None:
            days[place] = (day - forecast.today).days
    return np.rint(days), noted


def _count(days: NDArray[np.float64], first: int, n_days: int) -> NDArray[np.float64]:
    """Rows on each day in each draw (draws, days)."""
    n_draws = days.shape[1]
    inside = np.isfinite(days) & (days < first + n_days)
    draw = np.broadcast_to(np.arange(n_draws), days.shape)[inside]
    place = draw * n_days + (days[inside] - first).astype(np.intp)
    return np.bincount(place, minlength=n_draws * n_days).reshape(n_draws, n_days).astype(np.float64)


def _tell_days(
    today: date,
    first: int,
    ours: NDArray[np.float64],
    others: NDArray[np.float64],
    running: NDArray[np.float64],
) -> tuple[WaveDay, ...]:
    low, _, high = np.quantile(ours + others, LEVELS, axis=0)
    ends = np.quantile(running, LEVELS, axis=0)
    mean = others.mean(axis=0)
    worth = np.flatnonzero((high >= SEEN_ROWS) | (mean >= SEEN_ROWS))
    if not len(worth):
        return ()
    return tuple(
        WaveDay(
            today + timedelta(days=first + at),
            int(ours[0, at]),
            float(mean[at]),
            float(low[at]),
            float(high[at]),
            (float(ends[0, at]), float(ends[1, at]), float(ends[2, at])),
        )
        for at in range(int(worth[0]), int(worth[-1]) + 1)
    )


def _when(today: date, first: int, running: NDArray[np.float64], rows: float) -> Span:
    """The day on which so many rows have come: 10, 50 and 90 % of the draws."""
    reached = running >= rows - 1e-9
    days = np.where(reached.any(axis=1), reached.argmax(axis=1).astype(np.float64), np.inf)
    ends = np.quantile(days, LEVELS, method="inverted_cdf").tolist()
    if not np.isfinite(ends[1]):
        return None
    last = running.shape[1] - 1
    low, middle, high = (today + timedelta(days=first + int(min(one, last))) for one in ends)
    return low, middle, high


def _levels(values: NDArray[np.float64]) -> tuple[float, float, float]:
    low, middle, high = np.quantile(values, LEVELS).tolist()
    return low, middle, high
