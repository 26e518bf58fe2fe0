"""How is the invented nursery worked, day by day, from our own day list?"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import date, timedelta
from typing import TYPE_CHECKING

from firstsilk.faces.command.demo.evening import end_day
from firstsilk.faces.command.demo.harvest import harvest_nursery
from firstsilk.faces.command.demo.people import post_july_spray, write_crew
from firstsilk.faces.command.demo.run import PHONES, At, Run, enrol_phones, list_days, send
from firstsilk.faces.command.demo.sheets import key_left_sheet, write_on_paper
from firstsilk.invented.drafts import NoteDraft
from firstsilk.invented.nursery import FieldRow
from firstsilk.invented.season import CrewTask, answer_day_list, sow_field
from firstsilk.work.flowering.crew_plan import CrewFacts, set_crew
from firstsilk.work.flowering.day import DayList, RowFacts, read_day_list, read_rows
from firstsilk.work.flowering.sheets_out import take_bag_tags
from firstsilk.work.nursery.sow import settle_sowing

if TYPE_CHECKING:
    from firstsilk.faces.command.demo.play import Year

STAND_AFTER_DAYS = 24
RATE_ON = (7, 5)
BAG_CODES = 400
"""Numbered tassel bags printed for the season; the rest go on without a number and are told by the row."""
DAY_JOBS = {"look", "shoot_bag", "pollinate", "take_down", "tassel_bag"}
BEGINNERS_FROM, CREW_HOURS = (7, 18), 3.0
"""The first day of two beginners beside four who know the work, and hours a day; few, for a small nursery."""
SPRAYED_ON = (7, 20)


def play_nursery(
    year: Year, season: str, bring_weather: Callable[[date], None], at: At, tell: Callable[[str], None]
) -> None:
    """Sow, look, bag, pollinate, pick and shell through one season, as the day list of each day asks."""
    rows, _ = read_rows(at(date(int(season), 4, 15)), season)
    first = min(row.sow_on for row in rows if row.sow_on)
    year.nursery = sow_field(year.world, [_field_row(row, rows) for row in rows], PHONES)
    crew = enrol_phones(at(first), year.world.seed)
    run = Run(year, season, at, bring_weather, tell, year.nursery, crew)
    tell(f"Sowing from {first}: {len(rows)} rows.")
    _grow(run, first, rows[-1].number)
    tell("Flowering: the day list of each day, the crew's answers, phones and paper in the evening, the day closed.")
    for day in list_days(run.day(7, 8), run.day(8, 23)):
        bring_weather(day - timedelta(days=1))
        _flower(run, day, rows[-1].number)
    tell("Harvest: ears picked at black layer, dried in crates, shelled two weeks later.")
    harvest_nursery(run)


def _grow(run: Run, first: date, last_row: int) -> None:
    """From sowing to the day before flowering: rows sown, the crew written down, stands counted, vigour rated."""
    at, season = run.at, run.season
    for day in list_days(first, first + timedelta(days=26)):
        send(run, at(day), _count(run, day, _answer(run, read_day_list(at(day), season), {"sow"}, day)))
    settle_sowing(at(first + timedelta(days=27)), season)
    write_crew(season, at, last_row)
    for day, do in ((first + timedelta(days=STAND_AFTER_DAYS), "stand"), (run.day(*RATE_ON), "rate")):
        tasks = [CrewTask(tag, do) for tag, done in run.field.progress.items() if done.sown]
        send(run, at(day), answer_day_list(run.field, tasks, day))
    july = at(run.day(7, 1))
    set_crew(july, season, CrewFacts(4, 2, run.day(*BEGINNERS_FROM), CREW_HOURS, None, None))
    run.field.codes.extend(take_bag_tags(july, BAG_CODES))


def _flower(run: Run, day: date, last_row: int) -> None:
    """One day of July or August: our list, the crew's answers, what is keyed from paper, the evening."""
    key_left_sheet(run, day)
    if (day.month, day.day) == SPRAYED_ON:
        post_july_spray(run.at(day, 6), run.season, last_row)
    on = run.at(day)
    listed = read_day_list(on, run.season)
    drafts = _count(run, day, _answer(run, listed, DAY_JOBS, day))
    end_day(run, on, drafts, write_on_paper(run, on, listed, drafts))


def _answer(run: Run, day: DayList, doings: set[str], today: date) -> tuple[NoteDraft, ...]:
    """What the crew does and notes of a day's list."""
    tasks = [_crew_task(task.do, task.tag, task.count, task.males, day) for task in day.tasks if task.do in doings]
    return answer_day_list(run.field, tasks, today)


def _crew_task(do: str, tag: str, count: int, males: tuple[int, ...], day: DayList) -> CrewTask:
    return CrewTask(tag, do, count if do != "look" else 0, tuple(day.rows[number].tag for number in males))


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


def _count(run: Run, day: date, drafts: tuple[NoteDraft, ...]) -> tuple[NoteDraft, ...]:
    """Remember the busiest day by its ears, each as it was put right last."""
    wrong = {draft.replaces_key for draft in drafts}
    ears = sum(int(draft.value) for draft in drafts if draft.kind == "pollinated" and draft.key not in wrong)
    if ears > run.year.peak[1]:
        run.year.peak = (day, ears)
    return drafts
