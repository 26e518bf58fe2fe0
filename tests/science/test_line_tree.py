"""Does elimination along the tree give what one dense solve gives, for any forest and any evidence?"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstsilk.science.flowering.line_tree import (
    LineTree,
    draw_tree,
    find_levels,
    gather_evidence,
    invert_pairs,
    solve_tree,
)


def _random_spread(dice: np.random.Generator, n: int) -> np.ndarray:
    root = dice.normal(size=(n, 2, 2))
    return root @ np.swapaxes(root, 1, 2) + 0.3 * np.eye(2)


def _make(seed: int, n_lines: int, n_shared: int, n_seen: int) -> tuple[LineTree, tuple]:
    dice = np.random.default_rng(seed)
    parent = np.array([int(dice.integers(-1, at)) if at else -1 for at in range(n_lines)])
    tree = LineTree(
        parent,
        dice.normal(size=(n_lines, 2)),
        _random_spread(dice, n_lines),
        dice.normal(size=(n_lines, 2, n_shared)),
        dice.normal(size=n_shared),
        np.diag(dice.uniform(0.5, 3.0, n_shared)),
    )
    line_of = dice.integers(0, n_lines, n_seen)
    design = dice.normal(size=(n_seen, 2, n_shared))
    precision = invert_pairs(_random_spread(dice, n_seen))
    value = dice.normal(size=(n_seen, 2))
    return tree, (line_of, design, precision, value)


def _solve_densely(tree: LineTree, seen: tuple) -> tuple[np.ndarray, np.ndarray]:
    line_of, design, precision, value = seen
    n, s = tree.n_lines, tree.n_shared
    size = 2 * n + s
    joint, shift = np.zeros((size, size)), np.zeros(size)
    joint[2 * n :, 2 * n :] = np.linalg.inv(tree.shared_cov)
    shift[2 * n :] = np.linalg.solve(tree.shared_cov, tree.shared_mean)
    for at in range(n):
        pick = np.zeros((2, size))
        pick[:, 2 * at : 2 * at + 2] = np.eye(2)
        if tree.parent[at] < 0:
            pick[:, 2 * n :] = -tree.root_design[at]
        else:
            pick[:, 2 * tree.parent[at] : 2 * tree.parent[at] + 2] = -np.eye(2)
        tight = np.linalg.inv(tree.spread[at])
        joint += pick.T @ tight @ pick
        shift += pick.T @ tight @ tree.offset[at]
    for at, line in enumerate(line_of):
        pick = np.zeros((2, size))
        pick[:, 2 * line : 2 * line + 2] = np.eye(2)
        pick[:, 2 * n :] = design[at]
        joint += pick.T @ precision[at] @ pick
        shift += pick.T @ precision[at] @ value[at]
    cov = np.linalg.inv(joint)
    return cov @ shift, cov


@given(seed=st.integers(0, 10_000), n_lines=st.integers(1, 9), n_shared=st.integers(1, 4), n_seen=st.integers(0, 12))
def test_equal_to_one_dense_solve(seed: int, n_lines: int, n_shared: int, n_seen: int) -> None:
    tree, seen = _make(seed, n_lines, n_shared, n_seen)
    line_of, design, precision, value = seen
    found = solve_tree(
        tree, gather_evidence(n_lines, line_of, design, precision, np.einsum("kij,kj->ki", precision, value))
    )
    mean, cov = _solve_densely(tree, seen)
    n = tree.n_lines
    np.testing.assert_allclose(found.mean.ravel(), mean[: 2 * n], rtol=1e-7, atol=1e-8)
    np.testing.assert_allclose(found.shared_mean, mean[2 * n :], rtol=1e-7, atol=1e-8)
    np.testing.assert_allclose(found.shared_cov, cov[2 * n :, 2 * n :], rtol=1e-6, atol=1e-8)
    for at in range(n):
        own = slice(2 * at, 2 * at + 2)
        np.testing.assert_allclose(found.cov[at], cov[own, own], rtol=1e-6, atol=1e-8)
        np.testing.assert_allclose(found.cross[at], cov[own, 2 * n :], rtol=1e-6, atol=1e-8)


def test_draws_have_the_mean_and_covariance_of_the_dense_solve() -> None:
    tree, seen = _make(5, 6, 2, 8)
    line_of, design, precision, value = seen
    evidence = gather_evidence(6, line_of, design, precision, np.einsum("kij,kj->ki", precision, value))
    lines, shared = draw_tree(solve_tree(tree, evidence), 40_000, np.random.default_rng(1))
    mean, cov = _solve_densely(tree, seen)
    both = np.concatenate([lines.reshape(len(lines), -1), shared], axis=1)
    sd = np.sqrt(np.diag(cov))
    # Four standard errors of a mean, and of a correlation, over 40,000 draws.
    assert np.abs((both.mean(axis=0) - mean) / sd).max() < 4.0 / np.sqrt(40_000) * 1.3
    assert np.abs(np.corrcoef(both.T) - cov / np.outer(sd, sd)).max() < 0.03


def test_a_loop_is_refused() -> None:
    with pytest.raises(ValueError, match="own ancestor"):
        find_levels(np.array([1, 0]))
