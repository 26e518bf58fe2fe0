"""Does every task find its team, and does a page that is looked at hear of changes and of nothing else?"""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from firstsilk.answers import InputRefused
from firstsilk.records.models import Row, Season, Station, Worker
from firstsilk.work.flowering.day import read_day_list
from firstsilk.work.flowering.day_mark import read_day_mark
from firstsilk.work.flowering.teams import list_team_names, plan_teams
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

ON = occasion(date(2031, 7, 22))


@pytest.fixture
def field():
    """Twelve selfs in silk and shed."""
    station = make_station()
    make_weather(station, 2030, date(2031, 7, 21))
    season = make_season(station)
    line = make_line(station, "E1")
    lot = make_lot(line)
    rows = [make_row(season, number, line, "self", make_target(season, number, line), lot) for number in range(1, 13)]
    for row in rows:
        take_note(ON, row, "sown", date(2031, 5, 12), date(2031, 5, 12))
        take_note(ON, row, "silk", date(2031, 7, 20))
        take_note(ON, row, "shed", date(2031, 7, 20))
    return rows


def test_every_task_has_one_team_and_teams_are_even(field):
    day = read_day_list(ON)
    plan = plan_teams(ON, day, 3)
    assert {task.do for task in day.tasks} >= {"pollinate", "tassel_bag", "shoot_bag"}
    assert all(plan.team_of(task) for task in day.tasks)
    walked = plan.order(day.tasks)
    assert sorted((task.do, task.number) for _, task in walked) == sorted((task.do, task.number) for task in day.tasks)
    assert [team for team, _ in walked] == sorted(team for team, _ in walked)
    busy = [plan.busy_min(team.name) for team in plan.teams]
    longest = max(walk.minutes / len(walk.rows) for walk in plan.walks)
    assert max(busy) - min(busy) <= 3 * (longest + 1)
    assert plan.walked_m < plan.dealt_m
    assert plan.sentences[0].startswith("3 teams are busy for ")


def test_teams_are_those_of_the_workers_who_are_there(field):
    station = Station.objects.get()
    there = {"first_day": date(2031, 7, 1)}
    for code, team, more in (
        ("W1", "North", there),
        ("W2", "North", {}),
        ("W3", "South", there),
        ("W4", "South", {"left_on": date(2031, 7, 22)}),
        ("W5", "East", {"first_day": date(2031, 7, 23)}),
        ("W6", "", {}),
    ):
        Worker.objects.create(station=station, code=code, team=team, **more)
    assert list_team_names(ON) == ("North", "South")
    plan = plan_teams(ON, read_day_list(ON))
    assert [(team.name, team.hands) for team in plan.teams] == [("North", 2), ("South", 1)]
    rows = {name: sum(len(walk.rows) for walk in plan.walks if walk.team == name) for name in ("North", "South")}
    assert rows["North"] > rows["South"]


def test_a_team_never_gets_what_it_may_not_do_and_what_nobody_may_is_told(field):
    day = read_day_list(ON)
    plan = plan_teams(ON, day, 2, barred={"1": {"pollinate"}})
    assert {plan.team_of(task) for task in day.tasks if task.do == "pollinate"} == {"2"}
    assert {plan.team_of(task) for task in day.tasks if task.do == "shoot_bag"} == {"1", "2"}
    none = plan_teams(ON, day, 1, barred={"1": {"pollinate"}})
    assert {task.do for task in none.undone} == {"pollinate"}
    assert none.sentences[-1] == "No team may do 12 tasks (pollinate): the crew leader decides who does."


def test_what_cannot_be_planned_is_refused(field):
    day = read_day_list(ON)
    for words in ({"n_teams": 41}, {"n_teams": -1}, {"range_length_m": 0.0}, {"range_length_m": float("nan")}):
        with pytest.raises(InputRefused):
            plan_teams(ON, day, **words)
    with pytest.raises(InputRefused, match="no team 'X'"):
        plan_teams(ON, day, 2).order(day.tasks, "X")


def test_the_mark_changes_with_what_the_list_rests_on_and_with_nothing_else(field):
    seen = [read_day_mark(ON, "2031")]
    assert read_day_mark(ON, "2031") == seen[0]
    take_note(ON, field[0], "remarked", "wet")
    seen.append(read_day_mark(ON, "2031"))
    Season.objects.update(cutoff_on=date(2031, 8, 1))
    seen.append(read_day_mark(ON, "2031"))
    Row.objects.filter(number=1).update(no_entry_until=datetime(2031, 7, 25, tzinfo=UTC))
    seen.append(read_day_mark(ON, "2031"))
    assert len(set(seen)) == 4


def test_the_mark_takes_as_many_questions_however_many_notes(field, django_assert_num_queries):
    with django_assert_num_queries(6):
        read_day_mark(ON, "2031")
    for row in field:
        take_note(ON, row, "remarked", "x")
    with django_assert_num_queries(6):
        read_day_mark(ON, "2031")
