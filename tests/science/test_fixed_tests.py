"""Do tests of fixed effects obey their laws, and a slow version that differentiates by small steps?"""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from firstsilk.answers import InputRefused
from firstsilk.science.analysis import fixed_tests
from firstsilk.science.analysis.degrees_of_freedom import Contrasts, judge_together
from firstsilk.science.analysis.fixed_tests import find_differences, judge_fit, judge_fixed_terms
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Array, Fit, Model, RandomTerm, Residual, Surface

Data = dict[str, list[object]]


def lay_trial(seed: int, sites: int = 3, lines: int = 6, reps: int = 3, keep: float = 0.9) -> Data:
    dice = np.random.default_rng(seed)
    data: Data = {"site": [], "line": [], "block": [], "w": [], "y": []}
    worth = dice.normal(0, 1, lines)
    for s in range(sites):
        for r in range(reps):
            shift = dice.normal(0, 0.7)
            for k in range(lines):
                if dice.random() > keep:
                    continue
                w = float(dice.integers(1, 4))
                y = s + shift + worth[k] + dice.normal(0, (0.5 + 0.4 * s) / math.sqrt(w))
                for name, cell in zip(data, (f"S{s}", f"L{k}", f"S{s}R{r}", w, y), strict=True):
                    data[name].append(cell)
    return data


FACTORED = Model("y", random=(RandomTerm(("line", "site"), factors=1),))
MODEL = Model("y", (("site",), ("line",)), (RandomTerm(("block",)),), Residual("site"), weights="w")


def dense_pieces(data: Data, values: Array) -> tuple[Array, list[Array]]:
    """The design as the fit codes it, and the pattern of each variance (block, then sites)."""
    site, line, block = (np.array([str(v) for v in data[name]]) for name in ("site", "line", "block"))
    columns = [np.ones(len(site))]
    columns += [(site == level).astype(float) for level in sorted(set(site))[1:]]
    columns += [(line == level).astype(float) for level in sorted(set(line))[1:]]
    w = np.array([float(str(v)) for v in data["w"]])
    patterns = [(block[:, None] == block).astype(float)]
    patterns += [np.diag((site == level) / w) for level in sorted(set(site))]
    assert len(values) == len(patterns)
    return np.column_stack(columns), patterns


def covariance_at(X: Array, patterns: list[Array], values: Array) -> Array:
    V = sum((v * pattern for v, pattern in zip(values, patterns, strict=True)), np.zeros_like(patterns[0]))
    return np.asarray(np.linalg.inv(X.T @ np.linalg.solve(V, X)))


def log_likelihood_at(X: Array, patterns: list[Array], values: Array, y: Array) -> float:
    V = sum((v * pattern for v, pattern in zip(values, patterns, strict=True)), np.zeros_like(patterns[0]))
    inside = X.T @ np.linalg.solve(V, X)
    b = np.linalg.solve(inside, X.T @ np.linalg.solve(V, y))
    r = y - X @ b
    return float(-0.5 * (np.linalg.slogdet(V)[1] + np.linalg.slogdet(inside)[1] + r @ np.linalg.solve(V, r)))


def slow_contrasts(data: Data, fit: Fit, L: Array) -> Contrasts:
    """Everything by central differences of dense matrices."""
    values = np.array([line.value for line in fit.variances])
    X, patterns = dense_pieces(data, values)
    y = np.array([float(str(v)) for v in data["y"]])
    steps = 1e-4 * values
    K = len(values)
    unit = np.diag(steps)
    slopes = np.array(
        [
            (covariance_at(X, patterns, values + unit[k]) - covariance_at(X, patterns, values - unit[k]))
            / (2 * steps[k])
            for k in range(K)
        ]
    )
    hessian = np.empty((K, K))
    wide = 20.0
    for j in range(K):
        for k in range(K):
            corners = [
                s * t * log_likelihood_at(X, patterns, values + wide * (s * unit[j] + t * unit[k]), y)
                for s in (1, -1)
                for t in (1, -1)
            ]
            hessian[j, k] = sum(corners) / (4 * wide**2 * steps[j] * steps[k])
    b = np.array([line.estimate for line in fit.fixed])
    C = covariance_at(X, patterns, values)
    return Contrasts(L @ b, L @ C @ L.T, np.array([L @ s @ L.T for s in slopes]), np.linalg.inv(-hessian))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_residuals_by_site_and_weights_agree_with_small_steps(seed: int) -> None:
    data = lay_trial(seed)
    fit = fit_mixed_model(data, MODEL)
    assert fit.at_bound == ()
    tests = judge_fixed_terms(data, MODEL, fit)
    for test, rows in zip(tests, (slice(1, 3), slice(3, 8)), strict=True):
        L = np.eye(8)[rows]
        slow = judge_together(slow_contrasts(data, fit, L))
        assert test.df == slow.df
        assert test.f == pytest.approx(slow.f, rel=1e-7)
        assert test.denominator_df == pytest.approx(slow.denominator_df, rel=2e-3)


def test_scaling_and_shifting_the_response_changes_nothing() -> None:
    data = lay_trial(4)
    other = {**data, "y": [1000.0 + 250.0 * float(str(v)) for v in data["y"]]}
    one, two = (judge_fixed_terms(d, MODEL, fit_mixed_model(d, MODEL)) for d in (data, other))
    for a, b in zip(one, two, strict=True):
        assert (a.df, a.denominator_df, a.f) == (
            b.df,
            pytest.approx(b.denominator_df, rel=1e-6),
            pytest.approx(b.f, rel=1e-6),
        )


def test_without_random_terms_it_is_ordinary_least_squares() -> None:
    data = lay_trial(5)
    model = Model("y", (("site",), ("line",)))
    fit = fit_mixed_model(data, model)
    freedom = len(data["y"]) - 8
    for test in judge_fixed_terms(data, model, fit):
        assert test.denominator_df == pytest.approx(freedom, rel=1e-9)
    for test in judge_fixed_terms(data, model, fit, "kenward-roger"):
        assert test.denominator_df == pytest.approx(freedom, rel=1e-9)


def test_known_variances_give_chi_squares() -> None:
    data = lay_trial(6)
    model = Model("y", (("line",),), (RandomTerm(("block",), variance=0.5),), Residual(variance=1.0))
    test = judge_fixed_terms(data, model, fit_mixed_model(data, model))[0]
    assert math.isinf(test.denominator_df)
    assert 0 < test.p < 1
    again = judge_fixed_terms(data, model, fit_mixed_model(data, model), "kenward-roger")[0]
    assert (again.f, again.p) == (pytest.approx(test.f), pytest.approx(test.p))


def test_a_difference_of_two_levels_is_the_test_of_their_term() -> None:
    data = lay_trial(7, sites=2)
    fit = fit_mixed_model(data, MODEL)
    site = judge_fixed_terms(data, MODEL, fit)[0]
    found = next(d for d in find_differences(data, MODEL, fit) if d.term == "site").each[0]
    assert (found.value / found.se) ** 2 == pytest.approx(site.f, rel=1e-9)
    assert found.df == pytest.approx(site.denominator_df, rel=1e-9)
    assert found.p == pytest.approx(site.p, rel=1e-9)


def test_more_than_25_levels_give_the_spread_of_errors_only() -> None:
    data = lay_trial(8, lines=30)
    model = dataclasses.replace(MODEL, weights=None)
    line = next(d for d in find_differences(data, model, fit_mixed_model(data, model)) if d.term == "line")
    assert (line.pairs, line.each) == (435, ())
    assert line.se_min is not None
    assert line.se_max is not None
    assert 0 < line.se_min < line.se_average < line.se_max


def test_both_at_once_are_the_same_as_each_alone() -> None:
    data = lay_trial(9)
    fit = fit_mixed_model(data, MODEL)
    tests, differences = judge_fit(data, MODEL, fit)
    assert tests == judge_fixed_terms(data, MODEL, fit)
    assert differences == find_differences(data, MODEL, fit)
    bare, without = judge_fit(data, FACTORED, fit)
    assert bare is None
    assert [d.se_average for d in without] == [d.se_average for d in differences]
    assert {one.df for d in without for one in d.each} == {None}


def test_factors_are_refused_by_a_sentence() -> None:
    data = lay_trial(9)
    fit = fit_mixed_model(data, MODEL)
    with pytest.raises(InputRefused, match="without factors"):
        judge_fixed_terms(data, FACTORED, fit)
    ground = dataclasses.replace(MODEL, surfaces=(Surface(("w",), (5,)),))
    with pytest.raises(InputRefused, match="without surfaces"):
        judge_fixed_terms(data, ground, fit, "kenward-roger")


def test_the_sparse_way_gives_what_the_dense_one_does(monkeypatch: pytest.MonkeyPatch) -> None:
    """Balanced, so that observed, expected and average information are one."""
    data = lay_trial(10, keep=1.0)
    model = Model("y", (("line",),), (RandomTerm(("block",)), RandomTerm(("site",))))
    fit = fit_mixed_model(data, model)
    assert fit.at_bound == ()
    dense = judge_fit(data, model, fit)
    monkeypatch.setattr(fixed_tests, "can_judge", lambda model, fit: False)
    sparse = judge_fit(data, model, fit)
    assert dense[0] is not None
    assert sparse[0] is not None
    for one, two in zip(dense[0], sparse[0], strict=True):
        assert (one.term, one.df) == (two.term, two.df)
        assert two.denominator_df == pytest.approx(one.denominator_df, rel=1e-4)
        assert (two.f, two.p) == (pytest.approx(one.f, rel=1e-7), pytest.approx(one.p, rel=1e-3))
    for first, second in zip(dense[1], sparse[1], strict=True):
        for a, b in zip(first.each, second.each, strict=True):
            assert a.df is not None
            assert (b.value, b.se) == (pytest.approx(a.value, rel=1e-7, abs=1e-9), pytest.approx(a.se, rel=1e-7))
            assert b.df == pytest.approx(a.df, rel=1e-4)


def lay_field(seed: int) -> Data:
    """A field of 10 x 8 plots with ground that hangs together, and an entry on each plot."""
    dice = np.random.default_rng(seed)
    ground = dice.normal(0, 1, (10, 8))
    for k in range(1, 10):
        ground[k] = 0.7 * ground[k - 1] + 0.7 * ground[k]
    for k in range(1, 8):
        ground[:, k] = 0.5 * ground[:, k - 1] + 0.8 * ground[:, k]
    data: Data = {"row": [], "col": [], "entry": [], "y": []}
    entries = dice.permutation(np.arange(80) % 5).reshape(10, 8)
    for r in range(10):
        for c in range(8):
            for name, cell in zip(data, (r, c, f"E{entries[r, c]}", entries[r, c] / 3 + ground[r, c]), strict=True):
                data[name].append(cell)
    return data


def test_correlated_ground_agrees_with_small_steps_of_full_matrices() -> None:
    data = lay_field(3)
    model = Model("y", (("entry",),), residual=Residual(grid=("row", "col")))
    fit = fit_mixed_model(data, model)
    r, c = (np.array(data[name], dtype=float) for name in ("row", "col"))
    entry = np.array([str(v) for v in data["entry"]])
    X = np.column_stack([np.ones(80), *((entry == f"E{k}").astype(float) for k in range(1, 5))])
    y = np.array(data["y"], dtype=float)
    top = np.array([fit.variance("residual"), *(math.atanh(line.value) for line in fit.correlations)])

    def at(values: Array) -> Array:
        one, two = np.tanh(values[1:])
        return np.asarray(values[0] * one ** np.abs(r[:, None] - r) * two ** np.abs(c[:, None] - c), dtype=np.float64)

    def covariance(values: Array) -> Array:
        return np.asarray(np.linalg.inv(X.T @ np.linalg.solve(at(values), X)))

    steps = np.array([1e-4 * top[0], 1e-4, 1e-4])
    sides = [(top + step, top - step) for step in np.diag(steps)]
    slopes = [(covariance(a) - covariance(b)) / (2 * s) for (a, b), s in zip(sides, steps, strict=True)]
    V, C = at(top), covariance(top)
    inverse = np.linalg.inv(V)
    P = inverse - inverse @ X @ C @ X.T @ inverse
    moves = np.array([((at(a) - at(b)) / (2 * s)) @ P @ y for (a, b), s in zip(sides, steps, strict=True)])
    average = 0.5 * moves @ P @ moves.T
    L = np.eye(5)[1:]
    b = np.array([line.estimate for line in fit.fixed])
    slow = judge_together(
        Contrasts(L @ b, L @ C @ L.T, np.array([L @ s @ L.T for s in slopes]), np.linalg.inv(average))
    )
    (found,) = judge_fixed_terms(data, model, fit)
    assert found.df == 4
    assert found.f == pytest.approx(slow.f, rel=1e-6)
    assert found.denominator_df == pytest.approx(slow.denominator_df, rel=1e-4)
    assert 0 < found.denominator_df < 80
