"""Do the year's papers say the same as the stakes, the plan and the clock on the wall?"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from firstsilk.faces.paper.lists import render_day_sheet
from firstsilk.faces.paper.tags import MARKS, render_row_tags
from firstsilk.faces.paper.walkbook import render_walk_book
from firstsilk.faces.paper.year import make_day_sheet, make_row_tags, make_walk_book
from firstsilk.records.models import Row
from firstsilk.work.flowering.day import read_day_list
from tests.factories import (
    make_line,
    make_lot,
    make_row,
    make_season,
    make_station,
    make_target,
    make_weather,
    occasion,
    take_note,
)

pytestmark = pytest.mark.django_db

DAY = date(2031, 7, 22)
ON = occasion(DAY)


@pytest.fixture
def rows():
    """Row 1 a self, row 2 a female, row 3 its male, row 4 a sib; all sown, in silk and in shed."""
    station = make_station(held=DAY)
    make_weather(station, 2029, date(2031, 7, 21))
    season = make_season(station)
    mother, male = (make_lot(make_line(station, name)) for name in ("E1", "E2"))
    sib = make_target(season, 3, mother.line, kind="sib")
    made = [
        make_row(season, 1, mother.line, "self", make_target(season, 1, mother.line), mother),
        make_row(season, 2, mother.line, "female", make_target(season, 2, mother.line, male.line), mother),
        make_row(season, 3, male.line, "male", None, male),
        make_row(season, 4, mother.line, "self", sib, mother),
    ]
    for row in made:
        take_note(ON, row, "sown", date(2031, 5, 12), date(2031, 5, 12))
        take_note(ON, row, "silk", date(2031, 7, 21))
        take_note(ON, row, "shed", date(2031, 7, 21))
    return made


def shut(row: Row, until: datetime) -> None:
    row.no_entry_until = until
    row.save()


def test_a_cross_names_its_male_as_the_stake_of_the_male_does(rows) -> None:
    tags = make_row_tags(read_day_list(ON))
    assert tags[1].do.endswith(" with row 0003")
    assert tags[1].male_text == "E2"
    tasks = {task.number: task.do for task in make_day_sheet(ON, read_day_list(ON)).tasks}
    assert " with row 0003" in tasks[2]
    render_row_tags(tags)


def test_many_males_are_left_to_the_leader_and_still_fit_on_the_tag(rows) -> None:
    for number in range(5, 9):
        make_row(rows[0].season, number, rows[2].line, "male", None, rows[2].lot)
    tags = make_row_tags(read_day_list(ON))
    assert tags[1].do.endswith(" with row 0003 or 0005 or 0006 or 2 more: ask")
    render_row_tags(tags)


def test_a_sib_is_not_taken_for_a_self(rows) -> None:
    day = read_day_list(ON)
    tasks = {task.number: task for task in make_day_sheet(ON, day).tasks}
    assert "each its own pollen" in tasks[1].do
    assert "each its own pollen" not in tasks[4].do
    assert "pollen of another plant of this row" in tasks[4].do
    for purposes in (
        [tasks[1].purpose, tasks[4].purpose],
        [row.purpose for row in make_walk_book(ON, day).rows if row.number in (1, 4)],
        [tag.purpose for tag in make_row_tags(day) if tag.number in (1, 4)],
    ):
        assert purposes == ["self", "sib"]
        assert MARKS[purposes[0]] != MARKS[purposes[1]]


def test_no_entry_ends_by_the_clock_of_the_station_and_never_early(rows) -> None:
    station = rows[0].season.station
    station.time_zone = "America/Winnipeg"
    station.save()
    shut(rows[0], datetime(2031, 7, 23, 2, 30, 20, tzinfo=UTC))
    day = read_day_list(ON)
    # 02:30:20 UTC is 21:30:20 of the day before in Winnipeg in summer (UTC - 5 h); the minute is rounded up
    book, sheet = make_walk_book(ON, day), make_day_sheet(ON, day)
    assert [row.warning for row in book.rows if row.warning] == ["sprayed, until 22 Jul 21:31"]
    assert [task.blocked for task in sheet.tasks if task.blocked] == ["sprayed, until 22 Jul 21:31"]
    render_walk_book(book)
    render_day_sheet(sheet)


def test_one_of_a_thing_is_not_said_as_many(rows) -> None:
    day = read_day_list(ON)
    said = {}
    for count in (1, 2):
        changed = replace(day, tasks=tuple(replace(task, count=count) for task in day.tasks))
        said[count] = " ; ".join(task.do for task in make_day_sheet(ON, changed).tasks)
    assert "Pollinate 1 ear with" in said[1]
    assert "Pollinate 2 ears with" in said[2]
    assert said[1].count("Put on 1 shoot bag") == said[2].count("Put on 2 shoot bags") > 0
    assert "shoot bags" not in said[1]
