"""How inbred is each line of a pedigree, and how closely are two of them related?

**What a row stands for.** One plant, and whatever is made from it by `self`, `dh`, `cross` or `open` is made from that
same plant. `sib` and `bulk` ask for a family instead: they use further members of the mother's family, plants that were
made just as the row's own plant was, from the same parents, but are not that plant.

Write f(X,Y) for the coancestry of plants X and Y (the chance that a random gene of X and one of Y at a locus are
identical by descent), F for inbreeding. For every plant f(X,X) = (1+F)/2. For a plant X and an older plant Y:

=================  =======================  =================================================================
method             F                        f(X,Y)
=================  =======================  =================================================================
`founder`          0                        0
`founder_inbred`   1                        0
`cross` M, P       f(M,P)                   (f(M,Y) + f(P,Y)) / 2; an unknown parent is non-inbred and
                                            unrelated: f(P,Y) = 0
`self` n times     1 - (1-F_M) / 2^n        f(M,Y): one plant a generation, so selfing loses genes of M at
                                            random but brings in none
`dh`               1                        f(M,Y)
`sib`              g(M)                     f(M',Y): two further members of the family M, one gamete of each
`bulk` M           g(M)                     f(M',Y): many members of M with the mixed pollen of many
`bulk` M, P        f(M',P')                 (f(M',Y) + f(P',Y)) / 2
`open`             0                        f(M,Y) / 2: every kernel may have a father of its own, unrelated
=================  =======================  =================================================================

M' is a random further member of the family M. It is related to plants older than M as M is; to M itself, and to any
other further member, by g(M), the coancestry of two different members of the family:

=================  ==================================================================================================
M was made by      g(M)
=================  ==================================================================================================
`founder`          refused: nothing is known about its family
`founder_inbred`   1: all members are alike
`dh`               1: the family is the increase of one doubled haploid
`cross` A, B       (f(A,A) + 2 f(A,B) + f(B,B)) / 4: full sibs; an unknown parent is one plant, f(B,B) = 1/2
`self` n of A      (1 + F_(n-1)) / 2, where F_(n-1) is that of the plant before the last selfing: the family is what
                   grew from one ear (ear-to-row). This equals F_M: sibbing within such a family neither adds nor
                   loses inbreeding
`sib` in A         ((1+F_A)/2 + g(A)) / 2: full sibs of the two plants that were crossed
`bulk` of A, B     (g(A) + g(B) + 2 f(A',B')) / 4, which is g(A) for a bulk within A: no two share a parent plant
`open` on A        f(A,A) / 4: half sibs through the mother
=================  ==================================================================================================

So repeated `sib` from a cross gives the full-sib series of F, and repeated `bulk` holds F as a large population does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import Finding, InputRefused, Place, refuse
from firstsilk.science.lineage.members import FAMILY_METHODS, Member, check_members, order_members

MEMBERS_MAX = 10_000
"""Members in one table: the full matrix of so many takes 0.8 GB, twice that while it is ordered. Our own bound."""

_Rows = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Kinship:
    """Inbreeding (n,) [0 to 1] and coancestry (n, n) [0 to 1] of the lines, in the order of the pedigree."""

    lines: tuple[str, ...]
    inbreeding: NDArray[np.float64]
    coancestry: NDArray[np.float64]


def find_coancestry(members: Sequence[Member]) -> Kinship:
    """Inbreeding and coancestry of all members of a pedigree.

    Parameters
    ----------
    members
        The pedigree, in any order.

    Returns
    -------
    Kinship
        In the order of `members`; the diagonal of `coancestry` is (1+F)/2.

    Raises
    ------
    InputRefused
        What `check_members` refuses; a cross of a line with itself that is not fully inbred; too many members.

    Notes
    -----
    Tabular method, parents before progeny, one row at a time, double precision: every value is a sum of powers of 1/2,
    exact to 53 binary places. The rules stand at the head of this module. Time and memory grow with the square of
    the number of members.

    References
    ----------
    Malecot 1948, Les mathematiques de l'heredite; Emik & Terrill 1949 (tabular method); Falconer & Mackay 1996,
    Introduction to Quantitative Genetics, ch. 5; Lynch & Walsh 1998, Genetics and Analysis of Quantitative Traits, ch.
    7.
    The rules for members of families are derived here from gene identity.

    Checked by
    ----------
    tests/outside/test_lineage.py; gene dropping in tests/science/test_kinship.py
    """
    check_members(members)
    if len(members) > MEMBERS_MAX:
        raise refuse(
            "pedigree_too_large",
            f"the pedigree has {len(members)} members, more than {MEMBERS_MAX}",
            "Name the pairs you ask for, or leave out lines that are no ancestors of theirs.",
        )
    table = _Table(members)
    for at in order_members(members):
        table.add(members[at])
    kept = np.array([table.place[member.line] for member in members], dtype=np.intp)
    return Kinship(
        tuple(member.line for member in members),
        np.array([table.inbreeding[member.line] for member in members], dtype=np.float64),
        table.shared[np.ix_(kept, kept)],
    )


def find_relationship(members: Sequence[Member]) -> NDArray[np.float64]:
    """The numerator relationship matrix A = 2 x coancestry, in the order of `members`, shape (n, n).

    Raises
    ------
    InputRefused
        As `find_coancestry`.

    Notes
    -----
    A_ii = 1 + F_i: 1 for a non-inbred plant, 2 for a fully inbred line.

    Checked by
    ----------
    tests/outside/test_lineage.py
    """
    return 2.0 * find_coancestry(members).coancestry


class _Table:
    """The growing matrix of coancestry. A family in use has a row of its own: that of a further member.

    The diagonal of a family's row holds the coancestry of two different members.
    """

    def __init__(self, members: Sequence[Member]) -> None:
        self.families = {parent for member in members if member.method in FAMILY_METHODS for parent in member.parents()}
        size = len(members) + len(self.families)
        self.shared: _Rows = np.zeros((size, size), dtype=np.float64)
        self.inbreeding: dict[str, float] = {}
        self.place: dict[str, int] = {}
        self.family_place: dict[str, int] = {}
        self.used = 0

    def add(self, member: Member) -> None:
        if member.method == "cross" and member.mother and member.mother == member.father:
            self.refuse_own_cross(member)
        row, inbreeding, between = self.derive(member)
        self.inbreeding[member.line] = inbreeding
        self.place[member.line] = self.append(row, (1.0 + inbreeding) / 2.0)
        if member.line in self.families:
            row = np.append(row, between)
            self.family_place[member.line] = self.append(row, between)

    def append(self, row: _Rows, own: float) -> int:
        at = self.used
        self.shared[at, :at] = row
        self.shared[:at, at] = row
        self.shared[at, at] = own
        self.used += 1
        return at

    def derive(self, member: Member) -> tuple[_Rows, float, float]:
        """Coancestry with all before, inbreeding, and coancestry of two different members of the family."""
        method = member.method
        if method == "founder":
            return np.zeros(self.used), 0.0, 0.0  # the family of a founder is never asked for: check_members
        if method == "founder_inbred":
            return np.zeros(self.used), 1.0, 1.0
        if method in FAMILY_METHODS:
            return self.derive_from_families(member)
        mother = self.place.get(member.mother, -1)
        mother_own = self.shared[mother, mother] if mother >= 0 else 0.5
        mother_row = self.row(mother)
        if method == "dh":
            return mother_row, 1.0, 1.0
        if method == "self":
            before = _selfed(2.0 * mother_own - 1.0, member.selfings - 1)
            return mother_row, _selfed(before, 1), (1.0 + before) / 2.0
        if method == "open":
            return mother_row / 2.0, 0.0, mother_own / 4.0
        father = self.place.get(member.father, -1)
        father_own = self.shared[father, father] if father >= 0 else 0.5
        both = self.shared[mother, father] if mother >= 0 and father >= 0 else 0.0
        between = (mother_own + 2.0 * both + father_own) / 4.0
        return (mother_row + self.row(father)) / 2.0, float(both), float(between)

    def derive_from_families(self, member: Member) -> tuple[_Rows, float, float]:
        mother = self.family_place[member.mother]
        mother_between = self.shared[mother, mother]
        if member.method == "sib":
            plant = self.place[member.mother]
            between = (self.shared[plant, plant] + mother_between) / 2.0
            return self.row(mother), float(mother_between), float(between)
        father = self.family_place[member.father or member.mother]
        both = self.shared[mother, father]
        between = (mother_between + 2.0 * both + self.shared[father, father]) / 4.0
        return (self.row(mother) + self.row(father)) / 2.0, float(both), float(between)

    def row(self, at: int) -> _Rows:
        return self.shared[at, : self.used].copy() if at >= 0 else np.zeros(self.used)

    def refuse_own_cross(self, member: Member) -> None:
        inbreeding = self.inbreeding[member.mother]
        if inbreeding < 1.0:
            raise InputRefused(findings=[complain_of_own_cross(member, inbreeding)])


def complain_of_own_cross(member: Member, inbreeding: float) -> Finding:
    """What is wrong with the cross of a line with itself whose inbreeding [0 to 1] is below 1."""
    return Finding(
        "cross_with_itself",
        f"line {member.line!r}: a cross of {member.mother!r} with itself needs a fully inbred line, "
        f"but its inbreeding is {inbreeding:.4g}",
        Place(member.place.file, member.place.line, "father"),
        member.father,
        "Use self for one plant, or sib for two plants of the family",
    )


def _selfed(inbreeding: float, times: int) -> float:
    return float(1.0 - (1.0 - inbreeding) * 0.5**times)
