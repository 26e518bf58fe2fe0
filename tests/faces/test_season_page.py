"""Does the season page show the season in every state of it, to everybody, with pictures in words and tables?"""

from __future__ import annotations

import re
from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from firstsilk.records.models import Line, Season, WeatherDay
from firstsilk.work.cautions import CAUTIONS_SHORT
from firstsilk.work.flowering.crew_plan import CrewFacts, set_crew
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

SOWN = date(2031, 5, 12)
DAY = date(2031, 7, 22)
ON = occasion(DAY)
ROLES = ("breeder", "technician", "crew_leader", "cooperator")
STATES = {
    "winter before": "2031-01-15",
    "before sowing": "2031-05-01",
    "sown": "2031-06-20",
    "in flower": "2031-07-22",
    "after the last pollination": "2031-09-05",
    "after frost": "2031-11-15",
    "winter after": "2031-12-20",
}
PARTS = ("Flowering", "Who meets, and who is at risk", "Hands against need", "Heat against past years", "Frost:")


@pytest.fixture
def station():
    made = make_station(held=DAY)
    make_weather(made, 2028, date(2031, 12, 20))
    WeatherDay.objects.filter(date=date(2031, 9, 20)).update(tmin_c=-5.0)
    return made


@pytest.fixture
def field(station):
    """Three selfs, a cross with its male; one self in silk; a hybrid with units to black layer."""
    season = make_season(station)
    rows = []
    for number in (1, 2, 3):
        line = make_line(station, f"E{number}", 1260 + 20 * number)
        rows.append(make_row(season, number, line, "self", make_target(season, number, line), make_lot(line)))
    female, male = make_line(station, "F1"), make_line(station, "M1")
    target = make_target(season, 9, female, male)
    rows.append(make_row(season, 9, female, "female", target, make_lot(female)))
    rows.append(make_row(season, 10, male, "male", None, make_lot(male)))
    for row in rows:
        take_note(occasion(SOWN), row, "sown", SOWN)
    take_note(ON, rows[0], "silk", DAY - timedelta(days=1))
    Line.objects.create(
        station=station,
        name="F1/M1",
        kind="hybrid",
        method="cross",
        mother=female,
        father=male,
        units_to_black_layer=2200,
    )
    return season


def page_of(client, station, role="breeder", day="", season=""):
    sign_in(client, station, role)
    answer = client.get(f"/season/?day={day or DAY}{f'&season={season}' if season else ''}")
    assert answer.status_code == 200
    return answer.content.decode()


def tables_of(page):
    return re.findall(r"<table.*?</table>", page, flags=re.DOTALL)


@pytest.mark.parametrize("role", ROLES)
def test_every_role_reads_it_and_nobody_writes(client, station, field, role):
    page = page_of(client, station, role)
    for part in PARTS:
        assert f"<h2>{part}" in page
    assert client.post("/season/").status_code == 403


@pytest.mark.parametrize("day", STATES.values(), ids=STATES)
def test_it_stands_in_every_state_of_a_season(client, station, field, day):
    page = page_of(client, station, day=day)
    for part in PARTS:
        assert f"<h2>{part}" in page
    assert page.count("Rests on") >= 3
    assert "None" not in re.sub(r"<svg.*?</svg>", "", page, flags=re.DOTALL).replace("None of", "")
    assert "nan" not in re.sub(r"<[^>]*>", " ", page).lower().split()


@pytest.mark.parametrize(
    ("day", "sentence"),
    [
        ("2031-05-01", "0 of 4 rows that bear ears have silked"),
        ("2031-06-20", "Since 19 June: nothing was noted of silk, shed or pollination."),
        ("2031-07-22", "1 of 4 rows that bear ears have silked"),
        ("2031-09-05", "Of 1 cross 1 falls short."),
        ("2031-11-15", "A frost killed the plants on 20 September: flowering is over."),
        ("2031-11-15", "The killing frost came on 20 September. Ripe before it: 100 % of the"),
    ],
)
def test_each_state_has_its_sentence(client, station, field, day, sentence):
    assert sentence in page_of(client, station, day=day)


def test_after_new_year_heat_and_frost_of_the_year_before_are_told_as_last_seasons(client, station, field):
    make_season(station, "2032", date(2032, 5, 12))
    page = page_of(client, station, day="2032-01-15")
    assert "Last season, 2031: 2,591 CHU up to 19 September" in page
    assert "Last season" not in page_of(client, station, day="2031-11-15")


def test_without_a_season_it_says_where_to_open_one(client, station):
    page = page_of(client, station)
    assert "There is no season in the books yet." in page
    assert 'href="/nursery/"' in page


def test_a_season_without_rows_leads_to_its_plan(client, station):
    make_season(station)
    page = page_of(client, station)
    assert "Season 2031 has no rows yet." in page
    assert "/nursery/plan/?season=2031" in page
    assert "Heat against past years" in page


def test_pictures_are_drawn_wide_and_narrow_with_words_and_each_has_a_table(client, station, field):
    page = page_of(client, station)
    spoken = re.findall(r'role="img" aria-label="([^"]*)"', page)
    # Flowering by day, in all, hands, heat: each for a desk and for a phone.
    assert len(spoken) == 8
    assert "1 of 4 rows are noted in silk. Rows silk from " in spoken[0]
    assert spoken[0] == spoken[1]
    assert spoken[2].startswith("Half of the rows silk by")
    shown = "".join(tables_of(page))
    for heading in (
        "Noted</th>",
        "So far</th>",
        "Workers</th>",
        "Middle</th>",
    ):
        assert heading in shown
    silk = next(table for table in tables_of(page) if "So far" in table)
    assert silk.count("<tr>") > 5
    assert "21 Jul" in silk


def test_crew_crosses_and_frost_are_told_with_what_they_rest_on(client, station, field):
    set_crew(ON, "2031", CrewFacts(2, 0, None, 7.0, None, None))
    page = page_of(client, station)
    assert "Chance it is short" in page
    assert "F1 × M1" in page
    assert "likely meets" in page
    assert "Chance that hybrids ripen before the killing frost" in page
    assert "half of its germination is lost in one to four hours" in page
    assert "Not considered: hail" in page
    for caution in CAUTIONS_SHORT:
        assert caution in page


def test_old_weather_and_none_are_said_and_nothing_breaks(client, station, field):
    WeatherDay.objects.filter(date__gt=date(2031, 6, 25)).delete()
    assert "27 days old" in page_of(client, station)
    WeatherDay.objects.filter(date__year__lt=2031).delete()
    assert "no past year" in page_of(client, station)
    WeatherDay.objects.all().delete()
    page = page_of(client, station)
    assert "No reading is in the books: Home fields." in page
    assert "There is no weather of Home fields" in page


def test_a_season_without_crosses_and_one_that_is_long_over(client, station, field):
    field.rows.filter(purpose__in=["female", "male"]).delete()
    assert "No cross of this season has rows" in page_of(client, station)
    assert "This season is over: it is shown as of its end." in page_of(
        client, station, day="2033-05-05", season="2031"
    )


def test_lines_that_nothing_is_known_of_make_no_fault(client, station):
    season = make_season(station)
    line = make_line(station, "U1", None, None)
    row = make_row(season, 1, line, "self", make_target(season, 1, line))
    take_note(occasion(SOWN), row, "sown", SOWN)
    page = page_of(client, station)
    assert "No line of this season has heat units to silk" in page


def test_home_and_the_navigation_lead_there(client, station, field):
    sign_in(client, station, "breeder")
    home = client.get("/").content.decode()
    assert home.count('href="/season/"') == 2
    assert '<a href="/season/" aria-current="page">Season</a>' in client.get("/season/").content.decode()


def test_it_asks_the_books_as_often_for_many_rows_as_for_few(client, station, field):
    sign_in(client, station, "breeder")

    def count():
        with CaptureQueriesContext(connection) as caught:
            assert client.get("/season/").status_code == 200
        return len(caught)

    few = count()
    for number in range(20, 60):
        line = make_line(station, f"L{number}")
        row = make_row(field, number, line, "self", make_target(field, number, line))
        take_note(occasion(SOWN), row, "sown", SOWN)
        if number % 2:
            take_note(ON, row, "silk", DAY)
            take_note(ON, row, "pollinated", 2, detail="self")
    assert Season.objects.count() == 1
    assert count() == few


def test_a_large_nursery_shows_its_first_rows_and_says_where_all_are(client, station, field, monkeypatch):
    assert "firstsilk morning --by rows" not in page_of(client, station)
    monkeypatch.setattr("firstsilk.faces.pages.flowering.morning.MOST_ROWS", 3)
    page = page_of(client, station)
    assert "the first 3 of 5 rows" in page
    assert "firstsilk morning --by rows" in page
