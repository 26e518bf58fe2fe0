"""When does a keyed sheet become notes, and what of two keyings holds where they differ?

A sheet is settled once, by a person: with one keying as it stands, with two after every difference was settled cell by
cell. Its notes are like any other: source paper, the worker code of the sheet, the sheet's day.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction

from firstsilk.answers import refuse
from firstsilk.records.models import KeyedSheet, Row, Season, Station
from firstsilk.science.flowering.bag_lines import list_bag_facts
from firstsilk.science.flowering.paper_boxes import (
    Difference,
    Line,
    compare_keyings,
    find_unusual,
    list_facts,
    replace_cell,
)
from firstsilk.science.seed.tags import print_tag
from firstsilk.work.flowering.keying import check_line, find_entries, read_keyed, read_stands
from firstsilk.work.flowering.notes import NoteDraft, write_notes
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_season, get_station

Choices = Mapping[tuple[int, str], str]
"""What holds in a cell in which two keyings differ: by place of the line and key of the cell, as text."""


@dataclass(frozen=True, slots=True)
class Unusual:
    """A number above what is usual for its row: it is shown once more and never refused."""

    at: int
    number: int
    key: str
    value: int
    usual: int


@dataclass(frozen=True, slots=True)
class Settling:
    """What stands between a sheet and its notes.

    `numbers` are the rows' numbers by tag, of those keyed and their males; `rows` the tag of each line by place.
    `n_notes` counts the notes that the first keying makes.
    """

    code: str
    kind: str
    worker: str
    n_first: int
    n_second: int
    by: tuple[str, ...]
    differences: tuple[Difference, ...]
    numbers: Mapping[str, int]
    rows: Mapping[int, str]
    unusual: tuple[Unusual, ...]
    n_notes: int
    settled_at: datetime | None
    basis: Basis


def read_settling(on: Occasion, code: str) -> Settling:
    """The differences of two keyings and what is unusual, before a sheet is settled; after it what there was."""
    station = get_station(on.station)
    known = find_entries(station, code)
    first, second = read_keyed(known[1]), read_keyed(known.get(2))
    differences = compare_keyings(known[1].kind, first, second, known[1].cells["printed"]) if 2 in known else ()
    rows = _find_rows(station, known)
    keyed = {at: line.tag for at, line in {**second, **first}.items()}
    by = [*known[1].cells["by"], *(known[2].cells["by"] if 2 in known else ())]
    return Settling(
        code=known[1].sheet,
        kind=known[1].kind,
        worker=_choose_worker(known),
        n_first=len(first),
        n_second=len(second),
        by=tuple(by),
        differences=differences,
        numbers={tag: row.number for tag, row in rows.items()},
        rows=keyed,
        unusual=_find_unusual(station, known[1], first, rows),
        n_notes=_count_notes(known[1].kind, first),
        settled_at=known[1].settled_at,
        basis=Basis((("lines keyed first", len(first)), ("lines keyed a second time", len(second)))),
    )


def settle_sheet(on: Occasion, code: str, choices: Choices | None = None, worker: str = "") -> int:
    """Make the notes of a sheet, once; returns how many. A sheet that is settled makes none.

    Parameters
    ----------
    choices
        What holds where two keyings differ; each difference needs one.
    worker
        Worker code, where the sheet's own is wrong or missing.

    Raises
    ------
    InputRefused
        ``sheet_empty``, ``worker_missing``, ``note_of_later``, or ``differences_open`` with the cells that nobody
        settled yet.
    """
    chosen = choices or {}
    with transaction.atomic():
        station = Station.objects.select_for_update().get(pk=get_station(on.station).pk)
        known = find_entries(station, code)
        sheet = known[1]
        if sheet.settled_at is not None:
            return 0
        if sheet.day > on.today:
            told = f"The sheet is of {sheet.day}, after today, {on.today}."
            raise refuse("note_of_later", told, "Settle it on its day or later.")
        lines = _merge(known, chosen)
        who = worker.strip() or _choose_worker(known)
        if not lines:
            raise refuse("sheet_empty", f"Nothing is keyed of sheet {print_tag(sheet.sheet)}.", "Key its lines first.")
        if not who:
            raise refuse("worker_missing", "The sheet has no worker code.", "Write the code that stands on its head.")
        season = get_season(station, sheet.cells["season"])
        checked = {at: check_line(season, sheet, at, line) for at, line in lines.items()}
        make = _make_bag_drafts if sheet.kind == "bag" else _make_drafts
        drafts = make(on, season, sheet, checked, who)
        write_notes(on, drafts, "paper")
        KeyedSheet.objects.filter(station=station, sheet=sheet.sheet).update(settled_at=on.now)
    return len(drafts)


def drop_sheet(on: Occasion, code: str) -> None:
    """Write down that a printed sheet was never used: it waits no longer, and no notes come of it.

    Raises
    ------
    InputRefused
        ``sheet_keyed`` if something is keyed of it, ``sheet_settled`` if it is settled.
    """
    with transaction.atomic():
        station = Station.objects.select_for_update().get(pk=get_station(on.station).pk)
        known = find_entries(station, code)
        if known[1].settled_at is not None:
            raise refuse("sheet_settled", f"The sheet {print_tag(known[1].sheet)} is settled.", "Nothing to do.")
        if any(read_keyed(one) for one in known.values()):
            told = f"Lines of sheet {print_tag(known[1].sheet)} are keyed."
            raise refuse("sheet_keyed", told, "Settle it, or empty its lines if they are of another sheet.")
        KeyedSheet.objects.filter(station=station, sheet=known[1].sheet).update(settled_at=on.now)


def _choose_worker(known: Mapping[int, KeyedSheet]) -> str:
    return next((known[entry].worker for entry in (1, 2) if entry in known and known[entry].worker), "")


def _merge(known: Mapping[int, KeyedSheet], chosen: Choices) -> dict[int, Line]:
    sheet = known[1]
    first, second = read_keyed(sheet), read_keyed(known.get(2))
    if 2 not in known:
        return first
    if not first:
        return second
    differences = compare_keyings(sheet.kind, first, second, sheet.cells["printed"])
    unsettled = [one for one in differences if (one.at, one.key) not in chosen]
    if unsettled:
        cells = ", ".join(f"line {one.at + 1} {one.key.replace('_', ' ')}" for one in unsettled[:6])
        told = f"{len(unsettled)} cells differ and are not settled: {cells}."
        raise refuse("differences_open", told, "Look at the paper and say for each what holds.")
    merged = dict(first)
    printed = sheet.cells["printed"]
    for one in differences:
        line = merged.get(one.at, Line(printed[one.at] if one.at < len(printed) else ""))
        merged[one.at] = replace_cell(line, one.key, _read_choice(one, chosen[one.at, one.key]))
    return {at: line for at, line in merged.items() if line.tag or line.values or line.male or line.bag}


def _read_choice(one: Difference, text: str) -> str:
    typed = text.strip()
    if one.key in ("tag", "male", "bag") or not typed or typed.isdecimal():
        return typed
    told = f"Line {one.at + 1}, {one.key.replace('_', ' ')}: {typed[:20]!r} is no number."
    raise refuse("not_a_number", told, "Write a whole number, or nothing for an empty box.")


def _make_drafts(
    on: Occasion, season: Season, sheet: KeyedSheet, lines: Mapping[int, Line], worker: str
) -> list[NoteDraft]:
    """The notes of a sheet; a pollination is of the planned kind with the planned male, as a phone's tally is."""
    rows = _rows_by_tag(season, {line.tag for line in lines.values()})
    tags = _tags_by_number(season, sheet)
    taken = "" if sheet.day == on.today else f"{sheet.day.isoformat()}T12:00:00"
    drafts = []
    for at, line in sorted(lines.items()):
        for fact in list_facts(sheet.kind, line):
            male, detail = "", fact.detail
            if fact.kind == "pollinated":
                planned = sheet.cells["males"][at] if at < len(sheet.cells["printed"]) else []
                male = line.male or (tags.get(planned[0], "") if len(planned) == 1 else "")
                detail = _choose_type(rows[line.tag], male)
            value = fact.value or sheet.day.isoformat()
            drafts.append(NoteDraft(fact.kind, line.tag, value, detail, male, taken_local=taken, worker=worker))
    return drafts


def _count_notes(kind: str, lines: Mapping[int, Line]) -> int:
    if kind == "bag":
        return len(list_bag_facts(lines))
    return sum(len(list_facts(kind, line)) for line in lines.values())


def _make_bag_drafts(
    on: Occasion, season: Season, sheet: KeyedSheet, lines: Mapping[int, Line], worker: str
) -> list[NoteDraft]:
    """Notes of a bag sheet: tassels of its evening, ears of the morning after; the planned kind if none is told."""
    rows = _rows_by_tag(season, {line.tag for line in lines.values()})
    facts = list_bag_facts(lines)
    days = {"tassel_bagged": sheet.day, "pollinated": sheet.day + timedelta(days=1)}
    if days["pollinated"] > on.today and any(fact.kind == "pollinated" for fact in facts):
        told = f"The sheet has ears of the morning of {days['pollinated']}, after today, {on.today}."
        raise refuse("note_of_later", told, "Settle it on that day or later.")
    drafts = []
    for fact in facts:
        day = days[fact.kind]
        taken = "" if day == on.today else f"{day.isoformat()}T12:00:00"
        detail = fact.type
        if fact.kind == "pollinated" and not detail:
            detail = _choose_bag_type(rows[fact.tag], fact.male)
        count = str(fact.count)
        drafts.append(
            NoteDraft(fact.kind, fact.tag, count, detail, fact.male, fact.bag, taken_local=taken, worker=worker)
        )
    return drafts


def _choose_bag_type(row: Row, male: str) -> str:
    """The planned kind; pollen from a bag is never open, whatever nobody planned."""
    found = _choose_type(row, male)
    return "cross" if found == "open" else found


def _choose_type(row: Row, male: str) -> str:
    """The planned kind of pollination; another row's pollen on a self makes a cross, as on the phone."""
    planned = row.target.kind if row.target is not None else ""
    if male and male == row.tag:
        return planned if planned in ("sib", "bulk_sib") else "self"
    if not planned:
        return "cross" if male else "open"
    return "cross" if planned == "self" and male else planned


def _rows_by_tag(season: Season, tags: set[str]) -> dict[str, Row]:
    found = Row.objects.filter(station=season.station_id, season=season, tag__in=tags).select_related("target")
    return {row.tag: row for row in found}


def _tags_by_number(season: Season, sheet: KeyedSheet) -> dict[int, str]:
    numbers = {number for males in sheet.cells["males"] for number in males}
    found = Row.objects.filter(station=season.station_id, season=season, number__in=numbers)
    return dict(found.values_list("number", "tag"))


def _find_rows(station: Station, known: Mapping[int, KeyedSheet]) -> dict[str, Row]:
    season = get_season(station, known[1].cells["season"])
    lines = [line for one in known.values() for line in read_keyed(one).values()]
    return _rows_by_tag(season, {tag for line in lines for tag in (line.tag, line.male)})


def _find_unusual(
    station: Station, sheet: KeyedSheet, lines: Mapping[int, Line], rows: Mapping[str, Row]
) -> tuple[Unusual, ...]:
    stands = read_stands(station, set(rows), sheet.day)
    found = []
    for at, line in sorted(lines.items()):
        if line.tag not in rows:
            continue
        row = rows[line.tag]
        plants = stands.get(line.tag, row.kernels)
        found += [
            Unusual(at, row.number, key, value, usual) for key, value, usual in find_unusual(sheet.kind, line, plants)
        ]
    return tuple(found)
