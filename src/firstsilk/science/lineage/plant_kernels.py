"""The compiled loops over plants: order, families, variances.

Importing this module imports numba: do it inside the function that needs it. The variance of a plant is 1 + F; with a
and b its sources and c their covariance (c = the variance of a where a is b) the rules are

=======  ==============================  ===============================================================
rule     variance                        for
=======  ==============================  ===============================================================
FIXED    value                           founders, doubled haploids
MATED    1 + c / 2                       any two plants, or two members of families
SELFED   2 - (2 - variance of a) value   value = 1/2^n after n selfings
PLANT    1 + c(a) / 2                    the plant of a row whose family a is in use
MEAN     (var a + var b + 2 c + v) / 4   a family of two plants, v of them unknown
SIBS     (var a + var of its plant) / 2  a family of two members of family a
=======  ==============================  ===============================================================
"""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

from firstsilk.science.lineage.members import METHODS

Ints = NDArray[np.int64]
Small = NDArray[np.int32]
Bytes = NDArray[np.int8]
Flags = NDArray[np.bool_]
Floats = NDArray[np.float64]

FOUNDER, INBRED, CROSS, SELF, SIB, DH, BULK, OPEN = (
    METHODS.index(name) for name in ("founder", "founder_inbred", "cross", "self", "sib", "dh", "bulk", "open")
)
FIXED, MATED, SELFED, PLANT, MEAN, SIBS = range(6)


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def put_parents_first(mother: Ints, father: Ints) -> Ints:
    """An order with parents before progeny: as given if it is one; shorter than the pedigree if there is a loop."""
    n, right = len(mother), True
    for i in range(n):
        right = right and mother[i] < i and father[i] < i
    order = np.arange(n)
    if right:
        return order
    waiting, start = np.zeros(n, np.int64), np.zeros(n + 2, np.int64)
    for i in range(n):
        for parent in (mother[i], father[i]):
            if parent >= 0:
                waiting[i] += 1
                start[parent + 2] += 1
    for i in range(n + 1):
        start[i + 1] += start[i]
    progeny = np.empty(start[-1], np.int64)
    for i in range(n):
        for parent in (mother[i], father[i]):
            if parent >= 0:
                progeny[start[parent + 1]] = i
                start[parent + 1] += 1
    used = 0
    for i in range(n):
        if waiting[i] == 0:
            order[used] = i
            used += 1
    done = 0
    while done < used:
        parent = order[done]
        done += 1
        for at in range(start[parent], start[parent + 1]):
            child = progeny[at]
            waiting[child] -= 1
            if waiting[child] == 0:
                order[used] = child
                used += 1
    return order[:used]


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def mark_ancestors(mother: Ints, father: Ints, wanted: Ints) -> Flags:
    """Those wanted and all their ancestors."""
    marked, stack, used = np.zeros(len(mother), np.bool_), np.empty(len(mother), np.int64), 0
    for i in wanted:
        if not marked[i]:
            marked[i] = True
            stack[used] = i
            used += 1
    while used:
        used -= 1
        i = stack[used]
        for parent in (mother[i], father[i]):
            if parent >= 0 and not marked[parent]:
                marked[parent] = True
                stack[used] = parent
                used += 1
    return marked


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def _mate(method: int, mother: int, father: int, selfings: int, own: Ints, family: Ints) -> tuple[int, int, int, float]:
    """The sources of a member's plant, its rule and the rule's number, when no family of it is in use."""
    if method in (FOUNDER, INBRED):
        return -1, -1, FIXED, 1.0 + (method == INBRED)
    if method == BULK:
        return family[mother], family[father if father >= 0 else mother], MATED, 0.0
    if method == SIB:
        return family[mother], family[mother], MATED, 0.0
    one = own[mother] if mother >= 0 else -1
    if method == DH:
        return one, one, FIXED, 2.0
    if method == SELF:
        return one, one, SELFED, 0.5**selfings
    return one, (own[father] if father >= 0 and method == CROSS else -1), MATED, 0.0


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def _family_rule(method: int, one: int, other: int, value: float, has_plant: bool) -> tuple[int, float]:
    """The rule for the family of a member, from that of its plant."""
    if method == SELF:
        return SELFED, 2.0 * value  # what grew from one ear: the plant before the last selfing
    if method == SIB and has_plant:
        return SIBS, 0.0
    unknown = (one < 0) + (other < 0) if method == CROSS else 0
    return MEAN, float(unknown)


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def list_plants(order: Ints, method: Bytes, mother: Ints, father: Ints, selfings: Ints,
                in_family: Flags) -> tuple[Small, Small, Bytes, Floats, Ints]:  # fmt: skip
    """Sources, rules and numbers of all plants and families, and the place of each member's plant."""
    n = len(order)
    most = 2 * n
    ones, others = np.empty(most, np.int32), np.empty(most, np.int32)
    rules, values = np.empty(most, np.int8), np.empty(most, np.float64)
    own, family, used = np.empty(n, np.int64), np.full(n, -1, np.int64), 0
    for i in order:
        kind = method[i]
        one, other, rule, value = _mate(kind, mother[i], father[i], selfings[i], own, family)
        family[i] = used
        if in_family[i] and kind != INBRED and kind != DH:
            has_plant = kind == SIB and family[mother[i]] != own[mother[i]]
            ones[used], others[used] = one, other
            rules[used], values[used] = _family_rule(kind, one, other, value, has_plant)
            one, other = used, used
            rule = MATED if kind == SELF else PLANT
            used += 1
        own[i] = used
        ones[used], others[used], rules[used], values[used] = one, other, rule, value
        used += 1
    return ones[:used], others[:used], rules[:used], values[:used], own


@numba.njit(cache=True, nogil=True)  # type: ignore[misc, untyped-decorator, unused-ignore]
def reckon(i: int, one: Small, other: Small, rule: Bytes, value: Floats, shared: Floats, variance: Floats) -> None:
    """Set the variance of plant i, and the covariance of its sources where it follows from them; parents are done."""
    a, b = one[i], other[i]
    if a == b and a >= 0:
        shared[i] = variance[a]
    kind = rule[i]
    if kind == FIXED:
        variance[i] = value[i]
    elif kind == MATED:
        variance[i] = 1.0 + shared[i] / 2.0
    elif kind == SELFED:
        variance[i] = 2.0 - (2.0 - variance[a]) * value[i]
    elif kind == PLANT:
        variance[i] = 1.0 + shared[a] / 2.0
    elif kind == SIBS:
        variance[i] = (variance[a] + variance[a + 1]) / 2.0
    else:
        apart = (variance[a] if a >= 0 else 0.0) + (variance[b] if b >= 0 else 0.0)
        variance[i] = (apart + 2.0 * shared[i] + value[i]) / 4.0
