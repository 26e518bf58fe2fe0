"""Which sheets leave for the field today, with which rows in which order, and under which code?

A sheet is written down with its code when it is printed, so that it comes back in the printed order. A code is never
given to a second sheet: printing again takes new codes.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date

from django.db import transaction

from firstsilk.answers import refuse
from firstsilk.records.models import KeyedSheet, Station, Worker
from firstsilk.science.flowering.day import Task
from firstsilk.work.flowering.day import DayList, RowFacts
from firstsilk.work.flowering.teams import list_team_names, plan_teams
from firstsilk.work.flowering.work_rules import read_rules
from firstsilk.work.occasion import Occasion
from firstsilk.work.shelf import get_season, get_station, take_tags

LINES_A_SHEET = {"tally": 20, "walk": 18}
BLANK_LINES = {"tally": 3, "walk": 2}
"""Printed lines on one page, and empty ones below them for rows that were not on the list."""
KINDS_OF_TASK = {
    "tally": ("shoot_bag", "tassel_bag", "pollinate"),
    "walk": ("look", "shoot_bag", "tassel_bag", "take_down", "pollinate", "pick"),
}
"""Kinds of task whose rows stand on a kind of sheet."""
MOST_BAG_TAGS = 20_000
MOST_BAG_SHEETS = 100
BAG_LINES = 18
"""Lines of a bag sheet, all empty: a line for each bag."""
MOST_WORKERS = 40
LONGEST_WORKER = 12


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One printed line: the row, the tasks of the day on it, and the rows whose pollen it takes."""

    row: RowFacts
    tasks: tuple[Task, ...]
    males: tuple[int, ...]

    def count(self, do: str) -> int:
        """How many of this task's things are to be done on the row today."""
        return sum(task.count for task in self.tasks if task.do == do)


@dataclass(frozen=True, slots=True)
class PaperSheet:
    """One page: its code, whose it is (worker code or team; both may be empty), its place among that one's pages."""

    code: str
    kind: str
    season: str
    day: date
    worker: str
    team: str
    page: int
    n_pages: int
    lines: tuple[SheetRow, ...]
    blank: int
    shut: tuple[RowFacts, ...] = ()


@dataclass(frozen=True, slots=True)
class _Part:
    """The tasks of one worker or one team."""

    worker: str
    team: str
    tasks: tuple[Task, ...]


def print_sheets(
    on: Occasion, day: DayList, kind: str, workers: Sequence[str] = (), n_teams: int = 0, team: str = ""
) -> tuple[PaperSheet, ...]:
    """Take codes for today's sheets and write their rows down under them.

    Parameters
    ----------
    on, day
        The occasion and its day list.
    kind
        ``tally`` (bags, ears and losses counted) or ``walk`` (all tasks of the day but sowing).
    workers
        Worker codes: the list is parted over them, a stretch of the field each, without what the rule of an age band
        bars. Empty: by team.
    n_teams, team
        So many teams of equal size, 0 for those of the workers' records, or one; only this team's sheets.

    Raises
    ------
    InputRefused
        If there is nothing to do, a worker code cannot be, or there is no such team.
    """
    day = _keep_tasks(day, KINDS_OF_TASK[kind])
    if not day.tasks:
        raise refuse("nothing_to_print", f"There is no task for this sheet on {day.today}.", "Choose another day.")
    parts = _part_tasks(on, day, _check_workers(workers), n_teams, team)
    pages = [(part, page) for part in parts for page in _cut_pages(day, part.tasks, LINES_A_SHEET[kind])]
    with transaction.atomic():
        station = get_station(on.station)
        codes = take_tags(station, "sheet", len(pages))
        made = _make_sheets(day, kind, pages, codes)
        KeyedSheet.objects.bulk_create([_as_record(on, station, sheet) for sheet in made], batch_size=200)
    return made


def count_left(day: DayList, kind: str, sheets: Iterable[PaperSheet]) -> int:
    """Tasks of the day for this kind of sheet that stand on none of these: nobody named may do them."""
    wanted = sum(1 for task in day.tasks if task.do in KINDS_OF_TASK[kind])
    return wanted - sum(len(line.tasks) for sheet in sheets for line in sheet.lines)


def take_bag_tags(on: Occasion, count: int) -> tuple[str, ...]:
    """New codes for tassel bags, in order; a code given is never given again.

    Raises
    ------
    InputRefused
        For a number that cannot be.
    """
    if not 1 <= count <= MOST_BAG_TAGS:
        raise refuse("count_wrong", f"{count} bag tags cannot be printed.", f"Give 1 to {MOST_BAG_TAGS:,}.")
    with transaction.atomic():
        return tuple(take_tags(get_station(on.station), "bag", count))


def print_bag_sheets(on: Occasion, season: str, count: int, workers: Sequence[str] = ()) -> tuple[PaperSheet, ...]:
    """Take codes for empty bag sheets of this evening and the morning after: so many for each worker, or for anybody.

    Raises
    ------
    InputRefused
        For a number or a worker code that cannot be.
    """
    if not 1 <= count <= MOST_BAG_SHEETS:
        raise refuse("count_wrong", f"{count} bag sheets cannot be printed.", f"Give 1 to {MOST_BAG_SHEETS}.")
    pages = [(worker, page) for worker in _check_workers(workers) or ("",) for page in range(1, count + 1)]
    with transaction.atomic():
        station = get_station(on.station)
        named = get_season(station, season, on.today).name
        made = tuple(
            PaperSheet(code, "bag", named, on.today, worker, "", page, count, (), BAG_LINES)
            for code, (worker, page) in zip(take_tags(station, "sheet", len(pages)), pages, strict=True)
        )
        KeyedSheet.objects.bulk_create([_as_record(on, station, sheet) for sheet in made], batch_size=200)
    return made


def _keep_tasks(day: DayList, kinds: Sequence[str]) -> DayList:
    return replace(day, tasks=tuple(task for task in day.tasks if task.do in kinds))


def _check_workers(workers: Iterable[str]) -> tuple[str, ...]:
    codes = tuple(dict.fromkeys(code.strip() for code in workers if code.strip()))
    for code in codes:
        if len(code) > LONGEST_WORKER or " " in code:
            told = f"{code[:40]!r} is no worker code."
            raise refuse("worker_wrong", told, f"Give codes of at most {LONGEST_WORKER} signs, no names.")
    if len(codes) > MOST_WORKERS:
        raise refuse("worker_wrong", f"{len(codes)} workers are too many at once.", f"Give at most {MOST_WORKERS}.")
    return codes


def _part_tasks(on: Occasion, day: DayList, workers: Sequence[str], n_teams: int, team: str) -> tuple[_Part, ...]:
    if not (workers or n_teams or team or list_team_names(on)):
        return (_Part("", "", day.tasks),)
    plan = plan_teams(on, day, len(workers) or n_teams, barred=_read_barred(on, workers) if workers else None)
    names = [one.name for one in plan.teams]
    if team and team not in names:
        raise refuse("team_unknown", f"There is no team {team!r} today.", f"Teams: {', '.join(names)}.")
    called = dict(zip(names, workers, strict=False))
    parts = []
    for name in names:
        tasks = tuple(task for _, task in plan.order(day.tasks, name))
        if tasks and team in ("", name):
            parts.append(_Part(called.get(name, ""), "" if workers else name, tasks))
    if not parts:
        raise refuse("nothing_to_print", f"Nobody has a task for this sheet on {day.today}.", "Choose another team.")
    return tuple(parts)


def _read_barred(on: Occasion, workers: Sequence[str]) -> dict[str, tuple[str, ...]]:
    """Tasks that each worker may not do by the rule of the worker's age band, by place among the workers, from 1."""
    rules = read_rules(on)
    bands = dict(
        Worker.objects.filter(station=get_station(on.station), code__in=workers).values_list("code", "age_band")
    )
    return {str(at): rules[bands[code]].barred for at, code in enumerate(workers, 1) if code in bands}


def _cut_pages(day: DayList, tasks: Iterable[Task], size: int) -> list[list[SheetRow]]:
    """Rows of these tasks page by page, in the order in which they are walked: a serpentine over the ranges."""
    by_row: dict[int, list[Task]] = {}
    for task in tasks:
        by_row.setdefault(task.number, []).append(task)
    rows = sorted((day.rows[number] for number in by_row), key=_walk_place)
    lines = [SheetRow(row, tuple(by_row[row.number]), _males_of(row, by_row[row.number])) for row in rows]
    return [lines[at : at + size] for at in range(0, len(lines), size)]


def _walk_place(row: RowFacts) -> tuple[int, int]:
    return row.field_row, row.field_col if row.field_row % 2 else -row.field_col


def _males_of(row: RowFacts, tasks: Iterable[Task]) -> tuple[int, ...]:
    """Males that the day asks for, else those planned."""
    if row.purpose != "female":
        return ()
    asked = next((task.males for task in tasks if task.do == "pollinate" and task.males), ())
    return asked or row.male_rows


def _make_sheets(
    day: DayList, kind: str, pages: Sequence[tuple[_Part, list[SheetRow]]], codes: Sequence[str]
) -> tuple[PaperSheet, ...]:
    sheets = []
    for at, ((part, lines), code) in enumerate(zip(pages, codes, strict=True)):
        mine = [index for index, (other, _) in enumerate(pages) if other is part]
        sheets.append(
            PaperSheet(
                code=code,
                kind=kind,
                season=day.season,
                day=day.today,
                worker=part.worker,
                team=part.team,
                page=mine.index(at) + 1,
                n_pages=len(mine),
                lines=tuple(lines),
                blank=BLANK_LINES[kind],
                shut=day.shut_rows,
            )
        )
    return tuple(sheets)


def _as_record(on: Occasion, station: Station, sheet: PaperSheet) -> KeyedSheet:
    """The printed sheet as its first keying with nothing keyed yet."""
    return KeyedSheet(
        station=station,
        sheet=sheet.code,
        kind=sheet.kind,
        day=sheet.day,
        worker=sheet.worker,
        entry=1,
        cells={
            "season": sheet.season,
            "team": sheet.team,
            "page": sheet.page,
            "n_pages": sheet.n_pages,
            "blank": sheet.blank,
            "printed": [line.row.tag for line in sheet.lines],
            "males": [[*line.males] for line in sheet.lines],
            "lines": {},
            "by": [],
        },
        keyed_at=on.now,
    )
