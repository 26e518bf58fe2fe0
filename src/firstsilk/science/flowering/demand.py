"""How many pollinations does each day ask for, and how sure is that?

Values in, values out. Each draw is one way in which the season may go on: in it every row has one day of half silk. The
plants of a row silk about that day, so the pollinations wanted on it are spread over several days; the sum over rows is
one draw of the demand. Draws are joint over rows, so a warm week brings all rows together in the draw that has it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

FloatArray = NDArray[np.float64]

PLANT_SD_DAYS = 2.2
"""Standard deviation of the days on which the plants of one row silk: a field of one kind flowers for 10-14 days
(Jeschke 2023), and 12 days hold 99 % of a normal spread of 2.3; the number is ours. Dates over a whole nursery of many
lines spread by 3-6 days (common practice, no source)."""
LEAST_SD_DAYS = 0.1
NODES_A_DAY = 8
"""Silk days are gathered on a grid of this many nodes a day before they are spread: a row between two nodes counts for
both by its nearness, which keeps totals and means and widens the spread of plants by less than 0.1 %."""
LEVELS = 61
"""Shares done are gathered on as many levels, in the same way; halves, thirds, quarters, fifths are among them."""
TAIL_SD = 6.0
"""The spread is followed to this many standard deviations; less than one plant in a hundred million lies beyond."""
ROW_BLOCK, DRAW_BLOCK = 4096, 64
"""Rows and draws taken at a time, so that memory does not grow with either."""


def spread_demand(
    silk: ArrayLike,
    pollinations: ArrayLike,
    first_day: int,
    n_days: int,
    plant_sd_days: float = PLANT_SD_DAYS,
    done: ArrayLike | None = None,
    cutoff: int | None = None,
    waiting_days: float = 0.0,
) -> FloatArray:
    """Expected pollinations by day in each draw.

    Parameters
    ----------
    silk
        (rows, draws): days after today of half silk [days]; negative = past, NaN = never reached.
    pollinations
        (rows,): pollinations wanted on each row, 0 or more.
    first_day, n_days
        The first day told [days after today] and how many.
    plant_sd_days
        Spread of the plants of a row about half silk [days].
    done
        (rows,): pollinations already standing on each row; None for none.
    cutoff
        Last day on which anything is pollinated [days after today]; None for no cutoff.
    waiting_days
        Plants that silked up to so many days before the first day, and are not done, wait: they count on the first day.

    Returns
    -------
    FloatArray
        (draws, n_days): pollinations.

    Raises
    ------
    ValueError
        If shapes do not fit, a count is negative, or the spread is less than 0.1 days.

    Notes
    -----
    Day d is the span from d - 0.5 to d + 0.5. The plants silk at silk + N(0, plant_sd_days); a row's demand on a day is
    its pollinations times the share of plants that silk in it. What is done was done on the plants that silked first,
    so a row never asks for more than what is wanted less what is done. Whether a male sheds, rain, and who is there are
    not considered.
    Checked by tests/science/test_demand.py (a slow twin) and tests/properties/test_demand_laws.py.
    """
    days, wanted, share_done = _check(silk, pollinations, done, plant_sd_days, n_days)
    per_day = max(NODES_A_DAY, int(np.ceil(NODES_A_DAY / plant_sd_days)))
    # Whole days are nodes, so that rows whose silk day is whole are spread without any error.
    low = float(np.floor(first_day - 0.5 - TAIL_SD * plant_sd_days - waiting_days))
    high = first_day + n_days - 0.5 + TAIL_SD * plant_sd_days
    n_nodes = int(np.ceil((high - low) * per_day)) + 1
    levels = np.linspace(0.0, 1.0, LEVELS) if np.any(share_done > 0) else np.zeros(1)
    kernel = _make_kernel(
        low + np.arange(n_nodes) / per_day, levels, first_day, n_days, plant_sd_days, cutoff, waiting_days
    )
    demand = np.zeros((days.shape[1], n_days))
    for draw in range(0, days.shape[1], DRAW_BLOCK):
        block = slice(draw, draw + DRAW_BLOCK)
        gathered = _gather(days[:, block], wanted, share_done, (low, per_day, n_nodes), len(levels))
        demand[block] = gathered @ kernel
    return demand


def _check(
    silk: ArrayLike, pollinations: ArrayLike, done: ArrayLike | None, plant_sd_days: float, n_days: int
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Silk days, pollinations wanted and the share of them done, of fitting shapes."""
    days = np.asarray(silk, dtype=np.float64)
    wanted = np.asarray(pollinations, dtype=np.float64)
    stand = np.zeros_like(wanted) if done is None else np.asarray(done, dtype=np.float64)
    if days.ndim != 2 or wanted.shape != days.shape[:1] or stand.shape != wanted.shape:
        raise ValueError("silk must be (rows, draws), pollinations and done (rows,)")
    if not (np.all(wanted >= 0) and np.all(stand >= 0)):
        raise ValueError("pollinations and done must be 0 or more")
    if not plant_sd_days >= LEAST_SD_DAYS or n_days < 1:
        raise ValueError(f"plant_sd_days >= {LEAST_SD_DAYS} and n_days >= 1 are needed")
    share = np.divide(stand, wanted, out=np.ones_like(wanted), where=wanted > 0)
    return days, wanted, np.minimum(share, 1.0)


def _make_kernel(
    nodes: FloatArray,
    levels: FloatArray,
    first_day: int,
    n_days: int,
    plant_sd_days: float,
    cutoff: int | None,
    waiting_days: float,
) -> FloatArray:
    """(nodes x levels, days): share of a row's pollinations on each day, by its silk day and the share done."""
    edges = first_day - 0.5 + np.arange(n_days + 1, dtype=np.float64)
    edges[0] -= waiting_days
    if cutoff is not None:
        # Before a first day that lies past the cutoff nobody waits.
        edges = np.minimum(edges, cutoff + 0.5) if cutoff >= first_day else np.full_like(edges, edges[0])
    silked = ndtr((edges[None, :] - nodes[:, None]) / plant_sd_days)
    undone = np.maximum(silked[:, None, :] - levels[None, :, None], 0.0)
    return np.asarray(np.diff(undone, axis=2).reshape(len(nodes) * len(levels), n_days))


def _gather(
    days: FloatArray, wanted: FloatArray, share_done: FloatArray, grid: tuple[float, int, int], n_levels: int
) -> FloatArray:
    """(draws, nodes x levels): pollinations by silk day and share done, each split between its neighbours."""
    low, per_day, n_nodes = grid
    n_draws = days.shape[1]
    width = n_nodes * n_levels
    total = np.zeros(n_draws * width)
    columns = np.arange(n_draws, dtype=np.int64) * width
    for start in range(0, len(days), ROW_BLOCK):
        rows = slice(start, start + ROW_BLOCK)
        place = (days[rows] - low) * per_day
        inside = (place >= 0) & (place <= n_nodes - 1)
        at = np.where(inside, place, 0.0)
        node = np.minimum(at.astype(np.int64), n_nodes - 2)
        near = at - node
        weight = np.where(inside, wanted[rows, None], 0.0)
        for level, part in _split(share_done[rows], n_levels):
            cell = columns + node * n_levels + level[:, None]
            share = weight * part[:, None]
            total += np.bincount(cell.ravel(), (share * (1 - near)).ravel(), len(total))
            total += np.bincount((cell + n_levels).ravel(), (share * near).ravel(), len(total))
    return total.reshape(n_draws, width)


def _split(share_done: FloatArray, n_levels: int) -> list[tuple[NDArray[np.int64], FloatArray]]:
    """Each row's levels below and above its share done, and how much of the row counts for each."""
    if n_levels == 1:
        return [(np.zeros(len(share_done), dtype=np.int64), np.ones(len(share_done)))]
    at = share_done * (n_levels - 1)
    level = np.minimum(at.astype(np.int64), n_levels - 2)
    near = at - level
    return [(level, 1 - near), (level + 1, near)]


def quantile_demand(demand: ArrayLike, chances: Sequence[float] = (0.1, 0.5, 0.9)) -> FloatArray:
    """The demand of each day that is not exceeded with each chance.

    Parameters
    ----------
    demand
        (draws, days): pollinations, as `spread_demand` gives them.
    chances
        Chances in 0..1.

    Returns
    -------
    FloatArray
        (chances, days): pollinations; quantiles of type 7, day by day, so their sums over days are not those of a sum.
    """
    return np.asarray(np.quantile(np.asarray(demand, dtype=np.float64), list(chances), axis=0))
