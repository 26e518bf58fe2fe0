"""How does a file of weather, whatever it holds, come into the books?

One way for the command, the page and the feeds: hours, days or a forecast, told apart by the columns and by what was
asked; all or nothing.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from firstsilk.answers import Finding, Place, refuse
from firstsilk.faces.files.daily_readings import readings_by_site
from firstsilk.faces.files.hours import Hour, hours_from_table, is_hourly
from firstsilk.faces.files.tables import Table
from firstsilk.faces.files.weather import weather_from_table
from firstsilk.work.climate.arrivals import Added, add_weather_of_sites
from firstsilk.work.climate.forecasts import Forecast, add_forecast
from firstsilk.work.climate.hours import AddedHours, add_hours
from firstsilk.work.climate.sent import HourReading
from firstsilk.work.occasion import Occasion


@dataclass(frozen=True, slots=True)
class Asked:
    """How a weather file is to be taken: `site` a code (of a file that names none, or the only one taken).

    `before_hour` holds the hour that runs at the station for a file that nobody looks at: then days from today on, and
    hours from that hour of today on, are passed over, since they are still growing; the hour None passes over no hour.
    """

    site: str = ""
    hourly: bool = False
    forecast: bool = False
    fill: bool = False
    keep_doubts: bool = False
    before_hour: tuple[int | None, ...] = ()


@dataclass(frozen=True, slots=True)
class Taken:
    """What became of a file: what kind it was (``days``, ``hours``, ``forecast``), and of each site."""

    kind: str
    sites: tuple[Added | AddedHours | Forecast, ...]

    @property
    def sentences(self) -> tuple[str, ...]:
        """What happened, one sentence for each site."""
        return tuple(one.as_text() for one in self.sites)

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What warns."""
        return tuple(finding for one in self.sites if not isinstance(one, Forecast) for finding in one.findings)

    @property
    def n_new(self) -> int:
        """Days that are new in the books, and hours where the file held hours."""
        return sum(one.n_days if isinstance(one, Forecast) else one.n_added for one in self.sites)


def take_weather(on: Occasion, table: Table, asked: Asked) -> Taken:
    """Take a table of weather into the books, as days, hours or a forecast: all of it or nothing.

    Raises
    ------
    InputRefused
        Naming every fault at once, with file, line, column, value and repair.
    """
    hourly = asked.hourly or is_hourly(table)
    if hourly and asked.forecast:
        raise refuse("forecast_hourly", "A forecast is taken by days.", "Make days of it first: firstsilk daily.")
    if hourly:
        hours = _hours_by_site(table.file, hours_from_table(table), asked.site)
        hours = {code: [one for one in given if _is_over(on, asked, one)] for code, given in hours.items()}
        _need_site(hours, table, asked.site)
        taken = add_hours(on, hours, table.file, fill=asked.fill, keep_doubts=asked.keep_doubts)
        return Taken("hours", taken)
    days = readings_by_site(weather_from_table(table), asked.site)
    _need_site(days, table, asked.site)
    if asked.before_hour:
        days = {code: tuple(one for one in given if one.day < on.today) for code, given in days.items()}
    if asked.forecast:
        return Taken("forecast", add_forecast(on, days, table.file))
    return Taken("days", add_weather_of_sites(on, days, table.file, fill=asked.fill, keep_doubts=asked.keep_doubts))


def _is_over(on: Occasion, asked: Asked, one: HourReading) -> bool:
    """Whether an hour is taken: all where a person sent the file, only those gone by where nobody did."""
    if not asked.before_hour:
        return True
    hour = asked.before_hour[0]
    return one.day < on.today or (one.day == on.today and (hour is None or one.hour < hour))


def _need_site(given: object, table: Table, site: str) -> None:
    if not given:
        raise refuse("site_not_in_file", f"There is no day of site {site!r} in {table.file}.", "Check the site's code.")


def _hours_by_site(file: str, hours: Sequence[Hour], only: str) -> dict[str, list[HourReading]]:
    """Hours by site code; a file that names no site is of `only`, one that names sites is taken for `only` alone."""
    by_site: dict[str, list[HourReading]] = defaultdict(list)
    for one in hours:
        if one.site and only not in ("", one.site):
            continue
        place = Place(file, one.line)
        temp = None if one.temp_c is None else round(one.temp_c, 2)
        reading = HourReading(one.time.date(), one.time.hour, temp, one.rh_pct, one.rain_mm, place)
        by_site[one.site or only].append(reading)
    return dict(by_site)
