"""Does the page of choice show verdicts with their reasons, take the breeder's, and draw up the next plan?"""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from firstsilk.records.models import Target, Verdict
from firstsilk.work.analysis.analyse import analyse_trials
from firstsilk.work.choice.facts import ChoiceSettings
from firstsilk.work.choice.propose import propose_verdicts
from firstsilk.work.occasion import stay_silent
from tests.kept_books import keep_books
from tests.trial_cast import add_people, make_grown_cast, make_station

pytestmark = pytest.mark.django_db
ROLES = ("breeder", "technician", "crew_leader", "cooperator")
DAY = "day=2031-12-01"


def make_analysed_cast():
    made = make_grown_cast(10)
    made.people = add_people(made)
    for trait in ("yield_kg_ha_15_5", "moisture_pct", "erect_frac"):
        analyse_trials(made.on, (2031,), trait, 1, stay_silent)
    return made


cast = keep_books(make_analysed_cast)


def propose(cast):
    return propose_verdicts(cast.on, 2031, ChoiceSettings(go_on=3, wait=3)).candidates


def enter(client, cast, role="breeder"):
    client.force_login(cast.people[role])
    return client


def decide(client, verdicts, reasons=None):
    form = {"year": "2031", "of": "line", "go_on": "3", "wait": "3"}
    form |= {f"verdict:{line}": verdict for line, verdict in verdicts.items()}
    form |= {f"reason:{line}": reason for line, reason in (reasons or {}).items()}
    return client.post(f"/choice/?{DAY}", form)


@pytest.mark.parametrize("role", ROLES)
def test_every_role_reads_the_choice_and_only_the_breeder_sees_the_form(client, cast, role):
    enter(client, cast, role)
    page = client.get(f"/choice/?{DAY}").content.decode()
    assert ("Write these verdicts down" in page) == (role == "breeder")
    assert client.get(f"/choice/next/?{DAY}").status_code == 200


@pytest.mark.parametrize("role", ROLES)
def test_only_the_breeder_decides_and_draws_up_the_plan(client, cast, role):
    enter(client, cast, role)
    first = propose(cast)[0]
    expected = role == "breeder"
    assert (decide(client, {first.line: first.verdict}).status_code == 302) == expected
    assert (client.post(f"/choice/next/?{DAY}", {"year": "2031"}).status_code == 200) == expected
    assert Verdict.objects.exists() == expected


def test_each_candidate_stands_with_its_reason_and_a_field_that_keys_can_reach(client, cast):
    page = enter(client, cast).get(f"/choice/?{DAY}&go_on=3&wait=3").content.decode()
    for one in propose(cast):
        assert one.reason in page
        assert f'aria-label="Verdict on {one.line}"' in page
        assert f'aria-label="Reason for {one.line}"' in page
    assert "the cut," in page
    assert "Not considered: diseases and ear rots" in page
    assert "Rests on" in page


def test_verdicts_sent_are_written_down_and_shown(client, cast):
    candidates = propose(cast)
    answer = decide(enter(client, cast), {one.line: one.verdict for one in candidates})
    assert answer.status_code == 302
    assert Verdict.objects.count() == 10
    page = client.get(f"{answer.url}&{DAY}").content.decode()
    assert "10 verdicts are written down for 2031" in page
    assert "written down: go on" in page


def test_differing_without_a_reason_is_told_and_nothing_is_written(client, cast):
    first, second = propose(cast)[:2]
    answer = decide(enter(client, cast), {first.line: "stop", second.line: second.verdict})
    assert answer.status_code == 422
    assert "Write down why" in answer.content.decode()
    assert not Verdict.objects.exists()


def test_the_typed_reason_is_kept_in_the_form_so_that_sending_again_needs_no_typing(client, cast):
    first = propose(cast)[0]
    decide(enter(client, cast), {first.line: "stop"}, {first.line: 'ear "rot" & worse'})
    page = client.get(f"/choice/?{DAY}&go_on=3&wait=3").content.decode()
    assert 'value="ear &quot;rot&quot; &amp; worse"' in page
    decide(client, {first.line: "stop"}, {first.line: 'ear "rot" & worse'})
    assert Verdict.objects.count() == 1


def test_settings_that_are_no_numbers_are_told_in_a_sentence(client, cast):
    enter(client, cast)
    for query in ("go_on=many", "wait=2.5", "least_erect_pct=200", "moisture_price_kg_ha=nan"):
        answer = client.get(f"/choice/?{DAY}&{query}")
        assert answer.status_code == 422, query


def test_the_settings_change_the_proposal(client, cast):
    enter(client, cast)
    page = client.get(f"/choice/?{DAY}&go_on=0&wait=0").content.decode()
    assert "◆" not in page.split("<table")[1]
    assert 'class="go_on">go on</span></td>' not in page


def test_without_an_analysis_the_page_points_to_it(client):
    cast = make_station()
    cast.people = add_people(cast)
    enter(client, cast)
    assert "Run the analysis" in client.get(f"/choice/?{DAY}").content.decode()
    assert "Run the analysis" in client.get(f"/choice/next/?{DAY}").content.decode()


def test_the_next_plan_is_drawn_up_once_and_shown_with_its_reasons(client, cast):
    decide(enter(client, cast), {one.line: one.verdict for one in propose(cast)})
    page = client.post(f"/choice/next/?{DAY}", {"year": "2031"}).content.decode()
    made = Target.objects.count()
    assert made
    assert f"{made} new draft targets" in page
    assert "goes on and is not fixed yet" in page
    again = client.post(f"/choice/next/?{DAY}", {"year": "2031"}).content.decode()
    assert "Nothing new" in again
    assert Target.objects.count() == made


def test_the_page_asks_the_books_as_often_for_ten_verdicts_as_for_one(client, cast):
    candidates = propose(cast)
    decide(enter(client, cast), {candidates[0].line: candidates[0].verdict})
    address = f"/choice/?{DAY}&go_on=3&wait=3"
    client.get(address)
    with CaptureQueriesContext(connection) as before:
        client.get(address)
    decide(client, {one.line: one.verdict for one in candidates})
    client.get(address)
    with CaptureQueriesContext(connection) as after:
        client.get(address)
    assert len(after) == len(before)
