"""Does the forecast from the books follow notes, records, pedigree, weather and the day it is asked on?"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from firstsilk.answers import InputRefused
from firstsilk.records.models import Line, Row, Season, Site, Station, WeatherDay
from firstsilk.science.climate.chu import count_chu
from firstsilk.work.flowering.forecast import read_forecast
from firstsilk.work.flowering.line_history import read_line_history
from tests.factories import make_line, make_row, make_season, make_station, make_weather, occasion, take_note

pytestmark = pytest.mark.django_db

SOWN = date(2031, 5, 12)
LAST = date(2031, 12, 1)
BEFORE, MIDDLE, AFTER = date(2031, 4, 20), date(2031, 7, 28), date(2031, 11, 20)


@pytest.fixture
def station() -> Station:
    made = make_station(held=LAST)
    make_weather(made, 2017, LAST)
    return made


@pytest.fixture
def season(station) -> Season:
    return make_season(station)


def plant(season: Season, number: int, line: Line, **more):
    return make_row(season, number, line, "self", **more)


def sow(row, day: date = SOWN) -> None:
    take_note(occasion(day), row, "sown", day, day)


def note(row, kind: str, day: date, value: date | None = None) -> str:
    return take_note(occasion(day), row, kind, value or day, day)


def reach(station: Station, sown: date, units: float) -> date:
    """The day on which a row sown on a day has its units, by the books' weather."""
    days = WeatherDay.objects.filter(station=station, date__gt=sown, date__lt=date(sown.year, 12, 31)).order_by("date")
    low, high = np.array(days.values_list("tmin_c", "tmax_c")).T
    return sown + timedelta(days=1 + int(np.searchsorted(np.cumsum(count_chu(low, high)), units)))


def middle(told, number: int) -> date:
    span = told.row(number).silk
    assert span is not None
    return span[1]


@pytest.fixture
def field(station, season):
    """Four sown rows: two of an early line, one late, one of a line that nobody ever saw."""
    lines = [make_line(station, "E1", 1240, 1200), make_line(station, "E2", 1340, 1290)]
    lines.append(make_line(station, "N1", None, None))
    rows = [plant(season, at, line) for at, line in enumerate((lines[0], lines[0], lines[1], lines[2]), 1)]
    for row in rows:
        sow(row)
    return rows


def test_before_sowing_planned_days_stand_in(station, season):
    line = make_line(station, "E1")
    plant(season, 1, line, sow_on=SOWN)
    plant(season, 2, line, sow_on=SOWN + timedelta(days=14))
    plant(season, 3, line, sow_on=None)
    told = read_forecast(occasion(BEFORE))
    assert [row.number for row in told.rows] == [1, 2]
    assert all(row.planned for row in told.rows)
    assert date(2031, 7, 10) < middle(told, 1) < middle(told, 2) < date(2031, 9, 10)
    # Planned and gone by: not sown today means tomorrow at the earliest.
    late = read_forecast(occasion(date(2031, 5, 30)))
    assert late.row(1).sown_on == date(2031, 5, 30)
    assert middle(late, 1) > middle(told, 1)


def test_in_mid_season_notes_hold_and_move_what_they_touch(field):
    plain = read_forecast(occasion(MIDDLE))
    seen = middle(plain, 1) - timedelta(days=6)
    early = min(seen, MIDDLE)
    note(field[0], "silk_not_yet", early - timedelta(days=2))
    note(field[0], "silk", early)
    told = read_forecast(occasion(MIDDLE))
    low, _, high = told.row(1).silk
    assert early - timedelta(days=1) <= low <= high <= early
    assert told.row(1).silk_on == early
    assert middle(told, 2) < middle(plain, 2)
    assert middle(told, 3) <= middle(plain, 3)
    assert told.later_days[0][0] < plain.later_days[0][0]
    assert ("notes", 6) in told.basis.used


def test_not_yet_makes_a_row_later(field):
    plain = read_forecast(occasion(MIDDLE))
    at = middle(plain, 1) + timedelta(days=1)
    day = max(at, MIDDLE)
    note(field[0], "silk_not_yet", day)
    told = read_forecast(occasion(day))
    assert told.row(1).silk[0] > day
    assert middle(told, 2) >= middle(read_forecast(occasion(MIDDLE)), 2)


def test_after_frost_the_season_is_told_with_what_was_seen(field):
    note(field[0], "silk", date(2031, 8, 1))
    told = read_forecast(occasion(AFTER))
    assert told.row(1).silk[2] == date(2031, 8, 1)
    assert told.silk.shape == (4, 200)
    assert (told.silk[0] <= (date(2031, 8, 1) - AFTER).days).all()
    # The next spring the season of this year is still told; a row not noted has what the weather said.
    spring = read_forecast(occasion(date(2032, 4, 1)), "2031")
    assert spring.row(1).silk[2] == date(2031, 8, 1)
    assert middle(spring, 3) < AFTER


def test_only_what_was_known_on_the_day_counts(field, station):
    before = read_forecast(occasion(MIDDLE))
    note(field[0], "silk", MIDDLE + timedelta(days=2))
    note(field[1], "silk_not_yet", MIDDLE + timedelta(days=2))
    again = read_forecast(occasion(MIDDLE))
    assert np.array_equal(before.silk, again.silk)
    WeatherDay.objects.filter(station=station, date__gt=MIDDLE).update(tmin_c=20.0, tmax_c=30.0)
    assert np.array_equal(read_forecast(occasion(MIDDLE)).silk, before.silk)


def test_same_seed_same_draws(field):
    one, two = read_forecast(occasion(MIDDLE)), read_forecast(occasion(MIDDLE))
    assert one.silk.tobytes() == two.silk.tobytes()
    assert read_forecast(occasion(MIDDLE), seed=2).silk.tobytes() != one.silk.tobytes()
    assert read_forecast(occasion(MIDDLE), draws=60).silk.shape == (4, 60)


def test_withdrawn_notes_and_corrections(field):
    plain = read_forecast(occasion(MIDDLE))
    day = MIDDLE - timedelta(days=10)
    wrong = note(field[0], "silk", day)
    assert read_forecast(occasion(MIDDLE)).row(1).silk_on == day
    take_note(occasion(MIDDLE), field[0], "withdrawn", replaces=wrong)
    back = read_forecast(occasion(MIDDLE))
    assert back.row(1).silk_on is None
    assert np.array_equal(back.silk, plain.silk)


def test_fillers_and_rows_with_another_line_sown_are_left_out(station, season, field):
    make_row(season, 5, Line.objects.get(name="E1"), "filler")
    told = read_forecast(occasion(MIDDLE))
    assert [row.number for row in told.rows] == [1, 2, 3, 4]


def test_an_unknown_line_takes_the_programmes_mean_with_a_wide_span_and_is_said(field):
    told = read_forecast(occasion(date(2031, 6, 20)))
    width = [(row.silk[2] - row.silk[0]).days for row in told.rows]
    assert width[3] > width[0]
    assert middle(told, 1) <= middle(told, 4) <= middle(told, 3)
    assert any("have no record of their own" in each for each in told.basis.missing)


def test_a_selfed_line_without_figures_leans_on_what_it_comes_from(station, season, field):
    late = make_line(station, "L1", 1450, 1400)
    child = make_line(station, "L1-1", None, None, method="self", mother=late, selfings=1)
    sow(plant(season, 5, child))
    told = read_forecast(occasion(date(2031, 6, 20)))
    assert middle(told, 5) > middle(told, 4)


def test_rows_of_earlier_seasons_count_as_records(station, season, field):
    plain = read_forecast(occasion(date(2031, 6, 20)))
    for year in (2029, 2030):
        past = make_season(station, str(year))
        for at in (1, 2):
            row = plant(past, at, Line.objects.get(name="N1"), sow_on=date(year, 5, 12))
            sow(row, date(year, 5, 12))
            silk = reach(station, date(year, 5, 12), 1390.0)
            note(row, "silk_not_yet", silk - timedelta(days=1))
            note(row, "silk", silk)
            note(row, "shed", reach(station, date(year, 5, 12), 1330.0))
    told = read_forecast(occasion(date(2031, 6, 20)))
    assert told.row(4).n_records == 4
    assert middle(told, 4) > middle(plain, 4)
    wide = [(each.row(4).silk[2] - each.row(4).silk[0]).days for each in (plain, told)]
    assert wide[1] < wide[0]
    assert ("records of lines in earlier seasons", 2) in told.basis.used
    # A figure in the line's own record counts where it has no rows; E1 keeps its own.
    history = read_line_history(station, [row.line for row in field], SOWN)
    assert history.years == (2029, 2030)
    assert history.n_figures == 2
    assert history.rows_of[history.names.index("N1")] == 4.0


def test_notes_of_this_season_are_no_records(station, field):
    note(field[0], "silk", MIDDLE - timedelta(days=10))
    history = read_line_history(station, [row.line for row in field], SOWN)
    assert history.n_records == 0


def test_the_number_of_queries_does_not_grow_with_rows(station, season):
    line = make_line(station, "E1")
    counts = []
    for upto in (3, 30):
        for number in range(Row.objects.filter(season=season).count() + 1, upto + 1):
            row = plant(season, number, line if number % 2 else make_line(station, f"K{number}"))
            sow(row)
            note(row, "silk_not_yet", date(2031, 7, 20))
        with CaptureQueriesContext(connection) as queries:
            assert len(read_forecast(occasion(MIDDLE)).rows) == upto
        counts.append(len(queries))
    assert counts[0] == counts[1]


def refusal(call) -> str:
    with pytest.raises(InputRefused) as caught:
        call()
    return str(caught.value)


def test_a_season_without_rows_is_refused(station, season):
    assert "has no row that is sown or planned" in refusal(lambda: read_forecast(occasion(MIDDLE)))
    assert "There is no season '1999'" in refusal(lambda: read_forecast(occasion(MIDDLE), "1999"))


def test_no_weather_yet_is_refused(season, station, field):
    WeatherDay.objects.filter(station=station).delete()
    assert "There is no weather of Home fields up to 2031-07-28" in refusal(lambda: read_forecast(occasion(MIDDLE)))


def test_short_holes_are_filled_and_long_ones_refused_by_their_first_day(station, field):
    days = WeatherDay.objects.filter(station=station)
    plain = read_forecast(occasion(MIDDLE))
    days.filter(date__range=(date(2031, 6, 10), date(2031, 6, 12))).delete()
    assert abs(middle(read_forecast(occasion(MIDDLE)), 1) - middle(plain, 1)).days <= 1
    days.filter(date__range=(date(2031, 6, 5), date(2031, 6, 20))).delete()
    assert "the weather of 2031-06-05 is missing" in refusal(lambda: read_forecast(occasion(MIDDLE)))


def test_no_whole_past_year_is_refused(station, field):
    WeatherDay.objects.filter(station=station, date__lt=date(2031, 1, 1)).delete()
    assert "no past year has weather" in refusal(lambda: read_forecast(occasion(MIDDLE)))


def test_one_past_year_and_few_are_said(station, field):
    days = WeatherDay.objects.filter(station=station)
    days.filter(date__lt=date(2027, 1, 1)).delete()
    told = read_forecast(occasion(MIDDLE))
    assert (told.n_years, told.n_generated) == (4, 26)
    assert any("26 generated years were added" in each for each in told.basis.missing)
    days.filter(date__lt=date(2030, 1, 1)).delete()
    told = read_forecast(occasion(MIDDLE))
    assert (told.n_years, told.n_generated) == (1, 0)
    assert any("only 1 whole past years" in each for each in told.basis.missing)


def test_weather_that_stops_in_june_is_said_with_its_age(station, field):
    WeatherDay.objects.filter(station=station, date__gt=date(2031, 6, 15)).delete()
    told = read_forecast(occasion(MIDDLE))
    assert told.last_reading == date(2031, 6, 15)
    assert any("the last reading is 43 days old (15 Jun 2031)" in each for each in told.basis.missing)
    assert all(row.silk is not None for row in told.rows)


def test_no_line_with_any_record_is_refused(station, season):
    sow(plant(season, 1, make_line(station, "N1", None, None)))
    assert "No line of this season has heat units to silk" in refusal(lambda: read_forecast(occasion(MIDDLE)))


def test_a_row_planned_for_another_year_is_refused_by_its_number(station, season, field):
    plant(season, 5, Line.objects.get(name="E1"), sow_on=date(2032, 5, 12))
    told = refusal(lambda: read_forecast(occasion(MIDDLE)))
    assert "row 5" in told
    assert "2032-05-12" in told


def test_a_stored_forecast_of_the_days_ahead_is_used(station, field):
    WeatherDay.objects.filter(station=station, date__gt=date(2031, 7, 10)).delete()
    plain = read_forecast(occasion(date(2031, 7, 10)))
    site = Site.objects.get(station=station)
    for at in range(1, 11):
        day = date(2031, 7, 10) + timedelta(days=at)
        WeatherDay.objects.create(
            station=station, site=site, date=day, tmin_c=17.0, tmax_c=29.0, rain_mm=None, origin="forecast"
        )
    warm = read_forecast(occasion(date(2031, 7, 10)))
    assert warm.last_reading == date(2031, 7, 10)
    assert middle(warm, 3) < middle(plain, 3)


def test_the_small_station_of_all_tests_needs_past_weather(on):
    from dataclasses import replace

    told = refusal(lambda: read_forecast(replace(on, today=date(2031, 5, 14)), "2031"))
    assert "no past year has weather" in told
