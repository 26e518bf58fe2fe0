"""How does what is left over behave? Its inverse covariance as sparse pieces: groups, correlated ground, pairs."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import scipy.linalg
import scipy.sparse
from numpy.typing import NDArray

from firstsilk.science.analysis.models import Array
from firstsilk.science.analysis.priors import Counts, Sparse, count_ground, covary_ground, turned_values

Ints = NDArray[np.intp]


class Left(Protocol):
    """The covariance R of what is left over, of n rows."""

    @property
    def parameters(self) -> tuple[int, ...]:
        """Where its parameters stand among all."""

    def pieces(self) -> Iterator[tuple[Ints, Sparse]]:
        """The fixed pieces of the inverse: the rows each works on, and the piece over them."""

    def count(self, values: Array) -> Counts:
        """What the pieces count; `log_size` is ln|R|."""

    def weigh(self, values: Array, right: Array) -> Array:
        """R^-1 times `right`, (n, ...)."""

    def change(self, values: Array, k: int, right: Array) -> Array:
        """dR / d(its k-th parameter) times `right`, (n,) or (n, m)."""

    def precision(self, values: Array) -> Array | None:
        """The diagonal of R^-1 if that is all there is of it, (n,)."""


@dataclass(frozen=True, slots=True)
class Groups:
    """Independent records, a variance for each group: s_g / weight."""

    groups: Ints
    weights: Array
    parameters: tuple[int, ...]

    def pieces(self) -> Iterator[tuple[Ints, Sparse]]:
        """The weights of each group's records."""
        for g in range(len(self.parameters)):
            at = np.flatnonzero(self.groups == g)
            yield at, Sparse(scipy.sparse.diags_array(self.weights[at]))

    def count(self, values: Array) -> Counts:
        """One over each variance."""
        own = values[list(self.parameters)]
        numbers = np.bincount(self.groups, minlength=len(own)).astype(np.float64)
        log_size = float(numbers @ np.log(own)) - float(np.sum(np.log(self.weights)))
        return Counts(1.0 / own, np.diag(-1.0 / own**2), log_size, numbers / own)

    def precision(self, values: Array) -> Array:
        """Weight over variance."""
        return np.asarray(self.weights / values[list(self.parameters)][self.groups], dtype=np.float64)

    def weigh(self, values: Array, right: Array) -> Array:
        """Each record by itself."""
        return (right.T * self.precision(values)).T

    def change(self, values: Array, k: int, right: Array) -> Array:
        """One over the weight inside the group."""
        return (right.T * np.where(self.groups == k, 1.0 / self.weights, 0.0)).T


@dataclass(frozen=True, slots=True)
class Field:
    """One grid of plots: its rows among all, its shape, the places of its variance and turned correlations, and the
    pieces of its inverse correlation.
    """

    rows: slice
    shape: tuple[int, int]
    variance: int
    turned: tuple[int | None, int | None]
    pieces: tuple[Sparse, ...]


@dataclass(frozen=True, slots=True)
class Fields:
    """Whole grids of plots one after another, each autoregressive along both axes, without an independent part.

    Cells without a record are rows too: an unknown of their own makes them say nothing.
    """

    fields: tuple[Field, ...]
    parameters: tuple[int, ...]

    def pieces(self) -> Iterator[tuple[Ints, Sparse]]:
        """The pieces of each field's inverse correlation."""
        for field in self.fields:
            at = np.arange(field.rows.start, field.rows.stop)
            for piece in field.pieces:
                yield at, piece

    def count(self, values: Array) -> Counts:
        """What the pieces count: each field's over its variance."""
        place = {at: k for k, at in enumerate(self.parameters)}
        weights, slopes = [], []
        log_size, log_slopes = 0.0, np.zeros(len(self.parameters))
        for field in self.fields:
            counts = count_ground(field.shape, turned_values(field.turned, values))
            s, cells = float(values[field.variance]), field.rows.stop - field.rows.start
            own = np.zeros((len(counts.weights), len(self.parameters)))
            own[:, place[field.variance]] = -counts.weights / s**2
            turned = [place[at] for at in field.turned if at is not None]
            own[:, turned] = counts.slopes / s
            weights.append(counts.weights / s)
            slopes.append(own)
            log_size += counts.log_size + cells * math.log(s)
            log_slopes[place[field.variance]] += cells / s
            log_slopes[turned] += counts.log_slopes
        return Counts(np.concatenate(weights), np.vstack(slopes), log_size, log_slopes)

    def precision(self, values: Array) -> None:
        """Neighbours go together: no diagonal."""
        return None

    def weigh(self, values: Array, right: Array) -> Array:
        """The inverse of each field."""
        out = np.empty_like(right)
        for field in self.fields:
            counts = count_ground(field.shape, turned_values(field.turned, values))
            inside = right[field.rows]
            parts = zip(counts.weights, field.pieces, strict=True)
            out[field.rows] = np.sum([w * (piece @ inside) for w, piece in parts], axis=0) / values[field.variance]
        return out

    def change(self, values: Array, k: int, right: Array) -> Array:
        """The slope of each field that has the parameter: of the correlation it is -S dS^-1 S."""
        wide = right.reshape(len(right), -1)
        out, asked = np.zeros_like(wide), self.parameters[k]
        for field in self.fields:
            own = [at for at in field.turned if at is not None]
            if asked not in (field.variance, *own):
                continue
            turned = turned_values(field.turned, values)
            inside = covary_ground(field.shape, turned, wide[field.rows])
            if asked != field.variance:
                slopes = count_ground(field.shape, turned).slopes[:, own.index(asked)]
                parts = zip(slopes, field.pieces, strict=True)
                bent = np.sum([w * (piece @ inside) for w, piece in parts], axis=0)
                inside = -values[field.variance] * covary_ground(field.shape, turned, bent)
            out[field.rows] = inside
        return out.reshape(right.shape)


@dataclass(frozen=True, slots=True)
class Stacked:
    """Residuals of several parts, each over rows of its own."""

    parts: tuple[tuple[slice, Left], ...]

    @property
    def parameters(self) -> tuple[int, ...]:
        """Those of all parts."""
        return tuple(at for _, part in self.parts for at in part.parameters)

    def pieces(self) -> Iterator[tuple[Ints, Sparse]]:
        """Those of all parts."""
        for rows, part in self.parts:
            for at, piece in part.pieces():
                yield at + rows.start, piece

    def count(self, values: Array) -> Counts:
        """What the pieces of all parts count; each part has its own parameters."""
        counts = [part.count(values) for _, part in self.parts]
        slopes = np.asarray(scipy.linalg.block_diag(*(one.slopes for one in counts)))
        return Counts(
            np.concatenate([one.weights for one in counts]),
            slopes,
            sum(one.log_size for one in counts),
            np.concatenate([one.log_slopes for one in counts]),
        )

    def precision(self, values: Array) -> None:
        """Not diagonal, since some part is not."""
        return None

    def weigh(self, values: Array, right: Array) -> Array:
        """Part by part."""
        return np.concatenate([part.weigh(values, right[rows]) for rows, part in self.parts])

    def change(self, values: Array, k: int, right: Array) -> Array:
        """The slope of the part that has the parameter."""
        out = np.zeros_like(right)
        for rows, part in self.parts:
            if 0 <= k < len(part.parameters):
                out[rows] = part.change(values, k, right[rows])
            k -= len(part.parameters)
        return out


@dataclass(frozen=True, slots=True)
class Pairs:
    """Records of two groups, those of one plot going together: variances s1, s2, correlation r = tanh of the third.

    `trait` (n,) is 0 or 1, `mate` (n,) the other record of the plot or -1.
    """

    trait: Ints
    mate: Ints
    parameters: tuple[int, int, int]

    def pieces(self) -> Iterator[tuple[Ints, Sparse]]:
        """The first and second of pairs, both together, singles of the first and of the second."""
        paired = self.mate >= 0
        for mask in (paired & (self.trait == 0), paired & (self.trait == 1)):
            at = np.flatnonzero(mask)
            yield at, Sparse(scipy.sparse.eye_array(len(at), format="csr"))
        at = np.flatnonzero(paired)
        place = np.full(len(self.trait), -1)
        place[at] = np.arange(len(at))
        ones = np.ones(len(at))
        yield at, Sparse((ones, (np.arange(len(at)), place[self.mate[at]])), shape=(len(at), len(at)))
        for mask in (~paired & (self.trait == 0), ~paired & (self.trait == 1)):
            at = np.flatnonzero(mask)
            yield at, Sparse(scipy.sparse.eye_array(len(at), format="csr"))

    def _own(self, values: Array) -> tuple[float, float, float]:
        one, two, turned = (float(values[at]) for at in self.parameters)
        return one, two, math.tanh(turned)

    def count(self, values: Array) -> Counts:
        """The inverse of a covariance of two by two, and of singles."""
        one, two, r = self._own(values)
        left, root = 1.0 - r * r, math.sqrt(one * two)
        weights = np.array([1.0 / (one * left), 1.0 / (two * left), -r / (root * left), 1.0 / one, 1.0 / two])
        first = np.array([-weights[0] / one, 0.0, -weights[2] / (2.0 * one), -weights[3] / one, 0.0])
        second = np.array([0.0, -weights[1] / two, -weights[2] / (2.0 * two), 0.0, -weights[4] / two])
        turned = np.array([2.0 * r * weights[0], 2.0 * r * weights[1], -(1.0 + r * r) / (root * left), 0.0, 0.0])
        n_one, n_two = float(np.sum(self.trait == 0)), float(np.sum(self.trait == 1))
        pairs = float(np.sum(self.mate >= 0)) / 2.0
        log_size = n_one * math.log(one) + n_two * math.log(two) + pairs * math.log1p(-r * r)
        slopes = np.column_stack([first, second, turned])
        return Counts(weights, slopes, log_size, np.array([n_one / one, n_two / two, -2.0 * r * pairs]))

    def precision(self, values: Array) -> None:
        """Mates go together: no diagonal."""
        return None

    def _mates(self, right: Array) -> Array:
        found = right[self.mate]
        found[self.mate < 0] = 0.0
        return found

    def weigh(self, values: Array, right: Array) -> Array:
        """The inverse of each pair, or of a single."""
        one, two, r = self._own(values)
        own = np.where(self.trait == 0, one, two) * np.where(self.mate >= 0, 1.0 - r * r, 1.0)
        across = -r / (math.sqrt(one * two) * (1.0 - r * r))
        return np.asarray((right.T / own).T + across * self._mates(right), dtype=np.float64)

    def change(self, values: Array, k: int, right: Array) -> Array:
        """The slope of the covariance along a variance or the turned correlation."""
        one, two, r = self._own(values)
        root, mates = math.sqrt(one * two), self._mates(right)
        if k == 2:
            return np.asarray(root * (1.0 - r * r) * mates, dtype=np.float64)
        own = (right.T * (self.trait == k)).T
        return np.asarray(own + r * root / (2.0 * (one, two)[k]) * mates, dtype=np.float64)
