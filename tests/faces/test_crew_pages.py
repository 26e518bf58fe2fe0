"""Do the crew's pages show need, hours, supplies and cutoff, to whom they may, with the cautions that belong there?"""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from firstsilk.records.models import CrewPlan, Season
from firstsilk.work.cautions import CAUTIONS, CAUTIONS_SHORT, LIMITS
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
ROLES = ("breeder", "technician", "crew_leader", "cooperator")
PAGES = ("/flowering/crew/", "/flowering/window/", "/flowering/supplies/", "/flowering/cutoff/?by=family&asi=9")


@pytest.fixture
def station():
    made = make_station(held=DAY)
    make_weather(made, 2029, date(2031, 7, 21))
    return made


@pytest.fixture
def field(station):
    """One self in silk, one that will silk soon."""
    season = make_season(station)
    rows = []
    for number in (1, 2):
        line = make_line(station, f"E{number}")
        rows.append(make_row(season, number, line, "self", make_target(season, number, line), make_lot(line)))
        take_note(ON, rows[-1], "sown", date(2031, 5, 12), date(2031, 5, 12))
    take_note(ON, rows[0], "silk", DAY - timedelta(days=1), DAY - timedelta(days=1))
    take_note(ON, rows[0], "shed", DAY - timedelta(days=1), DAY - timedelta(days=1))
    return rows


def page_as(client, station, role, address):
    sign_in(client, station, role)
    return client.get(address)


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize("address", PAGES)
def test_every_role_reads_them_and_a_season_without_rows_is_a_sentence(client, station, role, address):
    assert page_as(client, station, role, address).status_code == 200
    make_season(station)
    assert client.get(address).status_code == 200


@pytest.mark.parametrize("address", PAGES)
@pytest.mark.parametrize("day", ["2031-03-01", "2031-07-22", "2031-10-20"])
def test_pages_stand_before_sowing_in_flower_and_after_frost(client, station, field, address, day):
    page = page_as(client, station, "breeder", f"{address}?day={day}")
    assert page.status_code == 200
    assert "Rests on" in page.content.decode()


def test_the_crew_page_shows_need_with_spread_a_picture_with_words_and_a_table(client, station, field):
    page = page_as(client, station, "cooperator", "/flowering/crew/").content.decode()
    assert "Today asks for" in page
    assert 'role="img"' in page
    assert "Need against crew by day" in page
    assert "3.92 minutes" in page
    assert "Set the crew" not in page


@pytest.mark.parametrize(("role", "wanted"), [("crew_leader", 302), ("breeder", 302), ("cooperator", 403)])
def test_the_crew_is_set_by_those_who_may(client, station, field, role, wanted):
    sign_in(client, station, role)
    sent = {"workers": "2", "beginners": "6", "beginners_from": "2031-07-20", "hours_a_day": "7", "efficiency": "0,75"}
    assert client.post("/flowering/crew/?season=2031", sent).status_code == wanted
    assert CrewPlan.objects.exists() is (wanted == 302)
    if wanted == 302:
        plan = CrewPlan.objects.get()
        assert (plan.workers, plan.beginners, plan.efficiency_frac, plan.per_hour) == (2, 6, 0.75, None)
        page = client.get("/flowering/crew/").content.decode()
        assert "Chance it is short" in page
        assert "beginners&#x27; day 3: 60 % of the hours" in page
        assert 'value="2031-07-20"' in page


@pytest.mark.parametrize(
    "sent",
    [
        {"workers": "many"},
        {"workers": "-2"},
        {"workers": "2", "hours_a_day": "30"},
        {"workers": "2", "efficiency": "80"},
        {"workers": "2", "beginners_from": "soon"},
        {"workers": "2", "per_hour": "-1"},
    ],
)
def test_a_wrong_crew_is_a_sentence_and_nothing_is_written(client, station, field, sent):
    sign_in(client, station, "breeder")
    assert client.post("/flowering/crew/?season=2031", sent).status_code == 422
    assert not CrewPlan.objects.exists()


def test_pollens_hours_are_a_range_and_say_what_tells_them(client, station, field):
    page = page_as(client, station, "crew_leader", "/flowering/window/").content.decode()
    assert "Today pollen is dry from between" in page or "Today pollen may fly" in page
    assert "past years&#x27; days about this date" in page
    assert "hourly humidity (it is guessed" in page


def test_supplies_name_what_is_used_and_what_the_week_takes(client, station, field):
    take_note(ON, field[0], "shoot_bagged", 7)
    page = page_as(client, station, "technician", "/flowering/supplies/").content.decode()
    assert "Shoot bags" in page
    assert "from memory" in page
    assert '<td class="n">7</td>' in page


@pytest.mark.parametrize(("role", "wanted"), [("technician", 302), ("crew_leader", 403), ("cooperator", 403)])
def test_the_cutoff_is_set_by_those_who_plan(client, station, field, role, wanted):
    sign_in(client, station, role)
    assert client.post("/flowering/cutoff/?season=2031", {"cutoff_on": "2031-08-02"}).status_code == wanted
    assert Season.objects.get().cutoff_on == (date(2031, 8, 2) if wanted == 302 else date(2031, 8, 20))
    if wanted == 302:
        assert "2 August" in client.get("/flowering/cutoff/?share=0.9&by=range").content.decode()
        client.post("/flowering/cutoff/?season=2031", {"take_away": "1"})
        assert Season.objects.get().cutoff_on is None


def test_a_wrong_cutoff_is_a_sentence_and_a_wrong_share_is_passed_over(client, station, field):
    sign_in(client, station, "breeder")
    for sent in ({"cutoff_on": "2025-08-02"}, {"cutoff_on": "soon"}):
        assert client.post("/flowering/cutoff/?season=2031", sent).status_code == 422
    assert Season.objects.get().cutoff_on == date(2031, 8, 20)
    for share in ("2", "x", "-1", "nan"):
        assert client.get(f"/flowering/cutoff/?share={share}").status_code == 200


@pytest.mark.parametrize("address", PAGES)
def test_pages_ask_the_books_as_often_for_ten_rows_as_for_two(client, station, field, address):
    sign_in(client, station, "breeder")

    def count():
        with CaptureQueriesContext(connection) as caught:
            assert client.get(address).status_code == 200
        return len(caught)

    first = count()
    season = field[0].season
    for number in range(3, 13):
        line = make_line(station, f"L{number}")
        row = make_row(season, number, line, "self", make_target(season, number, line))
        take_note(ON, row, "sown", date(2031, 5, 12))
        take_note(ON, row, "pollinated", 2, detail="self")
    assert count() == first


def test_the_crew_page_shows_every_caution_and_who_decides(client, station, field):
    page = page_as(client, station, "crew_leader", "/flowering/crew/").content.decode()
    for caution in CAUTIONS:
        assert caution.name in page
        assert caution.text.split(":")[0].split("'")[0] in page
    assert LIMITS in page


@pytest.mark.parametrize("address", ["/", "/flowering/", "/nursery/plan/?season=2031", "/flowering/window/"])
def test_pages_that_send_people_out_show_the_cautions(client, station, field, address):
    page = page_as(client, station, "breeder", address).content.decode()
    for caution in CAUTIONS_SHORT:
        assert caution in page


def test_the_cautions_name_all_that_they_must():
    said = " ".join([*CAUTIONS_SHORT, LIMITS, *(f"{one.name} {one.text}" for one in CAUTIONS)])
    for word in ("Heat", "Hours", "Pollen", "Bags", "Spray", "Knives", "Under 18", "minors", "Local law", "licensed"):
        assert word in said


def test_the_days_list_tells_pollens_hours_when_there_is_something_to_pollinate(client, station, field):
    told = page_as(client, station, "crew_leader", "/flowering/").content.decode()
    assert "Pollinate this morning" in told
    assert "Today pollen" in told
    from firstsilk.faces.paper.year import make_day_sheet
    from firstsilk.work.flowering.day import read_day_list

    assert make_day_sheet(ON, read_day_list(ON)).weather.startswith("Today pollen")
    before = occasion(date(2031, 6, 20))
    assert make_day_sheet(before, read_day_list(before)).weather == ""
