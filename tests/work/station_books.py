"""A small invented station in the test's own books, and phones that make notes for it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from uuid import UUID

from firstsilk.records.models import Device, Station
from firstsilk.science.flowering.notes import FORMAT, Note, make_note_id, note_as_wire, seal_note
from firstsilk.work.occasion import Occasion

NOW = datetime(2031, 7, 14, 9, 30, 15, 250000, tzinfo=UTC)
PHONE = "0195c1a0-0000-7000-8000-0000000000a1"
ON = Occasion("eskerholm", date(2031, 7, 14), NOW, "tester")


def make_station() -> Station:
    station = Station.objects.create(code="eskerholm", name="Eskerholm Growers' Cooperative", latitude=54.0)
    Device.objects.create(station=station, uuid=UUID(PHONE), number=1, label="north", enrolled_at=NOW)
    Station.objects.filter(pk=station.pk).update(last_device_number=1)
    return station


def make_note(number: int, **given: object) -> Note:
    """A sealed note of the phone; its id follows from its number unless given."""
    note = Note(
        id=make_note_id(1_942_000_000_000 + number, number.to_bytes(10, "big")),
        device=PHONE,
        number=number,
        worker="W07",
        kind="silk",
        detail="",
        tag="0000002Y",
        male="",
        bag="",
        plant=None,
        value="2031-07-14",
        unit="",
        taken_local="2031-07-14T10:00:00",
        offset_min=120,
        source="phone",
        app="pocket 0.1.0",
        format=FORMAT,
        practice=False,
        doubt="",
        doubt_reason="",
        replaces="",
    )
    return seal_note(replace(note, **given))


def make_wire(number: int, **given: object) -> dict[str, object]:
    return note_as_wire(make_note(number, **given))
