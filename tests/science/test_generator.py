"""Do generated years resemble the years they were fitted to, in mean, spread, what lasts, and from year to year?

The years behind are of the invented valley, whose own simulator is another model than the generator: it knows spells,
cold pools and wet days of its own, and a warmth of each year of 0.6 °C.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from firstsilk.invented.weather import simulate_weather
from firstsilk.science.climate.generated import generate_days, generate_years, measure_anomaly, number_in_year
from firstsilk.science.climate.generator import find_warm_half, fit_generator
from firstsilk.science.climate.heat import count_chu

MAY_SEP = slice(120, 273)


@pytest.fixture(scope="module")
def valley():
    """Sixty invented years of the home station."""
    return simulate_weather(11, 1951, 2010)


def fit_years(valley, n_years):
    n_days = (date(1951 + n_years, 1, 1) - date(1951, 1, 1)).days
    return fit_generator(
        valley.days[:n_days], valley.tmin_c[0, :n_days], valley.tmax_c[0, :n_days], valley.rain_mm[0, :n_days]
    )


def whole_years(valley):
    kept = np.array([(day.month, day.day) != (2, 29) for day in valley.days])
    return valley.tmin_c[0, kept].reshape(-1, 365), valley.tmax_c[0, kept].reshape(-1, 365)


def lag_one(values):
    apart = values - values.mean(axis=0)
    return float((apart[:, 1:] * apart[:, :-1]).mean() / (apart**2).mean())


def test_many_years_give_years_alike(valley):
    low, high = whole_years(valley)
    made = generate_years(fit_years(valley, 60), 600, seed=5)
    for ours, theirs in ((made.tmin_c, low), (made.tmax_c, high)):
        by_month = np.abs(
            ours[:, :360].reshape(600, 12, 30).mean(axis=(0, 2)) - theirs[:, :360].reshape(60, 12, 30).mean(axis=(0, 2))
        )
        assert by_month.max() < 0.8  # standard error of the mean of a month of 60 years: about 0.25
        # The daily spread of each summer day, and what lasts of it until the next.
        assert ours[:, MAY_SEP].std(axis=0).mean() == pytest.approx(theirs[:, MAY_SEP].std(axis=0).mean(), rel=0.06)
        assert lag_one(ours[:, MAY_SEP]) == pytest.approx(lag_one(theirs[:, MAY_SEP]), abs=0.05)
    ranges = (made.tmax_c - made.tmin_c)[:, MAY_SEP].mean(), (high - low)[:, MAY_SEP].mean()
    assert ranges[0] == pytest.approx(ranges[1], rel=0.03)


def test_season_totals_vary_as_they_were_seen_to(valley):
    low, high = whole_years(valley)
    fit = fit_years(valley, 60)
    made = generate_years(fit, 2000, seed=5)
    seen = count_chu(low, high)[:, MAY_SEP].sum(axis=1)
    ours = count_chu(made.tmin_c, made.tmax_c)[:, MAY_SEP].sum(axis=1)
    assert ours.mean() == pytest.approx(seen.mean(), rel=0.02)
    # The relative error of a spread of 60 years is 1/sqrt(120) = 9 %; three of them.
    assert ours.std() == pytest.approx(seen.std(ddof=1), rel=0.27)
    # Without the year's own warmth the totals vary too little: the known fault that is put right.
    without = generate_years(replace(fit, year_cov_c2=np.zeros((2, 2))), 2000, seed=5)
    bare = count_chu(without.tmin_c, without.tmax_c)[:, MAY_SEP].sum(axis=1)
    assert bare.std() < 0.85 * seen.std(ddof=1)


def test_rain_comes_as_often_and_as_much(valley):
    made = generate_years(fit_years(valley, 60), 300, seed=2)
    wet = valley.rain_mm[0] > 0.2
    assert (made.rain_mm > 0.2).mean() == pytest.approx(wet.mean(), abs=0.02)
    assert made.rain_mm.mean() == pytest.approx(valley.rain_mm[0].mean(), rel=0.05)
    again = (wet[1:] & wet[:-1]).sum() / wet[:-1].sum()
    ours = made.rain_mm > 0.2
    assert (ours[:, 1:] & ours[:, :-1]).sum() / ours[:, :-1].sum() == pytest.approx(again, abs=0.03)


@pytest.mark.parametrize("n_years", [1, 2, 4])
def test_few_years_still_give_years(valley, n_years):
    fit = fit_years(valley, n_years)
    made = generate_years(fit, 200, seed=1)
    assert fit.n_years == n_years
    assert np.isfinite(made.tmin_c).all()
    assert (made.tmin_c < made.tmax_c).all()
    # With one year the spread from year to year is the usual one, not nothing.
    assert 0.2 < np.sqrt(fit.year_cov_c2[0, 0]) < 1.2
    _, high = whole_years(valley)
    assert abs(made.tmax_c[:, MAY_SEP].mean() - high[:n_years, MAY_SEP].mean()) < 0.5


def test_same_seed_same_years_and_another_seed_others(valley):
    fit = fit_years(valley, 3)
    one, two, other = (generate_years(fit, 4, seed=seed) for seed in (7, 7, 8))
    assert np.array_equal(one.tmin_c, two.tmin_c)
    assert np.array_equal(one.rain_mm, two.rain_mm)
    assert not np.array_equal(one.tmin_c, other.tmin_c)


def test_today_warm_is_tomorrow_warm_and_is_forgotten(valley):
    fit = fit_years(valley, 30)
    days = [date(1981, 7, 1) + timedelta(days=step) for step in range(20)]
    at = number_in_year(days)
    warm = measure_anomaly(fit, days, fit.dry_mean_c[at, 0] + 4.0, fit.dry_mean_c[at, 1] + 4.0)
    assert warm.mean_c == pytest.approx([4.0, 4.0])
    plain = generate_days(fit, 500, 201, 60, seed=3)
    told = generate_days(fit, 500, 201, 60, seed=3, anomaly=warm)
    ahead = told.tmin_c.mean(axis=0) - plain.tmin_c.mean(axis=0)
    assert 1.5 < ahead[0] < 4.0
    # What is left after weeks is the year's own warmth, of which twenty days tell a part.
    assert -0.1 < ahead[-20:].mean() < 1.2
    assert told.tmin_c[:, 0].std() < plain.tmin_c[:, 0].std()


def test_half_a_year_turned_is_a_southern_site(valley):
    low, high = whole_years(valley)
    days = [date(1951, 1, 1) + timedelta(days=step) for step in range(365 * 10)]
    turned_low, turned_high = (np.roll(one[:10].ravel(), 182) for one in (low, high))
    fit = fit_generator(days, turned_low, turned_high)
    assert fit.n_seasons == 9  # ten calendar years hold nine whole summers
    warm = find_warm_half(fit)
    assert {340, 0, 30} <= set(warm.tolist())
    made = generate_years(fit, 100, seed=1)
    assert made.tmax_c[:, :31].mean() - made.tmax_c[:, 181:212].mean() > 20


def test_months_without_days_are_not_invented(valley):
    summer = np.array([5 <= day.month <= 9 for day in valley.days])
    days = [day for day, kept in zip(valley.days, summer, strict=True) if kept]
    fit = fit_generator(days, valley.tmin_c[0, summer], valley.tmax_c[0, summer], valley.rain_mm[0, summer])
    made = generate_days(fit, 100, 120, 153, seed=1)
    assert abs(made.tmax_c.mean() - valley.tmax_c[0, summer].mean()) < 0.5
    with pytest.raises(ValueError, match="too few days in a month"):
        generate_years(fit, 10, seed=1)


def test_what_cannot_be_fitted_is_refused(valley):
    days, low, high = valley.days[:149], valley.tmin_c[0, :149], valley.tmax_c[0, :149]
    with pytest.raises(ValueError, match="149 days are known; a weather generator needs 150"):
        fit_generator(days, low, high)
    with pytest.raises(ValueError, match="twice"):
        fit_generator((*valley.days[:200], valley.days[3]), valley.tmin_c[0, :201], valley.tmax_c[0, :201])
    with pytest.raises(ValueError, match="above its maximum"):
        fit_generator(valley.days[:200], valley.tmax_c[0, :200], valley.tmin_c[0, :200])
    every_other = slice(0, 600, 2)
    with pytest.raises(ValueError, match="too few days follow"):
        fit_generator(valley.days[every_other], valley.tmin_c[0, every_other], valley.tmax_c[0, every_other])


def test_29_february_counts_as_the_28th():
    assert number_in_year([date(2024, 2, 28), date(2024, 2, 29), date(2024, 3, 1), date(2023, 3, 1)]).tolist() == [
        58,
        58,
        59,
        59,
    ]


def test_a_site_without_rain_or_without_readings_of_it(valley):
    dry = fit_generator(valley.days[:800], valley.tmin_c[0, :800], valley.tmax_c[0, :800], np.zeros(800))
    none = fit_generator(valley.days[:800], valley.tmin_c[0, :800], valley.tmax_c[0, :800])
    for fit in (dry, none):
        assert generate_years(fit, 3, seed=1).rain_mm is None
