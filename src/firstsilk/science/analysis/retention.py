"""With how many interaction axes are means that were hidden told best?"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import refuse
from firstsilk.science.analysis.models import Array
from firstsilk.science.analysis.stability import centre_both_ways
from firstsilk.science.analysis.two_way import TwoWayTable, fill_missing_cells, need_complete

MOST_REPEATS = 1_000
MOST_ROUNDS = 300
RESTS = 1e-5
"""Rounds of filling end after so many, or when no hidden cell moves by more than this share of the table's spread."""


@dataclass(frozen=True, slots=True)
class Retention:
    """How far means were missed with so many axes: root mean square over hidden cells; how often it was the best."""

    axes: int
    rmspd: float
    best_frac: float


def validate_axes(
    table: TwoWayTable, dice: np.random.Generator, repeats: int = 10, most: int = 3
) -> tuple[Retention, ...]:
    """Hide one mean of each entry, tell them from the others with 0, 1, 2 ... axes, and see how far off that is.

    Parameters
    ----------
    table
        Means by entry and environment, without empty cells.
    dice
        Which cells are hidden together.
    repeats
        How many times the table is dealt into parts; in each every mean is hidden once.
    most
        The most axes that are tried; fewer where the cells cannot carry them.

    Returns
    -------
    tuple of Retention
        From 0 axes (main effects alone) up; `rmspd` in the unit of the means.

    Raises
    ------
    InputRefused
        If a cell is empty, the table is too small to hide anything, or repeats are none.

    Notes
    -----
    Each part hides one cell of every entry, spread over environments; main effects and axes are fitted to the rest
    round by round (Gauch & Zobel 1990), at most 300 rounds: axes of noise alone would go on for thousands. A mean that
    is told carries its own error, so rmspd does not fall below that of a mean.

    References
    ----------
    Gauch & Zobel 1988 Theoretical and Applied Genetics 76:1 (which splits replicates; here, of means, cells).

    Checked by
    ----------
    tests/science/test_retention.py
    """
    need_complete(table)
    if not 1 <= repeats <= MOST_REPEATS:
        raise refuse("repeats_not_usable", f"Repeats lie between 1 and {MOST_REPEATS}; there are {repeats}")
    g, e = table.means.shape
    if min(g, e) < 3:
        raise refuse("table_too_small", f"To hide cells the table needs 3 entries and 3 environments; it is {g} x {e}")
    deals = [_deal(g, e, dice) for _ in range(repeats)]
    squares = np.array([_miss(table, deals, axes) for axes in range(min(most, min(g, e) - 2) + 1)])
    best = np.argmin(squares, axis=0)
    return tuple(
        Retention(axes, math.sqrt(float(np.mean(row))), float(np.mean(best == axes)))
        for axes, row in enumerate(squares)
    )


def _deal(g: int, e: int, dice: np.random.Generator) -> NDArray[np.intp]:
    """The part in which each cell is hidden, (g, e): every entry once in each part, environments evenly."""
    start, order = dice.permutation(np.arange(g) % e), dice.permutation(e)
    return np.asarray(order[(start[:, None] + np.arange(e)) % e], dtype=np.intp)


def _miss(table: TwoWayTable, deals: list[NDArray[np.intp]], axes: int) -> Array:
    """Mean squared miss of each deal, (repeats,)."""
    missed = []
    for deal in deals:
        told = np.empty_like(table.means)
        for part in range(table.means.shape[1]):
            hidden = deal == part
            told[hidden] = _tell(table, hidden, axes)[hidden]
        missed.append(float(np.mean((told - table.means) ** 2)))
    return np.array(missed)


def _tell(table: TwoWayTable, hidden: NDArray[np.bool_], axes: int) -> Array:
    """The table with its hidden cells told from the others by main effects and axes."""
    means = fill_missing_cells(replace(table, means=np.where(hidden, np.nan, table.means))).means
    spread = float(np.std(table.means)) or 1.0
    for _ in range(MOST_ROUNDS if axes else 0):
        inner = centre_both_ways(means)
        left, sizes, right = np.linalg.svd(inner, full_matrices=False)
        fitted = means - inner + (left[:, :axes] * sizes[:axes]) @ right[:axes]
        moved = float(np.max(np.abs(fitted[hidden] - means[hidden])))
        means = np.where(hidden, fitted, table.means)
        if moved <= RESTS * spread:
            break
    return means
