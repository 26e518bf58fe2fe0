"""Which entry stands on which plot, and how good is that layout?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import refuse

# A canonical efficiency factor below this is 0: a contrast of entries that the layout loses.
LOST = 1e-9
MOST_PLOTS = 20_000
"""A trial of more plots is a slip of the keyboard (a choice of ours)."""


@dataclass(frozen=True, slots=True)
class DesignEntry:
    """One entry of a trial: its name, whether it is a check, and how many plots it has in each replicate."""

    name: str
    check: bool = False
    copies: int = 1


@dataclass(frozen=True, slots=True)
class DesignPlot:
    """One plot: number in field order, replicate, block within it, position in the field, entry."""

    plot: int
    rep: int
    block: int
    field_row: int
    field_col: int
    entry: str


@dataclass(frozen=True, slots=True)
class Efficiency:
    """How well a layout compares entries. `factors` are the canonical efficiency factors, ascending.

    `value` is the harmonic mean of the factors (None if the layout is not connected or there is one entry only),
    `connected` whether every difference of entries can be estimated.
    """

    value: float | None
    connected: bool
    factors: tuple[float, ...]


def design_efficiency(entries: Sequence[object], *blockings: Sequence[object]) -> Efficiency:
    """Canonical efficiency of a layout against complete blocks with the same residual variance.

    Parameters
    ----------
    entries
        The entry on each plot, (n).
    blockings
        One or more groupings of the plots, each (n): blocks within replicates; or rows and columns within
        replicates. A block's name must differ between replicates.

    Returns
    -------
    Efficiency
        Harmonic mean of the canonical efficiency factors, whether connected, and all factors.

    Raises
    ------
    InputRefused
        If there is no plot or the lengths differ.

    Notes
    -----
    C = X'(I - P)X with P the projector on all blockings; the factors are the eigenvalues of R^-1/2 C R^-1/2 but for
    the one that belongs to the mean (R the replications). For one blocking and equal replication r these are the
    eigenvalues of (R - N K^-1 N')/r, and their harmonic mean is (2 s2 / r) / mean variance of a difference.

    References
    ----------
    James & Wilkinson 1971 Biometrika 58:279; Patterson & Williams 1976 Biometrika 63:83.

    Checked by
    ----------
    tests/outside/test_design_published.py
    """
    within = _within_blockings(entries, blockings, scaled=True)
    factors = np.linalg.eigvalsh(within.T @ within)[1:]
    connected = bool(np.all(factors > LOST))
    value = float(len(factors) / np.sum(1.0 / factors)) if connected and len(factors) else None
    return Efficiency(value, connected, tuple(float(factor) for factor in factors))


def difference_variances(entries: Sequence[object], *blockings: Sequence[object]) -> NDArray[np.float64]:
    """Variance of the difference of each two entries, in units of the plot variance, blockings fixed.

    Parameters
    ----------
    entries, blockings
        As for `design_efficiency`.

    Returns
    -------
    array
        (v, v), entries in the order in which they first stand; infinite where two cannot be compared.

    Raises
    ------
    InputRefused
        If there is no plot or the lengths differ.

    Notes
    -----
    C+_ii + C+_jj - 2 C+_ij with C = X'(I - P)X and C+ its generalised inverse.

    References
    ----------
    Cullis, Smith & Coombes 2006 JABES 11:381 (the mean over all pairs as criterion).

    Checked by
    ----------
    tests/outside/test_design_published.py
    """
    within = _within_blockings(entries, blockings, scaled=False)
    C = within.T @ within
    roots, directions = np.linalg.eigh(C)
    kept = roots > LOST * max(float(roots[-1]), 1.0)
    inverse = (directions[:, kept] / roots[kept]) @ directions[:, kept].T
    own = np.diag(inverse)
    variances = np.maximum(own[:, None] + own - 2.0 * inverse, 0.0)
    # A difference that leans on a lost contrast cannot be estimated; all differences lean on none but the mean's.
    shadow = directions[:, ~kept]
    lost = np.linalg.norm(shadow[:, None, :] - shadow[None, :, :], axis=2) > 1e-6
    return np.where(lost, np.inf, variances)


def _within_blockings(
    entries: Sequence[object], blockings: Sequence[Sequence[object]], scaled: bool
) -> NDArray[np.float64]:
    """What is left of the incidence of entries (or of it over root replication) beside the blockings, (n, v)."""
    n = len(entries)
    if n == 0 or any(len(blocking) != n for blocking in blockings):
        raise refuse("lengths_differ", "Entries and blockings must have one value for each of one or more plots")
    X = _incidence(entries)
    B = np.hstack([np.ones((n, 1)), *(_incidence(blocking) for blocking in blockings)])
    left, sizes, _ = np.linalg.svd(B, full_matrices=False)
    basis = left[:, sizes > 1e-10 * sizes[0]]
    columns = X / np.sqrt(X.sum(axis=0)) if scaled else X
    return np.asarray(columns - basis @ (basis.T @ columns), dtype=np.float64)


def efficiency_bound(n_entries: int, n_reps: int, blocks_in_rep: int) -> float | None:
    """The highest efficiency that a resolvable layout with equal blocks can have (None for one replicate).

    Notes
    -----
    (v-1)(r-1) / [(v-1)(r-1) + r(s-1)] for v entries in r replicates of s blocks; 1 for complete blocks.

    References
    ----------
    Patterson & Williams 1976 Biometrika 63:83.

    Checked by
    ----------
    tests/outside/test_design_published.py
    """
    if blocks_in_rep == 1:
        return 1.0
    free = (n_entries - 1) * (n_reps - 1)
    return free / (free + n_reps * (blocks_in_rep - 1)) if free > 0 else None


def _incidence(names: Sequence[object]) -> NDArray[np.float64]:
    at: dict[object, int] = {}
    codes = [at.setdefault(name, len(at)) for name in names]
    return np.eye(len(at))[codes]


def plan_field(n_plots: int, rows: int | None, columns: int | None, across: int) -> tuple[tuple[int, int], ...]:
    """Walk the field: the grid position of plot 1, 2, ..., row by row, turning at each end (serpentine).

    Parameters
    ----------
    n_plots
        How many plots there are.
    rows, columns
        Field rows and columns; one that is None follows from the other.
    across
        Columns to use if neither is given.

    Returns
    -------
    tuple
        (field_row, field_col) of each plot, both from 1. Cells left over are at the end of the walk.

    Raises
    ------
    InputRefused
        If the field has fewer cells than plots, or a side is not positive.
    """
    if columns is None:
        columns = -(-n_plots // rows) if rows else across
    if rows is None:
        rows = -(-n_plots // columns) if columns else 0
    if rows < 1 or columns < 1 or rows * columns < n_plots:
        raise refuse(
            "field_too_small",
            f"{rows} rows x {columns} columns cannot hold {n_plots} plots",
            "Give more rows or columns.",
            plots=n_plots,
        )
    walk = []
    for plot in range(n_plots):
        row, step = divmod(plot, columns)
        walk.append((row + 1, step + 1 if row % 2 == 0 else columns - step))
    return tuple(walk)


def design_complete(
    entries: Sequence[DesignEntry],
    reps: int,
    rng: np.random.Generator,
    rows: int | None = None,
    columns: int | None = None,
) -> tuple[DesignPlot, ...]:
    """Randomise complete blocks: every entry in every replicate, each replicate in an order of its own.

    Parameters
    ----------
    entries
        The entries; one with `copies` above 1 (a check, as a rule) has that many plots in each replicate.
    reps
        How many replicates.
    rng
        The dice.
    rows, columns
        Field rows and columns; by default each replicate is one field row.

    Returns
    -------
    tuple of DesignPlot
        Plots 1..n in field order: row by row, turning at each end. Replicates follow one another on that walk.

    Raises
    ------
    InputRefused
        If there are fewer than two entries, an entry stands twice, copies or replicates are below 1, there are more
        than `MOST_PLOTS` plots, or the field is too small.

    Notes
    -----
    All orders of a replicate are equally likely; replicates are independent. Efficiency is 1.

    References
    ----------
    Cochran & Cox 1957 Experimental Designs, ch. 4.

    Checked by
    ----------
    tests/properties/test_design_laws.py
    """
    names = Counter(entry.name for entry in entries)
    twice = [name for name, count in names.items() if count > 1]
    if twice:
        raise refuse("entry_twice", f"Entry {twice[0]!r} stands twice", "Give it once, with copies.", entry=twice[0])
    if len(entries) < 2:
        raise refuse("too_few_entries", "A trial needs at least two entries", entries=len(entries))
    if reps < 1 or any(entry.copies < 1 for entry in entries):
        raise refuse("not_positive", "Replicates and copies must be 1 or more", reps=reps)
    wanted = reps * sum(entry.copies for entry in entries)
    if wanted > MOST_PLOTS:
        raise refuse("too_many_plots", f"{wanted:,} plots are too many for a trial", f"Use {MOST_PLOTS:,} or fewer.")
    one = [entry.name for entry in entries for _ in range(entry.copies)]
    walk = plan_field(len(one) * reps, rows, columns, len(one))
    plots: list[DesignPlot] = []
    for rep in range(reps):
        for at in rng.permutation(len(one)):
            number = len(plots)
            plots.append(DesignPlot(number + 1, rep + 1, 1, *walk[number], one[int(at)]))
    return tuple(plots)
