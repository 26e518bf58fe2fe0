"""Is a season counted by another published form or rule shown as what it is, and kept apart from the units of plans?

Minima are 10 °C and maxima 10 + 2k, so that a day brings k degree days in the clamped form of gdd_c.
"""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta

import pytest

from firstsilk.answers import InputRefused
from firstsilk.faces.command.main import run
from firstsilk.records.models import Site, Station, WeatherDay
from firstsilk.work.climate.season import SHOWN_FORMS, SHOWN_RULES, name_units, read_season_heat
from firstsilk.work.occasion import Occasion

pytestmark = pytest.mark.django_db
NOW = date(2031, 7, 9)
ON = Occasion("esker", NOW, datetime(2031, 7, 1, 9, tzinfo=UTC), "tests")


@pytest.fixture
def home() -> Site:
    """Ten past years of k = 1 to 10 degree days a day, and this season of 6 up to 9 July; 3 °C before 10 May."""
    station = Station.objects.create(code="esker", name="Eskerholm", latitude=50.0, scale="gdd_c")
    site = Site.objects.create(
        station=station, code="home", name="Home fields", latitude=50.0, longitude=0.0, is_home=True
    )
    for year in range(2021, 2032):
        k = 6 if year == 2031 else year - 2020
        last = NOW if year == 2031 else date(year, 12, 31)
        day, days = date(year, 1, 1), []
        while day <= last:
            cold = day < date(year, 5, 10)
            frosty = day in (date(year, 9, 10), date(year, 4, 2))
            days.append(
                WeatherDay(
                    station=station,
                    site=site,
                    date=day,
                    tmin_c=-3.0 if frosty else 1.0 if cold else 10.0,
                    tmax_c=5.0 if cold else 10.0 + 2 * k,
                )
            )
            day += timedelta(days=1)
        WeatherDay.objects.bulk_create(days)
    return site


def test_the_own_scale_form_and_rule_are_those_of_plans_and_carry_no_caution(home):
    heat = read_season_heat(ON)
    assert (heat.scale, heat.form.name, heat.rule.name) == ("gdd_c", "clamped", "ontario-frost")
    assert heat.is_of_plans
    assert heat.caution == ""
    # 10 May to 9 July, both counted.
    assert heat.course.total == pytest.approx(6 * 61)


def test_another_form_counts_by_its_rule_and_says_so_with_every_number(home):
    heat = read_season_heat(ON, scale="gdd_f", form="plain")
    # 10/22 °C are 6 above 10 by the plain average too, 1.8 times that in °F.
    assert heat.course.total == pytest.approx(1.8 * 6 * 61)
    assert heat.units_name == "GDD (°F, plain)"
    assert not heat.is_of_plans
    assert "in GDD (°C): the two cannot be added or compared" in heat.caution
    for sentence in heat.sentences:
        assert "GDD (°F, plain)" in sentence


def test_a_rule_with_a_start_of_its_own_counts_each_past_year_from_its_own_start(home):
    heat = read_season_heat(ON, rule="newfoundland")
    # Means of 10 + k: at 12.8 or more from k = 3 on, warm from 10 May, so the third day is the 12th.
    assert heat.course.starts == date(2031, 5, 12)
    assert heat.course.total == pytest.approx(6 * 59)
    assert heat.course.is_started
    # The two coolest years never start; the other eight are compared.
    assert heat.against.n_years == 8
    assert heat.against.ahead_units == pytest.approx((6 - 6.5) * 59)
    # Whole seasons: 12 May to the eve of the frost of 10 September, 121 days.
    assert heat.against.past_seasons is not None
    assert heat.against.past_seasons[1] == pytest.approx(6.5 * 121)


def test_a_season_that_has_not_started_by_its_rule_says_so(home):
    on = Occasion("esker", date(2031, 5, 11), ON.now, "tests")
    heat = read_season_heat(on, rule="newfoundland")
    assert heat.course.counted_to is None
    assert "the season has not started by this rule" in heat.basis.as_text()
    assert heat.sentences[0].startswith("Nothing is counted at Home fields yet")


def test_the_calendar_ends_a_federal_season_and_frost_does_not(home):
    on = Occasion("esker", date(2030, 12, 1), ON.now, "tests")
    heat = read_season_heat(on, rule="federal")
    assert heat.course.ended_by == "calendar"
    assert heat.course.counted_to == date(2030, 10, 31)
    # One day of the 175 from 10 May on had a frost and 10 + 20 °C: (10 + 30) / 2 - 10 = 10 all the same.
    assert heat.course.total == pytest.approx(10 * 175)
    assert "the last day of the rule" in heat.sentences[0]


def test_the_long_term_mean_of_past_years_ends_a_season(home):
    WeatherDay.objects.filter(date__month__gte=9).update(tmin_c=1.0, tmax_c=5.0)
    on = Occasion("esker", date(2030, 12, 1), ON.now, "tests")
    heat = read_season_heat(on, rule="ontario")
    assert heat.course.ended_by == "mean"
    assert "the long-term mean fell below 12 °C" in heat.sentences[0]
    assert heat.course.frost_on is None


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ({"scale": "bdd"}, "no scale 'bdd'"),
        ({"form": "ontario"}, "has no form 'ontario'"),
        ({"form": "hourly"}, "needs hourly readings"),
        ({"rule": "quebec"}, "no season rule 'quebec'"),
        ({"rule": "prairie"}, "tells no start"),
    ],
)
def test_what_is_not_there_is_refused_by_name(home, words, told):
    with pytest.raises(InputRefused, match=told):
        read_season_heat(ON, **words)


def test_every_form_and_rule_that_is_offered_can_be_shown(home):
    for scale, form in SHOWN_FORMS:
        heat = read_season_heat(ON, scale=scale, form=form.name)
        assert heat.course.total > 0
        assert heat.units_name == name_units(scale, form.name)
    for rule in SHOWN_RULES:
        assert read_season_heat(ON, rule=rule.name).rule is rule


def test_the_command_tells_form_rule_and_caution(home, capsys):
    words = ["season", "--station", "esker", "--today", str(NOW), "--form", "sine", "--rule", "federal"]
    assert run(words) == 0
    assert capsys.readouterr().out.startswith("These are GDD (°C, sine). Lines, plans and forecasts are in GDD (°C)")
    assert run([*words, "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert (answer["scale"], answer["form"], answer["season_rule"]) == ("gdd_c", "sine", "federal")
    assert answer["units_of_plans"] is False
    assert answer["source"]
    assert run(["season", "--station", "esker", "--today", str(NOW), "--form", "mine"]) == 1
