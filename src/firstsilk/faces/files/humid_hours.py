"""How is a file of hourly temperature and humidity read as whole days?

Columns ``date, hour`` or ``time`` (standard time, ISO), ``temp_c`` or ``temp_f``, ``rh_pct``; ``rain_mm`` if there.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import Finding, refuse, stop_if_any
from firstsilk.faces.files.tables import FIRST_YEAR, LAST_YEAR, Table, TableRow, read_iso_date
from firstsilk.science.climate.heat import convert_f_to_c
from firstsilk.science.climate.weather import COLDEST_C, HOTTEST_C

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class HumidDays:
    """Days in order; arrays are (days, 24): temperature [°C], humidity [%], rain [mm]; NaN where not told."""

    days: tuple[date, ...]
    temperature_c: FloatArray
    humidity_pct: FloatArray
    rain_mm: FloatArray


def humid_days_from_table(table: Table) -> HumidDays:
    """Read hourly temperature and humidity; readings within an hour count as their mean, hours between two known ones
    at most three apart are filled in a straight line.

    Raises
    ------
    InputRefused
        Naming every missing column and every cell that is no time, number, air temperature or humidity; or if several
        sites are in the file.
    """
    unit = "f" if "temp_f" in table.columns else "c"
    table.need(*(("time",) if "time" in table.columns else ("date", "hour")), f"temp_{unit}", "rh_pct")
    table.need_rows()
    if "site" in table.columns and len({row.text("site") for row in table.rows}) > 1:
        raise refuse("sites_several", f"{table.file}: the file holds several sites.", "Keep one site in it.")
    findings: list[Finding] = []
    sums: dict[tuple[date, int], FloatArray] = {}
    for row in table.rows:
        at = _read_hour(row, table, findings)
        values = _read_values(row, table, unit, findings)
        if at is not None:
            told = sums.setdefault(at, np.zeros((2, 3)))
            told[0] += np.nan_to_num(values)
            told[1] += ~np.isnan(values)
    stop_if_any(findings)
    days = tuple(sorted({day for day, _ in sums}))
    place = {day: index for index, day in enumerate(days)}
    hours = np.full((3, len(days), 24), np.nan)
    for (day, hour), (total, count) in sums.items():
        hours[:, place[day], hour] = np.divide(total, count, out=np.full(3, np.nan), where=count > 0)
    return HumidDays(days, _fill_short(hours[0]), _fill_short(hours[1]), hours[2])


def _read_hour(row: TableRow, table: Table, findings: list[Finding]) -> tuple[date, int] | None:
    if "time" in table.columns:
        try:
            read_iso_date(row.text("time")[:10])
            time = datetime.fromisoformat(row.text("time"))
            if not FIRST_YEAR <= time.year <= LAST_YEAR:
                raise ValueError
        except ValueError:
            repair = "Write times as 2031-05-18T14:00"
            findings.append(row.finding("not_a_time", "this is not a time", "time", repair))
            return None
        return time.date(), time.hour
    before = len(findings)
    day, hour = row.day("date", findings), row.whole("hour", findings)
    if hour == 24 and day is not None:
        return day + timedelta(days=1), 0
    if hour is not None and not 0 <= hour <= 23:
        findings.append(row.finding("not_an_hour", "an hour lies in 0 to 23", "hour", "Write the hour that begins"))
    if (day is None or hour is None) and len(findings) == before:
        column = "date" if day is None else "hour"
        findings.append(row.finding("no_time", f"the {column} is missing", column, "Write it, or remove the line"))
    return None if day is None or hour is None or len(findings) > before else (day, hour)


def _read_values(row: TableRow, table: Table, unit: str, findings: list[Finding]) -> FloatArray:
    """Temperature [°C], humidity [%] and rain [mm] of one line."""
    temperature = row.number(f"temp_{unit}", findings)
    if temperature is not None and unit == "f":
        temperature = float(convert_f_to_c(temperature))
    humidity = row.number("rh_pct", findings)
    rain = row.number("rain_mm", findings) if "rain_mm" in table.columns else None
    limits = (
        (f"temp_{unit}", temperature, COLDEST_C, HOTTEST_C, "no such air temperature was ever measured"),
        ("rh_pct", humidity, 0.0, 100.0, "humidity lies in 0 to 100 %"),
        ("rain_mm", rain, 0.0, np.inf, "rain cannot be below 0"),
    )
    for column, value, low, high, told in limits:
        if value is not None and not low <= value <= high:
            repair = "Leave the cell empty where nothing was measured"
            findings.append(row.finding("out_of_range", told, column, repair))
    return np.array([np.nan if value is None else value for value in (temperature, humidity, rain)])


LONGEST_GAP_H = 3
"""Readings every three hours still make a day (a choice of ours)."""


def _fill_short(hours: FloatArray) -> FloatArray:
    """(days, 24) with short gaps closed in a straight line over the days as they follow each other in the file."""
    flat = hours.ravel()
    known = np.flatnonzero(~np.isnan(flat))
    if len(known) < 2:
        return hours
    filled = np.interp(np.arange(len(flat)), known, flat[known], left=np.nan, right=np.nan)
    before = np.maximum.accumulate(np.where(np.isnan(flat), -1, np.arange(len(flat))))
    after = np.minimum.accumulate(np.where(np.isnan(flat), len(flat), np.arange(len(flat)))[::-1])[::-1]
    filled[after - before > LONGEST_GAP_H] = np.nan
    return filled.reshape(hours.shape)
