"""Are days lost to rain drawn as their own weather, past years or the usual share say?"""

from __future__ import annotations

import math

import numpy as np
import pytest

from firstsilk.science.flowering.workable import draw_workable_days, find_lost_chance

UNKNOWN = np.full(4, np.nan)


def test_rain_takes_no_day_a_half_or_the_whole():
    told = find_lost_chance([0.0, 0.9, 1.0, 9.9, 10.0, 60.0, math.nan])
    assert told[:6].tolist() == [0.0, 0.0, 0.5, 0.5, 1.0, 1.0]
    assert math.isnan(told[6])


def test_a_draw_goes_on_as_one_past_year_did():
    past = np.array([[1.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 1.0], [0.0, 0.0, 0.0, 0.0]])
    drawn = draw_workable_days(UNKNOWN, past, 3000, 0.75, np.random.default_rng(1))
    kinds, counts = np.unique(drawn, axis=0, return_counts=True)
    assert {tuple(one) for one in kinds.tolist()} == {tuple(one) for one in (past == 0).tolist()}
    assert counts / 3000 == pytest.approx(np.full(3, 1 / 3), abs=0.03)


def test_a_day_whose_own_weather_is_known_goes_by_it():
    own = np.array([1.0, 0.0, np.nan, np.nan])
    drawn = draw_workable_days(own, np.array([[0.0, 1.0, 0.0, 1.0]]), 50, 0.75, np.random.default_rng(1))
    assert drawn.tolist() == [[False, True, True, False]] * 50


def test_without_records_the_usual_share_is_drawn():
    drawn = draw_workable_days(UNKNOWN, np.zeros((0, 4)), 4000, 0.75, np.random.default_rng(2))
    assert drawn.mean(axis=0) == pytest.approx(np.full(4, 0.75), abs=0.03)
    gaps = draw_workable_days(UNKNOWN, np.array([[np.nan, 0.0, 0.0, 0.0]]), 4000, 0.75, np.random.default_rng(2))
    assert gaps.mean(axis=0) == pytest.approx([0.75, 1.0, 1.0, 1.0], abs=0.03)


def test_a_wet_day_is_lost_in_half_of_the_draws():
    drawn = draw_workable_days(UNKNOWN, np.full((5, 4), 0.5), 4000, 0.75, np.random.default_rng(3))
    assert drawn.mean(axis=0) == pytest.approx(np.full(4, 0.5), abs=0.03)
