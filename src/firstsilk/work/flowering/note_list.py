"""Which notes came last, which are in doubt, and which could not stand as notes?"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime

from firstsilk.records.models import Note as NoteRecord
from firstsilk.records.models import NoteAside, Row, Station
from firstsilk.science.flowering.notes import Note
from firstsilk.science.flowering.rows import find_undone
from firstsilk.work.flowering.chain import as_note
from firstsilk.work.flowering.clock import correct_time, read_wrong_clocks
from firstsilk.work.flowering.day_close import read_closed_heads
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_station
from firstsilk.work.standing import end_of_day

SHOWN = ("all", "doubted", "replaced")


@dataclass(frozen=True, slots=True)
class ListedNote:
    """One note on the list: its place in the chain, its row in words (empty if its tag is no row), its fate.

    `late`: it came after its day was closed. `corrected`: its time by our clock, where its device's is far out.
    """

    position: int
    received_at: datetime
    note: Note
    row_name: str
    season: str
    male_name: str
    fate: str
    late: bool
    corrected: str


@dataclass(frozen=True, slots=True)
class AsideFacts:
    """Something laid aside: what came, why it could not stand, when."""

    received_at: datetime
    code: str
    reason: str
    raw: str


@dataclass(frozen=True, slots=True)
class NoteList:
    """One page of notes, newest first. `older` is to be passed as `before` for the next page; None at the end."""

    notes: tuple[ListedNote, ...]
    older: int | None
    total: int
    doubted: int
    aside: tuple[AsideFacts, ...]
    basis: Basis


def read_note_list(on: Occasion, show: str = "all", before: int | None = None, size: int = 60) -> NoteList:
    """The newest notes taken up to the occasion's day, or only those in doubt or no longer standing; below a place in
    the chain."""
    station = get_station(on.station)
    every = NoteRecord.objects.filter(station=station, taken_on__lte=on.today)
    replacing = {str(one.uuid): as_note(one) for one in every.filter(replaces__isnull=False)}
    undone = find_undone(replacing.values())
    found = every
    if show == "doubted":
        found = found.exclude(doubt="")
    elif show == "replaced":
        found = found.filter(uuid__in=list(undone))
    if before is not None:
        found = found.filter(position__lt=before)
    records = list(found.order_by("-position")[: size + 1])
    shown = records[:size]
    rows = _find_rows(station, shown)
    closed, clocks = read_closed_heads(station), read_wrong_clocks(station)
    taken_back = {target for target, by in undone.items() if replacing[by].kind == "withdrawn"}
    notes = tuple(
        ListedNote(
            record.position,
            record.received_at,
            as_note(record),
            *rows.get(record.tag, ("", "")),
            rows.get(record.male, (record.male, ""))[0],
            _fate(record, undone.keys(), taken_back),
            record.position > closed.get(record.taken_on, record.position),
            correct_time(as_note(record), clocks.get(str(record.device))),
        )
        for record in shown
    )
    total = every.count()
    evening = end_of_day(station, on.today)
    laid_aside = NoteAside.objects.filter(station=station, received_at__lt=evening)
    aside = tuple(
        AsideFacts(one.received_at, one.code, one.reason, one.raw[:300])
        for one in laid_aside.exclude(settled__settled_at__lt=evening).order_by("-received_at", "-pk")[:50]
    )
    doubted = every.exclude(doubt="").count()
    older = shown[-1].position if len(records) > size else None
    return NoteList(notes, older, total, doubted, aside, Basis((("notes", total), ("laid aside", len(aside)))))


def _fate(record: NoteRecord, undone: Collection[str], taken_back: Collection[str]) -> str:
    if record.practice:
        return "practice"
    if str(record.uuid) in taken_back:
        return "taken back"
    if str(record.uuid) in undone:
        return "replaced"
    return "takes back" if record.kind == "withdrawn" else "stands"


def _find_rows(station: Station, records: Sequence[NoteRecord]) -> dict[str, tuple[str, str]]:
    """How the rows behind the tags are called, and their season."""
    tags = {record.tag for record in records} | {record.male for record in records if record.male}
    rows = Row.objects.filter(station=station, tag__in=tags).select_related("season")
    return {row.tag: (f"row {row.number}", row.season.name) for row in rows}
