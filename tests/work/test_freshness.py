"""How old is the last reading, and does every page that uses weather say it, with no more queries for more rows?"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from firstsilk.records.models import Site, WeatherDay
from firstsilk.work.accounts import add_account
from firstsilk.work.climate.freshness import read_reading_age

pytestmark = pytest.mark.django_db
PASSWORD = "long enough for a test"  # one for all accounts of these tests


@pytest.mark.parametrize(
    ("today", "text", "stale"),
    [
        (date(2031, 5, 14), "Last reading today: Eskerholm home fields.", False),
        (date(2031, 5, 15), "Last reading 1 day old (14 May 2031): Eskerholm home fields.", False),
        (date(2031, 5, 16), "Last reading 2 days old (14 May 2031): Eskerholm home fields.", False),
        (date(2031, 5, 17), "Last reading 3 days old (14 May 2031): Eskerholm home fields.", True),
        (date(2031, 5, 1), "No reading is in the books: Eskerholm home fields.", True),
    ],
)
def test_the_age_in_words(on, today, text, stale):
    age = read_reading_age(replace(on, today=today))
    assert (age.text, age.is_stale) == (text, stale)


def test_a_filled_or_forecast_day_is_no_reading(on):
    home = Site.objects.get(code="home")
    for day, origin in ((15, "filled"), (16, "forecast")):
        WeatherDay.objects.create(
            station=home.station, site=home, date=date(2031, 5, day), tmin_c=5.0, tmax_c=15.0, origin=origin
        )
    assert read_reading_age(replace(on, today=date(2031, 5, 16))).age_days == 2


def test_a_site_that_is_named_and_one_that_is_not_there(on):
    assert read_reading_age(on, "tarn").last == date(2031, 5, 12)
    assert read_reading_age(on, "nowhere").site_name == "Eskerholm home fields"


def test_few_queries(on, django_assert_max_num_queries):
    with django_assert_max_num_queries(3):
        read_reading_age(on)


@pytest.mark.parametrize(
    "address",
    [
        "/",
        "/flowering/",
        "/flowering/crew/",
        "/flowering/window/",
        "/flowering/supplies/",
        "/flowering/cutoff/",
        "/nursery/plan/",
        "/nursery/sowing/",
        "/climate/",
        "/climate/ripening/",
        "row",
    ],
)
def test_every_page_that_uses_weather_says_it(on, client, settings, tmp_path, address):
    settings.STATIC_ROOT = tmp_path
    add_account(on, "breeder", PASSWORD, "breeder")
    assert client.login(username="breeder", password=PASSWORD)
    if address == "row":
        from firstsilk.records.models import Row

        address = f"/flowering/rows/{Row.objects.get(number=1).tag}/"
    fresh = client.get(f"{address}?day=2031-05-16").content.decode()
    assert '<p class="quiet reading-age">Last reading 2 days old (14 May 2031): Eskerholm home fields.' in fresh
    old = client.get(f"{address}?day=2031-05-20").content.decode()
    assert '<p class="caution reading-age">Last reading 6 days old (14 May 2031): Eskerholm home fields.' in old
