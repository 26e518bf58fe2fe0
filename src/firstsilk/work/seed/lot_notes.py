"""Which notes of the seed room (taken, weighed, discarded) are not booked as they stand, and booking them.

Such a note is stored whatever it says, from phone, paper or file. Its kernels move when notes are settled: each note's
movements are brought in line with what it says, however often that is done and in whatever order notes came. A note
taken back or corrected is undone by a counter-movement; movements are only ever added.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Q

from firstsilk.answers import Finding, Place, refuse
from firstsilk.records.models import Lot, Movement, Station, Weighing
from firstsilk.records.models import Note as NoteRecord
from firstsilk.science.flowering.notes import Note
from firstsilk.science.flowering.rows import keep_standing_notes
from firstsilk.science.seed.lot_notes import (
    DISCARDED,
    TAKEN,
    WEIGHED,
    Booked,
    LotEvent,
    find_differences,
    settle_lot,
)
from firstsilk.work.flowering.chain import as_note
from firstsilk.work.flowering.desk_notes import LONGEST_WORKER
from firstsilk.work.flowering.notes import NoteDraft, write_notes
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.booking import MOST_KERNELS
from firstsilk.work.shelf import get_lot, get_station

KINDS_OF_LOTS = (TAKEN, WEIGHED, DISCARDED)
REASON_OF = {TAKEN: "sent", WEIGHED: "counted", DISCARDED: "discarded"}
FROM_FIELD = "harvested"
"""Reason of kernels that came in at the shelling bench: such a movement names the note of its ear, no note of here."""
LATE = "late notes before the count "
"""How the movement begins that sets a count at the desk right; the count's number in the books follows."""


@dataclass(frozen=True, slots=True)
class Unbooked:
    """Kernels that a note is still to move (out: negative), or back, because it no longer stands as it was booked."""

    lot: str
    tag: str
    day: date
    kernels: int
    reason: str
    says: str
    note: str


@dataclass(frozen=True, slots=True)
class LotNotes:
    """What notes are still to move, lots they leave overdrawn, and notes that say nothing that can be booked."""

    unbooked: tuple[Unbooked, ...]
    lots: int
    booked: bool
    findings: tuple[Finding, ...]
    basis: Basis


@dataclass(slots=True)
class _Read:
    """All that the books and notes hold of lots that notes speak of."""

    lots: dict[int, Lot]
    moves: dict[int, list[Movement]]
    events: dict[int, list[LotEvent]]
    notes: dict[str, Note]
    findings: list[Finding]


def list_lot_notes(on: Occasion) -> LotNotes:
    """What notes of the seed room are still to move, without booking it."""
    return _tell(_read(get_station(on.station), on.today), booked=False)


def settle_lot_notes(on: Occasion) -> LotNotes:
    """Bring the movements of every lot in line with its notes of taking, weighing and throwing away.

    Notes
    -----
    Settling again changes nothing. A lot may fall below zero: what has happened is booked, and told.
    """
    station = get_station(on.station)
    with transaction.atomic():
        Station.objects.select_for_update().get(pk=station.pk)
        told = _tell(_read(station, on.today), booked=True)
        numbers = dict(
            Lot.objects.filter(station=station, tag__in={one.tag for one in told.unbooked}).values_list("tag", "pk")
        )
        Movement.objects.bulk_create(
            Movement(
                station=station,
                lot_id=numbers[one.tag],
                kernels=one.kernels,
                reason=one.reason,
                used_for=one.says[:120],
                moved_on=one.day,
                recorded_at=on.now,
                recorded_by=on.who,
                note=UUID(one.note) if one.note else None,
            )
            for one in told.unbooked
        )
    return told


def read_unbooked_moves(station: Station, day: date, lot: Lot | None = None) -> dict[int, list[tuple[date, int, str]]]:
    """What notes are still to move, as movements (day, kernels, reason) of each lot by its number in the books; of one
    lot if given."""
    read = _read(station, day, lot)
    return {
        number: [(one.day, one.kernels, one.reason) for one in _find_unbooked(read, number)[0]] for number in read.lots
    }


def _read(station: Station, day: date, only: Lot | None = None) -> _Read:
    notes = _read_notes(station, day)
    standing = [note for note in keep_standing_notes(notes)[0] if note.kind in KINDS_OF_LOTS]
    tags = {note.tag for note in standing}
    by_note = Movement.objects.filter(station=station, note__isnull=False).exclude(reason=FROM_FIELD).values("lot")
    found = Lot.objects.filter(station=station) if only is None else Lot.objects.filter(pk=only.pk)
    lots = {
        lot.pk: lot
        for lot in found.filter(Q(tag__in=tags) | Q(pk__in=by_note)).select_related("station").order_by("name")
    }
    moves: dict[int, list[Movement]] = defaultdict(list)
    for move in Movement.objects.filter(station=station, lot__in=lots, moved_on__lte=day).order_by("pk"):
        moves[move.lot_id].append(move)
    weights = _read_weights(station, lots, day)
    number_of = {lot.tag: pk for pk, lot in lots.items()}
    read = _Read(lots, moves, defaultdict(list), {note.id: note for note in notes}, [])
    for note in sorted(standing, key=lambda one: (one.taken_local, one.tag, one.id)):
        if note.tag in number_of:
            number = number_of[note.tag]
            event = _read_event(note, lots[number], weights[number], read.findings)
            if event is not None:
                read.events[number].append(event)
    return read


def _read_notes(station: Station, day: date) -> list[Note]:
    """Notes of the seed room up to a day, and all that replace or take one back, whatever their kind."""
    records = NoteRecord.objects.filter(station=station, practice=False, taken_on__lte=day)
    records = records.filter(Q(kind__in=KINDS_OF_LOTS) | Q(replaces__isnull=False))
    return [as_note(record) for record in records.iterator(chunk_size=5000)]


def _read_weights(station: Station, lots: Mapping[int, Lot], day: date) -> dict[int, list[tuple[date, float]]]:
    """For each lot, days on which a sample of it was counted and weighed, and the weight of one kernel [mg]."""
    weights: dict[int, list[tuple[date, float]]] = defaultdict(list)
    sampled = Weighing.objects.filter(station=station, lot__in=lots, sample_g__isnull=False, weighed_on__lte=day)
    told = sampled.order_by("weighed_on", "pk").values_list("lot", "weighed_on", "sample_g", "sample_kernels")
    for lot, weighed_on, sample_g, sample_kernels in told:
        if sample_g and sample_kernels:
            weights[lot].append((weighed_on, 1000.0 * sample_g / sample_kernels))
    return weights


def _read_event(
    note: Note, lot: Lot, weights: Sequence[tuple[date, float]], findings: list[Finding]
) -> LotEvent | None:
    """What a note says of its lot in kernels; None, with a finding, where it says nothing that can be booked."""
    if note.kind == DISCARDED:
        return LotEvent(note.id, note.kind, note.taken_local)
    value = _read_number(note.value)
    if value is None:
        what = "grams" if note.kind == WEIGHED else "kernels"
        findings.append(_odd(lot, note, f"{note.value[:40]!r} is no number of {what}", "Correct the note"))
        return None
    if note.kind == TAKEN:
        return LotEvent(note.id, note.kind, note.taken_local, round(value))
    before = [mg for day, mg in weights if day <= note.taken_on]
    mg = before[-1] if before else weights[0][1] if weights else lot.kernel_weight_mg
    if not mg:
        told = f"{value:g} g were weighed, and the weight of a kernel of this lot is not known"
        findings.append(_odd(lot, note, told, "Count and weigh a sample of the lot at the bench"))
        return None
    return LotEvent(note.id, note.kind, note.taken_local, math.floor(1000.0 * value / mg + 0.5))


def _read_number(text: str) -> float | None:
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        return None
    return value if 0 <= value <= MOST_KERNELS else None


def _tell(read: _Read, booked: bool) -> LotNotes:
    unbooked: list[Unbooked] = []
    findings = list(read.findings)
    touched = 0
    for number, lot in read.lots.items():
        changes, kernels = _find_unbooked(read, number)
        unbooked += changes
        touched += bool(changes)
        if kernels < 0:
            told = f"lot {lot.name}: {-kernels:,} kernels more were taken than it held"
            repair = "Count the lot, or look whether a note is about another lot"
            findings.append(Finding("lot_overdrawn", told, Place(f"lot {lot.name}"), str(kernels), repair, stops=False))
    n_events = sum(len(events) for events in read.events.values())
    basis = Basis((("notes of the seed room", n_events), ("lots", len(read.lots))))
    return LotNotes(tuple(unbooked), touched, booked, tuple(findings), basis)


def _find_unbooked(read: _Read, number: int) -> tuple[list[Unbooked], int]:
    """What is still to be moved for one lot's notes and counts, and the kernels that are then left."""
    lot, moves = read.lots[number], read.moves.get(number, [])
    booked, by_note, by_count = _sort_moves(lot, moves)
    settled = settle_lot(booked, read.events.get(number, ()))
    told = [
        _tell_note(lot, key, change, read.notes, moves)
        for key, change in find_differences(settled.by_note, by_note).items()
    ]
    days = {str(move.number): move.day for move in booked}
    counts = {str(key): change for key, change in settled.by_count.items()}
    told += [
        Unbooked(lot.name, lot.tag, days[key], change, "counted", f"{LATE}{key}", "")
        for key, change in find_differences(counts, by_count).items()
    ]
    return told, settled.kernels


_Moved = list[tuple[str, int]]


def _sort_moves(lot: Lot, moves: Sequence[Movement]) -> tuple[list[Booked], _Moved, _Moved]:
    """Movements that no note made; those of notes, by note; those that set a count right, by count."""
    zone = ZoneInfo(lot.station.time_zone)
    booked: list[Booked] = []
    by_note: _Moved = []
    by_count: _Moved = []
    noted = 0
    for move in moves:
        key = move.used_for.removeprefix(LATE)
        if move.note is not None and move.reason != FROM_FIELD:
            by_note.append((str(move.note), move.kernels))
            noted += move.kernels
        elif key != move.used_for and any(str(one.number) == key for one in booked):
            by_count.append((key, move.kernels))
            noted += move.kernels
        else:
            local = move.recorded_at.astimezone(zone)
            at = local.strftime("%H:%M:%S") if local.date() == move.moved_on else ""
            before = noted if move.reason == "counted" else None
            booked.append(Booked(move.pk, move.moved_on, at, move.kernels, before))
    return booked, by_note, by_count


def _tell_note(lot: Lot, key: str, change: int, notes: Mapping[str, Note], moves: Sequence[Movement]) -> Unbooked:
    note = notes.get(key)
    before = [move for move in moves if move.note is not None and str(move.note) == key]
    if note is None or note.tag != lot.tag or note.kind not in KINDS_OF_LOTS:
        # Booked once, and no longer there on this day: undone on the day on which it was booked.
        return Unbooked(lot.name, lot.tag, before[0].moved_on, change, before[0].reason, "note taken back", key)
    said = {TAKEN: f"taken: {note.value} kernels", WEIGHED: f"weighed: {note.value} g", DISCARDED: "thrown away"}
    says = f"{said[note.kind]}, noted by {note.worker or 'nobody named'}"
    if before:
        says = f"set right: {says}"
    return Unbooked(lot.name, lot.tag, note.taken_on, change, REASON_OF[note.kind], says, key)


def _odd(lot: Lot, note: Note, told: str, repair: str) -> Finding:
    place = Place(f"lot {lot.name}", None, note.kind)
    said = f"lot {lot.name}, note of {note.taken_local[:10]}: {told}"
    return Finding("lot_note_unread", said, place, note.value[:60], repair, stops=False)


def write_lot_note(
    on: Occasion, kind: str, tag_or_name: str, value: str = "", taken_on: date | None = None, worker: str = ""
) -> tuple[str, LotNotes]:
    """Key back what was done to a lot without the desk: a note as from paper, and its kernels booked.

    Returns
    -------
    tuple
        What was noted in words, and what was booked with it.

    Raises
    ------
    InputRefused
        If the lot or kind is unknown, the value is none of that kind, or the day lies ahead. A lot that falls below
        zero is no reason: it has happened.
    """
    lot = get_lot(get_station(on.station), tag_or_name)
    if kind not in KINDS_OF_LOTS:
        raise refuse("note_kind_unknown", f"{kind!r} is no note of the seed room.", f"Use {', '.join(KINDS_OF_LOTS)}.")
    number = _read_number(value)
    if kind != DISCARDED and (number is None or (kind == TAKEN and (number < 1 or number != int(number)))):
        wanted = "grams, as 120.5" if kind == WEIGHED else "whole kernels, as 40"
        raise refuse("lot_note_value", f"{value[:40]!r} is not what was {kind}.", f"Write {wanted}.", value=value[:40])
    day = taken_on or on.today
    if day > on.today:
        raise refuse("note_of_later", f"{day} is after today, {on.today}.", "Write the day on which it was done.")
    if len(worker) > LONGEST_WORKER:
        raise refuse("worker_long", f"{worker[:20]!r} is no worker code.", f"Use {LONGEST_WORKER} signs or fewer.")
    hour = on.now.astimezone(ZoneInfo(lot.station.time_zone)).strftime("%H:%M:%S") if day == on.today else "12:00:00"
    with transaction.atomic():
        draft = NoteDraft(kind, lot.tag, value.strip().replace(",", "."), taken_local=f"{day}T{hour}", worker=worker)
        write_notes(on, [draft], "paper")
        done = settle_lot_notes(on)
    told = {TAKEN: f"{value} kernels taken", WEIGHED: f"{value} g weighed", DISCARDED: "thrown away"}[kind]
    return f"lot {lot.name}, {told}, {day}", done
