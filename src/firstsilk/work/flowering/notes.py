"""What is written down at the desk, and what do the books hold?

Notes from the desk, from paper keyed back and from files go the same way as a phone's: sealed, numbered and received.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Max, Q

from firstsilk import __version__
from firstsilk.answers import refuse
from firstsilk.records.models import Note as NoteRecord
from firstsilk.records.models import Station
from firstsilk.science.flowering.notes import (
    FORMAT,
    KINDS,
    Note,
    NoteUnreadable,
    make_note_id,
    note_as_wire,
    read_note,
    seal_note,
)
from firstsilk.work.flowering.chain import as_note
from firstsilk.work.flowering.desk import desk_device
from firstsilk.work.flowering.receive import receive_notes
from firstsilk.work.occasion import Occasion
from firstsilk.work.shelf import get_station


@dataclass(frozen=True, slots=True)
class NoteDraft:
    """What somebody wants to write down; the rest of the note is filled in by `write_notes`.

    Parameters
    ----------
    kind, detail
        From the closed list of the note format.
    tag, male
        Eight signs each; `male` empty where there is none.
    value
        Text; empty means the day itself for kinds whose value is a date.
    taken_local
        ``YYYY-MM-DDTHH:MM:SS`` on the station's clock; empty means now, on the station's day.
    worker
        Worker code; empty means the person of the occasion.
    """

    kind: str
    tag: str
    value: str = ""
    detail: str = ""
    male: str = ""
    bag: str = ""
    plant: int | None = None
    unit: str = ""
    taken_local: str = ""
    doubt: str = ""
    doubt_reason: str = ""
    replaces: str = ""
    worker: str = ""


@dataclass(frozen=True, slots=True)
class StoredNote:
    """A note in the books: its place in the chain, when it came, its hash, and the note itself."""

    position: int
    received_at: datetime
    hash: str
    note: Note


def write_notes(
    on: Occasion,
    drafts: Sequence[NoteDraft],
    source: str = "desk",
    dice: Callable[[int], bytes] = secrets.token_bytes,
) -> tuple[str, ...]:
    """Write notes at the station's desk device, all or none.

    Parameters
    ----------
    on
        Station, day, instant and person.
    drafts
        What to write, in order.
    source
        ``desk``, ``paper`` or ``file``.
    dice
        Gives so many random bytes; hand in a seeded one for the same ids each time.

    Returns
    -------
    tuple of str
        The ids, in the order of the drafts.

    Raises
    ------
    InputRefused
        ``note_unreadable`` if a draft cannot stand as a note; nothing is written then.
    """
    if not drafts:
        return ()
    with transaction.atomic():
        station = Station.objects.select_for_update().get(pk=get_station(on.station).pk)
        desk = str(desk_device(station).uuid)
        written = NoteRecord.objects.filter(station=station, device=desk)
        last = written.aggregate(last=Max("device_number"))["last"] or 0
        notes = [
            _make_note(on, station, draft, source, desk, number, dice)
            for number, draft in enumerate(drafts, start=last + 1)
        ]
        receipt = receive_notes(on, desk, [note_as_wire(note) for note in notes])
        if len(receipt.stored) != len(notes):
            raise refuse("note_unreadable", f"A note could not be written: {receipt.aside[0].reason}.")
    return tuple(note.id for note in notes)


def _make_note(
    on: Occasion,
    station: Station,
    draft: NoteDraft,
    source: str,
    device: str,
    number: int,
    dice: Callable[[int], bytes],
) -> Note:
    if draft.kind not in KINDS:
        raise refuse("note_kind_unknown", f"There is no kind of note {draft.kind!r}.", f"Kinds: {', '.join(KINDS)}.")
    taken_local = draft.taken_local or _local_now(on, station)
    value = draft.value or (taken_local[:10] if KINDS[draft.kind].value == "date" else "")
    note = Note(
        id=make_note_id(int(on.now.timestamp() * 1000), dice(10)),
        device=device,
        number=number,
        worker=draft.worker or on.who[:12],
        kind=draft.kind,
        detail=draft.detail,
        tag=draft.tag,
        male=draft.male,
        bag=draft.bag,
        plant=draft.plant,
        value=value,
        unit=draft.unit,
        taken_local=taken_local,
        offset_min=_offset_min(station, taken_local),
        source=source,
        app=f"firstsilk {__version__}"[:24],
        format=FORMAT,
        practice=False,
        doubt=draft.doubt,
        doubt_reason=draft.doubt_reason,
        replaces=draft.replaces,
    )
    return _prove_note(note)


def _prove_note(note: Note) -> Note:
    try:
        return read_note(note_as_wire(seal_note(note)))
    except UnicodeEncodeError:
        told = f"A note about {note.tag or 'nothing'} holds signs that are no text."
        raise refuse("note_unreadable", told, "Write it again.") from None
    except NoteUnreadable as fault:
        raise refuse("note_unreadable", f"A note about {note.tag or 'nothing'} cannot be written: {fault}.") from None


def _local_now(on: Occasion, station: Station) -> str:
    """The station's day with the hour of its clock: a station that holds its date writes on that date."""
    clock = on.now.astimezone(ZoneInfo(station.time_zone)).replace(tzinfo=None, microsecond=0)
    return datetime.combine(on.today, clock.time()).isoformat()


def _offset_min(station: Station, taken_local: str) -> int:
    try:
        local = datetime.fromisoformat(taken_local).replace(tzinfo=ZoneInfo(station.time_zone))
    except ValueError:
        return 0
    return round((local.utcoffset() or timedelta(0)).total_seconds() / 60)


def list_notes(
    on: Occasion, tag: str | None = None, limit: int = 100, before: int | None = None, up_to: date | None = None
) -> tuple[StoredNote, ...]:
    """The newest notes first, of one tag or of all, below a position of the chain.

    Parameters
    ----------
    before
        Only links below this position: pass the last position shown to turn the page.
    up_to
        Only notes taken on or before this day; all if None.
    """
    found = NoteRecord.objects.filter(station=get_station(on.station))
    if tag is not None:
        found = found.filter(tag=tag)
    if before is not None:
        found = found.filter(position__lt=before)
    if up_to is not None:
        found = found.filter(taken_on__lte=up_to)
    return tuple(
        StoredNote(record.position, record.received_at, record.hash, as_note(record))
        for record in found.order_by("-position")[: max(0, limit)]
    )


def read_notes(on: Occasion, tags: Iterable[str] | None = None) -> list[Note]:
    """All notes of the station, or those about these tags and those that replace one, oldest receipt first."""
    found = NoteRecord.objects.filter(station=get_station(on.station)).order_by("position")
    if tags is None:
        return [as_note(record) for record in found.iterator(chunk_size=2000)]
    wanted = set(tags)
    if len(wanted) <= 400:
        return [as_note(record) for record in found.filter(Q(tag__in=wanted) | Q(replaces__isnull=False))]
    every = found.iterator(chunk_size=2000)
    return [as_note(record) for record in every if record.tag in wanted or record.replaces is not None]


def take_back(on: Occasion, note_id: str, why: str, dice: Callable[[int], bytes] = secrets.token_bytes) -> str:
    """Take a note back by a new note that names it; returns the new note's id."""
    found = NoteRecord.objects.filter(station=get_station(on.station))
    record = found.filter(uuid=note_id).first() if _is_uuid(note_id) else None
    if record is None:
        raise refuse("note_unknown", f"There is no note {note_id!r} in the books.", "Pick it from the list of notes.")
    draft = NoteDraft("withdrawn", record.tag, value=why, replaces=str(record.uuid))
    return write_notes(on, [draft], dice=dice)[0]


def _is_uuid(text: str) -> bool:
    try:
        UUID(text)
    except ValueError:
        return False
    return True
