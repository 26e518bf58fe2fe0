"""Which entry is best at which sites, by how much, and how sure is that?

The two strongest patterns of entries over environments sort the environments: those in whose direction the same entry
lies farthest out belong together. How sure that is comes from the means and their errors, not from the picture.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firstsilk.answers import refuse
from firstsilk.science.analysis.axes import find_gge_axes
from firstsilk.science.analysis.models import Array
from firstsilk.science.analysis.two_way import TwoWayTable, need_complete

TIE = 1e-9
"""Two entries closer than this share of the largest are equally far out; the first in the table is taken."""
DRAWS = 2_000


@dataclass(frozen=True, slots=True)
class PlaceGroup:
    """Environments where one entry is best by the two-axis view.

    `lead` is the entry's expected true mean there less that of `next_best`, the best of the others, in the unit of the
    means (below 0: `next_best` is ahead by the means themselves); `plain_lead` the same of the plain means; `chance`
    that it is truly the best of all there. `lead` and `chance` are None where the error of a mean is not known.
    """

    entry: str
    environments: tuple[str, ...]
    next_best: str
    plain_lead: float
    lead: float | None
    chance: float | None


@dataclass(frozen=True, slots=True)
class BestPlaces:
    """Entries and environments on two axes, who is outermost, and who is best where.

    `entry_points` (g, 2) and `environment_points` (e, 2): their products are the two-axis view of the
    environment-centred table. `percent` (2,) of its sum of squares that each axis holds; `hull` the outermost entries
    by place in the table, counter-clockwise; `rays` (h, 2) the directions at which one outermost entry takes over from
    the one before; `best` (e,) the best entry by the view, `plain_best` (e,) that by the means.
    """

    entries: tuple[str, ...]
    environments: tuple[str, ...]
    entry_points: Array
    environment_points: Array
    percent: tuple[float, float]
    hull: tuple[int, ...]
    rays: Array
    best: tuple[int, ...]
    plain_best: tuple[int, ...]
    groups: tuple[PlaceGroup, ...]


def find_best_places(
    table: TwoWayTable,
    dice: np.random.Generator,
    error_variance: Sequence[float] | float | None = None,
    draws: int = DRAWS,
) -> BestPlaces:
    """Sort environments by the entry that is best there on two axes, and say how sure that is.

    Parameters
    ----------
    table
        Means by entry and environment (g, e), without empty cells.
    dice
        For the chances.
    error_variance
        Variance of the error of a mean, in the square of their unit: one number or one for each environment (e,);
        None if not known.
    draws
        True values drawn for the chances.

    Returns
    -------
    BestPlaces
        Groups in the order of their size, then of the table.

    Raises
    ------
    InputRefused
        If a cell is empty, or an error variance has no meaning.

    Notes
    -----
    Points from the singular value decomposition of the environment-centred table, the root of each singular value on
    either side. The best entry in the direction of an environment is a corner of the outer hull; the directions
    between are square to its edges. True values are drawn given the means: entry i has y_i = a_i + d_i + error,
    a ~ N(0, s_a), d ~ N(0, s_d I), so its true values are N(A (A + V)^-1 y_i, A - A (A + V)^-1 A) with
    A = s_a 11' + s_d I, V the error variances; s_d and s_a by the mean squares of interaction and entries, not below
    0. That s_a, s_d and V are themselves estimated is not counted; the environments are taken as they were, so the
    chance speaks of these sites in these years.

    References
    ----------
    Gabriel 1971 Biometrika 58:453 (rows and columns of a table as points and directions); Searle, Casella & McCulloch
    1992 Variance Components, ch. 7 (predicted values).

    Checked by
    ----------
    tests/science/test_best_places.py
    """
    need_complete(table)
    errors = _read_errors(table, error_variance)
    axes = find_gge_axes(table)
    points, directions = _two(axes.entry_scores), _two(axes.environment_scores)
    percent = axes.percent if axes.percent is not None else np.zeros(1)
    hull = find_hull(points)
    best = tuple(_farthest(points @ direction) for direction in directions)
    centred = table.means - table.means.mean(axis=0)
    return BestPlaces(
        table.entries,
        table.environments,
        points,
        directions,
        (float(percent[0]), float(percent[1]) if len(percent) > 1 else 0.0),
        hull,
        _find_rays(points, hull),
        best,
        tuple(_farthest(column) for column in centred.T),
        _group(table, centred, best, errors, dice, draws),
    )


def _read_errors(table: TwoWayTable, given: Sequence[float] | float | None) -> Array | None:
    if given is None:
        return None
    errors = np.asarray(given, dtype=np.float64)
    e = len(table.environments)
    if errors.shape not in ((), (e,)) or not np.all(np.isfinite(errors)) or np.any(errors < 0):
        raise refuse(
            "error_not_usable", f"The error variance of a mean must be one number or {e}, none of them below 0"
        )
    return np.full(e, float(errors)) if errors.shape == () else errors


def _two(scores: Array) -> Array:
    """The first two axes (n, 2); a second that is not there is 0."""
    return np.hstack([scores, np.zeros((len(scores), 2))])[:, :2]


def _farthest(values: Array) -> int:
    return int(np.argmax(values >= values.max() - TIE * np.max(np.abs(values), initial=0.0)))


def find_hull(points: Array) -> tuple[int, ...]:
    """The outermost points (n, 2) by place, counter-clockwise from the leftmost; points on an edge are left out.

    Notes
    -----
    Two walks over the points from left to right and back, dropping every point that does not turn left.

    References
    ----------
    Andrew 1979 Information Processing Letters 9:216.

    Checked by
    ----------
    tests/science/test_best_places.py
    """
    order = np.lexsort((points[:, 1], points[:, 0])).tolist()
    size = float(np.max(np.abs(points), initial=0.0)) ** 2
    halves = [_walk(points, order, size), _walk(points, order[::-1], size)]
    return tuple(halves[0][:-1] + halves[1][:-1]) or (order[0],)


def _walk(points: Array, order: Sequence[int], size: float) -> list[int]:
    kept: list[int] = []
    for at in order:
        while len(kept) > 1 and _turn(points[kept[-2]], points[kept[-1]], points[at]) <= 1e-12 * size:
            kept.pop()
        kept.append(at)
    # Points at one place are one corner.
    return kept if len(kept) > 1 and np.any(points[kept[0]] != points[kept[-1]]) else kept[:1]


def _turn(a: Array, b: Array, c: Array) -> float:
    """Above 0 where a, b, c turn left."""
    return float((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))


def _find_rays(points: Array, hull: Sequence[int]) -> Array:
    """Outward directions of length 1, square to each edge from one corner to the next (h, 2); none for a line."""
    if len(hull) < 3:
        return np.zeros((0, 2))
    corners = points[list(hull)]
    edges = np.roll(corners, -1, axis=0) - corners
    normals = np.column_stack([edges[:, 1], -edges[:, 0]])
    return np.asarray(normals / np.linalg.norm(normals, axis=1, keepdims=True), dtype=np.float64)


def _group(
    table: TwoWayTable,
    centred: Array,
    best: Sequence[int],
    errors: Array | None,
    dice: np.random.Generator,
    draws: int,
) -> tuple[PlaceGroup, ...]:
    members = {entry: [j for j, one in enumerate(best) if one == entry] for entry in dict.fromkeys(best)}
    order = sorted(members, key=lambda entry: (-len(members[entry]), members[entry][0]))
    shares = np.zeros((len(order), len(best)))
    for k, entry in enumerate(order):
        shares[k, members[entry]] = 1.0 / len(members[entry])
    plain = centred @ shares.T
    expected, chances = (plain, None) if errors is None else _expect(centred, shares, errors, dice, draws)
    groups = []
    for k, entry in enumerate(order):
        others = [i for i in range(len(plain)) if i != entry]
        second = max(others, key=lambda i: float(expected[i, k]))
        groups.append(
            PlaceGroup(
                table.entries[entry],
                tuple(table.environments[j] for j in members[entry]),
                table.entries[second],
                float(plain[entry, k] - plain[second, k]),
                None if chances is None else float(expected[entry, k] - expected[second, k]),
                None if chances is None else float(chances[entry, k]),
            )
        )
    return tuple(groups)


def _expect(centred: Array, shares: Array, errors: Array, dice: np.random.Generator, draws: int) -> tuple[Array, Array]:
    """Expected true value of each entry over each group (g, k), and the chance that it is the best there (g, k)."""
    g, e = centred.shape
    between, within = _split_variance(centred, errors)
    if between + within == 0:
        return np.zeros((g, len(shares))), np.full((g, len(shares)), 1.0 / g)
    A = between + within * np.eye(e)
    gain = A @ np.linalg.pinv(A + np.diag(errors), hermitian=True)
    expected = centred @ gain.T @ shares.T
    spread = shares @ (A - gain @ A) @ shares.T
    chances = np.zeros((g, len(shares)))
    for k, own in enumerate(np.sqrt(np.maximum(np.diag(spread), 0.0))):
        drawn = expected[:, k] + own * dice.standard_normal((draws, g))
        chances[:, k] = np.bincount(np.argmax(drawn, axis=1), minlength=g) / draws
    return expected, chances


def _split_variance(centred: Array, errors: Array) -> tuple[float, float]:
    """Variance between entries over all environments, and of each within them, beyond the error of a mean."""
    g, e = centred.shape
    means = centred.mean(axis=1)
    entry_ms = e * float(means @ means) / (g - 1)
    interaction_ms = float(np.sum((centred - means[:, None]) ** 2)) / ((g - 1) * (e - 1))
    within = max(0.0, interaction_ms - float(errors.mean()))
    return max(0.0, (entry_ms - float(errors.mean()) - within) / e), within
