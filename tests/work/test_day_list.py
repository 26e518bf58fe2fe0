"""Does the day list of the books expect, ask and measure rightly, and does the home page tell each role its part?"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from firstsilk.records.models import NoteAside, Row, Season, Site, WeatherDay
from firstsilk.science.seed.line_rates import LineCounts, learn_programme, rate_line
from firstsilk.science.seed.pollinations import plan_pollinations
from firstsilk.work.climate.series import read_daily_heat
from firstsilk.work.flowering.day import read_day_list, read_progress, read_rows
from firstsilk.work.flowering.notes import take_back
from firstsilk.work.flowering.row_page import find_row, read_findings, read_row_page
from firstsilk.work.flowering.walk import read_walk
from firstsilk.work.home import list_due
from firstsilk.work.seed.harvest import Picked, make_lots, record_harvest
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
LAST_READING = date(2031, 7, 15)
UNTOLD = rate_line(LineCounts("E1"), learn_programme(()))
"""Rates where no notes tell of success and set: the published means, lent and not known for sure."""


@pytest.fixture
def station():
    made = make_station()
    make_weather(made, 2027, LAST_READING)
    return made


@pytest.fixture
def field(station):
    """Row 1 a self, row 2 a female, row 3 its male; sown and not yet in flower."""
    season = make_season(station)
    lots = [make_lot(make_line(station, name, silk, silk - 20)) for name, silk in (("E1", 1200), ("E2", 1180))]
    rows = [
        make_row(season, 1, lots[0].line, "self", make_target(season, 1, lots[0].line), lots[0]),
        make_row(season, 2, lots[0].line, "female", make_target(season, 2, lots[0].line, lots[1].line), lots[0]),
        make_row(season, 3, lots[1].line, "male", None, lots[1]),
    ]
    for row in rows:
        take_note(occasion(SOWN), row, "sown", SOWN)
    return rows


def rows_on(day):
    return {row.number: row for row in read_rows(occasion(day), "2031")[0]}


def count_heat(station, day, need):
    """The day on which the units are reached, by adding day to day: the slow twin of the clock."""
    heat = read_daily_heat(station, Site.objects.get(station=station), day)
    total = 0.0
    for at, units in zip(heat.days, heat.units.tolist(), strict=True):
        if at > SOWN:
            total += units
            if total >= need:
                return at
    return None


def test_a_row_that_has_had_its_heat_is_expected_on_the_day_it_had_it(station, field):
    for need in (300, 700, 900):
        field[0].line.__class__.objects.filter(name="E1").update(units_to_silk=need)
        expected = count_heat(station, LAST_READING, need)
        assert expected is not None
        assert rows_on(LAST_READING)[1].silk_expected == expected
        assert rows_on(LAST_READING)[1].units_since_sowing == pytest.approx(
            read_daily_heat(station, Site.objects.get(), LAST_READING).between(SOWN, LAST_READING)
        )


def test_a_row_still_to_come_is_expected_at_the_normal_pace_after_the_last_reading(station, field):
    row = rows_on(LAST_READING)[1]
    assert LAST_READING < row.silk_expected < LAST_READING + timedelta(days=21)
    earlier = rows_on(date(2031, 7, 1))[1]
    assert abs((earlier.silk_expected - row.silk_expected).days) <= 5


def test_what_was_seen_takes_the_place_of_what_was_expected(field):
    take_note(occasion(LAST_READING), field[0], "silk", date(2031, 7, 14))
    assert rows_on(LAST_READING)[1].silk_expected == date(2031, 7, 14)


def test_notes_of_later_days_do_not_count_earlier(field):
    take_note(occasion(date(2031, 7, 20)), field[0], "silk", date(2031, 7, 20))
    assert rows_on(date(2031, 7, 19))[1].state.silk_on is None
    assert rows_on(date(2031, 7, 20))[1].state.silk_on == date(2031, 7, 20)


def test_a_line_of_which_nothing_is_known_is_said_to_be_missing(station, field):
    line = make_line(station, "New", silk=None, shed=None)
    row = make_row(field[0].season, 4, line, "self", make_target(field[0].season, 3, line))
    take_note(occasion(SOWN), row, "sown", SOWN)
    missing = " ".join(read_rows(occasion(LAST_READING), "2031")[1].missing)
    assert "heat units to silk of 1 line" in missing


def test_old_weather_is_said_to_be_old(field):
    missing = " ".join(read_rows(occasion(date(2031, 7, 22)), "2031")[1].missing)
    assert "weather since 15 Jul 2031 (last reading 7 days old)" in missing


def test_a_target_is_shared_out_over_its_rows(station):
    season, line = make_season(station), make_line(station, "E1")
    target = make_target(season, 1, line, ears=10)
    for number in (1, 2, 3):
        make_row(season, number, line, "self", target)
    shares = [row.wanted for row in rows_on(LAST_READING).values()]
    assert sum(shares) == plan_pollinations(UNTOLD, 10) == 23
    assert max(shares) - min(shares) <= 1


def test_a_target_of_kernels_is_shared_out_by_the_pollinations_that_reach_them(station):
    season, line = make_season(station), make_line(station, "E1")
    target = make_target(season, 1, line, ears=1, kernels_wanted=1000)
    for number in (1, 2):
        make_row(season, number, line, "self", target)
    assert [row.wanted for row in rows_on(LAST_READING).values()] == [10, 9]  # 19, as the plan has it


@pytest.mark.parametrize(
    ("ears", "spoiled", "day", "standing"),
    [
        (0, 0, date(2031, 7, 20), "none"),
        (4, 0, date(2031, 7, 20), "more"),
        (9, 0, date(2031, 7, 20), "more"),
        (10, 0, date(2031, 7, 20), "enough"),
        (10, 2, date(2031, 7, 20), "more"),
        (4, 0, date(2031, 7, 27), "short"),
        (0, 0, date(2031, 8, 21), "short"),
    ],
)
def test_a_target_stands_where_its_ears_and_its_silk_say(field, ears, spoiled, day, standing):
    on = occasion(date(2031, 7, 20))
    take_note(on, field[0], "silk", date(2031, 7, 20))
    if ears:
        take_note(on, field[0], "pollinated", ears, detail="self")
    if spoiled:
        take_note(on, field[0], "spoiled", spoiled, detail="bag_lost")
    progress, _ = read_progress(occasion(day), "2031")
    assert progress[0].standing == standing
    assert progress[0].ears_pollinated == ears


def test_a_withdrawn_pollination_no_longer_counts(field):
    on = occasion(date(2031, 7, 20))
    wrong = take_note(on, field[0], "pollinated", 9, detail="self")
    take_back(on, wrong, "row misread")
    assert read_progress(on, "2031")[0][0].ears_pollinated == 0


def test_a_killing_frost_ends_the_season_of_its_site_only_long_after_sowing(station, field):
    site = Site.objects.get()
    frosts = ((date(2031, 6, 1), -4.0), (date(2031, 9, 10), -1.9), (date(2031, 9, 12), -2.0))
    for day, tmin in frosts:
        WeatherDay.objects.update_or_create(
            station=station, site=site, date=day, defaults={"tmin_c": tmin, "tmax_c": 12.0}
        )
    assert read_day_list(occasion(date(2031, 9, 11)), "2031").killed_on is None
    assert read_day_list(occasion(date(2031, 9, 20)), "2031").killed_on == date(2031, 9, 12)


def test_a_row_is_found_in_its_season_by_tag_and_in_the_day_by_number(station, field):
    old = make_row(make_season(station, "2030"), 1, field[0].line)
    on = occasion(LAST_READING)
    assert find_row(on, old.tag) == ("2030", old.tag)
    assert find_row(on, "1") == ("2031", field[0].tag)
    assert find_row(on, "1", "2030") == ("2030", old.tag)
    assert read_row_page(on, old.tag).season == "2030"


def test_the_row_page_names_males_neighbours_and_what_is_odd(field):
    on = occasion(date(2031, 7, 20))
    take_note(on, field[2], "shed", date(2031, 7, 18))
    take_note(on, field[1], "pollinated", 2, detail="cross", male=field[0].tag)
    page = read_row_page(on, field[1].tag)
    assert [(male.number, male.sheds_today) for male in page.males] == [(3, True)]
    assert (page.before, page.after) == (1, 3)
    assert {one.code for one in page.findings} == {"male_not_planned", "male_not_shedding"}
    assert read_row_page(on, field[2].tag).serves == (2,)
    assert {row.number for row, _ in read_findings(on, "2031")} == {2}


def titles(day, role=""):
    return [one.title for one in list_due(occasion(day), role).tasks]


def test_home_follows_the_season_from_sowing_to_lots(station, field):
    july, october = date(2031, 7, 20), date(2031, 10, 20)
    on = occasion(july)
    assert "rows expected to silk within a week" in titles(date(2031, 7, 12))
    take_note(on, field[0], "silk", july)
    take_note(on, field[0], "shed", july)
    assert "rows to pollinate" in titles(july)
    take_note(on, field[0], "pollinated", 10, detail="self")
    assert "rows to pollinate" not in titles(july)
    assert "rows to pick" in titles(october)
    record_harvest(occasion(october), "2031", [Picked(1, 6, None)])
    assert "rows picked and not shelled" in titles(october)
    record_harvest(occasion(october), "2031", [Picked(1, None, 700)])
    assert "rows whose seed is in no lot" in titles(october)
    make_lots(occasion(october), "2031")
    assert "rows whose seed is in no lot" not in titles(october)


def test_home_tells_each_role_its_own_part_first(station, field):
    july = date(2031, 7, 20)
    take_note(occasion(july), field[0], "silk", july)
    take_note(occasion(july), field[0], "shed", july)
    assert "days of weather to bring" in titles(july, "technician")
    assert "days of weather to bring" not in titles(july, "crew_leader")
    assert "rows to pollinate" in titles(july, "crew_leader")
    reader = list_due(occasion(july), "cooperator")
    assert reader.tasks == ()
    assert "rows to pollinate" in [one.title for one in reader.others]


def test_home_names_rows_nobody_may_enter_before_all_else(station, field):
    Row.objects.filter(number=1).update(no_entry_until=datetime(2031, 7, 21, tzinfo=UTC))
    first = list_due(occasion(date(2031, 7, 20))).tasks[0]
    assert (first.title, first.count) == ("rows nobody may enter", 1)


def test_home_of_a_station_without_a_season_says_so(station):
    home = list_due(occasion(date(2031, 7, 16)))
    assert home.season_line == "There is no season 2031 in the books yet."
    assert home.tasks == ()
    make_season(station)
    assert list_due(occasion(date(2031, 7, 16))).season_line.endswith("has no rows yet.")


def test_home_counts_what_was_laid_aside_and_what_is_not_planned(station, field):
    make_target(Season.objects.get(), 9, field[0].line)
    NoteAside.objects.create(
        station=station, raw="{}", raw_hash="h", reason="r", code="c", received_at=datetime(2031, 7, 1, tzinfo=UTC)
    )
    found = titles(LAST_READING)
    assert "notes laid aside" in found
    assert "targets not planned yet" in found


def test_a_phone_asks_for_as_many_ears_as_the_list_at_the_desk(field):
    day = date(2031, 7, 12)
    asked = {row.number: row.wanted for row in read_rows(occasion(day), "2031")[0]}
    on_phone = {row.number: row.state["ears_wanted"] for row in read_walk(occasion(day)).rows}
    assert on_phone == asked
    assert asked[1] > field[0].target.ears_wanted, "some pollinations fail, so more are asked than good ears are wanted"


def test_a_phone_does_not_call_a_row_done_when_only_the_good_ears_wanted_are_pollinated(field):
    day = date(2031, 7, 12)
    take_note(occasion(day), field[0], "shoot_bagged", 9)
    take_note(occasion(day), field[0], "pollinated", field[0].target.ears_wanted, detail="self")
    row = read_walk(occasion(day)).rows[0]
    left = row.state["ears_wanted"] - field[0].target.ears_wanted
    assert row.do == f"Self {left} ear{'' if left == 1 else 's'}: each with its own pollen."
    assert row.next == "pollinated"
