"""Does the demand by day agree with a slow, obvious count, and with what can be reckoned by hand?"""

from __future__ import annotations

import time
from statistics import NormalDist

import numpy as np
import pytest

from firstsilk.science.flowering.demand import quantile_demand, spread_demand


def spread_slowly(silk, pollinations, first_day, n_days, sd, done, cutoff, waiting):
    """Plant by plant in thousandths: row by row, draw by draw, day by day."""
    plants = NormalDist(0.0, sd)
    demand = np.zeros((silk.shape[1], n_days))
    for row, wanted in enumerate(pollinations):
        share_done = min(1.0, done[row] / wanted) if wanted else 1.0
        for draw in range(silk.shape[1]):
            if np.isnan(silk[row, draw]):
                continue
            for day in range(n_days):
                start = first_day + day - 0.5 - (waiting if day == 0 else 0.0)
                end = first_day + day + 0.5
                if cutoff is not None:
                    start, end = min(start, cutoff + 0.5), min(end, cutoff + 0.5)
                before = max(share_done, plants.cdf(start - silk[row, draw]))
                after = max(share_done, plants.cdf(end - silk[row, draw]))
                demand[draw, day] += wanted * (after - before)
    return demand


@pytest.mark.parametrize(
    ("first_day", "sd", "cutoff", "waiting"),
    [(0, 2.2, None, 0.0), (-8, 2.2, None, 0.0), (0, 2.2, 12, 6.0), (3, 0.7, 20, 0.0)],
)
def test_demand_agrees_with_a_slow_count(first_day, sd, cutoff, waiting):
    dice = np.random.default_rng(4)
    silk = dice.normal(10.0, 5.0, (30, 6))
    silk[3, 2] = np.nan
    wanted = dice.integers(0, 14, 30)
    done = np.where(dice.random(30) < 0.4, dice.integers(0, 9, 30), 0)
    found = spread_demand(silk, wanted, first_day, 30, sd, done, cutoff, waiting)
    slow = spread_slowly(silk, wanted, first_day, 30, sd, done, cutoff, waiting)
    # The grid moves plants by less than an eighth of a day, half of them to either side; a day has up to 14 here.
    assert found == pytest.approx(slow, abs=0.06)
    assert found.sum() == pytest.approx(slow.sum(), rel=1e-3)


def test_demand_of_one_row_peaks_on_its_silk_day_with_the_share_of_the_normal_spread():
    demand = spread_demand([[10.0]], [100], 0, 21)
    assert demand[0].argmax() == 10
    # Within half a day of the mean of N(0, 2.2): 2 F(0.5 / 2.2) - 1 = 0.1798.
    assert demand[0, 10] == pytest.approx(17.98, abs=0.05)
    assert demand[0, 5] == pytest.approx(demand[0, 15], rel=1e-9)


@pytest.mark.parametrize(("sd", "share"), [(3.0, 0.132), (4.5, 0.0885), (6.0, 0.0664)])
def test_peak_day_of_a_season_has_the_share_of_its_normal_spread(sd, share):
    # 2 F(0.5 / sd) - 1 by hand. Common practice tells 13.3, 8.9 and 6.6 %: the height of the normal curve.
    demand = spread_demand([[30.0]], [40_000], 0, 61, plant_sd_days=sd)
    assert demand.max() / 40_000 == pytest.approx(share, abs=5e-4)


def test_what_is_done_was_done_on_the_plants_that_silked_first():
    before = spread_demand([[0.0]], [10], -10, 21)
    half = spread_demand([[0.0]], [10], -10, 21, done=[5])
    assert half[0, :10] == pytest.approx(np.zeros(10), abs=1e-9)
    assert half.sum() == pytest.approx(5.0, abs=1e-4)
    assert half[0, 11:] == pytest.approx(before[0, 11:], abs=1e-9)


def test_plants_that_wait_count_on_the_first_day_and_more_done_than_wanted_is_nothing_left():
    silked_lately = spread_demand([[-3.0]], [10], 0, 20)
    waiting = spread_demand([[-3.0]], [10], 0, 20, waiting_days=6.0)
    assert waiting[0, 0] > silked_lately[0, 0] + 5
    assert waiting[0, 1:] == pytest.approx(silked_lately[0, 1:])
    assert spread_demand([[5.0]], [10], 0, 20, done=[12]).sum() == 0
    assert spread_demand([[5.0]], [0], 0, 20, done=[2]).sum() == 0


def test_after_a_cutoff_nobody_waits():
    assert spread_demand([[-2.0], [4.0]], [10, 10], 0, 20, cutoff=-1, waiting_days=6.0).sum() == 0
    assert spread_demand([[-2.0], [4.0]], [10, 10], 0, 20, cutoff=0, waiting_days=6.0)[0, 0] > 5


def test_a_season_that_nobody_reaches_asks_for_nothing():
    assert spread_demand([[np.nan, np.nan]], [10], 0, 5).tolist() == [[0.0] * 5] * 2


def test_quantiles_of_demand_stand_in_order_day_by_day():
    demand = np.arange(33.0).reshape(11, 3)
    assert quantile_demand(demand).tolist() == [[3.0, 4.0, 5.0], [15.0, 16.0, 17.0], [27.0, 28.0, 29.0]]


@pytest.mark.parametrize(
    "wrong",
    [
        {"silk": [1.0]},
        {"pollinations": [1, 2]},
        {"pollinations": [-1]},
        {"done": [-1]},
        {"done": [1, 1]},
        {"plant_sd_days": 0.0},
        {"plant_sd_days": float("nan")},
        {"n_days": 0},
    ],
)
def test_what_cannot_be_is_refused(wrong):
    with pytest.raises(ValueError, match=r"must be|needed"):
        spread_demand(**{"silk": [[1.0]], "pollinations": [1], "first_day": 0, "n_days": 3, **wrong})


def test_a_large_nursery_is_spread_at_once():
    dice = np.random.default_rng(1)
    silk = dice.normal(20.0, 6.0, (20_000, 200))
    wanted = dice.integers(0, 20, 20_000)
    began = time.perf_counter()
    demand = spread_demand(silk, wanted, 0, 60, done=np.minimum(wanted, 3))
    # About 0.4 s; the machine may be busy.
    assert time.perf_counter() - began < 5
    assert demand.shape == (200, 60)
