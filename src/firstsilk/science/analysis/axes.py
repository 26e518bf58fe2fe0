"""Which patterns run through a table of entries and environments, how strong is each, and how many are real?

Two views of one table of means: interaction only (additive main effects, multiplicative interaction: AMMI), and entries
together with their interaction (GGE).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.stats

from firstsilk.answers import refuse
from firstsilk.science.analysis.models import Array
from firstsilk.science.analysis.stability import centre_both_ways
from firstsilk.science.analysis.two_way import TwoWayTable, need_complete

NOTHING = 1e-12
"""A singular value below this share of the table's own size is rounding and taken as 0."""
SCALINGS = ("symmetric", "entry", "environment")


@dataclass(frozen=True, slots=True)
class Axes:
    """Singular values (k,), percent of the sum of squares (k,; None if there is nothing), scores (g, k) and (e, k)."""

    singular_values: Array
    percent: Array | None
    entry_scores: Array
    environment_scores: Array


@dataclass(frozen=True, slots=True)
class AxisTest:
    """One axis tested: `f` and `p_f` against a known error (Gollob), `p` by drawing (Forkman & Piepho)."""

    axis: int
    df: int
    ss: float
    share_of_rest: float | None
    p: float | None
    f: float | None
    p_f: float | None


def find_ammi_axes(table: TwoWayTable, scaling: str = "symmetric") -> Axes:
    """Axes of the interaction: singular value decomposition of the double-centred table.

    Parameters
    ----------
    table
        Means by entry and environment, without empty cells.
    scaling
        ``symmetric``: the root of the singular value goes to either side; ``entry`` or ``environment``: all of it
        goes to that side, so that the other's scores have length 1.

    Returns
    -------
    Axes
        min(g, e) - 1 axes.

    Raises
    ------
    InputRefused
        If a cell is empty or the scaling is not known.

    Notes
    -----
    The sign of an axis is arbitrary; here the entry score farthest from 0 is positive on each (the first of equals).
    Two equal singular values leave their axes free to turn.

    References
    ----------
    Gauch 1988 Biometrics 44:705; Zobel, Wright & Gauch 1988 Agronomy Journal 80:388.

    Checked by
    ----------
    tests/outside/test_stability_published.py
    """
    need_complete(table)
    left, sizes, right = _decompose(centre_both_ways(table.means), min(table.means.shape) - 1, table.means)
    return _score(left * _signs(left), sizes, right * _signs(left)[:, None], scaling)


def find_gge_axes(table: TwoWayTable, scaling: str = "symmetric", scale_environments: bool = False) -> Axes:
    """Axes of entries and interaction together: singular value decomposition of the environment-centred table.

    Parameters
    ----------
    table, scaling
        As for `find_ammi_axes`.
    scale_environments
        Divide each environment by its standard deviation (g - 1) first.

    Returns
    -------
    Axes
        min(g - 1, e) axes.

    Raises
    ------
    InputRefused
        As `find_ammi_axes`; or all entries are alike in an environment that should be divided by its spread.

    Notes
    -----
    Sign: the first axis goes with the entries' means (positive covariance); on the others, and where the means say
    nothing, the entry score farthest from 0 is positive.

    References
    ----------
    Yan, Hunt, Sheng & Szlavnics 2000 Crop Science 40:597 (from memory).

    Checked by
    ----------
    tests/outside/test_stability_published.py
    """
    need_complete(table)
    g, e = table.means.shape
    centred = table.means - table.means.mean(axis=0)
    if scale_environments:
        spread = centred.std(axis=0, ddof=1)
        flat = spread <= NOTHING * np.max(np.abs(table.means))
        if np.any(flat):
            name = table.environments[int(np.argmax(flat))]
            raise refuse(
                "environment_flat", f"In environment {name!r} all entries are alike: it cannot be divided by its spread"
            )
        centred = centred / spread
    left, sizes, right = _decompose(centred, min(g - 1, e), centred if scale_environments else table.means)
    signs = _signs(left)
    with_means = float(left[:, 0] @ centred.mean(axis=1))
    if abs(with_means) > NOTHING * np.max(np.abs(centred), initial=0.0):
        signs[0] = math.copysign(1.0, with_means)
    return _score(left * signs, sizes, right * signs[:, None], scaling)


def _decompose(centred: Array, count: int, whole: Array) -> tuple[Array, Array, Array]:
    left, sizes, right = np.linalg.svd(centred, full_matrices=False)
    real = sizes > NOTHING * float(np.linalg.norm(whole))
    return left[:, :count], np.where(real, sizes, 0.0)[:count], right[:count]


def _signs(left: Array) -> Array:
    """The sign for each axis that makes its farthest entry positive; rounding does not choose between equals."""
    size = np.abs(left)
    first = np.argmax(size >= (1.0 - 1e-9) * size.max(axis=0), axis=0)
    return np.where(left[first, np.arange(left.shape[1])] < 0, -1.0, 1.0)


def _score(left: Array, sizes: Array, right: Array, scaling: str) -> Axes:
    if scaling not in SCALINGS:
        raise refuse(
            "scaling_unknown",
            f"{scaling!r} is no way to share the singular values",
            "Name one of: " + ", ".join(SCALINGS),
        )
    to_entries = {"symmetric": 0.5, "entry": 1.0, "environment": 0.0}[scaling]
    real = sizes > 0
    total = float(np.sum(sizes**2))
    return Axes(
        sizes,
        100.0 * sizes**2 / total if total > 0 else None,
        left * np.where(real, sizes**to_entries, 0.0),
        right.T * np.where(real, sizes ** (1.0 - to_entries), 0.0),
    )


def check_axes(
    axes: Axes,
    kind: str,
    dice: np.random.Generator,
    draws: int = 2_000,
    most: int = 6,
    error_ms: float | None = None,
    error_df: float | None = None,
    replicates: float = 1.0,
) -> tuple[AxisTest, ...]:
    """Ask of each axis in turn whether more than chance stands behind it.

    Parameters
    ----------
    axes
        As `find_ammi_axes` or `find_gge_axes` (environments not divided) gives them.
    kind
        ``ammi`` or ``gge``.
    dice
        Source of randomness for the draws.
    draws
        How many random tables are drawn for each axis; 0 for none.
    most
        How many axes are tested.
    error_ms, error_df
        Mean square of the error of a plot and its degrees of freedom, for Gollob's F; None if not known.
    replicates
        Plots behind each mean.

    Returns
    -------
    tuple of AxisTest
        One for each axis tested. An axis is kept while it and all before it are significant.

    Notes
    -----
    Drawing: T_k = l_k^2 / sum over j >= k of l_j^2 is compared with that of random normal tables of
    (g-k) x (e-k) cells (interaction) or (g-k) x (e-k+1) (entries and interaction); p = share of draws at least as
    large. It needs no error and assumes normal errors of equal variance. Gollob: df_k = g + e - 1 - 2k, F =
    replicates l_k^2 / df_k / error_ms; it keeps too many axes, for the largest of many is tested as if it were one.

    References
    ----------
    Gollob 1968 Psychometrika 33:73; Forkman & Piepho 2014 Biometrics 70:639.

    Checked by
    ----------
    tests/outside/test_stability_published.py, tests/science/test_stability.py
    """
    g, e = len(axes.entry_scores), len(axes.environment_scores)
    squares = axes.singular_values**2
    tests = []
    for k in range(1, min(most, len(squares)) + 1):
        rest = float(np.sum(squares[k - 1 :]))
        share = float(squares[k - 1]) / rest if rest > 0 else None
        wide = e - k + (kind == "gge")
        p = draw_chance(share, g - k, wide, draws, dice) if share is not None and draws and k < len(squares) else None
        df = g + e - 1 - 2 * k + (kind == "gge")
        f = replicates * float(squares[k - 1]) / df / error_ms if error_ms else None
        p_f = float(scipy.stats.f.sf(f, df, error_df)) if f is not None and error_df else None
        tests.append(AxisTest(k, df, float(squares[k - 1]), share, p, f, p_f))
    return tuple(tests)


def count_kept(chances: Sequence[float | None], level: float = 0.05) -> int | None:
    """How many axes are kept: an axis while it and all before it have a chance below the level; None if none is told.

    Checked by
    ----------
    tests/science/test_stability.py
    """
    if not chances or all(chance is None for chance in chances):
        return None
    return next((at for at, chance in enumerate(chances) if chance is None or chance >= level), len(chances))


def draw_chance(share: float, rows: int, columns: int, draws: int, dice: np.random.Generator) -> float:
    """Chance that the first axis of a random normal table (rows x columns) takes at least `share` of its squares.

    Notes
    -----
    The squared singular values are those of a triangle with chi-distributed diagonal and normal numbers below it
    (Bartlett 1933), which has only as many rows as the shorter side of the table.
    """
    short, long = min(rows, columns), max(rows, columns)
    triangle = np.tril(dice.standard_normal((draws, short, short)), -1)
    at = np.arange(short)
    triangle[:, at, at] = np.sqrt(dice.chisquare(long - at, size=(draws, short)))
    squares = np.linalg.eigvalsh(triangle @ triangle.transpose(0, 2, 1))
    return float(np.mean(squares[:, -1] >= (1.0 - NOTHING) * share * squares.sum(axis=1)))
