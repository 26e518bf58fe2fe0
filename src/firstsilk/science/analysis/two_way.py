"""Which mean stands in which cell of entries and environments, and what would stand in the empty ones?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import NotConverged, refuse
from firstsilk.science.analysis.models import Array
from firstsilk.science.analysis.records import classify

SHOWN = 12
LARGEST = 1e15
"""A mean beyond this is a slip: a binary64 number keeps no decimals of it (a choice of ours)."""
MOST_ROUNDS = 5_000
SETTLED = 1e-11
"""Rounds of filling end when no cell moves by more than this share of the table's spread (a choice of ours)."""


@dataclass(frozen=True, slots=True)
class TwoWayTable:
    """Means by entry and environment (g, e), nan where there is none; `estimated` (g, e) marks cells filled in."""

    entries: tuple[str, ...]
    environments: tuple[str, ...]
    means: Array
    estimated: NDArray[np.bool_]

    @property
    def observed(self) -> NDArray[np.bool_]:
        """Which cells hold a mean that was given (g, e)."""
        return np.isfinite(self.means) & ~self.estimated


def lay_out_two_way(entries: Sequence[object], environments: Sequence[object], means: Sequence[float]) -> TwoWayTable:
    """Put one mean per entry and environment into a table, names in text order, numbers by size.

    Parameters
    ----------
    entries, environments
        The names of each mean (n,).
    means
        The means (n,); nan leaves the cell empty.

    Returns
    -------
    TwoWayTable
        All cells, nan where no mean was given.

    Raises
    ------
    InputRefused
        If a cell is given twice, a name is empty, or there are fewer than two entries or environments.
    """
    values = np.asarray(means, dtype=np.float64)
    kept = np.flatnonzero(np.isfinite(values))
    rows, columns = classify("entry", entries, kept), classify("environment", environments, kept)
    if len(rows.levels) < 2 or len(columns.levels) < 2:
        raise refuse(
            "too_few_cells",
            f"Stability needs at least two entries and two environments with means; there are {len(rows.levels)} "
            f"and {len(columns.levels)}",
        )
    if np.max(np.abs(values[kept])) > LARGEST:
        raise refuse("number_too_large", f"A mean lies beyond {LARGEST:g}; check the digits")
    table = np.full((len(rows.levels), len(columns.levels)), np.nan)
    for at, row, column in zip(kept, rows.codes, columns.codes, strict=True):
        if np.isfinite(table[row, column]):
            raise refuse(
                "cell_twice",
                f"Entry {rows.levels[row]!r} has more than one mean in environment {columns.levels[column]!r}",
                "Give one mean for each entry and environment.",
            )
        table[row, column] = values[at]
    return TwoWayTable(rows.levels, columns.levels, table, np.zeros(table.shape, dtype=bool))


def name_missing_cells(table: TwoWayTable) -> tuple[tuple[str, str], ...]:
    """Entry and environment of each empty cell, in the order of the table."""
    return tuple((table.entries[i], table.environments[j]) for i, j in np.argwhere(~np.isfinite(table.means)))


def need_complete(table: TwoWayTable, name: str = "") -> None:
    """Raise `InputRefused` naming the empty cells (and the file, if given), if there are any."""
    missing = name_missing_cells(table)
    if missing:
        told = ", ".join(f"{entry} in {environment}" for entry, environment in missing[:SHOWN])
        told += f" and {len(missing) - SHOWN} more" if len(missing) > SHOWN else ""
        raise refuse(
            "cells_missing",
            f"{f'{name}: ' if name else ''}{len(missing)} of {table.means.size} cells have no mean: {told}",
            "Add them, leave out their entries or environments, or let them be estimated.",
            cells=len(missing),
        )


def fit_additive(table: TwoWayTable) -> tuple[Array, Array]:
    """Entry means (g,) and environment means (e,) adjusted for empty cells by least squares.

    Raises
    ------
    InputRefused
        If the cells fall into parts that share neither entry nor environment.

    Notes
    -----
    Y_ij = m + a_i + c_j with sum a = sum c = 0; adjusted entry mean m + a_i, environment mean m + c_j. In a complete
    table these are the plain means.

    References
    ----------
    Yates 1933 Journal of Agricultural Science 23:108 (fitting constants).

    Checked by
    ----------
    tests/outside/test_stability_published.py
    """
    g, e = table.means.shape
    seen = np.isfinite(table.means)
    if np.all(seen):
        return table.means.mean(axis=1), table.means.mean(axis=0)
    rows, columns = np.nonzero(seen)
    check_connected(table, rows, columns)
    design = np.zeros((len(rows) + 2, 1 + g + e))
    at = np.arange(len(rows))
    design[at, 0] = design[at, 1 + rows] = design[at, 1 + g + columns] = 1.0
    design[-2, 1 : 1 + g] = design[-1, 1 + g :] = 1.0
    # Fitted about a cell of its own, so that a large common level costs no digits.
    level = float(table.means[rows[0], columns[0]])
    answer = np.append(table.means[seen] - level, [0.0, 0.0])
    solution = np.linalg.lstsq(design, answer, rcond=None)[0]
    solution[0] += level
    return solution[0] + solution[1 : 1 + g], solution[0] + solution[1 + g :]


def check_connected(table: TwoWayTable, rows: NDArray[np.intp], columns: NDArray[np.intp]) -> None:
    """Raise `InputRefused` if entries cannot be compared because no chain of environments joins them."""
    reached = np.zeros(len(table.entries), dtype=bool)
    reached[0] = True
    for _ in range(len(table.entries)):
        environments = np.unique(columns[reached[rows]])
        grown = reached.copy()
        grown[rows[np.isin(columns, environments)]] = True
        if np.array_equal(grown, reached):
            break
        reached = grown
    if not np.all(reached):
        apart = ", ".join(name for name, in_it in zip(table.entries, reached, strict=True) if not in_it)
        raise refuse(
            "not_connected",
            f"These entries share no chain of environments with {table.entries[0]!r}: {apart}",
            "Analyse them apart, or add environments where both parts stood.",
        )


def fill_missing_cells(table: TwoWayTable, axes: int = 0) -> TwoWayTable:
    """Estimate the empty cells from main effects and `axes` interaction axes fitted to the others.

    Parameters
    ----------
    table
        Means with empty cells.
    axes
        0 fills by main effects alone; 1 or more also by that many axes of the interaction.

    Returns
    -------
    TwoWayTable
        The same table without empty cells; `estimated` marks those that were filled.

    Raises
    ------
    InputRefused
        If the cells are not connected, or too few for that many axes.
    NotConverged
        If the rounds do not settle.

    Notes
    -----
    Main effects and the leading axes of the double-centred table are fitted and the empty cells replaced, round by
    round, until they rest: least squares over the observed cells. With axes there may be more than one resting
    point; the one reached from the additive fit is given.

    References
    ----------
    Gauch & Zobel 1990 Theoretical and Applied Genetics 79:753.

    Checked by
    ----------
    tests/science/test_stability.py
    """
    empty = ~np.isfinite(table.means)
    if not np.any(empty):
        return table
    g, e = table.means.shape
    free = (g - 1) * (e - 1) - int(empty.sum()) - sum(g + e - 1 - 2 * k for k in range(1, axes + 1))
    if axes < 0 or axes >= min(g, e) - 1 or (axes and free < 1):
        raise refuse("axes_too_many", f"{axes} axes are more than the cells with a mean can carry", "Ask for fewer.")
    _need_cells_for_axes(table, axes)
    entry_means, environment_means = fit_additive(table)
    means = table.means.copy()
    means[empty] = (entry_means[:, None] + environment_means - np.mean(entry_means))[empty]
    if axes:
        means = _iterate(means, empty, axes)
    return replace(table, means=means, estimated=table.estimated | empty)


def _need_cells_for_axes(table: TwoWayTable, axes: int) -> None:
    seen = np.isfinite(table.means)
    for names, counts in ((table.entries, seen.sum(axis=1)), (table.environments, seen.sum(axis=0))):
        for name, count in zip(names, counts, strict=True):
            if axes and count < axes + 2:
                raise refuse(
                    "axes_too_many",
                    f"{name!r} has {count} means, too few to place it on {axes} interaction axes",
                    "Ask for fewer axes, or leave it out.",
                )


def _iterate(means: Array, empty: NDArray[np.bool_], axes: int) -> Array:
    spread = float(np.std(means[~empty])) or 1.0
    for _ in range(MOST_ROUNDS):
        additive = means.mean(axis=1, keepdims=True) + means.mean(axis=0) - means.mean()
        left, sizes, right = np.linalg.svd(means - additive, full_matrices=False)
        fitted = additive + (left[:, :axes] * sizes[:axes]) @ right[:axes]
        moved = float(np.max(np.abs(fitted[empty] - means[empty])))
        means = np.where(empty, fitted, means)
        if moved <= SETTLED * spread:
            return means
    raise NotConverged(
        f"The empty cells did not settle within {MOST_ROUNDS} rounds with {axes} axes. Ask for fewer axes."
    )
