"""Do chances of targets, pollinations missing and days to stop come out as counted plant by plant and by dice?"""

import math
from dataclasses import replace

import numpy as np
import pytest

from firstsilk.answers import InputRefused
from firstsilk.science.flowering.day import FIRST_SILKS_DAYS
from firstsilk.science.flowering.day_rows import SHED_LASTS_DAYS
from firstsilk.science.flowering.demand import PLANT_SD_DAYS
from firstsilk.science.flowering.stakes import SILK_LASTS_DAYS
from firstsilk.science.flowering.targets import (
    Chances,
    SeasonAhead,
    find_more,
    find_open_pollen,
    play_days,
    weigh_targets,
)
from firstsilk.science.seed.pollinations import EarRates, find_reach_chance, plan_pollinations, tabulate_reach

FEW = EarRates(0.5, 90.0, 0.6, 12.0, 7.0)
RATES = (EarRates(0.676, 146.0), FEW, EarRates(1.0, 100.0), EarRates(0.34, 60.0, pollinations_behind=40.0))


@pytest.mark.parametrize("rates", RATES)
@pytest.mark.parametrize(("ears", "kernels"), [(0, 0), (1, 0), (5, 0), (0, 400), (3, 700)])
def test_the_table_of_chances_is_the_chance_number_by_number(rates, ears, kernels):
    table = tabulate_reach(40, rates, ears, kernels)
    told = [find_reach_chance(count, rates, ears, kernels) for count in range(41)]
    assert table == pytest.approx(told, abs=1e-9)


def test_a_long_table_is_near_the_chance_at_every_number():
    table = tabulate_reach(900, FEW, 300, 0)
    assert all(
        table[count] == pytest.approx(find_reach_chance(count, FEW, 300), abs=0.02) for count in range(0, 900, 37)
    )


def test_ears_in_hand_count_as_good_ones():
    assert tabulate_reach(3, FEW, 2, 0, in_hand=2).tolist() == [1.0] * 4
    assert tabulate_reach(3, FEW, 2, 0, in_hand=1) == pytest.approx(tabulate_reach(3, FEW, 1))
    sure = EarRates(1.0, 90.0, 0.6)
    assert tabulate_reach(3, sure, 0, 200, in_hand=2) == pytest.approx(tabulate_reach(5, sure, 0, 200)[2:])
    with pytest.raises(InputRefused):
        tabulate_reach(-1, FEW)


@pytest.mark.parametrize(("ears", "needed"), [(1, 3), (2, 5), (3, 7), (5, 11), (10, 20)])
def test_so_many_more_are_missing_as_a_plan_asks_for_less_those_that_stand(ears, needed):
    """Practice's table for a success of 0.676 and 95 %: 3, 5, 7, 11 and 20 pollinations (a sum, no measurement)."""
    table = tabulate_reach(60, EarRates(0.676), ears)
    assert find_more(table, 0) == needed == plan_pollinations(EarRates(0.676), ears)
    assert [find_more(table, stand) for stand in (1, needed, needed + 3)] == [needed - 1, 0, 0]


@pytest.mark.parametrize(("kernels", "needed"), [(100, 4), (400, 8), (1000, 16), (2000, 28)])
def test_kernels_ask_for_as_many_as_practice_simulates(kernels, needed):
    """Success 0.676, 146 kernels an ear with a spread of 45 %, 95 % sure: simulated, so within one pollination."""
    assert abs(find_more(tabulate_reach(80, EarRates(0.676, 146.0), 0, kernels), 0) - needed) <= 1


def make_ahead(silk, shed, plants, n_days=14, **given):
    """One draw after the other: silk (rows, draws), one male for all rows, every day open, no end of hands."""
    silk, shed = np.atleast_2d(np.array(silk, dtype=float)), np.atleast_2d(np.array(shed, dtype=float))
    rows, draws = silk.shape
    told = {
        "silk": silk,
        "sheds": find_open_pollen(shed, n_days)[None],
        "group_of": np.zeros(rows, dtype=np.intp),
        "target_of": np.zeros(rows, dtype=np.intp),
        "plants": np.full(rows, float(plants)),
        "used": np.zeros(rows),
        "enter_day": np.zeros(rows, dtype=np.intp),
        "open_days": np.ones((draws, n_days), dtype=bool),
        "hands": np.full(n_days, np.inf),
    }
    return SeasonAhead(**{**told, **given})


def play_plants(silk, shed, plants, open_days, asked, hands, used=0):
    """The slow twin: every plant with its own day of silk, the oldest first; sums by day."""
    quantiles = (np.arange(plants) + 0.5) / plants
    own = [silk + PLANT_SD_DAYS * math.sqrt(2) * _erfinv(2 * one - 1) for one in quantiles]
    waiting, made, sums = own[used:], 0, []
    for day, is_open in enumerate(open_days):
        is_open = is_open and -FIRST_SILKS_DAYS <= day - silk <= SILK_LASTS_DAYS and 0 <= day - shed <= SHED_LASTS_DAYS
        ready = [one for one in waiting if day - SILK_LASTS_DAYS - 0.5 < one <= day + 0.5] if is_open else []
        done = ready[: int(min(asked - made, hands))]
        waiting = [one for one in waiting if one not in done]
        made += len(done)
        sums.append(made)
    return sums


def _erfinv(value):
    from scipy.special import erfinv

    return float(erfinv(value))


@pytest.mark.parametrize("silk", [-5, -1, 0, 3, 6])
@pytest.mark.parametrize("shed", [-4, 0, 4])
@pytest.mark.parametrize(("asked", "hands", "used"), [(5000, math.inf, 0), (700, math.inf, 300), (5000, 90, 100)])
def test_days_are_played_as_plant_by_plant(silk, shed, asked, hands, used):
    open_days = np.random.default_rng(4).random(14) < 0.7
    ahead = make_ahead([[silk]], [[shed]], 1000, open_days=open_days[None], hands=np.full(14, hands))
    made, _ = play_days(replace(ahead, used=np.array([float(used)])), np.array([float(asked)]))
    slow = play_plants(silk, shed, 1000, open_days, asked, hands, used)
    assert made[0, 0] == pytest.approx(slow, abs=8)


def test_hands_go_to_the_targets_before_and_a_sprayed_row_waits():
    ahead = make_ahead([[0.0], [0.0]], [[0.0]], 100, target_of=np.array([0, 1]), hands=np.full(14, 30.0))
    made, last = play_days(ahead, np.array([40.0, 40.0]))
    assert made[:, 0, :3].tolist() == [[30, 40, 40], [0, 20, 40]]
    assert last[:, 0].tolist() == [6, 6]
    shut = replace(ahead, enter_day=np.array([2, 0]))
    assert play_days(shut, np.array([40.0, 40.0]))[0][:, 0, :3].tolist() == [[0, 0, 30], [30, 40, 40]]


def test_rows_that_never_silk_and_days_that_are_shut_give_nothing():
    never = make_ahead([[np.nan]], [[0.0]], 50)
    assert not play_days(never, np.array([9.0]))[0].any()
    closed = make_ahead([[0.0]], [[0.0]], 50, open_days=np.zeros((1, 14), dtype=bool))
    made, last = play_days(closed, np.array([9.0]))
    assert not made.any()
    assert np.isnan(last).all()


def test_a_target_is_told_with_chance_now_as_asked_and_at_most():
    silk, shed = np.zeros((1, 400)), np.zeros((1, 400))
    table = tabulate_reach(60, EarRates(0.676), 5)
    ahead = make_ahead(silk, shed, 18, open_days=np.random.default_rng(1).random((400, 14)) < 0.75)
    (told,) = weigh_targets([table], [4], ahead, [0.95])
    assert told.now_frac == 0.0
    assert told.more == 7
    assert table[11] - 0.01 < told.asked_frac <= table[11] + 1e-9
    assert told.can_frac > 0.99
    assert told.last_day == 6
    assert 0 <= told.stop_day <= 6
    (enough,) = weigh_targets([table], [11], ahead, [0.95])
    assert (enough.more, enough.stop_day) == (0, None)
    assert enough.asked_frac == pytest.approx(table[11])
    assert enough.now_frac == table[11]


def test_the_chance_as_asked_is_that_of_a_plain_simulation():
    """Draws of silk, workable days, whole pollinations with their success by dice, against the exact mean."""
    dice = np.random.default_rng(8)
    n, days = 6000, 14
    silk, shed = np.rint(dice.normal(1, 3, (1, n))), np.rint(dice.normal(0, 3, (1, n)))
    open_days = dice.random((n, days)) < 0.6
    rates = EarRates(0.6, pollinations_behind=15.0)
    ahead = make_ahead(silk, shed, 40, open_days=open_days)
    (told,) = weigh_targets([tabulate_reach(60, rates, 4)], [3], ahead, [0.9])
    reached = []
    for at in range(n):
        made = play_plants(silk[0, at], shed[0, at], 40, open_days[at], told.more, math.inf)[-1] + 3
        success = dice.beta(0.6 * 15, 0.4 * 15)
        reached.append(dice.binomial(made, success) >= 4)
    assert told.asked_frac == pytest.approx(np.mean(reached), abs=3.5 * math.sqrt(0.25 / n) + 0.005)


def test_parts_of_a_pollination_count_by_nearness():
    told = Chances([np.array([0.0, 0.5, 0.8])], [0]).read(np.zeros(3, dtype=np.intp), np.array([0.5, 1.5, 9.0]))
    assert told.tolist() == pytest.approx([0.25, 0.65, 0.8])


def test_many_targets_are_read_at_once_as_one_by_one():
    dice = np.random.default_rng(3)
    tables = [np.sort(dice.random(length)) for length in (1, 2, 7, 30)]
    standing = [0, 3, 2, 11]
    made = np.concatenate([np.zeros((4, 1)), dice.uniform(0, 40, (4, 60))], axis=1)
    told = Chances(tables, standing).read_all(made)
    for at, table in enumerate(tables):
        assert told[at] == pytest.approx(np.interp(standing[at] + made[at], np.arange(len(table)), table), abs=1e-12)
