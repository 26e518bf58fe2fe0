"""How are the unknowns of a random term spread before the data are seen? Inverse covariance patterns as sparse pieces.

A pattern is a sum of fixed pieces, each counting as much as the parameters say; so its slopes are exact.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import scipy.linalg
import scipy.sparse

from firstsilk.science.analysis.models import Array
from firstsilk.science.analysis.neighbours import (
    covary_neighbours,
    log_correlation,
    neighbour_pieces,
    neighbour_weights,
)
from firstsilk.science.analysis.splines import Axis

Sparse = scipy.sparse.csr_array


@dataclass(frozen=True, slots=True)
class Counts:
    """How much each of P pieces counts, with slopes along the M parameters; the log-determinant of the covariance."""

    weights: Array
    slopes: Array
    log_size: float
    log_slopes: Array


class Prior(Protocol):
    """One block of unknowns: its columns, pieces and the places of its parameters among all."""

    @property
    def columns(self) -> slice:
        """Which unknowns."""

    @property
    def pieces(self) -> tuple[Sparse, ...]:
        """The fixed pieces of the inverse covariance, (q, q) each."""

    @property
    def parameters(self) -> tuple[int, ...]:
        """Where its parameters stand."""

    def count(self, values: Array) -> Counts:
        """What the pieces count at these parameters, (K,)."""

    def covary(self, values: Array, right: Array) -> Array:
        """The covariance pattern times `right` (q, m), up to what the fixed part takes out."""


@dataclass(frozen=True, slots=True)
class Steady:
    """A pattern without parameters; `solve` applies the covariance (the identity if None)."""

    columns: slice
    precision: Sparse
    log_size: float
    solve: Callable[[Array], Array] | None = None

    @property
    def pieces(self) -> tuple[Sparse, ...]:
        """The inverse itself."""
        return (self.precision,)

    @property
    def parameters(self) -> tuple[int, ...]:
        """None."""
        return ()

    def count(self, values: Array) -> Counts:
        """Once."""
        return Counts(np.ones(1), np.zeros((1, 0)), self.log_size, np.zeros(0))

    def covary(self, values: Array, right: Array) -> Array:
        """The covariance pattern times `right`."""
        return right if self.solve is None else self.solve(right)


@dataclass(frozen=True, slots=True)
class Ground:
    """Correlated ground on a grid of rows x columns (row by row): autoregressive along both.

    `turned` has the places of atanh(r) along rows and columns, None where the grid has but one.
    """

    columns: slice
    shape: tuple[int, int]
    turned: tuple[int | None, int | None]
    pieces: tuple[Sparse, ...]

    @property
    def parameters(self) -> tuple[int, ...]:
        """The places of the turned correlations."""
        return tuple(at for at in self.turned if at is not None)

    def count(self, values: Array) -> Counts:
        """What the pieces count: products of what they count along rows and along columns."""
        return count_ground(self.shape, turned_values(self.turned, values))

    def covary(self, values: Array, right: Array) -> Array:
        """The correlation times `right`."""
        return covary_ground(self.shape, turned_values(self.turned, values), right)


def covary_ground(shape: tuple[int, int], turned: tuple[float, float], right: Array) -> Array:
    """The correlation of a grid times `right` (rows x columns, m)."""
    rows, columns = shape
    along = covary_neighbours(turned[0], right.reshape(rows, -1)).reshape(rows, columns, -1)
    over = np.ascontiguousarray(along.transpose(1, 0, 2))
    across = covary_neighbours(turned[1], over.reshape(columns, -1)).reshape(over.shape)
    return np.ascontiguousarray(across.transpose(1, 0, 2)).reshape(right.shape)


def turned_values(turned: tuple[int | None, int | None], values: Array) -> tuple[float, float]:
    """The two turned correlations, 0 where the grid has but one row or column."""
    one, two = (0.0 if at is None else float(values[at]) for at in turned)
    return one, two


def ground_pieces(shape: tuple[int, int]) -> tuple[Sparse, ...]:
    """The fixed pieces of the inverse correlation of a grid, up to nine."""
    rows, columns = (neighbour_pieces(size) for size in shape)
    return tuple(Sparse(scipy.sparse.kron(one, two, format="csr")) for one in rows for two in columns)


def count_ground(shape: tuple[int, int], turned: tuple[float, float]) -> Counts:
    """What `ground_pieces` count at turned correlations; slopes along rows (if several), then columns (if several)."""
    (a, da), (b, db) = (neighbour_weights(value, size) for value, size in zip(turned, shape, strict=True))
    slopes, log_slopes, log_size = [], [], 0.0
    for value, size, other, made in (
        (turned[0], shape[0], shape[1], np.outer(da, b)),
        (turned[1], shape[1], shape[0], np.outer(a, db)),
    ):
        if size > 1:
            own, slope = log_correlation(value, size)
            log_size += other * own
            log_slopes.append(other * slope)
            slopes.append(made.ravel())
    many = np.array(slopes).T if slopes else np.zeros((len(a) * len(b), 0))
    return Counts(np.outer(a, b).ravel(), many, log_size, np.array(log_slopes))


def across_grid(rows: Array, columns: Array, right: Array) -> Array:
    """The product of a row pattern and a column pattern with `right` (rows x columns, m)."""
    shape = (len(rows), len(columns), -1)
    inner = np.einsum("ij,jkm->ikm", rows, right.reshape(shape), optimize=True)
    found = np.einsum("kl,ilm->ikm", columns, inner, optimize=True)
    return np.ascontiguousarray(found).reshape(right.shape)


@dataclass(frozen=True, slots=True)
class Smooth:
    """A smooth trend along one axis, or over two (the first axis outermost); a variance of wiggles along each bent one.

    The last piece pins what no wiggle counts (a plane with its twist): the fixed part has that too, so it is free.
    """

    columns: slice
    axes: tuple[Axis, ...]
    bent: tuple[int, ...]
    parameters: tuple[int, ...]
    pieces: tuple[Sparse, ...]
    constant: float

    def count(self, values: Array) -> Counts:
        """What the pieces count: one over the variance of wiggles along that axis."""
        own = values[list(self.parameters)]
        weights = np.append(1.0 / own, 1.0)
        slopes = np.vstack([np.diag(-1.0 / own**2), np.zeros(len(own))])
        roots, parts = self.roots(own)
        inside = roots > 0
        log_size = self.constant - float(np.sum(np.log(roots[inside])))
        log_slopes = np.array([float(np.sum(part[inside] / roots[inside])) for part in parts])
        return Counts(weights, slopes, log_size, log_slopes)

    def roots(self, own: Array) -> tuple[Array, list[Array]]:
        """The roots of the pattern at variances of wiggles, and minus their slopes along each."""
        grids = [self._wiggles(axis) for axis in self.bent]
        roots = np.sum([grid / s for grid, s in zip(grids, own, strict=True)], axis=0)
        return roots, [np.asarray(grid / s**2, dtype=np.float64) for grid, s in zip(grids, own, strict=True)]

    def _wiggles(self, axis: int) -> Array:
        own = self.axes[axis].wiggles
        if len(self.axes) == 1:
            return own
        other = self.axes[1 - axis].size
        return np.repeat(own, other) if axis == 0 else np.tile(own, other)

    def covary(self, values: Array, right: Array) -> Array:
        """The covariance of what wiggles times `right`."""
        roots, _ = self.roots(values[list(self.parameters)])
        shrunk = np.divide(1.0, roots, out=np.zeros_like(roots), where=roots > 0)[:, None]
        if len(self.axes) == 1:
            shapes = self.axes[0].shapes
            return np.asarray(shapes @ (shrunk * (shapes.T @ right)), dtype=np.float64)
        one, two = (axis.shapes for axis in self.axes)
        return across_grid(one, two, shrunk * across_grid(one.T, two.T, right))


def plan_smooth(
    columns: slice, axes: tuple[Axis, ...], bent: tuple[int, ...], parameters: tuple[int, ...], pin: float
) -> Smooth:
    """Lay out the pieces of a smooth trend.

    Parameters
    ----------
    columns
        Its unknowns.
    axes
        One or two.
    bent
        Which of them wiggle, with the places of their variances in `parameters`.
    pin
        What holds the plane, of the size of what the data tell.
    """
    sizes = [axis.size for axis in axes]
    if len(axes) == 1:
        penalties = [axes[0].penalty]
        corners = [0, sizes[0] - 1]
    else:
        one, two = axes
        both: list[Array] = [np.kron(one.penalty, two.mass), np.kron(one.mass, two.penalty)]  # type: ignore[list-item]
        penalties = [both[axis] for axis in bent]
        last = sizes[0] * sizes[1] - 1
        corners = [0, sizes[1] - 1, last - sizes[1] + 1, last]
    held = np.zeros(math.prod(sizes))
    held[corners] = pin
    whole = np.sum(penalties, axis=0) + np.diag(held)
    roots, _ = Smooth(columns, axes, bent, parameters, (), 0.0).roots(np.ones(len(bent)))
    lower = np.asarray(scipy.linalg.cholesky(whole, lower=True))
    constant = -2.0 * float(np.sum(np.log(np.diag(lower)))) + float(np.sum(np.log(roots[roots > 0])))
    pieces = (*(Sparse(one) for one in penalties), Sparse(scipy.sparse.diags_array(held)))
    return Smooth(columns, axes, bent, parameters, pieces, constant)
