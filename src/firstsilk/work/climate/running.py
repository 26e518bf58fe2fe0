"""How do a season's days add up, and how do past years line up beside them?

Values in, values out; nothing here opens the books.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from firstsilk.science.climate.heat import Scale, heat_units
from firstsilk.science.climate.normals import HeatNormals, build_heat_normals, sum_by_year
from firstsilk.science.climate.seasons import find_ontario_end
from firstsilk.work.climate.readings import Readings, days_from, fill_short_holes

SEASON_DAYS = 184
"""Days looked at from the start: 1 May to 31 October where the season starts on 1 May."""
LEVELS = (0.1, 0.5, 0.9)
RECENT_DAYS = 7


@dataclass(frozen=True, slots=True)
class HeatPoint:
    """One date: this season's running total (None where not counted), and past years' 10, 50 and 90 %."""

    day: date
    total: float | None
    low: float | None
    middle: float | None
    high: float | None
    years: int


@dataclass(frozen=True, slots=True)
class Course:
    """This season's running total.

    `counted_to` is the last day in `total`, None if there is none. `frost_on` ended the count; that day is not
    counted. `stopped_by` is a hole too long to fill, at which the total stands still. `filled_days` were closed in a
    straight line, here or earlier; `forecast_days` are not measured either.
    """

    starts: date
    counted_to: date | None
    total: float
    frost_on: date | None
    stopped_by: tuple[date, date] | None
    filled_days: tuple[date, ...]
    forecast_days: tuple[date, ...]
    points: tuple[HeatPoint, ...]

    @property
    def now(self) -> HeatPoint | None:
        """The point of the last day counted."""
        return next((point for point in self.points if point.day == self.counted_to), None)


@dataclass(frozen=True, slots=True)
class Against:
    """The season against past years on the last day counted; None where past years do not tell.

    `ahead_units` is this total less the middle year's; `ahead_days` the days by which the season runs ahead of it
    (negative: behind). `years_below` of `n_years` had less by that date. `recent_daily` and `recent_middle` are mean
    units a day over the last seven days counted and the middle of past years over the same dates. `past_seasons` are
    10, 50 and 90 % of whole past seasons, start to first frost, of `n_seasons`.
    """

    ahead_units: float | None
    ahead_days: float | None
    years_below: int
    n_years: int
    recent_daily: float | None
    recent_middle: float | None
    past_seasons: tuple[float, float, float] | None
    n_seasons: int


@dataclass(frozen=True, slots=True)
class PastYears:
    """Past years lined up on month and day: their running totals (years, dates), quantiles, totals at first frost."""

    years: tuple[int, ...]
    column: dict[tuple[int, int], int]
    totals: NDArray[np.float64]
    normals: HeatNormals
    at_frost: tuple[float, ...]
    n_cut_short: int


def line_up(given: Readings, scale: Scale, first: date, south: bool) -> tuple[Course, Against, PastYears]:
    """Add up the season that starts on `first`, and set it against all earlier ones at the site."""
    whole, holes = fill_short_holes(given)
    units = heat_units(whole.tmin_c, whole.tmax_c, scale)
    past = _read_past(whole, units, first, south)
    frost_on = find_autumn_frost(whole, first, south)
    totals = _run_total(whole, units, first, frost_on)
    counted_to = max(totals, default=None)
    ours = [(day, origin) for day, origin in zip(whole.days, whole.origins, strict=True) if day in totals]
    course = Course(
        starts=first,
        counted_to=counted_to,
        total=totals[counted_to] if counted_to else 0.0,
        frost_on=frost_on,
        stopped_by=_find_stop(whole, holes, first, counted_to, frost_on),
        filled_days=tuple(day for day, origin in ours if origin == "filled"),
        forecast_days=tuple(day for day, origin in ours if origin == "forecast"),
        points=_draw_points(first, totals, past),
    )
    return course, _compare(course, totals, past), past


def find_autumn_frost(whole: Readings, first: date, south: bool) -> date | None:
    """The first -2 °C of the autumn of the season that starts on `first`; None if not seen."""
    half = date(first.year + (1 if south else 0), 1 if south else 7, 1)
    ends = first + timedelta(days=364)
    at = [place for place, day in enumerate(whole.days) if half <= day <= ends]
    return find_ontario_end([whole.days[place] for place in at], whole.tmin_c[at], None) if at else None


def _run_total(whole: Readings, units: NDArray[np.float64], first: date, frost_on: date | None) -> dict[date, float]:
    """The running total by day, up to the frost, the first missing day or the last day known."""
    known = dict(zip(whole.days, units.tolist(), strict=True))
    totals: dict[date, float] = {}
    total = 0.0
    for day in days_from(first, first + timedelta(days=SEASON_DAYS - 1)):
        if day not in known or day == frost_on:
            break
        total += known[day]
        totals[day] = total
    return totals


def _find_stop(
    whole: Readings,
    holes: tuple[tuple[date, date], ...],
    first: date,
    counted_to: date | None,
    frost_on: date | None,
) -> tuple[date, date] | None:
    """The hole at which the total stands still, if that is what ended it."""
    if not whole.days or (frost_on is not None and counted_to == frost_on - timedelta(days=1)):
        return None
    start = counted_to + timedelta(days=1) if counted_to else first
    return next(((start, last) for begin, last in holes if begin <= start <= last), None)


def _read_past(whole: Readings, units: NDArray[np.float64], first: date, south: bool) -> PastYears:
    before = [at for at, day in enumerate(whole.days) if day < first]
    days, earlier = [whole.days[at] for at in before], units[: len(before)]
    start, last = (first.month, first.day), first + timedelta(days=SEASON_DAYS - 1)
    end = (last.month, last.day)
    years, dates, totals = sum_by_year(days, earlier, start, end)
    normals = build_heat_normals(days, earlier, start, end, LEVELS)
    column = {month_day: at for at, month_day in enumerate(dates)}
    at_frost: list[float] = []
    for row, year in enumerate(years):
        frost = find_autumn_frost(whole, date(year, *start), south)
        eve = frost - timedelta(days=1) if frost else None
        at = column.get((eve.month, eve.day)) if eve else None
        if at is not None and not np.isnan(totals[row, at]):
            at_frost.append(float(totals[row, at]))
    short = int(np.isnan(totals[:, -1]).sum()) if years else 0
    return PastYears(years, column, totals, normals, tuple(at_frost), short)


def _draw_points(first: date, totals: dict[date, float], past: PastYears) -> tuple[HeatPoint, ...]:
    points = []
    for day in days_from(first, first + timedelta(days=SEASON_DAYS - 1)):
        at = past.column.get((day.month, day.day))
        low, middle, high, years = None, None, None, 0
        if at is not None and past.normals.years[at]:
            low, middle, high = (float(level[at]) for level in past.normals.totals)
            years = int(past.normals.years[at])
        points.append(HeatPoint(day, totals.get(day), low, middle, high, years))
    return tuple(points)


def _compare(course: Course, totals: dict[date, float], past: PastYears) -> Against:
    seasons = tuple(np.quantile(past.at_frost, LEVELS).tolist()) if past.at_frost else None
    now, at = course.now, None
    if now is not None:
        at = past.column.get((now.day.month, now.day.day))
    if now is None or now.middle is None or at is None:
        return Against(None, None, 0, 0, None, None, seasons, len(past.at_frost))
    column = past.totals[:, at]
    known = column[~np.isnan(column)]
    recent, middle = _compare_recent(now.day, course.starts, totals, past)
    return Against(
        ahead_units=course.total - now.middle,
        ahead_days=_shift_days(course, now),
        years_below=int((known < course.total).sum()),
        n_years=int(known.size),
        recent_daily=recent,
        recent_middle=middle,
        past_seasons=seasons,
        n_seasons=len(past.at_frost),
    )


def _shift_days(course: Course, now: HeatPoint) -> float | None:
    """Days from today's date to the date on which the middle year reaches this total; positive is ahead."""
    middle = [(at, point.middle) for at, point in enumerate(course.points) if point.middle is not None]
    places = np.array([at for at, _ in middle], dtype=np.float64)
    curve = np.maximum.accumulate(np.array([value for _, value in middle], dtype=np.float64))
    here = next(at for at, point in enumerate(course.points) if point.day == now.day)
    if not curve[0] <= course.total <= curve[-1]:
        return None
    # Where the curve is flat the nearest of the days counts, so that an equal total is no shift at all.
    from_place = np.interp(course.total, curve, places)
    same = places[np.isclose(curve, course.total)]
    if same.size:
        from_place = same[np.argmin(np.abs(same - here))]
    return float(from_place - here)


def _compare_recent(
    last: date, starts: date, totals: dict[date, float], past: PastYears
) -> tuple[float | None, float | None]:
    before = last - timedelta(days=RECENT_DAYS)
    if before < starts:
        return None, None
    recent = (totals[last] - totals[before]) / RECENT_DAYS
    from_at, to_at = past.column.get((before.month, before.day)), past.column.get((last.month, last.day))
    if from_at is None or to_at is None:
        return recent, None
    gained = past.totals[:, to_at] - past.totals[:, from_at]
    gained = gained[~np.isnan(gained)]
    return recent, float(np.median(gained)) / RECENT_DAYS if gained.size else None
