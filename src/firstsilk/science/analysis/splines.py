"""How is a smooth line written as a few humps, and how is wiggliness counted? Cubic B-splines with differences."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.interpolate
import scipy.linalg
import scipy.sparse
from numpy.typing import NDArray

from firstsilk.science.analysis.models import Array

Sparse = scipy.sparse.csr_array
DEGREE = 3
# The range is widened by this share of itself on both sides, so that the ends lie inside.
WIDENED = 0.001


@dataclass(frozen=True, slots=True)
class Axis:
    """One axis of a smooth trend: `size` humps over the range from `low` to `high`, equally spaced.

    `penalty` (size, size) counts second differences of the coefficients, `mass` (size, size) is the cross product of
    the humps at `size` equally spaced points; `wiggles` (size,) and `shapes` (size, size) are the roots and vectors of
    the one against the other, the two straight ones first.
    """

    low: float
    high: float
    size: int
    penalty: Array
    mass: Array
    wiggles: Array
    shapes: Array
    line: Array | None = None

    def humps(self, at: NDArray[np.float64]) -> Sparse:
        """The humps at the positions `at` (n,), four at most each, (n, size); of a straight axis its two lines."""
        if self.line is None:
            return _humps(at, self.low, self.high, self.size)
        return Sparse(_humps(at, self.low, self.high, len(self.line)) @ self.line)

    def straighten(self) -> Axis:
        """The axis without any wiggle: what is left of its humps are two lines, `line` (humps, 2)."""
        line = np.column_stack([np.ones(self.size), np.linspace(-1.0, 1.0, self.size)])
        mass = line.T @ self.mass @ line
        shapes = np.asarray(np.linalg.inv(np.linalg.cholesky(mass)).T)
        return Axis(self.low, self.high, 2, np.zeros((2, 2)), mass, np.zeros(2), shapes, line)


def plan_axis(low: float, high: float, size: int) -> Axis:
    """Lay out an axis.

    Parameters
    ----------
    low, high
        The range of the data, low < high.
    size
        How many humps, 4 or more.

    Notes
    -----
    Knots are equally spaced, size - 3 stretches over the range widened by 0.001 of itself at both ends; the penalty is
    D'D, D second differences.

    References
    ----------
    Eilers & Marx 1996 Stat. Sci. 11:89; Wood 2006 Biometrics 62:1025.

    Checked by
    ----------
    tests/science/test_splines.py
    """
    D = np.diff(np.eye(size), n=2, axis=0)
    penalty = D.T @ D
    points = _humps(np.linspace(low, high, size), low, high, size).toarray()
    mass = points.T @ points
    wiggles, shapes = scipy.linalg.eigh(penalty, mass)
    wiggles[:2] = 0.0
    return Axis(low, high, size, penalty, mass, wiggles, shapes)


def _humps(at: NDArray[np.float64], low: float, high: float, size: int) -> Sparse:
    reach = (high - low) * WIDENED
    begin, end = low - reach, high + reach
    stretch = (end - begin) / (size - DEGREE)
    knots = begin + stretch * np.arange(-DEGREE, size + 1)
    return Sparse(scipy.interpolate.BSpline.design_matrix(at, knots, DEGREE))
