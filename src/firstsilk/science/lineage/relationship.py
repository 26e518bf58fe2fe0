"""How does the relationship matrix fall apart into gene flow and Mendelian sampling, and what is its inverse?

A = T D T': T holds the expected share of each member's genes that flowed from each ancestor, D the part of a member's
variance that its parents do not explain. Both follow from the pedigree, so the inverse is written down directly.
Families (`sib`, `bulk`) are refused here: their parents are plants without a row. Use `kinship.find_relationship`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import refuse
from firstsilk.science.lineage.kinship import find_coancestry
from firstsilk.science.lineage.members import FAMILY_METHODS, FOUNDERS, Member, check_members, order_members


def find_mendelian_variance(members: Sequence[Member]) -> NDArray[np.float64]:
    """The Mendelian sampling variance D of each member, in units of the additive variance, shape (n,).

    Parameters
    ----------
    members
        The pedigree, in any order, without `sib` and `bulk`.

    Returns
    -------
    ndarray
        D_ii in the order of `members`; 0 where the parents leave nothing open (a cross of two fully inbred lines).

    Raises
    ------
    InputRefused
        As `find_coancestry`; or if a member is a `sib` or `bulk`.

    Notes
    -----
    Founder 1 + F; both parents known 1/2 - (F_m + F_f)/4; one known 3/4 - F_m/4; none known 1; n selfings of m
    (1 - F_m)(1 - 1/2^n); doubled haploid of m 1 - F_m.

    References
    ----------
    Henderson 1976, Biometrics 32:69; Quaas 1976, Biometrics 32:949. Selfing and doubled haploids derived here as
    A_ii - A_mm.

    Checked by
    ----------
    tests/outside/test_lineage.py
    """
    _refuse_families(members)
    kinship = find_coancestry(members)
    inbreeding = dict(zip(kinship.lines, kinship.inbreeding, strict=True))
    return np.array([_mendelian(member, inbreeding) for member in members], dtype=np.float64)


def find_gene_flow(members: Sequence[Member]) -> NDArray[np.float64]:
    """The matrix T: row i holds the expected share of member i's genes from each member, shape (n, n).

    Raises
    ------
    InputRefused
        As `check_members`; or if a member is a `sib` or `bulk`.

    Notes
    -----
    A parent of a cross gives one half, the mother of `self` and `dh` all, and 1 stands on the diagonal. The columns of
    founders sum over a row to 1 where all parents are known.

    References
    ----------
    Henderson 1976, Biometrics 32:69.

    Checked by
    ----------
    tests/outside/test_lineage.py
    """
    check_members(members)
    _refuse_families(members)
    place = {member.line: at for at, member in enumerate(members)}
    flow = np.eye(len(members), dtype=np.float64)
    for at in order_members(members):
        for parent, share in _shares(members[at]):
            flow[at] += share * flow[place[parent]]
    return flow


def find_relationship_inverse(members: Sequence[Member]) -> NDArray[np.float64]:
    """The inverse of the numerator relationship matrix, written down from the pedigree, shape (n, n).

    Parameters
    ----------
    members
        The pedigree, in any order, without `sib` and `bulk`.

    Returns
    -------
    ndarray
        In the order of `members`.

    Raises
    ------
    InputRefused
        As `find_mendelian_variance`; or if a member's Mendelian variance is 0, so that A has no inverse: a cross of two
        fully inbred lines, or a selfing or doubled haploid of one.

    Notes
    -----
    With b = 1/D_ii and a parent's share s (1/2 in a cross, 1 in `self` and `dh`): add b to (i,i), -b s to (i, parent)
    and (parent, i), b s s' to each pair of parents.

    References
    ----------
    Henderson 1976, Biometrics 32:69; Quaas 1976, Biometrics 32:949 (inbreeding taken into account).

    Checked by
    ----------
    tests/outside/test_lineage.py
    """
    variance = find_mendelian_variance(members)
    place = {member.line: at for at, member in enumerate(members)}
    inverse = np.zeros((len(members), len(members)), dtype=np.float64)
    for at, member in enumerate(members):
        if variance[at] <= 0.0:
            raise refuse(
                "relationship_singular",
                f"line {member.line!r} adds no variance of its own, so the relationship matrix has no inverse",
                "Use the matrix itself, or leave out crosses and selfings of fully inbred lines.",
                line=member.line,
            )
        flows = [(at, 1.0), *((place[parent], -share) for parent, share in _shares(member))]
        for row, left in flows:
            for column, right in flows:
                inverse[row, column] += left * right / variance[at]
    return inverse


def _shares(member: Member) -> list[tuple[str, float]]:
    """The named parents of a member and the share of its genes that each gave."""
    if member.method in FOUNDERS:
        return []
    if member.method in ("self", "dh"):
        return [(member.mother, 1.0)]
    if member.mother == member.father:
        return [(member.mother, 1.0)] if member.mother else []
    return [(parent, 0.5) for parent in (member.mother, member.father) if parent]


def _mendelian(member: Member, inbreeding: dict[str, float]) -> float:
    if member.method in FOUNDERS:
        return 1.0 + inbreeding[member.line]
    if member.method == "dh":
        return 1.0 - inbreeding[member.mother]
    if member.method == "self":
        return (1.0 - inbreeding[member.mother]) * (1.0 - 0.5**member.selfings)
    known = [inbreeding[parent] for parent in (member.mother, member.father) if parent]
    return 1.0 - sum(1.0 + parent for parent in known) / 4.0


def _refuse_families(members: Sequence[Member]) -> None:
    for member in members:
        if member.method in FAMILY_METHODS:
            raise refuse(
                "family_has_no_rule",
                f"line {member.line!r} was made by {member.method}, from plants that have no row of their own",
                "Use the relationship matrix itself.",
                line=member.line,
            )
