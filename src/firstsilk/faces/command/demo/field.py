"""How is the invented nursery worked, day by day, from our own day list?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from datetime import date, timedelta
from typing import TYPE_CHECKING

from firstsilk.faces.command.demo.people import write_crew
from firstsilk.invented.crew import Crew, make_crew, send_notes
from firstsilk.invented.drafts import NoteDraft
from firstsilk.invented.nursery import FieldRow
from firstsilk.invented.season import CrewTask, answer_day_list, sow_field
from firstsilk.work.flowering.crew_plan import CrewFacts, set_crew
from firstsilk.work.flowering.day import DayList, RowFacts, read_day_list, read_rows
from firstsilk.work.flowering.devices import enrol_device, open_enrolment
from firstsilk.work.flowering.receive import receive_notes
from firstsilk.work.flowering.sheets_out import take_bag_tags
from firstsilk.work.nursery.sow import settle_sowing
from firstsilk.work.occasion import Occasion

if TYPE_CHECKING:
    from firstsilk.faces.command.demo.play import Year

At = Callable[[date], Occasion]
PHONES = 4
STAND_AFTER_DAYS = 24
RATE_ON = (7, 5)
SHELL_AFTER_DAYS = 12
BAG_CODES = 400
"""Numbered tassel bags printed for the season; the rest go on without a number and are told by the row."""
DAY_JOBS = {"look", "shoot_bag", "pollinate", "take_down", "tassel_bag"}
BEGINNERS_FROM, CREW_HOURS = (7, 14), 3.0
"""The first day of two beginners beside two who know the work, and hours a day; few, for a small nursery."""


def play_nursery(
    year: Year, season: str, bring_weather: Callable[[date], None], at: At, tell: Callable[[str], None]
) -> None:
    """Sow, look, bag, pollinate, pick and shell through one season, as the day list of each day asks."""
    rows, _ = read_rows(at(date(int(season), 4, 15)), season)
    first = min(row.sow_on for row in rows if row.sow_on)
    year.nursery = sow_field(year.world, [_field_row(row, rows) for row in rows], PHONES)
    crew = make_crew(year.world.seed, devices=_enrol_phones(at(first), crew_size=PHONES, seed=year.world.seed))
    tell(f"Sowing from {first}: {len(rows)} rows.")
    for day in _days(first, first + timedelta(days=26)):
        _work(year, season, at(day), crew, {"sow"})
    settle_sowing(at(first + timedelta(days=27)), season)
    write_crew(season, at, rows[-1].number)
    _send(year, at(first + timedelta(days=STAND_AFTER_DAYS)), crew, _all(year, "stand"))
    _send(year, at(date(int(season), *RATE_ON)), crew, _all(year, "rate"))
    crew_set = CrewFacts(2, 2, date(int(season), *BEGINNERS_FROM), CREW_HOURS, None, None)
    set_crew(at(date(int(season), 7, 1)), season, crew_set)
    year.nursery.codes.extend(take_bag_tags(at(date(int(season), 7, 1)), BAG_CODES))
    tell("Flowering: the day list of each day, the crew's answers, phones sending in the evening.")
    for day in _days(date(int(season), 7, 8), date(int(season), 8, 23)):
        bring_weather(day - timedelta(days=1))
        _work(year, season, at(day), crew, DAY_JOBS)
    tell("Harvest: ears picked at black layer, shelled two weeks later.")
    for day in _days(date(int(season), 9, 20), date(int(season), 10, 22), 4):
        bring_weather(day - timedelta(days=1))
        _work(year, season, at(day), crew, {"pick"})
        _send(year, at(day), crew, _ready_to_shell(year, day))
    last = date(int(season), 10, 24)
    _send(year, at(last), crew, _ready_to_shell(year, last + timedelta(days=30)))


def _days(first: date, last: date, step: int = 1) -> Iterable[date]:
    return (first + timedelta(days=at) for at in range(0, (last - first).days + 1, step))


def _enrol_phones(on: Occasion, crew_size: int, seed: int) -> tuple[str, ...]:
    """Let the crew's phones in, each by its own code."""
    devices = make_crew(seed, crew_size).devices
    for number, device in enumerate(devices, 1):
        code = open_enrolment(on, f"crew phone {number}")
        enrol_device(code.code, device, on.now)
    return devices


def _field_row(row: RowFacts, rows: Iterable[RowFacts]) -> FieldRow:
    tags = {one.number: one.tag for one in rows}
    assert row.sow_on is not None
    return FieldRow(
        tag=row.tag,
        line=row.line,
        sown_on=row.sow_on,
        purpose=row.purpose,
        kernels=row.kernels,
        males=tuple(tags[number] for number in row.male_rows),
        pollination=row.kind,
        ears_wanted=row.wanted,
    )


def _work(year: Year, season: str, on: Occasion, crew: Crew, doings: set[str]) -> None:
    """One day: our list, the crew's answers, the phones' batches."""
    day = read_day_list(on, season)
    tasks = [_crew_task(task.do, task.tag, task.count, task.males, day) for task in day.tasks if task.do in doings]
    _send(year, on, crew, tasks)


def _crew_task(do: str, tag: str, count: int, males: tuple[int, ...], day: DayList) -> CrewTask:
    return CrewTask(tag, do, count if do != "look" else 0, tuple(day.rows[number].tag for number in males))


def _all(year: Year, do: str) -> list[CrewTask]:
    assert year.nursery is not None
    return [CrewTask(tag, do) for tag, done in year.nursery.progress.items() if done.sown]


def _ready_to_shell(year: Year, day: date) -> list[CrewTask]:
    assert year.nursery is not None
    return [
        CrewTask(tag, "shell")
        for tag, done in year.nursery.progress.items()
        if done.picked and done.kernels is None and done.picked_on and (day - done.picked_on).days >= SHELL_AFTER_DAYS
    ]


def _send(year: Year, on: Occasion, crew: Crew, tasks: Iterable[CrewTask]) -> None:
    """The crew does its tasks; in the evening each phone sends what it holds, some of it twice."""
    assert year.nursery is not None
    drafts = answer_day_list(year.nursery, tasks, on.today)
    if not drafts:
        return
    _count(year, on.today, drafts)
    for device, wires in zip(crew.devices, send_notes(crew, drafts), strict=True):
        if wires:
            receipt = receive_notes(on, device, wires)
            year.notes["sent"] = year.notes.get("sent", 0) + len(wires)
            year.notes["stored"] = year.notes.get("stored", 0) + len(receipt.stored)
            year.notes["aside"] = year.notes.get("aside", 0) + len(receipt.aside)


def _count(year: Year, day: date, drafts: Iterable[NoteDraft]) -> None:
    ears = Counter(draft.kind for draft in drafts if draft.kind == "pollinated")["pollinated"]
    if ears > year.peak[1]:
        year.peak = (day, ears)
