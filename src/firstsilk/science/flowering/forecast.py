"""When will each row silk and shed, with which spread, given the weather so far and every note taken?

The model, in heat units from the day after sowing:

    units of a row = what its line needs + what all rows of the season share + the row's own remainder

for silk and for shed together. Lines hang in a tree (`line_tree`). A note gives an interval: "seen" on a day means that
the units were reached after the day before, or after the last walk that did not see it; "not yet" that they were not
reached. The intervals are brought in by expectation propagation. Draws of lines, season and rows are then carried on
through the members of an ensemble of the rest of the season.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstsilk.science.flowering.censored import cut_moments
from firstsilk.science.flowering.forecast_draws import draw_rows, find_days, find_last_not_yet, keep_to_notes, let_drift
from firstsilk.science.flowering.line_tree import (
    Evidence,
    LineTree,
    TreePosterior,
    draw_tree,
    find_levels,
    gather_evidence,
    invert_pairs,
    solve_tree,
)
from firstsilk.science.flowering.rows_ahead import HeatAhead, RowsAhead

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

DRAWS = 200
"""Draws of a forecast: the chance behind a date is then sure to about 0.02."""
MOST_PASSES = 40
STEADY_UNITS_FRAC = 0.005
"""Passes end when no row moves by more than this share of its own spread."""
DAMPING = 0.8
LEAST_WIDTH_DAYS = 0.3
"""A day colder than this share of the pace still leaves an interval of this width."""
UNSETTLED, SPREAD_STEP, SPREAD_LIMITS = 1.0, 1.6, (0.3, 6.0)
"""While a row still moves by more than the first, in its own spread, the rows' scale stays; then it goes so many times
as far as one step of expectation and maximisation says (the fixed point is the same, and reached sooner)."""
SPREAD_WEIGHT_ROWS = 15.0
"""For how many rows the spread handed in counts, beside the spread that the season's own notes show."""
ROWS_AT_ONCE = 500


@dataclass(frozen=True, slots=True)
class FloweringForecast:
    """Draws of the day of half silk and half shed (rows, draws), joint over rows; days as in `RowsAhead`, NaN = never.

    `row_spread` is how many times the rows' spread handed in was found in the notes; `passes` how many passes it took;
    `steady` whether they ended of themselves; `posterior` what is now known of lines and season.
    """

    silk: NDArray[np.float32]
    shed: NDArray[np.float32]
    member: IntArray
    posterior: TreePosterior
    row_spread: float
    passes: int
    steady: bool


@dataclass(slots=True)
class _Sites:
    """What each note is taken to say, as a normal law in information form (rows, 2)."""

    precision: FloatArray
    shift: FloatArray


def forecast_flowering(
    tree: LineTree,
    history: Evidence | None,
    rows: RowsAhead,
    heat: HeatAhead,
    row_cov: FloatArray,
    pace: float,
    drift_units: float = 0.0,
    wrong_note_frac: float = 0.01,
    draws: int = DRAWS,
    seed: int = 1,
) -> FloweringForecast:
    """Forecast half silk and half shed of every row.

    Parameters
    ----------
    tree, history
        Lines and shared unknowns before this season, and what earlier seasons said of them (None: nothing).
    rows
        The rows with their notes.
    heat
        This season's daily units and the ensemble of the days after.
    row_cov
        Covariance of a row's own remainder in silk and shed (2, 2) [units squared].
    pace
        Units of a normal day at flowering [units a day].
    drift_units
        Standard deviation by which the season's shift may drift in ten days to come [units]: rows are the less sure,
        the later they flower.
    wrong_note_frac
        Share of notes that say nothing of their row.
    draws, seed
        How many draws, and where chance starts.

    Returns
    -------
    FloweringForecast
        Same input and seed, same draws.

    Raises
    ------
    ValueError
        If there is no member or no row, or a row is sown after the season.

    Notes
    -----
    Expectation propagation (Minka 2001, from memory) with one normal law for each note; rows given lines and season are
    independent, so a pass costs one solve of the tree. The spread of rows is scaled by what the notes show, shrunk
    towards the one handed in. Work grows linearly with rows.

    Checked by ``tests/science/test_forecast.py`` against a slow sampler, and by simulated seasons in
    ``tests/science/test_forecast_worlds.py`` and ``tests/soak``.
    """
    if not len(heat.ahead) or not len(rows.line_of):
        raise ValueError("a forecast needs rows, and at least one way for the season to go on")
    running = heat.running()
    if int(rows.sown.max()) + 1 >= running.shape[1]:
        raise ValueError(f"a row is sown on day {int(rows.sown.max())}, and the season has {running.shape[1]} days")
    low, high = _find_limits(rows, running, pace)
    posterior, spread, passes, steady = _learn(tree, history, rows, (low, high), row_cov, wrong_note_frac, pace)
    dice = np.random.default_rng(seed)
    lines, shared = draw_tree(posterior, draws, dice)
    member = dice.permutation(np.arange(draws) % len(heat.ahead)).astype(np.intp)
    drift = drift_units * dice.standard_normal(draws)
    silk = np.empty((len(rows.line_of), draws), dtype=np.float32)
    shed = np.empty_like(silk)
    for start in range(0, len(silk), ROWS_AT_ONCE):
        part = slice(start, start + ROWS_AT_ONCE)
        units = draw_rows(rows.only(part), (low[part], high[part]), lines, shared, member, row_cov * spread, dice)
        units = let_drift(rows.sown[part], units, heat.so_far, drift, pace)
        days = find_days(rows.sown[part], units, running, member)
        silk[part], shed[part] = keep_to_notes(days, rows.not_yet[part], rows.seen[part])
    return FloweringForecast(silk, shed, member, posterior, spread, passes, steady)


def _find_limits(rows: RowsAhead, running: FloatArray, pace: float) -> tuple[FloatArray, FloatArray]:
    """Units between which each row's need lies by its notes (rows, 2), -inf and inf where nothing is noted."""
    middle = np.concatenate([[0.0], running.mean(axis=0)])
    base = middle[rows.sown + 1][:, None]
    last = len(middle) - 1
    seen = rows.seen >= 0
    not_yet = find_last_not_yet(rows.not_yet, rows.seen)
    low = np.where(not_yet >= 0, middle[np.clip(not_yet + 1, 0, last)] - base, -np.inf)
    high = np.where(seen, middle[np.clip(rows.seen + 1, 0, last)] - base, np.inf)
    thin = seen & (high - low < LEAST_WIDTH_DAYS * pace)
    return low, np.where(thin, low + LEAST_WIDTH_DAYS * pace, high)


def _learn(
    tree: LineTree,
    history: Evidence | None,
    rows: RowsAhead,
    limits: tuple[FloatArray, FloatArray],
    row_cov: FloatArray,
    wrong_note_frac: float,
    pace: float,
) -> tuple[TreePosterior, float, int, bool]:
    """Bring the notes in, pass after pass, until nothing moves."""
    low, high = limits[0] - rows.known_units, limits[1] - rows.known_units
    noted = np.isfinite(low) | np.isfinite(high)
    inside = np.flatnonzero(noted.any(axis=1))
    part = _pick_rows(rows, inside)
    low, high, noted = low[inside], high[inside], noted[inside]
    sites = _Sites(np.zeros((len(inside), 2)), np.zeros((len(inside), 2)))
    levels, spread, steady, passes = find_levels(tree.parent), 1.0, not len(inside), 0
    posterior = _solve(tree, history, part, sites, row_cov, levels)
    seen: NDArray[np.bool_] = np.asarray(np.isfinite(high).any(axis=1))
    while len(inside) and not steady and passes < MOST_PASSES:
        passes += 1
        cov = row_cov * spread
        centre, around = _look_at_rows(posterior, part)
        mean, var = _take_in(sites, centre, around, cov)
        moved = _update_sites(sites, mean, var, (low, high, noted), wrong_note_frac, pace)
        before = spread
        if moved < UNSETTLED:
            found = _rescale(sites, centre, around, cov, seen, spread)
            spread = float(np.clip(spread + SPREAD_STEP * (found - spread), *SPREAD_LIMITS))
        posterior = _solve(tree, history, part, sites, row_cov * spread, levels)
        steady = moved < STEADY_UNITS_FRAC and abs(spread - before) < 0.01
    return posterior, spread, passes, steady


def _pick_rows(rows: RowsAhead, at: IntArray) -> RowsAhead:
    return RowsAhead(
        rows.line_of[at],
        rows.sown[at],
        rows.known_units[at],
        rows.design[at],
        rows.not_yet[at],
        rows.seen[at],
        rows.clock_apart[at],
    )


def _solve(
    tree: LineTree,
    history: Evidence | None,
    rows: RowsAhead,
    sites: _Sites,
    row_cov: FloatArray,
    levels: tuple[IntArray, ...],
) -> TreePosterior:
    """Lines and season, with each row's notes seen through the row's own spread: ``(R + T^-1)^-1`` without T^-1."""
    through = np.linalg.inv(np.eye(2) + sites.precision[:, :, None] * row_cov)
    precision = through * sites.precision[:, None, :]
    shift = np.einsum("kij,kj->ki", through, sites.shift)
    seen = gather_evidence(tree.n_lines, rows.line_of, rows.design, precision, shift)
    return solve_tree(tree, seen if history is None else seen.plus(history), levels)


def _look_at_rows(posterior: TreePosterior, rows: RowsAhead) -> tuple[FloatArray, FloatArray]:
    """Mean (rows, 2) and covariance (rows, 2, 2) of what line and season give each row."""
    line, design = rows.line_of, rows.design
    turned = np.swapaxes(design, 1, 2)
    centre = posterior.mean[line] + design @ posterior.shared_mean
    mixed = posterior.cross[line] @ turned
    return centre, posterior.cov[line] + mixed + np.swapaxes(mixed, 1, 2) + design @ posterior.shared_cov @ turned


def _take_in(
    sites: _Sites, centre: FloatArray, around: FloatArray, row_cov: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Mean and variance (rows, 2) of each row's own units: its line and season, its spread, its notes."""
    tight = np.linalg.inv(row_cov)
    left = invert_pairs(tight + _diagonal(sites.precision))
    pull = left @ tight
    mean = np.einsum("kij,kj->ki", pull, centre) + np.einsum("kij,kj->ki", left, sites.shift)
    cov = left + pull @ around @ np.swapaxes(pull, 1, 2)
    return mean, np.stack([cov[:, 0, 0], cov[:, 1, 1]], axis=1)


def _diagonal(values: FloatArray) -> FloatArray:
    return values[:, :, None] * np.eye(2)


def _update_sites(
    sites: _Sites,
    mean: FloatArray,
    var: FloatArray,
    notes: tuple[FloatArray, FloatArray, NDArray[np.bool_]],
    wrong_note_frac: float,
    pace: float,
) -> float:
    """Set each note's law anew from what is known without it; return the largest move in standard deviations."""
    low, high, noted = notes
    precision = np.maximum(1.0 / var - sites.precision, 1e-12)
    without = (mean / var - sites.shift) / precision
    sd = 1.0 / np.sqrt(precision)
    log_chance, cut_mean, cut_var = cut_moments(without, sd, low, high)
    # A wrong note could have come on any day of a month, and "not yet" of either half.
    by_chance = np.where(np.isfinite(high), np.clip((high - low) / (30.0 * pace), 1e-6, 1.0), 0.5)
    right = (1.0 - wrong_note_frac) * np.exp(log_chance)
    trust = right / (right + wrong_note_frac * by_chance + 1e-300)
    new_mean = trust * cut_mean + (1.0 - trust) * without
    new_var = trust * (cut_var + (cut_mean - new_mean) ** 2) + (1.0 - trust) * (sd**2 + (without - new_mean) ** 2)
    wanted = np.where(noted, np.maximum(1.0 / new_var - precision, 1e-10), 0.0)
    # The law that, with what is known without it, has the mean wanted.
    shift = np.where(noted, new_mean * (wanted + precision) - without * precision, 0.0)
    sites.precision += DAMPING * (wanted - sites.precision)
    sites.shift += DAMPING * (shift - sites.shift)
    return float(np.max(np.abs(new_mean - mean)[noted] / np.sqrt(new_var[noted]), initial=0.0))


def _rescale(
    sites: _Sites,
    centre: FloatArray,
    around: FloatArray,
    row_cov: FloatArray,
    seen: NDArray[np.bool_],
    spread: float,
) -> float:
    """The scale of the rows' spread that fits the rows seen, shrunk towards 1."""
    if not seen.any():
        return spread
    tight = np.linalg.inv(row_cov)
    left = invert_pairs(tight + _diagonal(sites.precision[seen]))
    pull = left @ tight
    rest = np.einsum("kij,kj->ki", pull - np.eye(2), centre[seen])
    rest += np.einsum("kij,kj->ki", left, sites.shift[seen])
    away = pull - np.eye(2)
    square = left + away @ around[seen] @ np.swapaxes(away, 1, 2) + rest[:, :, None] * rest[:, None, :]
    found = np.einsum("ij,kji->k", tight, square) / 2.0
    total = SPREAD_WEIGHT_ROWS + float(np.minimum(found, 8.0).sum()) * spread
    return float(np.clip(total / (SPREAD_WEIGHT_ROWS + int(seen.sum())), *SPREAD_LIMITS))
