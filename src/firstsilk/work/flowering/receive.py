"""What arrived, and what became of each note? The one way into the books for notes from anywhere.

One call is one transaction. Sending again changes nothing. What has happened is never refused: an unknown tag, an
unknown kind, a late or a future date is stored; what cannot be read as a note is laid aside whole.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from hashlib import sha256
from uuid import UUID

from django.db import transaction

from firstsilk.answers import refuse
from firstsilk.records.models import Device, NoteAside, Station
from firstsilk.records.models import Note as NoteRecord
from firstsilk.science.flowering.notes import (
    FIRST_HASH,
    Note,
    NoteUnreadable,
    canonical_text,
    chain_hash,
    read_note,
)
from firstsilk.work.flowering.chain import as_note, receipt_text
from firstsilk.work.flowering.gaps import read_numbers
from firstsilk.work.occasion import Occasion
from firstsilk.work.shelf import get_station


@dataclass(frozen=True, slots=True)
class Aside:
    """One thing laid aside: the id it claimed (may be empty), a stable code and a sentence."""

    id: str
    code: str
    reason: str


@dataclass(frozen=True, slots=True)
class Receipt:
    """What became of a batch.

    Parameters
    ----------
    stored, already
        Ids now in the books by this batch, and ids that were there with the same body.
    aside
        What could not stand as a note; it is kept whole.
    gaps
        Ranges of the device's numbers, first and last, that have never reached us.
    confirmed_to
        The device's notes 1 to this number have all reached us.
    highest_number
        The highest number of the device that is here, or lies aside; a phone that lost its store goes on above it.
    received_at
        The instant written on this batch, ISO text in UTC.
    """

    stored: tuple[str, ...]
    already: tuple[str, ...]
    aside: tuple[Aside, ...]
    gaps: tuple[tuple[int, int], ...]
    confirmed_to: int
    highest_number: int
    received_at: str


@dataclass(frozen=True, slots=True)
class _Sorted:
    """A batch sorted against the books, before anything is written."""

    new: tuple[Note, ...]
    already: tuple[str, ...]
    aside: tuple[tuple[Aside, str], ...]


def receive_notes(
    on: Occasion,
    device_uuid: str,
    wires: Sequence[object],
    sent_local: str | None = None,
    sent_offset_min: int | None = None,
    highest_number: int | None = None,
    app: str | None = None,
    waiting: int | None = None,
) -> Receipt:
    """Store a batch of travelling notes: each once, whole, in one transaction.

    Parameters
    ----------
    on
        Station and instant of receipt.
    device_uuid
        The device that sends. Notes of other devices in the batch are stored too: a phone may carry another's file.
    wires
        The travelling objects, in the order in which they join the chain.
    sent_local, sent_offset_min
        The sender's clock when it sent, and its offset from UTC [min]; kept on the device, never trusted.
    highest_number
        The highest number that the device has ever given out, so that a loss at the end shows too.
    app, waiting
        The program that sends, and how many more notes it holds that we have not confirmed; kept on the device.

    Returns
    -------
    Receipt
        Every object of the batch is in exactly one of `stored`, `already` and `aside`.

    Notes
    -----
    Checked by tests/properties/test_note_laws.py and tests/journeys/test_kill_server.py.
    """
    device_uuid = _read_device(device_uuid)
    with transaction.atomic():
        station = Station.objects.select_for_update().get(pk=get_station(on.station).pk)
        batch = _sort_batch(station, wires)
        _lay_aside(station, device_uuid, batch.aside, on.now)
        _lengthen_chain(station, batch.new, on.now)
        _meet_device(station, device_uuid, on.now, _find_clock(on.now, sent_local, sent_offset_min), app, waiting)
        _keep_highest(station, device_uuid, highest_number)
        numbers = read_numbers(station, device_uuid, highest_number)
    return Receipt(
        stored=tuple(note.id for note in batch.new),
        already=batch.already,
        aside=tuple(aside for aside, _ in batch.aside),
        gaps=numbers.gaps,
        confirmed_to=numbers.confirmed_to,
        highest_number=numbers.highest,
        received_at=receipt_text(on.now),
    )


def _read_device(device_uuid: str) -> str:
    try:
        return str(UUID(device_uuid))
    except ValueError:
        raise refuse("device_unreadable", f"{device_uuid[:64]!r} is not the UUID of a device.") from None


def _sort_batch(station: Station, wires: Sequence[object]) -> _Sorted:
    aside: list[tuple[Aside, str]] = []
    read: list[tuple[Note, object]] = []
    for wire in wires:
        try:
            read.append((_read_wire(wire), wire))
        except NoteUnreadable as fault:
            aside.append((Aside(_claimed_id(wire), fault.code, str(fault)), _raw_text(wire)))
    bodies = _read_known_bodies(station, [note.id for note, _ in read])
    new: list[Note] = []
    already: list[str] = []
    for note, wire in read:
        body = canonical_text(note)
        if note.id not in bodies:
            bodies[note.id] = body
            new.append(note)
        elif bodies[note.id] == body:
            already.append(note.id)
        else:
            reason = f"another note with the id {note.id} is in the books"
            aside.append((Aside(note.id, "id_clash", reason), _raw_text(wire)))
    return _Sorted(tuple(new), tuple(already), tuple(aside))


def _read_wire(wire: object) -> Note:
    if not isinstance(wire, Mapping):
        raise NoteUnreadable("not_a_note", "this is not an object with a note's fields")
    note = read_note(wire)
    # What PostgreSQL's columns cannot hold: the books are the same on both databases.
    if any("\0" in value for value in wire.values() if isinstance(value, str)):
        raise NoteUnreadable("field_wrong", "a text holds the sign with the code 0")
    if len(note.source) > 8:
        raise NoteUnreadable("field_wrong", "source is longer than 8 signs")
    if note.plant is not None and abs(note.plant) >= 2**31:
        raise NoteUnreadable("field_wrong", f"plant {note.plant} is no number of a plant")
    return note


def _claimed_id(wire: object) -> str:
    claimed = wire.get("id") if isinstance(wire, Mapping) else None
    return claimed[:64].encode("utf-8", "replace").decode() if isinstance(claimed, str) else ""


def _raw_text(wire: object) -> str:
    """The object as it came, as text that any database can hold."""
    return json.dumps(wire, ensure_ascii=True, separators=(",", ":"), sort_keys=True)


def _read_known_bodies(station: Station, ids: Sequence[str]) -> dict[str, str]:
    bodies: dict[str, str] = {}
    for start in range(0, len(ids), 400):
        for record in NoteRecord.objects.filter(station=station, uuid__in=ids[start : start + 400]):
            bodies[str(record.uuid)] = canonical_text(as_note(record))
    return bodies


def _lay_aside(station: Station, device_uuid: str, aside: Sequence[tuple[Aside, str]], now: datetime) -> None:
    by_hash = {sha256(raw.encode("ascii")).hexdigest(): (one, raw) for one, raw in aside}
    known = set(
        NoteAside.objects.filter(station=station, raw_hash__in=list(by_hash)).values_list("raw_hash", flat=True)
    )
    NoteAside.objects.bulk_create(
        [
            NoteAside(
                station=station,
                device=device_uuid[:40],
                raw=raw,
                raw_hash=raw_hash,
                reason=one.reason.encode("utf-8", "replace").decode()[:300],
                code=one.code,
                received_at=now,
            )
            for raw_hash, (one, raw) in by_hash.items()
            if raw_hash not in known
        ]
    )


def _lengthen_chain(station: Station, notes: Iterable[Note], now: datetime) -> None:
    head = NoteRecord.objects.filter(station=station).order_by("-position").values_list("position", "hash").first()
    position, previous = head or (0, FIRST_HASH)
    links = []
    for note in notes:
        position += 1
        link = _as_record(station, note, now)
        link.position = position
        link.previous_hash = previous
        link.hash = chain_hash(previous, position, receipt_text(now), note)
        previous = link.hash
        links.append(link)
    NoteRecord.objects.bulk_create(links)


def _as_record(station: Station, note: Note, now: datetime) -> NoteRecord:
    return NoteRecord(
        station=station,
        uuid=UUID(note.id),
        device=UUID(note.device),
        device_number=note.number,
        worker=note.worker,
        kind=note.kind,
        detail=note.detail,
        tag=note.tag,
        male=note.male,
        bag=note.bag,
        plant=note.plant,
        value=note.value,
        unit=note.unit,
        taken_at=note.taken_at.astimezone(UTC),
        taken_local=note.taken_local,
        taken_on=note.taken_on,
        offset_min=note.offset_min,
        source=note.source,
        app=note.app,
        format=note.format,
        practice=note.practice,
        doubt=note.doubt,
        doubt_reason=note.doubt_reason,
        replaces=UUID(note.replaces) if note.replaces else None,
        check_sum=note.check_sum,
        received_at=now,
    )


def _meet_device(
    station: Station, device_uuid: str, now: datetime, clock_ahead_s: float | None, app: str | None, waiting: int | None
) -> None:
    """Write down that the device was here, and what it said of itself."""
    changes: dict[str, object] = {"last_seen_at": now}
    if clock_ahead_s is not None:
        changes["clock_ahead_s"] = clock_ahead_s
    if app is not None:
        changes["app"] = app.replace("\0", "")[:24]
    if waiting is not None:
        changes["waiting"] = min(max(0, waiting), 2**31 - 1)
    Device.objects.filter(station=station, uuid=device_uuid).update(**changes)


def _find_clock(now: datetime, sent_local: str | None, sent_offset_min: int | None) -> float | None:
    """How far the sender's clock is ahead of ours [s]; None if it did not say, or said what is no clock."""
    if sent_local is None or sent_offset_min is None:
        return None
    try:
        zone = timezone(timedelta(minutes=sent_offset_min))
        return (datetime.fromisoformat(sent_local).replace(tzinfo=zone) - now).total_seconds()
    except (ValueError, OverflowError):
        return None


def _keep_highest(station: Station, device_uuid: str, highest_number: int | None) -> None:
    """The highest number that the device ever told; a phone that lost its store and tells less changes nothing."""
    told = min(highest_number or 0, 2**53)
    Device.objects.filter(station=station, uuid=device_uuid, highest_number__lt=told).update(highest_number=told)
