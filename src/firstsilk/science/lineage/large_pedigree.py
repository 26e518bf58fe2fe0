"""How inbred is each of a million members, and how closely are some pairs of them related?

The rules are those of `kinship`, whose table of all pairs ends at some thousand members.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import refuse, stop_if_any
from firstsilk.science.lineage.kinship import complain_of_own_cross
from firstsilk.science.lineage.members import Member
from firstsilk.science.lineage.plants import CODE, PedigreeTable, Plants, add_crosses, lay_out_plants, read_members

Floats = NDArray[np.float64]


def find_inbreeding(members: Sequence[Member]) -> Floats:
    """Inbreeding of all members of a pedigree, however large.

    Parameters
    ----------
    members
        The pedigree, in any order.

    Returns
    -------
    ndarray
        F (n,) [0 to 1], in the order of `members`.

    Raises
    ------
    InputRefused
        What `check_members` refuses; a cross of a line with itself that is not fully inbred.

    Notes
    -----
    Selfings and doubled haploids by formula; for matings one vector of covariances with all older parents for each
    younger parent, genes led up to the ancestors and down again: time grows with the square of the number of parents,
    but only in proportion to the number of progeny. Double precision, not rounded.

    References
    ----------
    Colleau 2002, Genetics Selection Evolution 34:409 (a vector of relationships without the matrix); Sargolzaei,
    Iwaisaki & Colleau 2005, Journal of Animal Breeding and Genetics 122:325 (one for each parent, among parents only).

    Checked by
    ----------
    tests/properties/test_relationship_laws.py, tests/science/test_large_pedigree.py,
    tests/outside/test_relationship_published.py
    """
    table = read_members(members)
    plants = lay_out_plants(table, members)
    variance = find_plant_variances(plants)[0][plants.of_member]
    refuse_own_crosses(table, members, variance)
    return variance - 1.0


def find_coancestry_of_pairs(members: Sequence[Member], pairs: Sequence[tuple[str, str]]) -> tuple[Floats, Floats]:
    """Inbreeding of all members, and coancestry of some pairs, of a pedigree however large.

    Parameters
    ----------
    members
        The pedigree, in any order.
    pairs
        Names of two members each; a member with itself is a pair too.

    Returns
    -------
    tuple of ndarray
        F (n,) [0 to 1] in the order of `members`; f (pairs,) [0 to 1] in the order of `pairs`.

    Raises
    ------
    InputRefused
        As `find_inbreeding`; or if a name is no line of the pedigree.

    Notes
    -----
    The coancestry of two plants is the inbreeding of their progeny.

    Checked by
    ----------
    tests/properties/test_relationship_laws.py, tests/science/test_large_pedigree.py
    """
    table = read_members(members)
    place = {member.line: at for at, member in enumerate(members)}
    absent = [name for pair in pairs for name in pair if name not in place]
    if absent:
        repair = "Correct the name, or add a row for it."
        raise refuse("line_unknown", f"{absent[0]!r} is not in the pedigree", repair, line=absent[0])
    wider = add_crosses(table, [(place[one], place[other]) for one, other in pairs])
    plants = lay_out_plants(wider, members)
    variance = find_plant_variances(plants)[0][plants.of_member]
    refuse_own_crosses(table, members, variance)
    return variance[: len(members)] - 1.0, variance[len(members) :] - 1.0


def find_plant_variances(plants: Plants) -> tuple[Floats, Floats]:
    """The variance of each plant (1 + F) and family (2 g), and the covariance of its two sources.

    Parameters
    ----------
    plants
        Plants and families, parents first.

    Returns
    -------
    tuple of ndarray
        Both (m,), in units of the additive variance: twice the coancestry. 0 where a source is unknown.

    Checked by
    ----------
    tests/properties/test_relationship_laws.py
    """
    from firstsilk.science.lineage import pair_kernels as kernels

    young, old = kernels.reduce_pairs(plants.one, plants.other, plants.rule)
    asked, flow, needed = kernels.mark_needed(plants.one, plants.other, plants.rule, young, old)
    place, left, right, begun = kernels.contract(plants.one, plants.other, asked, flow)
    start, matings = kernels.list_by_younger(place, young, old, len(left))
    rules = (plants.one, plants.other, plants.rule, plants.value)
    variance, shared = kernels.find_variances(*rules, young, old, needed, place, left, right, begun, start, matings)
    return variance, shared


def refuse_own_crosses(table: PedigreeTable, members: Sequence[Member], variance: Floats) -> None:
    """Refuse the cross of a line with itself that is not fully inbred; `variance` is 1 + F of each member.

    Raises
    ------
    InputRefused
        Naming the first such cross.

    Checked by
    ----------
    tests/science/test_large_pedigree.py
    """
    own = (table.method == CODE["cross"]) & (table.mother >= 0) & (table.mother == table.father)
    at = np.flatnonzero(own & (variance[table.mother] < 2.0))[:1]
    stop_if_any(complain_of_own_cross(members[k], float(variance[table.mother[k]]) - 1.0) for k in at.tolist())
