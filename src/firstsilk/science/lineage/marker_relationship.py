"""How closely are lines related by their markers, and how is that joined with their pedigree?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import blas

from firstsilk.answers import refuse
from firstsilk.science.lineage.markers import MarkerTable, judge_markers, walk_chunks

DOUBLE_UP_TO = 2e9
"""Products (samples squared x markers) up to which double precision costs about a second; single beyond. Ours."""

Frequencies = Literal["data", "half"]
Numbers = NDArray[np.float64]
Precision = np.dtype[np.float32] | np.dtype[np.float64]
Centred = NDArray[np.floating]


@dataclass(frozen=True, slots=True)
class MarkerRelationship:
    """Relationship G (n, n) of the lines, the allele frequencies (p,) that centred it, and its divisor 2 sum p(1-p)."""

    lines: tuple[str, ...]
    matrix: Numbers
    frequency: Numbers
    divisor: float


def choose_frequencies(table: MarkerTable, frequencies: Frequencies | Sequence[float] = "data") -> Numbers:
    """The allele frequencies that centre the doses, shape (p,): those of the data, one half, or those given.

    Raises
    ------
    InputRefused
        If those given are not one a marker, or not within 0 to 1; if a marker was never read.

    Checked by
    ----------
    tests/science/test_marker_relationship.py
    """
    if isinstance(frequencies, str):
        if frequencies == "half":
            return np.full(len(table.markers), 0.5)
        found = judge_markers(table).frequency
        if np.isnan(found).any():
            name = table.markers[int(np.flatnonzero(np.isnan(found))[0])]
            raise refuse("marker_unread", f"Marker {name!r} was read in no line.", "Leave it out.", marker=name)
        return found
    given = np.asarray(frequencies, dtype=np.float64)
    if given.shape != (len(table.markers),) or not bool(((given >= 0.0) & (given <= 1.0)).all()):
        raise refuse("frequencies_odd", "One allele frequency of 0 to 1 is wanted for each marker.", "Correct them.")
    return given


def find_marker_relationship(
    table: MarkerTable, frequencies: Frequencies | Sequence[float] = "data"
) -> MarkerRelationship:
    """The relationship of all lines by their markers, after VanRaden's first method.

    Parameters
    ----------
    table
        n lines by p markers.
    frequencies
        What centres the doses: `"data"`, the frequency among these lines; `"half"`, one half everywhere; or one
        frequency a marker (p,), such as that of the founders.

    Returns
    -------
    MarkerRelationship
        G (n, n) in double precision, whatever it was summed in.

    Raises
    ------
    InputRefused
        As `choose_frequencies`; or if no marker varies, so that the divisor is 0.

    Notes
    -----
    Z = doses - 2 p; G = Z Z' / (2 sum p (1-p)). A dose that was not read counts as 2 p: it says nothing. Centred by the
    data, the mean of G is about 0 and a line's own value is large where its alleles are rare; with one half, a fully
    inbred line has exactly 2 with itself, and G says what share of alleles is alike. Rank-k updates, 2,048 markers at a
    time, in single precision where n n p is beyond 2e9 (relative error about 1e-6 of the diagonal).

    References
    ----------
    VanRaden 2008, Efficient methods to compute genomic predictions, J. Dairy Sci. 91:4414-4423, method 1.

    Checked by
    ----------
    tests/outside/test_markers_published.py; both precisions in tests/science/test_marker_relationship.py
    """
    frequency = choose_frequencies(table, frequencies)
    divisor = float(2.0 * (frequency * (1.0 - frequency)).sum())
    if divisor <= 0.0:
        raise refuse("no_marker_varies", "No marker varies between these lines, so nothing is told.", "Give others.")
    n, p = table.doses.shape
    single = float(n) * n * p > DOUBLE_UP_TO
    products = _sum_products(table, frequency, np.dtype(np.float32) if single else np.dtype(np.float64))
    products /= divisor
    return MarkerRelationship(table.samples, products, frequency, divisor)


def centre_doses(table: MarkerTable, part: slice, frequency: Numbers, kind: Precision) -> Centred:
    """The centred doses Z of some markers in the precision asked for, shape (n, k): 0 where nothing was read."""
    doses = table.doses[:, part]
    centred: Centred = np.subtract(doses, (2.0 * frequency[part]).astype(kind), dtype=kind)
    unread = doses < 0
    if unread.any():
        centred[unread] = 0.0
    return centred


def _sum_products(table: MarkerTable, frequency: Numbers, kind: Precision) -> Numbers:
    """Z Z', the lower triangle by rank-k updates, then mirrored."""
    n, p = table.doses.shape
    update = blas.ssyrk if kind == np.float32 else blas.dsyrk
    total = np.zeros((n, n), dtype=kind, order="F")
    for part in walk_chunks(p):
        # A C-ordered (n, k) block is the Fortran-ordered (k, n) that `trans` wants, so that nothing is copied.
        centred = np.ascontiguousarray(centre_doses(table, part, frequency, kind))
        total = update(1.0, centred.T, beta=1.0, c=total, trans=1, lower=1, overwrite_c=1)
    whole: Numbers = total.astype(np.float64)
    mirror_lower(whole)
    return whole


def mirror_lower(matrix: Numbers, size: int = 512) -> None:
    """Write the lower triangle of a square matrix over its upper one, in place, a band of rows at a time."""
    n = len(matrix)
    for start in range(0, n, size):
        stop = min(start + size, n)
        matrix[start:stop, stop:] = matrix[stop:, start:stop].T
        block = matrix[start:stop, start:stop]
        block[:] = np.tril(block) + np.tril(block, -1).T


def blend_relationships(by_markers: Numbers, by_pedigree: Numbers, pedigree_weight: float, align: bool) -> Numbers:
    """Marker relationship and pedigree relationship of the same lines joined with a stated weight, shape (n, n).

    Parameters
    ----------
    by_markers, by_pedigree
        G and A = 2 x coancestry (n, n), lines in the same order.
    pedigree_weight
        w, the weight of the pedigree [0 to 1]: the share of the genetic variance that markers do not catch.
    align
        Bring G to the base of the pedigree first.

    Raises
    ------
    InputRefused
        If the weight is out of range, the shapes differ, or G cannot be aligned.

    Notes
    -----
    (1-w) G + w A. G centred by the data counts from the lines at hand, A from the founders of the pedigree. Aligned, G
    becomes a + b G with the mean of its diagonal and the mean of all its values equal to those of A. Without it, G is
    used as it is.

    References
    ----------
    VanRaden 2008, J. Dairy Sci. 91:4414 (the weighted sum); Christensen et al. 2012, Animal 6:1565 (alignment of both
    means), from memory.

    Checked by
    ----------
    tests/outside/test_markers_published.py; means after alignment in tests/science/test_marker_relationship.py
    """
    if not 0.0 <= pedigree_weight <= 1.0:
        raise refuse("weight_out_of_range", f"The weight is {pedigree_weight:g}, not within 0 to 1.", "Correct it.")
    if by_markers.shape != by_pedigree.shape:
        raise refuse("lines_differ", "Markers and pedigree are not of the same lines.", "Give both for the same lines.")
    joined = align_relationship(by_markers, by_pedigree) if align else by_markers
    return (1.0 - pedigree_weight) * joined + pedigree_weight * by_pedigree


def align_relationship(by_markers: Numbers, by_pedigree: Numbers) -> Numbers:
    """G moved and stretched so that the means of its diagonal and of all its values are those of A, shape (n, n).

    Raises
    ------
    InputRefused
        If G is the same everywhere, or the stretch would not be above 0.

    Checked by
    ----------
    tests/science/test_marker_relationship.py
    """
    spread = float(np.trace(by_markers) / len(by_markers) - by_markers.mean())
    wanted = float(np.trace(by_pedigree) / len(by_pedigree) - by_pedigree.mean())
    if spread <= 0.0 or wanted <= 0.0:
        raise refuse(
            "not_alignable", "Markers or pedigree see no difference between the lines.", "Use one of them alone."
        )
    stretch = wanted / spread
    aligned: Numbers = stretch * by_markers + (by_pedigree.mean() - stretch * by_markers.mean())
    return aligned
