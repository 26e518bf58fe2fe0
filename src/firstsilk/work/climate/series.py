"""What was the weather, as arrays that the ground floor can work on?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from firstsilk.records.models import Site, Station, WeatherDay
from firstsilk.science.climate.heat import Scale, heat_units


@dataclass(frozen=True, slots=True)
class DailyHeat:
    """Daily heat units of one site up to and including a day.

    `days` (n,) in order; `units` (n,) in `scale`; `origins` (n,) ``measured``, ``filled`` or ``forecast``; `last` is
    None where there is no weather. A forecast day counts until it is measured, but is never part of a past year.
    """

    scale: Scale
    days: tuple[date, ...]
    units: NDArray[np.float64]
    origins: tuple[str, ...] = ()

    @property
    def last(self) -> date | None:
        """The last day known."""
        return self.days[-1] if self.days else None

    def between(self, after: date, up_to: date) -> float:
        """Units from the day after `after` to `up_to`, missing days counting nothing."""
        ordinals = np.array([day.toordinal() for day in self.days])
        inside = (ordinals > after.toordinal()) & (ordinals <= up_to.toordinal())
        return float(self.units[inside].sum())


def read_daily_heat(station: Station, site: Site, up_to: date) -> DailyHeat:
    """All daily heat units of a site up to a day, in the station's scale."""
    rows = list(
        WeatherDay.objects.filter(station=station, site=site, date__lte=up_to)
        .order_by("date")
        .values_list("date", "tmin_c", "tmax_c", "origin")
    )
    scale: Scale = station.scale  # type: ignore[assignment]
    if not rows:
        return DailyHeat(scale, (), np.zeros(0))
    days, tmin, tmax, origins = zip(*rows, strict=True)
    return DailyHeat(scale, tuple(days), heat_units(np.array(tmin), np.array(tmax), scale), tuple(origins))


def heat_by_year(
    heat: DailyHeat, start: tuple[int, int], n_days: int, before_year: int
) -> tuple[tuple[int, ...], NDArray[np.float64]]:
    """Daily units of each whole past year from a calendar date on.

    Parameters
    ----------
    heat
        Daily heat units of the site.
    start
        Month and day of column 0.
    n_days
        Days wanted from there on.
    before_year
        Only years before this one.

    Returns
    -------
    years, units
        Years (years,) with every day present, and their units (years, n_days).
    """
    forecast = {day for day, origin in zip(heat.days, heat.origins, strict=False) if origin == "forecast"}
    at = {day: index for index, day in enumerate(heat.days) if day not in forecast}
    years, rows = [], []
    for year in sorted({day.year for day in heat.days}):
        if year >= before_year:
            continue
        first = date(year, *start)
        span = [at.get(first + timedelta(days=step)) for step in range(n_days)]
        if None not in span:
            years.append(year)
            rows.append(heat.units[np.array(span)])
    return tuple(years), np.array(rows) if rows else np.zeros((0, n_days))


def normal_daily(heat: DailyHeat, after: date, n_days: int) -> NDArray[np.float64]:
    """Mean units of the days after `after` over past years (n_days,); empty if no past year has them all."""
    first = after + timedelta(days=1)
    start = (first.month, first.day if (first.month, first.day) != (2, 29) else 28)
    years, units = heat_by_year(heat, start, n_days, before_year=first.year)
    return units.mean(axis=0) if len(years) else np.zeros(0)
