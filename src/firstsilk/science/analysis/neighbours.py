"""How do neighbours along a line of plots go with each other? First-order autoregression, as sparse pieces."""

from __future__ import annotations

import math

import numpy as np
import scipy.linalg
import scipy.sparse

from firstsilk.science.analysis.models import Array

Sparse = scipy.sparse.csr_array


def neighbour_pieces(size: int) -> list[Sparse]:
    """The fixed pieces of the inverse correlation of `size` plots in a line: themselves, the inner ones, neighbours.

    Pieces without entries are left out (a single plot has but the first); `neighbour_weights` goes with them.
    """
    pieces = [Sparse(scipy.sparse.eye_array(size, format="csr"))]
    if size > 1:
        inner = np.ones(size)
        inner[[0, -1]] = 0.0
        before = np.arange(size - 1)
        where = (np.concatenate([before, before + 1]), np.concatenate([before + 1, before]))
        pieces += [Sparse(scipy.sparse.diags_array(inner))] if size > 2 else []
        pieces.append(Sparse((np.ones(2 * (size - 1)), where), shape=(size, size)))
    return pieces


def neighbour_weights(turned: float, size: int) -> tuple[Array, Array]:
    """What each piece counts in the inverse correlation, and the slopes of that, (pieces,) each.

    Parameters
    ----------
    turned
        atanh of the correlation r of neighbours.
    size
        Plots in the line.

    Notes
    -----
    Corr(i, j) = r^|i-j|; its inverse is (I + r^2 inner - r beside) / (1 - r^2). Slopes are along atanh(r).

    Checked by
    ----------
    tests/science/test_neighbours.py
    """
    if size == 1:
        return np.ones(1), np.zeros(1)
    r = math.tanh(turned)
    left = 1.0 - r * r
    weights = [1.0 / left, r * r / left, -r / left]
    slopes = [2.0 * r / left, 2.0 * r / left, -(1.0 + r * r) / left]
    kept = [0, 1, 2] if size > 2 else [0, 2]
    return np.array([weights[k] for k in kept]), np.array([slopes[k] for k in kept])


def covary_neighbours(turned: float, right: Array) -> Array:
    """The correlation of plots in a line times `right`, without making the correlation.

    Parameters
    ----------
    turned
        atanh of the correlation r of neighbours.
    right
        A row for each plot, (size, m).

    Returns
    -------
    Array
        The product, (size, m).

    Notes
    -----
    A sum of r^(i-j) x_j over earlier plots obeys f_i = x_i + r f_(i-1), one over later plots the same backwards; each
    plot itself is in both.

    Checked by
    ----------
    tests/science/test_neighbours.py
    """
    size = len(right)
    if size == 1:
        return right.copy()
    band = np.full((2, size), -math.tanh(turned))
    band[0] = 1.0
    earlier = scipy.linalg.solve_banded((1, 0), band, right, check_finite=False)
    later = scipy.linalg.solve_banded((0, 1), band[::-1], right, check_finite=False)
    return np.asarray(earlier + later - right, dtype=np.float64)


def log_correlation(turned: float, size: int) -> tuple[float, float]:
    """The log-determinant of the correlation of `size` plots in a line, and its slope along atanh(r)."""
    r = math.tanh(turned)
    return (size - 1) * math.log1p(-r * r), -2.0 * r * (size - 1)
