"""When will each row of a season silk and shed, with which spread, given everything that is in the books today?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import refuse
from firstsilk.records.models import Line, Season, Station
from firstsilk.science.climate.heat import Scale
from firstsilk.science.flowering.rows import RowState
from firstsilk.science.flowering.season_forecast import NotedRows, SeasonTold, forecast_lines
from firstsilk.science.flowering.season_heat import SeasonHeat, build_season_heat
from firstsilk.science.flowering.whole_dates import find_whole_dates
from firstsilk.work.climate.readings import Readings, fill_short_holes, read_readings
from firstsilk.work.collecting import pause_collecting
from firstsilk.work.flowering.forecast_kept import forecast_once
from firstsilk.work.flowering.line_history import LineHistory, read_line_history
from firstsilk.work.flowering.states import read_states
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_season, get_station
from firstsilk.work.standing import rows_on

DRAWS = 200
FEW_YEARS = 10
Span = tuple[date, date, date] | None
"""Low, middle and high date; None where the days looked at do not reach it."""


@dataclass(frozen=True, slots=True)
class RowForecast:
    """One row: when half its plants silk and shed, as dates of 10, 50 and 90 %.

    `planned` says that it is not sown yet, so that the day planned stands in; `silk_on`, `shed_on` are as noted;
    `n_records` how many rows of earlier seasons its line has been seen in.
    """

    number: int
    tag: str
    line: str
    purpose: str
    target: int | None
    sown_on: date
    planned: bool
    silk: Span
    shed: Span
    silk_on: date | None
    shed_on: date | None
    n_records: int


@dataclass(frozen=True, slots=True)
class SeasonForecast:
    """The forecast of a season as of `today`.

    `silk` and `shed` are draws (rows, draws) of days after today, negative for days past, NaN for never, joint over
    rows; they stand in the order of `rows`. `later_days` is how much later than its lines' records the season is found
    to be in silk and in shed, each with its standard deviation; `members` the years that tell how it may go on.
    """

    season: str
    site: str
    today: date
    last_reading: date
    rows: tuple[RowForecast, ...]
    silk: NDArray[np.float32]
    shed: NDArray[np.float32]
    later_days: tuple[tuple[float, float], tuple[float, float]]
    dryness_frac: float
    n_years: int
    n_generated: int
    steady: bool
    basis: Basis

    def row(self, number: int) -> RowForecast | None:
        """The forecast of one row, if it has one."""
        return next((row for row in self.rows if row.number == number), None)


class _FieldRow(NamedTuple):
    """What is read of a row: whole records take five times as long, and a nursery may have 20,000."""

    number: int
    tag: str
    line: Line
    purpose: str
    target: int | None
    sow_on: date | None


@dataclass(frozen=True, slots=True)
class _Field:
    """Rows to forecast with their states and the day each was or will be sown."""

    rows: tuple[_FieldRow, ...]
    states: tuple[RowState, ...]
    sown: tuple[date, ...]


@pause_collecting()
def read_forecast(
    on: Occasion,
    season: str = "",
    draws: int = DRAWS,
    seed: int = 1,
    states: Mapping[str, RowState] | None = None,
) -> SeasonForecast:
    """Silk and shed of every row of a season, from its notes, its line's and relatives' records and the weather.

    Parameters
    ----------
    on
        The occasion; notes and weather after its `today` do not count.
    season
        The season's name; this year's if empty.
    draws, seed
        Draws behind each date, and where chance starts.
    states
        What the notes say of the season's rows by tag, where it is read already; else it is read here.

    Returns
    -------
    SeasonForecast
        Rows that are sown, or planned with a day, fillers left out; empty arrays where there is none.

    Raises
    ------
    InputRefused
        If there is no such season, no weather, a hole in this season's weather that is too long to fill, no whole past
        year, or no line with any record.

    Notes
    -----
    Not considered: frost, hail, spraying, what a crew will really look at. The model stands in docs/forecast.md.
    Checked by ``tests/work/test_forecast_work.py``.
    """
    station = get_station(on.station)
    book = get_season(station, season, on.today)
    field = _read_field(station, book, on.today, states)
    if not field.rows:
        raise refuse("no_rows", f"Season {book.name} has no row that is sown or planned.", "Plan or bring rows first.")
    readings = read_readings(station, book.site, on.today + timedelta(days=20))
    heat, last = _line_up(station, book, readings, field, on.today, seed)
    _check_sown(book, field, heat)
    history = read_line_history(station, {row.line for row in field.rows}, _season_start(field))
    if history is None:
        raise refuse(
            "no_line_known",
            "No line of this season has heat units to silk, nor rows of earlier seasons with notes.",
            "Give units for one line at least: on its page, or by bringing lines.",
        )
    rows = _set_rows(field, heat, history)
    told = forecast_once(
        forecast_lines, heat, rows, history.known, history.years, history.mean_units, draws=draws, seed=seed
    )
    return _tell(on, book, field, heat, history, told, last)


def _read_field(station: Station, season: Season, today: date, states: Mapping[str, RowState] | None = None) -> _Field:
    found = rows_on(station, today).filter(season=season).exclude(purpose="filler")
    lines = {line.pk: line for line in Line.objects.filter(pk__in=found.values("line"))}
    told = found.order_by("number").values_list("number", "tag", "line_id", "purpose", "target__number", "sow_on")
    rows = [
        _FieldRow(number, tag, lines[line], purpose, target, sow_on)
        for number, tag, line, purpose, target, sow_on in told
    ]
    if states is None:
        states = read_states(station, found.values_list("tag", flat=True), today)
    kept = []
    for row in rows:
        state = states.get(row.tag, RowState(row.tag))
        sown = state.sown_on or (None if state.misplanted else row.sow_on)
        if sown is not None:
            kept.append((row, state, max(sown, today) if state.sown_on is None else sown))
    return _Field(tuple(one[0] for one in kept), tuple(one[1] for one in kept), tuple(one[2] for one in kept))


def _check_sown(season: Season, field: _Field, heat: SeasonHeat) -> None:
    for row, sown in zip(field.rows, field.sown, strict=True):
        if heat.day(sown) + 1 >= heat.span_days:
            told = f"row {row.number} is sown or planned for {sown}, {heat.day(sown)} days after {heat.first}"
            raise refuse("sown_after_season", f"Season {season.name}: {told}.", "Correct its day of sowing.")


def _season_start(field: _Field) -> date:
    return min(field.sown)


def _line_up(
    station: Station, season: Season, readings: Readings, field: _Field, today: date, seed: int
) -> tuple[SeasonHeat, date]:
    scale: Scale = station.scale  # type: ignore[assignment]
    measured, _ = fill_short_holes(readings.without_forecast())
    usable = [at for at, day in enumerate(measured.days) if day <= today]
    if not usable:
        told = f"There is no weather of {season.site.name} up to {today} in the books."
        raise refuse("no_weather_yet", told, "Bring daily weather of this season and of past years.")
    last = measured.days[usable[-1]]
    first = min(_season_start(field), last)
    try:
        heat = build_season_heat(
            measured.days,
            measured.tmin_c,
            measured.tmax_c,
            first,
            today,
            scale,
            None if np.isnan(measured.rain_mm).all() else measured.rain_mm,
            _read_ahead(readings, last),
            seed,
        )
    except ValueError as fault:
        message = f"{season.site.name}: {fault}."
        raise refuse("weather_has_holes", message, "Bring those days, or fill the hole when you add weather.") from None
    return heat, last


def _read_ahead(readings: Readings, last: date) -> tuple[NDArray[np.float64], NDArray[np.float64]] | None:
    """Forecast days in a row after the last reading."""
    place = {
        day: at
        for at, (day, origin) in enumerate(zip(readings.days, readings.origins, strict=True))
        if origin == "forecast" and day > last
    }
    days: list[int] = []
    while (at := place.get(last + timedelta(days=len(days) + 1))) is not None:
        days.append(at)
    return (readings.tmin_c[days], readings.tmax_c[days]) if days else None


def _set_rows(field: _Field, heat: SeasonHeat, history: LineHistory) -> NotedRows:
    place = history.find_place()
    days = [
        [_pair(heat, state.silk_on, state.silk_not_yet), _pair(heat, state.shed_on, state.shed_not_yet)]
        for state in field.states
    ]
    both = np.array(days, dtype=np.intp).reshape(len(field.rows), 2, 2)
    return NotedRows(
        np.array([place[row.line.name] for row in field.rows], dtype=np.intp),
        np.array([heat.day(sown) for sown in field.sown], dtype=np.intp),
        _find_crowding(field),
        both[:, :, 1],
        both[:, :, 0],
    )


def _pair(heat: SeasonHeat, seen: date | None, not_yet: date | None) -> tuple[int, int]:
    """Day seen and last day not yet; a note of a day before the first sowing tells nothing."""
    at, before = (-1 if day is None else max(heat.day(day), -1) for day in (seen, not_yet))
    return at, -1 if at >= 0 and before >= at else before


def _find_crowding(field: _Field) -> NDArray[np.float64]:
    """Stands in standard deviations from the rows' mean, 0 where no stand is noted."""
    stands = np.array([np.nan if state.stand is None else state.stand for state in field.states], dtype=np.float64)
    known = ~np.isnan(stands)
    if known.sum() < 3 or np.nanstd(stands) == 0.0:
        return np.zeros(len(stands))
    return np.where(known, np.clip((stands - np.nanmean(stands)) / np.nanstd(stands), -3.0, 3.0), 0.0)


def _tell(
    on: Occasion,
    season: Season,
    field: _Field,
    heat: SeasonHeat,
    history: LineHistory,
    told: SeasonTold,
    last: date,
) -> SeasonForecast:
    today = heat.day(on.today)
    rows = _tell_rows(field, heat, history, told)
    mean, cov = told.forecast.posterior.shared_mean, told.forecast.posterior.shared_cov
    return SeasonForecast(
        season=season.name,
        site=season.site.name,
        today=on.today,
        last_reading=last,
        rows=rows,
        silk=told.forecast.silk - np.float32(today),
        shed=told.forecast.shed - np.float32(today),
        later_days=tuple((float(mean[at]) / told.pace, float(cov[at, at]) ** 0.5 / told.pace) for at in (0, 1)),  # type: ignore[arg-type]
        dryness_frac=told.dryness_frac,
        n_years=len(heat.years),
        n_generated=heat.n_generated,
        steady=told.forecast.steady,
        basis=Basis(
            (
                ("rows", len(rows)),
                ("notes", sum(state.n_notes for state in field.states)),
                ("records of lines in earlier seasons", history.n_records),
                ("figures of lines", history.n_figures),
                ("past years of weather", len(heat.years)),
            ),
            tuple(_tell_missing(rows, heat, on.today, last, told)),
        ),
    )


def _tell_rows(field: _Field, heat: SeasonHeat, history: LineHistory, told: SeasonTold) -> tuple[RowForecast, ...]:
    silk, shed = (_name_spans(each, heat.first) for each in (told.forecast.silk, told.forecast.shed))
    records = {name: history.rows_of[at] for name, at in history.find_place().items()}
    return tuple(
        RowForecast(
            number=row.number,
            tag=row.tag,
            line=row.line.name,
            purpose=row.purpose,
            target=row.target,
            sown_on=sown,
            planned=state.sown_on is None,
            silk=silk[at],
            shed=shed[at],
            silk_on=state.silk_on,
            shed_on=state.shed_on,
            n_records=int(records.get(row.line.name, 0)),
        )
        for at, (row, state, sown) in enumerate(zip(field.rows, field.states, field.sown, strict=True))
    )


def _name_spans(draws: NDArray[np.float32], first: date) -> list[Span]:
    return [
        None if any(one != one for one in each) else tuple(first + timedelta(days=int(one)) for one in each)  # type: ignore[misc]
        for each in find_whole_dates(draws).tolist()
    ]


def _tell_missing(
    rows: Sequence[RowForecast], heat: SeasonHeat, today: date, last: date, told: SeasonTold
) -> Iterator[str]:
    if last < today:
        age = (today - last).days
        yield f"the last reading is {age} day{'s' if age > 1 else ''} old ({last.day} {last:%b %Y})"
    if heat.n_generated:
        yield f"with {len(heat.years)} whole past years, {heat.n_generated} generated years were added"
    elif len(heat.years) < FEW_YEARS:
        yield f"only {len(heat.years)} whole past years, so the spread of the weather is uncertain"
    unseen = {row.line for row in rows if not row.n_records}
    if unseen:
        yield f"{len(unseen)} lines have no record of their own: relatives and the programme's mean stand in"
    never = sum(1 for row in rows if row.silk is None)
    if never:
        yield f"{never} rows are not expected to silk within the days looked at"
    if not told.forecast.steady:
        yield "the notes did not settle to one answer; look for notes that contradict each other"
