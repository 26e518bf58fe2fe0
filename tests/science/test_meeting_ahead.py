"""Do draws of silk and shed meet as a count day by day and plant by plant says?"""

from __future__ import annotations

import numpy as np
import pytest

from firstsilk.science.flowering.meeting_ahead import find_pollen_days, judge_draws
from firstsilk.science.nursery.meeting import Windows, find_shed_span, spread_plants


def count_slowly(silk, shed, windows, from_day=-10_000):
    """Met draws, and mean share of the ears wanted, by walking over plants and days."""
    offsets, shares = spread_plants(windows.plant_sd_days)
    first, last = find_shed_span(windows)
    met, ears = [], []
    for draw in range(silk.shape[1]):
        males = [day for day in shed[:, draw] if np.isfinite(day)]
        row_met, served = [], []
        for day in silk[:, draw]:
            if not np.isfinite(day):
                row_met.append(False)
                served.append(0.0)
                continue
            in_pollen = [any(0 <= day + step - one < windows.shed_days for one in males) for step in range(5)]
            row_met.append(sum(in_pollen) >= windows.days_needed)
            total = 0.0
            for offset, share in zip(offsets, shares, strict=True):
                days = [day + offset + step for step in range(windows.silk_days)]
                if any(one >= from_day and any(first <= one - male <= last for male in males) for one in days):
                    total += share
            served.append(total)
        met.append(any(row_met))
        ears.append(min(1.0, float(np.mean(served)) / windows.needed_frac))
    return float(np.mean(met)), float(np.mean(ears))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_draws_are_judged_as_by_walking_over_plants_and_days(seed):
    dice = np.random.default_rng(seed)
    silk = np.rint(dice.normal(3.0, 6.0, (2, 12)))
    shed = np.rint(dice.normal(0.0, 6.0, (3, 12)))
    silk[0, 3] = np.nan
    shed[1, :5] = np.nan
    windows = Windows()
    told = judge_draws(silk, shed)
    met, ears = count_slowly(silk, shed, windows)
    _, ahead = count_slowly(silk, shed, windows, from_day=0)
    assert told.p_meet == pytest.approx(met)
    assert told.ears_frac == pytest.approx(ears, abs=1e-9)
    assert told.ahead_frac == pytest.approx(ahead, abs=1e-9)
    assert told.ahead_frac <= told.ears_frac + 1e-12


def test_the_same_day_meets_and_a_month_apart_does_not():
    both = np.full((1, 5), 10.0)
    told = judge_draws(both, both)
    assert (told.p_meet, told.ears_frac, told.ahead_frac, told.shed_first_days) == (1.0, 1.0, 1.0, 0.0)
    late = judge_draws(both + 30.0, both)
    assert (late.p_meet, late.ears_frac, late.shed_first_days) == (0.0, 0.0, 30.0)
    early = judge_draws(both, both + 8.0)
    assert early.shed_first_days == -8.0
    assert early.p_meet == 0.0
    assert 0.0 < early.ears_frac < 1.0  # early plants of the male and late ones of the female


def test_a_second_sowing_of_the_male_mends_it_and_the_nearest_counts():
    silk = np.full((1, 4), 20.0)
    told = judge_draws(silk, np.array([[5.0] * 4, [19.0] * 4]))
    assert (told.p_meet, told.shed_first_days) == (1.0, 1.0)


def test_what_is_past_is_gone():
    past = np.full((1, 4), -20.0)
    told = judge_draws(past, past)
    assert (told.p_meet, told.ears_frac, told.ahead_frac) == (1.0, 1.0, 0.0)


def test_never_meets_nobody():
    never = np.full((1, 4), np.nan)
    told = judge_draws(never, np.zeros((1, 4)))
    assert (told.p_meet, told.ears_frac, told.shed_first_days) == (0.0, 0.0, None)
    part = np.array([[0.0, np.nan]])
    assert judge_draws(part, np.zeros((1, 2))).p_meet == 0.5


def test_middling_plants_meet_within_the_days_told_and_not_beyond():
    first, last = find_pollen_days()
    silk = np.zeros((1, 1))
    windows = Windows(needed_frac=0.5)
    for shed in (first, last):
        assert judge_draws(silk, np.array([[float(shed)]]), windows).ears_frac == pytest.approx(1.0)
    for shed in (first - 1, last + 1):
        assert judge_draws(silk, np.array([[float(shed)]]), windows).ears_frac < 1.0


@pytest.mark.parametrize(
    ("silk", "shed", "word"),
    [(np.zeros((0, 3)), np.zeros((1, 3)), "female row"), (np.zeros((1, 3)), np.zeros((1, 4)), "draws")],
)
def test_a_cross_without_rows_or_with_other_draws_is_refused(silk, shed, word):
    with pytest.raises(ValueError, match=word):
        judge_draws(silk, shed)
