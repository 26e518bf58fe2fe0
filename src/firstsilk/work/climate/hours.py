"""New hours of weather have come: which are new, and which days do they make?

Hours are stored as they are, all or nothing. A day is made of them only when all 24 are there; a day with fewer is
named and not made. A day that was measured already stays as it is: a thermometer read by hand sees extremes that fall
between the hours.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from django.db import transaction

from firstsilk.answers import Finding, Place, refuse, stop_if_any
from firstsilk.records.models import Site, Station, WeatherDay, WeatherHour
from firstsilk.work.climate.arrivals import SAME_WITHIN, Added, add_weather
from firstsilk.work.climate.sent import DayReading, HourReading
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_site, get_station

WHOLE_DAY_HOURS = 24
CHUNK = 500


@dataclass(frozen=True, slots=True)
class AddedHours:
    """What became of the hours of one site: new, there already, without a temperature; and the days made of them."""

    site: str
    n_added: int
    n_known: int
    n_empty: int
    days: Added | None
    findings: tuple[Finding, ...]
    basis: Basis

    def as_text(self) -> str:
        """What happened, as one sentence."""
        parts = [f"{self.n_added} hour{'' if self.n_added == 1 else 's'} added"]
        parts += [f"{self.n_known} there already"] if self.n_known else []
        parts += [f"{self.n_empty} passed over for a missing temperature"] if self.n_empty else []
        made = self.days.n_added + self.days.n_measured if self.days else 0
        parts.append(f"{made} day{'' if made == 1 else 's'} made of them")
        if self.days and self.days.n_filled:
            parts.append(f"{self.days.n_filled} filled in short holes, as asked")
        return f"{self.site}: {', '.join(parts)}."


@dataclass(frozen=True, slots=True)
class _Hour:
    """One clock hour: the mean of its readings, and their extremes."""

    temp_c: float
    low_c: float
    high_c: float
    rh_pct: float | None
    rain_mm: float | None
    place: Place


def add_hours(
    on: Occasion,
    by_site: Mapping[str, Sequence[HourReading]],
    source: str,
    *,
    fill: bool = False,
    keep_doubts: bool = False,
) -> tuple[AddedHours, ...]:
    """Add measured hours to the books, and the days that they make: all or nothing.

    Parameters
    ----------
    on
        The occasion: an hour after its `today` cannot have been measured.
    by_site
        Readings by site code; an empty code is the home site. Several in one clock hour become their mean.
    source
        What to call the source in findings where a reading has no place of its own.
    fill, keep_doubts
        As `firstsilk.work.climate.arrivals.add_weather_of_sites`, for the days that are made.

    Raises
    ------
    InputRefused
        Naming every fault at once: no such site, an hour in the future, another value for an hour already measured, or
        what is refused of the days.

    Notes
    -----
    Checked by ``tests/work/test_weather_hours.py``.
    """
    with transaction.atomic():
        station = Station.objects.select_for_update().get(pk=get_station(on.station).pk)
        if not any(by_site.values()):
            raise refuse("no_hours", "There is no hour to add.", "Send one line for each hour.")
        return tuple(
            _add(on, station, get_site(station, code), readings, source, fill, keep_doubts)
            for code, readings in by_site.items()
        )


def _add(
    on: Occasion,
    station: Station,
    site: Site,
    readings: Sequence[HourReading],
    source: str,
    fill: bool,
    keep_doubts: bool,
) -> AddedHours:
    stop_if_any(_check_future(on, readings, source))
    hours = _gather(readings)
    there = _read_stored(station, site, {day for day, _ in hours})
    stop_if_any(_find_differences(site, hours, there, source))
    new = [key for key in hours if key not in there]
    WeatherHour.objects.bulk_create(
        [
            WeatherHour(
                station=station,
                site=site,
                date=day,
                hour=hour,
                temp_c=hours[day, hour].temp_c,
                rh_pct=hours[day, hour].rh_pct,
                rain_mm=hours[day, hour].rain_mm,
            )
            for day, hour in new
        ],
        batch_size=CHUNK,
    )
    whole, short = _make_days(hours, there)
    already = WeatherDay.objects.filter(
        station=station, site=site, origin="measured", date__in=[one.day for one in whole]
    )
    measured = set(already.values_list("date", flat=True))
    fresh = [one for one in whole if one.day not in measured]
    added = add_weather(on, site.code, fresh, source, fill=fill, keep_doubts=keep_doubts) if fresh else None
    told = tuple(_tell_short(site, short, hours, source))
    return AddedHours(
        site=site.name,
        n_added=len(new),
        n_known=len(hours) - len(new),
        n_empty=sum(one.temp_c is None for one in readings),
        days=added,
        findings=(*told, *(added.findings if added else ())),
        basis=Basis((("hours sent", len(readings)),), tuple(one.message for one in told)),
    )


def _check_future(on: Occasion, readings: Sequence[HourReading], source: str) -> Iterator[Finding]:
    for one in readings:
        if one.day > on.today:
            message = f"this day has not come yet: today is {on.today}"
            place = Place(one.place.file or source, one.place.line, one.place.column)
            yield Finding("day_ahead", message, place, f"{one.day} {one.hour:02d}:00", "Check the year")


def _gather(readings: Sequence[HourReading]) -> dict[tuple[date, int], _Hour]:
    """Readings with a temperature by day and hour."""
    groups: dict[tuple[date, int], list[HourReading]] = defaultdict(list)
    for one in readings:
        if one.temp_c is not None:
            groups[one.day, one.hour].append(one)
    return {key: _mean(group) for key, group in sorted(groups.items())}


def _mean(group: list[HourReading]) -> _Hour:
    temps = [one.temp_c for one in group if one.temp_c is not None]
    humid = [one.rh_pct for one in group if one.rh_pct is not None]
    rain = [one.rain_mm for one in group if one.rain_mm is not None]
    return _Hour(
        temp_c=round(float(np.mean(temps)), 2),
        low_c=round(min(temps), 2),
        high_c=round(max(temps), 2),
        rh_pct=round(float(np.mean(humid)), 1) if humid else None,
        rain_mm=round(sum(rain), 2) if rain else None,
        place=group[0].place,
    )


def _read_stored(station: Station, site: Site, days: set[date]) -> dict[tuple[date, int], _Hour]:
    if not days:
        return {}
    stored = WeatherHour.objects.filter(
        station=station, site=site, origin="measured", date__range=(min(days), max(days))
    )
    rows = stored.values_list("date", "hour", "temp_c", "rh_pct", "rain_mm")
    return {
        (day, hour): _Hour(temp, temp, temp, humidity, rain, Place())
        for day, hour, temp, humidity, rain in rows
        if day in days
    }


def _find_differences(
    site: Site, hours: dict[tuple[date, int], _Hour], there: dict[tuple[date, int], _Hour], source: str
) -> Iterator[Finding]:
    for key, sent in hours.items():
        stored = there.get(key)
        if stored is not None and abs(stored.temp_c - sent.temp_c) > SAME_WITHIN:
            day, hour = key
            yield Finding(
                "hour_differs",
                f"the books hold another value for {day} {hour:02d}:00 at {site.name}: {stored.temp_c:g}",
                Place(sent.place.file or source, sent.place.line, "temp_c"),
                f"{sent.temp_c:g}",
                "Find out which is right; a measured hour in the books is not overwritten",
            )


def _make_days(
    hours: dict[tuple[date, int], _Hour], there: dict[tuple[date, int], _Hour]
) -> tuple[list[DayReading], dict[date, int]]:
    """Days of which all hours are known, from this file or the books; and the hours known of the others."""
    by_day: dict[date, dict[int, _Hour]] = defaultdict(dict)
    for (day, hour), one in (*there.items(), *hours.items()):
        by_day[day][hour] = one
    whole: list[DayReading] = []
    short: dict[date, int] = {}
    for day, known in sorted(by_day.items()):
        if len(known) < WHOLE_DAY_HOURS:
            short[day] = len(known)
            continue
        rain = [one.rain_mm for one in known.values()]
        fallen = None if None in rain else round(sum(value for value in rain if value is not None), 2)
        place = replace(next(iter(hours[key].place for key in hours if key[0] == day)), column="temp_c")
        low, high = min(one.low_c for one in known.values()), max(one.high_c for one in known.values())
        whole.append(DayReading(day, low, high, fallen, place))
    return whole, short


def _tell_short(
    site: Site, short: dict[date, int], hours: dict[tuple[date, int], _Hour], source: str
) -> Iterator[Finding]:
    for day, count in short.items():
        place = next(one.place for key, one in hours.items() if key[0] == day)
        yield Finding(
            "day_not_whole",
            f"{day} has {count} of {WHOLE_DAY_HOURS} hours at {site.name}; its day is not made yet",
            Place(place.file or source, place.line, place.column),
            str(day),
            "Send the missing hours when they are known",
            stops=False,
        )
