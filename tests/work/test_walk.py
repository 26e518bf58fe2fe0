"""What a phone takes along: the same tasks as the list at the desk, words as codes, windows, and bags with a code."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from firstsilk.records.models import Worker
from firstsilk.work.flowering.day import read_day_list
from firstsilk.work.flowering.notes import take_back
from firstsilk.work.flowering.walk import read_walk
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

SOWN = date(2031, 5, 12)
TODAY = date(2031, 7, 15)


@pytest.fixture
def field():
    """Row 1 a self, row 2 a female, row 3 its male; shoots bagged, silk and shed seen three days ago."""
    station = make_station()
    make_weather(station, 2030, TODAY)
    season = make_season(station)
    lots = [make_lot(make_line(station, name, silk, silk - 20)) for name, silk in (("E1", 1200), ("E2", 1180))]
    rows = [
        make_row(season, 1, lots[0].line, "self", make_target(season, 1, lots[0].line), lots[0]),
        make_row(season, 2, lots[0].line, "female", make_target(season, 2, lots[0].line, lots[1].line), lots[0]),
        make_row(season, 3, lots[1].line, "male", None, lots[1]),
    ]
    for row in rows:
        take_note(occasion(SOWN), row, "sown", SOWN)
    for row in rows[:2]:
        take_note(occasion(TODAY - timedelta(days=8)), row, "shoot_bagged", 9)
        take_note(occasion(TODAY - timedelta(days=3)), row, "silk", TODAY - timedelta(days=3))
    take_note(occasion(TODAY - timedelta(days=3)), rows[2], "shed", TODAY - timedelta(days=3))
    return rows


def walk_rows(day=TODAY):
    return {row.number: row for row in read_walk(occasion(day)).rows}


def test_walk_has_the_tasks_of_the_list_at_the_desk_with_ranks_from_the_most_urgent(field):
    desk = read_day_list(occasion(TODAY)).tasks
    on_phone = {(row.number, task.do): task for row in walk_rows().values() for task in row.tasks}
    assert {(task.number, task.do) for task in desk} == set(on_phone)
    for task in desk:
        told = on_phone[(task.number, task.do)]
        assert (told.count, told.males, told.days_left) == (task.count, task.males, task.days_left)
    for do in {task.do for task in desk}:
        ranked = sorted((task for task in desk if task.do == do), key=lambda one: on_phone[(one.number, do)].rank)
        assert [on_phone[(one.number, do)].rank for one in ranked] == list(range(1, len(ranked) + 1))
        assert [one.urgency for one in ranked] == sorted((one.urgency for one in ranked), reverse=True)


def test_step_is_a_code_with_values_beside_the_sentence_of_older_phones(field):
    row = walk_rows()[2]
    assert (row.step.code, row.step.males, row.step.ears) == ("pollinate", (3,), row.state["ears_wanted"])
    assert row.do == f"Pollinate {row.step.ears} ears with pollen of row 3."
    assert (walk_rows()[3].step.code, walk_rows()[1].step.code) == ("take_pollen", "self")


def test_windows_tell_when_silk_and_shed_are_good_and_whether_they_were_seen(field):
    silk, shed = walk_rows()[2].silk, walk_rows()[3].shed
    assert (silk.first, silk.half, silk.last, silk.seen) == ("2031-07-10", "2031-07-12", "2031-07-18", True)
    assert (shed.first, shed.half, shed.last, shed.seen) == ("2031-07-10", "2031-07-12", "2031-07-19", True)
    assert walk_rows()[2].shed is None
    assert walk_rows()[3].silk is None
    assert walk_rows()[1].shed.seen is False


def test_cutoff_travels(field):
    assert read_walk(occasion(TODAY)).cutoff_on == "2031-08-20"


def test_teams_of_today_have_their_stretches_and_one_team_has_none(field):
    assert read_walk(occasion(TODAY)).teams == ()
    for code, team in (("W1", "A"), ("W2", "B")):
        Worker.objects.create(station=field[0].station, code=code, team=team)
    walk = read_walk(occasion(TODAY))
    assert {stretch.team for stretch in walk.teams} <= {"A", "B"}
    dealt = sorted((kind, row) for stretch in walk.teams for kind in stretch.kinds for row in stretch.rows)
    tasks = {(task.do, row.number) for row in walk.rows for task in row.tasks}
    assert {one for one in tasks if one in dealt} == tasks


def test_bags_of_the_last_days_travel_with_male_type_and_use(field):
    _, female, male = field
    evening = TODAY - timedelta(days=1)
    take_note(occasion(evening), male, "tassel_bagged", 1, bag="0000-BAG1", detail="cross")
    take_note(occasion(evening), male, "tassel_bagged", 1, bag="0000-BAG2")
    undone = take_note(occasion(evening), male, "tassel_bagged", 1, bag="0000-BAG3")
    take_back(occasion(TODAY), undone, "slip")
    take_note(occasion(TODAY - timedelta(days=9)), male, "tassel_bagged", 1, bag="0000-OLD")
    take_note(occasion(TODAY), female, "pollinated", 2, bag="0000-BAG2", detail="cross")
    first, second = read_walk(occasion(TODAY)).bags
    assert (first.bag, first.males, first.type, first.hung_on) == ("0000-BAG1", (male.tag,), "cross", "2031-07-14")
    assert (first.used_on, first.used_rows) == ("", ())
    assert (second.bag, second.males, second.type) == ("0000-BAG2", (male.tag,), "cross")
    assert (second.used_on, second.used_rows) == ("2031-07-15", (female.tag,))


def test_bag_over_tassels_of_two_rows_carries_both(field):
    for row in (field[0], field[2]):
        take_note(occasion(TODAY), row, "tassel_bagged", 1, bag="0000-BULK", detail="pollen_mix")
    (bag,) = read_walk(occasion(TODAY)).bags
    assert bag.males == tuple(sorted((field[0].tag, field[2].tag)))


def test_bag_used_before_its_evening_note_came_has_the_male_that_was_said(field):
    take_note(occasion(TODAY), field[1], "pollinated", 1, bag="0000-BAG9", detail="cross", male=field[2].tag)
    (bag,) = read_walk(occasion(TODAY)).bags
    assert (bag.males, bag.hung_on) == ((field[2].tag,), "")


def test_more_rows_and_bags_take_no_more_questions_to_the_books(field):
    def count():
        with CaptureQueriesContext(connection) as asked:
            read_walk(occasion(TODAY))
        return len(asked)

    before = count()
    season, line = field[1].season, field[1].line
    for number in range(4, 30):
        row = make_row(season, number, line, "female", field[1].target)
        take_note(occasion(TODAY), row, "tassel_bagged", 1, bag=f"0000-B{number}")
    assert count() == before
