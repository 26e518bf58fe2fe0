"""Does the sparse factor give what dense linear algebra gives, on any pattern, again and again?"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from firstsilk.science.analysis import sparse_factor
from firstsilk.science.analysis.sparse_factor import NotPositive, Plan, factorise, plan_factor

Array = NDArray[np.float64]


def random_matrix(seed: int, n: int, density: float, dense_rows: int, islands: int) -> Array:
    """A symmetric positive definite matrix with holes, in so many parts that nothing joins."""
    dice = np.random.default_rng(seed)
    lower = np.where(dice.random((n, n)) < density, dice.normal(size=(n, n)), 0.0)
    lower[dice.integers(0, n, dense_rows)] = dice.normal(size=(dense_rows, n))
    part = dice.integers(0, islands, n)
    lower = np.tril(np.where(part[:, None] == part, lower, 0.0), -1)
    whole = lower + lower.T
    return np.asarray(whole + np.diag(np.sum(np.abs(whole), axis=1) + dice.uniform(0.1, 1.0, n)))


def plan_of(matrix: Array) -> tuple[Plan, NDArray[np.intp], NDArray[np.intp]]:
    row, column = np.nonzero(np.tril(matrix))
    return plan_factor(len(matrix), row.astype(np.int64), column.astype(np.int64)), row, column


def check(matrix: Array, plan: Plan, row: NDArray[np.intp], column: NDArray[np.intp]) -> None:
    factor = factorise(plan, matrix[row, column])
    n = len(matrix)
    assert factor.log_determinant() == pytest.approx(np.linalg.slogdet(matrix)[1], abs=1e-10 * (n + 1))
    right = np.random.default_rng(5).normal(size=(n, 3))
    inverse = np.linalg.inv(matrix)
    scale = float(np.max(np.abs(inverse)))
    assert np.allclose(factor.solve(right), np.linalg.solve(matrix, right), rtol=1e-9, atol=1e-11 * scale)
    assert np.allclose(factor.solve(right[:, 0]), np.linalg.solve(matrix, right[:, 0]), rtol=1e-9, atol=1e-11 * scale)
    selected = factor.selected_inverse()
    assert np.allclose(selected[plan.cells], inverse[row, column], rtol=1e-9, atol=1e-12 * scale)
    assert np.allclose(selected[plan.diagonal], np.diag(inverse), rtol=1e-9, atol=1e-12 * scale)


@pytest.mark.parametrize("large", [0, 300, sparse_factor.LARGE], ids=["LAPACK alone", "both", "mostly loops"])
@settings(max_examples=60, deadline=None)
@given(
    seed=st.integers(0, 10**6),
    n=st.integers(1, 70),
    density=st.sampled_from([0.0, 0.02, 0.05, 0.15, 0.5, 1.0]),
    dense_rows=st.integers(0, 2),
    islands=st.integers(1, 4),
)
@example(seed=1, n=1, density=0.0, dense_rows=0, islands=1)
@example(seed=2, n=70, density=0.0, dense_rows=1, islands=1)
@example(seed=3, n=50, density=1.0, dense_rows=0, islands=1)
@example(seed=4, n=60, density=0.0, dense_rows=0, islands=1)
def test_factor_when_compared_with_dense_algebra_then_equal(
    large: int, seed: int, n: int, density: float, dense_rows: int, islands: int
) -> None:
    matrix = random_matrix(seed, n, density, dense_rows, islands)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sparse_factor, "LARGE", large)
        patch.setattr(sparse_factor, "WIDE", sparse_factor.WIDE if large == sparse_factor.LARGE else 1)
        check(matrix, *plan_of(matrix))


def test_plan_when_new_numbers_come_on_one_pattern_then_each_time_the_dense_answer() -> None:
    dice = np.random.default_rng(11)
    pattern = random_matrix(12, 90, 0.05, 1, 2)
    plan, row, column = plan_of(pattern)
    for _ in range(25):
        lower = np.zeros_like(pattern)
        lower[row, column] = dice.normal(size=len(row))
        lower = np.tril(lower, -1)
        matrix = lower + lower.T
        check(matrix + np.diag(np.sum(np.abs(matrix), axis=1) + dice.uniform(0.01, 5.0, 90)), plan, row, column)


def grid(side: int) -> Array:
    """The five-point pattern on a square grid."""
    line = np.eye(side, k=1) + np.eye(side, k=-1)
    step = np.kron(np.eye(side), line) + np.kron(line, np.eye(side))
    return np.asarray(4.5 * np.eye(side * side) - step)


def test_plan_when_the_pattern_is_a_grid_then_the_order_fills_in_far_less_than_rows_in_turn() -> None:
    matrix = grid(30)
    plan, row, column = plan_of(matrix)
    check(matrix, plan, row, column)
    in_turn = 900 * 30
    assert plan.size < 0.75 * in_turn
    assert sorted(plan.order.tolist()) == list(range(900))


def test_plan_when_an_arrow_points_the_wrong_way_then_nothing_fills_in() -> None:
    n = 400
    matrix = np.eye(n) * 2.0
    matrix[0, :] = matrix[:, 0] = 0.05
    matrix[0, 0] = 3.0
    plan, row, column = plan_of(matrix)
    check(matrix, plan, row, column)
    assert plan.size < 3 * n + 20


@pytest.mark.parametrize("large", [0, sparse_factor.LARGE])
def test_factor_when_a_matrix_is_not_positive_definite_then_a_column_of_the_bad_part_is_named(
    large: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sparse_factor, "LARGE", large)
    monkeypatch.setattr(sparse_factor, "WIDE", 1)
    matrix = np.eye(6)
    matrix[4, 5] = matrix[5, 4] = 2.0
    plan, row, column = plan_of(matrix)
    with pytest.raises(NotPositive) as no:
        factorise(plan, matrix[row, column])
    assert no.value.column in (4, 5)
    with pytest.raises(NotPositive):
        factorise(plan, np.full(len(row), np.nan))
