"""How do a season's days add up, and how do past years line up beside them?

Values in, values out; nothing here opens the books.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from firstsilk.science.climate.heat_forms import Scale, count_by_form
from firstsilk.science.climate.normal_means import MonthDay, NormalMeans, find_normal_means
from firstsilk.science.climate.normals import HeatNormals, build_heat_normals, sum_by_year
from firstsilk.science.climate.season_rules import EndedBy, Season, SeasonRule, find_season
from firstsilk.work.climate.readings import Readings, days_from, fill_short_holes

SEASON_DAYS = 184
"""Days looked at from the start: 1 May to 31 October where the season starts on 1 May."""
LONG_SEASON_DAYS = 214
"""The same where a season can start on 1 April."""
LEVELS = (0.1, 0.5, 0.9)
RECENT_DAYS = 7


@dataclass(frozen=True, slots=True)
class Counting:
    """How heat is counted: scale, form, season rule, southern dates, and a start instead of the rule's own."""

    scale: Scale
    form: str
    rule: SeasonRule
    south: bool
    start: MonthDay | None = None

    @property
    def n_days(self) -> int:
        """Days looked at from the earliest start."""
        early = self.start is None and self.rule.first == (4, 1)
        return LONG_SEASON_DAYS if early else SEASON_DAYS


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

    `starts` is the first day counted, or the first on which the season could start if `is_started` is not so.
    `counted_to` is the last day in `total`, None if there is none. `ended_by` says what ended the count after that day;
    `frost_on` is the day of a frost that did, not counted. `stopped_by` is a hole too long to fill, at which the total
    stands still. `filled_days` were closed in a straight line, here or earlier; `forecast_days` are not measured.
    """

    starts: date
    is_started: bool
    counted_to: date | None
    total: float
    ended_by: EndedBy
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
    10, 50 and 90 % of whole past seasons, start to end, of `n_seasons`.
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
    """Past years lined up on month and day: their running totals (years, dates), quantiles, totals at their end."""

    years: tuple[int, ...]
    column: dict[tuple[int, int], int]
    totals: NDArray[np.float64]
    normals: HeatNormals
    at_end: tuple[float, ...]
    n_cut_short: int


def line_up(given: Readings, counting: Counting, first: date) -> tuple[Course, Against, PastYears]:
    """Add up the season that can start on `first`, and set it against all earlier ones at the site."""
    whole, holes = fill_short_holes(given)
    units = _count(whole, counting)
    normals = _find_normals(whole, counting.rule, first)
    season = _find_season(whole, counting, normals, first.year)
    past = _read_past(whole, units, counting, normals, first)
    totals = _run_total(whole, units, counting, season, first)
    counted_to = max(totals, default=None)
    is_ended = season.ends is not None and counted_to == season.ends
    frost_on = season.ends + timedelta(days=1) if season.ends and season.ended_by == "frost" else None
    ours = [(day, origin) for day, origin in zip(whole.days, whole.origins, strict=True) if day in totals]
    course = Course(
        starts=season.starts or first,
        is_started=season.starts is not None,
        counted_to=counted_to,
        total=totals[counted_to] if counted_to else 0.0,
        ended_by=season.ended_by if is_ended else "",
        frost_on=frost_on,
        stopped_by=None if is_ended else _find_stop(whole, holes, season.starts or first, counted_to),
        filled_days=tuple(day for day, origin in ours if origin == "filled"),
        forecast_days=tuple(day for day, origin in ours if origin == "forecast"),
        points=_draw_points(first, counting.n_days, totals, past),
    )
    return course, _compare(course, totals, past), past


def _count(whole: Readings, counting: Counting) -> NDArray[np.float64]:
    """Units of each day; the double forms look at the next day only where it is the next."""
    after = np.full(len(whole.days), np.nan)
    ordinals = np.array([day.toordinal() for day in whole.days], dtype=np.int64)
    follows = np.flatnonzero(np.diff(ordinals) == 1)
    after[follows] = whole.tmin_c[follows + 1]
    return count_by_form(whole.tmin_c, whole.tmax_c, counting.scale, counting.form, "c", after)


def _find_normals(whole: Readings, rule: SeasonRule, first: date) -> NormalMeans | None:
    """The long-term mean of the years before this season; of all days where there are none before."""
    if not rule.needs_normals:
        return None
    before = [at for at, day in enumerate(whole.days) if day < first] or list(range(len(whole.days)))
    mean = (whole.tmin_c + whole.tmax_c) / 2.0
    return find_normal_means([whole.days[at] for at in before], mean[before])


def _find_season(whole: Readings, counting: Counting, normals: NormalMeans | None, year: int) -> Season:
    return find_season(
        counting.rule, year, whole.days, whole.tmin_c, whole.tmax_c, normals, counting.south, counting.start
    )


def _run_total(
    whole: Readings, units: NDArray[np.float64], counting: Counting, season: Season, first: date
) -> dict[date, float]:
    """The running total by day, up to the season's end, the first missing day or the last day known."""
    known = dict(zip(whole.days, units.tolist(), strict=True))
    totals: dict[date, float] = {}
    total = 0.0
    if season.starts is None:
        return totals
    for day in days_from(season.starts, first + timedelta(days=counting.n_days - 1)):
        if day not in known or (season.ends is not None and day > season.ends):
            break
        total += known[day]
        totals[day] = total
    return totals


def _find_stop(
    whole: Readings, holes: tuple[tuple[date, date], ...], starts: date, counted_to: date | None
) -> tuple[date, date] | None:
    """The hole at which the total stands still, if that is what ended it."""
    if not whole.days:
        return None
    start = counted_to + timedelta(days=1) if counted_to else starts
    return next(((start, last) for begin, last in holes if begin <= start <= last), None)


def _read_past(
    whole: Readings, units: NDArray[np.float64], counting: Counting, normals: NormalMeans | None, first: date
) -> PastYears:
    before = [at for at, day in enumerate(whole.days) if day < first]
    days = [whole.days[at] for at in before]
    start, last = (first.month, first.day), first + timedelta(days=counting.n_days - 1)
    end = (last.month, last.day)
    seasons = {year: _find_season(whole, counting, normals, year) for year in sorted({day.year for day in days})}
    earlier = _count_from_starts(days, units[: len(before)], seasons, start)
    years, dates, totals = sum_by_year(days, earlier, start, end)
    normal_totals = build_heat_normals(days, earlier, start, end, LEVELS)
    column = {month_day: at for at, month_day in enumerate(dates)}
    at_end: list[float] = []
    for row, year in enumerate(years):
        season = seasons[year]
        at = column.get((season.ends.month, season.ends.day)) if season.ends else None
        if at is not None and season.ended_by != "year" and not np.isnan(totals[row, at]):
            at_end.append(float(totals[row, at]))
    short = int(np.isnan(totals[:, -1]).sum()) if years else 0
    return PastYears(years, column, totals, normal_totals, tuple(at_end), short)


def _count_from_starts(
    days: list[date], units: NDArray[np.float64], seasons: dict[int, Season], start: MonthDay
) -> NDArray[np.float64]:
    """The units with nothing counted before each season's start, and unknown from there on where it has none."""
    counted = units.copy()
    for at, day in enumerate(days):
        year = day.year if (day.month, day.day) >= start else day.year - 1
        season = seasons.get(year)
        if season is not None and season.starts is None:
            counted[at] = np.nan
        elif season is not None and season.starts is not None and day < season.starts:
            counted[at] = 0.0
    return counted


def _draw_points(first: date, n_days: int, totals: dict[date, float], past: PastYears) -> tuple[HeatPoint, ...]:
    points = []
    for day in days_from(first, first + timedelta(days=n_days - 1)):
        at = past.column.get((day.month, day.day))
        low, middle, high, years = None, None, None, 0
        if at is not None and past.normals.years[at]:
            low, middle, high = (float(level[at]) for level in past.normals.totals)
            years = int(past.normals.years[at])
        points.append(HeatPoint(day, totals.get(day), low, middle, high, years))
    return tuple(points)


def _compare(course: Course, totals: dict[date, float], past: PastYears) -> Against:
    seasons = tuple(np.quantile(past.at_end, LEVELS).tolist()) if past.at_end else None
    now, at = course.now, None
    if now is not None:
        at = past.column.get((now.day.month, now.day.day))
    if now is None or now.middle is None or at is None:
        return Against(None, None, 0, 0, None, None, seasons, len(past.at_end))
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
        n_seasons=len(past.at_end),
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
