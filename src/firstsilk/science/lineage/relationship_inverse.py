"""What is the sparse inverse of the relationship, also where a cross of two inbreds makes the relationship singular?

**Singular how.** What a plant does not have from its parents is its Mendelian variance d. The F1 of two fully inbred
parents has d = 0: it is the mean of them, whatever they are worth. So has a selfing or doubled haploid of a fully
inbred line: it is that line. Beside such members the relationship matrix is singular and has no inverse.

**What is done.** Only members with d > 0 are sources. Every other member is written as a combination of sources: an F1
of inbreds as half and half, a copy of a pure line as that line, and its progeny draws on these combinations. Over the
sources the inverse always exists, and is written down source by source. Nothing is added to a diagonal.

Families that are sibbed or bulked stand in between as sources or combinations of their own (`plants`).
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np
import scipy.linalg
import scipy.sparse
from numpy.typing import NDArray

from firstsilk.answers import refuse
from firstsilk.science.analysis.models import Relationship, SparseRelationship
from firstsilk.science.lineage.large_pedigree import find_plant_variances, refuse_own_crosses
from firstsilk.science.lineage.members import Member
from firstsilk.science.lineage.plants import Plants, keep_ancestors, lay_out_plants, read_members

NO_VARIANCE = 1e-8
"""A Mendelian variance up to this counts as none: that of an inbred after 27 selfings. Our own bound, near the root of
the double precision: what is left out along a line sums to less than twice this, and an inverse that holds 1/d keeps
what is 1 to some 2e-16/d."""
ENTRIES_MAX = 500_000_000
"""Entries of the inverse, at most: they take 6 GB. Our own bound."""
SOURCES_MAX = 10_000
"""Sources written out as a full matrix: it takes 0.8 GB. Our own bound."""

Floats = NDArray[np.float64]


def find_sparse_relationship(members: Sequence[Member], wanted: Collection[str] | None = None) -> SparseRelationship:
    """The relationship A = 2 x coancestry of a pedigree, by the sparse inverse over its sources.

    Parameters
    ----------
    members
        The pedigree, in any order, of any size and with all methods.
    wanted
        Names of the lines that are asked for, such as those with records; all if None. Who is no ancestor of a wanted
        line is left out, and an unwanted ancestor with a single progeny is merged with it.

    Returns
    -------
    SparseRelationship
        `names` are the wanted lines (all if None) in the order of `members`; `diagonal` is 1 + F.

    Raises
    ------
    InputRefused
        As `large_pedigree.find_inbreeding`; or if a wanted line is not in the pedigree, or the inverse would have more
        than 500 million entries (bulks of bulks of very many lines).

    Notes
    -----
    d = 1 + F - (a_mm + a_ff + 2 a_mf) / 4, with an unknown parent a = 0: n selfings of m leave (1 - F_m)(1 - 1/2^n), a
    doubled haploid 1 - F_m, a founder 1 + F. A source with d and sources w in its parents' mean adds 1/d, -w/d and w
    w'/d; the log-determinant is the sum of ln d. d up to 1e-8 counts as 0.

    References
    ----------
    Henderson 1976, Biometrics 32:69; Quaas 1976, Biometrics 32:949. Combinations, families and merging derived here.

    Checked by
    ----------
    tests/outside/test_relationship_published.py, tests/properties/test_relationship_laws.py,
    tests/science/test_large_pedigree.py
    """
    table = read_members(members)
    chosen = np.arange(len(members)) if wanted is None else _choose(members, wanted)
    kept = members
    if wanted is not None:
        lay_out_plants(table, members)  # a loop is refused wherever it is
        table, places = keep_ancestors(table, chosen)
        kept, chosen = [members[at] for at in places.tolist()], np.searchsorted(places, chosen)
    plants = lay_out_plants(table, kept)
    variance, shared = find_plant_variances(plants)
    refuse_own_crosses(table, kept, variance[plants.of_member])
    names = tuple(kept[at].line for at in chosen.tolist())
    return invert_relationship(plants, variance, shared, names, plants.of_member[chosen])


def invert_relationship(
    plants: Plants, variance: Floats, shared: Floats, names: tuple[str, ...], wanted: NDArray[np.int64]
) -> SparseRelationship:
    """The sparse relationship of some plants, from the variances of all.

    Parameters
    ----------
    plants
        Plants and families, parents first.
    variance, shared
        As `find_plant_variances` gives them (m,).
    names, wanted
        Names and places (k,) of the plants to tell of.

    Returns
    -------
    SparseRelationship
        In the order of `names`.

    Raises
    ------
    InputRefused
        If the inverse would have more than 500 million entries.

    Checked by
    ----------
    tests/properties/test_relationship_laws.py
    """
    from firstsilk.science.lineage import inverse_kernels as kernels

    is_wanted = np.zeros(len(variance), dtype=np.bool_)
    is_wanted[wanted] = True
    own = kernels.find_own_variances(plants.one, plants.other, variance, shared)
    own = kernels.absorb(plants.one, plants.other, own, is_wanted)
    begin, end, low, high, own, pool, weights = kernels.list_sources(plants.one, plants.other, own, NO_VARIANCE)
    _refuse_dense(low, high)
    start, progeny, by = kernels.list_progeny(low, high, pool, weights)
    row, columns, values = kernels.write_inverse(low, high, pool, weights, own, start, progeny, by)
    columns, values = kernels.sort_rows(row, columns, values)
    to_level = kernels.gather_rows(begin[wanted], end[wanted], pool, weights)
    return SparseRelationship(
        names,
        _by_rows(row, columns, values, len(own)),
        _by_rows(*to_level, len(own)),
        float(np.sum(np.log(own))),
        variance[wanted],
    )


def as_matrix(related: SparseRelationship) -> Relationship:
    """Write a sparse relationship out as a full matrix.

    Parameters
    ----------
    related
        Of up to 10,000 sources, each after its parents, as `find_sparse_relationship` gives it.

    Returns
    -------
    Relationship
        The same names; the matrix (k, k).

    Raises
    ------
    InputRefused
        If there are more sources.

    Notes
    -----
    A = L P^-1 L', with P taken apart from the youngest source to the oldest: nothing fills in and nothing cancels.

    Checked by
    ----------
    tests/properties/test_relationship_laws.py
    """
    size = related.precision.shape[0]
    if size > SOURCES_MAX:
        raise refuse(
            "relationship_too_large",
            f"the relationship has {size} sources, more than {SOURCES_MAX} as a full matrix",
            "Ask for fewer lines, or keep it sparse.",
        )
    lower = np.linalg.cholesky(related.precision.toarray()[::-1, ::-1])
    half = scipy.linalg.solve_triangular(lower, related.to_level.toarray()[:, ::-1].T, lower=True)
    return Relationship(related.names, half.T @ half)


def _choose(members: Sequence[Member], wanted: Collection[str]) -> NDArray[np.int64]:
    """Places of the wanted members, ascending."""
    place = {member.line: at for at, member in enumerate(members)}
    absent = [name for name in wanted if name not in place]
    if absent:
        raise refuse(
            "not_in_relationship",
            f"{absent[0]!r} is not in the pedigree ({len(absent)} such lines)",
            "Add a row for it (method founder if nothing is known).",
            level=absent[0],
        )
    return np.unique(np.array([place[name] for name in wanted], dtype=np.int64))


def _refuse_dense(begin: NDArray[np.int32], end: NDArray[np.int32]) -> None:
    """Refuse sources that are made of too many others; their stretches in the pool are given."""
    wide = (end - begin).astype(np.float64) + 1.0
    entries = float(wide @ wide)
    if entries > ENTRIES_MAX:
        raise refuse(
            "relationship_too_dense",
            f"the inverse relationship would have some {entries / 1e6:.0f} million entries, since a member draws on up "
            f"to {int(wide.max()) - 1} lines at once",
            "Ask for fewer lines, or take an early bulk of bulks as a founder.",
        )


def _by_rows(start: NDArray[np.int32], columns: NDArray[np.int32], values: Floats, wide: int) -> scipy.sparse.csr_array:
    found = scipy.sparse.csr_array((values, columns, start), shape=(len(start) - 1, wide))
    found.has_canonical_format = True
    return found
