"""How does a file of hours become days whose every hour can be counted?"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

from firstsilk.answers import stop_if_any
from firstsilk.faces.command.giving import say
from firstsilk.faces.command.heat_spans import HOURS_COLUMN

if TYPE_CHECKING:
    from firstsilk.faces.files.hours import Hour, HourlyDay
    from firstsilk.faces.files.weather import SiteWeather, Weather
    from firstsilk.science.climate.temperatures import FloatArray


@dataclass(frozen=True, slots=True)
class HourlyWeather:
    """Days made from hours: their extremes as `weather` [°C], and the hours (24,) of each site and day [°C]."""

    weather: Weather
    hours: dict[tuple[str, date], FloatArray]

    def grid(self, site: str, days: tuple[date, ...]) -> FloatArray:
        """The hours of days that are all there (days, 24)."""
        import numpy as np

        return np.array([self.hours[(site, day)] for day in days]).reshape(len(days), 24)


def read_hourly_weather(path: str) -> HourlyWeather:
    """Read hourly readings; days with fewer than 20 hours are named on standard error and left out.

    Raises
    ------
    InputRefused
        Naming what is wrong with the file, or if no day has hours enough.
    """
    from firstsilk.faces.files.hours import gather_days, read_hours
    from firstsilk.faces.files.weather import Weather, WeatherColumns

    file, hours = read_hours(path)
    days, left_out = gather_days(hours, file)
    if not days:
        stop_if_any(replace(finding, stops=True) for finding in left_out)
    for finding in left_out:
        say(f"warns: {finding.as_text()}")
    has_site = any(hour.site for hour in hours)
    columns = WeatherColumns(HOURS_COLUMN, "temp_c", "temp_c", "site" if has_site else "", "")
    line_of = {(hour.site, hour.time.date()): hour.line for hour in reversed(hours)}
    by_site: dict[str, list[HourlyDay]] = {}
    for day in days:
        by_site.setdefault(day.site, []).append(day)
    sites = tuple(_site_weather(site, group, line_of) for site, group in by_site.items())
    kept = {(day.site, day.date) for day in days}
    return HourlyWeather(Weather(file, "c", columns, sites), _gather_hours(hours, kept))


def _site_weather(site: str, days: list[HourlyDay], line_of: dict[tuple[str, date], int]) -> SiteWeather:
    import numpy as np

    from firstsilk.faces.files.weather import SiteWeather

    return SiteWeather(
        site=site,
        days=tuple(day.date for day in days),
        lines=tuple(line_of[(site, day.date)] for day in days),
        tmin=np.array([day.tmin_c for day in days]),
        tmax=np.array([day.tmax_c for day in days]),
        rain_mm=None,
    )


def _gather_hours(hours: tuple[Hour, ...], kept: set[tuple[str, date]]) -> dict[tuple[str, date], FloatArray]:
    """Temperatures of the 24 clock hours of each day kept: the mean of the readings in an hour, NaN where none is."""
    import numpy as np

    sums = {key: np.zeros((2, 24)) for key in kept}
    for hour in hours:
        key = (hour.site, hour.time.date())
        if hour.temp_c is not None and key in kept:
            sums[key][:, hour.time.hour] += hour.temp_c, 1.0
    return {key: np.where(n > 0, total / np.maximum(n, 1.0), np.nan) for key, (total, n) in sums.items()}
