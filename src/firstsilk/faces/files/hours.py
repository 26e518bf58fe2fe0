"""How do hourly readings become daily weather, and which days have too few of them?

Columns ``time`` (local, ISO), or ``date`` and ``hour`` (0 to 23); ``temp_c`` or ``temp_f``; ``site``, ``rh_pct`` and
``rain_mm`` if there. A day is the calendar day of the times as written. Readings on the hour miss the true extremes
between them: a daily minimum from them is a little high and a maximum a little low.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from firstsilk.answers import Finding, Place, stop_if_any
from firstsilk.faces.files.tables import FIRST_YEAR, LAST_YEAR, Table, TableRow, read_iso_date, read_table
from firstsilk.science.climate.heat import convert_f_to_c
from firstsilk.science.climate.weather import COLDEST_C, HOTTEST_C

LEAST_HOURS = 20
"""Fewest hours with a temperature for a day to count. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Hour:
    """One reading: site (empty if only one), local time, temperature [°C], rain in that hour [mm], humidity [%]."""

    site: str
    time: datetime
    temp_c: float | None
    rain_mm: float | None
    line: int
    rh_pct: float | None = None


@dataclass(frozen=True, slots=True)
class HourlyDay:
    """One day made from hours: extremes [°C], rain [mm] (None if too few hours tell it), hours with a temperature."""

    site: str
    date: date
    tmin_c: float
    tmax_c: float
    rain_mm: float | None
    hours: int


def read_hours(path: str | Path, name: str = "") -> tuple[str, tuple[Hour, ...]]:
    """Read hourly readings; returns the file's name and the readings.

    Raises
    ------
    InputRefused
        Naming every missing column and every cell that is no time or number, or no air temperature.
    """
    table = read_table(path, name)
    return table.file, hours_from_table(table)


def is_hourly(table: Table) -> bool:
    """Whether a table holds hours: it has a time or an hour, and one temperature and not two."""
    return bool({"time", "hour"} & set(table.columns)) and bool({"temp_c", "temp_f"} & set(table.columns))


def hours_from_table(table: Table) -> tuple[Hour, ...]:
    """Read hourly readings from a table that was read already; same promises as `read_hours`."""
    unit = "f" if "temp_f" in table.columns else "c"
    if unit == "f" and "temp_c" in table.columns:
        told = "columns 'temp_c' and 'temp_f' are both there"
        stop_if_any([Finding("unit_twice", told, Place(table.file, 1, "temp_f"), repair="Keep one of them")])
    by_hour = "time" not in table.columns and "hour" in table.columns
    table.need(*(("date", "hour") if by_hour else ("time",)), f"temp_{unit}")
    table.need_rows()
    findings: list[Finding] = []
    hours = [hour for row in table.rows if (hour := _read_hour(row, table, unit, by_hour, findings)) is not None]
    stop_if_any(findings)
    return tuple(hours)


def _read_hour(row: TableRow, table: Table, unit: str, by_hour: bool, findings: list[Finding]) -> Hour | None:
    temperature = _read_temperature(row, f"temp_{unit}", findings)
    rain = row.number("rain_mm", findings) if "rain_mm" in table.columns else None
    if rain is not None and rain < 0:
        findings.append(row.finding("out_of_range", "rain cannot be below 0", "rain_mm", "Leave the cell empty"))
    humidity = row.number("rh_pct", findings) if "rh_pct" in table.columns else None
    if humidity is not None and not 0 <= humidity <= 100:
        told = "relative humidity lies between 0 and 100 %"
        findings.append(row.finding("out_of_range", told, "rh_pct", "Leave the cell empty where nothing was measured"))
    site = row.text("site") if "site" in table.columns else ""
    if "site" in table.columns and not site:
        findings.append(row.finding("no_site", "the site is missing", "site", "Write the site on every line"))
    time = _read_date_and_hour(row, findings) if by_hour else _read_time(row, findings)
    return None if time is None else Hour(site, time, temperature, rain, row.line, humidity)


def _read_temperature(row: TableRow, column: str, findings: list[Finding]) -> float | None:
    temperature = row.number(column, findings)
    if temperature is not None and column == "temp_f":
        temperature = float(convert_f_to_c(temperature))
    if temperature is not None and not COLDEST_C <= temperature <= HOTTEST_C:
        repair = "Leave the cell empty where nothing was measured"
        findings.append(row.finding("out_of_range", "no such air temperature was ever measured", column, repair))
    return temperature


def _read_time(row: TableRow, findings: list[Finding]) -> datetime | None:
    try:
        read_iso_date(row.text("time")[:10])
        time = datetime.fromisoformat(row.text("time"))
        if not FIRST_YEAR <= time.year <= LAST_YEAR:
            raise ValueError
    except ValueError:
        repair = "Write times as 2031-05-18T14:00"
        findings.append(row.finding("not_a_time", "this is not a time", "time", repair))
        return None
    return time


def _read_date_and_hour(row: TableRow, findings: list[Finding]) -> datetime | None:
    day, hour = row.day("date", findings), row.whole("hour", findings)
    if not row.text("date"):
        findings.append(row.finding("no_date", "the date is missing", "date", "Write it, or remove the line"))
    if not row.text("hour"):
        findings.append(row.finding("no_hour", "the hour is missing", "hour", "Write it, or remove the line"))
    elif hour is not None and not 0 <= hour <= 23:
        told = "an hour is 0 to 23, the hour in which it begins"
        findings.append(row.finding("not_an_hour", told, "hour", "Write 24 as hour 0 of the next day"))
        return None
    return None if day is None or hour is None else datetime(day.year, day.month, day.day, hour)  # noqa: DTZ001


def gather_days(
    hours: Iterable[Hour], file: str = "", least_hours: int = LEAST_HOURS
) -> tuple[tuple[HourlyDay, ...], tuple[Finding, ...]]:
    """Make days from hourly readings.

    Parameters
    ----------
    hours
        Readings in any order. Several readings in one clock hour (as when clocks go back) count as one hour.
    file
        The name to use in complaints.
    least_hours
        Fewest clock hours with a temperature; a day with fewer is left out and named.

    Returns
    -------
    tuple of HourlyDay, tuple of Finding
        Days in order of site and date: lowest and highest reading, rain summed over the day where as many hours tell
        it; and a finding that warns for each day left out.

    Notes
    -----
    Checked by tests/journeys/test_bring_real.py against hourly readings of three airports.
    """
    groups: dict[tuple[str, date], list[Hour]] = defaultdict(list)
    for hour in hours:
        groups[(hour.site, hour.time.date())].append(hour)
    days: list[HourlyDay] = []
    findings: list[Finding] = []
    for (site, day), group in sorted(groups.items()):
        known = [hour for hour in group if hour.temp_c is not None]
        n_hours = len({hour.time.hour for hour in known})
        if n_hours < least_hours:
            findings.append(_too_few(site, day, n_hours, least_hours, Place(file, group[0].line, "time")))
            continue
        temperatures = [hour.temp_c for hour in known if hour.temp_c is not None]
        wet = [(hour.time.hour, hour.rain_mm) for hour in group if hour.rain_mm is not None]
        told = len({clock for clock, _ in wet}) >= least_hours
        rain = round(sum(fallen for _, fallen in wet), 6) if told else None
        days.append(HourlyDay(site, day, min(temperatures), max(temperatures), rain, n_hours))
    return tuple(days), tuple(findings)


def _too_few(site: str, day: date, n_hours: int, least_hours: int, place: Place) -> Finding:
    at_site = f" at site {site!r}" if site else ""
    message = f"{day}{at_site} has {n_hours} hours with a temperature, {least_hours} are wanted; it is left out"
    return Finding("day_left_out", message, place, day.isoformat(), "Add the hours if they are known", stops=False)
