"""Does the climate page show heat in another form only under its name, with a caution, and refuse what is not there?"""

from __future__ import annotations

import re
from datetime import date, timedelta

import pytest

from firstsilk.records.models import Site, WeatherDay
from firstsilk.work.accounts import add_account
from firstsilk.work.climate.season import SHOWN_FORMS, SHOWN_RULES

PASSWORD = "long enough for a test"  # one for all accounts of these tests
PAGE = "/climate/"


@pytest.fixture
def page(on, client, settings, tmp_path):
    """The page of the small station with five whole years, as a reader sees it."""
    settings.STATIC_ROOT = tmp_path
    home = Site.objects.get(code="home")
    WeatherDay.objects.all().delete()
    first, last = date(2027, 1, 1), on.today
    days = [first + timedelta(days=step) for step in range((last - first).days + 1)]
    WeatherDay.objects.bulk_create(
        WeatherDay(station=home.station, site=home, date=day, tmin_c=6.0, tmax_c=24.0) for day in days
    )
    add_account(on, "reader", PASSWORD, "cooperator")
    assert client.login(username="reader", password=PASSWORD)
    return lambda **words: client.get(PAGE, {"day": str(on.today), **words})


def test_the_page_offers_every_form_and_rule_and_begins_with_those_of_plans(page):
    text = page().content.decode()
    offered = re.findall(r'<option value="([^"]+)"', text)
    assert {f"{scale}:{form.name}" for scale, form in SHOWN_FORMS} <= set(offered)
    assert {rule.name for rule in SHOWN_RULES} <= set(offered)
    assert '<option value="chu:ontario" selected>CHU</option>' in text
    assert '<option value="ontario-frost" selected>' in text
    assert "cannot be added or compared" not in text
    assert "OMAFRA 2025" in text


def test_another_form_stands_under_its_name_with_a_caution_and_its_sources(page):
    text = page(units="gdd_c:double-sine-vertical", rule="federal").content.decode()
    assert '<p class="caution">These are GDD (°C, double-sine-vertical).' in text
    assert "Lines, plans and forecasts are in CHU" in text
    assert "Zalom et al. 1983" in text
    assert "1 April to 31 October, both counted" in text
    # The picture, its words and the table carry the same name; the plain one stands nowhere alone beside a number.
    assert 'aria-label="Eskerholm home fields had' in text
    assert text.count("GDD (°C, double-sine-vertical)") >= 5
    assert not re.search(r"\d (GDD \(°C\)|CHU)[^ (]", text)


@pytest.mark.parametrize(
    ("words", "told"),
    [({"units": "chu:sine"}, "has no form"), ({"units": "bdd"}, "no scale"), ({"rule": "quebec"}, "no season rule")],
)
def test_what_is_not_there_is_a_clear_no(page, words, told):
    answer = page(**words)
    assert answer.status_code == 422
    assert told in answer.content.decode()
