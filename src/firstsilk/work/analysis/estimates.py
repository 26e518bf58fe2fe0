"""What is each entry worth, what each line behind it, and how surely is it better than the checks?"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstsilk.science.analysis.comparisons import Comparison, compare_with_check
from firstsilk.science.analysis.models import Fit
from firstsilk.work.analysis.fits import Fitted
from firstsilk.work.analysis.plots import PlotValue

Array = NDArray[np.float64]
CHECKS = "the mean of the checks"


@dataclass(frozen=True, slots=True)
class Worth:
    """One estimate before it is written down; `line` is the books' number of the line."""

    line: int
    kind: str
    value: float
    se: float | None
    reliability: float | None
    n_plots: int
    n_sites: int
    n_years: int
    versus: Comparison | None = None


@dataclass(frozen=True, slots=True)
class _Predicted:
    names: tuple[str, ...]
    values: Array
    errors: Array
    mean: float
    variance: float


def estimate_worth(
    fitted: Fitted, plots: Sequence[PlotValue], parents: Mapping[int, tuple[int, ...]], more_is_better: bool
) -> tuple[float, tuple[Worth, ...]]:
    """The general mean, and every estimate: BLUPs and BLUEs of entries, GCA of the lines behind them.

    Parameters
    ----------
    fitted
        The fits.
    plots
        The plots they rest on.
    parents
        For each hybrid (by the books' number) its parent lines.
    more_is_better
        False for moisture.

    Notes
    -----
    BLUP = mean of the trials + predicted entry effect; its se is the root of the prediction error variance.
    gca of a line = plain mean of the BLUPs of its m hybrids, w'u with w = 1/m; se = sqrt(w' C w), C the prediction
    error covariance; reliability = 1 - w'Cw / (entry variance / m). It is not corrected for the testers: a line met by
    a better tester looks better. The mean of the checks is a combination of the same kind, so that differences to it
    carry the covariance.
    """
    found = _read_predictions(fitted.random)
    numbers = {one.entry: one.line for one in plots}
    checks = sorted({one.entry for one in plots if one.is_check})
    hybrids_of: dict[int, list[str]] = {}
    for name in found.names:
        for parent in parents.get(numbers[name], ()):
            hybrids_of.setdefault(parent, []).append(name)
    lines = sorted(hybrids_of)
    weights = _combine(found.names, [hybrids_of[line] for line in lines] + ([checks] if checks else []))
    values, errors = weights @ found.values, weights @ found.errors @ weights.T
    labels = [*found.names, *(f"line {line}" for line in lines), *([CHECKS] if checks else [])]
    told = _compare(labels, values, errors, bool(checks), more_is_better)
    worth = [_entry_worth(found, at, plots, numbers, told) for at in range(len(found.names))]
    worth += [
        _line_worth(line, hybrids_of[line], len(found.names) + at, found, values, errors, plots, told)
        for at, line in enumerate(lines)
    ]
    if fitted.fixed is not None:
        worth += _fixed_worth(fitted.fixed, plots, numbers)
    return found.mean, tuple(worth)


def _read_predictions(fit: Fit) -> _Predicted:
    own = [line for line in fit.random if line.term == "entry"]
    trials = [line.value for line in fit.means if line.term == "trial"]
    mean = sum(trials) / len(trials) if trials else fit.fixed[0].estimate
    values = np.array([line.value for line in own])
    return _Predicted(
        tuple(line.level for line in own), values, fit.random_covariance["entry"], mean, fit.variance("entry")
    )


def _combine(names: Sequence[str], groups: Sequence[Sequence[str]]) -> Array:
    """Rows of weights: each entry by itself, then the plain mean of each group."""
    at = {name: k for k, name in enumerate(names)}
    means = np.zeros((len(groups), len(names)))
    for row, group in enumerate(groups):
        for name in group:
            means[row, at[name]] = 1.0 / len(group)
    return np.vstack([np.eye(len(names)), means])


def _compare(
    labels: Sequence[str], values: Array, errors: Array, has_checks: bool, more_is_better: bool
) -> dict[str, Comparison]:
    if not has_checks:
        return {}
    return {one.entry: one for one in compare_with_check(labels, values, errors, CHECKS, more_is_better)}


def _entry_worth(
    found: _Predicted,
    at: int,
    plots: Sequence[PlotValue],
    numbers: Mapping[str, int],
    told: Mapping[str, Comparison],
) -> Worth:
    name = found.names[at]
    error = max(float(found.errors[at, at]), 0.0)
    reliability = max(0.0, 1.0 - error / found.variance) if found.variance > 0 else None
    return Worth(
        numbers[name],
        "blup",
        found.mean + float(found.values[at]),
        math.sqrt(error),
        reliability,
        *_count(plots, {name}),
        told.get(name),
    )


def _line_worth(
    line: int,
    hybrids: Sequence[str],
    at: int,
    found: _Predicted,
    values: Array,
    errors: Array,
    plots: Sequence[PlotValue],
    told: Mapping[str, Comparison],
) -> Worth:
    error = max(float(errors[at, at]), 0.0)
    before = found.variance / len(hybrids)
    reliability = max(0.0, 1.0 - error / before) if before > 0 else None
    value = found.mean + float(values[at])
    counts = _count(plots, set(hybrids))
    return Worth(line, "gca", value, math.sqrt(error), reliability, *counts, told.get(f"line {line}"))


def _fixed_worth(fit: Fit, plots: Sequence[PlotValue], numbers: Mapping[str, int]) -> list[Worth]:
    return [
        Worth(numbers[line.level], "blue", line.value, line.se, None, *_count(plots, {line.level}))
        for line in fit.means
        if line.term == "entry"
    ]


def _count(plots: Sequence[PlotValue], entries: set[str]) -> tuple[int, int, int]:
    """Plots, sites and years in which these entries grew."""
    own = [one for one in plots if one.entry in entries]
    return len(own), len({one.site for one in own}), len({one.year for one in own})
