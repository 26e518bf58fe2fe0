"""Does the same thing twice, by a second press, a table sent again or a second person, change nothing?"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from django.db import connection

from firstsilk.answers import InputRefused, Place
from firstsilk.records.models import Job, Movement, Note, Result, Season, SignInTry, Target
from firstsilk.work import jobs
from firstsilk.work.accounts import FREE_TRIES, sign_in
from firstsilk.work.analysis.analyse import analyse_every_trait
from firstsilk.work.flowering.states import read_states
from firstsilk.work.nursery.plan import Want, bring_targets
from firstsilk.work.nursery.sow import AsSown, record_sowing
from firstsilk.work.occasion import StopAsked
from firstsilk.work.seed.harvest import Picked, record_harvest
from tests.factories import make_line, make_lot, make_row, make_season, make_station, occasion
from tests.trial_cast import make_grown_cast

pytestmark = pytest.mark.django_db
ON = occasion(date(2031, 9, 20))
PLACES = [Place("table.csv", line) for line in (2, 3, 4)]


@pytest.fixture
def field():
    station = make_station()
    season = make_season(station)
    lot = make_lot(make_line(station, "E1"))
    return station, [make_row(season, number, lot.line, lot=lot, reserve=True) for number in (1, 2)]


def test_table_of_targets_twice_adds_them_once_and_alike_lines_in_it_stay_two(field) -> None:
    wants = [Want("self", "E1", ears=4), Want("self", "E1", ears=4), Want("self", "E1", ears=6)]
    assert bring_targets(ON, "2032", wants, PLACES)[1] == 3
    assert bring_targets(ON, "2032", wants, PLACES)[1] == 0
    assert bring_targets(ON, "2032", [*wants[:2], replace(wants[2], ears=7)], PLACES)[1] == 1
    assert Target.objects.count() == 4


def test_bad_table_of_targets_opens_no_season(field) -> None:
    with pytest.raises(InputRefused):
        bring_targets(ON, "2032", [Want("self", "E9")], PLACES)
    assert not Target.objects.exists()
    assert not Season.objects.filter(name="2032").exists()


def test_table_of_sowing_twice_books_its_seed_once(field) -> None:
    day = date(2031, 5, 12)
    rows = [AsSown(1, day, "doubled"), AsSown(2, day, "short", "10")]
    first = record_sowing(ON, "2031", rows, "file", PLACES)
    again = record_sowing(ON, "2031", rows, "file", PLACES)
    assert (first.noted, first.kernels) == (4, 2 * 24 + 10)
    assert (again.noted, again.kernels) == (0, 0)
    assert sum(Movement.objects.filter(reason="sown").values_list("kernels", flat=True)) == -58


def test_table_of_a_harvest_twice_counts_once_and_says_so(field) -> None:
    station, rows = field
    picked = [Picked(1, 3, 300), Picked(2, 2, None)]
    assert record_harvest(ON, "2031", picked, "file", PLACES).noted == 3
    later = replace(ON, today=ON.today + timedelta(days=3), now=ON.now + timedelta(days=3))
    again = record_harvest(later, "2031", [*picked[:1], Picked(2, 2, 150)], "file", PLACES)
    assert again.noted == 1
    assert [one.code for one in again.findings if one.code == "noted_before"] == ["noted_before"] * 3
    states = read_states(station)
    assert [(states[row.tag].ears_picked, states[row.tag].kernels) for row in rows] == [(3, 300), (2, 150)]


def test_harvest_pressed_twice_counts_once_and_a_second_harvest_counts_again(field) -> None:
    station, rows = field
    record_harvest(ON, "2031", [Picked(1, 3, None)])
    assert record_harvest(replace(ON, now=ON.now + timedelta(seconds=5)), "2031", [Picked(1, 3, None)]).noted == 0
    assert record_harvest(replace(ON, now=ON.now + timedelta(hours=2)), "2031", [Picked(1, 3, None)]).noted == 1
    assert read_states(station)[rows[0].tag].ears_picked == 6


def test_row_that_stands_twice_in_a_harvest_without_bags_is_refused(field) -> None:
    with pytest.raises(InputRefused, match=r"table\.csv, line 3, column row: Row 1 stands twice"):
        record_harvest(ON, "2031", [Picked(1, 3), Picked(1, 2)], "file", PLACES)
    assert not Note.objects.exists()
    assert record_harvest(ON, "2031", [Picked(1, 1, bag="A"), Picked(1, 1, bag="B")], "file", PLACES).noted == 2


def test_job_asked_for_twice_is_one_until_it_is_over(field) -> None:
    first = jobs.ask_job(ON, "analyse", {"years": [2031]})
    assert jobs.ask_job(ON, "analyse", {"years": [2031]}) == first
    assert jobs.ask_job(ON, "analyse", {"years": [2030]}) != first
    Job.objects.filter(pk=first).update(state="done")
    assert jobs.ask_job(ON, "analyse", {"years": [2031]}) != first


def test_stop_that_comes_after_the_work_was_written_does_not_say_that_nothing_changed(field, monkeypatch) -> None:
    def work(at, arguments, progress):
        Job.objects.update(stop_asked=True)
        progress(1.0, "done")
        return {"answer": 1}

    monkeypatch.setitem(jobs.KINDS, "analyse", work)
    number = jobs.ask_job(ON, "analyse", {})
    assert jobs.run_job(number, lambda: ON.now).state == "done"


def test_tries_to_sign_in_are_counted_before_the_password_is_looked_at(monkeypatch) -> None:
    seen: list[int] = []

    def look(**given):
        seen.append(SignInTry.objects.count())

    monkeypatch.setattr("firstsilk.work.accounts.authenticate", look)
    for _ in range(FREE_TRIES + 3):
        sign_in("nobody", "guess", ON.now)
    assert seen == list(range(1, FREE_TRIES + 1))


def test_analysis_holds_no_lock_while_it_works_and_writes_nothing_when_stopped() -> None:
    cast = make_grown_cast(4)
    inside: list[int] = []
    outside = len(connection.atomic_blocks)

    def report(share_frac: float, message: str) -> None:
        inside.append(len(connection.atomic_blocks) - outside)
        if share_frac > 0.9 and message == "writing down":
            raise StopAsked

    with pytest.raises(StopAsked):
        analyse_every_trait(cast.on, (2031,), 1, report)
    assert len(inside) > 5
    assert not any(inside)
    assert not Result.objects.exists()
