"""Does the fit agree with a slow and obvious twin: the textbook REML formula, climbed by a general optimiser?"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from firstsilk.science.analysis import reml
from firstsilk.science.analysis.equations import cross_products, solve_equations
from firstsilk.science.analysis.mixed_models import fit_mixed_model, plan_fit
from firstsilk.science.analysis.models import Model, RandomTerm, Relationship
from tests.dense_reml import maximise, textbook
from tests.twin_trials import MANY_TOPS, MODELS, columns, incidence, poor_series, small_trial

Array = NDArray[np.float64]


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("holes", [False, True], ids=["balanced", "with holes"])
def test_fit_when_terms_are_crossed_then_the_twin_agrees(seed: int, holes: bool) -> None:
    assert_the_twin_agrees(small_trial(seed, holes), MODELS["one residual"])


@pytest.mark.parametrize("seed", [4, 5])
@pytest.mark.parametrize("name", ["residuals by site", "random variances by site", "related lines within sites"])
def test_fit_when_variances_differ_by_site_and_records_have_weights_then_the_twin_agrees(seed: int, name: str) -> None:
    assert_the_twin_agrees(small_trial(seed, holes=True), MODELS[name])


def assert_the_twin_agrees(data: dict[str, list[object]], model: Model) -> None:
    """A general optimiser, let loose on the formula of the text books from several starts, ends at the same top."""
    log_likelihood, values = maximise(data, model)
    fit = fit_mixed_model(data, model)
    assert fit.converged
    assert fit.reml_log_likelihood == pytest.approx(log_likelihood, abs=1e-6)
    # The twin stops where the likelihood is flat: a variance is good to about 1e-4 of the largest.
    largest = max(values.variances.values())
    for line in fit.variances:
        assert line.value == pytest.approx(values.variance(line.term, line.level), rel=1e-3, abs=1e-4 * largest)


def test_fit_when_lines_are_related_then_effects_and_errors_are_those_of_the_dense_formulas() -> None:
    data = small_trial(6, holes=True)
    names = tuple(f"L{k}" for k in range(8))
    root = np.random.default_rng(7).normal(size=(8, 8))
    K = root @ root.T / 8
    model = Model("y", (("site",),), (RandomTerm(("line",), Relationship(names, K)),))
    fit = fit_mixed_model(data, model)
    y = np.array(data["y"], dtype=float)
    X = np.hstack([np.ones((len(y), 1)), incidence(columns(data, "site"))[:, 1:]])
    Z = np.array([[float(line == name) for name in names] for line in data["line"]])
    s2, error = fit.variance("line"), fit.variance("residual")
    V = s2 * Z @ K @ Z.T + error * np.eye(len(y))
    inverse = np.linalg.inv(V)
    covariance = np.linalg.inv(X.T @ inverse @ X)
    P = inverse - inverse @ X @ covariance @ X.T @ inverse
    G = s2 * K
    assert fit.reml_log_likelihood == pytest.approx(textbook(y, X, V), abs=1e-9)
    assert [line.estimate for line in fit.fixed] == pytest.approx(covariance @ X.T @ inverse @ y, rel=1e-8)
    assert [line.se for line in fit.fixed] == pytest.approx(np.sqrt(np.diag(covariance)), rel=1e-8)
    assert [line.value for line in fit.random] == pytest.approx(G @ Z.T @ P @ y, rel=1e-7, abs=1e-9)
    pev = np.diag(G - G @ Z.T @ P @ Z @ G)
    assert [line.se for line in fit.random] == pytest.approx(np.sqrt(pev), rel=1e-7)
    assert [line.reliability for line in fit.random] == pytest.approx(1 - pev / np.diag(G), rel=1e-6, abs=1e-9)


def test_fit_when_a_relationship_is_singular_then_it_is_an_ordinary_case() -> None:
    data = small_trial(8, holes=False)
    names = tuple(f"L{k}" for k in range(6))
    twins = np.kron(np.eye(3), np.ones((2, 2)))
    related = fit_mixed_model(data, Model("y", (("site",),), (RandomTerm(("line",), Relationship(names, twins)),)))
    data["pair"] = [str(int(str(line)[1]) // 2) for line in data["line"]]
    pairs = fit_mixed_model(data, Model("y", (("site",),), (RandomTerm(("pair",)),)))
    assert related.reml_log_likelihood == pytest.approx(pairs.reml_log_likelihood, abs=1e-9)
    assert related.variance("line") == pytest.approx(pairs.variance("pair"), rel=1e-7)
    assert related.random[0].value == pytest.approx(related.random[1].value, abs=1e-9)


@pytest.mark.parametrize("name", MODELS)
def test_score_when_compared_with_differences_of_the_log_likelihood_then_equal(name: str) -> None:
    data = small_trial(9, holes=True)
    problem = plan_fit(data, MODELS[name]).problem
    K = problem.n_random + problem.n_groups
    theta = np.random.default_rng(3).uniform(0.3, 2.0, K)
    at_one = cross_products(problem, problem.weights) if problem.n_groups == 1 else None
    score = solve_equations(problem, theta, at_one).score
    for k in range(K):
        step = np.zeros(K)
        step[k] = 1e-5 * theta[k]
        up = solve_equations(problem, theta + step, at_one).log_likelihood
        down = solve_equations(problem, theta - step, at_one).log_likelihood
        assert score[k] == pytest.approx((up - down) / (2 * step[k]), rel=1e-6, abs=1e-7)


def test_score_when_a_variance_is_0_or_almost_0_then_the_one_sided_difference() -> None:
    problem = plan_fit(small_trial(9, holes=True), MODELS["one residual"]).problem
    for tiny in (0.0, 1e-9):
        theta = np.array([tiny, 0.4, 1.3])
        base = solve_equations(problem, theta)
        up = solve_equations(problem, theta + np.array([1e-7, 0.0, 0.0]))
        assert base.score[0] == pytest.approx((up.log_likelihood - base.log_likelihood) / 1e-7, rel=1e-4)


@pytest.mark.parametrize("batch", range(4))
def test_fit_when_true_variances_are_0_then_the_bound_is_hit_exactly_and_is_the_top(batch: int) -> None:
    """Sixty simulated sets with one or two true zeros: at a bound 0 exactly, and no way leads up from the end."""
    at_bound = 0
    for seed in range(15 * batch, 15 * batch + 15):
        dice = np.random.default_rng(seed)
        line, site = np.repeat(np.arange(12), 6), np.tile(np.repeat(np.arange(3), 2), 12)
        y = dice.normal(size=72) + (dice.normal(size=12)[line] if seed % 2 else 0.0)
        data = {"line": [f"L{k:02d}" for k in line], "site": [f"S{k}" for k in site], "y": y}
        model = Model("y", (("site",),), (RandomTerm(("line",)), RandomTerm(("line", "site"))))
        fit = fit_mixed_model(data, model)
        assert fit.converged
        assert fit.gradient < 1e-6
        assert all(line.value == 0.0 or line.value > 1e-8 for line in fit.variances)
        assert {line.term for line in fit.variances if line.value == 0.0} == set(fit.at_bound)
        assert all(line.se is None for line in fit.variances if line.value == 0.0)
        at_bound += len(fit.at_bound)
        problem = plan_fit(data, model).problem
        theta = np.array([line.value for line in fit.variances])
        for k in range(3):
            for change in (0.01, -0.01):
                moved = theta.copy()
                moved[k] = max(moved[k] + change, 0.0)
                assert solve_equations(problem, moved).log_likelihood <= fit.reml_log_likelihood + 1e-9
    assert at_bound >= 5


@pytest.mark.parametrize("seed", MANY_TOPS)
def test_fit_when_the_likelihood_has_several_tops_then_none_of_many_starts_ends_higher(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    data = poor_series(seed)
    best = fit_mixed_model(data, MANY_TOPS[seed]).reml_log_likelihood
    plain = reml._start
    ends = []
    for ratio in (0.001, 0.1, 3.0, 30.0):

        def start(problem, known, free, total, ratio=ratio):
            found = plain(problem, known, free, total)
            found[: problem.n_random] *= ratio
            return found

        monkeypatch.setattr(reml, "_start", start)
        monkeypatch.setattr(reml, "_other_starts", lambda problem, free: ())
        ends.append(fit_mixed_model(data, MANY_TOPS[seed]).reml_log_likelihood)
    monkeypatch.setattr(reml, "_start", plain)
    ends.append(fit_mixed_model(data, MANY_TOPS[seed]).reml_log_likelihood)
    assert max(ends) <= best + 1e-6
    assert max(ends) - min(ends) > 0.1, "these records were chosen because one start is not enough"
