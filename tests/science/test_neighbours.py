"""Do the sparse pieces of correlated neighbours say what their dense correlation says?"""

from __future__ import annotations

import math

import numpy as np
import pytest

from firstsilk.science.analysis.neighbours import (
    covary_neighbours,
    log_correlation,
    neighbour_pieces,
    neighbour_weights,
)
from firstsilk.science.analysis.priors import Ground

TURNED = [-1.2, -0.3, 0.0, 0.7, 2.5]
SIZES = [1, 2, 3, 4, 17]


def neighbour_covariance(turned: float, size: int) -> tuple[np.ndarray, np.ndarray]:
    """The correlation of plots in a line and its slope along atanh(r), written out."""
    r, apart = math.tanh(turned), np.abs(np.arange(size)[:, None] - np.arange(size))
    slope = apart * r ** np.maximum(apart - 1.0, 0.0) * (1.0 - r * r)
    return r**apart, slope


def correlation(r: float, size: int) -> np.ndarray:
    """r^|i-j|, written out."""
    return np.array([[r ** abs(i - j) for j in range(size)] for i in range(size)])


@pytest.mark.parametrize("turned", TURNED)
@pytest.mark.parametrize("size", SIZES)
def test_neighbours_when_compared_with_the_dense_correlation_then_equal(turned: float, size: int) -> None:
    dense = correlation(math.tanh(turned), size)
    own, slope = neighbour_covariance(turned, size)
    assert np.allclose(own, dense, rtol=1e-14, atol=0)
    step = 1e-6
    differences = correlation(math.tanh(turned + step), size) - correlation(math.tanh(turned - step), size)
    assert np.allclose(slope, differences / (2 * step), rtol=1e-6, atol=1e-9)
    weights, slopes = neighbour_weights(turned, size)
    pieces = neighbour_pieces(size)
    inverse = sum(weight * piece.toarray() for weight, piece in zip(weights, pieces, strict=True))
    assert np.allclose(inverse @ dense, np.eye(size), atol=1e-10)
    change = (neighbour_weights(turned + step, size)[0] - neighbour_weights(turned - step, size)[0]) / (2 * step)
    assert np.allclose(slopes, change, rtol=1e-6, atol=1e-8)
    size_of, slope_of = log_correlation(turned, size)
    assert size_of == pytest.approx(np.linalg.slogdet(dense)[1], abs=1e-9)
    less, more = log_correlation(turned - step, size)[0], log_correlation(turned + step, size)[0]
    assert slope_of == pytest.approx((more - less) / (2 * step), rel=1e-6, abs=1e-8)


@pytest.mark.parametrize("turned", [*TURNED, 6.0])
@pytest.mark.parametrize("size", [*SIZES, 400])
def test_covariance_when_only_multiplied_then_as_the_dense_one(turned: float, size: int) -> None:
    right = np.random.default_rng(3).normal(size=(size, 3))
    dense = correlation(math.tanh(turned), size) @ right
    assert np.allclose(covary_neighbours(turned, right), dense, rtol=1e-12, atol=1e-12 * size)


def test_ground_when_multiplied_then_rows_and_columns_each_in_their_way() -> None:
    shape = (4, 7)
    ground = Ground(slice(0, 28), shape, (0, 1), ())
    right = np.random.default_rng(4).normal(size=(28, 2))
    dense = np.kron(correlation(math.tanh(0.4), 4), correlation(math.tanh(-0.8), 7)) @ right
    assert np.allclose(ground.covary(np.array([0.4, -0.8]), right), dense, rtol=1e-12, atol=1e-13)
    alone = Ground(slice(0, 28), (28, 1), (0, None), ())
    assert np.allclose(alone.covary(np.array([0.4]), right), correlation(math.tanh(0.4), 28) @ right, atol=1e-13)
