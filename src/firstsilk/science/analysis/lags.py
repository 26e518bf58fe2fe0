"""What is left over in a field once the model has taken its share: is it still alike on neighbouring plots?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import refuse
from firstsilk.science.analysis.models import Array

MOST_LAGS = 8
"""Rows and columns apart that are looked at, at most (a choice of ours); never beyond half of the field."""
MOST_CELLS = 4_000_000
"""A grid of more cells is a slip in a position."""
BEYOND_CHANCE = 2.0
"""How many standard errors from 0 a correlation must lie to be called more than chance (about 95 of 100)."""


@dataclass(frozen=True, slots=True)
class LagMap:
    """Correlation of what is left over between plots r field rows and c field columns apart.

    `correlation` (R, C) with r = 0..R-1 down and c = 0..C-1 across, nan where no two plots lie so; `pairs` (R, C) how
    many do (at 0, 0 the plots themselves); `n` plots; `beyond_chance` (R, C) where it is farther from 0 than
    2 / sqrt(pairs).
    """

    correlation: Array
    pairs: NDArray[np.intp]
    n: int
    beyond_chance: NDArray[np.bool_]

    @property
    def along_rows(self) -> float | None:
        """Between neighbours one field column apart in the same field row; None if there are none."""
        return self._at(0, 1)

    @property
    def along_columns(self) -> float | None:
        """Between neighbours one field row apart in the same field column; None if there are none."""
        return self._at(1, 0)

    def pool_nearest(self) -> tuple[float, float] | None:
        """Correlation of all next neighbours together, along rows, columns and diagonals, and 1 / sqrt(pairs) of it.

        None if no two plots are next to each other.
        """
        near = [(r, c) for r, c in ((0, 1), (1, 0), (1, 1)) if r < self.pairs.shape[0] and c < self.pairs.shape[1]]
        count = sum(int(self.pairs[at]) for at in near)
        if not count:
            return None
        total = sum(float(self.correlation[at]) * int(self.pairs[at]) for at in near if self.pairs[at])
        return total / count, 1.0 / math.sqrt(count)

    def _at(self, row: int, col: int) -> float | None:
        if row >= self.correlation.shape[0] or col >= self.correlation.shape[1]:
            return None
        value = float(self.correlation[row, col])
        return value if math.isfinite(value) else None


def correlate_lags(
    field_row: Sequence[int], field_col: Sequence[int], left: Sequence[float], most: int = MOST_LAGS
) -> LagMap:
    """Correlate what is left over on each two plots, by how many rows and columns they lie apart.

    Parameters
    ----------
    field_row, field_col
        Position of each plot (n,), whole numbers; no two plots at one place.
    left
        What is left over (n,), any one unit.
    most
        Rows and columns apart that are looked at, at most; never beyond half of the field.

    Returns
    -------
    LagMap
        Correlations and the pairs they rest on, from 0 apart on.

    Raises
    ------
    InputRefused
        If lengths differ, there are fewer than 3 plots, a number is not finite, two plots lie at one place, the
        positions span too large a field, or nothing is left over at all.

    Notes
    -----
    (sum over pairs of e_i e_j / pairs) / (sum of e_i^2 / n), e about their mean; both slopes of a diagonal (r, c) and
    (r, -c) together. Not 0 exactly where nothing is left: residuals of a fitted model lean a little below 0, by
    about the share of the degrees of freedom that the model took. Under no correlation the standard error is about
    1 / sqrt(pairs).

    References
    ----------
    Priestley 1981 Spectral Analysis and Time Series, sections 5.3 and 9.5 (the unbiased covariance, in two directions).

    Checked by
    ----------
    tests/outside/test_lags_published.py, tests/science/test_lags.py
    """
    rows, cols, values = np.asarray(field_row), np.asarray(field_col), np.asarray(left, dtype=np.float64)
    _check_plots(rows, cols, values)
    grid, seen = _lay_on_grid(rows, cols, values - values.mean())
    size = float(np.sum(grid**2)) / len(values)
    if size <= 1e-24 * float(np.max(np.abs(values))) ** 2:
        raise refuse("nothing_left", "Nothing is left over: every plot is told by the model", "Fit a smaller model.")
    shape = tuple(min(most, side // 2) + 1 for side in grid.shape)
    correlation, pairs = np.full(shape, np.nan), np.zeros(shape, dtype=np.intp)
    for r in range(shape[0]):
        for c in range(shape[1]):
            total, count = _sum_pairs(grid, seen, r, c)
            pairs[r, c] = count
            if count:
                correlation[r, c] = total / count / size
    with np.errstate(divide="ignore", invalid="ignore"):
        beyond = np.abs(correlation) > BEYOND_CHANCE / np.sqrt(pairs)
    beyond[0, 0] = False
    return LagMap(correlation, pairs, len(values), beyond & (pairs > 0))


def _check_plots(rows: NDArray[np.intp], cols: NDArray[np.intp], values: Array) -> None:
    if not len(rows) == len(cols) == len(values):
        raise refuse("lengths_differ", "Positions and what is left over must have one value for each plot")
    if len(values) < 3:
        raise refuse("too_few_plots", f"{len(values)} plots are too few to look for what neighbours share")
    if not np.all(np.isfinite(values)):
        raise refuse("number_missing", "What is left over must be a number on every plot", "Leave the others out.")
    if len({*zip(rows.tolist(), cols.tolist(), strict=True)}) < len(values):
        raise refuse("place_twice", "Two plots lie at the same place", "Check field_row and field_col.")
    if (int(np.ptp(rows)) + 1) * (int(np.ptp(cols)) + 1) > MOST_CELLS:
        raise refuse("field_too_large", "The positions span too large a field", "Check field_row and field_col.")


def _lay_on_grid(rows: NDArray[np.intp], cols: NDArray[np.intp], values: Array) -> tuple[Array, NDArray[np.bool_]]:
    shape = (int(np.ptp(rows)) + 1, int(np.ptp(cols)) + 1)
    grid, seen = np.zeros(shape), np.zeros(shape, dtype=bool)
    at = (rows - rows.min(), cols - cols.min())
    grid[at], seen[at] = values, True
    return grid, seen


def _sum_pairs(grid: Array, seen: NDArray[np.bool_], r: int, c: int) -> tuple[float, int]:
    """Sum of products, and how many, over all pairs r rows and c columns apart, on both slopes of a diagonal."""
    down, across = grid.shape[0] - r, grid.shape[1] - c
    slopes = [((slice(0, down), slice(0, across)), (slice(r, None), slice(c, None)))]
    if r and c:
        slopes.append(((slice(0, down), slice(c, None)), (slice(r, None), slice(0, across))))
    total, count = 0.0, 0
    for one, other in slopes:
        total += float(np.sum(grid[one] * grid[other]))
        count += int(np.sum(seen[one] & seen[other]))
    return total, count
