"""What time was it really when a phone with a wrong clock wrote a note, and at which instant is the field looked at?

The first is shown beside what the phone wrote, and nowhere else: no order and no state ever rests on it.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from firstsilk.answers import refuse, shorten_value
from firstsilk.records.models import Device, Station
from firstsilk.science.flowering.notes import Note
from firstsilk.work.occasion import Occasion

CLOCK_WARNS_S = 120.0
"""A clock further out than this is told to a person [s]. A choice of ours."""


def read_wrong_clocks(station: Station) -> dict[str, float]:
    """Devices whose clock was out at the last meeting by more than `CLOCK_WARNS_S`: seconds ahead, by UUID."""
    told = Device.objects.filter(station=station, clock_ahead_s__isnull=False).values_list("uuid", "clock_ahead_s")
    return {str(device): ahead for device, ahead in told if ahead is not None and abs(ahead) > CLOCK_WARNS_S}


def correct_time(note: Note, ahead_s: float | None) -> str:
    """The note's local time by our clock, to the second; empty where its device's clock is right enough.

    Notes
    -----
    The phone's error at its last meeting is taken for its error when the note was written; a phone whose clock was set
    in between is told wrongly, which is why what it wrote stands beside it.
    """
    if ahead_s is None or abs(ahead_s) <= CLOCK_WARNS_S:
        return ""
    try:
        told = datetime.fromisoformat(note.taken_local) - timedelta(seconds=ahead_s)
    except OverflowError:
        return ""
    return told.isoformat(timespec="seconds")


def find_moment(on: Occasion, station: Station) -> datetime:
    """The instant at which the field is looked at: whether a spray interval still runs is asked of it.

    Notes
    -----
    On the calendar's own day it is now. A day looked back or ahead at is taken from its beginning, so that a row shut
    for a part of it is shut, and a sheet for tomorrow never opens a row too early. A station held on a day has the
    clock of now on that day.
    """
    zone = ZoneInfo(station.time_zone)
    local = on.now.astimezone(zone)
    if local.date() == on.today:
        return on.now
    clock = local.time() if station.held_date == on.today else time()
    return read_local(datetime.combine(on.today, clock), station.time_zone)


def read_local(local: datetime, time_zone: str) -> datetime:
    """A clock time of a place as an instant in UTC.

    Notes
    -----
    Where clocks are turned back an hour comes twice, where they are turned forward it never comes: the later of the
    two instants is taken, so that no interval ends too early.
    """
    zone = ZoneInfo(time_zone)
    return max(local.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1))


def read_typed(text: str, day: date) -> datetime:
    """A clock time as typed: ``2031-07-24 06:30``, with T between, or ``06:30`` of the day.

    Raises
    ------
    InputRefused
        If it is none.
    """
    given = text.strip().replace(" ", "T")
    try:
        local = datetime.fromisoformat(given if "-" in given else f"{day.isoformat()}T{given.zfill(5)}")
    except ValueError:
        local = None
    if local is None or local.tzinfo is not None or ":" not in given:
        raise refuse(
            "not_a_time",
            f"{shorten_value(text)!r} is not a time.",
            "Write the station's clock time as 2031-07-24 06:30, or 06:30 for today.",
        )
    return local.replace(second=0, microsecond=0)
