"""Are odd plots, drifts and trials without repeatability told, each with its likely cause, and clean ones let be?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import scipy.stats

from firstsilk.answers import InputRefused
from firstsilk.science.analysis.drift import find_drift
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Model, RandomTerm
from firstsilk.science.analysis.oddities import FALSE_ALARM, find_odd_plots, measure_t
from firstsilk.science.analysis.plot_doubts import check_trial
from firstsilk.science.analysis.trial_plots import arrange_trial, fit_trait
from tests.planted_trials import Grown, Shape, arrange, grow_trial

SHAPE = Shape(30, 3, 15, ground=0.2)


def grow(seed: int, shape: Shape = SHAPE) -> Grown:
    return grow_trial(shape, np.random.default_rng(seed))


def test_arranged_when_the_order_is_given_then_sorted_by_it_and_passes_follow_the_way_walked() -> None:
    order = [4, 1, 3, 2, 5, 6]
    trial = arrange_trial(
        {"y": [4, 1, 3, 2, 5, 6]}, list("abcdef"), None, [1, 1, 1, 1, 2, 2], [4, 1, 3, 2, 2, 1], order
    )
    assert trial.values["y"].tolist() == [1, 2, 3, 4, 5, 6]
    assert trial.place.tolist() == [1, 3, 2, 0, 4, 5]
    assert trial.passes.tolist() == [0, 0, 0, 0, 1, 1]
    assert trial.entry == tuple("bdcaef")


def test_arranged_when_walked_by_columns_then_passes_are_columns() -> None:
    row, col = [1, 2, 3, 3, 2, 1], [1, 1, 1, 2, 2, 2]
    assert arrange_trial({"y": np.ones(6)}, list("abcdef"), None, row, col).passes.tolist() == [0, 0, 0, 1, 1, 1]


def test_arranged_when_a_place_in_order_stands_twice_then_refused() -> None:
    with pytest.raises(InputRefused, match="same place in harvest order"):
        arrange_trial({"y": [1.0, 2.0]}, ["a", "b"], order=[1, 1])


def test_expected_when_all_plots_have_values_then_the_fitted_values_of_the_mixed_model() -> None:
    trial = arrange(grow(1))
    fit = fit_trait(trial, "t0")
    data = {"y": trial.values["t0"], "e": trial.entry, "r": trial.rep, "row": trial.field_row, "col": trial.field_col}
    random = tuple(RandomTerm((name,)) for name in ("e", "r", "row", "col"))
    plain = fit_mixed_model(data, Model("y", (), random)).records  # type: ignore[arg-type]
    assert plain is not None
    assert fit.ground_terms == ("rep", "row", "col")
    assert fit.expected == pytest.approx(plain.fitted, abs=1e-6)
    assert fit.left == pytest.approx(plain.residual, abs=1e-6)


def test_bound_when_the_number_of_plots_is_known_then_bonferroni_on_t() -> None:
    trial = arrange(grow(2))
    fit = fit_trait(trial, "t0")
    t, bound = measure_t(fit)
    assert scipy.stats.t.sf(bound, fit.free - 1) == pytest.approx(FALSE_ALARM / trial.n / 2, rel=1e-6)
    # The plain regression of values on entries and replicates: R's stack loss case is in tests/outside.
    r = fit.studentised
    assert t == pytest.approx(r * np.sqrt((fit.free - 1) / (fit.free - r**2)))


@pytest.mark.parametrize(
    ("plant", "likely"),
    [(lambda v: 0.0, "empty"), (lambda v: 2 * v, "double"), (lambda v: v / 2, "half"), (lambda v: 10 * v, "decimal")],
    ids=["empty", "double", "half", "decimal"],
)
def test_odd_when_a_plot_is_spoilt_then_it_alone_is_told_with_what_may_have_happened(plant, likely) -> None:  # type: ignore[no-untyped-def]
    grown = grow(3)
    grown.values[40] = plant(grown.values[40])
    _, odd = find_odd_plots(arrange(grown), "t0")
    assert [(one.at, one.likely) for one in odd] == [(40, likely)]
    assert odd[0].expected == pytest.approx(20.0, abs=4.0)
    assert abs(odd[0].t) > odd[0].bound


def test_odd_when_neighbours_are_swapped_then_both_are_told_as_such() -> None:
    grown = grow(4, Shape(40, 4, 20))
    for at, lift in ((20, 8.0), (21, -8.0)):
        grown.values[grown.entry == grown.entry[at]] += lift
    grown.values[[20, 21]] = grown.values[[21, 20]]
    _, odd = find_odd_plots(arrange(grown), "t0")
    assert {one.at: (one.likely, one.other) for one in odd} == {20: ("swapped", 21), 21: ("swapped", 20)}


def test_odd_when_one_wild_plot_hides_another_then_both_are_told() -> None:
    grown = grow(5)
    grown.values[10] += 40.0
    grown.values[50] += 10.0
    _, odd = find_odd_plots(arrange(grown), "t0")
    assert {one.at for one in odd} == {10, 50}


def test_drift_when_a_machine_runs_off_then_told_with_its_change_and_not_when_it_does_not() -> None:
    grown = grow(6, Shape(30, 3, 30, ground=0.05))
    clean = arrange(grown)
    assert find_drift(clean, fit_trait(clean, "t0")) is None
    moved = arrange(replace(grown, values=grown.values + np.linspace(-4.0, 4.0, 90)[:, None]))
    found = find_drift(moved, fit_trait(moved, "t0"))
    assert found is not None
    # Replicates follow one another, so they take their share of the course: what is left is within them.
    assert found.change > 0
    assert found.chance < FALSE_ALARM


def test_check_when_entries_do_not_differ_then_said_and_when_they_do_then_not() -> None:
    alike = check_trial(arrange(grow(7, Shape(30, 3, 15, repeatability=0.0)))).traits[0]
    unlike = check_trial(arrange(grow(7, Shape(30, 3, 15, repeatability=0.6)))).traits[0]
    assert not alike.differs
    assert unlike.differs
    assert unlike.repeatability == pytest.approx(0.6 * 3 / (1 + 0.6 * 2), abs=0.15)


def test_chance_when_entries_are_alike_then_half_at_one_and_the_rest_even() -> None:
    """Half of the time the variance is 0; below 0.05 in some 5 of 100."""
    chances = [fit_trait(arrange(grow(seed, Shape(12, 3, 12, 0.0))), "t0").p_entries for seed in range(40)]
    # Chance alone leaves these bounds less than once in a thousand.
    assert 10 <= sum(one == 1.0 for one in chances) <= 31
    assert sum(one < 0.05 for one in chances) <= 7


def test_check_when_there_are_no_replicates_then_said_not_guessed() -> None:
    trial = arrange_trial({"y": np.arange(20.0)}, [f"E{k}" for k in range(20)])
    found = check_trial(trial)
    assert (found.traits, found.shifted) == ((), None)
    assert "too few" in found.not_told[0]
