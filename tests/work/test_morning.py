"""Does the morning's page tell the season as it stands, in every state of it, from the books alone?"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from firstsilk.answers import InputRefused
from firstsilk.records.models import Season, Site, WeatherDay
from firstsilk.work.flowering.crew_plan import CrewFacts, set_crew
from firstsilk.work.flowering.forecast import read_forecast
from firstsilk.work.flowering.morning import read_morning
from firstsilk.work.flowering.wave import MALES, build_wave
from tests.factories import (
    make_line,
    make_lot,
    make_row,
    make_season,
    make_station,
    make_target,
    make_weather,
    occasion,
    take_note,
)

pytestmark = pytest.mark.django_db

SOWN = date(2031, 5, 12)
DAY = date(2031, 7, 22)
ON = occasion(DAY)


@pytest.fixture
def station():
    made = make_station(held=DAY)
    make_weather(made, 2027, date(2031, 12, 20))
    return made


@pytest.fixture
def season(station):
    return make_season(station)


def plant(season, sow=True, male_units=1290.0, n_selfs=4):
    """Selfs, and one cross with a male row; sown on 12 May."""
    station = season.station
    rows = {}
    for number in range(1, n_selfs + 1):
        line = make_line(station, f"S{number}", 1240 + 20 * number, 1220 + 20 * number)
        rows[number] = make_row(season, number, line, "self", make_target(season, number, line), make_lot(line))
    female, male = make_line(station, "F1", 1290, 1270), make_line(station, "M1", male_units + 20, male_units)
    target = make_target(season, 50, female, male)
    rows[50] = make_row(season, 50, female, "female", target, make_lot(female))
    rows[51] = make_row(season, 51, male, "male", None, make_lot(male))
    if sow:
        for row in rows.values():
            take_note(occasion(SOWN), row, "sown", SOWN)
    return rows


def parts_of(morning):
    return {one.part for one in morning.told}


def said(morning):
    return " ".join(morning.sentences)


def test_a_season_without_rows_has_heat_and_frost_and_says_so(season):
    morning = read_morning(ON)
    assert morning.stage == "no rows"
    assert morning.wave is None
    assert morning.crosses == ()
    assert parts_of(morning) == {"heat", "flowering"}
    assert "Season 2031 has no rows yet." in said(morning)


def test_no_season_at_all_is_refused_and_a_wrong_name_too(station):
    with pytest.raises(InputRefused, match="season"):
        read_morning(ON)
    make_season(station)
    with pytest.raises(InputRefused, match="2040"):
        read_morning(ON, "2040")


def test_before_sowing_the_planned_days_stand_in_and_nothing_has_moved(season):
    plant(season, sow=False)
    morning = read_morning(occasion(date(2031, 4, 20)))
    assert morning.stage == "planned"
    assert morning.moved is None
    assert all(row.planned for row in morning.rows)
    assert "Nothing is sown yet" in said(morning)
    assert morning.wave.n_noted == 0
    assert date(2031, 6, 25) < morning.wave.half_on[1] < date(2031, 8, 31)
    assert said(morning).startswith("Last season, 2030: ")


def test_sown_and_not_in_silk_the_forecast_moves_with_the_weather(season):
    plant(season)
    on = occasion(date(2031, 6, 20))
    morning = read_morning(on)
    assert morning.stage == "sown"
    assert morning.moved.since == date(2031, 6, 19)
    assert abs(morning.moved.silk_days) < 2.0
    assert (morning.moved.silk, morning.moved.shed, morning.moved.pollinations) == (0, 0, 0)
    # Three hot days bring silk nearer: by what a heat sum says, within what the year's spread leaves of it.
    WeatherDay.objects.filter(date__in=[date(2031, 6, 20)]).update(tmin_c=20, tmax_c=34)
    hot = read_morning(on)
    assert hot.moved.silk_days < morning.moved.silk_days - 0.3
    assert "days earlier" in said(hot)
    assert hot.moved.units_a_day > morning.moved.units_a_day + 8


def test_in_flower_what_is_noted_stands_and_the_rest_has_a_spread(season):
    rows = plant(season)
    take_note(ON, rows[1], "silk", DAY - timedelta(days=3))
    take_note(ON, rows[2], "silk", DAY)
    take_note(ON, rows[2], "pollinated", 3, detail="self")
    morning = read_morning(ON)
    assert morning.stage == "flowering"
    assert morning.wave.n_noted == 2
    noted = {one.date: one.noted for one in morning.wave.days if one.noted}
    assert noted == {DAY - timedelta(days=3): 1, DAY: 1}
    assert (morning.moved.silk, morning.moved.pollinations) == (1, 3)
    assert "1 row came into silk" in said(morning)
    assert "2 of 5 rows that bear ears have silked" in said(morning)
    assert [(one.purpose, one.n_rows, one.n_noted) for one in morning.purposes] == [
        ("self", 4, 2),
        ("female", 1, 0),
        ("male", 1, 0),
    ]


def test_the_wave_is_counted_draw_by_draw(season):
    rows = plant(season, n_selfs=6)
    take_note(ON, rows[1], "silk", DAY - timedelta(days=2))
    forecast = read_forecast(ON)
    wave = build_wave(forecast)
    mine = [at for at, row in enumerate(forecast.rows) if row.purpose in ("self", "female")]
    draws = np.rint(forecast.silk[mine])
    draws[0] = -2.0
    for day in wave.days:
        ahead = (day.date - DAY).days
        counts = (draws == ahead).sum(axis=0)
        assert day.noted + day.expected == pytest.approx(counts.mean())
        assert (day.low, day.high) == pytest.approx(tuple(np.quantile(counts, (0.1, 0.9))))
        assert day.so_far == pytest.approx(tuple(np.quantile((draws <= ahead).sum(axis=0), (0.1, 0.5, 0.9))))
    in_week = ((draws >= 0) & (draws < 7)).sum(axis=0)
    assert wave.week == pytest.approx(tuple(np.quantile(in_week, (0.1, 0.5, 0.9))))
    assert sum(day.noted + day.expected for day in wave.days) == pytest.approx(7, abs=0.5)
    assert build_wave(forecast, "shed", MALES).n_rows == 1
    assert build_wave(forecast, "shed", ("filler",)).days == ()


def test_the_crosses_say_who_meets_and_a_late_male_is_at_risk(season):
    plant(season)
    (meets,) = read_morning(ON).crosses
    assert meets.p_meet > 0.5
    assert meets.at_risk == ""
    late = plant_late(season)
    first, second = read_morning(ON).crosses
    assert first.target == late
    assert first.p_meet < 0.1
    assert first.ears_ahead_frac < 0.5
    assert "of its ears can be expected" in first.at_risk or "do not meet" in first.at_risk
    assert any("too late" in text for text in first.could)
    assert second.at_risk == ""
    assert "1 is at risk: F2 by M2" in said(read_morning(ON))


def plant_late(season):
    female, male = make_line(season.station, "F2", 1260, 1240), make_line(season.station, "M2", 1640, 1620)
    make_target(season, 60, female, male)
    target = season.targets.get(number=60)
    for number, line, purpose in ((60, female, "female"), (61, male, "male")):
        row = make_row(season, number, line, purpose, target if purpose == "female" else None, make_lot(line))
        take_note(occasion(SOWN), row, "sown", SOWN)
    return 60


def test_another_row_of_the_male_line_is_named_and_a_cross_without_a_male_row_too(season):
    plant_late(season)
    self_row = make_row(season, 70, make_line(season.station, "X1"), "self")
    male = season.rows.get(number=61).line
    # The same line, sown five weeks before its male row, is seen to shed with the female.
    early = make_row(season, 71, male, "self", make_target(season, 71, male))
    take_note(occasion(date(2031, 4, 5)), early, "sown", date(2031, 4, 5))
    take_note(ON, early, "shed", DAY)
    forecast = read_forecast(ON)
    assert abs((forecast.row(71).shed[1] - forecast.row(60).silk[1]).days) <= 5
    assert (forecast.row(61).shed[1] - forecast.row(60).silk[1]).days > 8
    (cross,) = read_morning(ON).crosses
    assert cross.could[0].startswith("Pollen of the same line from row 71 (self, about ")
    lone_female = make_line(season.station, "F3", 1280, 1260)
    target = make_target(season, 80, lone_female, self_row.line)
    take_note(occasion(SOWN), make_row(season, 80, lone_female, "female", target), "sown", SOWN)
    lonely = next(one for one in read_morning(ON).crosses if one.target == 80)
    assert lonely.p_meet is None
    assert lonely.at_risk == "no row of X1 is sown or planned"


def test_ears_that_stand_take_the_risk_away(season):
    plant_late(season)
    row = season.rows.get(number=60)
    take_note(ON, row, "silk", DAY - timedelta(days=1))
    take_note(ON, row, "pollinated", 40, detail="cross")
    (cross,) = read_morning(ON).crosses
    assert (cross.at_risk, cross.state) == ("", "enough")
    assert "Of 1 cross 1 has enough." in said(read_morning(ON))


def test_after_the_cutoff_and_after_frost_nothing_more_is_asked_for(season):
    rows = plant(season)
    take_note(ON, rows[1], "silk", DAY)
    over = read_morning(occasion(date(2031, 9, 1)))
    assert over.stage == "over"
    assert over.moved is None
    assert over.need.days == ()
    WeatherDay.objects.filter(date=date(2031, 9, 10)).update(tmin_c=-4.0)
    killed = read_morning(occasion(date(2031, 10, 1)))
    assert killed.stage == "killed"
    assert "A frost killed the plants on 10 September" in said(killed)
    assert "crew" not in parts_of(killed)
    assert killed.crosses[0].state == "short"


def test_an_old_season_is_seen_as_of_its_end(season):
    rows = plant(season)
    take_note(ON, rows[1], "silk", DAY)
    morning = read_morning(occasion(date(2033, 3, 3)), "2031")
    assert morning.closed_on == date(2031, 12, 31)
    assert morning.today == date(2031, 12, 31)


def test_without_weather_everything_says_what_is_missing(season):
    plant(season)
    WeatherDay.objects.all().delete()
    morning = read_morning(ON)
    assert morning.wave is None
    assert "no weather" in morning.why_no_forecast
    assert "There is no weather of Home fields in the books" in said(morning)
    assert morning.is_stale
    assert morning.reading_age_days is None
    assert morning.crosses[0].p_meet is None
    assert "who meets cannot be told yet" in said(morning)


def test_with_this_year_alone_there_is_no_forecast_and_no_normal(season):
    plant(season)
    WeatherDay.objects.filter(date__year__lt=2031).delete()
    morning = read_morning(ON)
    assert morning.wave is None
    assert "no past year" in morning.why_no_forecast
    assert "no past year tells what is usual" in said(morning)


def test_with_one_past_year_there_is_a_forecast_that_says_how_little_it_rests_on(season):
    plant(season)
    WeatherDay.objects.filter(date__year__lt=2030).delete()
    morning = read_morning(ON)
    assert morning.wave.n_rows == 5
    assert "only 1 whole past year" in morning.basis.as_text()
    assert "the one past year" in said(morning)


def test_weather_that_stopped_in_june_is_said_to_be_old(season):
    plant(season)
    WeatherDay.objects.filter(date__gt=date(2031, 6, 25)).delete()
    morning = read_morning(ON)
    assert morning.reading_age_days == 27
    assert morning.is_stale
    assert "27 days old" in morning.basis.as_text()
    assert morning.moved.days_read == 0


def test_the_reading_of_yesterday_is_compared_with_the_morning_of_yesterday(season):
    plant(season)
    WeatherDay.objects.filter(date__gte=DAY).delete()
    morning = read_morning(ON)
    assert morning.reading_age_days == 1
    assert morning.moved.since == DAY - timedelta(days=2)
    assert morning.moved.days_read == 1


def test_a_crew_is_set_against_the_need(season):
    plant(season, n_selfs=6)
    assert "No crew is set" in said(read_morning(ON))
    set_crew(ON, "2031", CrewFacts(3, 0, None, 7.0, None, None))
    morning = read_morning(ON)
    assert morning.need.plan.workers == 3
    assert "more likely enough than not" in said(morning)


def test_a_southern_season_runs_over_the_new_year(season):
    plant(season, sow=False)
    Site.objects.update(latitude=-38.0)
    Season.objects.update(sow_from=date(2031, 11, 12))
    assert read_morning(occasion(date(2032, 2, 1)), "2031").closed_on is None
    assert read_morning(occasion(date(2032, 8, 1)), "2031").closed_on == date(2032, 6, 30)


def test_the_same_books_tell_the_same_and_the_hour_does_not_count(season):
    plant(season)
    first, second = read_morning(ON), read_morning(replace(ON, who="another"))
    assert first.sentences == second.sentences
    assert first.wave == second.wave


def test_what_came_later_does_not_count_when_one_looks_back(season):
    rows = plant(season)
    take_note(ON, rows[1], "silk", DAY)
    WeatherDay.objects.filter(date__gt=DAY).delete()
    before = read_morning(ON)
    make_days = [
        WeatherDay(station=season.station, site=season.site, date=DAY + timedelta(days=step), tmin_c=18, tmax_c=33)
        for step in range(1, 40)
    ]
    WeatherDay.objects.bulk_create(make_days)
    later = DAY + timedelta(days=2)
    take_note(occasion(later), rows[2], "silk", later, later)
    take_note(occasion(later), rows[50], "pollinated", 3, later, detail="cross")
    after = read_morning(ON)
    assert after.sentences == before.sentences
    assert after.wave == before.wave
    assert after.crosses == before.crosses
    assert read_morning(occasion(later)).sentences != before.sentences


def test_queries_do_not_grow_with_rows(season):
    plant(season, n_selfs=2)

    def count():
        with CaptureQueriesContext(connection) as caught:
            read_morning(ON)
        return len(caught)

    few = count()
    for number in range(100, 120):
        line = make_line(season.station, f"L{number}")
        row = make_row(season, number, line, "self", make_target(season, number, line))
        take_note(occasion(SOWN), row, "sown", SOWN)
        take_note(ON, row, "silk", DAY)
        take_note(ON, row, "pollinated", 2, detail="self")
    assert count() == few
