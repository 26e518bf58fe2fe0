"""Do fits with ground trends, correlated ground, factors and pairs of traits give what full matrices give?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import scipy.optimize
from numpy.typing import NDArray

from firstsilk.answers import InputRefused
from firstsilk.science.analysis.large_models import arrange_large, climb_large
from firstsilk.science.analysis.mixed_models import fit_mixed_model, lay_out
from firstsilk.science.analysis.models import (
    Model,
    RandomTerm,
    Relationship,
    Residual,
    SparseRelationship,
    Surface,
)
from firstsilk.science.analysis.sparse_equations import find_slopes, solve_large
from tests.dense_reml import evaluate, textbook, values_of

Array = NDArray[np.float64]
Data = dict[str, list[object]]
GRID = ("row", "column")


def trial(seed: int, sites: int, rows: int = 6, columns: int = 7, lines: int = 15) -> Data:
    """Plots on grids with holes, ground that rises and waves, lines that differ more at some sites than at others."""
    dice = np.random.default_rng(seed)
    worth, strength = dice.normal(size=lines) * 1.5, dice.uniform(0.5, 1.3, sites)
    data: Data = {"line": [], "site": [], "row": [], "column": [], "y": []}
    for j in range(sites):
        within = dice.normal(size=lines) * 0.5
        for r in range(rows):
            for c in range(columns):
                if dice.random() < 0.12:
                    continue
                k = (r * columns + c) % lines
                ground = np.sin(r / 2) + 0.3 * c
                y = 5 * j + strength[j] * worth[k] + within[k] + ground + dice.normal() * (0.6 + 0.3 * j)
                for name, value in zip(data, (f"L{k:02d}", f"S{j}", r + 1, c + 3, y), strict=True):
                    data[name].append(value)
    return data


LINES = (RandomTerm(("line",)),)
BY_SITE = Surface(GRID, (5, 6), "site")
FITS = {
    "neighbours": (2, Model("y", (("site",),), LINES, Residual(grid=GRID, within="site"))),
    "neighbours, variances by site": (2, Model("y", (("site",),), LINES, Residual("site", grid=GRID, within="site"))),
    "neighbours and nugget": (2, Model("y", (("site",),), LINES, Residual(grid=GRID, within="site", nugget=True))),
    "nuggets by site": (2, Model("y", (("site",),), LINES, Residual("site", grid=GRID, within="site", nugget=True))),
    "lines fixed on one grid": (1, Model("y", (("line",),), (), Residual(grid=GRID))),
    "one surface": (1, Model("y", (("line",),), surfaces=(Surface(GRID, (6, 5)),))),
    "a surface by site": (2, Model("y", (("site",), ("line",)), surfaces=(BY_SITE,))),
    "a surface, lines random": (2, Model("y", (("site",),), LINES, Residual("site"), surfaces=(BY_SITE,))),
    "two smooth lines": (1, Model("y", (), LINES, surfaces=(Surface(("row",), (5,)), Surface(("column",), (6,))))),
    "surface and neighbours": (1, Model("y", (), LINES, Residual(grid=GRID), surfaces=(Surface(GRID, (4, 4)),))),
    "one factor": (5, Model("y", (("site",),), (RandomTerm(("line", "site"), factors=1),), Residual("site"))),
    "two factors": (6, Model("y", (("site",),), (RandomTerm(("line", "site"), factors=2),), Residual("site"))),
    "a factor over two sites": (2, Model("y", (("site",),), (RandomTerm(("line", "site"), factors=1),))),
    "no variances of its own": (
        5, Model("y", (("site",),), (RandomTerm(("line", "site"), factors=1, variance=0.0),), Residual("site")),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", FITS)
def test_fit_when_ground_or_factors_are_asked_then_what_full_matrices_say_at_the_same_values(name: str) -> None:
    sites, model = FITS[name]
    data = trial(5, sites)
    fit = fit_mixed_model(data, model)
    assert fit.converged
    assert fit.records is not None
    slow = evaluate(data, model, values_of(fit))
    near = 1e-9
    assert fit.reml_log_likelihood == pytest.approx(slow.log_likelihood, abs=near)
    for line in fit.random:
        assert (line.value, line.se) == pytest.approx(slow.random[line.term, line.level][:2], rel=near, abs=10 * near)
    assert fit.records.residual == pytest.approx(slow.residual, abs=10 * near)
    assert fit.records.fitted == pytest.approx(slow.fitted, abs=10 * near)
    if not model.surfaces:
        for own in fit.fixed:
            assert (own.estimate, own.se) == pytest.approx(slow.fixed[own.term, own.level], rel=1e-8, abs=1e-8)


@pytest.mark.parametrize("name", FITS)
def test_slopes_when_ground_or_factors_are_asked_then_those_of_the_log_likelihood(name: str) -> None:
    sites, model = FITS[name]
    layout = lay_out(trial(6, sites), model)
    _, problem, _ = arrange_large(layout, model)
    at = np.random.default_rng(3).uniform(0.3, 1.2, len(problem.parameters))
    zero = np.zeros(len(at))
    score = find_slopes(problem, solve_large(problem, at, zero)).score
    for k in range(len(at)):
        if problem.parameters[k].known == 0.0:
            continue
        step = np.zeros(len(at))
        step[k] = 1e-5
        up, down = (solve_large(problem, at + sign * step, zero).log_likelihood for sign in (1, -1))
        assert score[k] == pytest.approx((up - down) / 2e-5, rel=1e-6, abs=1e-6), problem.parameters[k]


@pytest.mark.parametrize("name", FITS)
def test_fit_when_parameters_are_moved_then_no_way_leads_up(name: str) -> None:
    sites, model = FITS[name]
    large = climb_large(lay_out(trial(7, sites), model), model)
    problem, values = large.problem, large.top.state.values
    zero = np.zeros(len(values))
    top = solve_large(problem, values, zero).log_likelihood
    bounded = np.array([one.kind in ("variance", "wiggle", "residual") for one in problem.parameters])
    for k, sign in np.ndindex(len(values), 2):
        if problem.parameters[k].known == 0.0 or (problem.parameters[k].kind == "wiggle" and values[k] < 0.01):
            continue
        moved = values.copy()
        moved[k] += (2 * sign - 1) * 0.02 * max(abs(values[k]), 0.1)
        moved = np.where(bounded, np.maximum(moved, 0.0), np.clip(moved, -3.8, 3.8))
        assert solve_large(problem, moved, zero).log_likelihood <= top + 1e-9


def test_fit_when_a_surface_stands_in_the_model_then_means_are_those_of_average_ground() -> None:
    data = trial(8, 1)
    model = Model("y", (("line",),), surfaces=(Surface(GRID, (6, 5)),))
    fit = fit_mixed_model(data, model)
    assert fit.records is not None
    means = {line.level: line.value for line in fit.means}
    own = np.array([means[str(line)] for line in data["line"]])
    # What is fitted beyond the line's mean is ground, and ground averages 0.
    assert fit.records.fitted - own == pytest.approx(fit.records.ground, abs=1e-8)
    assert float(np.mean(fit.records.ground)) == pytest.approx(0.0, abs=1e-8)
    slow = evaluate(data, model, values_of(fit))
    told = {line.level: line.estimate for line in fit.fixed if line.term == "line"}
    for level, value in told.items():
        assert value == pytest.approx(slow.fixed["line", level][0], abs=1e-7)


def test_fit_when_ground_is_shifted_and_turned_then_the_same() -> None:
    data = trial(9, 1)
    model = Model("y", (), LINES, Residual(grid=GRID, nugget=True), surfaces=())
    turned = {
        **data,
        "row": [-int(str(r)) + 40 for r in data["row"]],
        "column": [int(str(c)) + 100 for c in data["column"]],
    }
    one, two = (fit_mixed_model(own, model) for own in (data, turned))
    assert two.reml_log_likelihood == pytest.approx(one.reml_log_likelihood, abs=1e-7)
    across = replace(model, residual=replace(model.residual, grid=("column", "row")))
    assert fit_mixed_model(data, across).reml_log_likelihood == pytest.approx(one.reml_log_likelihood, abs=1e-7)


def test_fit_when_there_is_no_nugget_in_truth_then_it_is_exactly_0_or_small() -> None:
    dice = np.random.default_rng(11)
    apart = np.abs(np.arange(12)[:, None] - np.arange(12))
    root = np.linalg.cholesky(np.kron(0.6**apart, 0.7**apart))
    at_zero = 0
    for _ in range(6):
        data: Data = {"row": np.repeat(np.arange(12), 12).tolist(), "column": np.tile(np.arange(12), 12).tolist()}
        data["y"] = (root @ dice.normal(size=144)).tolist()
        fit = fit_mixed_model(data, Model("y", residual=Residual(grid=GRID, nugget=True)))
        plain = fit_mixed_model(data, Model("y", residual=Residual(grid=GRID)))
        assert fit.converged
        assert fit.reml_log_likelihood >= plain.reml_log_likelihood - 1e-7
        if fit.variance("nugget") == 0.0:
            at_zero += 1
            assert fit.at_bound == ("nugget",)
            assert fit.reml_log_likelihood == pytest.approx(plain.reml_log_likelihood, abs=1e-9)
    assert at_zero >= 1


def test_studentised_when_records_go_together_then_by_the_textbook() -> None:
    data = trial(12, 1)
    for model in (
        FITS["lines fixed on one grid"][1],
        FITS["one surface"][1],
        Model("y", (), LINES, Residual(grid=GRID, nugget=True)),
    ):
        fit = fit_mixed_model(data, model)
        assert fit.records is not None
        slow = evaluate(data, model, values_of(fit))
        P = slow.projection
        y = np.array(data["y"], dtype=float)
        own = np.diag(P)
        # A line's only plot says nothing of itself.
        seen = own > 1e-8
        assert seen.sum() > 20
        assert fit.records.studentised[seen] == pytest.approx((P @ y)[seen] / np.sqrt(own[seen]), rel=1e-6, abs=1e-6)


def pairs(seed: int, plots: int = 90, gone: float = 0.1) -> Data:
    """Two traits of the same plots, some without one of them."""
    dice = np.random.default_rng(seed)
    genes = dice.multivariate_normal([0, 0], [[1.0, -0.6], [-0.6, 0.8]], size=30)
    data: Data = {"plot": [], "line": [], "trait": [], "y": []}
    for k in range(plots):
        noise = dice.multivariate_normal([0, 0], [[1.0, 0.5], [0.5, 2.0]])
        for t in range(2):
            if dice.random() > gone:
                values = (f"P{k:03d}", f"L{k % 30:02d}", f"T{t}", 3 * t + genes[k % 30, t] + noise[t])
                for name, value in zip(data, values, strict=True):
                    data[name].append(value)
    return data


def test_pairs_when_fitted_then_the_top_of_the_textbook_likelihood() -> None:
    data = pairs(4)
    model = Model("y", (("trait",),), (RandomTerm(("line", "trait"), factors=1),), Residual("trait", together="plot"))
    fit = fit_mixed_model(data, model)
    assert fit.converged
    y = np.array(data["y"], dtype=float)
    columns = {name: np.array(values) for name, values in data.items()}
    trait = (columns["trait"] == "T1").astype(int)
    X = np.column_stack([np.ones(len(y)), trait])
    same = {name: columns[name][:, None] == columns[name] for name in ("line", "plot")}

    def log_likelihood(g: Array, r: Array) -> float:
        pick = np.ix_(trait, trait)
        return textbook(y, X, np.where(same["line"], g[pick], 0.0) + np.where(same["plot"], r[pick], 0.0))

    first, second = (line.value for line in fit.loadings)
    own = fit.variance("line:trait", "T1")
    assert fit.variance("line:trait", "T0") == 0.0
    g = np.array([[first**2, first * second], [first * second, second**2 + own]])
    one, two = fit.variance("residual", "T0"), fit.variance("residual", "T1")
    cross = fit.correlations[0].value * np.sqrt(one * two)
    r = np.array([[one, cross], [cross, two]])
    top = log_likelihood(g, r)
    assert fit.reml_log_likelihood == pytest.approx(top, abs=1e-9)

    def of_roots(at: Array) -> float:
        a, b = np.array([[at[0], 0.0], [at[1], at[2]]]), np.array([[at[3], 0.0], [at[4], at[5]]])
        return -log_likelihood(a @ a.T, b @ b.T)

    found = scipy.optimize.minimize(of_roots, [1.0, 0.0, 1.0, 1.0, 0.0, 1.0], method="BFGS")
    assert top >= -found.fun - 1e-6


def chain(names: int) -> SparseRelationship:
    """Each level follows from the one before."""
    import scipy.sparse

    D = np.eye(names) - 0.7 * np.eye(names, k=-1)
    K = np.linalg.inv(D.T @ D)
    unit = scipy.sparse.csr_array(np.eye(names))
    return SparseRelationship(
        tuple(f"L{k:02d}" for k in range(names)), scipy.sparse.csr_array(D.T @ D), unit, 0.0, np.diag(K).copy()
    )


@pytest.mark.parametrize("factors", [0, 1])
def test_fit_when_a_relationship_is_given_by_its_sparse_inverse_then_as_by_its_matrix(
    factors: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    data, sparse = trial(13, 4), chain(15)
    full = Relationship(sparse.names, np.linalg.inv(sparse.precision.toarray()))
    columns = ("line", "site") if factors else ("line",)
    model = Model("y", (("site",),), (RandomTerm(columns, full, factors=factors),), Residual("site"), genotype="line")
    by_matrix = fit_mixed_model(data, model)
    monkeypatch.setattr("firstsilk.science.analysis.mixed_models.SMALL_SIZE", -1)
    by_inverse = fit_mixed_model(data, replace(model, random=(RandomTerm(columns, sparse, factors=factors),)))
    assert by_inverse.reml_log_likelihood == pytest.approx(by_matrix.reml_log_likelihood, abs=1e-8)
    for one, two in zip(by_matrix.random, by_inverse.random, strict=True):
        assert (two.term, two.level) == (one.term, one.level)
        assert (two.value, two.se, two.reliability) == pytest.approx((one.value, one.se, one.reliability), abs=1e-6)
    assert by_inverse.heritability == by_matrix.heritability or by_inverse.heritability.cullis == pytest.approx(
        by_matrix.heritability.cullis, abs=1e-7
    )


BAD = {
    "two records on one place": (Model("y", residual=Residual(grid=("row", "one"))), "stand on the same place"),
    "a grid of one plot": (Model("y", residual=Residual(grid=("one", "uno"))), "has but one plot"),
    "numbers that are not whole": (Model("y", residual=Residual(grid=("row", "half"))), "needs whole numbers"),
    "a grid far too wide": (Model("y", residual=Residual(grid=("row", "far"))), "spans"),
    "variances that split a field": (Model("y", residual=Residual("site", grid=GRID)), "splits one field"),
    "a surface that is flat": (Model("y", surfaces=(Surface(("row", "one"), (5, 5)),)), "has but one one"),
    "a surface within a site that is not fixed": (Model("y", surfaces=(BY_SITE,)), "needs 'site' as a fixed term"),
    "too few knots": (Model("y", surfaces=(Surface(GRID, (3, 5)),)), "4 or more"),
    "a nugget without a grid": (Model("y", residual=Residual(nugget=True)), "need its grid"),
    "factors of one column": (Model("y", (), (RandomTerm(("line",), factors=1),)), "needs two class columns"),
    "more factors than sites": (Model("y", (), (RandomTerm(("line", "site"), factors=2),)), "cannot tell 2 factors"),
    "weights on correlated ground": (Model("y", residual=Residual(grid=GRID), weights="row"), "do not go with"),
    "one kind of record for pairs": (Model("y", residual=Residual("site", together="line")), "two records of the same"),
}


@pytest.mark.parametrize("name", BAD)
def test_fit_when_ground_or_factors_do_not_fit_the_records_then_refused_in_words(name: str) -> None:
    data = trial(14, 2)
    n = len(data["y"])
    data["one"], data["uno"] = [1] * n, [1] * n
    data["half"], data["far"] = (np.arange(n) / 2).tolist(), (np.arange(n) * 1000).tolist()
    model, told = BAD[name]
    with pytest.raises(InputRefused, match=told):
        fit_mixed_model(data, model)
