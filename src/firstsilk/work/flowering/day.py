"""What needs a hand in the field today, and how far is each target?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from firstsilk.answers import InputRefused
from firstsilk.records.models import Season, Station, WeatherDay
from firstsilk.science.climate.frost import KILLING_FROST_C
from firstsilk.science.flowering.day import RowOnDay, Task, list_tasks
from firstsilk.science.nursery.sowing_question import weigh_priority
from firstsilk.work.collecting import pause_collecting
from firstsilk.work.flowering.forecast import RowForecast, SeasonForecast, read_forecast
from firstsilk.work.flowering.progress import TargetProgress, measure_progress
from firstsilk.work.flowering.rows import RowFacts, read_rows, read_season_rows
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_season, get_station

__all__ = ["DayList", "RowFacts", "TargetProgress", "read_day_list", "read_progress", "read_rows"]

FROST_AFTER_SOWING_DAYS = 60
"""A killing frost sooner after the last sowing than this is one of spring: the growing point is below ground."""


@dataclass(frozen=True, slots=True)
class DayList:
    """Today's tasks with the rows they are about, and how far each target is.

    `killed_on` is the day of the season's killing frost at the nursery, None if there was none yet. `forecast` is where
    expected days come from; None where they are a plain sum of heat units.
    """

    season: str
    today: date
    cutoff_on: date | None
    tasks: tuple[Task, ...]
    rows: dict[int, RowFacts]
    basis: Basis
    progress: tuple[TargetProgress, ...] = ()
    killed_on: date | None = None
    forecast: SeasonForecast | None = None

    @property
    def expected_by(self) -> str:
        """Where expected days come from, in words."""
        if self.forecast is None:
            return "Expected days are a plain sum of heat units at the normal pace."
        return "Expected days are the middle of the forecast."

    def count(self, do: str) -> int:
        """How many rows have this task."""
        return sum(1 for task in self.tasks if task.do == do)

    @property
    def end_on(self) -> date | None:
        """The last day on which anything is pollinated: the cutoff, or the killing frost if that came first."""
        return _first(self.cutoff_on, self.killed_on)

    @property
    def shut_rows(self) -> tuple[RowFacts, ...]:
        """Rows that nobody may enter now: they lie under a spray interval."""
        return tuple(row for row in self.rows.values() if row.no_entry)


def read_day_list(on: Occasion, season: str = "", by_forecast: bool = False) -> DayList:
    """Today's tasks: rows to sow, look at, bag, pollinate and pick, each with its reason; and each target's progress.

    Parameters
    ----------
    on, season
        The occasion, and the season's name; this year's if empty.
    by_forecast
        Whether expected days are the middle of the forecast, as on the season page; a plain sum of heat units else, and
        where there is no forecast. Whatever shows an expected day asks for it.

    Notes
    -----
    Considered: plan, notes, heat units so far and the pace ahead, silk and shed windows, spray intervals, the
    cutoff, a killing frost. Not considered: rain, heat of the day, the hour, walking distance beyond row order, who is
    there.
    """
    with pause_collecting():
        return _read_day(on, season, by_forecast)


def _read_day(on: Occasion, season: str, by_forecast: bool) -> DayList:
    station = get_station(on.station)
    book = get_season(station, season, on.today)
    facts, basis = read_season_rows(on, station, book)
    forecast = _find_forecast(on, book, facts) if by_forecast and any(map(_is_waited_for, facts)) else None
    if forecast is not None:
        facts, basis = _expect_by(forecast, facts), forecast.basis
    by_number = {row.number: row for row in facts}
    killed = find_killing_frost(station, book, facts, on.today)
    tags = {rows: tuple(by_number[number].tag for number in rows) for rows in {row.male_rows for row in facts}}
    there = [_on_day(row, tags[row.male_rows], on.today) for row in facts]
    tasks = list_tasks(there, on.today, book.cutoff_on, killed)
    progress = measure_progress(facts, on.today, _first(book.cutoff_on, killed))
    return DayList(book.name, on.today, book.cutoff_on, tasks, by_number, basis, progress, killed, forecast)


def _is_waited_for(row: RowFacts) -> bool:
    """Whether a row is sown and its silk or shed, where it matters, is not noted yet."""
    state = row.state
    silk = row.purpose in ("self", "female") and state.silk_on is None
    return state.sown_on is not None and (silk or (row.purpose in ("self", "male") and state.shed_on is None))


def _find_forecast(on: Occasion, season: Season, rows: Sequence[RowFacts]) -> SeasonForecast | None:
    try:
        return read_forecast(on, season.name, states={row.tag: row.state for row in rows})
    except InputRefused:
        return None


def _expect_by(forecast: SeasonForecast, rows: Sequence[RowFacts]) -> tuple[RowFacts, ...]:
    """Rows with the forecast's middle days as expected; as noted where they are noted."""
    told = {row.number: row for row in forecast.rows}
    return tuple(_expect(row, told[row.number]) if row.number in told else row for row in rows)


def _expect(row: RowFacts, told: RowForecast) -> RowFacts:
    if row.state.sown_on is None:
        return row
    silk = row.state.silk_on or (told.silk[1] if told.silk else None)
    shed = row.state.shed_on or (told.shed[1] if told.shed else None)
    if (silk, shed) == (row.silk_expected, row.shed_expected):
        return row
    return replace(row, silk_expected=silk, shed_expected=shed)


def read_progress(on: Occasion, season: str = "") -> tuple[tuple[TargetProgress, ...], Basis]:
    """How far each planned target of the season is on the occasion's day."""
    day = read_day_list(on, season)
    return day.progress, day.basis


def _first(*days: date | None) -> date | None:
    return min((day for day in days if day is not None), default=None)


def find_killing_frost(station: Station, season: Season, rows: tuple[RowFacts, ...], today: date) -> date | None:
    """The first day cold enough to kill, long enough after the last sowing of the season."""
    sown = max((row.state.sown_on for row in rows if row.state.sown_on), default=None)
    if sown is None:
        return None
    cold = WeatherDay.objects.filter(station=station, site=season.site, tmin_c__lte=KILLING_FROST_C)
    cold = cold.exclude(origin="forecast")
    after = cold.filter(date__gt=sown + timedelta(days=FROST_AFTER_SOWING_DAYS), date__lte=today)
    return after.order_by("date").values_list("date", flat=True).first()


def _on_day(row: RowFacts, male_tags: tuple[str, ...], today: date) -> RowOnDay:
    males = (row.tag,) if row.purpose == "self" else male_tags
    return RowOnDay(
        number=row.number,
        tag=row.tag,
        purpose=row.purpose,
        type=row.kind,
        wanted=row.wanted,
        males=males,
        sow_on=row.sow_on,
        silk_in_days=None if row.silk_expected is None else (row.silk_expected - today).days,
        shed_in_days=None if row.shed_expected is None else (row.shed_expected - today).days,
        state=row.state,
        no_entry=row.no_entry,
        target=row.target,
        good_wanted=row.ears_wanted,
        success_frac=row.ear_rates.success_frac,
        weight=weigh_priority(row.priority),
    )
