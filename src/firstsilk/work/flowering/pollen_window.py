"""From when to when can be pollinated at the nursery on the coming days?"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from firstsilk.records.models import Season, Station, WeatherDay, WeatherHour
from firstsilk.science.flowering.pollen_window import Windows, find_windows, guess_windows
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_season, get_station

DAYS_AHEAD = 7
DAYS_BACK = 3
LEAST_HOURS = 20
"""Fewest hours with temperature and humidity for a day to be told from them (common practice, no source)."""
NEAR_DAYS = 3
"""Past years' days this near to a date tell its usual window (a choice of ours)."""
FORECAST_DAYS = 16
"""A forecast further ahead is not looked at."""
SOURCES = {
    "hours": "hourly readings",
    "hours forecast": "hourly forecast",
    "day": "daily extremes",
    "day forecast": "daily forecast",
    "past years": "past years' days about this date",
    "": "nothing known",
}


@dataclass(frozen=True, slots=True)
class DayWindow:
    """The window of one day in clock time [h], None where there is none.

    `source` is a key of `SOURCES`; `sure_frac` the share of past years' days about this date with a sure start, None
    where the day itself is known. `usable_min` is how long collected pollen keeps half of its germination [min].
    """

    date: date
    start_early: float | None
    start_late: float | None
    end_early: float | None
    end_late: float | None
    usable_min: float | None
    source: str
    sure_frac: float | None
    note: str


@dataclass(frozen=True, slots=True)
class PollenWindows:
    """The windows of the days before and after today, and what is said of today's."""

    season: str
    site: str
    today: date
    clock_ahead_h: float
    days: tuple[DayWindow, ...]
    sentences: tuple[str, ...]
    basis: Basis


def read_pollen_windows(on: Occasion, season: str = "", days_ahead: int = DAYS_AHEAD) -> PollenWindows:
    """The pollination window of today and the coming days, and of the last days with hourly readings.

    Notes
    -----
    Each day is told by the best that is known of it: hours measured or forecast, else daily extremes measured or
    forecast with humidity guessed, else past years' days about its date. Clock time is the station's, summer time
    included.
    """
    station = get_station(on.station)
    book = get_season(station, season, on.today)
    days = [on.today + timedelta(days=at) for at in range(-DAYS_BACK, days_ahead)]
    hours, n_hours = _read_hours(station, book, days, on.today)
    extremes, past, n_past = _read_days(station, book, days, on.today)
    ahead = {day: _clock_ahead(station, day) for day in days}
    told = []
    for day in days:
        if day in hours:
            one, source = hours[day]
            told.append(_day_window(day, one, 0, source, ahead[day]))
        elif day in extremes:
            one, source = extremes[day]
            told.append(_day_window(day, one, 0, source, ahead[day]))
        elif day >= on.today:
            told.append(_usual_window(day, past.get(day), ahead[day]))
    used = (("hours of weather", n_hours), ("days of weather", len(extremes) + n_past))
    missing = () if n_hours else ("hourly humidity (it is guessed from the day's extremes)",)
    return PollenWindows(
        book.name,
        book.site.name,
        on.today,
        ahead[on.today],
        tuple(told),
        tuple(_say(told, on.today)),
        Basis(used, missing),
    )


def _clock_ahead(station: Station, day: date) -> float:
    """Hours that the station's clock is ahead of its standard time on a day."""
    noon = datetime(day.year, day.month, day.day, 12, tzinfo=ZoneInfo(station.time_zone))
    shift = noon.dst()
    return 0.0 if shift is None else shift.total_seconds() / 3600


def _read_hours(
    station: Station, season: Season, days: list[date], today: date
) -> tuple[dict[date, tuple[Windows, str]], int]:
    """Windows of the days whose hours are known."""
    found = WeatherHour.objects.filter(station=station, site=season.site, date__gte=days[0], date__lte=days[-1])
    by_day: dict[date, NDArray[np.float64]] = {}
    forecast: dict[date, bool] = defaultdict(bool)
    n_hours = 0
    for day, hour, warmth, humidity, rain, origin in found.values_list(
        "date", "hour", "temp_c", "rh_pct", "rain_mm", "origin"
    ):
        # A day looked back at does not know the hours that were measured after it.
        if day > today and origin != "forecast":
            continue
        table = by_day.setdefault(day, np.full((3, 24), np.nan))
        table[:, hour] = [np.nan if value is None else value for value in (warmth, humidity, rain)]
        forecast[day] |= origin == "forecast"
        n_hours += 1
    whole = {day: table for day, table in by_day.items() if (~np.isnan(table[:2]).any(axis=0)).sum() >= LEAST_HOURS}
    windows = {}
    for day, table in whole.items():
        closed = [_close_gaps(values) for values in table[:2]]
        one = find_windows(closed[0][None], closed[1][None], table[2][None])
        windows[day] = (one, "hours forecast" if forecast[day] else "hours")
    return windows, n_hours


def _close_gaps(values: NDArray[np.float64]) -> NDArray[np.float64]:
    known = np.flatnonzero(~np.isnan(values))
    return np.interp(np.arange(24), known, values[known])


def _read_days(
    station: Station, season: Season, days: list[date], today: date
) -> tuple[dict[date, tuple[Windows, str]], dict[date, Windows], int]:
    """Windows guessed from daily extremes: of the days themselves, and of past years' days about each date."""
    months = {(day + timedelta(days=step)).month for day in days for step in (-NEAR_DAYS, NEAR_DAYS)}
    found = WeatherDay.objects.filter(station=station, site=season.site, date__lte=days[-1], date__month__in=months)
    rows = list(found.values_list("date", "tmin_c", "tmax_c", "rain_mm", "origin"))
    own = [row for row in rows if today <= row[0] and (row[0] == today or row[4] == "forecast") and row[0] <= days[-1]]
    extremes = {row[0]: (_guess([row]), "day forecast" if row[4] == "forecast" else "day") for row in own}
    place = np.array([row[0].timetuple().tm_yday for row in rows], dtype=np.int64)
    before = np.array([row[0].year < today.year for row in rows], dtype=bool)
    past = {}
    for day in days:
        if day < today or day in extremes:
            continue
        apart = np.abs(place - day.timetuple().tm_yday)
        near = before & (np.minimum(apart, 365 - apart) <= NEAR_DAYS)
        if near.any():
            past[day] = _guess([rows[at] for at in np.flatnonzero(near)])
    return extremes, past, int(sum(len(one.start_early) for one in past.values()))


def _guess(rows: list[tuple[date, float, float, float | None, str]]) -> Windows:
    rain = [np.nan if row[3] is None else row[3] for row in rows]
    return guess_windows([row[1] for row in rows], [row[2] for row in rows], rain)


def _day_window(day: date, one: Windows, at: int, source: str, ahead: float) -> DayWindow:
    edges = [_clock(float(edge[at]), ahead) for edge in (one.start_early, one.start_late, one.end_early, one.end_late)]
    said = []
    if edges[0] is None:
        said.append("too cool or too damp: no shed expected")
    elif edges[1] is None:
        said.append("may stay too cool or damp: shed not sure")
    if edges[0] is not None:
        marks = (("after dew or rain", one.dewy), ("rain", one.rained), ("heat ends it", one.hot))
        said += [told for told, holds in marks if holds[at]]
    usable = None if np.isnan(one.usable_min[at]) else float(one.usable_min[at])
    return DayWindow(day, edges[0], edges[1], edges[2], edges[3], usable, source, None, "; ".join(said))


def _usual_window(day: date, past: Windows | None, ahead: float) -> DayWindow:
    """The range that past years' days about this date span: 10 % of early starts to 90 % of late ones."""
    if past is None or np.isnan(past.start_early).all():
        note = "too cool in all past years" if past is not None else "no past year is known"
        return DayWindow(day, None, None, None, None, None, "past years" if past is not None else "", None, note)
    parts = ((past.start_early, 0.1), (past.start_late, 0.9), (past.end_early, 0.1), (past.end_late, 0.9))
    edges = [_clock(_quantile(values, share), ahead) for values, share in parts]
    sure = float(np.mean(~np.isnan(past.start_late)))
    return DayWindow(day, edges[0], edges[1], edges[2], edges[3], None, "past years", sure, "")


def _quantile(values: NDArray[np.float64], share: float) -> float:
    known = values[~np.isnan(values)]
    return float(np.quantile(known, share)) if len(known) else float("nan")


def _clock(hour: float, ahead: float) -> float | None:
    """A clock time to the quarter hour; None where there is none."""
    return None if np.isnan(hour) else round((hour + ahead) * 4) / 4


def _say(days: list[DayWindow], today: date) -> list[str]:
    one = next((day for day in days if day.date == today), None)
    if one is None or not one.source:
        return ["No weather tells today's window."]
    if one.start_early is None:
        return ["Today stays too cool or too damp for pollen, as far as is known."]
    by = f", by {SOURCES[one.source]}"
    if one.start_late is None:
        return [f"Today pollen may fly from {write_clock(one.start_early)}, or not at all{by}."]
    start = f"{write_clock(one.start_early)} and {write_clock(one.start_late)}"
    end = f"{write_clock(one.end_early)} and {write_clock(one.end_late)}"
    said = [f"Today pollen is dry from between {start} until between {end}{by}."]
    if one.usable_min:
        said.append(f"Collected pollen loses half of its life in about {round(one.usable_min, -1):.0f} minutes.")
    return said


def write_clock(hour: float | None) -> str:
    """A clock time as ``09:45``; a dash if there is none."""
    return "–" if hour is None else f"{int(hour):02d}:{round(hour % 1 * 60):02d}"
