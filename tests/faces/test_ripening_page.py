"""Does the ripening page show chances, pictures with a table beside them, the basis, and every state of a season?"""

from __future__ import annotations

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from firstsilk.records.models import Site
from firstsilk.work.accounts import add_account
from tests.factories import make_station, occasion
from tests.work.test_ripening_work import FROSTS, add_hybrid, days_of, store

PASSWORD = "long enough for a test"
PAGE = "/climate/ripening/"


@pytest.fixture(autouse=True)
def _static_folder(settings, tmp_path):
    settings.STATIC_ROOT = tmp_path


@pytest.fixture
def station(db):
    station = make_station()
    site = Site.objects.get(station=station)
    store(*(days_of(site, 2026 + at, frost) for at, frost in enumerate(FROSTS)))
    store(days_of(site, 2031, (9, 14), last=(10, 20)))
    for name, n_days in (("H1", 110), ("H2", 118), ("H3", 123), ("H4", 128), ("H5", 133), ("H6", 140)):
        add_hybrid(station, name, n_days)
    add_hybrid(station, "H7")
    return station


@pytest.fixture
def page(client):
    def open_page(day, **asked):
        on = occasion(day)
        if not client.session.get("_auth_user_id"):
            add_account(on, "cooperator", PASSWORD, "cooperator")
            assert client.login(username="cooperator", password=PASSWORD)
        return client.get(PAGE, {"day": day.isoformat(), **asked})

    return open_page


def test_page_without_sign_in_leads_to_the_sign_in(db, client):
    assert client.get(PAGE)["Location"].startswith("/sign-in/")


def test_page_shows_groups_pictures_their_table_hybrids_and_what_it_rests_on(station, page):
    text = page(date(2031, 5, 1)).content.decode()
    assert "Nothing is counted yet" in text
    assert "would have been ripe before the first −2 °C in 90 % of the past years" in text
    assert text.count('<figure class="chart" role="img" aria-label="Chance of being ripe') == 2
    assert text.count('<figure class="chart" role="img" aria-label="Grain moisture at the killing frost') == 2
    assert "The same as a table" in text
    assert "12 May (asked for)" in text
    assert "5 of 5" in text
    assert "1 hybrid without known units" in text
    assert "Rests on 6 hybrids with known units, 5 past years" in text
    assert "Not considered: hollows and slopes" in text


def test_page_in_summer_counts_the_season_so_far_and_tells_what_is_left(station, page):
    text = page(date(2031, 7, 31)).content.decode()
    assert "802 CHU since the sowing of 12 May, up to 31 Jul 2031. No frost of −2 °C yet." in text
    assert "as this season stands" in text
    assert "days old" not in text


def test_page_after_the_frost_says_when_it_came(station, page):
    text = page(date(2031, 10, 20)).content.decode()
    assert "The killing frost came on 14 Sep 2031" in text
    assert "this year all of them were" in text


def test_page_says_how_old_the_last_reading_is(station, page):
    assert "Last reading 7 days old (20 October 2031): Home fields." in page(date(2031, 10, 27)).content.decode()


def test_page_takes_another_sowing_and_harvest_day_and_refuses_nonsense(station, page):
    text = page(date(2031, 5, 1), sown="2031-05-26", harvest="2031-09-30").content.decode()
    assert "26 May (asked for)" in text
    assert "Moisture on 30 Sep" in text
    answer = page(date(2031, 5, 1), sown="spring")
    assert answer.status_code == 422
    assert "is no sowing day" in answer.content.decode()


def test_page_tells_of_units_that_somebody_asks_about_beside_the_groups(station, page):
    text = page(date(2031, 5, 1), units="1232.4").content.decode()
    assert "The hybrid that is asked about (1,232 CHU to black layer)" in text
    assert 'name="units" inputmode="decimal" value="1232.4"' in text
    assert "/lineage/as" not in text
    assert page(date(2031, 5, 1), units="many").status_code == 422


def test_page_of_a_station_without_weather_or_hybrids_says_so(db, page):
    make_station()
    text = page(date(2031, 5, 1)).content.decode()
    assert "No reading is in the books: Home fields." in text
    assert "no hybrid has known heat units to black layer" in text
    assert "<figure" not in text


def test_page_asks_the_books_as_often_for_many_hybrids_as_for_few(station, page):
    page(date(2031, 7, 31))
    with CaptureQueriesContext(connection) as few:
        page(date(2031, 7, 31))
    for at in range(40):
        add_hybrid(station, f"N{at}", 105 + at)
    with CaptureQueriesContext(connection) as many:
        text = page(date(2031, 7, 31)).content.decode()
    assert len(many) == len(few)
    assert "46 hybrids with known units" in text


def test_climate_page_leads_to_it(station, page, client):
    page(date(2031, 5, 1))
    assert f'href="{PAGE}?site=home"' in client.get("/climate/", {"day": "2031-05-01"}).content.decode()
