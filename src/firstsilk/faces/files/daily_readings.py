"""How does a weather file become the days that the books take?"""

from __future__ import annotations

import math

import numpy as np

from firstsilk.answers import Place
from firstsilk.faces.files.weather import SiteWeather, Weather
from firstsilk.science.climate.heat import convert_f_to_c
from firstsilk.work.climate.sent import DayReading

DECIMALS = 2
"""Temperatures are kept to a hundredth of a degree Celsius, finer than any shelter thermometer."""


def readings_by_site(weather: Weather, only: str = "") -> dict[str, tuple[DayReading, ...]]:
    """The days of a weather file by site code, in °C.

    Parameters
    ----------
    weather
        The file as it was read.
    only
        A site code: the site of a file that names none; of one that names sites, the only one taken.
    """
    if not weather.has_site:
        return {only: _readings(weather, weather.sites[0])}
    return {site.site: _readings(weather, site) for site in weather.sites if only in ("", site.site)}


def _readings(weather: Weather, site: SiteWeather) -> tuple[DayReading, ...]:
    low, high = (convert_f_to_c(one) if weather.unit == "f" else one for one in (site.tmin, site.tmax))
    rain = site.rain_mm if site.rain_mm is not None else np.full(len(site.days), np.nan)
    return tuple(
        DayReading(day, _known(tmin), _known(tmax), _known(wet), Place(weather.file, line))
        for day, line, tmin, tmax, wet in zip(
            site.days, site.lines, low.tolist(), high.tolist(), rain.tolist(), strict=True
        )
    )


def _known(value: float) -> float | None:
    return None if math.isnan(value) else round(value, DECIMALS)
