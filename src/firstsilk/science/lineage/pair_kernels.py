"""The compiled loops that find the covariance of the sources of all matings of two different plants.

Importing this module imports numba: do it inside the function that needs it. One vector of covariances for each younger
source, over the ancestors of all sources only; `WIDE` vectors are worked out together, side by side in memory.
"""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

from firstsilk.science.lineage.plant_kernels import MATED, MEAN, SIBS, reckon

Ints = NDArray[np.int64]
Small = NDArray[np.int32]
Bytes = NDArray[np.int8]
Flags = NDArray[np.bool_]
Floats = NDArray[np.float64]

WIDE = 8


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def reduce_pairs(one: Small, other: Small, rule: Bytes) -> tuple[Small, Small]:
    """The younger and the older of the two plants whose covariance each mating needs; -1 where it needs none.

    A plant with one source is related to an older one as its source is, so the younger is led back along its line. If
    both come to the same plant, younger = older = that plant.
    """
    young, old = np.full(len(one), -1, np.int32), np.full(len(one), -1, np.int32)
    for i in range(len(one)):
        x, y = max(one[i], other[i]), min(one[i], other[i])
        if x == y or y < 0 or (rule[i] != MATED and rule[i] != MEAN):
            continue
        while x != y and one[x] == other[x] and one[x] >= 0:
            x = one[x]
            if x < y:
                x, y = y, x
        if x == y or one[x] >= 0 or other[x] >= 0:  # a younger founder is unrelated
            young[i], old[i] = x, y
    return young, old


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def mark_needed(one: Small, other: Small, rule: Bytes, young: Small, old: Small) -> tuple[Flags, Flags, Flags]:
    """Plants asked for in pairs; these and their ancestors; and all whose variance those need."""
    m = len(one)
    asked, flow, needed = np.zeros(m, np.bool_), np.zeros(m, np.bool_), np.zeros(m, np.bool_)
    for i in range(m):
        if young[i] >= 0 and young[i] != old[i]:
            asked[young[i]] = True
            asked[old[i]] = True
    for i in range(m - 1, -1, -1):
        if asked[i]:
            flow[i] = True
        if flow[i]:
            needed[i] = True
        for parent in (one[i], other[i]):
            if parent >= 0:
                flow[parent] |= flow[i]
                needed[parent] |= needed[i]
        if rule[i] == SIBS and needed[i]:
            needed[one[i] + 1] = True
    return asked, flow, needed


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def contract(one: Small, other: Small, asked: Flags, flow: Flags) -> tuple[Small, Small, Small, Small]:
    """A smaller pedigree of those in `flow`: who leads to one plant only, by selfing, is merged with it.

    Returns the place of each plant in it (-1: none), its two sources there, and the plant from whose sources they are.
    """
    m = len(one)
    kids, place, start = np.zeros(m, np.int8), np.full(m, -1, np.int32), np.empty(m, np.int32)
    for i in range(m):
        if flow[i]:
            alone = one[i] == other[i]
            for parent in (one[i], other[i]):
                if parent >= 0:
                    kids[parent] = min(kids[parent] + 1, 3) if alone else 3
    left, right, used = np.empty(m, np.int32), np.empty(m, np.int32), 0
    for i in range(m):
        if not flow[i]:
            continue
        start[i] = i
        if one[i] == other[i] and one[i] >= 0 and place[one[i]] < 0:
            start[i] = start[one[i]]
        if asked[i] or kids[i] != 2:  # one selfed plant counts twice
            a, b = one[start[i]], other[start[i]]
            left[used], right[used] = (place[a] if a >= 0 else -1), (place[b] if b >= 0 else -1)
            place[i] = used
            used += 1
    return place, left[:used], right[:used], start


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def list_by_younger(place: Small, young: Small, old: Small, size: int) -> tuple[Ints, Small]:
    """The matings of each younger plant of the smaller pedigree: pointers (size + 1,) and matings."""
    start = np.zeros(size + 2, np.int64)
    for i in range(len(young)):
        if young[i] >= 0 and young[i] != old[i]:
            start[place[young[i]] + 2] += 1
    for i in range(size + 1):
        start[i + 1] += start[i]
    matings = np.empty(start[-1], np.int32)
    for i in range(len(young)):
        if young[i] >= 0 and young[i] != old[i]:
            at = place[young[i]] + 1
            matings[start[at]] = i
            start[at] += 1
    return start[:-1], matings


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def _lead_up(work: Floats, left: Small, right: Small, youngest: int) -> None:
    """Row i becomes the share of each batched plant's genes that came through plant i."""
    for i in range(youngest, -1, -1):
        a, b = left[i], right[i]
        if a < 0 and b < 0:
            continue
        any_here = 0.0
        for k in range(WIDE):
            any_here += work[i, k]
        if any_here == 0.0:
            continue
        if a >= 0:
            for k in range(WIDE):
                work[a, k] += 0.5 * work[i, k]
        if b >= 0:
            for k in range(WIDE):
                work[b, k] += 0.5 * work[i, k]


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def _lead_down(work: Floats, left: Small, right: Small, own: Floats, last: int) -> None:
    """Row i becomes the covariance of plant i with each batched plant."""
    for i in range(last + 1):
        a, b = left[i], right[i]
        if a >= 0 and b >= 0:
            for k in range(WIDE):
                work[i, k] = own[i] * work[i, k] + 0.5 * (work[a, k] + work[b, k])
        elif a >= 0 or b >= 0:
            a = max(a, b)
            for k in range(WIDE):
                work[i, k] = own[i] * work[i, k] + 0.5 * work[a, k]
        else:
            for k in range(WIDE):
                work[i, k] = own[i] * work[i, k]


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def _share(batch: Ints, count: int, work: Floats, left: Small, right: Small, own: Floats, start: Ints,
           matings: Small, place: Small, old: Small, shared: Floats, told: Flags) -> None:  # fmt: skip
    """Set the covariance of the sources of all matings of the batched plants."""
    if count == 0:
        return
    youngest: int = np.int64(0)  # type: ignore[assignment]
    last = youngest
    for k in range(count):
        told[batch[k]] = True
        youngest = max(youngest, batch[k])
        for at in range(start[batch[k]], start[batch[k] + 1]):
            last = max(last, place[old[matings[at]]])
    for i in range(youngest + 1):
        for k in range(WIDE):
            work[i, k] = 0.0
    for k in range(count):
        work[batch[k], k] = 1.0
    _lead_up(work, left, right, youngest)
    _lead_down(work, left, right, own, last)
    for k in range(count):
        for at in range(start[batch[k]], start[batch[k] + 1]):
            shared[matings[at]] = work[place[old[matings[at]]], k]


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def find_variances(one: Small, other: Small, rule: Bytes, value: Floats, young: Small, old: Small, needed: Flags,
                   place: Small, left: Small, right: Small, begun: Small, start: Ints,
                   matings: Small) -> tuple[Floats, Floats]:  # fmt: skip
    """The variance of every plant and family, and the covariance of its two sources, both (m,)."""
    m, size = len(one), len(left)
    variance, shared, own, told = np.zeros(m), np.zeros(m), np.zeros(size), np.zeros(size, np.bool_)
    work, batch = np.zeros((size, WIDE)), np.zeros(WIDE, np.int64)
    count: int = np.int64(0)  # type: ignore[assignment]  # a plain 0 is a constant: all would be compiled twice
    for i in range(m):
        if not needed[i]:
            continue
        if count == WIDE or (young[i] >= 0 and young[i] != old[i] and not told[place[young[i]]]):
            _share(batch, count, work, left, right, own, start, matings, place, old, shared, told)
            count = np.int64(0)  # type: ignore[assignment]
        if young[i] >= 0 and young[i] == old[i]:
            shared[i] = variance[young[i]]
        reckon(i, one, other, rule, value, shared, variance)
        p = place[i]
        if p < 0:
            continue
        a, b = one[begun[i]], other[begun[i]]
        apart = (variance[a] if a >= 0 else 0.0) + (variance[b] if b >= 0 else 0.0)
        own[p] = variance[i] - (apart + 2.0 * shared[begun[i]]) / 4.0
        if start[p + 1] > start[p]:
            batch[count] = p
            count += 1
    _share(batch, count, work, left, right, own, start, matings, place, old, shared, told)
    for i in range(m):
        if not needed[i]:
            if young[i] >= 0 and young[i] == old[i]:
                shared[i] = variance[young[i]]
            reckon(i, one, other, rule, value, shared, variance)
    return variance, shared
