"""Which plants and families stand behind a pedigree, as arrays with parents before progeny?

Every plant draws half of its genes from each of two sources; a selfed plant draws both halves from the same. A family
that is sibbed or bulked has an entry of its own beside the plant of its row: the mean of endlessly many further
members. Its variance is 2 g, twice the coancestry of two different members (`kinship` has the rules for g), and its
covariance with an older plant that of a further member. With it `sib` and `bulk` are matings like any other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from firstsilk.science.lineage.members import FAMILY_METHODS, METHODS, Member, check_members, order_members

Ints = NDArray[np.int64]
Small = NDArray[np.int32]
Floats = NDArray[np.float64]
CODE = {method: code for code, method in enumerate(METHODS)}
_UNKNOWN = -2  # a parent that is named, but has no row


@dataclass(frozen=True, slots=True)
class PedigreeTable:
    """A pedigree as columns of codes, in the order of its members (n,): method as in `METHODS`, parents by place.

    An unknown parent is -1.
    """

    method: NDArray[np.int8]
    mother: Ints
    father: Ints
    selfings: Ints


@dataclass(frozen=True, slots=True)
class Plants:
    """Plants and families (m,), parents first.

    `one` and `other` are the places of the two sources (-1: a plant of its own, unknown), `rule` and `value` how the
    variance is reckoned (`plant_kernels`), `of_member` (n,) the place of each member's own plant.
    """

    one: Small
    other: Small
    rule: NDArray[np.int8]
    value: Floats
    of_member: Ints


def read_members(members: Sequence[Member]) -> PedigreeTable:
    """Take the columns out of a checked pedigree.

    Parameters
    ----------
    members
        The pedigree, in any order.

    Returns
    -------
    PedigreeTable
        In the order of `members`.

    Raises
    ------
    InputRefused
        As `check_members`, loops excepted: `lay_out_plants` finds them.

    Notes
    -----
    The columns are looked at as a whole; only if something is amiss is each member asked, for its complaint.

    Checked by
    ----------
    tests/science/test_large_pedigree.py
    """
    place = {member.line: at for at, member in enumerate(members)}
    doubtful = len(place) < len(members) or "" in place
    place[""] = -1
    n = len(members)
    table = PedigreeTable(
        np.fromiter((CODE.get(member.method, -1) for member in members), np.int8, n),
        np.fromiter((place.get(member.mother, _UNKNOWN) for member in members), np.int64, n),
        np.fromiter((place.get(member.father, _UNKNOWN) for member in members), np.int64, n),
        np.fromiter((member.selfings for member in members), np.int64, n),
    )
    if doubtful or _is_doubtful(table):
        check_members(members)
    return table


def lay_out_plants(table: PedigreeTable, members: Sequence[Member] = ()) -> Plants:
    """Lay out the plants and families of a pedigree, parents first.

    Parameters
    ----------
    table
        A checked pedigree.
    members
        The same as members, to name a loop by.

    Returns
    -------
    Plants
        A plant for each member, and a family for each that is sibbed or bulked.

    Raises
    ------
    InputRefused
        If a line is its own ancestor.

    Checked by
    ----------
    tests/science/test_large_pedigree.py, tests/properties/test_relationship_laws.py
    """
    from firstsilk.science.lineage import plant_kernels as kernels

    order = kernels.put_parents_first(table.mother, table.father)
    if len(order) < len(table.method):
        order_members(members)
        raise AssertionError("a loop that the slow way does not find")
    families = np.isin(table.method, [CODE[method] for method in FAMILY_METHODS])
    in_family = np.zeros(len(table.method) + 1, dtype=np.bool_)  # the last place takes the unknown parents
    in_family[table.mother[families]] = True
    in_family[table.father[families]] = True
    return Plants(*kernels.list_plants(order, table.method, table.mother, table.father, table.selfings, in_family[:-1]))


def keep_ancestors(table: PedigreeTable, wanted: Ints) -> tuple[PedigreeTable, Ints]:
    """Leave out all who are neither wanted nor ancestors of one wanted.

    Parameters
    ----------
    table
        A checked pedigree without loops.
    wanted
        Places of the wanted members.

    Returns
    -------
    tuple
        The smaller pedigree, and the places in the larger of those it kept, in its order.

    Checked by
    ----------
    tests/properties/test_relationship_laws.py
    """
    from firstsilk.science.lineage import plant_kernels as kernels

    kept = np.flatnonzero(kernels.mark_ancestors(table.mother, table.father, wanted))
    at = np.full(len(table.method) + 1, -1, dtype=np.int64)
    at[kept] = np.arange(len(kept))
    return PedigreeTable(table.method[kept], at[table.mother[kept]], at[table.father[kept]], table.selfings[kept]), kept


def add_crosses(table: PedigreeTable, pairs: Sequence[tuple[int, int]]) -> PedigreeTable:
    """Add a cross of each pair of places: its inbreeding is their coancestry.

    Returns
    -------
    PedigreeTable
        With as many members more as there are pairs.

    Checked by
    ----------
    tests/properties/test_relationship_laws.py
    """
    more = np.fromiter(chain.from_iterable(pairs), np.int64, 2 * len(pairs)).reshape(-1, 2)
    return PedigreeTable(
        np.append(table.method, np.full(len(pairs), CODE["cross"], dtype=np.int8)),
        np.append(table.mother, more[:, 0]),
        np.append(table.father, more[:, 1]),
        np.append(table.selfings, np.ones(len(pairs), dtype=np.int64)),
    )


def _is_doubtful(table: PedigreeTable) -> bool:
    """Whether any rule of `check_members` may be broken; a loop apart."""
    method, mother, father = table.method, table.mother, table.father
    is_a = {name: method == code for name, code in CODE.items()}
    founder, cross = is_a["founder"] | is_a["founder_inbred"], is_a["cross"]
    alone = is_a["self"] | is_a["sib"] | is_a["dh"]
    mother_is_founder = is_a["founder"][mother.clip(0)] & (mother >= 0)
    father_is_founder = is_a["founder"][father.clip(0)] & (father >= 0)
    return bool(
        np.any(method < 0)
        or np.any((mother == _UNKNOWN) | (father == _UNKNOWN))
        or np.any(table.selfings < 1)
        or np.any((table.selfings != 1) & ~is_a["self"])
        or np.any(founder & ((mother >= 0) | (father >= 0)))
        or np.any(~founder & ~cross & (mother < 0))
        or np.any(alone & (father >= 0) & (father != mother))
        or np.any(is_a["open"] & (father >= 0))
        or np.any((is_a["sib"] | is_a["bulk"]) & mother_is_founder)
        or np.any(is_a["bulk"] & father_is_founder)
    )
