"""What do lines need to flower, given what is known of each, of its relatives, and of the season they share?

A Gaussian model on a forest: each line hangs under the plant or family that it was selfed from, a root stands for
itself, and a few unknowns (the season's shift, heterosis, the programme's mean) touch every line. Eliminating from the
leaves to the roots and back is exact, and its work grows linearly with the number of lines.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class LineTree:
    """How lines hang together, before anything is seen.

    Each line has two values, units to silk and to shed. A child is its parent plus `offset` plus a deviation of
    covariance `spread`; a root is ``root_design @ shared`` plus the same. `shared` are the unknowns that all share.

    Attributes
    ----------
    parent
        Place of each line's parent (lines,), -1 for a root.
    offset, spread
        Mean (lines, 2) and covariance (lines, 2, 2) of the deviation [units, units squared].
    root_design
        (lines, 2, shared); counts for roots only.
    shared_mean, shared_cov
        Prior of the shared unknowns (shared,), (shared, shared).
    """

    parent: IntArray
    offset: FloatArray
    spread: FloatArray
    root_design: FloatArray
    shared_mean: FloatArray
    shared_cov: FloatArray

    @property
    def n_lines(self) -> int:
        """How many lines."""
        return len(self.parent)

    @property
    def n_shared(self) -> int:
        """How many shared unknowns."""
        return len(self.shared_mean)


@dataclass(slots=True)
class Evidence:
    """What was seen, in information form: ``exp(-x'Jx/2 + h'x)`` over lines and shared unknowns.

    `line` (lines, 2, 2), `cross` (lines, 2, shared), `line_shift` (lines, 2), `shared` (shared, shared),
    `shared_shift` (shared,). Sums of such evidence are evidence.
    """

    line: FloatArray
    cross: FloatArray
    line_shift: FloatArray
    shared: FloatArray
    shared_shift: FloatArray

    def plus(self, other: Evidence) -> Evidence:
        """Both together."""
        return Evidence(
            self.line + other.line,
            self.cross + other.cross,
            self.line_shift + other.line_shift,
            self.shared + other.shared,
            self.shared_shift + other.shared_shift,
        )


def gather_evidence(
    n_lines: int, line_of: IntArray, design: FloatArray, precision: FloatArray, shift: FloatArray
) -> Evidence:
    """Gather observations ``line value + design @ shared + error`` into evidence.

    Parameters
    ----------
    n_lines
        Lines of the tree.
    line_of
        Line of each observation (n,).
    design
        What each observation has of the shared unknowns (n, 2, shared).
    precision, shift
        Precision of each observation (n, 2, 2), and precision times its value (n, 2).
    """
    weighted = precision @ design
    line = _sum_by(line_of, precision.reshape(len(line_of), 4), n_lines).reshape(n_lines, 2, 2)
    n_shared = design.shape[2]
    cross = _sum_by(line_of, weighted.reshape(len(line_of), 2 * n_shared), n_lines).reshape(n_lines, 2, n_shared)
    flat = design.reshape(-1, n_shared)
    return Evidence(
        line,
        cross,
        _sum_by(line_of, shift, n_lines),
        flat.T @ weighted.reshape(-1, n_shared),
        flat.T @ shift.reshape(-1),
    )


def _sum_by(place: IntArray, values: FloatArray, n: int) -> FloatArray:
    """Sum rows of `values` (m, k) by place: (n, k)."""
    if not len(place):
        return np.zeros((n, values.shape[1]))
    return np.stack([np.bincount(place, values[:, at], n) for at in range(values.shape[1])], axis=1)


@dataclass(frozen=True, slots=True)
class TreePosterior:
    """Lines and shared unknowns given the evidence, and how to draw from them.

    `mean` (lines, 2), `cov` (lines, 2, 2), `cross` covariance of each line with the shared unknowns (lines, 2, shared);
    `shared_mean`, `shared_cov`. A line given its parent and the shared unknowns is ``const + from_parent @ parent +
    from_shared @ shared`` with covariance `left_cov`.
    """

    tree: LineTree
    levels: tuple[IntArray, ...]
    mean: FloatArray
    cov: FloatArray
    cross: FloatArray
    shared_mean: FloatArray
    shared_cov: FloatArray
    const: FloatArray
    from_parent: FloatArray
    from_shared: FloatArray
    left_cov: FloatArray


def find_levels(parent: IntArray) -> tuple[IntArray, ...]:
    """Places of the roots, of their children, and so on.

    Raises
    ------
    ValueError
        If a line is its own ancestor.
    """
    depth = np.where(parent < 0, 0, -1)
    levels = [np.flatnonzero(parent < 0)]
    while (depth < 0).any():
        waiting = np.flatnonzero(depth < 0)
        ready = waiting[depth[parent[waiting]] == len(levels) - 1]
        if not len(ready):
            raise ValueError("a line is its own ancestor")
        depth[ready] = len(levels)
        levels.append(ready)
    return tuple(levels)


def solve_tree(tree: LineTree, seen: Evidence, levels: Sequence[IntArray] | None = None) -> TreePosterior:
    """Work out lines and shared unknowns given evidence; exact.

    Parameters
    ----------
    tree
        The prior.
    seen
        The evidence.
    levels
        As `find_levels` gives them, where they are known already.

    Returns
    -------
    TreePosterior
        Means, covariances, and the conditionals to draw from.

    Notes
    -----
    Block elimination of an arrow-shaped precision matrix: each line is eliminated onto its parent and the shared
    unknowns, these are solved, and the way back gives means and covariances. Unchecked from outside by itself; equal
    to one dense solve in ``tests/science/test_line_tree.py``.
    """
    levels = tuple(levels) if levels is not None else find_levels(tree.parent)
    up = _eliminate(tree, seen, levels)
    shared_precision = np.linalg.inv(tree.shared_cov) + up.shared
    shared_cov = np.linalg.inv(shared_precision)
    shared_cov = (shared_cov + shared_cov.T) / 2.0
    shared_mean = shared_cov @ (np.linalg.solve(tree.shared_cov, tree.shared_mean) + up.shared_shift)
    return _go_back(tree, levels, up, shared_mean, shared_cov)


@dataclass(slots=True)
class _Eliminated:
    """What is left of each line once its children are gone, and the shared part once all lines are."""

    left_cov: FloatArray
    const: FloatArray
    from_parent: FloatArray
    from_shared: FloatArray
    shared: FloatArray
    shared_shift: FloatArray


def _eliminate(tree: LineTree, seen: Evidence, levels: Sequence[IntArray]) -> _Eliminated:
    line, cross, shift = seen.line.copy(), seen.cross.copy(), seen.line_shift.copy()
    shared, shared_shift = seen.shared.copy(), seen.shared_shift.copy()
    tight = invert_pairs(tree.spread)
    n = tree.n_lines
    out = _Eliminated(
        np.zeros((n, 2, 2)),
        np.zeros((n, 2)),
        np.zeros((n, 2, 2)),
        np.zeros((n, 2, tree.n_shared)),
        shared,
        shared_shift,
    )
    for depth in range(len(levels) - 1, -1, -1):
        at = levels[depth]
        prior = tight[at]
        left = invert_pairs(line[at] + prior)
        pull = np.einsum("kij,kj->ki", prior, tree.offset[at])
        full = shift[at] + pull
        to_parent = left @ prior
        const = np.einsum("kij,kj->ki", left, full)
        out.left_cov[at], out.const[at], out.from_parent[at] = left, const, to_parent
        out.from_shared[at] = -left @ cross[at]
        # What the line says of the shared unknowns directly.
        shared += np.einsum("kia,kib->ab", cross[at], out.from_shared[at])
        shared_shift -= np.einsum("kia,ki->a", cross[at], const)
        up_line = prior - prior @ to_parent
        up_cross = np.swapaxes(to_parent, 1, 2) @ cross[at]
        up_shift = np.einsum("kij,kj->ki", prior, const) - pull
        if depth:
            parent = tree.parent[at]
            np.add.at(line, parent, up_line)
            np.add.at(cross, parent, up_cross)
            np.add.at(shift, parent, up_shift)
        else:
            design = tree.root_design[at]
            both = np.einsum("kia,kib->ab", design, up_cross)
            shared += np.einsum("kia,kij,kjb->ab", design, up_line, design, optimize=True) + both + both.T
            shared_shift += np.einsum("kia,ki->a", design, up_shift)
            out.from_shared[at] += to_parent @ design
    return out


def _go_back(
    tree: LineTree, levels: Sequence[IntArray], up: _Eliminated, shared_mean: FloatArray, shared_cov: FloatArray
) -> TreePosterior:
    mean = up.const + up.from_shared @ shared_mean
    cross = up.from_shared @ shared_cov
    cov = up.left_cov + cross @ np.swapaxes(up.from_shared, 1, 2)
    for at in levels[1:]:
        parent, pull, reach = tree.parent[at], up.from_parent[at], up.from_shared[at]
        turned = np.swapaxes(pull, 1, 2)
        mean[at] += np.einsum("kij,kj->ki", pull, mean[parent])
        mixed = pull @ cross[parent] @ np.swapaxes(reach, 1, 2)
        cov[at] += pull @ cov[parent] @ turned + mixed + np.swapaxes(mixed, 1, 2)
        cross[at] += pull @ cross[parent]
    return TreePosterior(
        tree,
        tuple(levels),
        mean,
        cov,
        cross,
        shared_mean,
        shared_cov,
        up.const,
        up.from_parent,
        up.from_shared,
        up.left_cov,
    )


def draw_tree(posterior: TreePosterior, draws: int, dice: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """Draw lines and shared unknowns together.

    Parameters
    ----------
    posterior
        As `solve_tree` gives it.
    draws
        How many.
    dice
        The source of chance.

    Returns
    -------
    lines, shared
        (draws, lines, 2) and (draws, shared) [units].
    """
    root = np.linalg.cholesky(posterior.shared_cov)
    shared = posterior.shared_mean + dice.standard_normal((draws, len(root))) @ root.T
    lines = posterior.const + np.tensordot(shared, posterior.from_shared, axes=(1, 2))
    lines += _turn_pairs(root_pairs(posterior.left_cov), dice.standard_normal(lines.shape))
    for at in posterior.levels[1:]:
        lines[:, at] += _turn_pairs(posterior.from_parent[at], lines[:, posterior.tree.parent[at]])
    return lines, shared


def _turn_pairs(matrix: FloatArray, pairs: FloatArray) -> FloatArray:
    """Each line's 2 x 2 matrix (lines, 2, 2) times its pair in each draw (draws, lines, 2)."""
    return np.asarray(matrix[:, :, 0] * pairs[:, :, :1] + matrix[:, :, 1] * pairs[:, :, 1:])


def invert_pairs(matrix: FloatArray) -> FloatArray:
    """Inverse of symmetric 2 x 2 matrices (..., 2, 2)."""
    a, b, d = matrix[..., 0, 0], matrix[..., 0, 1], matrix[..., 1, 1]
    scale = 1.0 / (a * d - b * b)
    return np.stack([np.stack([d * scale, -b * scale], -1), np.stack([-b * scale, a * scale], -1)], -2)


def root_pairs(matrix: FloatArray) -> FloatArray:
    """Lower Cholesky factor of 2 x 2 covariances (..., 2, 2); zero where rounding leaves nothing."""
    a = np.sqrt(np.maximum(matrix[..., 0, 0], 0.0))
    b = np.divide(matrix[..., 0, 1], a, out=np.zeros_like(a), where=a > 0.0)
    d = np.sqrt(np.maximum(matrix[..., 1, 1] - b * b, 0.0))
    return np.stack([np.stack([a, np.zeros_like(a)], -1), np.stack([b, d], -1)], -2)
