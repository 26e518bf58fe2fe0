"""What is there to know about one row, and is what was noted about it possible?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Q

from firstsilk.answers import Finding, InputRefused, refuse
from firstsilk.records.models import LotOrigin, Row, Season, Station
from firstsilk.records.models import Note as NoteRecord
from firstsilk.science.flowering.bags import check_bags, name_givers
from firstsilk.science.flowering.checks import check_row_notes
from firstsilk.science.flowering.day import SHED_LASTS_DAYS, Task
from firstsilk.science.flowering.notes import BriefNote, Note
from firstsilk.science.flowering.rows import RowState, find_undone, keep_standing_notes
from firstsilk.work.flowering.chain import as_note
from firstsilk.work.flowering.clock import correct_time, read_wrong_clocks
from firstsilk.work.flowering.day import DayList, read_day_list
from firstsilk.work.flowering.forecast import RowForecast
from firstsilk.work.flowering.rows import RowFacts
from firstsilk.work.flowering.states import read_brief_notes
from firstsilk.work.flowering.targets import TargetAhead
from firstsilk.work.flowering.targets_beside import tell_targets_beside
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_row, get_season, get_station
from firstsilk.work.standing import rows_on


@dataclass(frozen=True, slots=True)
class RowNote:
    """One note about a row as a page shows it.

    `fate` is ``stands``, ``replaced`` or ``taken back`` with `by` the note that did so, ``takes back``, or
    ``practice``; `male_name` the male's row in words. `corrected` is its time by our clock, where its device's is far
    out; empty elsewhere.
    """

    note: Note
    position: int
    received_at: datetime
    fate: str
    by: str
    male_name: str
    corrected: str = ""


@dataclass(frozen=True, slots=True)
class MaleRow:
    """One row that gives pollen to this one."""

    number: int
    tag: str
    line: str
    shed_on: date | None
    shed_expected: date | None
    last_bagged_on: date | None
    sheds_today: bool


@dataclass(frozen=True, slots=True)
class RowPage:
    """Everything about one row; notes newest first; findings are odd, never stopping.

    `forecast` is the row's own, None where there is none; `expected_by` says where expected days come from.
    """

    season: str
    row: RowFacts
    tasks: tuple[Task, ...]
    males: tuple[MaleRow, ...]
    serves: tuple[int, ...]
    target: TargetAhead | None
    notes: tuple[RowNote, ...]
    findings: tuple[Finding, ...]
    lots: tuple[tuple[str, str], ...]
    before: int | None
    after: int | None
    cutoff_on: date | None
    forecast: RowForecast | None
    expected_by: str
    basis: Basis


def find_row(on: Occasion, tag_or_number: str, season: str = "") -> tuple[str, str]:
    """Season and tag of a row: a tag is found in any season, a number in the season named or the day's.

    Raises
    ------
    InputRefused
        If there is no such row.
    """
    station = get_station(on.station)
    try:
        book = get_season(station, season, on.today)
        return book.name, get_row(book, tag_or_number).tag
    except InputRefused:
        for other in Season.objects.filter(station=station).order_by("-year"):
            row = None if tag_or_number.isdecimal() else _find_by_tag(other, tag_or_number)
            if row is not None:
                return other.name, row.tag
        raise


def _find_by_tag(season: Season, tag: str) -> Row | None:
    try:
        return get_row(season, tag)
    except InputRefused:
        return None


def read_row_page(on: Occasion, tag_or_number: str, season: str = "") -> RowPage:
    """One row: plan, state, males, target, every note about it, and what is odd about them."""
    name, tag = find_row(on, tag_or_number, season)
    station = get_station(on.station)
    day = read_day_list(on, name, by_forecast=True)
    row = next((one for one in day.rows.values() if one.tag == tag), None)
    if row is None:
        raise refuse("row_not_yet", f"On {on.today} this row was not planned yet.", "Look at it from a later day.")
    bags = NoteRecord.objects.filter(station=station, tag=tag).exclude(bag="").values("bag")
    about = Q(tag=tag) | Q(replaces__isnull=False) | Q(bag__in=bags)
    records = list(NoteRecord.objects.filter(about, station=station, taken_on__lte=on.today))
    names = {one.tag: f"row {one.number}" for one in day.rows.values()}
    notes = [as_note(record) for record in records]
    males = tuple(_male(day.rows[number], on.today) for number in row.male_rows)
    states = {one.tag: one.state for one in day.rows.values()}
    numbers = sorted(day.rows)
    at = numbers.index(row.number)
    targets = tell_targets_beside(on, day) if row.wanted else None
    return RowPage(
        season=name,
        row=row,
        tasks=tuple(task for task in day.tasks if task.tag == tag),
        males=males,
        serves=tuple(one.number for one in day.rows.values() if row.number in one.male_rows),
        target=targets.of_row(row.number) if targets is not None else None,
        notes=_tell_notes(tag, records, notes, names, read_wrong_clocks(station)),
        findings=_check(day, row, notes, states, names),
        lots=_lots_of(station, tag, on.today),
        before=numbers[at - 1] if at else None,
        after=numbers[at + 1] if at + 1 < len(numbers) else None,
        cutoff_on=day.cutoff_on,
        forecast=day.forecast.row(row.number) if day.forecast is not None else None,
        expected_by=day.expected_by,
        basis=Basis((("notes", row.state.n_notes), *day.basis.used[2:]), day.basis.missing),
    )


def _male(row: RowFacts, today: date) -> MaleRow:
    shed = row.state.shed_on
    sheds = shed is not None and 0 <= (today - shed).days <= SHED_LASTS_DAYS
    return MaleRow(row.number, row.tag, row.line, shed, row.shed_expected, row.state.last_tassel_bag_on, sheds)


def _lots_of(station: Station, tag: str, today: date) -> tuple[tuple[str, str], ...]:
    there = LotOrigin.objects.filter(station=station, row__tag=tag, lot__movements__moved_on__lte=today)
    origins = there.distinct().select_related("lot").order_by("pk")
    return tuple((one.lot.name, one.lot.tag) for one in origins)


def _tell_notes(
    tag: str,
    records: Sequence[NoteRecord],
    notes: Sequence[Note],
    names: Mapping[str, str],
    clocks: Mapping[str, float],
) -> tuple[RowNote, ...]:
    """The notes about a row, newest receipt first, each with what became of it."""
    by_id = {note.id: note for note in notes}
    undone = find_undone(notes)
    told = []
    for record, note in zip(records, notes, strict=True):
        if note.tag != tag:
            continue
        by = by_id.get(undone.get(note.id, ""))
        if note.practice:
            fate = "practice"
        elif by is not None:
            fate = "taken back" if by.kind == "withdrawn" else "replaced"
        else:
            fate = "takes back" if note.kind == "withdrawn" else "stands"
        male = names.get(note.male, note.male) if note.male != tag else "its own"
        clock = correct_time(note, clocks.get(note.device))
        told.append(RowNote(note, record.position, record.received_at, fate, by.id if by else "", male, clock))
    return tuple(sorted(told, key=lambda one: -one.position))


def _check(
    day: DayList, row: RowFacts, notes: Sequence[Note], states: Mapping[str, RowState], names: Mapping[str, str]
) -> tuple[Finding, ...]:
    standing, _ = keep_standing_notes(notes)
    mine = [note for note in standing if note.tag == row.tag]
    planned = [day.rows[number].tag for number in row.male_rows]
    of_bags = check_bags(standing, names, day.today).get(row.tag, ())
    return (*check_row_notes(row.tag, mine, states, names, planned, name_givers(standing)), *of_bags)


def read_findings(on: Occasion, season: str = "") -> tuple[tuple[RowFacts, Finding], ...]:
    """Everything odd in a season's notes, by row in walking order."""
    return find_oddities(on, read_day_list(on, season))


def find_oddities(on: Occasion, day: DayList) -> tuple[tuple[RowFacts, Finding], ...]:
    """As `read_findings`, for whoever has the day list at hand."""
    station = get_station(on.station)
    rows = rows_on(station, on.today).filter(season__name=day.season)
    standing, _ = keep_standing_notes(read_brief_notes(station, rows.values_list("tag", flat=True), on.today))
    by_tag: dict[str, list[BriefNote]] = {}
    for note in standing:
        by_tag.setdefault(note.tag, []).append(note)
    states = {one.tag: one.state for one in day.rows.values()}
    names = {one.tag: f"row {one.number}" for one in day.rows.values()}
    givers, of_bags = name_givers(standing), check_bags(standing, names, day.today)
    found = []
    for row in day.rows.values():
        planned = [day.rows[number].tag for number in row.male_rows]
        odd = check_row_notes(row.tag, by_tag.get(row.tag, []), states, names, planned, givers)
        found += [(row, one) for one in (*odd, *of_bags.get(row.tag, ()))]
    return tuple(found)
