"""How does a paper sheet come back into the books: its lines in the printed order, keyed once or twice, line by line?

What is keyed waits in the sheet; notes are made when it is settled (`settle_sheets`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

from django.db import transaction

from firstsilk.answers import InputRefused, refuse
from firstsilk.records.models import KeyedSheet, Row, Season, Station, Tag
from firstsilk.science.flowering.paper_boxes import HIGHEST_COUNT, Line, find_limits, list_boxes
from firstsilk.science.seed.tag_slips import find_slips
from firstsilk.science.seed.tags import print_tag, read_tag
from firstsilk.work.flowering.states import read_states
from firstsilk.work.occasion import Occasion
from firstsilk.work.shelf import get_season, get_station

SHOWN_DAYS = 14
MOST_LISTED = 400


@dataclass(frozen=True, slots=True)
class SheetStanding:
    """One printed sheet and how far it is: lines keyed the first and the second time, by whom, and when settled."""

    code: str
    kind: str
    day: date
    worker: str
    team: str
    page: int
    n_pages: int
    n_printed: int
    n_first: int
    n_second: int
    settled: bool

    @property
    def stands(self) -> str:
        """Where it stands, in words."""
        if self.settled:
            return "settled" if self.n_first or self.n_second else "not used"
        if not self.n_first and not self.n_second:
            return "not keyed yet"
        return "keyed twice" if self.n_second else "keyed once"


@dataclass(frozen=True, slots=True)
class LineToKey:
    """One line of a sheet: its row (number 0 where it is to be written), males planned, limits, and what is keyed.

    `male_number` is that of the male keyed, 0 without one.
    """

    at: int
    tag: str
    number: int
    line: str
    males: tuple[int, ...]
    needs_male: bool
    limits: Mapping[str, int]
    keyed: Line | None
    male_number: int = 0

    @property
    def is_blank(self) -> bool:
        """Whether the row's tag is written by hand."""
        return not self.tag


@dataclass(frozen=True, slots=True)
class SheetToKey:
    """A sheet as it is keyed: `entry` 1 or 2; `saved` lines are in the books."""

    standing: SheetStanding
    season: str
    entry: int
    worker: str
    keyed_by: tuple[str, ...]
    lines: tuple[LineToKey, ...]

    @property
    def saved(self) -> int:
        """Lines of this keying in the books."""
        return sum(1 for line in self.lines if line.keyed is not None)


def list_sheets(on: Occasion) -> tuple[SheetStanding, ...]:
    """Sheets of the last days, newest day first; of a day those not settled first."""
    station = get_station(on.station)
    since = on.today - timedelta(days=SHOWN_DAYS)
    records = KeyedSheet.objects.filter(station=station, day__gte=since, day__lte=on.today)
    by_sheet: dict[str, dict[int, KeyedSheet]] = {}
    for one in records.order_by("-day", "pk"):
        by_sheet.setdefault(one.sheet, {})[one.entry] = one
    told = [_tell_standing(one) for one in by_sheet.values() if 1 in one]
    return tuple(sorted(told, key=lambda one: (-one.day.toordinal(), one.settled)))[:MOST_LISTED]


def read_sheet(on: Occasion, code: str, entry: int = 1) -> SheetToKey:
    """A sheet by its code, with what is keyed in this entry and nothing of the other.

    Raises
    ------
    InputRefused
        ``sheet_unknown`` with the sign that is wrong where that can be told, ``entry_wrong``.
    """
    station = get_station(on.station)
    known = find_entries(station, code)
    if entry not in (1, 2):
        raise refuse("entry_wrong", f"A sheet is keyed a first or a second time, not a {entry}th.", "Give 1 or 2.")
    mine = known.get(entry)
    cells: dict[str, Any] = known[1].cells
    rows = _read_rows(station, get_season(station, cells["season"]), cells, mine)
    return SheetToKey(
        standing=_tell_standing(known),
        season=cells["season"],
        entry=entry,
        worker=(mine.worker if mine is not None else "") or known[1].worker,
        keyed_by=tuple(mine.cells["by"]) if mine is not None else (),
        lines=_tell_lines(station, known[1], mine, rows),
    )


def save_lines(on: Occasion, code: str, entry: int, lines: Mapping[int, Line], worker: str | None = None) -> int:
    """Keep lines of one keying, each in place of what was keyed there before; returns how many are in the books.

    Parameters
    ----------
    lines
        By place on the sheet, from 0. Tags and males as eight signs; the male and the row of a line written by hand may
        be a row's number.
    worker
        Worker code as it stands on the sheet; None leaves it.

    Raises
    ------
    InputRefused
        If the sheet is settled, the second keying is by who did the first, or a cell cannot be: nothing is kept then.
    """
    with transaction.atomic():
        station = Station.objects.select_for_update().get(pk=get_station(on.station).pk)
        known = find_entries(station, code)
        record = _open_entry(on, known, entry)
        season = get_season(station, known[1].cells["season"])
        for at, line in lines.items():
            record.cells["lines"][str(at)] = _as_cells(check_line(season, known[1], at, line))
        record.cells["by"] = sorted({*record.cells["by"], on.who})
        record.keyed_at, record.keyed_by = on.now, record.keyed_by or on.who[:150]
        if worker is not None:
            record.worker = _check_worker(worker)
        record.save()
    return len(record.cells["lines"])


def save_sheets(on: Occasion, sheets: Mapping[str, Mapping[int, Line]], entry: int, worker: str | None = None) -> None:
    """Keep the lines of several sheets, as `save_lines`; all or none."""
    with transaction.atomic():
        for code, lines in sheets.items():
            save_lines(on, code, entry, lines, worker)


def find_entries(station: Station, code: str) -> dict[int, KeyedSheet]:
    """The keyings of a sheet by entry; the first is there from the printing on."""
    try:
        tag = read_tag(code)
    except InputRefused as refused:
        recent = KeyedSheet.objects.filter(station=station, entry=1, settled_at=None).values_list("sheet", flat=True)
        raise _tell_slips(code, refused, recent, "sheet") from None
    found = {one.entry: one for one in KeyedSheet.objects.filter(station=station, sheet=tag)}
    if 1 not in found:
        told = f"There is no sheet {print_tag(tag)} here."
        raise refuse("sheet_unknown", told, "Read the code beside the square on the sheet, not the tag of a row.")
    return found


def find_sheet_row(season: Season, text: str) -> Row:
    """The row meant by a number, or by a tag whose check sign fits; else a refusal that names the sign.

    Raises
    ------
    InputRefused
        ``tag_check``, ``tag_length``, ``tag_sign`` or ``row_unknown``.
    """
    rows = Row.objects.filter(station=season.station_id, season=season).select_related("line", "target")
    typed = text.strip()
    if typed.isdecimal() and len(typed) <= 6:
        found = rows.filter(number=int(typed)).first()
    else:
        try:
            found = rows.filter(tag=read_tag(typed)).first()
        except InputRefused as refused:
            raise _tell_slips(typed, refused, rows.values_list("tag", flat=True), "tag") from None
    if found is None:
        told = f"There is no row {typed[:40]!r} in season {season.name}."
        raise refuse("row_unknown", told, "Read the number or the tag on the stake again.")
    return found


def read_stands(station: Station, tags: Iterable[str], day: date) -> dict[str, int]:
    """Plants noted as alive by a day, by tag, where any were."""
    states = read_states(station, tags, day, ("stand",))
    return {tag: one.stand for tag, one in states.items() if one.stand is not None}


def check_line(season: Season, sheet: KeyedSheet, at: int, line: Line) -> Line:
    """A line with its row and male found and its numbers possible."""
    printed: Sequence[str] = sheet.cells["printed"]
    if not 0 <= at < len(printed) + sheet.cells["blank"]:
        raise refuse("line_wrong", f"The sheet has no line {at + 1}.", f"It has {len(printed)} printed lines.")
    where = f"line {at + 1}"
    keys = {box.key: box for box in list_boxes(sheet.kind)}
    for key, value in line.values:
        if key not in keys:
            raise refuse("box_unknown", f"{where}: the sheet has no box {key!r}.", f"Boxes: {', '.join(keys)}.")
        highest = find_limits(sheet.kind, 0)[key] if keys[key].seen or key == "type" else HIGHEST_COUNT
        if not 0 <= value <= highest:
            told = f"{where}, {key.replace('_', ' ')}: {value} cannot be."
            raise refuse("count_wrong", told, f"Write a whole number from 0 to {highest:,}, or leave it empty.")
    tag = printed[at] if at < len(printed) else line.tag and find_sheet_row(season, line.tag).tag
    if sheet.kind == "bag":
        return check_bag_line(season, where, replace(line, tag=tag))
    if not tag and (line.values or line.male):
        raise refuse("row_missing", f"{where}: the row is not said.", "Write its number or the tag on its stake.")
    male = find_sheet_row(season, line.male).tag if line.male else ""
    return Line(tag, male, tuple(sorted(line.values)))


def check_bag_line(season: Season, where: str, line: Line) -> Line:
    """A line of a bag sheet with its bag and rows found; a line may tell the evening, the morning or both."""
    ears = line.get("pollinated")
    if not line.bag and (line.tag or line.male or line.values):
        raise refuse("bag_missing", f"{where}: the bag is not said.", "Write the 8 signs on the bag's label.")
    if ears and not line.tag:
        raise refuse(
            "row_missing", f"{where}: the female row is not said.", "Write its number or the tag on its stake."
        )
    if line.tag and ears is None:
        raise refuse("ears_missing", f"{where}: the ears are not said.", "Write how many took the pollen; 0 for none.")
    if line.get("type") is not None and not (line.male or line.tag):
        raise refuse("row_missing", f"{where}: a type without a row.", "Write the male row, the female row or both.")
    male = find_sheet_row(season, line.male).tag if line.male else ""
    bag = find_bag(season.station, line.bag) if line.bag else ""
    values = tuple(sorted(pair for pair in line.values if pair != ("type", 0)))
    return Line(line.tag, male, values, bag)


def find_bag(station: Station, text: str) -> str:
    """The eight signs of a bag's code; else a refusal that names the sign, or says what else the code hangs on."""
    bags = Tag.objects.filter(station=station, hangs_on="bag").values_list("code", flat=True)
    try:
        code = read_tag(text.strip())
    except InputRefused as refused:
        raise _tell_slips(text.strip(), refused, bags, "bag") from None
    known = Tag.objects.filter(station=station, code=code).first()
    if known is None or known.hangs_on != "bag":
        told = f"{print_tag(code)} is no bag here" + ("." if known is None else f": it hangs on a {known.hangs_on}.")
        raise refuse("bag_unknown", told, "Read the code on the bag's label again.")
    return code


def read_keyed(record: KeyedSheet | None) -> dict[int, Line]:
    """The lines of one keying by place."""
    if record is None:
        return {}
    cells: Mapping[str, Any] = record.cells["lines"]
    return {
        int(at): Line(one["tag"], one["male"], tuple((key, value) for key, value in one["values"]), one.get("bag", ""))
        for at, one in cells.items()
    }


def _as_cells(line: Line) -> dict[str, object]:
    return {"tag": line.tag, "male": line.male, "values": [list(pair) for pair in line.values], "bag": line.bag}


def _open_entry(on: Occasion, known: Mapping[int, KeyedSheet], entry: int) -> KeyedSheet:
    first = known[1]
    if first.settled_at is not None:
        told = f"The sheet {print_tag(first.sheet)} is settled: its notes are made."
        raise refuse("sheet_settled", told, "Take a wrong note back on the page of its row.")
    if entry not in (1, 2):
        raise refuse("entry_wrong", f"A sheet is keyed a first or a second time, not a {entry}th.", "Give 1 or 2.")
    _check_person(on, known, entry)
    mine = known.get(entry)
    if mine is not None:
        return mine
    return KeyedSheet(
        station=first.station,
        sheet=first.sheet,
        kind=first.kind,
        day=first.day,
        worker=first.worker,
        entry=2,
        cells={"lines": {}, "by": []},
        keyed_at=on.now,
    )


def check_keyer(on: Occasion, code: str, entry: int) -> None:
    """Refuse whoever did the other keying of a sheet: two keyings are by two people, and the second is blind."""
    _check_person(on, find_entries(get_station(on.station), code), entry)


def _check_person(on: Occasion, known: Mapping[int, KeyedSheet], entry: int) -> None:
    other = known.get(3 - entry)
    if other is not None and on.who in other.cells["by"]:
        told = f"{on.who} keyed this sheet the {'first' if entry == 2 else 'second'} time."
        raise refuse("same_person", told, "Let somebody else key it, with an account of their own.")


def _check_worker(worker: str) -> str:
    code = worker.strip()
    if len(code) > 12:
        raise refuse(
            "worker_wrong", f"The worker code has {len(code)} signs, at most 12 fit.", "Write a code, no name."
        )
    return code


def _tell_slips(typed: str, refused: InputRefused, known: object, what: str) -> InputRefused:
    """The refusal of a mistyped code, with the sign that is wrong where one code is that near."""
    slips = find_slips(typed, list(known))  # type: ignore[call-overload]
    if not slips or refused.refusal is None:
        return refused
    told = "; or ".join(f"{one.said} for {print_tag(one.tag)}" for one in slips)
    return refuse(refused.refusal.code, f"{typed[:20]!r} is no {what}: {told}.", "Compare these signs with the paper.")


def _tell_standing(known: Mapping[int, KeyedSheet]) -> SheetStanding:
    first, second = known[1], known.get(2)
    cells: Mapping[str, Any] = first.cells
    return SheetStanding(
        code=first.sheet,
        kind=first.kind,
        day=first.day,
        worker=first.worker,
        team=cells["team"],
        page=cells["page"],
        n_pages=cells["n_pages"],
        n_printed=len(cells["printed"]),
        n_first=len(cells["lines"]),
        n_second=len(second.cells["lines"]) if second is not None else 0,
        settled=first.settled_at is not None,
    )


def _read_rows(station: Station, season: Season, cells: Mapping[str, Any], mine: KeyedSheet | None) -> dict[str, Row]:
    tags = {*cells["printed"], *(tag for line in read_keyed(mine).values() for tag in (line.tag, line.male))}
    rows = Row.objects.filter(station=station, season=season, tag__in=tags).select_related("line", "target")
    return {row.tag: row for row in rows}


def _tell_lines(
    station: Station, sheet: KeyedSheet, mine: KeyedSheet | None, rows: Mapping[str, Row]
) -> tuple[LineToKey, ...]:
    cells: Mapping[str, Any] = sheet.cells
    keyed = read_keyed(mine)
    stands = read_stands(station, rows.keys(), sheet.day)
    told = []
    for at in range(len(cells["printed"]) + cells["blank"]):
        tag = cells["printed"][at] if at < len(cells["printed"]) else ""
        row = rows.get(tag or (keyed[at].tag if at in keyed else ""))
        plants = 0 if row is None else stands.get(row.tag, row.kernels)
        males = tuple(cells["males"][at]) if tag else ()
        told.append(
            LineToKey(
                at=at,
                tag=tag,
                number=row.number if row is not None else 0,
                line=row.line.name if row is not None else "",
                males=males,
                needs_male=len(males) > 1,
                limits=find_limits(sheet.kind, plants),
                keyed=keyed.get(at),
                male_number=rows[keyed[at].male].number if at in keyed and keyed[at].male in rows else 0,
            )
        )
    return tuple(told)
