"""Are people kept by code alone, held to the rules that are set, and do age and hours stay with their leaders?"""

from __future__ import annotations

import json
from dataclasses import asdict, fields, is_dataclass
from datetime import date, time

import pytest

from firstsilk.answers import InputRefused
from firstsilk.faces.paper import lists, tags, trial_packets, walkbook
from firstsilk.faces.paper.year import make_day_sheet, make_walk_book
from firstsilk.faces.pocket.api import api
from firstsilk.records.models import Worker
from firstsilk.work.flowering.day import read_day_list
from firstsilk.work.flowering.people import (
    PersonWritten,
    add_person,
    change_person,
    count_days_worked,
    note_hours,
    read_people,
)
from firstsilk.work.flowering.teams import plan_teams
from firstsilk.work.flowering.walk import read_walk
from firstsilk.work.flowering.work_rules import BANDS, Rule, read_barred_teams, read_rules, set_rule
from tests.faces.calling import call
from tests.factories import (
    make_line,
    make_lot,
    make_row,
    make_season,
    make_station,
    make_target,
    make_weather,
    occasion,
    sign_in,
    take_note,
)

pytestmark = pytest.mark.django_db

DAY = date(2031, 7, 22)  # a Tuesday
ON = occasion(DAY)
SECRET = ("age_band", "age", "birth", "first_day", "trained_on", "left_on", "health", "hours_a_day", "consent", "minor")


@pytest.fixture
def station():
    made = make_station(held=DAY)
    make_weather(made, 2030, date(2031, 7, 21))
    return made


@pytest.fixture
def field(station):
    """Six selfs in silk and shed; two teams: A of adults, B of somebody of sixteen and a leader."""
    season = make_season(station)
    lot = make_lot(make_line(station, "E1"))
    rows = [make_row(season, at, lot.line, "self", make_target(season, at, lot.line), lot) for at in range(1, 7)]
    for row in rows:
        take_note(ON, row, "sown", date(2031, 5, 12), date(2031, 5, 12))
        take_note(ON, row, "silk", date(2031, 7, 20))
        take_note(ON, row, "shed", date(2031, 7, 20))
    for code, band, team in (("W01", "adult", "A"), ("W02", "adult", "B"), ("W03", "16_17", "B")):
        add_person(ON, PersonWritten(code, band, team, date(2031, 7, 1), date(2031, 7, 1)))
    return rows


def codes(found):
    return [one.code for one in found.findings]


def test_a_team_is_not_sent_to_what_one_of_it_may_not_do(field):
    set_rule(ON, Rule("16_17", barred=("pollinate", "knives")))
    assert read_barred_teams(ON) == {"B": frozenset({"pollinate"})}
    plan = plan_teams(ON, read_day_list(ON))
    homes = {do: {team for (kind, _), team in plan.homes.items() if kind == do} for do, _ in plan.homes}
    assert homes["pollinate"] == {"A"}
    assert "B" in homes["tassel_bag"] | homes["shoot_bag"]
    assert "Team B is not sent to: pollinate." in plan.sentences
    change_person(ON, PersonWritten("W03", "16_17", "B", date(2031, 7, 1), date(2031, 7, 1), DAY))
    assert read_barred_teams(ON) == {}


def test_hours_noted_and_planned_are_held_against_the_rule(field):
    set_rule(ON, Rule("16_17", hours_a_day=6, hours_a_week=8, earliest=time(6), latest=time(20)))
    take_note(ON, field[0], "worked", 5, date(2031, 7, 21), worker="W03")
    take_note(ON, field[0], "worked", "3,5", worker="W03")
    take_note(ON, field[0], "worked", 3, worker="W03")
    take_note(ON, field[0], "worked", 9, date(2031, 7, 20), worker="W03")
    take_note(ON, field[0], "worked", 12, worker="W01")
    take_note(ON, field[0], "worked", 1, worker="W77")
    found = read_people(ON, "2031")
    told = {one.written.code: one for one in found.people}
    assert (told["W03"].today_h, told["W03"].week_h, told["W03"].may_h) == (6.5, 11.5, 3.0)
    assert (told["W01"].today_h, told["W01"].may_h) == (12.0, None)
    assert codes(found) == ["hours_day", "hours_week", "worker_not_listed"]
    assert told["W03"].planned_h == pytest.approx(plan_teams(ON, read_day_list(ON)).busy_min("B") / 60)


def test_hours_written_down_take_the_place_of_those_noted_before(field):
    def told():
        return {one.written.code: (one.today_h, one.week_h) for one in read_people(ON, "2031").people}

    take_note(ON, field[0], "worked", 2, date(2031, 7, 21), worker="W03")
    take_note(ON, field[0], "worked", 1, worker="W03")
    take_note(ON, field[0], "worked", 4, worker="W03")
    take_note(ON, field[0], "worked", 6, worker="W01")
    assert note_hours(ON, "W03", 3.5) == 3.5
    assert told()["W03"] == (3.5, 5.5)
    note_hours(ON, "W03", 4.25)
    note_hours(ON, "W02", 1)
    assert (told()["W03"], told()["W02"], told()["W01"]) == ((4.25, 6.25), (1.0, 1.0), (6.0, 6.0))
    for code, hours, said in (("W99", 3, "no worker"), ("Anna", 3, "no worker"), ("W03", 0, "cannot be")):
        with pytest.raises(InputRefused, match=said):
            note_hours(ON, code, hours)
    with pytest.raises(InputRefused, match=r"25 hours in a day cannot be\. Give up to 24"):
        note_hours(ON, "W03", 25)
    assert told()["W03"] == (4.25, 6.25)


def test_hours_are_written_on_the_page_and_by_the_command(client, field, station, capsys):
    sign_in(client, station, "crew_leader")
    assert "Hours of" in client.get("/flowering/people/?season=2031").content.decode()
    assert client.post("/flowering/people/?season=2031", {"code": "w03", "hours": "3,5"}).status_code == 302
    assert client.post("/flowering/people/?season=2031", {"code": "W03", "hours": "many"}).status_code == 422
    assert client.post("/flowering/people/?season=2031", {"code": "W03", "hours": ""}).status_code == 422
    assert ">3.5<" in client.get("/flowering/people/?season=2031").content.decode()
    code, _, said = call(capsys, "people", "W03", "--hours", "4", "--today", str(DAY))
    assert (code, "W03 worked 4 h on 2031-07-22" in said) == (0, True)
    code, _, said = call(capsys, "people", "--hours", "4", "--today", str(DAY))
    assert (code, "not said" in said) == (1, True)
    assert {one.written.code: one.today_h for one in read_people(ON, "2031").people}["W03"] == 4.0


def test_a_newcomer_works_a_fifth_on_day_one_and_anew_after_a_week_away(field):
    add_person(ON, PersonWritten("W04", "adult", "A", DAY))
    told = {one.written.code: one for one in read_people(ON, "2031").people}
    assert told["W04"].may_h == pytest.approx(0.2 * 7)
    assert "day 1 of work: 20%" in told["W04"].first_days
    note_hours(ON, "W04", 1.4)
    assert "hours_new" not in codes(read_people(ON, "2031"))
    note_hours(ON, "W04", 1.75)
    assert "W04: 1.75 h today, 1.4 for somebody new to the work" in [
        one.message for one in read_people(ON, "2031").findings if one.code == "hours_new"
    ]
    assert told["W01"].first_days == ""
    one = PersonWritten("W04", first_day=date(2031, 7, 1))
    assert count_days_worked(one, [], DAY) == 21
    assert count_days_worked(one, [date(2031, 7, 1), date(2031, 7, 2), date(2031, 7, 21)], DAY) == 1
    assert count_days_worked(one, [date(2031, 7, 20), date(2031, 7, 21)], DAY) == 2
    assert count_days_worked(PersonWritten("W04"), [], DAY) is None


def test_nothing_is_set_at_first_and_a_training_not_written_down_is_told(station):
    assert [rule.says for rule in read_rules(ON).values()] == ["nothing is set"] * 3
    add_person(ON, PersonWritten("W01"))
    assert codes(read_people(ON)) == ["not_trained"]


@pytest.mark.parametrize(
    ("person", "said"),
    [
        (PersonWritten("Anna"), "no worker code"),
        (PersonWritten("ANNA1"), "no worker code"),
        (PersonWritten(""), "no worker code"),
        (PersonWritten("W01", "child"), "no age band"),
        (PersonWritten("W01", team="a b"), "no team"),
        (PersonWritten("W01", first_day=DAY, left_on=date(2031, 7, 1)), "before the first day"),
    ],
)
def test_names_and_what_cannot_be_are_refused(station, person, said):
    with pytest.raises(InputRefused, match=said):
        add_person(ON, person)
    assert not Worker.objects.exists()


@pytest.mark.parametrize(
    ("rule", "said"),
    [
        (Rule("child"), "no age band"),
        (Rule("adult", barred=("fly",)), "no task"),
        (Rule("adult", hours_a_day=25), "hours a day"),
        (Rule("adult", earliest=time(20), latest=time(6)), "cannot end"),
    ],
)
def test_rules_that_cannot_be_are_refused(station, rule, said):
    with pytest.raises(InputRefused, match=said):
        set_rule(ON, rule)


def test_a_code_is_never_given_twice(field):
    with pytest.raises(InputRefused, match="a worker W01 already"):
        add_person(ON, PersonWritten("W01"))
    with pytest.raises(InputRefused, match="no worker W09"):
        change_person(ON, PersonWritten("W09"))


@pytest.mark.parametrize("role", ["breeder", "technician", "crew_leader", "cooperator"])
def test_only_breeder_and_leader_see_and_change_the_crew(client, field, station, role):
    sign_in(client, station, role)
    leads = role in ("breeder", "crew_leader")
    assert client.get("/flowering/people/").status_code == (200 if leads else 403)
    sent = {"code": "w12", "age_band": "under_16", "first_day": "2031-07-22"}
    assert client.post("/flowering/people/?season=2031", sent).status_code == (302 if leads else 403)
    barred = {"rule": "under_16", "barred": ["knives", "pollinate"], "hours_a_day": "4", "latest": "18:00"}
    assert client.post("/flowering/people/?season=2031", barred).status_code == (302 if leads else 403)
    assert Worker.objects.filter(code="W12", age_band="under_16").exists() is leads
    if leads:
        page = client.get("/flowering/people/?season=2031").content.decode()
        for told in ("Under 16: not pollinate; not knives", "Day 1 of work: 20%", "Local law decides", "94/33/EC"):
            assert told in page
        assert client.post("/flowering/people/", {"code": "Anna", "age_band": "adult"}).status_code == 422
    else:
        assert "/flowering/people/" not in client.get("/flowering/").content.decode()


def walk_names(schema):
    """Every name of a property in a JSON schema or answer."""
    if isinstance(schema, dict):
        for name, value in schema.items():
            yield str(name)
            yield from walk_names(value)
    elif isinstance(schema, list):
        for value in schema:
            yield from walk_names(value)


def test_no_answer_of_the_phone_and_no_paper_has_a_field_for_age_or_health(field):
    """Every answer that the pocket's door can give, and the data of every paper."""
    names = set(walk_names(api.get_openapi_schema(path_prefix="/")))
    assert {"rows", "keep_out_until"} <= names, "the schema is walked"
    papers = [
        kind
        for module in (lists, tags, trial_packets, walkbook)
        for kind in vars(module).values()
        if isinstance(kind, type) and is_dataclass(kind)
    ]
    assert len(papers) > 8
    names |= {one.name for kind in papers for one in fields(kind)}
    assert not [name for name in names if name in SECRET or name.startswith("age")]


def test_the_age_of_a_minor_is_in_no_answer_and_on_no_paper(field):
    add_person(ON, PersonWritten("W05", "under_16", "C", DAY))
    set_rule(ON, Rule("under_16", barred=("pollinate",), hours_a_day=4))
    day = read_day_list(ON)
    told = json.dumps(
        [asdict(one) for one in (read_walk(ON), make_day_sheet(ON, day), make_walk_book(ON, day))], default=str
    )
    assert len(told) > 2000
    for band, says in BANDS.items():
        if band != "adult":
            assert band not in told
            assert says not in told
    assert "W05" not in told


def test_the_list_takes_as_many_questions_for_three_people_as_for_twenty(field, django_assert_num_queries):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    with CaptureQueriesContext(connection) as few:
        read_people(ON, "2031")
    for at in range(20, 40):
        add_person(ON, PersonWritten(f"W{at}", "adult", "A", DAY))
    with django_assert_num_queries(len(few)):
        read_people(ON, "2031")


def test_a_file_of_people_has_no_age_bands_unless_they_are_asked_for(field, capsys, tmp_path):
    whole, asked = tmp_path / "crew.csv", ("people", "--today", str(DAY), "--out")
    assert call(capsys, *asked, whole)[0] == 0
    plain = whole.read_text()
    assert plain.splitlines()[0].startswith("code,team,first_day")
    assert "W03,B,2031-07-01" in plain
    assert not any(band in plain for band in ("age_band", *BANDS))
    assert call(capsys, *asked, whole, "--with-age-bands")[0] == 0
    assert "W03,16_17,B,2031-07-01" in whole.read_text()
    assert "W03,16_17,B" in call(capsys, *asked[:-1])[1]
