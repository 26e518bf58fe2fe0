"""The compiled loops that write down the sparse inverse of a relationship.

Importing this module imports numba: do it inside the function that needs it. A source is a plant or family with a
variance of its own; all others are combinations of sources. Combinations lie one after another in a pool of source
numbers, ascending, and weights.
"""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

Small = NDArray[np.int32]
Flags = NDArray[np.bool_]
Floats = NDArray[np.float64]


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def find_own_variances(one: Small, other: Small, variance: Floats, shared: Floats) -> Floats:
    """What the sources of each plant leave open of its variance."""
    own = np.empty(len(one), np.float64)
    for i in range(len(one)):
        a, b = one[i], other[i]
        apart = (variance[a] if a >= 0 else 0.0) + (variance[b] if b >= 0 else 0.0)
        own[i] = variance[i] - (apart + 2.0 * shared[i]) / 4.0
    return own


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def absorb(one: Small, other: Small, own: Floats, wanted: Flags) -> Floats:
    """Give the own variance of each unwanted plant that leads to one plant only to that plant; 0 is left to it.

    Plants with two known sources stay, so that no combination grows wider by it.
    """
    m = len(one)
    kids, left = np.zeros(m, np.int32), own.copy()
    for i in range(m):
        if one[i] >= 0:
            kids[one[i]] += 1
        if other[i] >= 0 and other[i] != one[i]:
            kids[other[i]] += 1
    for i in range(m):
        for parent in (one[i], other[i]):
            if parent < 0 or wanted[parent] or kids[parent] != 1:
                continue
            a, b = one[parent], other[parent]
            if a == b or a < 0 or b < 0:
                left[i] += left[parent] * (1.0 if one[i] == other[i] else 0.25)
                left[parent] = 0.0
    return left


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def _mix(names: Small, weights: Floats, used: int, a: int, a_end: int, b: int, b_end: int) -> int:
    """Put the mean of two stretches of the pool at its end; give the new end."""
    while a < a_end or b < b_end:
        if b == b_end or (a < a_end and names[a] < names[b]):
            names[used], weights[used] = names[a], weights[a] / 2.0
            a += 1
        elif a == a_end or names[b] < names[a]:
            names[used], weights[used] = names[b], weights[b] / 2.0
            b += 1
        else:
            names[used], weights[used] = names[a], (weights[a] + weights[b]) / 2.0
            a += 1
            b += 1
        used += 1
    return used


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def _widen(names: Small, weights: Floats, used: int, size: int) -> tuple[Small, Floats]:
    """The pool with room for `size`."""
    more_names, more_weights = np.empty(size, np.int32), np.empty(size, np.float64)
    for k in range(used):
        more_names[k], more_weights[k] = names[k], weights[k]
    return more_names, more_weights


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def list_sources(one: Small, other: Small, own: Floats, none: float) -> tuple[Small, Small, Small, Small, Floats, Small,
                                                                              Floats]:  # fmt: skip
    """Which plants are sources (own variance above `none`), and of which sources everyone is made.

    Returns the stretch of each plant in the pool (begin, end), the stretch of the mean of each source's parents (begin,
    end), the sources' variances, and the pool (names, weights).
    """
    m = len(one)
    begin, end = np.zeros(m + 1, np.int32), np.zeros(m + 1, np.int32)  # the last, -1, is empty: an unknown parent
    from_begin, from_end, variances = np.empty(m, np.int32), np.empty(m, np.int32), np.empty(m, np.float64)
    names, weights = np.empty(3 * m, np.int32), np.empty(3 * m, np.float64)
    used: int = np.int64(0)  # type: ignore[assignment]  # a plain 0 is a constant: `_mix` would be compiled twice
    sources = 0
    for i in range(m):
        a, b = one[i], other[i]
        need = used + end[a] - begin[a] + end[b] - begin[b] + 1
        if need > len(names):
            names, weights = _widen(names, weights, used, 2 * need)
        low, high = begin[a], end[a]
        if a != b:
            low, high = used, _mix(names, weights, used, begin[a], end[a], begin[b], end[b])
            used = high
        begin[i], end[i] = low, high
        if own[i] > none:
            names[used], weights[used] = sources, 1.0
            begin[i], end[i] = used, used + 1
            from_begin[sources], from_end[sources], variances[sources] = low, high, own[i]
            used += 1
            sources += 1
    return (begin, end, from_begin[:sources], from_end[:sources], variances[:sources], names[:used],
            weights[:used])  # fmt: skip


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def gather_rows(begin: Small, end: Small, names: Small, weights: Floats) -> tuple[Small, Small, Floats]:
    """The stretches of some plants as a sparse matrix by rows: pointers, columns, values."""
    start = np.zeros(len(begin) + 1, np.int32)
    for i in range(len(begin)):
        start[i + 1] = start[i] + end[i] - begin[i]
    columns, values = np.empty(start[-1], np.int32), np.empty(start[-1], np.float64)
    for i in range(len(begin)):
        for k in range(end[i] - begin[i]):
            columns[start[i] + k], values[start[i] + k] = names[begin[i] + k], weights[begin[i] + k]
    return start, columns, values


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def list_progeny(begin: Small, end: Small, names: Small, weights: Floats) -> tuple[Small, Small, Floats]:
    """For each source those that are made of it, with its weight: pointers, progeny, weights."""
    q = len(begin)
    start = np.zeros(q + 2, np.int32)
    for i in range(q):
        for at in range(begin[i], end[i]):
            start[names[at] + 2] += 1
    for i in range(q + 1):
        start[i + 1] += start[i]
    progeny, by = np.empty(start[-1], np.int32), np.empty(start[-1], np.float64)
    for i in range(q):
        for at in range(begin[i], end[i]):
            parent = names[at] + 1
            progeny[start[parent]], by[start[parent]] = i, weights[at]
            start[parent] += 1
    return start[:-1], progeny, by


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def write_inverse(begin: Small, end: Small, names: Small, weights: Floats, variances: Floats, start: Small,
                  progeny: Small, by: Floats) -> tuple[Small, Small, Floats]:  # fmt: skip
    """The inverse, both triangles, by rows: pointers, columns, values.

    A source i of variance d made of parents with weights w adds 1/d to (i, i), -w/d to (i, parent) and (parent, i) and
    w w'/d to each pair of parents.
    """
    q, most = len(begin), 0
    for i in range(q):
        most += (1 + end[i] - begin[i]) ** 2
    row, columns, values = np.zeros(q + 1, np.int32), np.empty(most, np.int32), np.empty(most, np.float64)
    precision, seen, used = 1.0 / variances, np.full(q, -1, np.int32), 0
    for i in range(q):
        first = used
        columns[used], values[used], seen[i] = i, precision[i], used
        used += 1
        for at in range(begin[i], end[i]):
            columns[used], values[used], seen[names[at]] = names[at], -weights[at] * precision[i], used
            used += 1
        for k in range(start[i], start[i + 1]):
            child = progeny[k]
            columns[used], values[used], seen[child] = child, -by[k] * precision[child], used
            used += 1
            for at in range(begin[child], end[child]):
                parent = names[at]
                if seen[parent] < first:
                    columns[used], values[used], seen[parent] = parent, 0.0, used
                    used += 1
                # The weights first: so (i, parent) and (parent, i) come out equal to the last digit.
                values[seen[parent]] += by[k] * weights[at] * precision[child]
        row[i + 1] = used
    return row, columns[:used], values[:used]


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def sort_rows(row: Small, columns: Small, values: Floats) -> tuple[Small, Floats]:
    """Columns and values of a symmetric matrix with the columns of each row ascending: the matrix turned."""
    at = row[:-1].copy()
    sorted_columns, sorted_values = np.empty_like(columns), np.empty_like(values)
    for i in range(len(at)):
        for k in range(row[i], row[i + 1]):
            j = columns[k]
            sorted_columns[at[j]], sorted_values[at[j]] = i, values[k]
            at[j] += 1
    return sorted_columns, sorted_values
