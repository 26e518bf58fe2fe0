"""What waits for a person: things laid aside that could not stand as notes, and notes that two people corrected.

Nothing that came is changed or thrown away. What became of a thing laid aside is written beside it, once; of two
corrections one is picked by a note that takes the others back.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.db.models import Q

from firstsilk.answers import Finding, refuse
from firstsilk.records.models import AsideSettled, Device, NoteAside, Row, Station
from firstsilk.records.models import Note as NoteRecord
from firstsilk.science.flowering.bags import check_bag, read_bags
from firstsilk.science.flowering.notes import BODY_FIELDS, Note
from firstsilk.science.flowering.rows import find_undone, keep_standing_notes
from firstsilk.work.flowering.chain import as_note
from firstsilk.work.flowering.notes import NoteDraft, write_notes
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_station
from firstsilk.work.standing import end_of_day

LONGEST_HOW = 300
MOST_SHOWN = 200


@dataclass(frozen=True, slots=True)
class LaidAside:
    """One thing laid aside: its number, what came and why it could not stand; what can be read in it, by field."""

    number: int
    received_at: datetime
    device: int | None
    code: str
    reason: str
    raw: str
    reads: Mapping[str, str]
    settled_at: datetime | None = None
    settled_by: str = ""
    how: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Correction:
    """One of several corrections of a note, with its place in the chain and the number of the device that wrote it."""

    position: int
    device: int | None
    note: Note


@dataclass(frozen=True, slots=True)
class Conflict:
    """A note corrected more than once: itself (None if it never came), its row in words, and its corrections."""

    target: str
    original: Correction | None
    row_name: str
    corrections: tuple[Correction, ...]


@dataclass(frozen=True, slots=True)
class ToSettle:
    """All that waits for a person, and what was settled last.

    `twice` are codes of bags, each good for one bag, that were put on twice; `n_open` and `n_settled` count things laid
    aside.
    """

    aside: tuple[LaidAside, ...]
    settled: tuple[LaidAside, ...]
    conflicts: tuple[Conflict, ...]
    twice: tuple[Finding, ...]
    n_open: int
    n_settled: int
    basis: Basis


def read_to_settle(on: Occasion) -> ToSettle:
    """Everything laid aside and not settled, oldest first; the newest settled; every conflict of corrections.

    As it stood on the evening of the occasion's day: what came or was settled later is not told.
    """
    station = get_station(on.station)
    numbers = _number_devices(station)
    evening = end_of_day(station, on.today)
    every = NoteAside.objects.filter(station=station, received_at__lt=evening).prefetch_related("settled")
    opened = every.exclude(settled__settled_at__lt=evening)
    done = every.filter(settled__settled_at__lt=evening).order_by("-settled__settled_at", "-pk")
    n_open, n_settled = opened.count(), done.count()
    conflicts = find_conflicts(station, numbers, evening)
    return ToSettle(
        aside=tuple(_tell_aside(one, numbers) for one in opened.order_by("received_at", "pk")[:MOST_SHOWN]),
        settled=tuple(_tell_aside(one, numbers) for one in done[:50]),
        conflicts=conflicts,
        twice=_find_codes_used_twice(station, evening),
        n_open=n_open,
        n_settled=n_settled,
        basis=Basis((("things laid aside", n_open + n_settled), ("notes with two corrections", len(conflicts)))),
    )


def _find_codes_used_twice(station: Station, evening: datetime) -> tuple[Finding, ...]:
    wanted = Q(kind="tassel_bagged", bag__gt="") | Q(replaces__isnull=False)
    records = NoteRecord.objects.filter(wanted, station=station, practice=False, received_at__lt=evening)
    standing, _ = keep_standing_notes(as_note(one) for one in records.iterator(chunk_size=2000))
    found = (one for bag in read_bags(standing) for _, one in check_bag(bag, {}))
    return tuple(one for one in found if one.code == "bag_put_on_twice")


def settle_as_note(on: Occasion, number: int, draft: NoteDraft) -> str:
    """Key what was laid aside as a note of its own, and write down that this became of it; returns the note's id."""
    with transaction.atomic():
        aside = _get_open(on, number)
        (note_id,) = write_notes(on, [draft])
        _settle(on, aside, f"keyed as a note: {draft.kind.replace('_', ' ')}", note_id)
    return note_id


def settle_as_nothing(on: Occasion, number: int, reason: str) -> None:
    """Write down that nothing became of what was laid aside, and why.

    Raises
    ------
    InputRefused
        ``reason_empty`` or ``reason_long``; ``aside_unknown``, ``aside_settled``.
    """
    reason = reason.strip()
    if not reason:
        raise refuse("reason_empty", "A reason is wanted: why is this no note?", "Write it in a few words.")
    if len(reason) > LONGEST_HOW:
        raise refuse("reason_long", f"The reason has {len(reason)} signs, at most {LONGEST_HOW} fit.", "Shorten it.")
    with transaction.atomic():
        _settle(on, _get_open(on, number), reason, None)


def keep_correction(on: Occasion, note_id: str) -> tuple[str, ...]:
    """Of several corrections of one note keep this one: the others are taken back by notes; returns the ids of those.

    Raises
    ------
    InputRefused
        ``no_conflict`` if the note is not one of several corrections.
    """
    with transaction.atomic():
        station = Station.objects.select_for_update().get(pk=get_station(on.station).pk)
        for conflict in find_conflicts(station, {}):
            others = [one.note for one in conflict.corrections if one.note.id != note_id]
            if len(others) == len(conflict.corrections):
                continue
            why = f"another correction was kept by {on.who}: {note_id}"
            return write_notes(
                on, [NoteDraft("withdrawn", other.tag, value=why, replaces=other.id) for other in others]
            )
    told = f"{note_id[:40]!r} is not one of several corrections."
    raise refuse("no_conflict", told, "Pick one from the list of what waits.")


def find_conflicts(
    station: Station, numbers: Mapping[str, int], before: datetime | None = None
) -> tuple[Conflict, ...]:
    """Notes with more than one correction in force, by the place of the newest correction, newest first.

    Only what came before an instant, if one is given.
    """
    records = NoteRecord.objects.filter(station=station, practice=False, replaces__isnull=False)
    records = records if before is None else records.filter(received_at__lt=before)
    known = {str(one.uuid): one for one in records}
    notes = {key: as_note(record) for key, record in known.items()}
    undone = find_undone(notes.values())
    by_target: dict[str, list[str]] = defaultdict(list)
    for key, note in notes.items():
        taken_back = key in undone and notes[undone[key]].kind == "withdrawn"
        if note.kind != "withdrawn" and note.replaces != key and not taken_back:
            by_target[note.replaces].append(key)
    torn = {target: keys for target, keys in by_target.items() if len(keys) > 1}
    originals = {str(one.uuid): one for one in NoteRecord.objects.filter(station=station, uuid__in=list(torn))}
    rows = dict(
        Row.objects.filter(
            station=station, tag__in={notes[key].tag for keys in torn.values() for key in keys}
        ).values_list("tag", "number")
    )
    conflicts = [
        Conflict(
            target,
            _tell_correction(originals[target], numbers) if target in originals else None,
            _name_row(originals.get(target), [notes[key] for key in keys], rows),
            tuple(_tell_correction(known[key], numbers) for key in sorted(keys, key=lambda one: known[one].position)),
        )
        for target, keys in torn.items()
    ]
    return tuple(sorted(conflicts, key=lambda one: -one.corrections[-1].position))


def _name_row(original: NoteRecord | None, corrections: Iterable[Note], rows: Mapping[str, int]) -> str:
    tags = [original.tag] if original is not None else []
    tag = next((one for one in [*tags, *(note.tag for note in corrections)] if one), "")
    return f"row {rows[tag]}" if tag in rows else f"tag {tag}" if tag else ""


def _tell_correction(record: NoteRecord, numbers: Mapping[str, int]) -> Correction:
    return Correction(record.position, numbers.get(str(record.device)), as_note(record))


def _number_devices(station: Station) -> dict[str, int]:
    return {str(uuid): number for uuid, number in Device.objects.filter(station=station).values_list("uuid", "number")}


def _get_open(on: Occasion, number: int) -> NoteAside:
    station = Station.objects.select_for_update().get(pk=get_station(on.station).pk)
    aside = NoteAside.objects.filter(station=station, pk=number).first()
    if aside is None:
        raise refuse("aside_unknown", f"Nothing with the number {number} was laid aside.", "See the list of it.")
    settled = AsideSettled.objects.filter(station=station, aside=aside).first()
    if settled is not None:
        told = f"Number {number} was settled by {settled.settled_by or 'nobody named'}: {settled.how}."
        raise refuse("aside_settled", told, "Write a further note where something is missing.")
    return aside


def _settle(on: Occasion, aside: NoteAside, how: str, note_id: str | None) -> None:
    AsideSettled.objects.create(
        station=aside.station, aside=aside, settled_at=on.now, settled_by=on.who[:150], how=how, note=note_id
    )


def _tell_aside(aside: NoteAside, numbers: Mapping[str, int]) -> LaidAside:
    settled = next(iter(aside.settled.all()), None)
    return LaidAside(
        number=aside.pk,
        received_at=aside.received_at,
        device=numbers.get(aside.device),
        code=aside.code,
        reason=aside.reason,
        raw=aside.raw[:600],
        reads=read_aside(aside.raw),
        settled_at=settled.settled_at if settled else None,
        settled_by=settled.settled_by if settled else "",
        how=settled.how if settled else "",
        note=str(settled.note or "") if settled else "",
    )


def read_aside(raw: str) -> dict[str, str]:
    """What can be read, field by field, in something that could not stand as a note: short texts and numbers alone."""
    wire = json.loads(raw)
    if not isinstance(wire, dict):
        return {}
    return {
        name: str(value)
        for name in BODY_FIELDS
        if isinstance(value := wire.get(name), str | int) and not isinstance(value, bool) and len(str(value)) <= 300
    }
