"""Are the sowing days of a plan those of all crosses together, within what the field allows, and told honestly?"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from firstsilk.answers import InputRefused
from firstsilk.records.models import Line, Row, Target
from firstsilk.work.nursery.joint_sowing import MALE_EARS_PER_ROW, tell_joint
from firstsilk.work.nursery.meetings import read_meetings
from firstsilk.work.nursery.plan import PlanSettings, Want, add_targets, plan_nursery
from firstsilk.work.nursery.sowing_calendar import read_sowing_calendar
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

ON = occasion(date(2031, 4, 1))
SETTINGS = PlanSettings(sow_from=date(2031, 5, 12), rows_per_range=10)
UNITS = {"A": 1200, "B": 1290, "C": 1400, "M": 1250, "N": 1380}


@pytest.fixture
def season():
    station = make_station()
    make_weather(station, 2026, date(2031, 3, 31))
    for name, silk in UNITS.items():
        make_lot(make_line(station, name, silk, silk - 20), kernels=2000)
    return make_season(station)


def plan_crosses(*pairs, ears=6, **settings):
    add_targets(ON, "2031", [Want("cross", female, male, ears=ears) for female, male in pairs])
    return plan_nursery(ON, "2031", replace(SETTINGS, **settings))


def days_of(plan, line, purpose):
    return sorted({row.sow_on for row in plan.rows if row.line == line and row.purpose == purpose})


def test_a_line_has_the_same_days_in_all_its_crosses_and_its_male_rows_are_shared(season):
    plan = plan_crosses(("A", "M"), ("B", "M"), ("C", "M"), ("C", "N"))
    for line, purpose in (("A", "female"), ("B", "female"), ("C", "female"), ("M", "male"), ("N", "male")):
        assert len(days_of(plan, line, purpose)) == 1
    asked = sum(row.pollinations for row in plan.rows if row.male == "M")
    assert sum(row.line == "M" for row in plan.rows) == -(-asked // MALE_EARS_PER_ROW)
    assert {one.target for one in plan.joint.meetings} == {1, 2, 3, 4}


def test_dates_chosen_together_are_no_worse_than_all_on_the_first_day(season):
    plan = plan_crosses(("A", "M"), ("B", "M"), ("C", "M"), ("C", "N"), ("A", "N"))
    joint = plan.joint
    assert joint.first_day_ears < joint.expected_ears <= joint.ears_wanted
    assert joint.gap_frac <= 1e-3
    told = " ".join(tell_joint(joint))
    assert f"{joint.expected_ears:.1f} of {joint.ears_wanted} good ears" in told
    assert "No other days give more" in told


def test_a_male_that_is_split_has_rows_on_each_day_with_their_number(season):
    make_lot(make_line(season.station, "D", 1600, 1580), kernels=2000)
    wide = {"last_sowing_days": 14, "male_sowings": 2, "closed": tuple(date(2031, 5, day) for day in range(13, 26))}
    plan = plan_crosses(("A", "M"), ("D", "M"), ears=30, **wide)
    split = [line for line in ("M", "N") if len(days_of(plan, line, "male")) == 2]
    assert split
    for line in split:
        rows = [row for row in plan.rows if row.line == line and row.purpose == "male"]
        days = days_of(plan, line, "male")
        assert {(row.sow_on, row.sowing) for row in rows} == {(days[0], 1), (days[1], 2)}
        # The ears asked of the male are dealt evenly over its days.
        asked = sum(row.pollinations for row in plan.rows if row.male == line)
        counts = Counter(row.sowing for row in rows)
        assert counts[1] == counts[2] == -(-asked // (2 * MALE_EARS_PER_ROW))
    fixed = plan_nursery(ON, "2031", replace(SETTINGS, **wide), fix=True)
    assert fixed.rows == plan.rows
    assert set(Row.objects.filter(line__name=split[0], purpose="male").values_list("sowing", flat=True)) == {1, 2}
    calendar = read_sowing_calendar(ON, "2031")
    rows = [row for day in calendar.days for row in day.rows if row.line == split[0] and row.purpose == "male"]
    assert {row.sowings for row in rows} == {2}


def test_no_day_gets_more_rows_than_can_be_sown_selfs_included(season):
    add_targets(ON, "2031", [Want("self", "A", ears=12), Want("self", "C", ears=8)])
    plan = plan_crosses(("A", "M"), ("B", "M"), ("C", "N"), rows_per_day=3)
    assert max(Counter(row.sow_on for row in plan.rows).values()) <= 3
    late = [row.sow_on for row in plan.rows if row.line == "C" and row.purpose == "self"]
    early = [row.sow_on for row in plan.rows if row.line == "A" and row.purpose == "self"]
    assert max(late) <= min(early)


@pytest.mark.parametrize("crosses", [[("A", "M"), ("B", "M"), ("C", "N")], []])
def test_rows_that_do_not_fit_are_refused_in_a_sentence(season, crosses):
    add_targets(ON, "2031", [Want("self", "A", ears=60)])
    with pytest.raises(InputRefused, match="do not fit on the sowing days"):
        plan_crosses(*crosses, rows_per_day=2, last_sowing_days=1)


def test_closed_days_and_days_of_the_week_are_not_sown(season):
    shut = tuple(date(2031, 5, 12) + timedelta(days=step) for step in range(3))
    plan = plan_crosses(("A", "M"), ("C", "M"), closed=shut, weekdays=(0, 1, 2, 3, 4))
    used = {row.sow_on for row in plan.rows}
    assert not used & set(shut)
    assert all(day.weekday() < 5 for day in used)
    with pytest.raises(InputRefused, match="No day of the sowing window is open"):
        plan_nursery(ON, "2031", replace(SETTINGS, closed=shut, last_sowing_days=2))


def test_no_female_is_sown_after_the_last_safe_day_but_a_male_may_be(season):
    free = plan_crosses(("A", "C"))
    assert days_of(free, "A", "female")[0] > date(2031, 5, 16)
    held = plan_nursery(ON, "2031", replace(SETTINGS, last_safe_on=date(2031, 5, 14)))
    assert days_of(held, "A", "female")[0] <= date(2031, 5, 14)
    assert held.joint.expected_ears < free.joint.expected_ears


def test_a_cross_without_seed_does_not_pull_the_days_of_the_others(season):
    alone = plan_crosses(("C", "M"))
    make_line(season.station, "None", 1000, 980)
    add_targets(ON, "2031", [Want("cross", "None", "M", ears=40, priority=1)])
    both = plan_nursery(ON, "2031", SETTINGS)
    assert [lack.target for lack in both.short] == [2]
    assert days_of(both, "M", "male") == days_of(alone, "M", "male")
    assert [one.target for one in both.joint.meetings] == [1]


def test_a_plan_of_selfs_alone_has_no_meetings(season):
    add_targets(ON, "2031", [Want("self", "A")])
    assert plan_nursery(ON, "2031", SETTINGS).joint is None


def test_parents_that_cannot_meet_are_named_as_at_risk(season):
    make_lot(make_line(season.station, "Late", 1900, 1880))
    make_lot(make_line(season.station, "Early", 900, 880))
    plan = plan_crosses(("Late", "Early"), ("B", "M"), last_sowing_days=5)
    assert [one.female for one in plan.joint.at_risk] == ["Late"]
    assert plan.joint.meetings[0].at_risk.startswith("only early and late plants meet: half-way days met in 0 of")
    assert "At risk: target 1 (Late by Early)." in tell_joint(plan.joint)


def test_a_line_never_seen_before_is_sown_by_a_stand_in_with_wider_uncertainty(season):
    make_lot(make_line(season.station, "New", None, None))
    plan = plan_crosses(("New", "M"))
    assert any("own units to silk of New" in one for one in plan.basis.missing)
    known = plan_crosses(("B", "M"))
    by_female = {one.female: one for one in known.joint.meetings}
    assert by_female["New"].ears_frac < by_female["B"].ears_frac


@pytest.mark.parametrize(
    "wrong",
    [
        {"male_sowings": 0},
        {"male_sowings": 4},
        {"female_sowings": 3},
        {"rows_per_day": 0},
        {"weekdays": (7,)},
        {"last_safe_on": date(2031, 5, 1)},
    ],
)
def test_limits_that_cannot_be_are_refused(season, wrong):
    with pytest.raises(InputRefused):
        plan_crosses(("A", "M"), **wrong)


def make_field(season, n=1):
    """A female and its male row for each of `n` crosses, sown as planned on two days."""
    female, male = Line.objects.get(name="B"), Line.objects.get(name="M")
    rows = []
    for at in range(n):
        target = make_target(season, at + 1, female, male)
        rows.append(make_row(season, 2 * at + 1, female, "female", target, sow_on=date(2031, 5, 12)))
        rows.append(make_row(season, 2 * at + 2, male, "male", None, sow_on=date(2031, 5, 15)))
    return rows


def test_who_meets_is_told_by_the_days_noted_as_sown(season):
    female, male = make_field(season)
    planned = read_meetings(ON, "2031").meetings[0]
    assert (planned.female_sown, planned.male_sown) == ((date(2031, 5, 12),), (date(2031, 5, 15),))
    assert not planned.at_risk
    later = occasion(date(2031, 6, 20))
    take_note(later, female, "sown", date(2031, 5, 12))
    take_note(later, male, "sown", date(2031, 6, 15))
    sown = read_meetings(later, "2031").meetings[0]
    assert sown.male_sown == (date(2031, 6, 15),)
    assert sown.ears_frac < planned.ears_frac
    assert sown.at_risk
    assert [(day, n, done) for day, n, _, done in read_meetings(later, "2031").days] == [
        (date(2031, 5, 12), 1, 1),
        (date(2031, 6, 15), 1, 1),
    ]


def test_a_cross_whose_male_has_no_row_is_named(season):
    _, male = make_field(season)
    male.delete()
    found = read_meetings(ON, "2031")
    assert (found.meetings, found.without_male) == ((), (1,))


def test_more_rows_ask_no_more_questions(season):
    make_field(season, 1)
    with CaptureQueriesContext(
        connection,
    ) as few:
        read_meetings(ON, "2031")
    Row.objects.all().delete()
    Target.objects.all().delete()
    make_field(season, 8)
    with CaptureQueriesContext(connection) as many:
        assert len(read_meetings(ON, "2031").meetings) == 8
    assert len(many) <= len(few)


def test_a_large_plan_is_refused_at_once_worked_out_beside_and_then_shown(season, monkeypatch):
    from firstsilk.work.jobs import ask_job, run_job
    from firstsilk.work.nursery import kept_sowing
    from firstsilk.work.nursery.plan_job import read_settings, write_settings

    monkeypatch.setattr(kept_sowing, "MOST_CROSSES_AT_ONCE", 2)
    settings = replace(SETTINGS, male_sowings=2, closed=(date(2031, 5, 13),), weekdays=(0, 1, 2), rows_per_day=30)
    assert read_settings(write_settings(settings)) == settings
    plan = plan_crosses(("A", "M"), ("B", "M"), ("C", "N"))
    plan = plan_nursery(ON, "2031", settings)
    with pytest.raises(InputRefused, match="longer than a page should"):
        plan_nursery(ON, "2031", settings, patience="refuse")
    number = ask_job(ON, "sowing_days", {"season": "2031", "settings": write_settings(settings), "query": "a=1"})
    done = run_job(number, lambda: ON.now)
    assert (done.state, done.result["query"]) == ("done", "a=1")
    assert done.result["told"] == list(tell_joint(plan.joint))
    assert not Row.objects.exists()
    kept = plan_nursery(ON, "2031", settings, patience="refuse")
    assert kept == plan
    with pytest.raises(InputRefused, match="longer than a page should"):
        plan_nursery(ON, "2031", replace(settings, last_sowing_days=20), patience="refuse")
