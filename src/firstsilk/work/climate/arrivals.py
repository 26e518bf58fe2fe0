"""New weather has come: does it fit what the books hold, and what became of each day?

All or nothing. A day that is there already with the same values is recognised; a different value for a measured day is
a finding that stops, since a station has one weather and somebody must look which is right. What is hard to believe is
said (`firstsilk.work.climate.quality`). A hole is named, and filled only when that is asked for; such a day is marked.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from django.db import transaction

from firstsilk.answers import Finding, Place, refuse, stop_if_any
from firstsilk.records.models import Site, Station, WeatherDay
from firstsilk.science.climate.weather import check_days
from firstsilk.work.climate.quality import doubt_days
from firstsilk.work.climate.readings import LONGEST_FILL_DAYS, Readings, fill_short_holes, find_holes, read_readings
from firstsilk.work.climate.sent import DayReading
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_site, get_station

SAME_WITHIN = 0.05
"""Two readings of a day this close [°C or mm] are the same, told to a tenth or changed from °F. Our own choice."""


@dataclass(frozen=True, slots=True)
class Added:
    """What became of the days sent for one site.

    `n_added` are new, `n_known` were there with the same values, `n_completed` of those got their rain, `n_measured`
    stood there filled or forecast and are measured now, `n_empty` had a temperature missing and were passed over,
    `n_filled` lay in short holes and were filled because that was asked for.
    """

    site: str
    n_added: int
    n_known: int
    n_completed: int
    n_measured: int
    n_empty: int
    first: date | None
    last: date | None
    findings: tuple[Finding, ...]
    basis: Basis
    n_filled: int = 0

    def as_text(self) -> str:
        """What happened, as one sentence."""
        parts = [f"{self.n_added} day{'' if self.n_added == 1 else 's'} added"]
        for number, what in (
            (self.n_known, "there already"),
            (self.n_completed, "completed with rain"),
            (self.n_measured, "measured now, filled or forecast before"),
            (self.n_empty, "passed over for a missing temperature"),
            (self.n_filled, "filled in short holes, as asked"),
        ):
            if number:
                parts.append(f"{number} {what}")
        return f"{self.site}: {', '.join(parts)}."


@dataclass(frozen=True, slots=True)
class _Sorted:
    new: tuple[DayReading, ...]
    known: int
    rain: tuple[tuple[WeatherDay, float], ...]
    measured: tuple[tuple[WeatherDay, DayReading], ...]
    empty: int
    findings: tuple[Finding, ...]


def add_weather(
    on: Occasion,
    site: str,
    days: Sequence[DayReading],
    source: str,
    *,
    fill: bool = False,
    keep_doubts: bool = False,
) -> Added:
    """Add measured days of one site to the books. As `add_weather_of_sites` for one site."""
    return add_weather_of_sites(on, {site: days}, source, fill=fill, keep_doubts=keep_doubts)[0]


def add_weather_of_sites(
    on: Occasion,
    by_site: Mapping[str, Sequence[DayReading]],
    source: str,
    *,
    fill: bool = False,
    keep_doubts: bool = False,
) -> tuple[Added, ...]:
    """Add measured days to the books, for several sites at once: all or nothing.

    Parameters
    ----------
    on
        The occasion: a day after its `today` cannot have been measured.
    by_site
        Days by site code, any order; an empty code is the home site.
    source
        What to call the source in findings where a reading has no place of its own.
    fill
        Fill holes of up to `LONGEST_FILL_DAYS` beside the days sent in a straight line, marked as filled.
    keep_doubts
        Take days that are hard to believe even where a whole stretch is doubted: a person has looked.

    Returns
    -------
    tuple of Added
        One for each site, with the findings that only warn: doubts, and holes beside the new days.

    Raises
    ------
    InputRefused
        Naming every fault at once: no such site, a day twice, in the future, crossed or impossible temperatures,
        another value for a day already measured, or a stretch of days in another unit, at other dates, or copied.

    Notes
    -----
    Checked by tests/work/test_climate_work.py and tests/work/test_weather_in.py.
    """
    with transaction.atomic():
        # The station's row is locked first: two files at once are read one after the other.
        station = Station.objects.select_for_update().get(pk=get_station(on.station).pk)
        places = {code: get_site(station, code) for code in by_site}
        sorted_days = {code: _sort_days(on, places[code], by_site[code], source) for code in by_site}
        stop_if_any(finding for told in sorted_days.values() for finding in told.findings)
        if not any(by_site.values()):
            raise refuse("no_days", "There is no day to add.", "Send one line for each day.")
        doubts = {
            code: _doubt(station, places[code], told, source, on, keep_doubts) for code, told in sorted_days.items()
        }
        stop_if_any(finding for told in doubts.values() for finding in told)
        return tuple(
            _store(station, places[code], sorted_days[code], by_site[code], doubts[code], fill) for code in by_site
        )


def _doubt(
    station: Station, site: Site, told: _Sorted, source: str, on: Occasion, keep_doubts: bool
) -> tuple[Finding, ...]:
    fresh = [*told.new, *(reading for _, reading in told.measured)]
    if not fresh:
        return ()
    known = read_readings(station, site, on.today)
    measured = known.only([at for at, origin in enumerate(known.origins) if origin == "measured"])
    return doubt_days(site, measured, fresh, source, keep_doubts)


def _sort_days(on: Occasion, site: Site, days: Sequence[DayReading], source: str) -> _Sorted:
    """Set the days sent against the books; nothing is written."""
    findings = list(_check_given(on, days, source))
    span = [reading.day for reading in days]
    there: dict[date, WeatherDay] = {}
    if span:
        stored = WeatherDay.objects.filter(station=site.station_id, site=site, date__range=(min(span), max(span)))
        there = {one.date: one for one in stored}
    new: list[DayReading] = []
    rain: list[tuple[WeatherDay, float]] = []
    measured: list[tuple[WeatherDay, DayReading]] = []
    known = empty = 0
    for reading in days:
        stored_day = there.get(reading.day)
        if reading.tmin_c is None or reading.tmax_c is None:
            empty += 1
        elif stored_day is None:
            new.append(reading)
        elif stored_day.origin != "measured":
            measured.append((stored_day, reading))
        else:
            findings += _find_differences(stored_day, reading, site, source)
            known += 1
            if reading.rain_mm is not None and stored_day.rain_mm is None:
                rain.append((stored_day, reading.rain_mm))
    return _Sorted(tuple(new), known, tuple(rain), tuple(measured), empty, tuple(findings))


def _place(reading: DayReading, source: str, column: str) -> Place:
    return Place(reading.place.file or source, reading.place.line, column)


def _check_given(on: Occasion, days: Sequence[DayReading], source: str) -> Iterator[Finding]:
    low = np.array([math.nan if one.tmin_c is None else one.tmin_c for one in days])
    high = np.array([math.nan if one.tmax_c is None else one.tmax_c for one in days])
    told = {
        "day_twice": ("this day is there twice", "Keep one of the two lines", "date"),
        "crossed": ("the minimum is above the maximum", "Check both; perhaps they are swapped", "tmin_c"),
        "implausible": ("this temperature cannot be", "Leave it empty if it is not known", ""),
    }
    for fault in check_days([one.day for one in days], low, high):
        assert fault.index is not None
        message, repair, column = told[fault.code]
        value = str(fault.day) if fault.value is None else f"{fault.value:.1f}"
        place = _place(days[fault.index], source, column or f"{fault.field}_c")
        yield Finding(fault.code, f"{message} ({fault.day})", place, value, repair)
    for one in days:
        if one.day > on.today:
            message = f"this day has not come yet: today is {on.today}"
            yield Finding("day_ahead", message, _place(one, source, "date"), str(one.day), "Check the year")
        if one.rain_mm is not None and not 0 <= one.rain_mm < math.inf:
            place = _place(one, source, "rain_mm")
            yield Finding("negative_rain", "rain cannot be below 0", place, str(one.rain_mm), "Leave it empty")


def _find_differences(stored: WeatherDay, sent: DayReading, site: Site, source: str) -> Iterator[Finding]:
    for column in ("tmin_c", "tmax_c", "rain_mm"):
        ours, theirs = getattr(stored, column), getattr(sent, column)
        if ours is not None and theirs is not None and abs(ours - theirs) > SAME_WITHIN:
            yield Finding(
                "day_differs",
                f"the books hold another value for {stored.date} at {site.name}: {ours:g}",
                _place(sent, source, column),
                f"{theirs:g}",
                "Find out which is right; a measured day in the books is not overwritten",
            )


def _store(
    station: Station,
    site: Site,
    told: _Sorted,
    days: Sequence[DayReading],
    doubts: tuple[Finding, ...],
    fill: bool,
) -> Added:
    WeatherDay.objects.bulk_create(
        [
            WeatherDay(station=station, site=site, date=one.day, tmin_c=low, tmax_c=high, rain_mm=one.rain_mm)
            for one in told.new
            if (low := one.tmin_c) is not None and (high := one.tmax_c) is not None
        ],
        batch_size=500,
    )
    for stored, reading in told.measured:
        stored.tmin_c, stored.tmax_c = reading.tmin_c, reading.tmax_c  # type: ignore[assignment]
        stored.rain_mm, stored.origin = reading.rain_mm, "measured"
        stored.save(update_fields=["tmin_c", "tmax_c", "rain_mm", "origin"])
    for stored, rain_mm in told.rain:
        stored.rain_mm = rain_mm
        stored.save(update_fields=["rain_mm"])
    span = [one.day for one in days]
    filled = fill_stored_holes(station, site, min(span), max(span)) if fill and span else ()
    holes = _find_new_holes(site, span) if span else []
    return Added(
        site=site.name,
        n_added=len(told.new),
        n_known=told.known,
        n_completed=len(told.rain),
        n_measured=len(told.measured),
        n_empty=told.empty,
        first=min(span, default=None),
        last=max(span, default=None),
        findings=(*doubts, *holes),
        basis=Basis((("days sent", len(days)),), tuple(finding.message for finding in holes)),
        n_filled=len(filled),
    )


def fill_stored_holes(station: Station, site: Site, first: date, last: date) -> tuple[date, ...]:
    """Fill the short holes that touch a span in a straight line, and store those days as filled; call in a transaction.

    Notes
    -----
    Holes of more than `LONGEST_FILL_DAYS` stay open. A forecast is no end of a hole. Rain is never filled. Checked by
    ``tests/work/test_weather_in.py``.
    """
    reach = timedelta(days=LONGEST_FILL_DAYS + 1)
    stored = WeatherDay.objects.filter(station=station, site=site, date__range=(first - reach, last + reach))
    rows = list(stored.exclude(origin="forecast").order_by("date").values_list("date", "tmin_c", "tmax_c"))
    if len(rows) < 2:
        return ()
    days, low, high = zip(*rows, strict=True)
    given = Readings(days, np.array(low), np.array(high), np.full(len(days), np.nan), ("measured",) * len(days))
    whole, _ = fill_short_holes(given)
    taken = set(stored.values_list("date", flat=True))
    made = [at for at, origin in enumerate(whole.origins) if origin == "filled" and whole.days[at] not in taken]
    WeatherDay.objects.bulk_create(
        WeatherDay(
            station=station,
            site=site,
            date=whole.days[at],
            tmin_c=round(float(whole.tmin_c[at]), 2),
            tmax_c=round(float(whole.tmax_c[at]), 2),
            origin="filled",
        )
        for at in made
    )
    return tuple(whole.days[at] for at in made)


def _find_new_holes(site: Site, span: Sequence[date]) -> list[Finding]:
    """Holes within the days sent, and between them and the days that were there before and after."""
    one = timedelta(days=1)
    stored = WeatherDay.objects.filter(site=site).exclude(origin="forecast").values_list("date", flat=True)
    before = stored.filter(date__lt=min(span)).order_by("-date").first()
    after = stored.filter(date__gt=max(span)).order_by("date").first()
    days = list(stored.filter(date__range=(before or min(span), after or max(span))).order_by("date"))
    return [
        Finding(
            "day_missing",
            f"{first} is missing at {site.name}" if first == last else f"{first} to {last} are missing at {site.name}",
            Place(),
            repair="Add these days when they can be had; or have short holes filled, and marked as filled",
            stops=False,
        )
        for first, last in find_holes(tuple(days))
        if last >= min(span) - one and first <= max(span) + one
    ]
