"""The compiled loops between products of uses and the entries of the equations. Importing this module imports numba:
do it inside the function that needs it.
"""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

from firstsilk.science.analysis.sparse_kernels import find_row

Ints = NDArray[np.int64]
Small = NDArray[np.int32]
Floats = NDArray[np.float64]


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def add_products(cell: Ints, one: Small, two: Small, piece: Small, value: Floats, scale: Floats, weight: Floats,
                 entries: Floats) -> None:  # fmt: skip
    """Add each product, scaled by its two uses and its piece's weight, to its entry."""
    for k in range(len(cell)):
        entries[cell[k]] += value[k] * scale[one[k]] * scale[two[k]] * weight[piece[k]]


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def sum_slopes(cell: Ints, one: Small, two: Small, piece: Small, value: Floats, scale: Floats, weight: Floats,
               inverse: Floats, by_scale: Floats, by_weight: Floats) -> None:  # fmt: skip
    """Slopes of the trace along every scale and weight, `inverse` being that of each entry (twice off the diagonal)."""
    for k in range(len(cell)):
        share = inverse[cell[k]] * value[k]
        left, right = scale[one[k]], scale[two[k]]
        by_weight[piece[k]] += share * left * right
        share *= weight[piece[k]]
        by_scale[one[k]] += share * right
        by_scale[two[k]] += share * left


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def quadratic_forms(start: Ints, column: Ints, value: Floats, inverse: Floats, place: Ints, first: Ints, owner: Ints,
                    row_at: Ints, rows: Ints, value_at: Ints, out: Floats) -> None:  # fmt: skip
    """w' C^-1 w of each sparse row from the inverse on the factor's pattern; nan where a pair is not on it."""
    for k in range(len(start) - 1):
        total = 0.0
        for a in range(start[k], start[k + 1]):
            for b in range(start[k], a + 1):
                one, two = place[column[a]], place[column[b]]
                high, low = max(one, two), min(one, two)
                s = owner[low]
                begin, end = row_at[s], row_at[s + 1]
                left = find_row(rows, begin, end, high)
                if left == end or rows[left] != high:
                    total = np.nan
                    break
                found = inverse[value_at[s] + (low - first[s]) * (end - begin) + left - begin]
                total += value[a] * value[b] * found * (1.0 if a == b else 2.0)
            if np.isnan(total):
                break
        out[k] = total
