"""Where does one smooth trend lie: over which records, with which humps, on which unknowns?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse
from numpy.typing import NDArray

from firstsilk.science.analysis.models import Array, Surface
from firstsilk.science.analysis.splines import Axis
from firstsilk.science.analysis.structures import span_plane

Sparse = scipy.sparse.csr_array


@dataclass(frozen=True, slots=True)
class Patch:
    """Where one surface lies among the unknowns: its level of `within`, its records and their humps (records, humps).

    `plane` (records, 2 or 4) is what it does not count as bending: 1, its columns, their product.
    """

    surface: Surface
    level: str
    records: NDArray[np.intp]
    humps: Sparse
    columns: slice
    plane: Array

    @staticmethod
    def plan(
        surface: Surface,
        level: str,
        at: NDArray[np.intp],
        positions: Sequence[Array],
        axes: Sequence[Axis],
        column: int,
    ) -> Patch:
        """The patch of one level, its unknowns from `column` on."""
        humps = axes[0].humps(positions[0])
        if len(axes) == 2:
            humps = _products(humps, axes[1].humps(positions[1]))
        plane = np.column_stack([np.ones(len(at)), *span_plane(positions)])
        return Patch(surface, level, at, humps, slice(column, column + humps.shape[1]), plane)


def _products(one: Sparse, two: Sparse) -> Sparse:
    """All products of a hump of the first axis with one of the second, the first outermost."""
    n, b = one.shape[0], two.shape[1]
    a_rows, b_rows = one.toarray(), two.toarray()
    return Sparse((a_rows[:, :, None] * b_rows[:, None, :]).reshape(n, a_rows.shape[1] * b))
