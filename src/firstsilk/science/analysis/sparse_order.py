"""In which order are the unknowns of a sparse set of equations taken out, so that little fills in?

Minimum degree on the quotient graph, and the elimination tree of what results. Compiled; importing this module
imports numba: do it inside the function that needs it.
"""

from __future__ import annotations

from typing import NamedTuple

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
    order = plain[_minimum_degree(_graph_of(inner, number[indices[kept]]))]
    return np.concatenate([order, np.flatnonzero(crowded)])


class _Graph(NamedTuple):
    """What is left of the pattern: for each unknown its elements, then its plain neighbours, in `cells` from `start`.

    An unknown that is taken out becomes an element, whose unknowns stand in a store from `at` to `until` and weigh
    `weight`. `size` counts the unknowns one stands for, chained by `twin`; `mark`, `seen`, `left` are work room.
    """

    start: Ints
    length: Ints
    n_elements: Ints
    cells: Ints
    size: Ints
    alive: NDArray[np.bool_]
    is_element: NDArray[np.bool_]
    at: Ints
    until: Ints
    weight: Ints
    twin: Ints
    twin_end: Ints
    head: Ints
    after: Ints
    before: Ints
    degree: Ints
    mark: Ints
    seen: Ints
    left: Ints
    bucket: Ints
    chain: Ints
    keys: Ints


def _graph_of(indptr: Ints, indices: Ints) -> _Graph:
    n = len(indptr) - 1

    def numbers(value: int, size: int = n) -> Ints:
        return np.full(size, value, dtype=np.int64)

    lengths = np.diff(indptr)
    return _Graph(
        start=indptr[:n].copy(), length=lengths, n_elements=numbers(0), cells=indices.copy(), size=numbers(1),
        alive=np.ones(n, dtype=np.bool_), is_element=np.zeros(n, dtype=np.bool_), at=numbers(0), until=numbers(0),
        weight=numbers(0), twin=numbers(-1), twin_end=np.arange(n, dtype=np.int64), head=numbers(-1, n + 1),
        after=numbers(-1), before=numbers(-1), degree=lengths.copy(), mark=numbers(0), seen=numbers(0),
        left=numbers(0), bucket=numbers(-1, n + 1), chain=numbers(-1), keys=numbers(0),
    )  # fmt: skip


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def _minimum_degree(g: _Graph) -> Ints:
    n = len(g.size)
    store, used, tag = np.empty(max(16, 2 * len(g.cells)), np.int64), 0, 1
    for i in range(n - 1, -1, -1):
        _enter(g.head, g.after, g.before, g.degree[i], i)
    order, done, least = np.empty(n, np.int64), 0, 0
    while done < n:
        while g.head[least] < 0:
            least += 1
        p = g.head[least]
        _leave(g.head, g.after, g.before, least, p)
        tag += 1
        g.mark[p] = tag
        store = _make_room(g, p, store, used)
        begin = used
        used = _collect_element(g, p, store, used, tag)
        done = _emit(order, done, g.twin, p)
        _weigh_outside(g, store[begin:used], tag)
        for i in store[begin:used]:
            _leave(g.head, g.after, g.before, g.degree[i], i)
            if not _prune(g, p, i, tag):
                done = _emit(order, done, g.twin, i)
        tag = _merge_alike(g, store[begin:used], tag) + 1
        used, least = _settle(g, p, store, begin, used, least, n - done)
    return order


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def _make_room(g: _Graph, p: int, store: Ints, used: int) -> Ints:
    """A store that holds the element of p as well."""
    room = used + g.length[p] - g.n_elements[p]
    for cell in range(g.start[p], g.start[p] + g.n_elements[p]):
        room += g.until[g.cells[cell]] - g.at[g.cells[cell]]
    if room <= len(store):
        return store
    larger = np.empty(2 * room, np.int64)
    larger[:used] = store[:used]
    return larger


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def _collect_element(g: _Graph, p: int, store: Ints, used: int, tag: int) -> int:
    """The new element: all unknowns that p touches, directly or through elements, which it takes over."""
    g.at[p], total = used, 0
    for cell in range(g.start[p], g.start[p] + g.length[p]):
        j = g.cells[cell]
        if cell < g.start[p] + g.n_elements[p]:
            if not g.alive[j]:
                continue
            for i in store[g.at[j] : g.until[j]]:
                if g.alive[i] and g.mark[i] != tag:
                    g.mark[i] = tag
                    store[used] = i
                    used += 1
                    total += g.size[i]
            g.alive[j] = False
        elif g.alive[j] and g.mark[j] != tag:
            g.mark[j] = tag
            store[used] = j
            used += 1
            total += g.size[j]
    g.is_element[p] = True
    g.until[p], g.weight[p] = used, total
    return used


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def _weigh_outside(g: _Graph, inside: Ints, tag: int) -> None:
    """How much of each touched element lies outside the new one."""
    for i in inside:
        for cell in range(g.start[i], g.start[i] + g.n_elements[i]):
            e = g.cells[cell]
            if g.alive[e]:
                if g.seen[e] != tag:
                    g.seen[e] = tag
                    g.left[e] = g.weight[e]
                g.left[e] -= g.size[i]


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def _prune(g: _Graph, p: int, i: int, tag: int) -> bool:
    """Drop from an unknown what the new element covers; False if nothing is left, then it goes with p at once."""
    n, write, outside, key = len(g.size), g.start[i], 0, 0
    for cell in range(g.start[i], g.start[i] + g.n_elements[i]):
        e = g.cells[cell]
        if g.alive[e]:
            if g.left[e] == 0:
                g.alive[e] = False
            else:
                outside += g.left[e]
                key += e
                g.cells[write] = e
                write += 1
    first_plain = write
    for cell in range(g.start[i] + g.n_elements[i], g.start[i] + g.length[i]):
        j = g.cells[cell]
        if g.alive[j] and not g.is_element[j] and g.mark[j] != tag:
            outside += g.size[j]
            key += j
            g.cells[write] = j
            write += 1
    if outside == 0:
        g.alive[i] = False
        g.weight[p] -= g.size[i]
        g.size[i] = 0
        return False
    if write > first_plain:
        g.cells[write] = g.cells[first_plain]
    g.cells[first_plain] = g.cells[g.start[i]]
    g.cells[g.start[i]] = p
    g.n_elements[i], g.length[i] = first_plain - g.start[i] + 1, write - g.start[i] + 1
    g.degree[i] = min(g.degree[i], outside)
    g.keys[i] = (key + p) % n
    g.chain[i] = g.bucket[g.keys[i]]
    g.bucket[g.keys[i]] = i
    return True


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def _merge_alike(g: _Graph, inside: Ints, tag: int) -> int:
    """Unknowns that touch the same become one."""
    for i in inside:
        if not g.alive[i] or g.bucket[g.keys[i]] < 0:
            continue
        one = g.bucket[g.keys[i]]
        g.bucket[g.keys[i]] = -1
        while one >= 0:
            if g.size[one] > 0:
                tag += 1
                for cell in range(g.start[one], g.start[one] + g.length[one]):
                    g.seen[g.cells[cell]] = tag
                other = g.chain[one]
                while other >= 0:
                    if g.size[other] > 0 and _touch_alike(g, one, other, tag):
                        g.size[one] += g.size[other]
                        g.size[other] = 0
                        g.alive[other] = False
                        g.twin[g.twin_end[one]] = other
                        g.twin_end[one] = g.twin_end[other]
                    other = g.chain[other]
            one = g.chain[one]
    return tag


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def _touch_alike(g: _Graph, one: int, other: int, tag: int) -> bool:
    if g.length[other] != g.length[one] or g.n_elements[other] != g.n_elements[one]:
        return False
    cell, end, alike = g.start[other], g.start[other] + g.length[other], True
    while alike and cell < end:
        alike = g.seen[g.cells[cell]] == tag
        cell += 1
    return alike


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def _settle(g: _Graph, p: int, store: Ints, begin: int, used: int, least: int, rest: int) -> tuple[int, int]:
    """Put what is left of the new element back by degree; where its unknowns end, and the least degree."""
    write, total = begin, g.weight[p]
    for i in store[begin:used]:
        if g.alive[i]:
            store[write] = i
            write += 1
            g.degree[i] = max(min(g.degree[i] + total - g.size[i], rest - g.size[i]), 0)
            _enter(g.head, g.after, g.before, g.degree[i], i)
            least = min(least, g.degree[i])
    g.until[p] = write
    g.alive[p] = write > begin
    return write, least


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
