"""How does a file of daily weather become days and temperatures, with every fault named at once?

Columns ``date, tmin_c, tmax_c`` or ``date, tmin_f, tmax_f``; ``site`` and ``rain_mm`` if there. The names of the ICASA
data standard, ``W_DATE, TMIN, TMAX, RAIN`` (°C, mm), are taken too. Lines may stand in any order.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np

from firstsilk.answers import Finding, Place, stop_if_any
from firstsilk.faces.files.tables import Table, TableRow, read_table
from firstsilk.science.climate.heat import FloatArray, Unit, convert_f_to_c
from firstsilk.science.climate.weather import DayFault, check_days

ICASA_NAMES = {"date": "W_DATE", "tmin_c": "TMIN", "tmax_c": "TMAX", "rain_mm": "RAIN"}
"""Our column and its name in the ICASA master variable list."""
LEAST_SWAPPED_DAYS, SWAPPED_SHARE = 5, 0.8
"""With so many days, and such a share of them, crossed, the two columns are taken for swapped. Our own choices."""


@dataclass(frozen=True, slots=True)
class SiteWeather:
    """The days of one site in order; arrays are (days,), temperatures in the file's unit, NaN = missing."""

    site: str
    days: tuple[date, ...]
    lines: tuple[int, ...]
    tmin: FloatArray
    tmax: FloatArray
    rain_mm: FloatArray | None


@dataclass(frozen=True, slots=True)
class Weather:
    """A weather file: its name, the unit of its temperatures (``c`` or ``f``), its columns, its sites in order."""

    file: str
    unit: Unit
    columns: WeatherColumns
    sites: tuple[SiteWeather, ...]

    @property
    def has_site(self) -> bool:
        """Whether the file names sites."""
        return bool(self.columns.site)


@dataclass(frozen=True, slots=True)
class WeatherColumns:
    """What each column is called in this file; empty if it has none."""

    date: str
    tmin: str
    tmax: str
    site: str
    rain: str


@dataclass(frozen=True, slots=True)
class _Record:
    row: TableRow
    site: str
    day: date
    tmin: float
    tmax: float
    rain_mm: float


def read_weather(path: str | Path, name: str = "") -> Weather:
    """Read daily weather from a CSV, XLSX or Parquet file.

    Parameters
    ----------
    path
        The file; ``-`` is standard input, as CSV.
    name
        The name to use in complaints; the file's own if empty.

    Returns
    -------
    Weather
        Sites in the order in which they first appear, days in order. An empty temperature is missing, not a fault.

    Raises
    ------
    InputRefused
        Naming all of these at once: a missing column, a cell that is no date or number, a day twice at one site, a
        minimum above its maximum, a temperature that cannot be; or if there is no day at all.
    """
    return weather_from_table(read_table(path, name))


def weather_from_table(table: Table) -> Weather:
    """Read daily weather from a table that was read already; same promises as `read_weather`."""
    columns, unit = _find_columns(table)
    findings: list[Finding] = []
    records = [record for row in table.rows if (record := _read_record(row, columns, findings)) is not None]
    by_site: dict[str, list[_Record]] = {}
    for record in records:
        by_site.setdefault(record.site, []).append(record)
    for group in by_site.values():
        findings += _check_site(group, columns, unit)
    if not table.rows:
        findings.append(
            Finding("no_days", "there is no day in this file", Place(table.file), repair="Add one line for each day")
        )
    stop_if_any(sorted(findings, key=lambda finding: finding.place.line or 0))
    sites = tuple(_site_weather(site, group, bool(columns.rain)) for site, group in by_site.items())
    return Weather(table.file, unit, columns, sites)


def _find_columns(table: Table) -> tuple[WeatherColumns, Unit]:
    """Find out what the columns are called, and in which unit the temperatures are."""

    def called(ours: str) -> str:
        return next((name for name in (ours, ICASA_NAMES.get(ours, "")) if name and name in table.columns), "")

    both = [ours for ours in ("tmin_f", "tmax_f") if called(ours) and called(ours[:-1] + "c")]
    stop_if_any(
        Finding(
            "unit_twice",
            f"columns {called(ours[:-1] + 'c')!r} and {ours!r} are both there",
            Place(table.file, 1, ours),
            repair="Keep the Celsius columns or the Fahrenheit columns, not both",
        )
        for ours in both
    )
    unit: Unit = "f" if called("tmin_f") or called("tmax_f") else "c"
    wanted = ("date", f"tmin_{unit}", f"tmax_{unit}")
    table.need(*(ours for ours in wanted if not called(ours)))
    day, tmin, tmax = (called(ours) for ours in wanted)
    return WeatherColumns(day, tmin, tmax, called("site"), called("rain_mm")), unit


def _read_record(row: TableRow, columns: WeatherColumns, findings: list[Finding]) -> _Record | None:
    """Read one line; None, with findings added, if it cannot be placed."""
    day = row.day(columns.date, findings)
    if not row.text(columns.date):
        findings.append(row.finding("no_date", "the date is missing", columns.date, "Write it, or remove the line"))
    if columns.site and not row.text(columns.site):
        findings.append(row.finding("no_site", "the site is missing", columns.site, "Write the site on every line"))
    tmin, tmax = row.number(columns.tmin, findings), row.number(columns.tmax, findings)
    rain = row.number(columns.rain, findings) if columns.rain else None
    if rain is not None and rain < 0:
        findings.append(
            row.finding("negative_rain", "rain cannot be below 0", columns.rain, "Leave the cell empty if not known")
        )
    if day is None:
        return None
    low, high, wet = (np.nan if value is None else value for value in (tmin, tmax, rain))
    return _Record(row, row.text(columns.site) if columns.site else "", day, low, high, wet)


def _check_site(records: list[_Record], columns: WeatherColumns, unit: Unit) -> Iterator[Finding]:
    """Say what is wrong with the days of one site."""
    low = np.array([record.tmin for record in records])
    high = np.array([record.tmax for record in records])
    if unit == "f":
        low, high = convert_f_to_c(low), convert_f_to_c(high)
    days = [record.day for record in records]
    first_line: dict[date, int] = {}
    for record in records:
        first_line.setdefault(record.day, record.row.line)
    faults = check_days(days, low, high)
    crossed = sum(fault.code == "crossed" for fault in faults)
    if crossed >= LEAST_SWAPPED_DAYS and crossed >= SWAPPED_SHARE * np.isfinite(low - high).sum():
        yield _tell_swapped(records, columns, crossed)
        faults = tuple(fault for fault in faults if fault.code != "crossed")
    for fault in faults:
        yield _tell_fault(fault, records, first_line, columns, unit)


def _tell_swapped(records: list[_Record], columns: WeatherColumns, crossed: int) -> Finding:
    record = records[0]
    at_site = f" at site {record.site}" if record.site else ""
    message = f"the minimum is above the maximum on {crossed} of {len(records)} days{at_site}: the columns are swapped"
    repair = f"Name the column {columns.tmin} {columns.tmax}, and the other way round"
    return Finding("columns_swapped", message, Place(record.row.file, 1, columns.tmin), repair=repair)


def _tell_fault(
    fault: DayFault, records: list[_Record], first_line: dict[date, int], columns: WeatherColumns, unit: Unit
) -> Finding:
    assert fault.index is not None
    record = records[fault.index]
    at_site = f" at site {record.site}" if record.site else ""
    if fault.code == "day_twice":
        message = f"the day {fault.day} is there twice{at_site}, first on line {first_line[fault.day]}"
        return record.row.finding(fault.code, message, columns.date, "Remove one of the two lines")
    if fault.code == "crossed":
        text = record.row.text(columns.tmax)
        message = f"the minimum is above the maximum on {fault.day}{at_site} ({columns.tmax} is {text})"
        return record.row.finding(fault.code, message, columns.tmin, "Check both; perhaps they are swapped")
    column = columns.tmin if fault.field == "tmin" else columns.tmax
    message = f"this temperature in °{unit.upper()} cannot be, on {fault.day}{at_site}"
    repair = (
        "Leave the cell empty if it is not known; name the columns tmin_f and tmax_f if they are in °F; "
        "divide by ten if they are tenths of a degree"
    )
    return record.row.finding(fault.code, message, column, repair)


def _site_weather(site: str, records: list[_Record], has_rain: bool) -> SiteWeather:
    ordered = sorted(records, key=lambda record: record.day)
    return SiteWeather(
        site=site,
        days=tuple(record.day for record in ordered),
        lines=tuple(record.row.line for record in ordered),
        tmin=np.array([record.tmin for record in ordered], dtype=np.float64),
        tmax=np.array([record.tmax for record in ordered], dtype=np.float64),
        rain_mm=np.array([record.rain_mm for record in ordered], dtype=np.float64) if has_rain else None,
    )
