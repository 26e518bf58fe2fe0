"""Which of a device's notes never reached us? Its numbers are dense from 1, so that a loss shows as a hole.

The database finds the holes; numbers do not travel here to be counted, however long the season grows.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import F, Max, Min, Window
from django.db.models.functions import Lead

from firstsilk.records.models import Note as NoteRecord
from firstsilk.records.models import NoteAside, Station

Gap = tuple[int, int]
"""First and last of a run of numbers that never came."""


@dataclass(frozen=True, slots=True)
class Numbers:
    """What came of a device's numbers: the holes, up to where all came, and the highest that came or lies aside."""

    gaps: tuple[Gap, ...] = ()
    confirmed_to: int = 0
    highest: int = 0


def read_numbers(station: Station, device_uuid: str, highest_number: int | None = None) -> Numbers:
    """What came of one device's numbers.

    Parameters
    ----------
    highest_number
        The highest number that the device says it has given out; what lies above the last that came is missing too.

    Notes
    -----
    A note laid aside has reached us: its number, where it can be read, is no gap. Checked against a slow twin by
    tests/properties/test_gap_laws.py.
    """
    told = {device_uuid: highest_number or 0}
    return read_numbers_by_device(station, told, [device_uuid]).get(device_uuid, Numbers())


def read_numbers_by_device(
    station: Station, told: dict[str, int] | None = None, devices: Iterable[str] | None = None
) -> dict[str, Numbers]:
    """As `read_numbers`, for many devices with the same few questions to the books.

    Parameters
    ----------
    told
        The highest number that each device has told, by its UUID.
    devices
        Only these; all that anything came from if None.
    """
    wanted = None if devices is None else list(devices)
    notes = NoteRecord.objects.filter(station=station)
    if wanted is not None:
        notes = notes.filter(device__in=wanted)
    ends = {
        str(device): (first, last)
        for device, first, last in notes.order_by("device")
        .values_list("device")
        .annotate(first=Min("device_number"), last=Max("device_number"))
    }
    holes: dict[str, list[Gap]] = defaultdict(list)
    for device, (first, _) in ends.items():
        if first > 1:
            holes[device].append((1, first - 1))
    following = Window(Lead("device_number"), partition_by=[F("device")], order_by=F("device_number").asc())
    found = notes.annotate(following=following).filter(following__gt=F("device_number") + 1)
    for uuid, before, after in found.order_by("device", "device_number").values_list(
        "device", "device_number", "following"
    ):
        holes[str(uuid)].append((before + 1, after - 1))
    aside = _read_numbers_aside(station, wanted)
    told = told or {}
    every = ends.keys() | aside.keys() | {device for device in told if wanted is None or device in wanted}
    return {
        device: _close(holes[device], ends.get(device, (0, 0))[1], aside.get(device, set()), told.get(device, 0))
        for device in every
    }


def _read_numbers_aside(station: Station, devices: list[str] | None) -> dict[str, set[int]]:
    """The numbers that can be read in what was laid aside, by device."""
    aside = NoteAside.objects.filter(station=station)
    if devices is not None:
        aside = aside.filter(device__in=devices)
    numbers: dict[str, set[int]] = defaultdict(set)
    for device, raw in aside.values_list("device", "raw"):
        wire = json.loads(raw)
        number = wire.get("number") if isinstance(wire, dict) and wire.get("device") == device else None
        if isinstance(number, int) and not isinstance(number, bool) and 1 <= number <= 2**53:
            numbers[device].add(number)
    return numbers


def _close(holes: list[Gap], last: int, aside: set[int], told: int) -> Numbers:
    """The holes without the numbers laid aside, and with what the device told above all that came."""
    came = max(last, max(aside, default=0))
    end = max(came, told)
    gaps = [*holes, (last + 1, end)] if end > last else holes
    for number in sorted(aside):
        gaps = [part for gap in gaps for part in _part(gap, number)]
    return Numbers(tuple(gaps), gaps[0][0] - 1 if gaps else end, came)


def _part(gap: Gap, number: int) -> list[Gap]:
    first, last = gap
    if not first <= number <= last:
        return [gap]
    return [part for part in ((first, number - 1), (number + 1, last)) if part[0] <= part[1]]
