"""What is hard to believe about new days of weather, said by file, line, day, value and repair?

Each day sent is set against the others sent and the site's own days in the books. Small doubts warn and the days are
taken. A doubt that says a whole stretch is in another unit, at other dates or copied stops, because measured days are
not overwritten later: a person looks, and either repairs the file or keeps it as it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np

from firstsilk.answers import Finding, Place
from firstsilk.records.models import Site
from firstsilk.science.climate.doubts import Doubt, make_series
from firstsilk.science.climate.quality import check_quality
from firstsilk.work.climate.readings import Readings
from firstsilk.work.climate.sent import DayReading

HOLDING = frozenset({"fahrenheit", "celsius", "tenths", "date_shift", "season_turned"})
"""Doubts that stop until a person says to keep the days; a repeated block does from `HOLDING_BLOCK_DAYS` on."""
HOLDING_BLOCK_DAYS = 10
KEEP = "Repair the file; or, if it is right as it is, send it again and say to keep doubts"


def doubt_days(
    site: Site, known: Readings, sent: Sequence[DayReading], source: str, keep_doubts: bool
) -> tuple[Finding, ...]:
    """Findings about the days sent; those that stop do not if the person said to keep doubts.

    Parameters
    ----------
    site
        Where the days are from.
    known
        The site's own measured days.
    sent
        New days with both temperatures, none twice, none known with the same values.
    source
        What to call the source where a reading has no place of its own.
    keep_doubts
        Whether a person has looked and keeps what is doubted.

    Notes
    -----
    Checked by ``tests/work/test_weather_in.py``.
    """
    if not sent:
        return ()
    new = {one.day: one for one in sent}
    old = {
        day: (low, high, rain)
        for day, low, high, rain in zip(
            known.days, known.tmin_c.tolist(), known.tmax_c.tolist(), known.rain_mm.tolist(), strict=True
        )
        if day not in new
    }
    days = sorted([*old, *new])
    rows = [old[day] if day in old else _values(new[day]) for day in days]
    table = np.array(rows, dtype=np.float64)
    judged = np.array([day in new for day in days], dtype=np.bool_)
    series = make_series(days, table[:, 0], table[:, 1], table[:, 2])
    doubts = check_quality(series, judged, site.latitude)
    return tuple(_tell(one, days, new, source, keep_doubts) for one in doubts)


def _values(one: DayReading) -> tuple[float, float, float]:
    low, high, rain = (np.nan if value is None else value for value in (one.tmin_c, one.tmax_c, one.rain_mm))
    return low, high, rain


def _tell(doubt: Doubt, days: Sequence[date], new: dict[date, DayReading], source: str, keep: bool) -> Finding:
    first, last = days[doubt.first], days[doubt.last]
    place = new[first].place if first in new else Place()
    column = f"{doubt.column}_c" if doubt.column in ("tmin", "tmax") else ""
    holds = doubt.kind in HOLDING or (doubt.kind == "repeated_block" and doubt.n_places >= HOLDING_BLOCK_DAYS)
    message, repair = _say(doubt, days, _span(first, last))
    value = "" if doubt.value is None else f"{doubt.value:.1f}"
    if holds and not keep:
        repair = f"{repair}. {KEEP}"
    return Finding(
        doubt.kind, message, Place(place.file or source, place.line, column), value, repair, stops=holds and not keep
    )


def _span(first: date, last: date) -> str:
    return str(first) if first == last else f"{first} to {last}"


def _say(doubt: Doubt, days: Sequence[date], span: str) -> tuple[str, str]:
    usual = "" if doubt.usual is None else f"{doubt.usual:.1f} °C"
    like = "" if doubt.like is None else str(days[doubt.like])
    shift = abs(doubt.shift_days or 0)
    n_days = (days[doubt.last] - days[doubt.first]).days + 1
    told = {
        "spike": (f"{span} stands far from the days beside it ({usual})", "Check the reading, or leave it empty"),
        "stuck": (f"the same value on {n_days} days, {span}", "Check the sensor; leave empty what it did not measure"),
        "copied_day": (f"{span} is the same as {like}, rain and all", "Check whether a line was copied"),
        "repeated_block": (
            f"{n_days} days, {span}, are the same as those from {like} on",
            "Check whether a block was copied, or stands under other dates",
        ),
        "fahrenheit": (
            f"{span} looks like °F in a column of °C (usual then: about {usual})",
            "Name the columns tmin_f and tmax_f, or change the values",
        ),
        "celsius": (
            f"{span} looks like °C that was read as °F (usual then: about {usual})",
            "Name the columns tmin_c and tmax_c, or change the values",
        ),
        "tenths": (f"{span} looks like tenths of a degree (usual then: about {usual})", "Divide the values by ten"),
        "date_shift": (
            f"{span} fits this site far better {shift} days {'later' if (doubt.shift_days or 0) > 0 else 'earlier'}",
            "Check the dates, day and month above all",
        ),
        "season_turned": (
            f"{span} has its summer in the other half of the year than the site's latitude tells",
            "Check the site's latitude (south is negative) and the dates",
        ),
    }
    return told[doubt.kind]
