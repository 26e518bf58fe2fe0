"""Which days of weather do the books hold for a site, as of a day, and how sure is each?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from firstsilk.records.models import Site, Station, WeatherDay
from firstsilk.science.climate.weather import fill_missing_days

LONGEST_FILL_DAYS = 5
"""A hole of up to so many days is filled in a straight line; a longer one stops the running total. Our own choice."""


@dataclass(frozen=True, slots=True)
class Readings:
    """The days of one site in order.

    `days` (n,), `tmin_c` and `tmax_c` (n,) [°C], `rain_mm` (n,) [mm], NaN unknown, `origins` (n,): ``measured``,
    ``filled`` or ``forecast``.
    """

    days: tuple[date, ...]
    tmin_c: NDArray[np.float64]
    tmax_c: NDArray[np.float64]
    rain_mm: NDArray[np.float64]
    origins: tuple[str, ...]

    @property
    def last_measured(self) -> date | None:
        """The last day with a reading of its own."""
        pairs = zip(reversed(self.days), reversed(self.origins), strict=True)
        return next((day for day, origin in pairs if origin == "measured"), None)

    def without_year(self, year: int) -> Readings:
        """The same without the days of one calendar year."""
        return self.only([at for at, day in enumerate(self.days) if day.year != year])

    def without_forecast(self) -> Readings:
        """The same without days that were forecast and never measured: they are no past weather."""
        return self.only([at for at, origin in enumerate(self.origins) if origin != "forecast"])

    def followed_by(self, days: tuple[date, ...], tmin_c: NDArray[np.float64], tmax_c: NDArray[np.float64]) -> Readings:
        """The same and, after them, days that are forecast."""
        return Readings(
            (*self.days, *days),
            np.concatenate([self.tmin_c, tmin_c]),
            np.concatenate([self.tmax_c, tmax_c]),
            np.concatenate([self.rain_mm, np.full(len(days), np.nan)]),
            (*self.origins, *("forecast" for _ in days)),
        )

    def only(self, kept: list[int]) -> Readings:
        """The days at these places."""
        at = np.array(kept, dtype=np.intp)
        return Readings(
            tuple(self.days[one] for one in kept),
            self.tmin_c[at],
            self.tmax_c[at],
            self.rain_mm[at],
            tuple(self.origins[one] for one in kept),
        )


def read_readings(station: Station, site: Site, up_to: date) -> Readings:
    """All days of a site up to a day."""
    rows = list(
        WeatherDay.objects.filter(station=station, site=site, date__lte=up_to)
        .order_by("date")
        .values_list("date", "tmin_c", "tmax_c", "rain_mm", "origin")
    )
    if not rows:
        return Readings((), np.zeros(0), np.zeros(0), np.zeros(0), ())
    days, tmin, tmax, rain, origins = zip(*rows, strict=True)
    wet = np.array([np.nan if one is None else one for one in rain], dtype=np.float64)
    return Readings(tuple(days), np.array(tmin), np.array(tmax), wet, tuple(origins))


def fill_short_holes(given: Readings) -> tuple[Readings, tuple[tuple[date, date], ...]]:
    """Fill holes of up to `LONGEST_FILL_DAYS`, marking those days as filled; name the longer holes, left open."""
    if not given.days:
        return given, ()
    filled = fill_missing_days(given.days, given.tmin_c, given.tmax_c)
    long = tuple(hole for hole in find_holes(given.days) if (hole[1] - hole[0]).days >= LONGEST_FILL_DAYS)
    left = {day for first, last in long for day in days_from(first, last)}
    origin = dict(zip(given.days, given.origins, strict=True))
    rain = dict(zip(given.days, given.rain_mm.tolist(), strict=True))
    whole = Readings(
        filled.days,
        filled.tmin,
        filled.tmax,
        np.array([rain.get(day, np.nan) for day in filled.days]),
        tuple(origin.get(day, "filled") for day in filled.days),
    )
    return whole.only([at for at, day in enumerate(filled.days) if day not in left]), long


def find_holes(days: tuple[date, ...]) -> tuple[tuple[date, date], ...]:
    """First and last day of each run of missing days between the first and last of `days`, which are in order."""
    one = timedelta(days=1)
    return tuple((before + one, after - one) for before, after in pairwise(days) if after - before > one)


def days_from(first: date, last: date) -> list[date]:
    """Every day from first to last, both included."""
    return [first + timedelta(days=step) for step in range((last - first).days + 1)]
