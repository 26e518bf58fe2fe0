"""Is the loss of waiting a day what a slow count says, and does it rank what is pressing before what can wait?"""

from __future__ import annotations

import math
import time
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstsilk.science.flowering.day import SHED_LASTS_DAYS, list_tasks, rank_tasks
from firstsilk.science.flowering.demand import PLANT_SD_DAYS
from firstsilk.science.flowering.stakes import (
    SILK_LASTS_DAYS,
    expect_wanted_ears,
    find_gain,
    find_out_chance,
    find_shoots_lost,
    find_silk_lost,
)
from tests.science.test_day import TODAY, done, row, tasks_of


def slow_wanted_ears(n, p, wanted):
    """Over all outcomes, one by one."""
    return sum(math.comb(n, k) * p**k * (1 - p) ** (n - k) * min(k, wanted) for k in range(n + 1))


@given(st.integers(0, 40), st.floats(0.0, 1.0), st.integers(1, 20))
def test_wanted_ears_are_those_of_all_outcomes(n, p, wanted):
    assert expect_wanted_ears(n, p, wanted) == pytest.approx(slow_wanted_ears(n, p, wanted), abs=1e-9)


@given(st.integers(0, 30), st.integers(1, 15), st.floats(0.05, 0.95), st.integers(1, 12))
def test_more_ears_gain_less_the_more_there_are(standing, count, p, wanted):
    assert 0 <= find_gain(standing + 1, count, p, wanted) <= find_gain(standing, count, p, wanted) + 1e-9
    assert find_gain(standing, count, p, wanted) <= min(wanted, count * p) + 1e-9


def slow_silk_lost(age, later, workable, plants=400_000):
    """A row of very many plants, each with its own day of silk, and dice for every later day."""
    dice = np.random.default_rng(20310714)
    silk = dice.normal(0.0, PLANT_SD_DAYS, plants)
    ready = silk[(silk <= age + 0.5) & (silk >= age - SILK_LASTS_DAYS - 0.5)]
    made = np.zeros(len(ready), dtype=bool)
    over = np.zeros(len(ready), dtype=bool)
    for day in later:
        works = (dice.random(len(ready)) < workable) & ~over
        made |= works & (ready >= age + day - SILK_LASTS_DAYS - 0.5)
        over |= works
    return 1.0 - made.mean()


@pytest.mark.parametrize(
    ("age", "later", "workable"),
    [(0, (1, 2, 3), 0.75), (4, (1, 2), 0.75), (-2, (1,), 0.5), (6, (), 0.75), (2, (3, 4), 0.9)],
)
def test_silk_lost_is_that_of_very_many_plants(age, later, workable):
    assert find_silk_lost(age, later, workable) == pytest.approx(slow_silk_lost(age, later, workable), abs=0.005)


def test_the_fewer_days_are_left_the_more_is_lost_and_all_of_it_on_the_last():
    lost = [find_silk_lost(age, tuple(range(1, SILK_LASTS_DAYS - age + 1))) for age in range(-2, SILK_LASTS_DAYS + 1)]
    assert all(before < after for before, after in pairwise(lost))
    assert lost[-1] == 1.0
    assert find_silk_lost(0, ()) == 1.0


def test_shoots_without_a_bag_are_lost_faster_the_nearer_the_silk():
    lost = [find_shoots_lost(days) for days in (4, 2, 0, -2)]
    assert lost == sorted(lost)
    assert find_shoots_lost(0) == pytest.approx(2 * (0.5 * math.erf(1 / PLANT_SD_DAYS / math.sqrt(2))), abs=1e-12)


def test_what_is_expected_today_is_out_with_even_chances():
    assert find_out_chance(0) == 0.5
    assert find_out_chance(3) == pytest.approx(1 - find_out_chance(-3))


def silked(number, age, **more):
    return row(number, silk_on=TODAY - timedelta(days=age), shed_on=TODAY - timedelta(days=1), **more)


def test_the_last_day_of_silk_comes_before_the_first():
    ranked = rank_tasks(list_tasks([silked(1, 0), silked(2, 6), silked(3, 3)], TODAY))
    assert [task.number for task in ranked if task.do == "pollinate"] == [2, 3, 1]


def test_a_male_that_sheds_for_the_last_time_makes_its_cross_pressing():
    last, fresh = (
        row(number, "male", wanted=0, shed_on=TODAY - timedelta(days=age))
        for number, age in ((3, SHED_LASTS_DAYS), (4, 1))
    )
    females = [row(number, "female", males=(male.tag,), silk_on=TODAY) for number, male in ((1, last), (2, fresh))]
    found = tasks_of([*females, last, fresh])
    assert found["pollinate", 1].stake.lost_frac == 1.0
    assert found["pollinate", 2].stake.lost_frac < 0.1
    assert "no later day of silk and pollen: 100 % is lost by tomorrow" in found["pollinate", 1].here


def test_the_cutoff_of_today_makes_all_pollinations_pressing():
    found = tasks_of([silked(1, 0)], cutoff=TODAY)
    assert found["pollinate", 1].stake.lost_frac == 1.0


def test_a_target_that_has_nothing_comes_before_one_that_nearly_has_enough():
    poor = replace(silked(1, 3), target=1, good_wanted=4)
    rich = replace(silked(2, 3, pollinations=done(5)), target=2, good_wanted=4)
    found = tasks_of([poor, rich])
    assert found["pollinate", 1].stake.gain_ears > 3 * found["pollinate", 2].stake.gain_ears
    second = replace(poor, weight=0.5)
    assert tasks_of([second])["pollinate", 1].urgency == pytest.approx(found["pollinate", 1].urgency / 2)
    assert "counted 0.5 by priority" in tasks_of([second])["pollinate", 1].here


def test_every_number_of_the_sentence_is_that_of_the_stake():
    task = tasks_of([silked(1, 4)])["pollinate", 1]
    stake = task.stake
    assert task.here == (
        f"6 ears would add {stake.gain_ears:.1f} good ears; 2 later days of silk and pollen: "
        f"{100 * stake.lost_frac:.0f} % is lost by tomorrow: {stake.loss_ears:.2f} good ears."
    )
    assert stake.urgency == stake.weight * stake.gain_ears * stake.lost_frac


def test_bags_whose_pollen_nobody_wants_come_down():
    evening = TODAY - timedelta(days=1)
    bagged = row(1, "male", wanted=0, shed_on=evening, last_tassel_bag_on=evening, tassel_bags_hanging=3)
    task = tasks_of([bagged])["take_down", 1]
    assert (task.count, task.urgency) == (3, 0.0)
    female = row(2, "female", males=(bagged.tag,), silk_on=TODAY)
    assert ("take_down", 1) not in tasks_of([bagged, female])
    used = row(2, "female", males=(bagged.tag,), silk_on=TODAY, pollinations=done(6, TODAY, "cross", bagged.tag))
    assert ("take_down", 1) not in tasks_of([bagged, used])


@pytest.mark.parametrize(("age", "asked"), [(0, False), (1, True), (3, True), (4, True), (5, False)])
def test_bags_that_hang_too_long_come_down_until_nobody_can_have_left_them(age, asked):
    put_on = TODAY - timedelta(days=age)
    bagged = row(1, "male", wanted=0, shed_on=put_on, last_tassel_bag_on=put_on, tassel_bags_hanging=1)
    female = row(2, "female", males=(bagged.tag,), silk_on=TODAY)
    wanted = [female] if age > 2 else []
    assert (("take_down", 1) in tasks_of([bagged, *wanted])) is asked


def test_lost_pollinations_are_made_again_while_the_window_is_open():
    lost = silked(1, 1, shoot_bags=8, pollinations=done(6), spoiled=2)
    task = tasks_of([lost])["pollinate", 1]
    assert (task.count, task.again) == (2, 2)
    assert task.why.startswith("2 lost; 4 of 6 done")
    looked = silked(1, 1, shoot_bags=6, pollinations=done(6), bags_not_well=1)
    assert tasks_of([looked])["pollinate", 1].again == 1
    assert ("pollinate", 1) not in tasks_of([silked(1, SILK_LASTS_DAYS + 1, pollinations=done(6), spoiled=2)])


def test_a_look_days_before_silk_is_worth_less_than_a_pollination_today_and_more_the_later_it_is():
    soon, due, overdue = (tasks_of([row(1, silk=days, shed=days)])["look", 1].urgency for days in (4, 0, -4))
    assert 0 < soon < due < overdue
    assert soon < 0.2 * tasks_of([silked(1, 3)])["pollinate", 1].urgency


def test_twenty_thousand_rows_are_listed_and_ranked_quickly():
    """Gated at three times 0.6 s of the processor; `benchmarks/day_list.py` times the whole list with its books."""
    rows = []
    for at in range(20_000):
        male = f"ROW{at // 10 * 10 + 9:05d}"
        age = at % 12 - 4
        seen = {"silk_on": TODAY - timedelta(days=age), "shed_on": TODAY - timedelta(days=age + 1)} if age >= 0 else {}
        purpose, males = ("male", ()) if at % 10 == 9 else ("female", (male,)) if at % 2 else ("self", None)
        rows.append(row(at, purpose, 0 if purpose == "male" else 8, males, -age, -age, shoot_bags=at % 9, **seen))
    began = time.process_time()
    ranked = rank_tasks(list_tasks(rows, TODAY))
    took = time.process_time() - began
    print(f"{len(ranked):,} tasks on 20,000 rows: {took:.2f} s of the processor")
    assert len(ranked) > 10_000
    assert took < 3 * 0.6
