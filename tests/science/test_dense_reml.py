"""Is the slow twin itself right? Against published values, general reference programs and other ways of writing it."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
import scipy.interpolate
import scipy.sparse

from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Model, RandomTerm, Relationship, Residual, SparseRelationship, Surface
from tests import dense_reml
from tests.dense_reml import Likelihood, Values, by_contrasts, evaluate, maximise, spline_basis, textbook, values_of
from tests.outside.trial_tables import DYE, batches, corn_means, wheat_grid, winter_wheat
from tests.twin_trials import MODELS, small_trial

Data = dict[str, list[object]]


def effective(data: Data, model: Model, values: Values) -> float:
    """How many effects the fitted values amount to: the trace of what turns the response into them (edf)."""
    at = dense_reml.Layout(data, model)
    V, X = at.covariance(values), at.fixed
    inverse = np.linalg.inv(V)
    P = inverse - inverse @ X @ np.linalg.inv(X.T @ inverse @ X) @ X.T @ inverse
    return float(len(X) - np.trace(np.diag([values.variance("residual")] * len(X)) @ P))


def test_dense_when_batches_of_dye_then_the_analysis_of_variance() -> None:
    # lme4 1.1.31, and exactly by the balanced analysis of variance: (MSB - MSW)/5 and MSW.
    data, model = batches(DYE), Model("yield", random=(RandomTerm(("batch",)),))
    top, values = maximise(data, model)
    assert top == pytest.approx(-159.82714, abs=5e-6)
    assert values.variance("batch") == pytest.approx(1764.05, rel=1e-5)
    assert values.variance("residual") == pytest.approx(2451.25, rel=1e-5)
    found = evaluate(data, model, Values({("batch", ""): 1764.05, ("residual", ""): 2451.25}))
    assert found.fixed["intercept", ""] == pytest.approx((1527.5, 19.383412), rel=1e-7)
    assert found.random["batch", "B5"][0] == pytest.approx(56.733188, rel=1e-7)


def test_dense_when_written_with_contrasts_free_of_the_fixed_part_then_the_same() -> None:
    dice = np.random.default_rng(1)
    for n, p in ((12, 1), (20, 5)):
        y, X, root = dice.normal(size=n), dice.normal(size=(n, p)), dice.normal(size=(n, 2 * n))
        assert textbook(y, X, root @ root.T) == pytest.approx(by_contrasts(y, X, root @ root.T), abs=1e-9)


@pytest.mark.parametrize("name", MODELS)
def test_dense_when_the_engine_has_fitted_then_all_it_says_is_that_of_the_dense_formulas(name: str) -> None:
    data = small_trial(12, holes=True)
    fit = fit_mixed_model(data, MODELS[name])
    found = evaluate(data, MODELS[name], values_of(fit))
    assert fit.reml_log_likelihood == pytest.approx(found.log_likelihood, abs=1e-9)
    for line in fit.fixed:
        assert (line.estimate, line.se) == pytest.approx(found.fixed[line.term, line.level], rel=1e-7, abs=1e-9)
    for mean in fit.means:
        assert (mean.value, mean.se) == pytest.approx(found.means[mean.term, mean.level], rel=1e-7)
    for effect in fit.random:
        told = found.random[effect.term, effect.level]
        assert (effect.value, effect.se) == pytest.approx(told[:2], rel=1e-6, abs=1e-8)
        assert effect.reliability == (None if told[2] is None else pytest.approx(told[2], rel=1e-5, abs=1e-8))
    slopes = Likelihood(data, MODELS[name])
    at = [values_of(fit).variances[key] for kind, key in slopes.keys]  # type: ignore[index]
    for value, slope in zip(at, slopes.slope(at), strict=True):
        assert slope < 1e-4 if value == 0 else abs(slope * value) < 1e-4


def test_dense_when_ground_is_correlated_along_rows_and_columns_then_the_published_wheat_trial() -> None:
    # Burgueno et al. 2000, p.26: own dense code in R of another hand gives s2 415846.36, rho .75544503 along columns,
    # .22330842 along rows, REML -250.87848 (-221.47 without the constant), means 1102.4703 (G01) and -242.35515 to G02.
    data = wheat_grid()
    model = Model("yield", (("gen",),), residual=Residual(grid=("row", "col")))
    numbers = {"col": 0.75544503, "row": 0.22330842}
    values = Values({("residual", ""): 415846.36}, {(axis, ""): rho for axis, rho in numbers.items()})
    found = evaluate(data, model, values)
    assert found.log_likelihood == pytest.approx(-250.87848, abs=6e-6)
    assert found.fixed["intercept", ""][0] == pytest.approx(1102.4703, rel=1e-6)
    assert found.fixed["gen", "G02"][0] == pytest.approx(-242.35515, rel=1e-5)
    slopes = Likelihood(data, model)
    assert slopes.keys == [("correlation", ("row", "")), ("correlation", ("col", "")), ("variance", ("residual", ""))]
    at = np.array([0.22330842, 0.75544503, 415846.36])
    assert np.max(np.abs(slopes.slope(at) * at)) < 1e-3
    assert maximise(data, model, starts=(1.0,))[0] == pytest.approx(-250.87848, abs=6e-6)


def test_dense_when_one_mean_a_cell_then_factors_are_those_of_factor_analysis() -> None:
    # Maximum-likelihood factor analysis of the covariance (factanal of R 4.2.2, polished by Newton's method).
    loadings = [6.4848348, 6.9773185, 7.8708915, 5.3588673, 8.8788698, 3.6047765]
    specific = [71.052254, 78.981851, 96.540211, 86.134299, 49.318755, 141.07428]
    # Of the specific part 1 is given to the residual: the two cannot be told apart.
    model = Model("mean", (("county",),), (RandomTerm(("gen", "county"), factors=1),), Residual(variance=1.0))
    counties = [f"C{k}" for k in range(1, 7)]
    values = Values(
        {("gen:county", c): s - 1.0 for c, s in zip(counties, specific, strict=True)},
        loadings={("gen:county", 1, c): x for c, x in zip(counties, loadings, strict=True)},
    )
    assert evaluate(corn_means(), model, values).log_likelihood == pytest.approx(-1433.6702, abs=6e-5)
    slopes = Likelihood(corn_means(), model)
    at = np.array([*loadings, *specific]) - np.repeat([0.0, 1.0], 6)
    assert np.max(np.abs(slopes.slope(at) * at)) < 1e-3


def test_dense_when_factors_of_winter_wheat_then_the_likelihood_of_factor_analysis() -> None:
    # R 4.2.2 as above, by site: loading, specific variance; REML -80.886723.
    table = {
        "BH93": (0.48003446, 0.15422992), "EA93": (0.40302618, 0.054123725), "HW93": (0.40959347, 0.1272883),
        "ID93": (0.38400645, 0.039404982), "KE93": (0.45157611, 0.29364163), "NN93": (0.30989959, 0.069649099),
        "OA93": (0.3049199, 0.36377932), "RN93": (0.18933763, 0.096190267), "WP93": (0.34897092, 0.050643329),
    }  # fmt: skip
    model = Model("yield", (("env",),), (RandomTerm(("gen", "env"), factors=1),), Residual(variance=0.01))
    values = Values(
        {("gen:env", e): s - 0.01 for e, (_, s) in table.items()},
        loadings={("gen:env", 1, e): x for e, (x, _) in table.items()},
    )
    assert evaluate(winter_wheat(), model, values).log_likelihood == pytest.approx(-80.886723, abs=6e-6)


# mgcv 1.8.41, gam(method="REML") with bs="ps", m=c(2, 2): effects worth (edf), scale, first fitted values.
SURFACES = {
    "two dimensions": ((("gen",),), (Surface(("row", "col"), (4, 6)),), 24.319924, 129011.08, [2332.8485, 1711.1344]),
    "two axes, added": (
        (("gen",),),
        (Surface(("row",), (6,)), Surface(("col",), (8,))),
        21.291494,
        113448.65,
        [2268.2222, 1746.7213],
    ),
    "one axis": ((), (Surface(("col",), (8,)),), 3.2123686, 397109.72, [1613.1831, 1401.8660]),
}


@pytest.mark.parametrize("kind", SURFACES)
def test_dense_when_ground_is_a_smooth_trend_then_the_general_library(kind: str) -> None:
    fixed, surfaces, edf, scale, fitted = SURFACES[kind]
    data, model = wheat_grid(), Model("yield", fixed, surfaces=surfaces)
    _, values = maximise(data, model, starts=(0.01, 1.0))
    assert values.variance("residual") == pytest.approx(scale, rel=1e-5)
    assert effective(data, model, values) == pytest.approx(edf, rel=1e-5)
    found = evaluate(data, model, values)
    assert found.fitted[:2] == pytest.approx(fitted, rel=1e-5)
    assert [found.shares[surface.name].shape for surface in surfaces] == [(48,)] * len(surfaces)


@pytest.mark.parametrize("sizes", [(3e6, 2e5), (1e-3, 40.0), (2.0, 1e-4)])
def test_spread_of_a_surface_is_a_generalised_inverse_of_the_penalty(sizes: tuple[float, float]) -> None:
    axes = []
    for knots in (4, 6):
        E = spline_basis(np.linspace(0.0, 1.0, knots), knots, 0.0, 1.0)
        axes.append((dense_reml.difference_penalty(knots), E.T @ E))
    S, G = dense_reml.penalty_of(axes, sizes), dense_reml.spread_of(axes, sizes)
    assert np.linalg.matrix_rank(S, hermitian=True) == 20
    again = S @ G @ S
    assert again == pytest.approx(S, abs=1e-9 * np.max(np.abs(S)))
    one = dense_reml.spread_of(axes[:1], sizes[:1])
    again = axes[0][0] @ one @ axes[0][0]
    assert again == pytest.approx(axes[0][0] * sizes[0], abs=1e-9 * sizes[0])


def test_dense_when_the_generalised_inverse_is_another_one_then_the_likelihood_is_the_same() -> None:
    data, model = wheat_grid(), Model("yield", (("gen",),), surfaces=(Surface(("row", "col"), (4, 6)),))
    values = Values({("row:col", "row"): 3e6, ("row:col", "col"): 2e5, ("residual", ""): 1.2e5})
    at = dense_reml.Layout(data, model)
    row, col = at.table.numbers["row"], at.table.numbers["col"]
    bases = [spline_basis(row, 4, 1.0, 6.0), spline_basis(col, 6, 1.0, 8.0)]
    humps = np.array([np.kron(a, b) for a, b in zip(*bases, strict=True)])
    flat = np.kron(np.vander(np.arange(4.0), 2), np.vander(np.arange(6.0), 2))
    root = np.random.default_rng(2).normal(size=(4, 4))
    other = at.parts[0].covariance(values) + flat @ (root @ root.T) @ flat.T * 1e4
    V = humps @ other @ humps.T + 1.2e5 * np.eye(48)
    assert textbook(at.table.y, at.fixed, V) == pytest.approx(evaluate(data, model, values).log_likelihood, abs=1e-7)


@pytest.mark.parametrize("gone", ["row", "col", "both"])
def test_dense_when_a_variance_of_a_surface_is_0_then_the_limit_of_small_ones(gone: str) -> None:
    data, model = wheat_grid(), Model("yield", (("gen",),), surfaces=(Surface(("row", "col"), (4, 6)),))
    found = []
    for tiny in (0.0, 1e-3):
        sizes = {axis: tiny if gone in (axis, "both") else 3e5 for axis in ("row", "col")}
        values = Values({("row:col", axis): size for axis, size in sizes.items()} | {("residual", ""): 1.2e5})
        found.append(evaluate(data, model, values).log_likelihood)
    assert found[0] == pytest.approx(found[1], abs=1e-5)


def test_splines_when_built_from_truncated_powers_then_those_of_scipy() -> None:
    x = np.linspace(2.0, 9.0, 41)
    step = 7.0 * 1.002 / 5
    points = 2.0 - 0.007 + step * np.arange(-3, 9)
    wanted = scipy.interpolate.BSpline.design_matrix(x, points, 3).toarray()
    assert spline_basis(x, 8, 2.0, 9.0) == pytest.approx(wanted, abs=1e-12)
    assert spline_basis(x, 8, 2.0, 9.0).sum(axis=1) == pytest.approx(np.ones(41), abs=1e-12)


def test_dense_when_lines_are_related_sparsely_then_as_by_the_full_matrix() -> None:
    data = small_trial(13, holes=True)
    names = tuple(f"L{k}" for k in range(6))
    dice = np.random.default_rng(5)
    root, to_level = dice.normal(size=(8, 8)), (dice.random((6, 8)) < 0.5) * 0.5
    precision = root @ root.T + np.eye(8)
    K = to_level @ np.linalg.inv(precision) @ to_level.T
    sparse = SparseRelationship(
        names, scipy.sparse.csr_array(precision), scipy.sparse.csr_array(to_level),
        -float(np.linalg.slogdet(precision)[1]), np.diag(K),
    )  # fmt: skip
    values = Values({("line", ""): 3.0, ("residual", ""): 0.8})
    one, two = (
        evaluate(data, Model("y", (("site",),), (RandomTerm(("line",), related),)), values)
        for related in (sparse, Relationship(names, K))
    )
    assert one.log_likelihood == pytest.approx(two.log_likelihood, abs=1e-10)
    assert one.random["line", "L3"] == pytest.approx(two.random["line", "L3"], rel=1e-9)


def test_dense_when_parts_are_written_in_two_ways_then_the_same() -> None:
    """No correlation is a plain residual; sites apart are block after block; one factor alone is a plain term."""
    data = small_trial(14, holes=False)
    data["row"] = [1 + k // 6 % 2 for k in range(36)]
    data["col"] = [1 + k % 6 for k in range(36)]
    line = Model("y", (("site",),), (RandomTerm(("line",)),))
    plain = evaluate(data, line, Values({("line", ""): 2.0, ("residual", ""): 0.8}))
    grid = Model("y", line.fixed, line.random, Residual(grid=("row", "col"), within="site", nugget=True))
    none = dict.fromkeys(itertools.product(("row", "col"), "ABC"), 0.0)
    variances = {("line", ""): 2.0, ("residual", ""): 0.5, ("nugget", ""): 0.3}
    found = evaluate(data, grid, Values(variances, none))
    assert found.log_likelihood == pytest.approx(plain.log_likelihood, abs=1e-10)
    assert found.residual + found.shares["ground"] == pytest.approx(plain.residual, abs=1e-10)
    apart = [
        evaluate(
            {k: [v for v, s in zip(data[k], data["site"], strict=True) if s == site] for k in data},
            Model("y", residual=Residual(grid=("row", "col"), nugget=True)),
            Values({("residual", ""): size, ("nugget", ""): 0.3}, {("row", ""): rho, ("col", ""): 0.2}),
        ).log_likelihood
        for site, rho, size in (("A", 0.1, 0.4), ("B", 0.5, 0.8), ("C", 0.9, 1.2))
    ]
    whole = Model("y", (("site",),), residual=Residual("site", grid=("row", "col"), within="site", nugget=True))
    each = {("residual", s): v for s, v in zip("ABC", (0.4, 0.8, 1.2), strict=True)} | {
        ("nugget", s): 0.3 for s in "ABC"
    }
    rhos = {("row", s): r for s, r in zip("ABC", (0.1, 0.5, 0.9), strict=True)} | {("col", s): 0.2 for s in "ABC"}
    assert evaluate(data, whole, Values(each, rhos)).log_likelihood == pytest.approx(sum(apart), abs=1e-9)
    factor = Model("y", (("site",),), (RandomTerm(("line", "site"), factors=1),))
    one = {("line:site", 1, site): math.sqrt(2.0) for site in "ABC"}
    alone = Values({("line:site", s): 0.0 for s in "ABC"} | {("residual", ""): 0.8}, loadings=one)
    assert evaluate(data, factor, alone).log_likelihood == pytest.approx(plain.log_likelihood, abs=1e-10)
