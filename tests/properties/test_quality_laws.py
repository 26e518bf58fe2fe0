"""Laws of doubt: seldom about clean weather, surely about a planted fault, never beyond the judged days."""

from __future__ import annotations

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from firstsilk.invented.weather import simulate_weather
from firstsilk.science.climate.doubts import make_series, measure_steps
from firstsilk.science.climate.quality import SPIKE_SPREADS, check_quality, count_stuck_days

WORLDS = [simulate_weather(seed, 2001, 2008) for seed in range(3)]
SITES = st.sampled_from([(world, site) for world in WORLDS for site in range(4)])
N_DAYS = len(WORLDS[0].days)


def copy_of(world, site):
    return world.tmin_c[site].copy(), world.tmax_c[site].copy(), world.rain_mm[site].copy()


def look(world, low, high, rain, judged=None):
    every = np.ones(N_DAYS, dtype=bool) if judged is None else judged
    return check_quality(make_series(world.days, low, high, rain), every, 49.0)


@settings(max_examples=25)
@given(where=SITES, place=st.integers(3, N_DAYS - 4), side=st.booleans(), times=st.floats(1.05, 3.0))
def test_a_day_far_beyond_both_neighbours_is_always_told(where, place, side, times):
    world, site = where
    low, high, rain = copy_of(world, site)
    values, sign = (high, 1.0) if side else (low, -1.0)
    spread = measure_steps(make_series(world.days, low, high, rain))[place, int(side)]
    beside = max(sign * values[place - 1], sign * values[place + 1])
    values[place] = sign * (beside + times * SPIKE_SPREADS * spread)
    found = look(world, low, high, rain)
    assert any(one.kind == "spike" and one.first == place for one in found)


@settings(max_examples=25)
@given(where=SITES, place=st.integers(3, N_DAYS - 12), more=st.integers(0, 4))
def test_a_long_enough_run_is_always_told(where, place, more):
    world, site = where
    low, high, rain = copy_of(world, site)
    spread = measure_steps(make_series(world.days, low, high, rain))[place, 0]
    days = count_stuck_days(0.1, float(spread)) + more
    low[place : place + days] = low[place : place + days].min()
    found = look(world, low, high, rain)
    assert any(one.kind == "stuck" and one.first <= place and one.last >= place + days - 1 for one in found)


@settings(max_examples=25)
@given(where=SITES, place=st.integers(600, N_DAYS - 40), back=st.integers(40, 500), days=st.integers(6, 30))
def test_a_repeated_block_is_always_told(where, place, back, days):
    world, site = where
    low, high, rain = copy_of(world, site)
    for one in (low, high, rain):
        one[place : place + days] = one[place - back : place - back + days]
    assume(len(np.unique(low[place : place + days])) > 2)
    found = look(world, low, high, rain)
    assert any(one.kind == "repeated_block" and one.first <= place and one.last >= place + days - 1 for one in found)


@settings(max_examples=25)
@given(where=SITES, first=st.integers(0, N_DAYS - 1), last=st.integers(0, N_DAYS - 1), seed=st.integers(0, 99))
def test_no_doubt_is_told_beyond_the_judged_days(where, first, last, seed):
    world, site = where
    low, high, rain = copy_of(world, site)
    dice = np.random.default_rng(seed)
    high[dice.integers(0, N_DAYS, 40)] += 25.0
    judged = np.zeros(N_DAYS, dtype=bool)
    judged[min(first, last) : max(first, last) + 1] = True
    for one in look(world, low, high, rain, judged):
        assert judged[one.first]
        assert judged[one.last]


@settings(max_examples=10)
@given(where=SITES)
def test_nothing_that_was_given_is_changed(where):
    world, site = where
    low, high, rain = copy_of(world, site)
    look(world, low, high, rain)
    assert np.array_equal(low, world.tmin_c[site])
    assert np.array_equal(high, world.tmax_c[site])
    assert np.array_equal(rain, world.rain_mm[site])


def test_clean_weather_is_seldom_doubted():
    """Once in 26 years of a site is expected (`docs/weather-in.md`); these are ninety-six."""
    told = [one for world in WORLDS for site in range(4) for one in look(world, *copy_of(world, site))]
    assert len(told) <= 96 / 15
