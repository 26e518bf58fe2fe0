"""Are sowing dates chosen together the best there are, and does more freedom never make them worse?"""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstsilk.science.nursery.meeting import Windows, list_patterns
from firstsilk.science.nursery.sowing_bound import bound_choice
from firstsilk.science.nursery.sowing_choice import (
    Mating,
    Parent,
    SowingProblem,
    improve_choice,
    is_within_rows,
    place_rows,
    sum_worth,
)
from firstsilk.science.nursery.sowing_dates import choose_sowing_dates, judge_sowing_dates, weigh_chances
from firstsilk.science.nursery.sowing_exact import choose_labels
from firstsilk.science.nursery.sowing_question import LineNeeds, PastHeat, PlannedCross, SowingRules


def try_all(problem: SowingProblem) -> float | None:
    """The best worth over every choice within the rows a day; None if there is none."""
    every = product(*(range(len(parent.patterns)) for parent in problem.parents))
    return max((sum_worth(problem, labels) for labels in every if is_within_rows(problem, labels)), default=None)


@st.composite
def problems(draw: st.DrawFn) -> SowingProblem:
    n_days = draw(st.integers(1, 3))
    females, males = draw(st.integers(1, 3)), draw(st.integers(1, 2))
    parents = [
        Parent(list_patterns(range(n_days), draw(st.integers(1, 2))), draw(st.integers(1, 3)))
        for _ in range(females + males)
    ]
    dice = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    rough = draw(st.booleans())
    matings = []
    for female, male in product(range(females), range(females, females + males)):
        if draw(st.booleans()):
            worth = dice.random((len(parents[female].patterns), len(parents[male].patterns)))
            matings.append(Mating(female, male, np.round(worth * 3) if rough else worth))
    most = draw(st.none() | st.integers(1, 9))
    return SowingProblem(tuple(parents), tuple(matings), most, n_days)


@given(problems())
@settings(max_examples=150, deadline=None)
def test_the_choice_is_the_best_of_all_and_its_bound_is_one(problem: SowingProblem) -> None:
    best = try_all(problem)
    if best is None:
        with pytest.raises(ValueError, match="do not fit"):
            choose_labels(problem)
        return
    found = choose_labels(problem)
    assert is_within_rows(problem, found.labels)
    assert found.worth == pytest.approx(sum_worth(problem, found.labels))
    assert found.worth == pytest.approx(best, rel=1e-6, abs=1e-9)
    assert found.bound >= best - 1e-9
    assert found.gap_frac <= 1e-5


@given(problems(), st.integers(0, 40))
@settings(max_examples=80, deadline=None)
def test_the_bound_holds_after_any_number_of_rounds(problem: SowingProblem, sweeps: int) -> None:
    best = try_all(problem)
    if best is not None:
        assert bound_choice(problem, sweeps).value >= best - 1e-9


@given(problems())
@settings(max_examples=60, deadline=None)
def test_moves_never_make_a_choice_worse(problem: SowingProblem) -> None:
    begin = place_rows(problem)
    if begin is not None:
        moved = improve_choice(problem, begin)
        assert is_within_rows(problem, moved)
        assert sum_worth(problem, moved) >= sum_worth(problem, begin) - 1e-9


def make_question(seed: int, n_lines: int = 4, n_years: int = 5):
    """Crosses among a few lines, past years of a short warm season."""
    dice = np.random.default_rng(seed)
    daily = np.maximum(0.0, 12 + dice.normal(0, 1.5, (n_years, 1)) + dice.normal(0, 4, (n_years, 90)))
    silk = dice.normal(420, 45, n_lines)
    shed = silk - dice.normal(10, 15, n_lines)
    lines = {f"L{at}": LineNeeds(float(silk[at]), float(shed[at]), 6.0) for at in range(n_lines)}
    pairs = [(a, b) for a in range(n_lines) for b in range(n_lines) if a != b and dice.random() < 0.6] or [(0, 1)]
    crosses = [PlannedCross(f"L{a}", f"L{b}", float(0.5 ** dice.integers(0, 3))) for a, b in pairs]
    return crosses, lines, PastHeat(daily, dice.choice([0.0, 1.0], (n_years, 90), p=[0.2, 0.8]))


def best_of(question, days, males=1, females=1, measure="plain", rows=None):
    crosses, lines, heat = question
    rules = SowingRules(tuple(days), males, females, rows)
    return choose_sowing_dates(crosses, lines, heat, rules, measure=measure)


@pytest.mark.parametrize("measure", ["plain", "plants"])
@given(seed=st.integers(0, 10_000))
@settings(max_examples=12, deadline=None)
def test_more_days_and_more_sowings_never_make_it_worse(measure: str, seed: int) -> None:
    question = make_question(seed)
    few = best_of(question, (0, 4), measure=measure)
    more_days = best_of(question, (0, 2, 4), measure=measure)
    more_males = best_of(question, (0, 4), males=2, measure=measure)
    more_females = best_of(question, (0, 4), males=2, females=2, measure=measure)
    held = best_of(question, (0, 4), measure=measure, rows=6)
    assert more_days.objective >= few.objective - 1e-6
    assert more_males.objective >= few.objective - 1e-6
    assert more_females.objective >= more_males.objective - 1e-6
    assert held.objective <= few.objective + 1e-6
    for one in (few, more_days, more_males, more_females):
        assert one.gap_frac <= 1e-5


@given(seed=st.integers(0, 10_000))
@settings(max_examples=10, deadline=None)
def test_the_dates_are_the_best_of_all_dates_tried_one_by_one(seed: int) -> None:
    crosses, lines, heat = make_question(seed, n_lines=3)
    days = (0, 3, 6)
    found = best_of((crosses, lines, heat), days)
    roles = list(found.days)
    tried = []
    for chosen in product(days, repeat=len(roles)):
        dates = {role: (day,) for role, day in zip(roles, chosen, strict=True)}
        told = judge_sowing_dates(crosses, lines, heat, dates)
        overlap = sum(cross.weight * one.overlap_days for cross, one in zip(crosses, told, strict=True))
        tried.append((round(weigh_chances(crosses, told), 9), round(overlap, 9)))
    told = judge_sowing_dates(crosses, lines, heat, found.days)
    overlap = sum(cross.weight * one.overlap_days for cross, one in zip(crosses, told, strict=True))
    assert (round(found.objective, 9), round(overlap, 9)) == max(tried)
    assert found.bound == pytest.approx(found.objective)


@given(seed=st.integers(0, 10_000), more=st.integers(1, 120))
@settings(max_examples=10, deadline=None)
def test_with_steady_heat_units_added_to_all_lines_change_nothing(seed: int, more: int) -> None:
    crosses, lines, _ = make_question(seed)
    steady = PastHeat(np.full((2, 90), 12.0))
    later = {
        name: LineNeeds(one.units_to_silk + 12.0 * (more % 12), one.units_to_shed + 12.0 * (more % 12))
        for name, one in lines.items()
    }
    rules = SowingRules((0, 3, 6, 9))
    now = choose_sowing_dates(crosses, lines, steady, rules)
    then = choose_sowing_dates(crosses, later, steady, rules)
    assert now.objective == pytest.approx(then.objective)
    assert now.days == then.days


@given(seed=st.integers(0, 10_000))
@settings(max_examples=8, deadline=None)
def test_the_order_of_crosses_changes_no_worth(seed: int) -> None:
    crosses, lines, heat = make_question(seed)
    for measure in ("plain", "plants"):
        one = best_of((crosses, lines, heat), (0, 3, 6), males=2, measure=measure)
        other = best_of((crosses[::-1], lines, heat), (0, 3, 6), males=2, measure=measure)
        assert one.objective == pytest.approx(other.objective, rel=1e-6)
        again = best_of((crosses, lines, heat), (0, 3, 6), males=2, measure=measure)
        assert one == again


def test_a_late_female_and_an_early_male_meet_when_the_male_waits() -> None:
    heat = PastHeat(np.full((1, 100), 10.0))
    lines = {"late": LineNeeds(700, 690), "early": LineNeeds(600, 600)}
    found = choose_sowing_dates([PlannedCross("late", "early")], lines, heat, SowingRules(tuple(range(15))))
    # The rule of the trade: 700 - 600 units at 10 a day are 10 days.
    assert found.days["male", "early"][0] - found.days["female", "late"][0] == 10
    assert found.chances[0].overlap_days == 5.0


def test_two_sowings_of_a_male_serve_two_females_that_one_cannot() -> None:
    heat = PastHeat(np.full((3, 120), 10.0))
    lines = {"a": LineNeeds(600, 600), "b": LineNeeds(900, 900), "m": LineNeeds(600, 600)}
    crosses = [PlannedCross("a", "m"), PlannedCross("b", "m")]
    one = choose_sowing_dates(crosses, lines, heat, SowingRules((0, 5, 10, 15, 20)))
    two = choose_sowing_dates(crosses, lines, heat, SowingRules((0, 5, 10, 15, 20), male_sowings=2))
    assert (one.objective, two.objective) == (1.0, 1.0)
    # A female of 900 silks 30 days after a male of 600: 20 days of waiting and shed of 5 do not reach it.
    wide = SowingRules((0, 10, 20, 30), male_sowings=2)
    held = choose_sowing_dates(crosses, {**lines, "a": LineNeeds(600, 600, most_sowings=1)}, heat, wide)
    assert held.objective == 2.0
    kept = choose_sowing_dates(crosses, {**lines, "m": LineNeeds(600, 600, most_sowings=1)}, heat, wide)
    assert kept.objective == 2.0  # the female waits instead
    assert len(kept.days["male", "m"]) == 1


def test_windows_can_be_widened_until_all_meet() -> None:
    crosses, lines, heat = make_question(11)
    rules = SowingRules((0,))
    narrow = choose_sowing_dates(crosses, lines, heat, rules, Windows(silk_days=2, shed_days=1))
    wide = choose_sowing_dates(crosses, lines, heat, rules, Windows(silk_days=2, shed_days=40, share_frac=0.1))
    assert narrow.objective < wide.objective
