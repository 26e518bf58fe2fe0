"""Which station is this, and what day is it there?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from firstsilk.answers import refuse
from firstsilk.records.models import Station
from firstsilk.work.occasion import Occasion
from firstsilk.work.shelf import get_station


@dataclass(frozen=True, slots=True)
class StationFacts:
    """The station as every page names it."""

    code: str
    name: str
    latitude: float
    time_zone: str
    scale: str
    is_invented: bool
    held_date: date | None

    def today(self, now: datetime) -> date:
        """The station's day at an instant: the held day of an invented station, else its own calendar's."""
        return self.held_date or now.astimezone(ZoneInfo(self.time_zone)).date()


def read_station(code: str = "") -> StationFacts:
    """The station of this code, or the only one if the code is empty."""
    return _facts(get_station(code))


def list_stations() -> tuple[StationFacts, ...]:
    """All stations whose books are here."""
    return tuple(_facts(station) for station in Station.objects.order_by("code"))


def _facts(station: Station) -> StationFacts:
    return StationFacts(
        station.code,
        station.name,
        station.latitude,
        station.time_zone,
        station.scale,
        station.is_invented,
        station.held_date,
    )


def mark_invented(on: Occasion) -> StationFacts:
    """Mark a station as invented, so that its pages say so; there is no way back."""
    station = get_station(on.station)
    station.is_invented = True
    station.save(update_fields=["is_invented"])
    return _facts(station)


def hold_day(on: Occasion, day: date | None) -> StationFacts:
    """Let an invented station stand still on a chosen day of its season, or let its calendar run again.

    Raises
    ------
    InputRefused
        If the station is not an invented one: a real station's day is the calendar's.
    """
    station = get_station(on.station)
    if not station.is_invented:
        raise refuse("day_is_the_calendars", "The day of a real station is the calendar's.", "Nothing to change.")
    station.held_date = day
    station.save(update_fields=["held_date"])
    return _facts(station)
