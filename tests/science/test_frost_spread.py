"""Is the spread of a frost date what resampling the years must give, and does its band hold what it says?"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from firstsilk.science.climate.frost import (
    METHODS,
    FrostYears,
    estimate_frost_day,
    find_frosts,
    normal_frost_day,
)
from firstsilk.science.climate.frost_spread import normal_frost_day_se, spread_frost_day

TEN = (251, 258, 262, 263, 266, 268, 270, 271, 275, 284)


def frost_years(days, without=0, event="first_autumn"):
    years = tuple(range(2001, 2001 + len(days) + without))
    return FrostYears(event, years, years[: len(days)], tuple(days), ())


def slow_twin(frosts, probability, method, quantile, resamples, seed):
    """Draw by draw, with the one-sample function."""
    came = dict(zip(frosts.years_with_event, frosts.day_of_year, strict=True))
    n = len(frosts.years)
    answers = []
    for draw in np.random.default_rng(seed).integers(0, n, (resamples, n)).tolist():
        days = [came.get(frosts.years[at]) for at in draw]
        one = frost_years([day for day in days if day is not None], sum(day is None for day in days), frosts.event)
        answers.append(estimate_frost_day(one, probability, method, quantile))
    return answers


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("quantile", [5, 6, 7])
@pytest.mark.parametrize(("event", "probability"), [("first_autumn", 0.1), ("last_spring", 0.1), ("first_autumn", 0.7)])
def test_spread_when_drawn_one_by_one_then_the_same(method, quantile, event, probability):
    frosts = frost_years(TEN[:7], without=3, event=event)
    told = spread_frost_day(frosts, probability, method, quantile, 200, np.random.default_rng(5))
    twin = slow_twin(frosts, probability, method, quantile, 200, 5)
    never = float("inf") if event == "first_autumn" else float("-inf")
    ordered = sorted(never if day is None else day for day in twin)
    assert told.without_date == sum(day is None for day in twin)
    for end, at in ((told.low, 19), (told.high, 179)):
        assert end == (pytest.approx(ordered[at]) if np.isfinite(ordered[at]) else None)
    dated = [day for day in twin if day is not None]
    assert told.sd_days == pytest.approx(np.std(dated, ddof=1))


def test_spread_under_a_normal_law_then_its_standard_deviation_is_the_known_standard_error():
    """With many years: a resample of n has (n - 1) / n of the variance, and short samples hide their own tails."""
    dice = np.random.default_rng(7)
    n, mean, sd = 150, 269.0, 9.0
    for probability in (0.1, 0.5, 0.9):
        widths = []
        for _ in range(60):
            frosts = frost_years(np.round(dice.normal(mean, sd, n)).astype(int).tolist())
            widths.append(spread_frost_day(frosts, probability, "normal", 7, 300, dice).sd_days)
        assert np.mean(widths) == pytest.approx(normal_frost_day_se(sd, n, probability), rel=0.05)


def test_standard_error_under_a_normal_law_then_that_of_simulated_samples():
    dice = np.random.default_rng(11)
    samples = dice.normal(269.0, 9.0, (20000, 30))
    for probability, z in ((0.1, -1.2816), (0.5, 0.0)):
        dates = samples.mean(axis=1) + z * samples.std(axis=1, ddof=1)
        assert normal_frost_day_se(9.0, 30, probability) == pytest.approx(dates.std(), rel=0.02)
    with pytest.raises(ValueError, match="two years"):
        normal_frost_day_se(9.0, 1, 0.1)


@pytest.mark.parametrize(
    ("years", "method", "probability", "least", "most"),
    [
        (30, "normal", 0.1, 0.70, 0.84),
        (30, "percentile", 0.5, 0.70, 0.86),
        (30, "percentile", 0.1, 0.66, 0.86),
        (10, "normal", 0.1, 0.55, 0.76),
    ],
)
def test_band_of_80_percent_when_years_are_drawn_from_a_known_law_then_holds_the_true_date(
    years, method, probability, least, most
):
    """Measured: near 80 % with thirty years, clearly less with ten. 400 worlds, so a standard error of 2 points."""
    dice = np.random.default_rng(13)
    truth = normal_frost_day(269.0, 9.0, probability)
    inside = 0
    for _ in range(400):
        frosts = frost_years(np.round(dice.normal(269.0, 9.0, years)).astype(int).tolist())
        told = spread_frost_day(frosts, probability, method, 7, 300, dice)
        inside += told.low <= truth <= told.high
    assert least <= inside / 400 <= most, inside / 400


def test_spread_of_one_year_only_then_there_is_none():
    assert spread_frost_day(frost_years([266]), 0.5) is None
    assert spread_frost_day(frost_years([]), 0.5) is None


def test_spread_at_a_site_without_frost_then_no_end_and_every_draw_without_a_date():
    for method in METHODS:
        told = spread_frost_day(frost_years([], without=12), 0.5, method, resamples=50)
        assert (told.low, told.high, told.without_date, told.sd_days) == (None, None, 50, None)


def test_spread_where_frost_is_rare_then_the_late_end_is_open_and_the_early_end_stands():
    told = spread_frost_day(frost_years(TEN[:4], without=4), 0.45, "mixed", resamples=400)
    assert told.high is None
    assert told.low is not None
    assert 40 < told.without_date < 360
    spring = spread_frost_day(frost_years((100, 110, 120, 130), 4, "last_spring"), 0.45, "mixed", resamples=400)
    assert spring.low is None
    assert spring.high is not None


def test_spread_with_the_same_dice_then_the_same_band_and_with_others_another():
    frosts = frost_years(TEN)
    same = [spread_frost_day(frosts, 0.1, dice=np.random.default_rng(3)) for _ in range(2)]
    assert same[0] == same[1]
    assert spread_frost_day(frosts, 0.1, dice=np.random.default_rng(4)) != same[0]


def test_spread_in_the_south_over_leap_years_and_thin_years_then_inside_the_years_own_dates():
    days, lows = [], []
    for year in range(2021, 2033):
        first = date(year, 1, 1)
        for step in range(366 if year % 4 == 0 else 365):
            day = first + timedelta(days=step)
            if year == 2025 and day.month in (2, 3):
                continue
            days.append(day)
            # The frost falls on 29 February in leap years, on 28 February otherwise: one date for the common year.
            lows.append(-3.0 if (day + timedelta(days=1)).day == 1 and day.month == 2 else 8.0)
    frosts = find_frosts(days, lows, "first_autumn", south=True)
    assert frosts.thin_years == (2025,)
    assert (len(frosts.years), len(frosts.years_with_event)) == (12, 11)
    told = spread_frost_day(frosts, 0.5, resamples=100)
    assert (told.low, told.high, told.without_date) == (59.0, 59.0, 0)


@pytest.mark.parametrize(
    "wrong", [{"probability": 0.0}, {"level": 1.0}, {"resamples": 0}, {"method": "guess"}, {"quantile": 4}]
)
def test_spread_asked_for_what_cannot_be_then_refused(wrong):
    with pytest.raises(ValueError, match=r"out of range|unknown"):
        spread_frost_day(**{"frosts": frost_years(TEN), "probability": 0.1, **wrong})
