"""Does a station learn with which chance its hybrids ripen, by group, hybrid, site and sowing day, in any state?"""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from firstsilk.answers import InputRefused
from firstsilk.records.models import Line, Season, Site, Station, WeatherDay
from firstsilk.work.climate.ripening import read_month_day, read_ripening, read_ripening_groups, read_units
from tests.factories import make_season, make_station, occasion

LOW_C, HIGH_C = 4.4, 17.4
DAILY_CHU = (3.33 * 7.4 - 0.084 * 7.4**2) / 2
"""10.02 CHU a day, from the day part alone."""
FROSTS = ((9, 5), (9, 10), (9, 15), (9, 20), (9, 25))
"""Of 2026 to 2030; sown on 12 May they are days 116, 121, 126, 131 and 136."""


def days_of(site, year, frost=None, last=(12, 31), skip=()):
    day, days = date(year, 1, 1), []
    while day <= date(year, *last):
        low = -3.0 if frost and (day.month, day.day) == frost else LOW_C
        if day not in skip:
            days.append(WeatherDay(station=site.station, site=site, date=day, tmin_c=low, tmax_c=HIGH_C))
        day += timedelta(days=1)
    return days


def store(*days):
    WeatherDay.objects.bulk_create([day for some in days for day in some], batch_size=500)


def units(n_days):
    """Reached on that day after sowing."""
    return n_days * DAILY_CHU - 0.01


def add_hybrid(station, name, n_days=None, silk=None, **more):
    black = None if n_days is None else units(n_days)
    return Line.objects.create(
        station=station,
        name=name,
        kind="hybrid",
        method="cross",
        units_to_black_layer=black,
        units_to_silk=silk,
        **more,
    )


@pytest.fixture
def station(db) -> Station:
    """Five past years with frosts on known days, and this year up to 31 July."""
    station = make_station()
    site = Site.objects.get(station=station)
    store(*(days_of(site, 2026 + at, frost) for at, frost in enumerate(FROSTS)), days_of(site, 2031, last=(7, 31)))
    for name, n_days in (("H1", 110), ("H2", 118), ("H3", 123), ("H4", 128), ("H5", 133), ("H6", 140)):
        add_hybrid(station, name, n_days)
    add_hybrid(station, "H7")
    return station


def test_groups_are_thirds_and_their_chance_is_the_mean_of_hybrids_over_years(station):
    told = read_ripening_groups(occasion(date(2031, 5, 1)))
    assert told.years == (2026, 2027, 2028, 2029, 2030)
    assert told.sown == date(2031, 5, 12)
    # Ripe strictly before the frost days 116, 121, 126, 131, 136: H1 5 of 5, H2 4, H3 3, H4 2, H5 1, H6 0.
    assert [(one.group, one.n_hybrids, one.chance) for one in told.groups] == [
        ("early", 2, pytest.approx(0.9)),
        ("middle", 2, pytest.approx(0.5)),
        ("late", 2, pytest.approx(0.1)),
    ]
    early = told.groups[0]
    assert early.low < 0.9 < early.high
    assert early.now == pytest.approx(0.9)
    assert "CHU" in told.sentences[0]
    assert "90 %" in told.sentences[0]
    assert "H7" in told.basis.as_text()
    assert "only 5 past years" in told.basis.as_text()


def test_this_season_goes_on_as_each_past_one_did(station):
    """Every day is alike, so the season on 31 July changes no chance, but a warm week makes all of them larger."""
    plain = read_ripening_groups(occasion(date(2031, 7, 31)))
    assert plain.now.units == pytest.approx(80 * DAILY_CHU)
    assert [one.now for one in plain.groups] == [one.chance for one in plain.groups]
    warm = WeatherDay.objects.filter(date__range=(date(2031, 6, 10), date(2031, 6, 19)))
    warm.update(tmax_c=29.8, tmin_c=12.0)
    told = read_ripening_groups(occasion(date(2031, 7, 31)))
    assert [one.chance for one in told.groups] == [one.chance for one in plain.groups]
    # Ten days of 23.3 CHU and not 10.0 are 13.3 days ahead: H4 comes on day 115, H5 on 120, H6 on 127.
    assert [one.now for one in told.groups] == [1.0, 1.0, pytest.approx((4 / 5 + 2 / 5) / 2)]
    assert "as this season stands" in told.sentences[2]


def test_frost_of_a_past_year_on_a_day_that_this_season_has_seen_without_one_is_passed_over(station):
    site = Site.objects.get(station=station)
    store([day for day in days_of(site, 2031, last=(9, 12)) if day.date > date(2031, 7, 31)])
    told = read_ripening_groups(occasion(date(2031, 9, 12)))
    # On 12 September, day 123, the frosts of 5 and 10 September can no longer come: three years tell of a frost, two
    # of none later on. H1, H2 and H3 are ripe, H4 (day 128) lacks five days, H6 (140) is later than all three frosts.
    assert [one.now for one in told.groups] == [
        1.0,
        pytest.approx((1.0 + 4 / 5) / 2),
        pytest.approx((3 / 5 + 2 / 5) / 2),
    ]


def test_after_the_frost_the_season_is_decided(station):
    site = Site.objects.get(station=station)
    store([day for day in days_of(site, 2031, (9, 14), last=(10, 20)) if day.date > date(2031, 7, 31)])
    told = read_ripening_groups(occasion(date(2031, 10, 20)))
    assert told.now.frost_on == date(2031, 9, 14)
    assert told.now.counted_to == date(2031, 9, 13)
    # The frost is day 125: H3 (123) was ripe, H4 (128) was not.
    assert [one.now for one in told.groups] == [1.0, 0.5, 0.0]
    assert "this year all of them were" in told.sentences[0]
    assert "this year none of them was" in told.sentences[2]


def test_hybrids_by_name_have_what_is_left_and_a_date_or_none(station):
    told = read_ripening(occasion(date(2031, 7, 31)))
    by_name = {one.hybrid: one for one in told.hybrids}
    assert list(by_name) == ["H1", "H2", "H3", "H4", "H5", "H6"]
    assert told.unknown == ("H7",)
    assert by_name["H1"].units_left == pytest.approx(30 * DAILY_CHU - 0.01)
    assert (by_name["H2"].ripe_years, by_name["H2"].years) == (4, 5)
    assert by_name["H1"].black_layer == date(2031, 5, 12) + timedelta(days=110)
    assert by_name["H6"].moisture_at_frost_pct > by_name["H1"].moisture_at_frost_pct
    assert by_name["H1"].moisture_at_harvest_pct < by_name["H1"].moisture_at_frost_pct
    assert by_name["H6"].loss_pct > by_name["H3"].loss_pct > 0.0 == by_name["H1"].loss_pct
    assert told.groups.groups[2].loss_pct == pytest.approx((by_name["H5"].loss_pct + by_name["H6"].loss_pct) / 2)
    assert told.not_considered


def test_later_sowing_never_raises_the_chance_and_the_day_asked_for_is_among_them(station):
    told = read_ripening(occasion(date(2031, 5, 1)), sown=(5, 20), harvest=(9, 30))
    assert (told.groups.sown, told.groups.harvest_on) == (date(2031, 5, 20), date(2031, 9, 30))
    assert date(2031, 5, 20) in [one.day for one in told.by_sowing]
    for group in range(3):
        chances = [one.chances[group] for one in told.by_sowing]
        assert chances == sorted(chances, reverse=True)


def test_sites_are_told_side_by_side_in_one_look_at_the_weather(station):
    told = read_ripening(occasion(date(2031, 5, 1)))
    assert [one.label for one in told.by_site] == ["Home fields"]
    with CaptureQueriesContext(connection) as few:
        read_ripening(occasion(date(2031, 5, 1)))
    for at in range(3):
        site = Site.objects.create(station=station, code=f"s{at}", name=f"Far {at}", latitude=50.0, longitude=1.0)
        store(days_of(site, 2030, (9, 1)))
        add_hybrid(station, f"N{at}", 120)
    with CaptureQueriesContext(connection) as many:
        told = read_ripening(occasion(date(2031, 5, 1)))
    assert len(many) == len(few)
    assert [(one.label, one.years) for one in told.by_site[1:]] == [("Far 0", 1), ("Far 1", 1), ("Far 2", 1)]


def test_units_that_are_only_asked_about_are_told_beside_the_groups(station):
    told = read_ripening(occasion(date(2031, 5, 1)), also_units=units(123))
    assert [one.group for one in told.groups.groups] == ["early", "middle", "late", "as asked"]
    asked = told.groups.groups[3]
    # As H3: before the frosts of days 126, 131 and 136.
    assert (asked.n_hybrids, asked.chance) == (1, pytest.approx(0.6))
    assert [one.chances[3] for one in told.by_sowing if one.day == date(2031, 5, 12)] == [pytest.approx(0.6)]
    assert [one.is_record for one in told.hybrids].count(False) == 1
    assert "6 hybrids with known units" in told.basis.as_text()
    assert told.groups.sentences[3].startswith("The hybrid that is asked about (1,233 CHU to black layer)")
    for wrong in (0.0, -1.0, 20000.0, float("nan")):
        with pytest.raises(InputRefused, match="cannot be units to black layer"):
            read_ripening(occasion(date(2031, 5, 1)), also_units=wrong)


def test_units_that_are_asked_about_where_no_hybrid_is_known_stand_alone(db):
    station = make_station()
    store(days_of(Site.objects.get(station=station), 2030, (9, 20)))
    told = read_ripening(occasion(date(2031, 5, 1)), also_units=units(110))
    assert [(one.group, one.chance) for one in told.groups.groups] == [("as asked", 1.0)]
    assert "no hybrid has known heat units" in told.basis.as_text()


@pytest.mark.parametrize(("text", "found"), [("", None), ("2300", 2300.0), ("2,300", 2300.0), (" 2 300.5", 2300.5)])
def test_units_are_read_as_people_write_them(text, found):
    assert read_units(text) == found
    with pytest.raises(InputRefused, match="no number"):
        read_units("many")


def test_sowing_day_is_that_of_the_season_in_the_books_unless_another_is_asked(station):
    make_season(station, "2031", date(2031, 5, 19))
    assert read_ripening_groups(occasion(date(2031, 6, 1))).sown == date(2031, 5, 19)
    assert read_ripening_groups(occasion(date(2031, 6, 1)), sown=(5, 3)).sown == date(2031, 5, 3)
    Season.objects.update(sow_from=None)
    assert read_ripening_groups(occasion(date(2031, 6, 1))).sown == date(2031, 5, 12)


def test_hole_in_this_season_stops_its_count_and_is_named(station):
    WeatherDay.objects.filter(date__range=(date(2031, 6, 10), date(2031, 6, 18))).delete()
    told = read_ripening_groups(occasion(date(2031, 7, 31)))
    assert told.now.counted_to == date(2031, 6, 9)
    assert told.now.hole == date(2031, 6, 10)
    assert "2031-06-10 is missing" in told.basis.as_text()
    # A short hole is filled, and told.
    WeatherDay.objects.filter(date=date(2030, 6, 10)).delete()
    assert "1 day is filled" in read_ripening_groups(occasion(date(2031, 5, 1))).basis.as_text()


def test_years_that_are_not_whole_are_left_out_and_counted(station):
    WeatherDay.objects.filter(date__range=(date(2029, 6, 20), date(2029, 12, 31))).delete()
    told = read_ripening(occasion(date(2031, 5, 1)))
    assert told.groups.years == (2026, 2027, 2028, 2030)
    assert [year for year, _ in told.left_out] == [2029]
    assert "1 past year is not whole" in told.basis.as_text()


def test_station_without_weather_or_without_units_says_so_and_gives_no_chance(db):
    station = make_station()
    told = read_ripening(occasion(date(2031, 5, 1)))
    assert (told.groups.groups, told.hybrids, told.groups.sentences) == ((), (), ())
    assert "no hybrid has known heat units" in told.basis.as_text()
    add_hybrid(station, "H1", 110)
    told = read_ripening(occasion(date(2031, 7, 1)))
    (group,) = told.groups.groups
    assert (group.group, group.chance, group.now) == ("all", None, None)
    assert told.hybrids[0].chance is None
    assert "no weather" in told.basis.as_text()


def test_one_year_only_gives_a_chance_with_a_wide_interval(db):
    station = make_station()
    store(days_of(Site.objects.get(station=station), 2030, (9, 20)))
    add_hybrid(station, "H1", 110, silk=600)
    told = read_ripening(occasion(date(2031, 5, 1)))
    (one,) = told.hybrids
    assert (one.chance, one.ripe_years) == (1.0, 1)
    assert one.low < 0.5
    assert "silk" not in told.basis.as_text()


def test_site_without_frost_is_ripe_if_reached_and_the_years_are_told(db):
    station = make_station()
    store(days_of(Site.objects.get(station=station), 2030))
    add_hybrid(station, "H1", 200)
    told = read_ripening(occasion(date(2031, 5, 1)))
    assert (told.hybrids[0].chance, told.hybrids[0].moisture_at_frost_pct) == (1.0, None)
    assert "1 past year had no frost" in told.basis.as_text()


def test_season_in_the_south_is_sown_before_the_new_year(db):
    station = make_station()
    site = Site.objects.get(station=station)
    Site.objects.filter(pk=site.pk).update(latitude=-40.0)
    site.refresh_from_db()
    store(*(days_of(site, year, (3, 20)) for year in (2028, 2029, 2030)), days_of(site, 2031, last=(2, 1)))
    add_hybrid(station, "H1", 110)
    told = read_ripening_groups(occasion(date(2031, 2, 1)))
    assert (told.sown, told.harvest_on) == (date(2030, 11, 12), date(2031, 4, 10))
    assert told.years == (2028, 2029)
    assert told.now.counted_to == date(2031, 2, 1)
    # Day 110 is 2 March (1 March over a leap day), before the frost of 20 March.
    assert [one.now for one in told.groups] == [1.0]


@pytest.mark.parametrize(("text", "day"), [("", None), ("05-12", (5, 12)), ("2031-05-12", (5, 12)), ("02-29", (2, 29))])
def test_month_and_day_are_read(text, day):
    assert read_month_day(text, "sowing day") == day


@pytest.mark.parametrize("text", ["May", "13-01", "5", "2031-02-30"])
def test_month_and_day_that_are_none_are_refused(text):
    with pytest.raises(InputRefused, match="sowing day"):
        read_month_day(text, "sowing day")
