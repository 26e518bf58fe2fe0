"""Which ears were picked, and how many kernels were shelled from them?

Ears and kernels are noted on rows or bags; `new_lots` makes lots of them.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from django.db import transaction

from firstsilk.answers import Finding, Place, refuse
from firstsilk.records.models import Note as NoteRecord
from firstsilk.records.models import Row, Station
from firstsilk.science.flowering.rows import RowState, keep_standing_notes
from firstsilk.work.complaints import Complaints
from firstsilk.work.flowering.notes import NoteDraft, write_notes
from firstsilk.work.flowering.states import read_notes, read_states
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.new_lots import MadeLots, NewLot, make_lots
from firstsilk.work.shelf import get_season, get_station

__all__ = ["Harvested", "MadeLots", "NewLot", "Picked", "make_lots", "record_harvest"]


LONGEST_BAG = 16
"""Signs of a bag number that a note holds."""
PRESSED_TWICE_S = 60
"""The same count of the same row at the desk within this time is a button pressed twice (a choice of ours) [s]."""
MOST = 100_000
"""More ears or kernels of one row than this are a slip of the keyboard (a choice of ours)."""


@dataclass(frozen=True, slots=True)
class Picked:
    """Good ears picked from a row and the kernels shelled from them, as far as known; with a bag, of that ear."""

    row: int
    ears: int | None = None
    kernels: int | None = None
    bag: str = ""


@dataclass(frozen=True, slots=True)
class Harvested:
    """Notes written for a harvest."""

    season: str
    noted: int
    findings: tuple[Finding, ...]
    basis: Basis


def record_harvest(
    on: Occasion, season: str, picked: Sequence[Picked], source: str = "desk", places: Sequence[Place] = ()
) -> Harvested:
    """Note ears and kernels, all or none; more ears than were pollinated is a finding, never a refusal.

    Ears and kernels noted add to those noted before, but for what is plainly the same: a table that comes again, a
    button pressed twice. That is left out and told. `places` are the places of the entries in a table.
    """
    station = get_station(on.station)
    book = get_season(station, season, on.today)
    tags = dict(Row.objects.filter(station=station, season=book).values_list("number", "tag"))
    complaints = Complaints(places)
    drafts: list[NoteDraft] = []
    said: set[tuple[int, str]] = set()
    for at, one in enumerate(picked):
        with complaints.about(at):
            drafts += _drafts(one, tags, book.name)
            if places and (one.row, one.bag) in said:
                told = f"Row {one.row} stands twice" + (
                    f" with bag {one.bag}." if one.bag else " without a bag number."
                )
                raise refuse("row_twice", told, "Add the two up, or give each ear's bag number.", column="row")
            said.add((one.row, one.bag))
    complaints.stop_if_any()
    with transaction.atomic():
        # Two who press at once, or a file sent twice: the second waits, and then finds what the first has noted.
        Station.objects.select_for_update().get(pk=station.pk)
        fresh, known = _leave_out_known(on, station, drafts, is_table=bool(places))
        write_notes(on, fresh, source)
    numbers = {tag: number for number, tag in tags.items()}
    touched = {tags[one.row] for one in picked}
    states = read_states(station, touched, on.today)
    findings = (
        *(_tell_known(draft, numbers[draft.tag]) for draft in known),
        *(
            found
            for tag in sorted(touched, key=numbers.__getitem__)
            for found in _tell_extra(numbers[tag], states, tag)
        ),
    )
    return Harvested(book.name, len(fresh), findings, Basis((("rows", len(picked)),)))


def _leave_out_known(
    on: Occasion, station: Station, drafts: Sequence[NoteDraft], is_table: bool
) -> tuple[list[NoteDraft], list[NoteDraft]]:
    """What is new, and what was noted before with the same count on the same row or bag.

    Of a table all notes from files count, for the same table may come again on any day; of the desk those of the last
    minute, for a second harvest of a row may well give as many ears as the first.
    """
    standing, _ = keep_standing_notes(read_notes(station, {draft.tag for draft in drafts}))
    since = on.now.astimezone(UTC) - timedelta(seconds=PRESSED_TWICE_S)
    recent = set() if is_table else _received_since(station, since)
    before = Counter(
        (note.tag, note.kind, note.value, note.bag)
        for note in standing
        if (note.source == "file" if is_table else note.id in recent)
    )
    fresh: list[NoteDraft] = []
    known: list[NoteDraft] = []
    for draft in drafts:
        key = (draft.tag, draft.kind, draft.value, draft.bag)
        (known if before[key] > 0 else fresh).append(draft)
        before[key] -= 1
    return fresh, known


def _received_since(station: Station, since: datetime) -> set[str]:
    found = NoteRecord.objects.filter(station=station, source="desk", received_at__gte=since)
    return {str(uuid) for uuid in found.values_list("uuid", flat=True)}


def _tell_known(draft: NoteDraft, row: int) -> Finding:
    what = f"{draft.value} {draft.unit}" + (f" of bag {draft.bag}" if draft.bag else "")
    told = f"row {row}: {what} were noted before and are not noted again"
    return Finding(
        "noted_before", told, Place(), draft.value, "If these are others, note them at the desk", stops=False
    )


def _tell_extra(row: int, states: Mapping[str, RowState], tag: str) -> list[Finding]:
    state = states.get(tag)
    if state is None or state.ears_picked <= state.ears_standing:
        return []
    told = f"row {row}: {state.ears_picked} ears picked, {state.ears_standing} pollinated and standing"
    repair = "Look whether ears of a neighbour row are among them"
    return [Finding("more_ears_than_pollinated", told, Place(column="ears"), str(state.ears_picked), repair, False)]


def _drafts(one: Picked, tags: dict[int, str], season: str) -> list[NoteDraft]:
    if one.row not in tags:
        told = f"There is no row {one.row} in season {season}."
        raise refuse("row_unknown", told, "Check the row number.", column="row")
    if one.ears is None and one.kernels is None:
        told = f"Row {one.row}: neither ears nor kernels."
        raise refuse("nothing_said", told, "Write one of them, or leave the row out.", column="ears")
    if len(one.bag) > LONGEST_BAG:
        told = f"Row {one.row}: the bag number has {len(one.bag)} signs, at most {LONGEST_BAG} fit."
        raise refuse("bag_too_long", told, "Shorten it.", column="bag", value=one.bag)
    drafts = []
    for kind, count, unit in (("ears_picked", one.ears, "ears"), ("shelled", one.kernels, "kernels")):
        if count is not None and not 0 <= count <= MOST:
            told = f"Row {one.row}: {count} {unit} cannot be."
            raise refuse("count_wrong", told, f"Write 0 to {MOST:,}.", column=unit)
        if count is not None:
            drafts.append(NoteDraft(kind, tags[one.row], value=str(count), bag=one.bag, unit=unit))
    return drafts
