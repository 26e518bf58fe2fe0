"""The compiled inner loops of the sparse factor: small groups of columns, and what passes between groups.

A group holds neighbouring columns with the same rows; its values are a dense block (rows x columns, column after
column) in one long array. The longest loops count unsigned: then no place can mean one from the end, nothing is asked
about it, and they run two to three times as fast. Importing this module imports numba: do it inside the function that
needs it.
"""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def merge_columns(parent: Ints, count: Ints) -> Ints:
    """First column of each group: equal patterns, then small neighbours merged although zeros get stored."""
    n = len(parent)
    starts, groups = np.empty(n + 1, np.int64), 0
    for j in range(n):
        if j == 0 or parent[j - 1] != j or count[j - 1] != count[j] + 1:
            starts[groups] = j
            groups += 1
    starts[groups] = n
    wide, long, zeros = np.empty(groups, np.int64), np.empty(groups, np.int64), np.zeros(groups, np.int64)
    keep = np.ones(groups, np.bool_)
    last = -1
    for s in range(groups - 1, -1, -1):
        wide[s], long[s] = starts[s + 1] - starts[s], count[starts[s]]
        if last >= 0 and parent[starts[s + 1] - 1] == starts[last]:
            w, r = wide[s] + wide[last], wide[s] + long[last]
            waste = zeros[last] + wide[s] * (r - long[s])
            share = waste / (w * (w + 1) / 2 + w * (r - w))
            if w <= 4 or waste == 0 or (w <= 16 and share < 0.8) or (w <= 48 and share < 0.1) or share < 0.05:
                keep[last] = False
                wide[s], long[s], zeros[s] = w, r, waste
        last = s
    first, k = np.empty(np.sum(keep) + 1, np.int64), 0
    for s in range(groups):
        if keep[s]:
            first[k] = starts[s]
            k += 1
    first[k] = n
    return first


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def list_rows(indptr: Ints, indices: Ints, first: Ints, owner: Ints, most: int) -> tuple[Ints, Ints]:
    """The rows of each group, its own columns first, the others in any order; pointers and rows."""
    groups, n = len(first) - 1, len(owner)
    row_at, rows, used = np.zeros(groups + 1, np.int64), np.empty(most, np.int64), 0
    mark, child, sibling = np.full(n, -1, np.int64), np.full(groups, -1, np.int64), np.full(groups, -1, np.int64)
    for s in range(groups):
        begin = used
        need = first[s + 1] - first[s]
        if used + n > len(rows):
            larger = np.empty(2 * len(rows) + n, np.int64)
            larger[:used] = rows[:used]
            rows = larger
        for j in range(first[s], first[s + 1]):
            mark[j] = s
            rows[used] = j
            used += 1
        for j in range(first[s], first[s + 1]):
            for cell in range(indptr[j], indptr[j + 1]):
                i = indices[cell]
                if i >= first[s] and mark[i] != s:
                    mark[i] = s
                    rows[used] = i
                    used += 1
        c = child[s]
        while c >= 0:
            for cell in range(row_at[c], row_at[c + 1]):
                i = rows[cell]
                if i >= first[s] and mark[i] != s:
                    mark[i] = s
                    rows[used] = i
                    used += 1
            c = sibling[c]
        row_at[s + 1] = used
        if used - begin > need:
            lowest = n
            for k in range(begin + need, used):
                lowest = min(lowest, rows[k])
            t = owner[lowest]
            sibling[s] = child[t]
            child[t] = s
    return row_at, rows[:used].copy()


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def find_row(rows: Ints, low: int, high: int, row: int) -> int:
    while low < high:
        middle = (low + high) // 2
        if rows[middle] < row:
            low = middle + 1
        else:
            high = middle
    return low


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def find_cells(row: Ints, column: Ints, first: Ints, owner: Ints, row_at: Ints, rows: Ints, value_at: Ints) -> Ints:
    """Where in the long array each entry (row >= column) of the factor stands."""
    found = np.empty(len(row), np.int64)
    for k in range(len(row)):
        s = owner[column[k]]
        high = row_at[s + 1]
        place = find_row(rows, row_at[s], high, row[k]) - row_at[s]
        found[k] = value_at[s] + (column[k] - first[s]) * (high - row_at[s]) + place
    return found


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def _places(t: int, k: int, m: int, own: Ints, first: Ints, row_at: Ints, rows: Ints, place: Ints) -> int:
    """Where rows k.. of `own` stand among the rows of group t; give the first that is no column of it."""
    begin, end = first[t], first[t + 1]
    low, high = row_at[t] + end - begin, row_at[t + 1]
    stop = m
    for i in range(k, m):
        row = own[i]
        if row < end:
            place[i] = row - begin
        else:
            if stop == m:
                stop = i
            low = find_row(rows, low, high, row)
            place[i] = low - row_at[t]
    return stop


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def take_away(s: int, update: Floats, values: Floats, first: Ints, owner: Ints, row_at: Ints, rows: Ints,
              value_at: Ints, place: Ints) -> None:  # fmt: skip
    """Subtract the update of group s, (m, m) of which row j is read from j on, from the groups above it."""
    own = rows[row_at[s] + first[s + 1] - first[s] : row_at[s + 1]]
    m, k = len(own), 0
    while k < m:
        t = owner[own[k]]
        stop = _places(t, k, m, own, first, row_at, rows, place)
        tall = row_at[t + 1] - row_at[t]
        for j in range(k, stop):
            base = value_at[t] + (own[j] - first[t]) * tall
            for i in range(np.uint64(j), np.uint64(m)):
                values[np.uint64(base + place[i])] -= update[j, i]
        k = stop


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def collect(s: int, inner: Floats, values: Floats, first: Ints, owner: Ints, row_at: Ints, rows: Ints,
            value_at: Ints, place: Ints) -> None:  # fmt: skip
    """Take from the groups above the symmetric block over the rows of group s, (m, m): row j from j on."""
    own = rows[row_at[s] + first[s + 1] - first[s] : row_at[s + 1]]
    m, k = len(own), 0
    while k < m:
        t = owner[own[k]]
        stop = _places(t, k, m, own, first, row_at, rows, place)
        tall = row_at[t + 1] - row_at[t]
        for j in range(k, stop):
            base = value_at[t] + (own[j] - first[t]) * tall
            for i in range(np.uint64(j), np.uint64(m)):
                inner[j, i] = values[np.uint64(base + place[i])]
        k = stop


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def _line_of_update(block: Floats, j: int, line: Floats) -> None:
    """Row j of the product of the part below with itself, from j on: four columns at once spare stores."""
    w, r = block.shape
    begin, end = np.uint64(j), np.uint64(r)
    k = w % 4
    for i in range(begin, end):
        line[i] = 0.0
    for q in range(k):
        share = block[q, j]
        for i in range(begin, end):
            line[i] += share * block[q, i]
    while k < w:
        one, two, three, four = block[k, j], block[k + 1, j], block[k + 2, j], block[k + 3, j]
        for i in range(begin, end):
            line[i] += one * block[k, i] + two * block[k + 1, i] + (three * block[k + 2, i] + four * block[k + 3, i])
        k += 4


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def _take_away_lines(s: int, block: Floats, values: Floats, first: Ints, owner: Ints, row_at: Ints, rows: Ints,
                     value_at: Ints, place: Ints, line: Floats) -> None:  # fmt: skip
    """Subtract the update of a small group from the groups above it, line by line: no (m, m) array is made."""
    w, r = len(block), block.shape[1]
    own = rows[row_at[s] : row_at[s + 1]]
    k = w
    while k < r:
        t = owner[own[k]]
        stop = _places(t, k, r, own, first, row_at, rows, place)
        tall = row_at[t + 1] - row_at[t]
        for j in range(k, stop):
            base = value_at[t] + (own[j] - first[t]) * tall
            if w == 1:
                share = block[0, j]
                for i in range(np.uint64(j), np.uint64(r)):
                    values[np.uint64(base + place[i])] -= share * block[0, i]
            else:
                _line_of_update(block, j, line)
                for i in range(np.uint64(j), np.uint64(r)):
                    values[np.uint64(base + place[i])] -= line[i]
        k = stop


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def factor_small(begin: int, end: int, values: Floats, first: Ints, owner: Ints, row_at: Ints, rows: Ints,
                 value_at: Ints, place: Ints, work: Floats) -> int:  # fmt: skip
    """Factor groups begin..end-1 in place; -1, or the column whose pivot is not above 0."""
    for s in range(begin, end):
        w, r = first[s + 1] - first[s], row_at[s + 1] - row_at[s]
        block = values[value_at[s] : value_at[s] + r * w].reshape((w, r))
        for j in range(w):
            for k in range(j):
                share = block[k, j]
                for i in range(np.uint64(j), np.uint64(r)):
                    block[j, i] -= block[k, i] * share
            pivot = block[j, j]
            if not pivot > 0.0:
                return int(first[s] + j)
            root = np.sqrt(pivot)
            block[j, j] = root
            for i in range(j + 1, r):
                block[j, i] /= root
        _take_away_lines(s, block, values, first, owner, row_at, rows, value_at, place, work[:r])
    return -1


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def _invert_triangle(block: Floats, own: Floats) -> None:
    """Row j of `own` becomes column j of the inverse of the triangle."""
    w = len(own)
    for j in range(w):
        for i in range(w):
            own[j, i] = 0.0
        own[j, j] = 1.0 / block[j, j]
        for i in range(j + 1, w):
            total = 0.0
            for k in range(j, i):
                total += block[k, i] * own[j, k]
            own[j, i] = -total / block[i, i]


# Sums may be taken in any order here, so that they are taken eight at a time.
@numba.njit(cache=True, nogil=True, fastmath={"reassoc", "contract"})  # type: ignore[misc, untyped-decorator, unused-ignore]
def _dot(one: Floats, two: Floats, begin: int) -> float:
    total = 0.0
    for i in range(np.uint64(begin), np.uint64(len(one))):
        total += one[i] * two[i]
    return total


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def _multiply_collected(s: int, slope: Floats, out: Floats, values: Floats, first: Ints, owner: Ints, row_at: Ints,
                        rows: Ints, value_at: Ints, place: Ints, line: Floats) -> None:  # fmt: skip
    """Subtract from `out` the slope times the symmetric block over the rows of s, taken line by line from above."""
    w, m = slope.shape
    own = rows[row_at[s] + w : row_at[s + 1]]
    k = 0
    while k < m:
        t = owner[own[k]]
        stop = _places(t, k, m, own, first, row_at, rows, place)
        tall = row_at[t + 1] - row_at[t]
        for j in range(k, stop):
            base = value_at[t] + (own[j] - first[t]) * tall
            for i in range(np.uint64(j), np.uint64(m)):
                line[i] = values[np.uint64(base + place[i])]
            for q in range(w):
                share = slope[q, j]
                below = _dot(slope[q], line, j + 1)
                for i in range(np.uint64(j), np.uint64(m)):
                    out[q, np.uint64(w) + i] -= share * line[i]
                out[q, w + j] -= below
        k = stop


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def invert_small(begin: int, end: int, values: Floats, inverse: Floats, first: Ints, owner: Ints, row_at: Ints,
                 rows: Ints, value_at: Ints, place: Ints, work: Floats) -> None:  # fmt: skip
    """Selected inverse of groups end-1 down to begin, the groups above being done."""
    for s in range(end - 1, begin - 1, -1):
        w, r = first[s + 1] - first[s], row_at[s + 1] - row_at[s]
        m = r - w
        block = values[value_at[s] : value_at[s] + r * w].reshape((w, r))
        out = inverse[value_at[s] : value_at[s] + r * w].reshape((w, r))
        line, own = work[:m], work[m : m + w * w].reshape((w, w))
        slope = work[m + w * w : m + w * w + w * m].reshape((w, m))
        for j in range(w - 1, -1, -1):
            for i in range(m):
                slope[j, i] = block[j, w + i]
                out[j, w + i] = 0.0
            for k in range(j + 1, w):
                share = block[j, k]
                for i in range(np.uint64(m)):
                    slope[j, i] -= share * slope[k, i]
            for i in range(m):
                slope[j, i] /= block[j, j]
        _multiply_collected(s, slope, out, inverse, first, owner, row_at, rows, value_at, place, line)
        _invert_triangle(block, own)
        for j in range(w):
            for i in range(j, w):
                total = 0.0
                for k in range(i, w):
                    total += own[j, k] * own[i, k]
                out[j, i] = total - _dot(slope[i], out[j, w:], 0)


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def forward_small(begin: int, end: int, values: Floats, x: Floats, first: Ints, row_at: Ints, rows: Ints,
                  value_at: Ints) -> None:  # fmt: skip
    """Solve with the triangle, groups begin..end-1, x (n, k) in place."""
    for s in range(begin, end):
        w, r = first[s + 1] - first[s], row_at[s + 1] - row_at[s]
        for j in range(w):
            base, c = value_at[s] + j * r, first[s] + j
            for q in range(x.shape[1]):
                x[c, q] /= values[base + j]
            for i in range(j + 1, r):
                row, share = rows[row_at[s] + i], values[base + i]
                for q in range(x.shape[1]):
                    x[row, q] -= share * x[c, q]


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def backward_small(begin: int, end: int, values: Floats, x: Floats, first: Ints, row_at: Ints, rows: Ints,
                   value_at: Ints) -> None:  # fmt: skip
    """Solve with the triangle turned over, groups end-1 down to begin, x (n, k) in place."""
    for s in range(end - 1, begin - 1, -1):
        w, r = first[s + 1] - first[s], row_at[s + 1] - row_at[s]
        for j in range(w - 1, -1, -1):
            base, c = value_at[s] + j * r, first[s] + j
            for i in range(j + 1, r):
                row, share = rows[row_at[s] + i], values[base + i]
                for q in range(x.shape[1]):
                    x[c, q] -= share * x[row, q]
            for q in range(x.shape[1]):
                x[c, q] /= values[base + j]
