"""Do all pages expect a row on the same day, that of the forecast, and say so where there is none?"""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from firstsilk.faces.paper.year import make_walk_book
from firstsilk.records.models import WeatherDay
from firstsilk.work.climate.series import read_daily_heat
from firstsilk.work.flowering.day import read_day_list
from firstsilk.work.flowering.forecast import read_forecast
from firstsilk.work.flowering.morning import read_morning
from firstsilk.work.flowering.row_page import read_row_page
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
DAY = date(2031, 7, 18)
ON = occasion(DAY)


@pytest.fixture
def rows():
    station = make_station(held=DAY)
    make_weather(station, 2027, DAY)
    season = make_season(station)
    made = []
    for number, units in ((1, 1270), (2, 1300)):
        line = make_line(station, f"E{number}", units, units - 20)
        made.append(make_row(season, number, line, "self", make_target(season, number, line), make_lot(line)))
        take_note(occasion(SOWN), made[-1], "sown", SOWN)
    # Looked for and not there: the plain sum does not hear of it, the forecast does.
    take_note(ON, made[0], "silk_not_yet", "", DAY)
    return made


def test_day_list_row_page_walk_book_and_season_page_expect_the_same_day(rows):
    told = {row.number: row for row in read_forecast(ON).rows}
    day = read_day_list(ON, by_forecast=True)
    book = {row.number: row for row in make_walk_book(ON, day).rows}
    seen = {row.number: row for row in read_morning(ON).rows}
    for row in rows:
        page = read_row_page(ON, row.tag)
        silk = told[row.number].silk
        assert day.rows[row.number].silk_expected == silk[1]
        assert day.rows[row.number].shed_expected == told[row.number].shed[1]
        assert page.row.silk_expected == silk[1]
        assert page.forecast.silk == seen[row.number].silk == silk
        assert book[row.number].silk_about == silk[1]
    assert told[1].silk[1] > DAY
    assert "middle of the forecast" in day.expected_by


def test_the_plain_sum_does_not_hear_of_a_note_that_the_forecast_hears(rows):
    plain = read_day_list(ON)
    assert plain.forecast is None
    assert "plain sum" in plain.expected_by
    assert plain.rows[1].silk_expected != read_day_list(ON, by_forecast=True).rows[1].silk_expected


def test_pages_show_the_days_with_their_spread(client, rows):
    sign_in(client, rows[0].station, "breeder")
    told = {row.number: row for row in read_forecast(ON).rows}
    low, middle, high = told[2].silk
    span = f"{low.day} {low:%b} to {high.day} {high:%b}"
    page = client.get(f"/flowering/rows/{rows[1].tag}/").content.decode()
    assert f"expected {middle.day} {middle:%b}, {span}" in page
    assert "Expected days are the middle of the forecast. The days beside it hold 80 % of it." in page
    assert "own records before this season count as 2 rows." in page
    listed = client.get("/flowering/").content.decode()
    assert "80 % of the forecast" in listed
    assert f"silk {span}" in listed
    assert "Expected days are the middle of the forecast." in listed


def test_without_a_forecast_the_plain_sum_stands_in_and_is_named(client, rows):
    WeatherDay.objects.filter(date__year__lt=2031).delete()
    sign_in(client, rows[0].station, "breeder")
    day = read_day_list(ON, by_forecast=True)
    assert day.forecast is None
    listed = client.get("/flowering/").content.decode()
    assert "Expected days are a plain sum of heat units at the normal pace." in listed
    assert "80 % of the forecast" not in listed
    page = client.get(f"/flowering/rows/{rows[1].tag}/").content.decode()
    assert "Expected days are a plain sum" in page


def test_noted_rows_stand_as_noted_and_ask_for_no_forecast(rows):
    for row in rows:
        take_note(ON, row, "silk", DAY)
        take_note(ON, row, "shed", DAY)
    day = read_day_list(ON, by_forecast=True)
    assert day.forecast is None
    assert {row.silk_expected for row in day.rows.values()} == {DAY}


def test_a_lines_page_shows_what_its_own_rows_tell_and_of_how_many(client, rows):
    sign_in(client, rows[0].station, "breeder")
    address = f"/lineage/line/E2/?day={DAY}"
    assert "Noted by its rows" not in client.get(address).content.decode()
    take_note(ON, rows[1], "silk", DAY)
    page = client.get(address).content.decode()
    heat = read_daily_heat(rows[0].station, rows[0].season.site, DAY)
    # Half silk came between the evening before and this day.
    middle = (heat.between(SOWN, DAY) + heat.between(SOWN, DAY - timedelta(days=1))) / 2
    assert f"{middle:,.0f} to silk, – to shed <small>CHU, 1 row of 1 season</small>" in page
    assert "Noted by its rows" not in client.get("/lineage/line/E2/?day=2031-07-17").content.decode()


def test_the_climate_page_leads_to_the_season(client, rows):
    sign_in(client, rows[0].station, "cooperator")
    assert '<a href="/season/">How the season stands</a>' in client.get("/climate/").content.decode()
