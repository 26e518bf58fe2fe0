"""How is a note called where a person reads of it? By the device that wrote it and its number there."""

from __future__ import annotations

from collections.abc import Mapping

from firstsilk.records.models import Device, Station
from firstsilk.science.flowering.notes import Note


def read_device_numbers(station: Station) -> dict[str, int]:
    """The number of each device of the station, by its id."""
    return {str(uuid): number for uuid, number in Device.objects.filter(station=station).values_list("uuid", "number")}


def name_note(note: Note, devices: Mapping[str, int]) -> str:
    """``phone 3, note 212``; ``desk 1, note 7`` for what was written, keyed or read from a file at the desk."""
    word = "phone" if note.source == "phone" else "desk"
    number = devices.get(note.device)
    return f"{word} {number}, note {note.number}" if number is not None else f"{word}, note {note.number}"
