"""Which rows flower as if other packets had been sown in them: two swapped, a stretch shifted by one, one far out?

Every line needs its own heat units to silk and to shed. A row that needed those of another row's line may have been
sown with that row's packet. Each claim is weighed by how much better the flowering of all rows concerned fits it; a row
fits its own line within what the rows of the season themselves show, so that no spread has to be known beforehand.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import refuse

Array = NDArray[np.float64]

REACH_ROWS = 10
"""Packets are taken for swapped within so many rows: they lay in one tray (a choice of ours)."""
LEAST_STRETCH = 4
"""A shifted stretch has at least so many rows (a choice of ours)."""
LEAST_ROWS = 20
"""With fewer rows known in both silk and shed the spread of a season is not told (a choice of ours)."""
SWAP_GAIN, SHIFT_GAIN, FAR_COST = 6.0, 5.5, 7.6
"""Claims below these are not told. Set on 200 clean seasons of the invented station so that all together name at most 5
of 1,000 clean rows; ``python -m tests.soak.judge_audit`` measures the rate on other seasons."""
MOST_COST = 30.0
"""One row never speaks louder than this for or against a claim: a date may be a slip (a choice of ours)."""
_MAD_TO_SD = 1.4826


@dataclass(frozen=True, slots=True)
class Misplaced:
    """A claim: `kind` is ``swap`` (rows `first` and `last`), ``late`` or ``early`` (the stretch of rows `first` to
    `last` has the packets of one row before, or after), or ``far`` (row `first` alone fits nothing near).

    `gain` is by how much the log likelihood of the flowering rises; of ``far`` the cost of the row by itself.
    """

    kind: str
    first: int
    last: int
    gain: float


def find_misplaced(
    expected: Array, observed: Array, lines: Sequence[str], reach: int = REACH_ROWS
) -> tuple[Misplaced, ...]:
    """Rows that flower as if other packets had been sown in them, the strongest claim first.

    Parameters
    ----------
    expected
        Heat units to half silk and half shed of each row's line (n, 2), rows in sowing order; NaN unknown.
    observed
        Those that each row needed (n, 2), in the same scale; NaN where not noted.
    lines
        Line of each row (n,): rows of one line cannot be told from each other.
    reach
        Swapped packets lie at most so many rows apart.

    Returns
    -------
    tuple of Misplaced
        A row is named in one claim at most. Empty where fewer than 20 rows are known.

    Raises
    ------
    InputRefused
        If the shapes do not fit.

    Notes
    -----
    Residuals are split into mean and difference of silk and shed, centred on their medians and scaled by 1.4826 times
    their median absolute deviation. Cost of row r with the line of row k: half the squared distance, at most 30. Swap
    gain: own costs of both less their costs exchanged. Shift gain: the largest sum over a stretch of own cost less that
    with the neighbour's line.

    Checked by
    ----------
    tests/science/test_misplaced.py, tests/work/test_audit_detection.py
    """
    if expected.shape != (len(lines), 2) or observed.shape != expected.shape:
        raise refuse("shapes_differ", f"{len(lines)} rows need two units each.", "Give silk and shed of every row.")
    costs = weigh_rows(expected, observed, reach)
    if costs is None:
        return ()
    claims = [*_list_shifts(costs, reach), *_list_swaps(costs, lines, reach), *_list_far(costs, reach)]
    return _choose(claims)


def weigh_rows(expected: Array, observed: Array, reach: int = REACH_ROWS) -> Array | None:
    """Cost of each row r with the line of row r - reach ... r + reach, (n, 2 reach + 1); NaN where unknown.

    Returns
    -------
    array or None
        None where fewer than 20 rows are known in silk and shed.

    Checked by
    ----------
    tests/science/test_misplaced.py
    """
    turn = np.array([[0.5, 1.0], [0.5, -1.0]])
    wanted, seen = expected @ turn, observed @ turn
    left = seen - wanted
    known = np.isfinite(left).all(axis=1)
    if known.sum() < LEAST_ROWS:
        return None
    middle = np.median(left[known], axis=0)
    spread = _MAD_TO_SD * np.median(np.abs(left[known] - middle), axis=0)
    spread = np.maximum(spread, 1e-9)
    n = len(wanted)
    costs = np.full((n, 2 * reach + 1), np.nan)
    for step in range(-reach, reach + 1):
        at = np.arange(max(0, -step), min(n, n - step))
        gap = (seen[at] - middle - wanted[at + step]) / spread
        costs[at, step + reach] = np.minimum(0.5 * (gap**2).sum(axis=1), MOST_COST)
    return costs


def _list_swaps(costs: Array, lines: Sequence[str], reach: int) -> list[Misplaced]:
    claims = []
    own = costs[:, reach]
    for step in range(1, min(reach, len(own) - 1) + 1):
        gain = own[:-step] + own[step:] - costs[:-step, reach + step] - costs[step:, reach - step]
        for at in np.flatnonzero(gain > SWAP_GAIN).tolist():
            if lines[at] != lines[at + step]:
                claims.append(Misplaced("swap", int(at), int(at + step), float(gain[at])))
    return claims


def _list_shifts(costs: Array, reach: int) -> list[Misplaced]:
    """The best stretch of each direction."""
    claims = []
    for kind, step in (("late", -1), ("early", 1)):
        rises = np.nan_to_num(costs[:, reach] - costs[:, reach + step])
        first, last, gain = find_best_stretch(rises, LEAST_STRETCH)
        if gain > SHIFT_GAIN:
            claims.append(Misplaced(kind, first, last, gain))
    return claims


def find_best_stretch(rises: Array, least: int) -> tuple[int, int, float]:
    """First and last place, and sum, of the stretch of at least so many places with the largest sum; O(n).

    Checked by
    ----------
    tests/science/test_misplaced.py (all stretches tried)
    """
    sums = np.concatenate([[0.0], np.cumsum(rises)])
    best, lowest = (0, -1, 0.0), 0
    for end in range(least, len(sums)):
        if sums[end - least] < sums[lowest]:
            lowest = end - least
        if sums[end] - sums[lowest] > best[2]:
            best = (lowest, end - 1, float(sums[end] - sums[lowest]))
    return best


def _list_far(costs: Array, reach: int) -> list[Misplaced]:
    own = costs[:, reach]
    return [Misplaced("far", int(at), int(at), float(own[at])) for at in np.flatnonzero(own > FAR_COST)]


def _choose(claims: Sequence[Misplaced]) -> tuple[Misplaced, ...]:
    """The strongest claims, no row in two: what explains several rows goes before what explains one."""
    taken: set[int] = set()
    chosen = []
    for claim in sorted(claims, key=lambda one: (one.kind == "far", -one.gain)):
        rows = {claim.first, claim.last} if claim.kind == "swap" else set(range(claim.first, claim.last + 1))
        if not rows & taken:
            taken |= rows
            chosen.append(claim)
    return tuple(chosen)
