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
    centre = _centre_rows(rows, lines, shared, member)
    low, high = limits[0].T[:, :, None], limits[1].T[:, :, None]
    size = centre[0].shape
    sd = np.sqrt(np.diag(row_cov))
    slope = row_cov[0, 1] / np.diag(row_cov)
    left = sd * np.sqrt(1.0 - row_cov[0, 1] ** 2 / (row_cov[0, 0] * row_cov[1, 1]))
    silk = draw_between(centre[0], sd[0], low[0], high[0], dice.random(size))
    on_shed = centre[1] + slope[0] * (silk - centre[0])
    shed = draw_between(on_shed, float(left[1]), low[1], high[1], dice.random(size))
    # Where the note on shed cuts, silk must hear of it too: one more round of each given the other.
    cut = np.flatnonzero(np.isfinite(limits[0][:, 1]) | np.isfinite(limits[1][:, 1]))
    if len(cut):
        again = (len(cut), size[1])
        on_silk = centre[0][cut] + slope[1] * (shed[cut] - centre[1][cut])
        silk[cut] = draw_between(on_silk, float(left[0]), low[0][cut], high[0][cut], dice.random(again))
        on_shed = centre[1][cut] + slope[0] * (silk[cut] - centre[0][cut])
        shed[cut] = draw_between(on_shed, float(left[1]), low[1][cut], high[1][cut], dice.random(again))
    return silk, shed


def _centre_rows(
    rows: RowsAhead, lines: FloatArray, shared: FloatArray, member: IntArray
) -> tuple[FloatArray, FloatArray]:
    """What line, season and member give each row in each draw, for silk and for shed (rows, draws)."""
    apart = shared[:, CLOCK] * rows.clock_apart[:, member] if rows.clock_apart.shape[1] else 0.0
    found = [
        lines[:, rows.line_of, organ].T + rows.design[:, organ] @ shared.T + rows.known_units[:, organ, None] + apart
        for organ in (0, 1)
    ]
    return found[0], found[1]


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


def find_last_not_yet(not_yet: IntArray, seen: IntArray) -> IntArray:
    """Last day on which it was not there (rows, 2): for what was seen, the day before at the latest; -1 if none."""
    unknown = (not_yet < 0) | (not_yet >= seen)
    return np.where((seen >= 0) & unknown, seen - 1, not_yet)


def keep_to_notes(
    days: tuple[NDArray[np.float32], NDArray[np.float32]], not_yet: IntArray, seen: IntArray
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Keep draws to the days that notes allow, where a cold day or rounding far out carried them past one."""
    found = []
    for organ, each in enumerate(days):
        last = find_last_not_yet(not_yet[:, organ], seen[:, organ])[:, None]
        low = np.where(last >= 0, last + 1, -np.inf).astype(np.float32)
        high = np.where(seen[:, organ] >= 0, seen[:, organ], np.inf)[:, None].astype(np.float32)
        # A row that never gets there stays so; one that was seen got there.
        whole = np.where(np.isnan(each) & np.isfinite(high), high, each)
        found.append(np.minimum(np.maximum(whole, low), high))
    return found[0], found[1]
