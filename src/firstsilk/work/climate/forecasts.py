"""What weather is forecast for the next days, and where does a forecast end?

Days after today are taken only as a forecast, at most sixteen of them. They are stored as what they are, a newer
forecast takes the place of the older one, and measured days take its place as they come. A forecast is never past
weather.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from django.db import transaction
from numpy.typing import NDArray

from firstsilk.answers import Finding, Place, refuse, stop_if_any
from firstsilk.records.models import Site, Station, WeatherDay
from firstsilk.science.climate.weather import check_days
from firstsilk.work.climate.readings import Readings
from firstsilk.work.climate.sent import DayReading
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_site, get_station

LONGEST_FORECAST_DAYS = 16
"""Days after today that are taken as a forecast: how far the longest public ones reach. Our own choice."""


@dataclass(frozen=True, slots=True)
class Forecast:
    """What became of a forecast for one site: days stored, older ones it took the place of, days passed over."""

    site: str
    n_days: int
    n_replaced: int
    n_passed: int
    first: date | None
    last: date | None
    basis: Basis

    def as_text(self) -> str:
        """What happened, as one sentence."""
        reach = f" ({self.first} to {self.last})" if self.first else ""
        text = f"{self.site}: {self.n_days} day{'' if self.n_days == 1 else 's'} of forecast{reach}"
        text += f", in place of {self.n_replaced} older" if self.n_replaced else ""
        passed = f"; {self.n_passed} not after today, or measured, were passed over" if self.n_passed else ""
        return f"{text}{passed}."


def add_forecast(on: Occasion, by_site: Mapping[str, Sequence[DayReading]], source: str) -> tuple[Forecast, ...]:
    """Store a forecast of the next days for some sites in place of their older ones: all or nothing.

    Parameters
    ----------
    on
        The occasion; only days after its `today` are forecast, others are passed over and counted.
    by_site
        Days by site code; an empty code is the home site.
    source
        What to call the source in findings where a reading has no place of its own.

    Raises
    ------
    InputRefused
        Naming every fault at once: no such site, a day twice, more than sixteen days ahead, crossed or impossible
        temperatures, a temperature missing; or if no day after today is left.

    Notes
    -----
    Checked by ``tests/work/test_weather_in.py``.
    """
    with transaction.atomic():
        station = Station.objects.select_for_update().get(pk=get_station(on.station).pk)
        places = {code: get_site(station, code) for code in by_site}
        ahead = {code: [one for one in days if one.day > on.today] for code, days in by_site.items()}
        stop_if_any(finding for days in ahead.values() for finding in _check(on, days, source))
        if not any(ahead.values()):
            message = f"There is no day after {on.today} to store as a forecast."
            raise refuse("no_days", message, "Measured days are added without the word forecast.")
        return tuple(_store(on, station, places[code], ahead[code], len(by_site[code])) for code in by_site)


def _check(on: Occasion, days: Sequence[DayReading], source: str) -> Iterator[Finding]:
    last = on.today + timedelta(days=LONGEST_FORECAST_DAYS)
    for one in days:
        place = Place(one.place.file or source, one.place.line, "date")
        if one.day > last:
            told = f"a forecast reaches {LONGEST_FORECAST_DAYS} days from {on.today} on, to {last}"
            yield Finding("day_far_ahead", told, place, str(one.day), "Check the date, or leave the day out")
        if one.tmin_c is None or one.tmax_c is None:
            yield Finding("no_temperature", "a forecast day has both temperatures", place, str(one.day), "Add it")
    low = np.array([np.nan if one.tmin_c is None else one.tmin_c for one in days])
    high = np.array([np.nan if one.tmax_c is None else one.tmax_c for one in days])
    told_as = {
        "day_twice": ("this day is there twice", "Keep one of the two lines"),
        "crossed": ("the minimum is above the maximum", "Check both; perhaps they are swapped"),
        "implausible": ("this temperature cannot be", "Check the unit"),
    }
    for fault in check_days([one.day for one in days], low, high):
        assert fault.index is not None
        one, (told, repair) = days[fault.index], told_as[fault.code]
        column = f"{fault.field}_c" if fault.field else "date"
        value = str(fault.day) if fault.value is None else f"{fault.value:.1f}"
        yield Finding(
            fault.code, f"{told} ({one.day})", Place(one.place.file or source, one.place.line, column), value, repair
        )


def _store(on: Occasion, station: Station, site: Site, days: Sequence[DayReading], n_sent: int) -> Forecast:
    older = WeatherDay.objects.filter(station=station, site=site, origin="forecast", date__gt=on.today)
    n_replaced, _ = older.delete()
    # Books that are looked at on an earlier day know what came after it.
    stored = WeatherDay.objects.filter(station=station, site=site, date__in=[one.day for one in days])
    known = set(stored.values_list("date", flat=True))
    days = [one for one in days if one.day not in known]
    WeatherDay.objects.bulk_create(
        WeatherDay(
            station=station,
            site=site,
            date=one.day,
            tmin_c=low,
            tmax_c=high,
            rain_mm=one.rain_mm,
            origin="forecast",
        )
        for one in days
        if (low := one.tmin_c) is not None and (high := one.tmax_c) is not None
    )
    span = [one.day for one in days]
    basis = Basis((("days sent", n_sent),))
    return Forecast(
        site.name, len(days), n_replaced, n_sent - len(days), min(span, default=None), max(span, default=None), basis
    )


@dataclass(frozen=True, slots=True)
class ForecastAhead:
    """The days after today that are forecast without a gap: `days`, `tmin_c` and `tmax_c` (days,) [°C]."""

    days: tuple[date, ...]
    tmin_c: NDArray[np.float64]
    tmax_c: NDArray[np.float64]


def read_forecast_ahead(station: Station, site: Site, today: date) -> ForecastAhead:
    """The forecast of the days after `today`, up to its first gap; empty if there is none for tomorrow. One query."""
    stored = WeatherDay.objects.filter(station=station, site=site, origin="forecast", date__gt=today)
    rows = list(stored.order_by("date").values_list("date", "tmin_c", "tmax_c")[:LONGEST_FORECAST_DAYS])
    whole = [row for step, row in enumerate(rows, 1) if row[0] == today + timedelta(days=step)]
    if not whole:
        return ForecastAhead((), np.zeros(0), np.zeros(0))
    days, low, high = zip(*whole, strict=True)
    return ForecastAhead(tuple(days), np.array(low), np.array(high))


def drop_forecast_before(given: Readings, first: date) -> Readings:
    """The same without forecast days before `first`: what was only forecast is no past weather."""
    kept = [
        at
        for at, (day, origin) in enumerate(zip(given.days, given.origins, strict=True))
        if day >= first or origin != "forecast"
    ]
    return given.only(kept)
