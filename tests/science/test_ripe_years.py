"""Do seasons, black layer, frost and chance come out as a plain count by hand says?"""

from __future__ import annotations

import math
from datetime import date, timedelta

import numpy as np
import pytest

from firstsilk.science.climate.heat import count_chu
from firstsilk.science.flowering.ripe_chance import (
    HybridNeed,
    estimate_ripe_chances,
    need_from_emergence,
    tabulate_ripening,
)
from firstsilk.science.flowering.ripe_years import (
    lay_out_seasons,
    median_black_layer,
    median_or_none,
    ripen_in_seasons,
)


def every_day(first: date, last: date) -> list[date]:
    return [first + timedelta(days=step) for step in range((last - first).days + 1)]


def steady(first, last, frosts=(), lights=(), holes=(), units=10.0):
    """So many units on every day, 5 °C at night but for the frosts."""
    days = [day for day in every_day(first, last) if day not in holes]
    low = [-3.0 if day in frosts else -0.5 if day in lights else 5.0 for day in days]
    return days, [units] * len(days), low


def lay_out(weather, sown=(5, 10), killing=-2.0, south=False):
    return lay_out_seasons(*weather, sown, killing, south)


def test_season_counts_from_the_day_after_sowing_and_ripe_is_strictly_before_the_frost():
    (season,) = lay_out(steady(date(2031, 1, 1), date(2031, 12, 31), [date(2031, 9, 10)])).seasons
    assert (season.days[0], season.totals[0]) == (date(2031, 5, 11), 10.0)
    assert season.frost == date(2031, 9, 10)
    # 10 September is day 123 after sowing: 1,220 units are together on the eve, 1,230 only on the frost day.
    ripe = ripen_in_seasons([season], [1220.0, 1220.1, 1230.0, 9000.0])
    assert ripe.ripe.tolist() == [[True, False, False, False]]
    assert [None if at < 0 else season.days[at] for at in ripe.black_layer_at[0]] == [
        date(2031, 9, 9),
        date(2031, 9, 10),
        date(2031, 9, 10),
        None,
    ]
    assert ripe.units_at_frost.tolist() == [1220.0]


def test_black_layer_does_not_wait_a_day_for_the_last_digit_of_a_sum():
    (season,) = lay_out(steady(date(2031, 1, 1), date(2031, 12, 31), units=0.1)).seasons
    assert ripen_in_seasons([season], [3.0]).black_layer_at.tolist() == [[29]]


def test_season_without_a_frost_is_ripe_if_reached_in_its_data():
    (season,) = lay_out(steady(date(2031, 1, 1), date(2031, 12, 31))).seasons
    assert season.frost is None
    assert ripen_in_seasons([season], [2350.0, 2351.0]).ripe.tolist() == [[True, False]]
    (season,) = lay_out(steady(date(2031, 1, 1), date(2031, 9, 30))).seasons
    assert ripen_in_seasons([season], [1430.0, 1431.0]).ripe.tolist() == [[True, False]]


@pytest.mark.parametrize(
    ("first", "last", "frosts", "holes", "why"),
    [
        (date(2031, 1, 1), date(2031, 6, 20), [], [], "ends_early"),
        (date(2031, 1, 1), date(2031, 9, 29), [], [], "ends_early"),
        (date(2031, 1, 1), date(2031, 12, 31), [date(2031, 9, 10)], [date(2031, 8, 1)], "hole"),
        (date(2031, 1, 1), date(2031, 12, 31), [], [date(2031, 10, 20)], "hole"),
        (date(2031, 5, 12), date(2031, 12, 31), [], [], "starts_late"),
    ],
)
def test_year_that_is_not_whole_is_left_out_with_its_reason(first, last, frosts, holes, why):
    told = lay_out(steady(first, last, frosts, holes=holes))
    assert told.seasons == ()
    assert told.left_out == ((2031, why),)


def test_hole_after_the_frost_or_before_the_first_day_counted_leaves_a_year_in():
    holes = [date(2031, 9, 12), date(2031, 5, 10)]
    (season,) = lay_out(steady(date(2031, 5, 1), date(2031, 12, 31), [date(2031, 9, 10)], holes=holes)).seasons
    assert season.days[-1] == date(2031, 9, 11)


def test_frost_day_with_an_unknown_maximum_is_still_the_frost():
    days, units, low = steady(date(2031, 1, 1), date(2031, 12, 31), [date(2031, 9, 10)])
    units[days.index(date(2031, 9, 10))] = math.nan
    (season,) = lay_out((days, units, low)).seasons
    assert season.frost == date(2031, 9, 10)
    units[days.index(date(2031, 9, 9))] = math.nan
    assert lay_out((days, units, low)).left_out == ((2031, "hole"),)


def test_frost_before_july_or_before_a_late_sowing_is_not_the_one():
    frosts = [date(2031, 6, 30), date(2031, 8, 1), date(2031, 9, 10)]
    weather = steady(date(2031, 1, 1), date(2031, 12, 31), frosts)
    assert [one.frost for one in lay_out(weather).seasons] == [date(2031, 8, 1)]
    assert [one.frost for one in lay_out(weather, sown=(8, 1)).seasons] == [date(2031, 9, 10)]


def test_light_frost_is_the_first_at_0_and_the_killing_one_stands_in_if_there_is_none():
    weather = steady(date(2031, 1, 1), date(2031, 12, 31), [date(2031, 9, 10)], [date(2031, 9, 2), date(2031, 9, 4)])
    (season,) = lay_out(weather).seasons
    assert season.days[season.light_at] == date(2031, 9, 2)
    (season,) = lay_out(steady(date(2031, 1, 1), date(2031, 12, 31), [date(2031, 9, 10)])).seasons
    assert season.light_at == season.frost_at


def test_season_in_the_south_runs_over_the_new_year():
    weather = steady(date(2031, 7, 1), date(2033, 6, 30), [date(2032, 4, 20), date(2031, 8, 1), date(2032, 7, 2)])
    told = lay_out(weather, sown=(10, 20), south=True)
    assert [(one.sown.year, one.frost, one.days[-1]) for one in told.seasons] == [
        (2031, date(2032, 4, 20), date(2032, 6, 30)),
        (2032, None, date(2033, 6, 30)),
    ]
    ripe = ripen_in_seasons(told.seasons, [1530.0])
    # 153 days after 20 October: 22 March, but 21 March over the leap day of 2032.
    assert [one.days[at].isoformat() for one, at in zip(told.seasons, ripe.black_layer_at[:, 0], strict=True)] == [
        "2032-03-21",
        "2033-03-22",
    ]
    assert median_black_layer(ripe, 0) == 365 + 80.5
    late = lay_out(weather, sown=(2, 1), south=True)
    assert [(one.sown.year, one.frost) for one in late.seasons] == [(2032, date(2032, 4, 20)), (2033, None)]


def test_sowing_on_the_last_day_of_the_season_leaves_no_season():
    weather = steady(date(2031, 1, 1), date(2032, 12, 31))
    assert lay_out(weather, sown=(12, 31)).seasons == lay_out(weather, sown=(6, 30), south=True).seasons == ()
    assert len(lay_out(weather, sown=(12, 30)).seasons) == 2


def test_sowing_on_29_february_is_on_28_february_in_other_years():
    told = lay_out(steady(date(2031, 1, 1), date(2032, 12, 31)), sown=(2, 29))
    assert [one.sown for one in told.seasons] == [date(2031, 2, 28), date(2032, 2, 29)]


def test_leap_year_does_not_shift_the_median_date():
    told = lay_out(steady(date(2031, 1, 1), date(2032, 12, 31)))
    assert median_black_layer(ripen_in_seasons(told.seasons, [1000.0]), 0) == 230  # 18 August, in both years


@pytest.mark.parametrize(
    ("values", "median"),
    [
        ([], None),
        ([240.0, math.inf, 250.0], 250.0),
        ([240.0, math.inf], None),
        ([math.inf, math.inf, 1.0], None),
        ([1, 2, 3, 4], 2.5),
    ],
)
def test_median_where_never_is_later_than_all(values, median):
    assert median_or_none(values) == median


def test_no_weather_or_no_season_gives_no_chance_and_no_date():
    assert lay_out(([], [], [])).seasons == ()
    told = estimate_ripe_chances(tabulate_ripening((), [HybridNeed("A", 2300.0)], "chu"), [HybridNeed("A", 2300.0)])
    assert (told[0].years, told[0].chance, told[0].black_layer_day, told[0].losses) == (0, None, None, ())


def test_need_from_emergence_starts_that_many_units_later():
    assert need_from_emergence(HybridNeed("A", 2200.0, 1300.0), 170.0) == HybridNeed("A", 2370.0, 1470.0)
    assert need_from_emergence(HybridNeed("A", 2200.0), 170.0).to_silk is None


def plain_twin(days, low, high, sown, killing, need):
    """Year by year with dates and dictionaries."""
    lows, highs = dict(zip(days, low, strict=True)), dict(zip(days, high, strict=True))
    ripe, dates = [], []
    for year in sorted({day.year for day in days}):
        total, frost, reached, day = 0.0, None, None, date(year, *sown)
        while day < date(year, 12, 31):
            day += timedelta(days=1)
            total += float(count_chu(lows[day], highs[day]))
            if reached is None and total >= need:
                reached = day
            if frost is None and day.month >= 7 and lows[day] <= killing:
                frost = day
        ripe.append(reached is not None and (frost is None or reached < frost))
        dates.append(reached)
    return ripe, dates


def test_chances_over_random_years_are_those_of_the_plain_twin():
    dice = np.random.default_rng(3)
    days = every_day(date(2001, 1, 1), date(2030, 12, 31))
    season = np.array([math.sin((day.timetuple().tm_yday - 107) / 365 * 2 * math.pi) for day in days])
    noise = dice.normal(0, 3, len(days))
    low, high = 1 + 11 * season + noise, 13 + 12 * season + noise + dice.normal(0, 1, len(days))
    told = lay_out_seasons(days, count_chu(low, high), low, (5, 12), -2.0)
    needs = [HybridNeed(str(units), units) for units in (2450.0, 2550.0, 2600.0, 2700.0, 2800.0)]
    table = tabulate_ripening(told.seasons, needs, "chu")
    chances = estimate_ripe_chances(table, needs)
    assert len({one.chance for one in chances}) >= 4
    for at, need in enumerate(needs):
        ripe, dates = plain_twin(days, low.tolist(), high.tolist(), (5, 12), -2.0, need.to_black_layer)
        assert table.ripe.ripe[:, at].tolist() == ripe
        assert chances[at].chance == pytest.approx(sum(ripe) / 30)
        found = [
            None if place < 0 else one.days[place]
            for place, one in zip(table.ripe.black_layer_at[:, at], told.seasons, strict=True)
        ]
        assert found == dates
    wet = [one.moisture_at_frost_pct for one in chances]
    assert wet == sorted(wet)
    assert [one.losses[0].plant_pct for one in chances] == sorted(one.losses[0].plant_pct for one in chances)


def test_expected_loss_is_the_mean_over_all_years_and_early_frosts_are_counted():
    frosts = [date(2031, 8, 18), date(2032, 9, 20)]
    told = lay_out(steady(date(2031, 1, 1), date(2033, 12, 31), frosts))
    # Sown 10 May; on the eves of the frosts 990 and 1,320 units. Silk at 700, black layer at 1,100 and 2,350.
    needs = [HybridNeed("early", 1100.0, 700.0), HybridNeed("late", 2350.0, 700.0)]
    early, late = estimate_ripe_chances(tabulate_ripening(told.seasons, needs, "chu", (9, 10)), needs)
    assert early.chance == pytest.approx(2 / 3)
    # Killed at (990 - 700) / 400 = 0.725, a quarter of the way from R5.25 on 0.70 and so between R5 and R5.5.
    expected = (40 + (12 - 40) * (0.725 - 0.65) / 0.15) / 3
    assert early.losses[0].plant_pct == pytest.approx(expected)
    assert early.losses[0].plant_before_table == 0
    # Killed at 0.18 and 0.38: before dent both, where the first value of the table is the least that is lost.
    assert late.losses[0].plant_pct == pytest.approx(80 / 3)
    assert late.losses[0].plant_before_table == 2
    assert late.losses[1].plant_pct == pytest.approx(110 / 3)
    assert late.losses[1].plant_before_table == 2
    # 10 September: 1,230 units; 130 after black layer at 50 a point is 32.4 %.
    assert early.moisture_on_pct == pytest.approx(35 - 130 / 50)


def test_grain_of_a_plant_killed_early_only_dries_from_its_moisture_at_the_frost():
    (season,) = lay_out(steady(date(2031, 1, 1), date(2031, 12, 31), [date(2031, 8, 18)])).seasons
    needs = [HybridNeed("A", 1300.0, 800.0), HybridNeed("unsilked", 2600.0, 1800.0)]
    # 990 units on the eve: at 0.38 of the way, near 72 %. On 17 August nothing has happened yet.
    before = tabulate_ripening([season], needs, "chu", (8, 17))
    assert (
        before.moisture_on_pct[0].tolist()
        == before.moisture_at_frost_pct[0].tolist()
        == [pytest.approx(72.0), math.inf]
    )
    # 17 September: 310 units later, where a living plant would have been at black layer, 35 %.
    after = tabulate_ripening([season], needs, "chu", (9, 17))
    assert after.moisture_on_pct[0].tolist() == [pytest.approx(72.0 - 310 / 50), math.inf]
