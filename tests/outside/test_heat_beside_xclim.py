"""Do xclim and MetPy, given the same temperatures, count the same heat, starts and frosts as we do?

Series: four real years of Seattle weather (vega-datasets) and random years. xclim has no clamped, sine or triangle
form; `test_degree_day_curves.py` and `test_agronomy.py` check those. MetPy has no heat units; it converts temperatures.
"""

from __future__ import annotations

import warnings
from datetime import date, timedelta

import numpy as np
import pytest

from firstsilk.science.climate.degree_days import DegreeDayLimits
from firstsilk.science.climate.heat import convert_c_to_f, convert_f_to_c
from firstsilk.science.climate.heat_forms import count_by_form, count_hours_by_form
from firstsilk.science.climate.season_rules import SeasonRule, find_rule, find_season

with warnings.catch_warnings():
    # What these libraries and their own dependencies announce on import is not ours to mend.
    warnings.simplefilter("ignore")
    import xarray
    from metpy.units import units
    from xclim import indices

pytestmark = [
    pytest.mark.filterwarnings("ignore::DeprecationWarning:xclim"),
    pytest.mark.filterwarnings("ignore::FutureWarning:xclim"),
]
EXACT = 1e-9
"""Both sides work in double precision on the same formula; only the order of operations differs."""


def seattle():
    from vega_datasets import local_data

    told = local_data.seattle_weather()
    return [day.date() for day in told["date"]], told["temp_min"].to_numpy(), told["temp_max"].to_numpy()


def invented(seed: int):
    """Three years with cool springs, hot days beyond the peak of the day part, and frosts."""
    dice = np.random.default_rng(seed)
    days = [date(2027, 1, 1) + timedelta(days=step) for step in range(3 * 365 + 1)]
    wave = 8.0 - 14.0 * np.cos(np.arange(len(days)) / 365.25 * 2 * np.pi) + dice.normal(0, 4, len(days))
    half = dice.uniform(1, 11, len(days))
    return days, wave - half, wave + half


SERIES = {"Seattle 2012-2015": seattle, "random 1": lambda: invented(1), "random 2": lambda: invented(2)}
each_series = pytest.mark.parametrize("series", SERIES)


def as_array(days, values, unit="degC"):
    return xarray.DataArray(
        values, dims="time", coords={"time": np.array(days, dtype="datetime64[ns]")}, attrs={"units": unit}
    )


@each_series
def test_corn_heat_units_with_the_night_base_of_xclim_are_the_same(series):
    days, low, high = SERIES[series]()
    theirs = indices.corn_heat_units(as_array(days, low), as_array(days, high))
    assert count_by_form(low, high, "chu", "night-4.44") == pytest.approx(theirs.values, abs=EXACT)


@each_series
def test_corn_heat_units_of_ontario_are_the_same_once_xclim_is_told_the_night_base(series):
    days, low, high = SERIES[series]()
    theirs = indices.corn_heat_units(as_array(days, low), as_array(days, high), thresh_tasmin="4.4 degC")
    ours = count_by_form(low, high, "chu")
    assert ours == pytest.approx(theirs.values, abs=EXACT)
    # The two night bases differ by half of 1.8 x 0.04 on a night that is above both, and never by more.
    default = count_by_form(low, high, "chu", "night-4.44")
    assert (ours - default).max() == pytest.approx(0.036, abs=EXACT)


@each_series
def test_plain_degree_days_summed_by_year_are_the_same_in_both_units(series):
    days, low, high = SERIES[series]()
    years = np.array([day.year for day in days])
    mean_c = (low + high) / 2
    given = {"gdd_c": (mean_c, "degC", "10 degC"), "gdd_f": (convert_c_to_f(mean_c), "degF", "50 degF")}
    for scale, (means, unit, threshold) in given.items():
        theirs = indices.growing_degree_days(as_array(days, means, unit), thresh=threshold).values
        daily = count_by_form(low, high, scale, "plain")
        ours = [daily[years == year].sum() for year in sorted(set(years.tolist()))]
        assert ours == pytest.approx(theirs, rel=EXACT)


def test_means_of_hours_make_the_same_degree_days() -> None:
    hours = np.random.default_rng(3).normal(12, 8, (60, 24))
    days = [date(2031, 5, 1) + timedelta(days=step) for step in range(60)]
    theirs = indices.growing_degree_days(as_array(days, hours.mean(axis=1)), thresh="10 degC", freq="YS")
    assert count_hours_by_form(hours, "gdd_c", "hourly-mean").sum() == pytest.approx(float(theirs[0]), rel=EXACT)


@each_series
def test_a_start_by_three_warm_days_is_two_days_after_the_first_of_the_run(series):
    days, low, high = SERIES[series]()
    mean = as_array(days, (low + high) / 2)
    rule = find_rule("newfoundland")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        firsts = indices.first_day_temperature_above(
            mean, thresh="12.8 degC", op=">=", after_date="04-01", window=3, freq="YS"
        ).values
    compared = 0
    for year, first in zip(sorted({day.year for day in days})[: len(firsts)], firsts, strict=False):
        ours = find_season(rule, year, days, low, high).starts
        theirs = None if np.isnan(first) else date(year, 1, 1) + timedelta(days=int(first) - 1 + 2)
        if theirs is None or theirs > date(year, 6, 30):
            assert ours is None
        else:
            assert ours == theirs
            compared += 1
    assert compared >= 2


@each_series
def test_the_first_autumn_frost_ends_the_season_the_day_before(series):
    days, low, high = SERIES[series]()
    firsts = indices.first_day_temperature_below(
        as_array(days, low), thresh="-2 degC", op="<=", after_date="07-01", window=1, freq="YS"
    ).values
    compared = 0
    for year, first in zip(sorted({day.year for day in days})[: len(firsts)], firsts, strict=False):
        season = find_season(find_rule("ontario-frost"), year, days, low, high)
        if np.isnan(first):
            assert season.ended_by != "frost"
        else:
            assert season.ends == date(year, 1, 1) + timedelta(days=int(first) - 2)
            compared += 1
    assert compared >= 2


@each_series
def test_a_whole_season_between_a_start_and_the_first_frost_adds_up_to_the_same(series):
    # xclim's effective growing degree days: above 5 °C, from ten days after the first day above 5 °C on, to the first
    # minimum below 0 °C after 1 July; the day before it is where xclim's sum ends, that day left out as well.
    days, low, high = SERIES[series]()
    theirs = indices.effective_growing_degree_days(as_array(days, high), as_array(days, low)).values
    mean = (low + high) / 2
    rule = SeasonRule("below 0 °C", "", "", start=(1, 1), frost_c=0.0, frost_at=False)
    daily = count_by_form(low, high, "gdd_c", "plain", limits=DegreeDayLimits(5.0, 99.0))
    compared = 0
    for year, total in zip(sorted({day.year for day in days})[: len(theirs)], theirs, strict=False):
        warm = next(day for day, value in zip(days, mean, strict=True) if day.year == year and value > 5.0)
        start = warm + timedelta(days=10)
        season = find_season(rule, year, days, low, high, start=(start.month, start.day))
        if season.ended_by != "frost" or np.isnan(total):
            continue
        ours = sum(value for day, value in zip(days, daily, strict=True) if start <= day < season.ends)
        assert ours == pytest.approx(float(total), rel=EXACT)
        compared += 1
    assert compared >= 2


def test_temperatures_convert_as_metpy_converts_them() -> None:
    celsius = np.linspace(-40.0, 50.0, 181)
    assert convert_c_to_f(celsius) == pytest.approx(units.Quantity(celsius, "degC").to("degF").magnitude, abs=1e-9)
    fahrenheit = convert_c_to_f(celsius)
    assert convert_f_to_c(fahrenheit) == pytest.approx(
        units.Quantity(fahrenheit, "degF").to("degC").magnitude, abs=1e-9
    )
    # A difference of temperatures has no 32 in it: that is why a degree day in °F is 1.8 of one in °C.
    assert units.Quantity(1.0, "delta_degC").to("delta_degF").magnitude == pytest.approx(1.8)
