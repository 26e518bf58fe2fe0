"""Does the sparse way give what the dense way and the textbook give?"""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from firstsilk.answers import InputRefused
from firstsilk.science.analysis import components, large_models, mixed_models, reml, sparse_design, sparse_equations
from firstsilk.science.analysis.large_models import arrange_large
from firstsilk.science.analysis.mixed_models import fit_mixed_model, lay_out
from firstsilk.science.analysis.models import Fit, Model, RandomTerm, Relationship, Residual
from firstsilk.science.analysis.sparse_columns import _without_rest
from firstsilk.science.analysis.sparse_design import multiply_rows
from firstsilk.science.analysis.sparse_equations import LargeProblem, LargeState, find_slopes, solve_large
from firstsilk.science.lineage.members import Member
from firstsilk.science.lineage.relationship import find_relationship_inverse
from tests.dense_reml import textbook
from tests.twin_trials import MANY_TOPS, MODELS, columns, incidence, poor_series, small_trial

Array = NDArray[np.float64]
Data = dict[str, list[object]]


@pytest.fixture(autouse=True)
def one_start(monkeypatch: pytest.MonkeyPatch) -> None:
    """The dense way from one start, as the sparse one: where a likelihood has several tops both end at the same."""
    monkeypatch.setattr(reml, "_other_starts", lambda problem, free: ())


def fit_by(way: str, data: Data, model: Model) -> Fit:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(mixed_models, "SMALL_SIZE", 10**9 if way == "dense" else -1)
        patch.setattr(mixed_models, "SMALL_RECORDS", 10**9)
        return fit_mixed_model(data, model)


def answer_of(way: str, data: Data, model: Model) -> Fit | str:
    """The fit, or the sentence that refuses it."""
    try:
        return fit_by(way, data, model)
    except InputRefused as no:
        return str(no)


def assert_alike(one: Fit, two: Fit) -> None:
    """Criterion to 1e-8 (and 1e-13 of it); variances, effects and errors to 1e-6, or 1e-7 of the largest."""
    assert one.converged
    assert two.converged
    slack = max(1e-8, 1e-13 * abs(one.reml_log_likelihood))
    assert two.reml_log_likelihood == pytest.approx(one.reml_log_likelihood, abs=slack, rel=0)
    largest = max(line.value for line in one.variances)
    assert_close([x.value for x in one.variances], [x.value for x in two.variances], 1e-7 * largest)
    assert_close([x.se for x in one.variances], [x.se for x in two.variances], 1e-6 * largest)
    assert [(x.term, x.level) for x in one.variances] == [(x.term, x.level) for x in two.variances]
    assert one.at_bound == two.at_bound
    unit = 1e-6 * largest**0.5
    for name in ("estimate", "se"):
        assert_close([getattr(x, name) for x in one.fixed], [getattr(x, name) for x in two.fixed], unit)
    for lines in ("means", "random"):
        a, b = getattr(one, lines), getattr(two, lines)
        assert [(x.term, x.level) for x in a] == [(x.term, x.level) for x in b]
        assert_close([x.value for x in a], [x.value for x in b], unit)
        assert_close([x.se for x in a], [x.se for x in b], unit)
    assert_close([x.reliability for x in one.random], [x.reliability for x in two.random], 1e-5)
    assert one.difference_variance.keys() == two.difference_variance.keys()
    assert_close([*one.difference_variance.values()], [*two.difference_variance.values()], 1e-6 * largest)
    for name in ("mean_covariance", "random_covariance"):
        a, b = getattr(one, name), getattr(two, name)
        for term in b:
            assert_close(a[term].ravel(), b[term].ravel(), 1e-6 * largest)
    assert (one.heritability is None) == (two.heritability is None)
    if one.heritability and two.heritability:
        for name in ("cullis", "piepho", "entry_mean"):
            assert_close([getattr(one.heritability, name)], [getattr(two.heritability, name)], 1e-6)


def assert_close(one: object, two: object, unit: float) -> None:
    a, b = np.array(one, dtype=float), np.array(two, dtype=float)
    assert np.allclose(a, b, rtol=1e-6, atol=unit, equal_nan=True), (a, b)


LONGER = {
    **{str(seed): model for seed, model in MANY_TOPS.items()},
    "lines fixed": Model("y", (("site",), ("line",)), (RandomTerm(("line", "site")), RandomTerm(("site", "block")))),
    "cells fixed": Model("y", (("site", "line"),), (RandomTerm(("site", "block")),), Residual("site")),
    "sum coded, a number": Model(
        "y", (("x",), ("site",), ("x", "site")), (RandomTerm(("line",)), RandomTerm(("line", "x"))),
        numeric=("x",), sum_coded=("site",), weights="w",
    ),
    "known variances": Model(
        "y", (("site",),), (RandomTerm(("line",), variance=0.7), RandomTerm(("line", "site"))), Residual(variance=1.3)
    ),
    "only fixed": Model("y", (("site",),)),
}  # fmt: skip


@pytest.mark.parametrize("name", LONGER)
def test_sparse_when_designs_are_random_and_poor_then_the_dense_answer(name: str) -> None:
    alike = refused = 0
    for seed in range(16):
        data = poor_series(1_000 + seed)
        dice = np.random.default_rng(seed)
        data["x"], data["w"] = dice.normal(size=len(data["y"])).tolist(), dice.uniform(0.5, 3, len(data["y"])).tolist()
        model = replace(LONGER[name], genotype="line" if name != "only fixed" else None)
        dense, sparse = (answer_of(way, data, model) for way in ("dense", "sparse"))
        if isinstance(dense, str) or isinstance(sparse, str):
            assert dense == sparse
            refused += 1
            continue
        assert_alike(dense, sparse)
        alike += 1
    assert alike >= 6, (alike, refused)


@pytest.mark.parametrize("name", MODELS)
@pytest.mark.parametrize("seed", [1, 2])
def test_sparse_when_terms_are_weighted_related_or_by_site_then_the_dense_answer(name: str, seed: int) -> None:
    data = small_trial(seed, holes=True)
    assert_alike(fit_by("dense", data, MODELS[name]), fit_by("sparse", data, MODELS[name]))


def problem_of(data: Data, model: Model) -> LargeProblem:
    return arrange_large(lay_out(data, model), model)[1]


def stand_at(problem: LargeProblem, values: Array) -> LargeState:
    return solve_large(problem, values, np.zeros(len(values)))


@pytest.mark.parametrize("name", MODELS)
def test_slopes_when_compared_with_differences_of_the_log_likelihood_then_equal(name: str) -> None:
    problem = problem_of(small_trial(9, holes=True), MODELS[name])
    theta = np.random.default_rng(3).uniform(0.3, 2.0, len(problem.parameters))
    score = find_slopes(problem, stand_at(problem, theta)).score
    for k in range(len(theta)):
        step = np.zeros(len(theta))
        step[k] = 1e-5 * theta[k]
        up, down = (stand_at(problem, theta + sign * step).log_likelihood for sign in (1, -1))
        assert score[k] == pytest.approx((up - down) / (2 * step[k]), rel=1e-6, abs=1e-7)


def test_log_likelihood_when_variances_are_given_then_the_textbook_value_also_at_0() -> None:
    data = small_trial(6, holes=True)
    root = np.random.default_rng(7).normal(size=(8, 8))
    K = root @ root.T / 8 + 0.1 * np.eye(8)
    names = tuple(f"L{k}" for k in range(8))
    model = Model("y", (("site",),), (RandomTerm(("line",), Relationship(names, K)), RandomTerm(("site", "rep"))))
    problem = problem_of(data, model)
    y = np.array(data["y"], dtype=float)
    X = np.hstack([np.ones((len(y), 1)), incidence(columns(data, "site"))[:, 1:]])
    Z = np.array([[float(line == name) for name in names] for line in data["line"]])
    W = incidence(columns(data, "site", "rep"))
    for one, two, error in ((1.3, 0.4, 0.8), (0.0, 0.4, 0.8), (2.0, 0.0, 1.5), (0.0, 0.0, 1.0)):
        V = one * Z @ K @ Z.T + two * W @ W.T + error * np.eye(len(y))
        found = stand_at(problem, np.array([one, two, error])).log_likelihood
        assert found == pytest.approx(textbook(y, X, V), abs=1e-9)


def pedigree(lines: int) -> list[Member]:
    """Four founders, then each line from two lines before it."""
    dice = np.random.default_rng(4)
    members = [Member(f"L{k:03d}", "founder") for k in range(4)]
    for k in range(4, lines):
        mother, father = dice.choice(k, 2, replace=False)
        members.append(Member(f"L{k:03d}", "cross", f"L{mother:03d}", f"L{father:03d}"))
    return members


def series(lines: int, sites: int, seed: int, gone: float = 0.1) -> Data:
    """Two replicates of blocks at each site, some plots missing; half of the lines tested twice."""
    dice = np.random.default_rng(seed)
    line, within = dice.normal(size=lines), dice.normal(size=(lines, sites)) * 0.6
    data: Data = {"line": [], "site": [], "block": [], "y": []}
    for j in range(sites):
        for rep in range(2):
            for place, k in enumerate(dice.permutation(lines)):
                if dice.random() < gone or (rep and k % 2):
                    continue
                block = f"B{rep}-{place // 10}"
                values = (f"L{k:03d}", f"S{j}", block, line[k] + within[k, j] + (place // 10) % 3 + dice.normal())
                for name, value in zip(data, values, strict=True):
                    data[name].append(value)
    return data


@pytest.mark.parametrize("eigen_up_to", [500, 10], ids=["by eigenvectors", "by its triangle"])
def test_sparse_when_lines_have_a_pedigree_then_the_dense_answer_on_few_numbers(
    eigen_up_to: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    members = pedigree(90)
    inverse = find_relationship_inverse(members)
    names = tuple(member.line for member in members)
    related = Relationship(names, np.linalg.inv(inverse))
    terms = (RandomTerm(("line",), related), RandomTerm(("line", "site")), RandomTerm(("site", "block")))
    model = Model("y", (("site",),), terms, Residual("site"), genotype="line")
    data = series(90, 3, 1)
    dense = fit_by("dense", data, model)
    monkeypatch.setattr(components, "EIGEN_UP_TO", eigen_up_to)
    assert_alike(dense, fit_by("sparse", data, model))
    assert_alike(dense, fit_by("dense", data, model))
    precision = problem_of(data, model).priors[0].pieces[0]
    assert precision.nnz == np.count_nonzero(inverse)
    assert np.allclose(precision.toarray(), inverse, atol=1e-9)


def test_sparse_when_a_relationship_is_singular_then_the_dense_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(components, "EIGEN_UP_TO", 10)
    twins = np.kron(np.eye(20), np.ones((2, 2)))
    related = Relationship(tuple(f"L{k:03d}" for k in range(40)), twins)
    model = Model("y", (("site",),), (RandomTerm(("line",), related), RandomTerm(("site", "block"))), genotype="line")
    data = series(40, 2, 2)
    assert_alike(fit_by("dense", data, model), fit_by("sparse", data, model))


FULL = Model(
    "y",
    (("site",),),
    (RandomTerm(("line",)), RandomTerm(("line", "site")), RandomTerm(("site", "block"))),
    Residual("site"),
    genotype="line",
)


def test_fit_when_a_series_is_above_the_small_size_then_the_sparse_way_is_taken_and_agrees(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    data = series(220, 3, 3)
    taken = []
    plain = large_models.fit_large
    monkeypatch.setattr(large_models, "fit_large", lambda layout, model: taken.append(1) or plain(layout, model))
    large = fit_mixed_model(data, FULL)
    assert len(taken) == 2, "the fit itself and, for heritability, that with lines fixed"
    assert_alike(fit_by("dense", data, FULL), large)
    assert fit_mixed_model(data, FULL).variances == large.variances


def test_sparse_when_covariances_are_too_large_to_keep_then_all_else_is_the_same(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    data = series(60, 3, 4, gone=0.0)
    cells = replace(FULL, fixed=(("site",), ("line",), ("site", "line")), random=FULL.random[2:], genotype=None)
    for model in (FULL, cells):
        monkeypatch.setattr(large_models, "COVARIANCE_UP_TO", 3_000)
        full = fit_by("sparse", data, model)
        monkeypatch.setattr(large_models, "COVARIANCE_UP_TO", 5)
        short = fit_by("sparse", data, model)
        assert {len(matrix) for matrix in short.mean_covariance.values()} == {3}
        assert not short.random_covariance
        assert_alike(full, short)


def test_sparse_when_true_variances_are_0_then_the_bound_is_hit_exactly_and_no_way_leads_up() -> None:
    at_bound = 0
    for seed in range(20):
        dice = np.random.default_rng(seed)
        line, site = np.repeat(np.arange(12), 6), np.tile(np.repeat(np.arange(3), 2), 12)
        y = dice.normal(size=72) + (dice.normal(size=12)[line] if seed % 2 else 0.0)
        data: Data = {"line": [f"L{k:02d}" for k in line], "site": [f"S{k}" for k in site], "y": y.tolist()}
        model = Model("y", (("site",),), (RandomTerm(("line",)), RandomTerm(("line", "site"))))
        fit = fit_by("sparse", data, model)
        assert fit.converged
        assert fit.gradient < 1e-6
        assert {x.term for x in fit.variances if x.value == 0.0} == set(fit.at_bound)
        assert all(x.value == 0.0 or x.value > 1e-8 for x in fit.variances)
        at_bound += len(fit.at_bound)
        problem = problem_of(data, model)
        theta = np.array([x.value for x in fit.variances])
        for k in range(3):
            for change in (0.01, -0.01):
                moved = theta.copy()
                moved[k] = max(moved[k] + change, 0.0)
                assert stand_at(problem, moved).log_likelihood <= fit.reml_log_likelihood + 1e-9
    assert at_bound >= 5


BAD = {
    "two names of one column": replace(FULL, random=(RandomTerm(("line",)), RandomTerm(("twin",))), genotype=None),
    "a random term that is fixed": replace(FULL, fixed=(("site",), ("line",)), random=FULL.random[:1], genotype=None),
    "a fixed term that is made of another": replace(FULL, fixed=(("site",), ("place",)), genotype=None),
    "a residual that is wholly explained": Model("y", (), (RandomTerm(("plot",)), RandomTerm(("line",)))),
    "a response that does not vary": replace(FULL, response="flat", genotype=None),
    "as many fixed effects as records": Model("y", (("plot",),), FULL.random[:1]),
    "cells without records": replace(FULL, fixed=(("site",), ("line",), ("site", "line")), genotype=None),
}


@pytest.mark.parametrize("name", BAD)
def test_sparse_when_something_cannot_be_estimated_then_refused_in_the_words_of_the_dense_way(name: str) -> None:
    data = series(14, 3, 6)
    data["twin"] = [f"T{line}" for line in data["line"]]
    data["place"] = [f"at {site}" for site in data["site"]]
    data["plot"] = [str(k) for k in range(len(data["y"]))]
    data["flat"] = [7.0] * len(data["y"])
    told = answer_of("dense", data, BAD[name])
    assert isinstance(told, str)
    assert answer_of("sparse", data, BAD[name]) == told


def test_sparse_when_fixed_columns_are_many_and_some_are_made_of_others_then_one_of_those_is_named(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(sparse_design, "TOLD_APART", 0)
    data = series(14, 3, 6)
    data["place"] = [f"at {site}" for site in data["site"]]
    told = answer_of("sparse", data, BAD["a fixed term that is made of another"])
    assert isinstance(told, str)
    assert re.search(r"(site S[12]|place at S[12]).* cannot be told from the terms before", told)


@pytest.mark.parametrize(("limit", "told"), [("MOST_NUMBERS", "fill in to"), ("MOST_PRODUCTS", "too much for one fit")])
def test_sparse_when_memory_would_not_do_then_refused(limit: str, told: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sparse_equations, limit, 100)
    with pytest.raises(InputRefused, match=told):
        fit_by("sparse", series(14, 2, 6), replace(FULL, genotype=None))


def test_rows_multiplied_are_all_products_in_order() -> None:
    dice = np.random.default_rng(8)
    one, two = (np.where(dice.random((30, w)) < 0.5, dice.normal(size=(30, w)), 0.0) for w in (4, 3))
    found = multiply_rows(*(sparse_equations.Sparse(part) for part in (one, two)))
    assert np.allclose(found.toarray(), (one[:, :, None] * two[:, None, :]).reshape(30, 12))


def test_an_inverse_with_small_entries_of_its_own_is_left_as_it_is() -> None:
    rest = np.array([[1.0, 1e-15, 0.0], [1e-15, 1.0, 0.2], [0.0, 0.2, 1.0]])
    assert np.count_nonzero(_without_rest(rest.copy(), 10.0)) == 5
    rest[0, 2] = rest[2, 0] = 5e-12
    assert np.array_equal(_without_rest(rest.copy(), 10.0), rest)
