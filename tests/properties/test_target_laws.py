"""The chance of a target never falls with more days, more ears standing, better rates, more plants or more hands."""

from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from firstsilk.science.flowering.targets import SeasonAhead, find_open_pollen, play_days, weigh_targets
from firstsilk.science.seed.pollinations import EarRates, tabulate_reach

DAYS, DRAWS = 12, 6
SURE = 1e-9


@st.composite
def seasons(draw):
    dice = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    rows = draw(st.integers(1, 4))
    return SeasonAhead(
        silk=np.rint(dice.normal(2, 4, (rows, DRAWS))),
        sheds=find_open_pollen(np.rint(dice.normal(1, 4, (1, DRAWS))), DAYS)[None],
        group_of=np.zeros(rows, dtype=np.intp),
        target_of=np.zeros(rows, dtype=np.intp),
        plants=dice.integers(5, 25, rows).astype(float),
        used=dice.integers(0, 5, rows).astype(float),
        enter_day=np.zeros(rows, dtype=np.intp),
        open_days=dice.random((DRAWS, DAYS)) < 0.6,
        hands=np.full(DAYS, draw(st.sampled_from([3.0, 8.0, np.inf]))),
    )


def weigh(ahead, standing=2, success=0.6, ears=5):
    (told,) = weigh_targets([tabulate_reach(150, EarRates(success), ears)], [standing], ahead, [0.95])
    return told


@settings(max_examples=40, deadline=None)
@given(seasons(), st.integers(1, DAYS - 1))
def test_fewer_days_never_help(ahead, cut):
    shorter = replace(ahead, open_days=ahead.open_days & (np.arange(DAYS) < cut))
    assert weigh(shorter).asked_frac <= weigh(ahead).asked_frac + SURE
    assert weigh(shorter).can_frac <= weigh(ahead).can_frac + SURE


@settings(max_examples=40, deadline=None)
@given(seasons(), st.integers(0, 8), st.integers(1, 4))
def test_more_ears_standing_never_harm(ahead, standing, more):
    less, better = weigh(ahead, standing), weigh(ahead, standing + more)
    assert less.now_frac <= better.now_frac + SURE
    assert less.more >= better.more
    assert less.can_frac <= better.can_frac + SURE


@settings(max_examples=40, deadline=None)
@given(seasons(), st.floats(0.2, 0.85), st.floats(0.01, 0.14))
def test_a_better_success_never_asks_for_more_nor_lowers_the_chance(ahead, success, better):
    low, high = weigh(ahead, success=success), weigh(ahead, success=success + better)
    assert low.now_frac <= high.now_frac + SURE
    assert low.more >= high.more
    assert low.can_frac <= high.can_frac + SURE


@settings(max_examples=40, deadline=None)
@given(seasons(), st.floats(1.0, 30.0))
def test_sums_never_fall_stay_within_what_is_asked_plants_and_hands_and_more_asked_makes_no_less(ahead, asked):
    made, _ = play_days(ahead, np.array([asked]))
    by_day = np.diff(made[0], axis=1, prepend=0.0)
    assert (by_day >= -SURE).all()
    assert (by_day <= ahead.hands + SURE).all()
    free = max(0.0, float(np.sum(ahead.plants - ahead.used)))
    assert made.max() <= min(asked, free) + SURE
    assert (play_days(ahead, np.array([asked + 2.0]))[0][:, :, -1] >= made[:, :, -1] - SURE).all()


@settings(max_examples=40, deadline=None)
@given(seasons())
def test_now_is_at_most_as_asked_and_that_at_most_what_can_be(ahead):
    told = weigh(ahead)
    assert told.now_frac <= told.asked_frac + SURE <= told.can_frac + 2 * SURE
