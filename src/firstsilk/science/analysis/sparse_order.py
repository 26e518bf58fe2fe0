"""In which order are the unknowns of a sparse set of equations taken out, so that little fills in?

Minimum degree on the quotient graph, and the elimination tree of what results. Compiled; importing this module
imports numba: do it inside the function that needs it.
"""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]


def order_columns(indptr: Ints, indices: Ints) -> Ints:
    """Order the columns of a symmetric pattern for elimination.

    Parameters
    ----------
    indptr, indices
        The whole pattern (both triangles, the diagonal may be there) by column, (n + 1,) and (entries,).

    Returns
    -------
    Ints
        The columns in the order in which to eliminate them, (n,).

    Notes
    -----
    Approximate minimum external degree with elements absorbed, alike columns merged, and columns that touch more
    than ten roots of n others put last; then sorted so that a child in the elimination tree comes before its
    parent with nothing else between families.

    References
    ----------
    Amestoy, Davis & Duff 1996 SIAM J. Matrix Anal. Appl. 17:886; Liu 1990 SIAM J. Matrix Anal. Appl. 11:134.

    Checked by
    ----------
    tests/science/test_sparse_factor.py
    """
    n = len(indptr) - 1
    degrees = np.diff(indptr)
    crowded = degrees > max(16.0, 10.0 * np.sqrt(n))
    plain = np.flatnonzero(~crowded)
    number = np.full(n, -1, dtype=np.int64)
    number[plain] = np.arange(len(plain))
    column = np.repeat(np.arange(n), degrees)
    kept = (number[column] >= 0) & (number[indices] >= 0) & (column != indices)
    inner = np.zeros(len(plain) + 1, dtype=np.int64)
    np.cumsum(np.bincount(number[column[kept]], minlength=len(plain)), out=inner[1:])
    order = plain[_minimum_degree(inner, number[indices[kept]])]
    return np.concatenate([order, np.flatnonzero(crowded)])


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def _minimum_degree(indptr: Ints, indices: Ints) -> Ints:
    n = len(indptr) - 1
    start, cells = indptr[:n].copy(), indices.copy()
    n_elements = np.zeros(n, np.int64)
    length = indptr[1:] - indptr[:n]
    size = np.ones(n, np.int64)
    alive = np.ones(n, np.bool_)
    is_element = np.zeros(n, np.bool_)
    at, until, weight = np.zeros(n, np.int64), np.zeros(n, np.int64), np.zeros(n, np.int64)
    store, used = np.empty(max(16, 2 * len(indices)), np.int64), 0
    twin, twin_end = np.full(n, -1, np.int64), np.arange(n)
    head, after, before = np.full(n + 1, -1, np.int64), np.full(n, -1, np.int64), np.full(n, -1, np.int64)
    degree = length.copy()
    for i in range(n - 1, -1, -1):
        _enter(head, after, before, degree[i], i)
    mark, left, tag = np.zeros(n, np.int64), np.zeros(n, np.int64), 1
    seen, bucket, chain = np.zeros(n, np.int64), np.full(n + 1, -1, np.int64), np.full(n, -1, np.int64)
    order, done, least = np.empty(n, np.int64), 0, 0
    keys = np.zeros(n, np.int64)
    while done < n:
        while head[least] < 0:
            least += 1
        p = head[least]
        _leave(head, after, before, least, p)
        tag += 1
        mark[p] = tag
        # The new element: all unknowns that p touches, directly or through elements, which it takes over.
        room = used + length[p] - n_elements[p]
        for cell in range(start[p], start[p] + n_elements[p]):
            room += until[cells[cell]] - at[cells[cell]]
        if room > len(store):
            larger = np.empty(2 * room, np.int64)
            larger[:used] = store[:used]
            store = larger
        begin, total = used, 0
        for cell in range(start[p], start[p] + length[p]):
            j = cells[cell]
            if cell < start[p] + n_elements[p]:
                if not (is_element[j] and alive[j]):
                    continue
                for inside in range(at[j], until[j]):
                    i = store[inside]
                    if size[i] > 0 and alive[i] and mark[i] != tag:
                        mark[i] = tag
                        store[used] = i
                        used += 1
                        total += size[i]
                alive[j] = False
            elif size[j] > 0 and alive[j] and mark[j] != tag:
                mark[j] = tag
                store[used] = j
                used += 1
                total += size[j]
        is_element[p] = True
        done = _emit(order, done, twin, p)
        at[p], until[p], weight[p] = begin, used, total
        # How much of each touched element lies outside the new one.
        for k in range(begin, used):
            i = store[k]
            for cell in range(start[i], start[i] + n_elements[i]):
                e = cells[cell]
                if alive[e]:
                    if seen[e] != tag:
                        seen[e] = tag
                        left[e] = weight[e]
                    left[e] -= size[i]
        for k in range(begin, used):
            i = store[k]
            _leave(head, after, before, degree[i], i)
            write, outside, key = start[i], 0, 0
            for cell in range(start[i], start[i] + n_elements[i]):
                e = cells[cell]
                if alive[e]:
                    if left[e] == 0:
                        alive[e] = False
                    else:
                        outside += left[e]
                        key += e
                        cells[write] = e
                        write += 1
            first_plain = write
            for cell in range(start[i] + n_elements[i], start[i] + length[i]):
                j = cells[cell]
                if alive[j] and not is_element[j] and size[j] > 0 and mark[j] != tag:
                    outside += size[j]
                    key += j
                    cells[write] = j
                    write += 1
            if outside == 0:
                # Touches nothing but the new element: goes with it at once.
                alive[i] = False
                total -= size[i]
                size[i] = 0
                done = _emit(order, done, twin, i)
                continue
            if write > first_plain:
                cells[write] = cells[first_plain]
            cells[first_plain] = cells[start[i]]
            cells[start[i]] = p
            n_elements[i] = first_plain - start[i] + 1
            length[i] = write - start[i] + 1
            degree[i] = min(degree[i], outside)
            keys[i] = (key + p) % n
            chain[i] = bucket[keys[i]]
            bucket[keys[i]] = i
        weight[p] = total
        # Unknowns that touch the same become one.
        for k in range(begin, used):
            i = store[k]
            if not alive[i] or bucket[keys[i]] < 0:
                continue
            one = bucket[keys[i]]
            bucket[keys[i]] = -1
            while one >= 0:
                if size[one] > 0:
                    tag += 1
                    for cell in range(start[one], start[one] + length[one]):
                        seen[cells[cell]] = tag
                    other = chain[one]
                    while other >= 0:
                        same = size[other] > 0 and length[other] == length[one] and n_elements[other] == n_elements[one]
                        cell = start[other]
                        while same and cell < start[other] + length[other]:
                            same = seen[cells[cell]] == tag
                            cell += 1
                        if same:
                            size[one] += size[other]
                            size[other] = 0
                            alive[other] = False
                            twin[twin_end[one]] = other
                            twin_end[one] = twin_end[other]
                        other = chain[other]
                one = chain[one]
        tag += 1
        write = begin
        for k in range(begin, used):
            i = store[k]
            if alive[i] and size[i] > 0:
                store[write] = i
                write += 1
                degree[i] = min(degree[i] + total - size[i], n - done - size[i])
                degree[i] = max(degree[i], 0)
                _enter(head, after, before, degree[i], i)
                least = min(least, degree[i])
        used = write
        until[p] = write
        if write == begin:
            alive[p] = False
    return order


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def _emit(order: Ints, done: int, twin: Ints, i: int) -> int:
    while i >= 0:
        order[done] = i
        done += 1
        i = twin[i]
    return done


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def _enter(head: Ints, after: Ints, before: Ints, degree: int, i: int) -> None:
    other = head[degree]
    after[i], before[i] = other, -1
    if other >= 0:
        before[other] = i
    head[degree] = i


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def _leave(head: Ints, after: Ints, before: Ints, degree: int, i: int) -> None:
    if before[i] >= 0:
        after[before[i]] = after[i]
    else:
        head[degree] = after[i]
    if after[i] >= 0:
        before[after[i]] = before[i]


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def find_parents(indptr: Ints, indices: Ints) -> Ints:
    """The parent of each column in the elimination tree, -1 for a root; of each column the rows above it are read."""
    n = len(indptr) - 1
    parent, jump = np.full(n, -1, np.int64), np.full(n, -1, np.int64)
    for j in range(n):
        for cell in range(indptr[j], indptr[j + 1]):
            i = indices[cell]
            while i >= 0 and i < j:
                above = jump[i]
                jump[i] = j
                if above < 0:
                    parent[i] = j
                i = above
    return parent


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def sort_families(parent: Ints) -> Ints:
    """Postorder of a forest: children before their parent, each family in one stretch."""
    n = len(parent)
    child, sibling = np.full(n, -1, np.int64), np.full(n, -1, np.int64)
    for j in range(n - 1, -1, -1):
        if parent[j] >= 0:
            sibling[j] = child[parent[j]]
            child[parent[j]] = j
    order, stack, done = np.empty(n, np.int64), np.empty(n, np.int64), 0
    for root in range(n):
        if parent[root] >= 0:
            continue
        stack[0], top = root, 1
        while top > 0:
            j = stack[top - 1]
            if child[j] >= 0:
                stack[top] = child[j]
                child[j] = sibling[child[j]]
                top += 1
            else:
                order[done] = j
                done += 1
                top -= 1
    return order


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def count_rows(indptr: Ints, indices: Ints, parent: Ints) -> Ints:
    """How many rows each column of the factor has, its diagonal among them."""
    n = len(parent)
    count, mark = np.ones(n, np.int64), np.full(n, -1, np.int64)
    for i in range(n):
        mark[i] = i
        for cell in range(indptr[i], indptr[i + 1]):
            k = indices[cell]
            while k < i and mark[k] != i:
                count[k] += 1
                mark[k] = i
                k = parent[k]
    return count
