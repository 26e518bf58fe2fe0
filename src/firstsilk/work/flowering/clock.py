"""What time was it really when a phone with a wrong clock wrote a note?

Shown beside what the phone wrote, and nowhere else: no order and no state ever rests on it.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from firstsilk.records.models import Device, Station
from firstsilk.science.flowering.notes import Note

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
