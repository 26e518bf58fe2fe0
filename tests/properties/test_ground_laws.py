"""What must hold for every fit with ground, factors or related sources? The slow twin agrees; units do not matter."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Fit, Model, RandomTerm, Residual
from tests.twin_agreement import list_differences
from tests.twin_trials import BENT, FACTORS, GRID, GROUND, PLAIN, SMOOTH, grid_trials

Data = dict[str, list[object]]
ONE_OF_EACH = {
    name: {**GROUND, **SMOOTH, **FACTORS}[name]
    for name in ("correlated, with nugget", "smooth in each site", "a factor", "sources by site")
}
# Few draws, the same each time: a fit and its twin take a second or more.
FEW = settings(max_examples=2, deadline=None, derandomize=True)
seeds = st.integers(0, 10_000)


@pytest.mark.parametrize("name", [*GROUND, *SMOOTH, *FACTORS])
@FEW
@given(seed=seeds)
def test_a_fit_is_what_the_slow_twin_says_and_at_a_top(name: str, seed: int) -> None:
    model = {**GROUND, **SMOOTH, **FACTORS}[name]
    data = grid_trials(seed)
    fit = fit_mixed_model(data, model)
    found = list_differences(data, model, fit)
    assert found == []


BY_SITE = replace(GRID, variance_by="site", nugget=True)
# Models and draws at which a climb has gone astray before.
HARD = {
    "a surface that does not bend at all": (SMOOTH["smooth over all sites"], 0),
    "a term at 0 beside a surface that does not bend along one axis": (
        Model("y", PLAIN.fixed, (*PLAIN.random, RandomTerm(("site", "block"))), Residual("site"), surfaces=(BENT,)),
        3,
    ),
    "variances and nuggets by site of 43 plots, one nugget at 0": (
        Model("y", PLAIN.fixed, (*PLAIN.random, RandomTerm(("line", "site"))), BY_SITE),
        1,
    ),
}


@pytest.mark.parametrize("name", HARD)
def test_a_hard_fit_is_what_the_slow_twin_says(name: str) -> None:
    model, seed = HARD[name]
    data = grid_trials(seed)
    assert list_differences(data, model, fit_mixed_model(data, model)) == []


def responses(data: Data, scale: float, shift: float) -> Data:
    return {**data, "y": [None if y is None else scale * float(str(y)) + shift for y in data["y"]]}


def same_fit(one: Fit, two: Fit, scale: float = 1.0) -> None:
    """All parameters and predictions but for the unit of the response."""
    assert [(x.term, x.level) for x in one.variances] == [(x.term, x.level) for x in two.variances]
    largest = max(line.value for line in one.variances if line.term != "row:col")
    close = {"rel": 2e-3, "abs": 1e-4 * largest * scale**2}
    assert [x.value for x in two.variances] == pytest.approx([x.value * scale**2 for x in one.variances], **close)
    assert [x.value for x in two.correlations] == pytest.approx([x.value for x in one.correlations], abs=2e-3)
    loadings = [[x.value for x in fit.loadings] for fit in (one, two)]
    turn = math.copysign(1.0, sum(a * b for a, b in zip(*loadings, strict=True)))
    assert loadings[1] == pytest.approx([turn * scale * x for x in loadings[0]], rel=2e-3, abs=1e-3 * scale)
    found = {(x.term, x.level): x.value for x in two.random}
    wanted = {(x.term, x.level): x.value * scale for x in one.random}
    assert found == pytest.approx(wanted, abs=1e-3 * scale)


@pytest.mark.parametrize("name", ONE_OF_EACH)
@FEW
@given(seed=seeds, scale=st.floats(0.01, 1000), shift=st.floats(-1000, 1000))
def test_the_unit_and_the_zero_of_the_response_do_not_matter(name: str, seed: int, scale: float, shift: float) -> None:
    data, model = grid_trials(seed), ONE_OF_EACH[name]
    one, two = fit_mixed_model(data, model), fit_mixed_model(responses(data, scale, shift), model)
    left = one.n - len(one.fixed)
    assert two.reml_log_likelihood == pytest.approx(one.reml_log_likelihood - left * math.log(scale), abs=1e-5)
    same_fit(one, two, scale)


@pytest.mark.parametrize("name", ONE_OF_EACH)
@FEW
@given(seed=seeds, order=st.permutations(range(24)))
def test_the_order_of_records_does_not_matter(name: str, seed: int, order: list[int]) -> None:
    data, model = grid_trials(seed), ONE_OF_EACH[name]
    places = [*order, *range(24, 48)]
    shuffled = {column: [values[k] for k in places] for column, values in data.items()}
    one, two = fit_mixed_model(data, model), fit_mixed_model(shuffled, model)
    assert two.reml_log_likelihood == pytest.approx(one.reml_log_likelihood, abs=1e-5)
    same_fit(one, two)


@pytest.mark.parametrize("name", ["correlated, with nugget", "smooth in each site"])
@FEW
@given(seed=seeds, row=st.integers(-50, 50), column=st.integers(-50, 50), turned=st.booleans())
def test_where_a_grid_begins_and_which_way_it_is_counted_do_not_matter(
    name: str, seed: int, row: int, column: int, turned: bool
) -> None:
    data, model = grid_trials(seed), ONE_OF_EACH[name]
    sign = -1 if turned else 1
    moved = {
        **data,
        "row": [row + sign * int(str(k)) for k in data["row"]],
        "col": [column + int(str(k)) for k in data["col"]],
    }
    one, two = fit_mixed_model(data, model), fit_mixed_model(moved, model)
    assert two.reml_log_likelihood == pytest.approx(one.reml_log_likelihood, abs=1e-5)
    same_fit(one, two)


@FEW
@given(seed=seeds)
def test_a_plot_without_a_value_changes_nothing_wherever_it_lies(seed: int) -> None:
    data, model = grid_trials(seed), ONE_OF_EACH["correlated, with nugget"]
    more = {name: [*values] for name, values in data.items()}
    for name, cell in zip(more, ("S0", 9, 12, "L0", "B0", None, 1.0, 0.0), strict=True):
        more[name].append(cell)
    one, two = fit_mixed_model(data, model), fit_mixed_model(more, model)
    assert (two.n, two.n_dropped) == (one.n, one.n_dropped + 1)
    assert two.reml_log_likelihood == pytest.approx(one.reml_log_likelihood, abs=1e-6)
    same_fit(one, two)


@FEW
@given(seed=seeds)
def test_more_structure_is_never_less_likely(seed: int) -> None:
    data = grid_trials(seed)
    likely = {name: fit_mixed_model(data, GROUND[name]).reml_log_likelihood for name in list(GROUND)[:3]}
    plain = fit_mixed_model(data, replace(GROUND["correlated"], residual=Model("y").residual)).reml_log_likelihood
    assert likely["correlated"] >= plain - 1e-6
    assert likely["correlated, with nugget"] >= likely["correlated"] - 1e-6
    assert likely["correlated, variances by site"] >= likely["correlated"] - 1e-6
    assert np.isfinite(plain)
