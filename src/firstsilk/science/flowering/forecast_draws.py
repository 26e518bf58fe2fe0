"""On which days do rows flower, draw by draw, given what lines and season need and what notes allow?"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from firstsilk.science.flowering.censored import draw_between
from firstsilk.science.flowering.line_records import CLOCK
from firstsilk.science.flowering.rows_ahead import RowsAhead

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]


def draw_rows(
    rows: RowsAhead,
    limits: tuple[FloatArray, FloatArray],
    lines: FloatArray,
    shared: FloatArray,
    member: IntArray,
    row_cov: FloatArray,
    dice: np.random.Generator,
) -> tuple[FloatArray, FloatArray]:
    """Draws of each row's units to silk and shed (rows, draws), within what its notes allow."""
    centre = np.moveaxis(lines[:, rows.line_of], 0, 1) + np.einsum("kia,da->kdi", rows.design, shared)
    centre += rows.known_units[:, None, :]
    if rows.clock_apart.shape[1]:
        centre += (shared[:, CLOCK] * rows.clock_apart[:, member])[:, :, None]
    low, high = limits[0][:, None, :], limits[1][:, None, :]
    size = centre.shape[:2]
    sd = np.sqrt(np.diag(row_cov))
    slope = row_cov[0, 1] / np.diag(row_cov)
    left = sd * np.sqrt(1.0 - row_cov[0, 1] ** 2 / (row_cov[0, 0] * row_cov[1, 1]))
    silk = draw_between(centre[:, :, 0], sd[0], low[:, :, 0], high[:, :, 0], dice.random(size))
    shed = draw_between(
        centre[:, :, 1] + slope[0] * (silk - centre[:, :, 0]),
        float(left[1]),
        low[:, :, 1],
        high[:, :, 1],
        dice.random(size),
    )
    # Where the note on shed cuts, silk must hear of it too: one more round of each given the other.
    cut = np.flatnonzero(np.isfinite(limits[0][:, 1]) | np.isfinite(limits[1][:, 1]))
    if len(cut):
        again = (len(cut), size[1])
        on_silk = centre[cut, :, 0] + slope[1] * (shed[cut] - centre[cut, :, 1])
        silk[cut] = draw_between(on_silk, float(left[0]), low[cut, :, 0], high[cut, :, 0], dice.random(again))
        on_shed = centre[cut, :, 1] + slope[0] * (silk[cut] - centre[cut, :, 0])
        shed[cut] = draw_between(on_shed, float(left[1]), low[cut, :, 1], high[cut, :, 1], dice.random(again))
    return silk, shed


def let_drift(
    sown: IntArray, units: tuple[FloatArray, FloatArray], so_far: FloatArray, drift: FloatArray, pace: float
) -> tuple[FloatArray, FloatArray]:
    """Let what the season shares drift on: a row by as much more, as it has further to go."""
    total = np.concatenate([[0.0], np.cumsum(so_far)])
    have = (total[-1] - total[np.minimum(sown + 1, len(so_far))])[:, None]
    found = [each + drift * np.maximum(each - have, 0.0) / (10.0 * pace) for each in units]
    return found[0], found[1]


def find_days(
    sown: IntArray, units: tuple[FloatArray, FloatArray], running: FloatArray, member: IntArray
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """The first day on which each draw's units are reached, in its member's season; NaN if not in the days there."""
    found = tuple(np.full(each.shape, np.nan, dtype=np.float32) for each in units)
    for one in np.unique(member):
        total = running[one]
        base = np.concatenate([[0.0], total])[sown + 1][:, None]
        at = np.flatnonzero(member == one)
        for out, each in zip(found, units, strict=True):
            # A sum such as 0.1 + 0.2 must still reach 0.3.
            day = np.searchsorted(total, (np.maximum(each[:, at], 0.0) + base) * (1.0 - 1e-12))
            out[:, at] = np.where(day < len(total), np.maximum(day, sown[:, None] + 1), np.nan)
    return found[0], found[1]
