"""Which laws hold for every published form of heat units, whatever the weather?"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstsilk.science.climate.degree_day_curves import CURVES, CUTOFFS, count_gdd_curve, count_gdd_double_curve
from firstsilk.science.climate.degree_days import GDD_C, DegreeDayLimits
from firstsilk.science.climate.heat_forms import FORMS, count_by_form, count_hours_by_form

TEMPERATURE = st.floats(-40.0, 55.0, allow_nan=False)
DAY = st.tuples(TEMPERATURE, TEMPERATURE).map(sorted)
DAYS = st.lists(DAY, min_size=1, max_size=12)
LIMITS = st.tuples(st.floats(-5.0, 15.0), st.floats(16.0, 35.0)).map(lambda pair: DegreeDayLimits(*pair))
OF_DAYS = [form for form in FORMS if form.needs != "hours"]
FEW = settings(max_examples=25)
"""Each law is tried on every one of 24 forms."""
each_form = pytest.mark.parametrize("form", OF_DAYS, ids=lambda form: form.name)
MOMENTS = 20_000


def columns(days):
    return np.array([low for low, _ in days]), np.array([high for _, high in days])


def add_up_moments(low, high, limits, curve, cutoff):
    """The slow way: the rate of development at many moments of the day, averaged."""
    turn = (np.arange(MOMENTS) + 0.5) / MOMENTS
    wave = np.sin(turn * 2.0 * np.pi) if curve == "sine" else 2.0 * turn - 1.0
    course = (low + high) / 2.0 + (high - low) / 2.0 * wave
    gained = np.maximum(course - limits.lower, 0.0)
    over = course > limits.upper
    stopped = np.where(over, 0.0, gained).mean()
    if cutoff == "horizontal":
        gained = np.where(over, limits.upper - limits.lower, gained)
    elif cutoff == "intermediate":
        slowed = np.where(over, gained - 2.0 * (course - limits.upper), gained).mean()
        return max(slowed, stopped)
    return stopped if cutoff == "vertical" else gained.mean()


@given(DAY, LIMITS, st.sampled_from(CURVES), st.sampled_from(CUTOFFS))
def test_every_curve_with_every_cutoff_agrees_with_adding_up_moments(day, limits, curve, cutoff):
    slow = add_up_moments(*day, limits, curve, cutoff)
    # The rate falls by U - L at once where the curve crosses U, at most twice a day: a moment each may be missed.
    drop = (limits.upper - limits.lower) if cutoff in ("vertical", "intermediate") else 0.0
    assert count_gdd_curve(*day, limits, curve, cutoff) == pytest.approx(slow, abs=1e-4 + 2.0 * drop / MOMENTS)


@given(DAY, TEMPERATURE, LIMITS, st.sampled_from(CURVES), st.sampled_from(CUTOFFS))
def test_a_double_curve_lies_between_its_two_halves_and_is_the_single_one_where_they_are_alike(
    day, after, limits, curve, cutoff
):
    low, high = day
    halves = [count_gdd_curve(one, high, limits, curve, cutoff) for one in (low, min(after, high))]
    double = count_gdd_double_curve(low, high, after, limits, curve, cutoff)
    assert min(halves) - 1e-9 <= double <= max(halves) + 1e-9
    assert count_gdd_double_curve(low, high, low, limits, curve, cutoff) == pytest.approx(float(halves[0]), abs=1e-12)


@each_form
@FEW
@given(days=DAYS)
def test_fahrenheit_files_bring_the_same_units_and_fahrenheit_units_are_1_8_of_celsius(form, days):
    low, high = columns(days)
    for scale in form.scales:
        in_f = count_by_form(low * 1.8 + 32.0, high * 1.8 + 32.0, scale, form.name, "f")
        assert in_f == pytest.approx(count_by_form(low, high, scale, form.name), abs=1e-6)
    if form.family == "gdd":
        celsius, fahrenheit = (count_by_form(low, high, scale, form.name) for scale in ("gdd_c", "gdd_f"))
        assert fahrenheit == pytest.approx(1.8 * celsius, abs=1e-9)


@each_form
@FEW
@given(days=DAYS)
def test_only_the_form_without_floors_is_ever_below_zero_and_capped_ones_stay_under_their_cap(form, days):
    low, high = columns(days)
    units = count_by_form(low, high, form.scales[0], form.name)
    if form.name != "unfloored":
        assert (units >= 0.0).all()
    if form.name in ("clamped", "mean-clamped") or form.name.endswith(("horizontal", "vertical", "intermediate")):
        assert (units <= GDD_C.upper - GDD_C.lower + 1e-9).all()


@each_form
@FEW
@given(days=DAYS, at=st.integers(0, 11))
def test_a_missing_temperature_makes_its_day_unknown_and_touches_no_other(form, days, at):
    low, high = columns(days)
    at %= len(days)
    holed = low.copy()
    holed[at] = np.nan
    whole = count_by_form(low, high, form.scales[0], form.name, next_tmin=low)
    units = count_by_form(holed, high, form.scales[0], form.name, next_tmin=low)
    assert np.isnan(units[at])
    assert np.delete(units, at) == pytest.approx(np.delete(whole, at))


@given(st.lists(st.floats(-30.0, 45.0), min_size=24, max_size=24), LIMITS)
def test_hours_one_by_one_never_bring_less_than_their_mean_clamped_and_never_more_than_the_cap(hours, limits):
    day = np.array([hours])
    one_by_one = count_hours_by_form(day, "gdd_c", "hourly", limits=limits)[0]
    of_mean = count_hours_by_form(day, "gdd_c", "hourly-mean", limits=limits)[0]
    uncapped = count_hours_by_form(day, "gdd_c", "hourly", limits=DegreeDayLimits(limits.lower, 1e3))[0]
    assert uncapped >= of_mean - 1e-9
    assert 0.0 <= one_by_one <= min(uncapped, limits.upper - limits.lower) + 1e-9
