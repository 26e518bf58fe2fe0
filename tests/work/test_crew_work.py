"""Do crew, pollen's hours, supplies and cutoff follow the rows, the notes and the weather in the books?"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from firstsilk.answers import InputRefused
from firstsilk.records.models import CrewPlan, Season, Site, WeatherDay, WeatherHour
from firstsilk.science.climate.day_curve import draw_day_curve
from firstsilk.science.climate.humidity import relative_humidity_pct
from firstsilk.science.flowering.crew import PUBLISHED_PER_HOUR
from firstsilk.work.flowering.crew import read_crew
from firstsilk.work.flowering.crew_plan import CrewFacts, read_crew_of, set_crew
from firstsilk.work.flowering.cutoff import read_cutoff, set_cutoff
from firstsilk.work.flowering.pollen_window import read_pollen_windows, write_clock
from firstsilk.work.flowering.season_demand import read_season_demand
from firstsilk.work.flowering.supplies import read_supplies
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

DAY = date(2031, 7, 22)
ON = occasion(DAY)


@pytest.fixture
def station():
    made = make_station(held=DAY)
    make_weather(made, 2028, date(2031, 7, 21))
    return made


@pytest.fixture
def rows(station):
    """Three selfs: in silk since two days, expected soon, and not sown."""
    season = make_season(station)
    made = []
    for number in (1, 2, 3):
        line = make_line(station, f"E{number}")
        made.append(make_row(season, number, line, "self", make_target(season, number, line), make_lot(line)))
    for row in made[:2]:
        take_note(ON, row, "sown", date(2031, 5, 12), date(2031, 5, 12))
    take_note(ON, made[0], "silk", DAY - timedelta(days=2), DAY - timedelta(days=2))
    return made


def test_demand_ahead_is_what_is_wanted_less_what_stands(station, rows):
    before = read_season_demand(ON, to_cutoff=False)
    take_note(ON, rows[0], "pollinated", 3, detail="self")
    after = read_season_demand(ON, to_cutoff=False)
    assert before.n_rows == 3
    assert after.made == ((DAY, 3),)
    assert after.standing == 3
    # The row in silk loses the three; what is forecast of the others does not change.
    assert before.sum_over(200)[1] - after.sum_over(200)[1] == pytest.approx(3, abs=0.8)
    assert np.all(after.p10 <= after.p50)
    assert np.all(after.p50 <= after.p90)
    assert after.days[0] == DAY


def test_a_note_taken_back_is_not_made(station, rows):
    first = take_note(ON, rows[0], "pollinated", 4, detail="self")
    take_note(ON, rows[0], "pollinated", 2, detail="self", replaces=first)
    assert read_season_demand(ON).made == ((DAY, 2),)


def test_nothing_is_asked_for_after_the_cutoff_or_a_killing_frost(station, rows):
    Season.objects.update(cutoff_on=DAY + timedelta(days=1))
    cut = read_season_demand(ON)
    assert cut.draws[:, 2:].sum() == 0
    assert cut.draws[:, :2].sum() > 0
    home = Site.objects.get(is_home=True)
    WeatherDay.objects.filter(date=DAY - timedelta(days=1)).update(tmin_c=-3.0)
    killed = read_season_demand(ON, to_cutoff=False)
    assert killed.draws.sum() == 0
    assert killed.killed_on == DAY - timedelta(days=1)
    assert "frost killed" in read_crew(ON).sentences[0]
    assert "frost killed" in read_cutoff(ON).sentences[0]
    assert home.name


def test_without_a_crew_the_need_stands_and_the_page_asks_for_one(station, rows):
    need = read_crew(ON)
    assert need.plan is None
    assert need.lost is None
    assert need.per_hour == pytest.approx(PUBLISHED_PER_HOUR)
    assert "published" in need.per_hour_from
    assert need.days[0].date == DAY
    assert need.days[0].workers_p50 == 1
    assert any("No crew is set" in line for line in need.sentences)
    assert any("a male sheds" not in line for line in need.sentences)


def test_a_crew_is_set_once_for_a_season_and_shown_against_the_need(station, rows):
    crew = CrewFacts(0, 1, DAY, 1.0, 2.0, None)
    set_crew(ON, "2031", replace(crew, workers=9))
    set_crew(ON, "2031", crew)
    assert CrewPlan.objects.count() == 1
    assert read_crew_of(ON, "2031") == crew
    need = read_crew(ON)
    assert need.per_hour_from == "as set for this season"
    # One beginner on day one: 2 an hour x 1 h x 0.8 x 20 % of the hours x 60 % of the pace.
    assert need.days[0].crew_makes == pytest.approx(2 * 0.8 * 0.2 * 0.6)
    assert need.days[0].short_frac == 1.0
    assert "beginners' day 1: 20 % of the hours" in need.days[0].note
    assert need.lost > 0
    assert any("short" in line for line in need.sentences)
    set_crew(ON, "2031", replace(crew, workers=30, hours_a_day=8.0))
    assert max(day.short_frac for day in read_crew(ON).days) == 0
    assert read_crew(ON).lost == 0


@pytest.mark.parametrize(
    "wrong",
    [
        {"workers": -1},
        {"beginners": 5000},
        {"hours_a_day": 0.0},
        {"hours_a_day": 17.0},
        {"per_hour": 0.0},
        {"efficiency_frac": 1.5},
        {"beginners_from": date(2024, 7, 1)},
    ],
)
def test_a_crew_that_cannot_be_is_refused_and_nothing_is_written(station, rows, wrong):
    with pytest.raises(InputRefused):
        set_crew(ON, "2031", replace(CrewFacts(1, 0, None, 7.0, None, None), **wrong))
    assert not CrewPlan.objects.exists()


def test_rain_known_for_a_day_takes_its_hours_and_later_readings_are_not_seen(station, rows):
    home = Site.objects.get(is_home=True)
    for at, (rain, origin) in enumerate(((2.0, "measured"), (30.0, "forecast"), (30.0, "measured"))):
        day = DAY + timedelta(days=at)
        WeatherDay.objects.create(
            station=station, site=home, date=day, tmin_c=10, tmax_c=22, rain_mm=rain, origin=origin
        )
    need = {day.date: day for day in read_crew(ON).days}
    assert (need[DAY].hours, need[DAY].lost_hours) == (3.5, 3.5)
    tomorrow = need[DAY + timedelta(days=1)]
    assert (tomorrow.hours, tomorrow.workers_p50) == (0, None)
    assert "too wet" in tomorrow.note
    assert need[DAY + timedelta(days=2)].lost_hours is None
    # Every past day of these books has 1 mm.
    assert need[DAY].wet_frac == 1.0


def test_phones_notes_tell_the_pace_and_notes_of_the_desk_do_not(station, rows):
    from firstsilk.invented.crew import make_crew, send_notes
    from firstsilk.invented.drafts import NoteDraft
    from firstsilk.work.flowering.devices import enrol_device, open_enrolment
    from firstsilk.work.flowering.receive import receive_notes

    take_note(ON, rows[0], "pollinated", 3, detail="self")
    assert read_crew(ON).speed.n_days == 0
    crew = make_crew(5, 1)
    device = crew.devices[0]
    code = open_enrolment(ON, "phone")
    enrol_device(code.code, device, ON.now)
    drafts = [
        NoteDraft(
            key=f"{day}:{at}",
            phone=0,
            worker="W7",
            kind="pollinated",
            detail="self",
            tag=rows[0].tag,
            value="4",
            taken_local=(datetime(2031, 7, 16 + day, 10, tzinfo=UTC) + timedelta(minutes=12 * at)).strftime(
                "%Y-%m-%dT%H:%M:%S"
            ),
        )
        for day in range(6)
        for at in range(20)
    ]
    receive_notes(ON, device, send_notes(crew, drafts)[0])
    need = read_crew(ON)
    # 4 in 12 minutes are 20 an hour; four of six days are later ones.
    assert (need.speed.own_per_hour, need.speed.n_days) == (20.0, 4)
    assert need.per_hour == pytest.approx((4 * 20 + 10 * PUBLISHED_PER_HOUR) / 14)
    assert "4 worker-days in your notes" in need.per_hour_from


def test_supplies_count_the_season_take_off_what_is_used_and_tell_the_week(station, rows):
    take_note(ON, rows[0], "shoot_bagged", 2)
    take_note(ON, rows[0], "pollinated", 2, detail="self")
    found = read_supplies(ON)
    bags = found.supplies[0]
    assert (bags.name, bags.used) == ("shoot bags", 2)
    assert bags.season_low == -(-found.pollinations * 3 // 2)
    assert bags.left_low == bags.season_low - 2
    assert bags.week_high >= bags.week_low > 0
    tags = next(one for one in found.supplies if one.name == "tags and stakes")
    assert tags.season_low == 3
    assert found.order_by == date(2031, 2, 28)


def test_supplies_of_a_season_without_rows_rest_on_its_draft_targets(station):
    season = make_season(station, "2032", date(2032, 5, 12))
    early = occasion(date(2032, 1, 10))
    assert read_supplies(early, "2032").order_by is None
    make_target(season, 1, make_line(station, "E9"), ears=40)
    found = read_supplies(early, "2032")
    assert found.pollinations >= 40
    assert found.supplies[0].season_low >= 60
    assert found.order_by == date(2032, 2, 28)
    assert any("Order shoot and tassel bags by 28 February" in line for line in found.sentences)
    late = read_supplies(occasion(date(2032, 4, 1)), "2032")
    assert any("which is past" in line for line in late.sentences)


def test_cutoff_tells_the_share_by_each_day_and_can_be_set_and_taken_away(station, rows):
    found = read_cutoff(ON, by="range")
    shares = [one.share_p50 for one in found.days]
    assert shares == sorted(shares)
    assert found.cutoff_on == date(2031, 8, 20)
    assert [group.name for group in found.groups] == ["range 1"]
    assert found.groups[0].wanted == found.wanted
    assert found.frost_years >= 2
    day = DAY + timedelta(days=3)
    set_cutoff(ON, "2031", day)
    again = read_cutoff(ON)
    assert again.cutoff_on == day
    assert again.set_day.date == day
    assert any("The cutoff set, 25 July" in line for line in again.sentences)
    set_cutoff(ON, "2031", None)
    assert any("No cutoff is set" in line for line in read_cutoff(ON).sentences)
    with pytest.raises(InputRefused):
        set_cutoff(ON, "2031", date(2029, 8, 1))
    with pytest.raises(InputRefused):
        read_cutoff(ON, wanted_frac=0)


def test_cutoff_tells_ranges_families_and_rows_what_ending_earlier_selects_and_leaves_out_long_intervals(station, rows):
    for by in ("range", "family", "row"):
        found = read_cutoff(ON, by=by)
        assert sum(group.wanted for group in found.groups) == found.wanted
        assert sum(group.rows for group in found.groups) == len(rows)
    assert found.until == found.cutoff_on
    Season.objects.update(cutoff_on=None)
    found = read_cutoff(ON, by="row")
    assert found.until == found.middle
    earlier = [day.earlier_days for day in found.days if day.earlier_days is not None]
    assert earlier == sorted(earlier, reverse=True)
    set_cutoff(ON, "2031", DAY)
    first = read_cutoff(ON, by="row").groups
    assert read_cutoff(ON).until == DAY
    assert all(one.left >= one.next_adds >= 0 for one in first)
    shortest = min(one.asi for one in first if one.asi is not None)
    cut = read_cutoff(ON, most_asi_days=shortest - 0.5)
    assert cut.n_left_out == sum(one.asi is not None for one in first)
    assert any("left out" in line for line in cut.sentences)
    with pytest.raises(InputRefused):
        read_cutoff(ON, by="colour")


def test_a_season_without_rows_asks_for_nothing_in_a_sentence(station):
    make_season(station)
    assert read_crew(ON).sentences == ("No row of this season wants pollinations yet.",)
    assert read_cutoff(ON).sentences == ("No row of this season wants pollinations yet.",)
    assert read_supplies(ON).order_by is None


def give_hours(station, day, tmin, tmax, below=0.0, origin="measured", hours=range(24)):
    home = Site.objects.get(is_home=True)
    curve = draw_day_curve(tmin, tmax)
    damp = relative_humidity_pct(curve, np.full(24, tmin - below))
    WeatherHour.objects.bulk_create(
        WeatherHour(
            station=station,
            site=home,
            date=day,
            hour=hour,
            temp_c=curve[hour],
            rh_pct=min(100.0, damp[hour]),
            origin=origin,
        )
        for hour in hours
    )


def test_pollens_hours_are_told_by_the_best_that_is_known_of_each_day(station, rows):
    give_hours(station, DAY, 12, 27)
    give_hours(station, DAY + timedelta(days=1), 8, 15, origin="forecast")
    give_hours(station, DAY + timedelta(days=2), 12, 27)
    home = Site.objects.get(is_home=True)
    WeatherDay.objects.create(
        station=station, site=home, date=DAY + timedelta(days=3), tmin_c=12, tmax_c=27, rain_mm=0, origin="forecast"
    )
    days = {day.date: day for day in read_pollen_windows(ON).days}
    today = days[DAY]
    assert today.source == "hours"
    assert 8 <= today.start_early <= 10 <= today.start_late <= 11.5
    assert days[DAY + timedelta(days=1)].start_early is None
    assert "no shed" in days[DAY + timedelta(days=1)].note
    # Hours measured after the day that is looked at are not known on it.
    assert days[DAY + timedelta(days=2)].source == "past years"
    assert days[DAY + timedelta(days=3)].source == "day forecast"
    usual = days[DAY + timedelta(days=4)]
    assert usual.source == "past years"
    assert usual.sure_frac is not None
    told = read_pollen_windows(ON).sentences[0]
    assert write_clock(today.start_early) in told
    assert "hourly readings" in told


def test_pollens_hours_are_clock_time_and_need_most_of_a_days_hours(station, rows):
    give_hours(station, DAY, 12, 27, hours=range(12))
    assert read_pollen_windows(ON).days[0].source == "past years"
    give_hours(station, DAY, 12, 27, hours=range(12, 24))
    standard = next(day for day in read_pollen_windows(ON).days if day.date == DAY)
    station.time_zone = "Europe/Dublin"
    station.save()
    summer = read_pollen_windows(ON)
    assert summer.clock_ahead_h in (0.0, 1.0)
    station.time_zone = "America/Winnipeg"
    station.save()
    summer = read_pollen_windows(ON)
    assert summer.clock_ahead_h == 1.0
    moved = next(day for day in summer.days if day.date == DAY)
    assert moved.start_early == standard.start_early + 1


def test_without_any_weather_pollens_hours_say_so(station, rows):
    WeatherDay.objects.all().delete()
    found = read_pollen_windows(ON)
    assert found.sentences == ("No weather tells today's window.",)
    assert all(day.start_early is None for day in found.days)
