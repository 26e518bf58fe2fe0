"""How does each entry respond to environments: steeply or flat, close to its line or off it, near the best or not?"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import scipy.special
from numpy.typing import NDArray

from firstsilk.answers import NotConverged, refuse
from firstsilk.science.analysis.models import Array
from firstsilk.science.analysis.two_way import TwoWayTable, fit_additive, need_complete

MOST_ROUNDS = 5_000
SETTLED = 1e-12
FLAT = 1e-20
"""Environments whose squared index adds up to less than this share of the squared means do not differ."""


@dataclass(frozen=True, slots=True)
class EntryStability:
    """How one entry responds. None where a figure has no meaning (too few environments or entries, no error given).

    `slope` on the environment index, `deviation_ms` mean square of deviations from the line, `s2d` the same less the
    error of a mean, `wricke` ecovalence, `shukla` stability variance, `superiority` distance from the best (small is
    good); `slope_se`, `r2` of the line. All in the unit of the means, or its square.
    """

    entry: str
    mean: float
    slope: float | None
    deviation_ms: float | None
    s2d: float | None
    wricke: float
    shukla: float | None
    superiority: float
    slope_se: float | None
    r2: float | None


@dataclass(frozen=True, slots=True)
class AnovaLine:
    """One line of an analysis of variance; `ms` is None without degrees of freedom.

    `f` and `p` against the source named in `against` (``error``: that given); None where there is none.
    """

    source: str
    df: int
    ss: float
    ms: float | None
    f: float | None = None
    p: float | None = None
    against: str = ""


@dataclass(frozen=True, slots=True)
class JointRegression:
    """Lines fitted jointly with the environments: slopes (g,) of mean 1, environment effects (e,) of mean 0."""

    slopes: Array
    intercepts: Array
    environments: Array
    residual_ss: float
    residual_df: int


def describe_stability(
    table: TwoWayTable, error_ms: float | None = None, replicates: float = 1.0
) -> tuple[EntryStability, ...]:
    """Slope, deviations, ecovalence, stability variance and superiority of each entry.

    Parameters
    ----------
    table
        Means by entry and environment, without empty cells; cells filled in count for sums of squares of the
        interaction and for superiority, but not for the lines.
    error_ms
        Mean square of the error of a plot, in the square of the unit of the means; None if not known.
    replicates
        Plots behind each mean.

    Returns
    -------
    tuple of EntryStability
        In the order of the table's entries.

    Raises
    ------
    InputRefused
        If a cell is empty, or error or replicates have no meaning.

    Notes
    -----
    I_j = environment mean - general mean. slope b_i = sum_j Y_ij I_j / sum I_j^2. deviation_ms = sum of squared
    deviations / (e_i - 2), s2d = deviation_ms - error_ms / replicates. W_i = sum_j (Y_ij - Y_i. - Y.j + Y..)^2.
    Stability variance [g(g-1) W_i - sum W] / [(e-1)(g-1)(g-2)], which may come out below 0. Superiority
    sum_j (Y_ij - M_j)^2 / 2e, M_j the largest mean of environment j. Finlay & Wilkinson used logarithms; here the
    means are used as they are: hand in logarithms for theirs.

    References
    ----------
    Finlay & Wilkinson 1963 Australian Journal of Agricultural Research 14:742; Eberhart & Russell 1966 Crop Science
    6:36; Wricke 1962 Zeitschrift fuer Pflanzenzuechtung 47:92; Shukla 1972 Heredity 29:237; Lin & Binns 1988
    Canadian Journal of Plant Science 68:193.

    Checked by
    ----------
    tests/outside/test_stability_published.py, tests/properties/test_stability_laws.py
    """
    need_complete(table)
    if error_ms is not None and not (math.isfinite(error_ms) and error_ms >= 0):
        raise refuse("error_not_usable", f"The mean square of the error must not be below 0; it is {error_ms}")
    if not (math.isfinite(replicates) and replicates > 0):
        raise refuse("replicates_not_usable", f"The number of replicates must be above 0; it is {replicates}")
    means = table.means
    g, e = means.shape
    wricke = np.sum(centre_both_ways(means) ** 2, axis=1)
    superiority = np.sum((means - means.max(axis=0)) ** 2, axis=1) / (2 * e)
    index = find_environment_index(table)
    off = None if error_ms is None else error_ms / replicates
    return tuple(
        EntryStability(
            entry,
            float(means[i].mean()),
            *_line(means[i], index, table.observed[i], off),
            float(wricke[i]),
            (g * (g - 1) * float(wricke[i]) - float(wricke.sum())) / ((e - 1) * (g - 1) * (g - 2)) if g > 2 else None,
            float(superiority[i]),
            *_fit_of_line(means[i], index, table.observed[i]),
        )
        for i, entry in enumerate(table.entries)
    )


def centre_both_ways(means: Array) -> Array:
    """What is left of a complete table (g, e) once entry and environment means are taken out (g, e)."""
    return np.asarray(means - means.mean(axis=1, keepdims=True) - means.mean(axis=0) + means.mean(), dtype=np.float64)


def find_environment_index(table: TwoWayTable) -> Array:
    """Environment means less their mean (e,), adjusted for cells that were filled in; zeros if they do not differ."""
    seen = np.where(table.observed, table.means, np.nan)
    _, means = fit_additive(TwoWayTable(table.entries, table.environments, seen, np.zeros(seen.shape, dtype=bool)))
    index = means - means.mean()
    flat = float(index @ index) <= FLAT * float(np.sum(table.means**2))
    return np.zeros(len(index)) if flat else np.asarray(index, dtype=np.float64)


def _parts(values: Array, index: Array) -> tuple[float, float, float, float]:
    """Sums of squares of index and values, slope, sum of squared deviations of one line."""
    x, y = index - index.mean(), values - values.mean()
    sxx, syy = float(x @ x), float(y @ y)
    slope = float(x @ y) / sxx
    return sxx, syy, slope, float(np.sum((y - slope * x) ** 2))


def _line(
    values: Array, index: Array, seen: NDArray[np.bool_], off: float | None
) -> tuple[float | None, float | None, float | None]:
    """Slope, deviation mean square and s2d of one entry over the environments where it was seen."""
    if not _has_line(index, seen):
        return None, None, None
    _, _, slope, ss = _parts(values[seen], index[seen])
    df = int(seen.sum()) - 2
    if df < 1:
        return slope, None, None
    return slope, ss / df, None if off is None else ss / df - off


def _fit_of_line(values: Array, index: Array, seen: NDArray[np.bool_]) -> tuple[float | None, float | None]:
    """Standard error of the slope, and the share of the entry's variation that its line explains."""
    if not _has_line(index, seen):
        return None, None
    sxx, syy, _, ss = _parts(values[seen], index[seen])
    df = int(seen.sum()) - 2
    return math.sqrt(ss / df / sxx) if df > 0 else None, 1.0 - ss / syy if syy > 0 else None


def _has_line(index: Array, seen: NDArray[np.bool_]) -> bool:
    used = index[seen]
    return len(used) > 1 and float(np.ptp(used)) > 0


def analyse_joint_regression(
    table: TwoWayTable, error_ms: float | None = None, error_df: float | None = None, replicates: float = 1.0
) -> tuple[AnovaLine, ...]:
    """Split the sum of squares of a complete table of means; multiply by the replicates for that of plots.

    Parameters
    ----------
    table
        Means by entry and environment, without empty cells.
    error_ms, error_df
        Mean square of the error of a plot and its degrees of freedom, if known.
    replicates
        Plots behind each mean.

    Returns
    -------
    tuple of AnovaLine
        environments, entries, interaction; of the interaction: regressions (slopes that differ) and deviations.

    Notes
    -----
    SS regressions = sum (b_i - 1)^2 sum I_j^2; deviations = interaction less regressions. Entries are tested against
    the interaction (environments as drawn), regressions against deviations, interaction and deviations against the
    error of a mean. Means taken as equally sure.

    References
    ----------
    Finlay & Wilkinson 1963; Eberhart & Russell 1966; Freeman & Perkins 1971 Heredity 27:15.

    Checked by
    ----------
    tests/outside/test_stability_published.py
    """
    need_complete(table)
    g, e = table.means.shape
    means, level = table.means, table.means.mean()
    index = means.mean(axis=0) - level
    interaction = float(np.sum(centre_both_ways(means) ** 2))
    size = float(index @ index)
    slopes = means @ index / size if size > FLAT * float(np.sum(means**2)) else np.ones(g)
    regressions = min(float(np.sum((slopes - 1.0) ** 2)) * size, interaction)
    parts = [
        ("environments", e - 1, g * size),
        ("entries", g - 1, e * float(np.sum((means.mean(axis=1) - level) ** 2))),
        ("interaction", (g - 1) * (e - 1), interaction),
        ("regressions", g - 1, regressions),
        ("deviations", (g - 1) * (e - 2), interaction - regressions),
    ]
    squares = {source: (ss / df if df else None, df) for source, df, ss in parts}
    error = None if error_ms is None else error_ms / replicates
    squares["error"] = (error, error_df or 0)
    return tuple(_test(source, df, ss, squares) for source, df, ss in parts)


_AGAINST = {"entries": "interaction", "interaction": "error", "regressions": "deviations", "deviations": "error"}


def _test(source: str, df: int, ss: float, squares: Mapping[str, tuple[float | None, float]]) -> AnovaLine:
    against = _AGAINST.get(source, "")
    below, below_df = squares.get(against, (None, 0))
    if not df or not below or below < FLAT * ss:
        return AnovaLine(source, df, ss, ss / df if df else None)
    f = ss / df / below
    p = float(scipy.special.fdtrc(df, below_df, f)) if below_df else None
    return AnovaLine(source, df, ss, ss / df, f, p, against)


def fit_joint_regression(table: TwoWayTable) -> JointRegression:
    """Fit a line for each entry and the environments' effects together, over the cells that have a mean.

    Raises
    ------
    InputRefused
        If the cells are not connected, or an entry has fewer than two means.
    NotConverged
        If the rounds do not settle.

    Notes
    -----
    Y_ij = m_i + b_i E_j by least squares, lines and environments in turn, with mean b = 1 and mean E = 0. In a
    complete table this differs a little from regression on plain environment means.

    References
    ----------
    Digby 1979 Journal of Agricultural Science 93:81.

    Checked by
    ----------
    tests/outside/test_stability_published.py
    """
    seen = table.observed
    for entry, count in zip(table.entries, seen.sum(axis=1), strict=True):
        if count < 2:
            raise refuse("too_few_cells", f"Entry {entry!r} has one mean only: no line can be fitted to it")
    values = np.where(seen, table.means, 0.0)
    effects = find_environment_index(table)
    slopes = np.ones(len(table.entries))
    for _ in range(MOST_ROUNDS):
        before = slopes
        intercepts, slopes = _fit_lines(values, seen, effects)
        weights = seen * slopes[:, None]
        load = np.sum(weights * slopes[:, None], axis=0)
        effects = np.sum(weights * (values - intercepts[:, None] * seen), axis=0) / np.where(load > 0, load, 1.0)
        slopes, intercepts, effects = _scale(slopes, intercepts, effects)
        if float(np.max(np.abs(slopes - before))) <= SETTLED * float(np.max(np.abs(slopes))):
            left = np.where(seen, table.means - intercepts[:, None] - slopes[:, None] * effects, 0.0)
            df = int(seen.sum()) - 2 * len(table.entries) - len(table.environments) + 2
            return JointRegression(slopes, intercepts, effects, float(np.sum(left**2)), df)
    raise NotConverged(f"Lines and environments did not settle within {MOST_ROUNDS} rounds.")


def _fit_lines(values: Array, seen: NDArray[np.bool_], effects: Array) -> tuple[Array, Array]:
    count = seen.sum(axis=1)
    x_mean = (seen * effects).sum(axis=1) / count
    y_mean = values.sum(axis=1) / count
    x = seen * (effects - x_mean[:, None])
    spread = np.sum(x * x, axis=1)
    slopes = np.sum(x * values, axis=1) / np.where(spread > 0, spread, 1.0)
    return y_mean - slopes * x_mean, slopes


def _scale(slopes: Array, intercepts: Array, effects: Array) -> tuple[Array, Array, Array]:
    """Write the same fit with slopes of mean 1 and environments of mean 0."""
    size = float(slopes.mean())
    if abs(size) < SETTLED:
        raise refuse("environments_alike", "The environments do not differ, so no slope on them can be found")
    effects, slopes = effects * size, slopes / size
    shift = float(effects.mean())
    return slopes, intercepts + slopes * shift, effects - shift
