"""How do hourly readings become daily weather, and which days have too few of them?

Columns ``time`` (local, ISO), ``temp_c`` or ``temp_f``; ``site`` and ``rain_mm`` if there. A day is the calendar day of
the times as written. Readings on the hour miss the true extremes between them: a daily minimum from them is a little
high and a maximum a little low.
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
    """One reading: site (empty if there is one only), local time, temperature [°C], rain in that hour [mm]."""

    site: str
    time: datetime
    temp_c: float | None
    rain_mm: float | None
    line: int


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
    unit = "f" if "temp_f" in table.columns else "c"
    table.need("time", f"temp_{unit}")
    table.need_rows()
    findings: list[Finding] = []
    hours = [hour for row in table.rows if (hour := _read_hour(row, table, unit, findings)) is not None]
    stop_if_any(findings)
    return table.file, tuple(hours)


def _read_hour(row: TableRow, table: Table, unit: str, findings: list[Finding]) -> Hour | None:
    column = f"temp_{unit}"
    temperature = row.number(column, findings)
    rain = row.number("rain_mm", findings) if "rain_mm" in table.columns else None
    if rain is not None and rain < 0:
        findings.append(row.finding("out_of_range", "rain cannot be below 0", "rain_mm", "Leave the cell empty"))
    if temperature is not None and unit == "f":
        temperature = float(convert_f_to_c(temperature))
    if temperature is not None and not COLDEST_C <= temperature <= HOTTEST_C:
        repair = "Leave the cell empty where nothing was measured"
        findings.append(row.finding("out_of_range", "no such air temperature was ever measured", column, repair))
    try:
        read_iso_date(row.text("time")[:10])
        time = datetime.fromisoformat(row.text("time"))
        if not FIRST_YEAR <= time.year <= LAST_YEAR:
            raise ValueError
    except ValueError:
        repair = "Write times as 2031-05-18T14:00"
        findings.append(row.finding("not_a_time", "this is not a time", "time", repair))
        return None
    return Hour(row.text("site") if "site" in table.columns else "", time, temperature, rain, row.line)


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
