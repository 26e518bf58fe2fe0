"""Is a stretch weighed as full normal densities weigh it, and is a planted shift found, told, and no clean one?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import scipy.special
import scipy.stats

from firstsilk.science.analysis import shifted_pass
from firstsilk.science.analysis.shifted_pass import NEAR, ODDS, Ready, find_shifted_pass
from firstsilk.science.analysis.trial_plots import TrialPlots, fit_trait
from tests.planted_trials import Shape, arrange, grow_trial, plant_shift
from tests.soak.judge_plot_quality import judge

NOBODY = 9_999


def density(ready: Ready, values: np.ndarray, labels: np.ndarray) -> float:
    """Log-density of all values by the textbook's multivariate normal, over the repeatabilities, each as likely."""
    told, found = ready.told, np.zeros(len(ready.precision))
    alike = (labels[told][:, None] == labels[told]) * 1.0
    for at, per_trait in enumerate(ready.precision):
        for trait, q in enumerate(per_trait):
            V = (np.eye(int(told.sum())) + (q - 1.0) * alike) / q
            found[at] += scipy.stats.multivariate_normal.logpdf(values[told, trait], cov=V)
    return float(scipy.special.logsumexp(found))


def moved(ready: Ready, first: int, last: int, late: bool) -> tuple[np.ndarray, np.ndarray]:
    """Values and owners of records if a stretch holds what grew one plot before, or after."""
    labels, values = ready.entry.copy(), ready.own.copy()
    if late:
        labels[first + 1 : last + 1] = ready.entry[first:last]
        values[first + 1 : last + 1] = ready.late[first + 1 : last + 1]
        labels[first] = NOBODY
    else:
        labels[first:last] = ready.entry[first + 1 : last + 1]
        values[first:last] = ready.early[first:last]
        labels[last] = NOBODY
    return values, labels


@pytest.fixture(scope="module", params=[1, 2], ids=["one trait", "two traits"])
def small(request: pytest.FixtureRequest) -> tuple[TrialPlots, Ready]:
    shape = Shape(12, 3, 6, traits=request.param, ground=0.2, empty=0.06)
    trial = arrange(grow_trial(shape, np.random.default_rng(7)))
    return trial, shifted_pass._make_ready(trial, [fit_trait(trial, trait) for trait in trial.values])


def test_weights_when_one_stretch_after_another_is_moved_then_full_normal_densities(
    small: tuple[TrialPlots, Ready],
) -> None:
    trial, ready = small
    as_it_is = density(ready, ready.own, ready.entry)
    for run in (np.arange(6), np.arange(12, 24)):
        late, early = shifted_pass._weigh_pass(ready, run)
        for a in range(len(run)):
            for b in range(a, len(run)):
                for is_late, found in ((True, late), (False, early)):
                    told = density(ready, *moved(ready, int(run[a]), int(run[b]), is_late)) - as_it_is
                    assert found[a, b] == pytest.approx(told, abs=1e-8)
    for is_late in (True, False):
        found = shifted_pass._weigh_to_the_end(ready, is_late)
        told = [density(ready, *moved(ready, a, trial.n - 1, is_late)) - as_it_is for a in range(trial.n)]
        assert found == pytest.approx(told, abs=1e-8)


def test_weights_beforehand_sum_to_one() -> None:
    for plots in (4, 5, 30):
        assert np.sum(np.exp(shifted_pass._stretches(plots)[2])) == pytest.approx(1.0)
    trial = arrange(grow_trial(Shape(30, 2, 10), np.random.default_rng(1)))
    ready = shifted_pass._make_ready(trial, [fit_trait(trial, "t0")])
    nothing_said = replace(ready, told=np.zeros(trial.n, dtype=bool))
    assert np.sum(np.exp(shifted_pass._weigh_all(trial, nothing_said)[3])) == pytest.approx(1.0)


def test_shift_when_entries_differ_much_then_found_told_and_located() -> None:
    located = 0
    for seed in range(8):
        dice = np.random.default_rng(seed)
        late = bool(seed % 2)
        grown = grow_trial(Shape(40, 3, 20, repeatability=0.85, ground=0.1), dice)
        trial = arrange(plant_shift(grown, 47, 59, late, dice))
        odds, found = find_shifted_pass(trial, [fit_trait(trial, "t0")])
        assert found is not None
        assert odds == found.odds > ODDS
        assert found.direction == ("late" if late else "early")
        assert found.moved > 0.7 > 0.3 > found.as_planned
        located += abs(found.first - 47) <= NEAR and abs(found.last - 59) <= NEAR
    assert located >= 6


def test_shift_when_values_are_in_another_unit_then_the_odds_are_the_same() -> None:
    dice = np.random.default_rng(8)
    trial = arrange(plant_shift(grow_trial(Shape(40, 3, 20), dice), 20, 39, True, dice))
    other = replace(trial, values={"t0": 300.0 - 0.01 * trial.values["t0"]})
    odds = [find_shifted_pass(one, [fit_trait(one, "t0")])[0] for one in (trial, other)]
    assert odds[1] == pytest.approx(odds[0], rel=1e-5)


def test_shift_when_the_way_through_the_field_is_turned_round_then_late_is_early() -> None:
    dice = np.random.default_rng(9)
    trial = arrange(plant_shift(grow_trial(Shape(30, 3, 15, repeatability=0.7), dice), 30, 44, True, dice))
    back = replace(
        trial,
        values={"t0": trial.values["t0"][::-1]},
        entry=trial.entry[::-1],
        rep=trial.rep[::-1],
        field_row=None if trial.field_row is None else trial.field_row[::-1],
        field_col=None if trial.field_col is None else trial.field_col[::-1],
        passes=trial.passes.max() - trial.passes[::-1],
    )
    one, two = (find_shifted_pass(each, [fit_trait(each, "t0")])[1] for each in (trial, back))
    assert one is not None
    assert two is not None
    n = trial.n
    assert (one.direction, two.direction) == ("late", "early")
    # Replicates are weighed alike from both sides, but "to the end of the trial" has no twin at its beginning.
    assert abs(n - 1 - two.last - one.first) + abs(n - 1 - two.first - one.last) <= 1
    assert abs(one.first - 30) + abs(one.last - 44) <= NEAR


def test_shift_when_many_plots_of_an_entry_have_no_value_then_they_may_be_given_some() -> None:
    """Plots that were planned but not sown are often all written under one name."""
    grown = grow_trial(Shape(24, 2, 12), np.random.default_rng(3))
    grown.values[:14] = np.nan
    grown.entry[:14] = 0
    trial = arrange(grown)
    assert find_shifted_pass(trial, [fit_trait(trial, "t0")])[1] is None


def test_rates_when_few_trials_are_judged_then_the_clean_pass_and_the_whole_pass_is_found() -> None:
    """The short form of tests/soak/prove_plot_quality.py, which judges many more."""
    clean = judge(Shape(48, 3, 24, ground=0.1), "", range(8))
    assert clean.flagged == 0.0
    planted = judge(Shape(100, 3, 100), "whole pass", range(100, 106))
    # 6 trials at a rate of 0.9 have 4 or more with chance 0.98; which 6 does not change.
    assert planted.located >= 4 / 6
