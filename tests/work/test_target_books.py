"""Do the targets of the books tell what will be reached, what is missing and when to stop, on every door alike?"""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from firstsilk.faces.paper.year import make_day_sheet
from firstsilk.records.models import Season, Target
from firstsilk.work.flowering.crew_plan import CrewFacts, set_crew
from firstsilk.work.flowering.day import read_day_list
from firstsilk.work.flowering.targets import read_targets
from firstsilk.work.home import list_due
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

DAY = date(2031, 7, 22)
ON = occasion(DAY)


@pytest.fixture
def station():
    made = make_station(held=DAY)
    make_weather(made, 2029, date(2031, 7, 21))
    return made


@pytest.fixture
def rows(station):
    """Three selfs of 20 plants: silk yesterday, silk eight days ago, and not noted yet."""
    season, made = make_season(station), []
    for number, ago in ((1, 1), (2, 8), (3, None)):
        line = make_line(station, f"E{number}")
        made.append(make_row(season, number, line, "self", make_target(season, number, line), make_lot(line)))
        take_note(ON, made[-1], "sown", date(2031, 5, 12), date(2031, 5, 12))
        take_note(ON, made[-1], "stand", 20, date(2031, 6, 12))
        for kind in ("silk", "shed") if ago else ():
            seen = DAY - timedelta(days=ago)
            take_note(ON, made[-1], kind, seen, seen)
    return made


def by_number(on=ON):
    return {one.progress.number: one for one in read_targets(on).targets}


def test_each_target_is_red_in_hand_or_to_stop_with_its_numbers(rows):
    told = by_number()
    assert (told[1].group, told[1].verdict) == ("in_hand", "going")
    assert told[1].today == told[1].outlook.more == told[1].progress.attempts_wanted
    assert told[1].last_on == DAY + timedelta(days=5)
    assert told[1].stop_on <= told[1].last_on
    assert told[1].outlook.now_frac == 0.0 < 0.8 < told[1].outlook.asked_frac <= told[1].outlook.can_frac
    assert (told[2].group, told[2].verdict, told[2].days_left) == ("red", "over", 0)
    assert told[2].instead == ("Make it again, in winter or next year.",)
    assert told[3].group == "in_hand"
    assert [one.group for one in read_targets(ON).targets] == ["red", "in_hand", "in_hand"]


def test_enough_pollinated_is_to_be_stopped_and_a_lost_bag_asks_again(rows):
    wanted = by_number()[1].outlook.more
    take_note(ON, rows[0], "pollinated", wanted, detail="self")
    assert by_number()[1].verdict == "enough"
    assert by_number()[1].today == 0
    take_note(ON, rows[0], "spoiled", 2, detail="bag_lost")
    assert by_number()[1].outlook.more == by_number()[1].today == 2


def test_kernels_are_counted_as_kernels(rows):
    Target.objects.filter(number=1).update(ears_wanted=1, kernels_wanted=900)
    told = by_number()[1]
    assert "900 kernels" in told.says
    take_note(ON, rows[0], "pollinated", told.outlook.more, detail="self")
    autumn = occasion(date(2031, 10, 5))
    take_note(autumn, rows[0], "ears_picked", 6, date(2031, 10, 1))
    take_note(autumn, rows[0], "shelled", 850, date(2031, 10, 4))
    assert by_number(autumn)[1].outlook.now_frac == 0.0
    take_note(autumn, rows[0], "shelled", 950, date(2031, 10, 5))
    assert by_number(autumn)[1].outlook.now_frac == 1.0


def test_a_cutoff_and_few_hands_put_a_target_on_the_red_list(station, rows):
    before = by_number()[3].outlook.asked_frac
    Season.objects.update(cutoff_on=DAY)
    assert by_number()[3].group == "red"
    assert by_number()[3].outlook.asked_frac < before
    Season.objects.update(cutoff_on=None)
    set_crew(ON, "2031", CrewFacts(1, 0, None, 0.5, 2.0, None))
    few = by_number()[1]
    assert (few.group, few.verdict) == ("red", "unlikely")
    assert "more hands" in few.instead[0]


def test_home_day_list_row_and_sheet_tell_the_same_figures(client, station, rows):
    told = read_targets(ON)
    sheet = make_day_sheet(ON, read_day_list(ON, by_forecast=True))
    assert all(line in sheet.short_of for line in told.sentences)
    short = [one for one in list_due(ON).tasks if one.title == "targets that fall short"]
    assert [one.count for one in short] == [len(told.short)] == [1]
    sign_in(client, station, "breeder")
    says = told.of_row(rows[0].number).says
    for address in ("/flowering/targets/", "/flowering/", f"/flowering/rows/{rows[0].tag}/"):
        assert says in client.get(address).content.decode(), address


def test_a_season_without_targets_says_so(client, station):
    sign_in(client, station, "cooperator")
    assert client.get("/flowering/targets/").status_code == 200
    make_season(station)
    assert "No target of this season has rows yet." in client.get("/flowering/targets/").content.decode()


def test_ten_targets_ask_the_books_as_often_as_three(client, station, rows):
    sign_in(client, station, "breeder")

    def count():
        with CaptureQueriesContext(connection) as caught:
            assert client.get("/flowering/targets/").status_code == 200
        return len(caught)

    first = count()
    for number in range(4, 11):
        line = make_line(station, f"L{number}")
        row = make_row(rows[0].season, number, line, "self", make_target(rows[0].season, number, line))
        take_note(ON, row, "sown", date(2031, 5, 12))
    assert count() == first


def test_more_targets_than_a_page_works_out_beside_its_list_lead_to_their_own_page(client, station, rows, monkeypatch):
    monkeypatch.setattr("firstsilk.work.flowering.targets_beside.MOST_BESIDE", 2)
    sign_in(client, station, "breeder")
    listed = client.get("/flowering/").content.decode()
    assert "3 targets are too many to work out beside the list" in listed
    assert [one.count for one in list_due(ON).tasks if one.title == "targets"] == [3]
    assert client.get(f"/flowering/rows/{rows[0].tag}/").status_code == 200


def test_the_page_and_the_command_tell_what_the_days_that_can_be_worked_rest_on(station, rows, client):
    assert "no 3 past years of rain" in read_targets(ON).workable
    make_weather(station, 2026, date(2028, 12, 31))
    told = read_targets(ON).workable
    assert told.startswith("By the rain of 5 past years 50 % of these days can be worked.")
    sign_in(client, station, "breeder")
    assert told in client.get("/flowering/targets/").content.decode()
