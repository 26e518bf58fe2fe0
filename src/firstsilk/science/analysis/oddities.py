"""Which plots lie too far from what their entry and their ground make one expect, and what may have happened there?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import scipy.special
from numpy.typing import NDArray

from firstsilk.science.analysis.models import Array
from firstsilk.science.analysis.trial_plots import TraitFit, TrialPlots, fit_trait

FALSE_ALARM = 0.01
"""The chance that any plot of a clean trial is told as odd, for each trait (a choice of ours)."""
MOST_ROUNDS = 8
FITS_WITHIN_SD = 3.0
"""What may have happened is told if the value then lies within so many error deviations (a choice of ours)."""
EMPTY_BELOW_FRAC = 0.02
SWAPPED_BELOW_FRAC = 0.2
"""Neighbours are taken for swapped if that leaves less than this share of their squares (a choice of ours)."""

Likely = Literal["", "empty", "double", "half", "decimal", "swapped"]


@dataclass(frozen=True, slots=True)
class OddPlot:
    """One plot that lies out: its place in harvest order, value, what is expected without it, and how far out it is.

    `t` is its studentised residual with its own value left out of the error, `bound` the size from which a plot is odd.
    `likely` is what may have happened; `other` the place of the plot with which it was swapped.
    """

    at: int
    value: float
    expected: float
    t: float
    bound: float
    likely: Likely
    other: int | None = None


def find_odd_plots(trial: TrialPlots, trait: str) -> tuple[TraitFit, tuple[OddPlot, ...]]:
    """Find plots that lie out, the farthest first, and fit the trait without them.

    Parameters
    ----------
    trial
        The plots.
    trait
        Which of its values.

    Returns
    -------
    tuple
        The fit without the odd plots, and the odd plots in harvest order.

    Raises
    ------
    InputRefused
        As `fit_trait`.

    Notes
    -----
    r = (Py)_i / sqrt(P_ii), t = r sqrt((f - 1) / (f - r^2)) with f the degrees of freedom left to error. A plot is odd
    beyond the bound that t on f - 1 degrees of freedom passes with chance `FALSE_ALARM` / n, both sides together
    (Bonferroni over n plots). Of each entry the farthest one is left out and the rest is fitted again, until none is
    odd or `MOST_ROUNDS` were made: so one does not hide another, nor draw others out. What is told of an odd plot is
    its distance from what the rest expects, times sqrt(1 - h) over the error of the rest, h its own share in its fit.

    References
    ----------
    Cook & Weisberg 1982, Residuals and Influence in Regression, 2.2 (t and its bound).

    Checked by
    ----------
    tests/science/test_plot_doubts.py, tests/soak/prove_plot_quality.py
    """
    fit, out = _leave_out_far(trial, trait)
    fit, far = _put_back(trial, trait, fit, out)
    values = trial.values[trait]
    swapped = _find_swapped(values, fit, sorted(far))
    told = []
    for at in sorted(far):
        likely: Likely = "swapped" if at in swapped else _guess(values[at], fit.expected[at], fit)
        expected = float(fit.expected[at])
        told.append(OddPlot(at, float(values[at]), expected, *far[at], likely, swapped.get(at)))
    return fit, tuple(told)


def _leave_out_far(trial: TrialPlots, trait: str) -> tuple[TraitFit, NDArray[np.bool_]]:
    """The fit without plots that lie out, and which those are."""
    out = np.zeros(trial.n, dtype=np.bool_)
    fit = fit_trait(trial, trait)
    for _ in range(MOST_ROUNDS):
        t, bound = measure_t(fit)
        fresh = _farthest_of_each(trial, np.abs(np.nan_to_num(t)), bound)
        if not fresh:
            break
        out[fresh] = True
        fit = fit_trait(trial, trait, out)
    return fit, out


def _put_back(
    trial: TrialPlots, trait: str, fit: TraitFit, out: NDArray[np.bool_]
) -> tuple[TraitFit, dict[int, tuple[float, float]]]:
    """How far each plot lies from what the rest expects; one that others had drawn out is put back."""
    told = {}
    bound = measure_t(fit)[1]
    for at in np.flatnonzero(out).tolist():
        back = out.copy()
        back[at] = False
        beside = fit_trait(trial, trait, back)
        # The share of its own value that is left to error is that beside the rest; the error is that of the rest.
        share = (beside.left[at] / beside.studentised[at]) ** 2 / beside.residual_variance
        miss = trial.values[trait][at] - fit.expected[at]
        told[at] = (float(miss * np.sqrt(share / fit.residual_variance)), bound)
    kept = {at: sizes for at, sizes in told.items() if abs(sizes[0]) > sizes[1]}
    if len(kept) < len(told):
        still_out = np.zeros(trial.n, dtype=np.bool_)
        still_out[list(kept)] = True
        fit = fit_trait(trial, trait, still_out)
    return fit, kept


def _farthest_of_each(trial: TrialPlots, size: Array, bound: float) -> list[int]:
    """Of each entry the plot farthest out, if it is beyond the bound: it draws the entry's others out with it."""
    found: dict[str, int] = {}
    for at in np.flatnonzero(size > bound).tolist():
        best = found.setdefault(trial.entry[at], at)
        if size[at] > size[best]:
            found[trial.entry[at]] = at
    return sorted(found.values())


def measure_t(fit: TraitFit) -> tuple[Array, float]:
    """How far out each plot lies, (n,), nan where that cannot be told; and the bound beyond which one is odd."""
    r, free = fit.studentised, max(fit.free, 2.0)
    told: NDArray[np.bool_] = ~np.isnan(r)
    with np.errstate(invalid="ignore", divide="ignore"):
        t = r * np.sqrt((free - 1.0) / np.maximum(free - r**2, 1e-9))
    bound = -float(scipy.special.stdtrit(free - 1.0, FALSE_ALARM / (2.0 * max(int(np.sum(told)), 1))))
    return t, bound


def _find_swapped(values: Array, fit: TraitFit, out: list[int]) -> dict[int, int]:
    """Odd plots that follow each other, each of which has what is expected of the other."""
    found: dict[int, int] = {}
    for one in out:
        two = one + 1
        if two not in out:
            continue
        miss, swapped_miss = (
            (values[one] - fit.expected[a]) ** 2 + (values[two] - fit.expected[b]) ** 2
            for a, b in ((one, two), (two, one))
        )
        if swapped_miss < SWAPPED_BELOW_FRAC * miss:
            found |= {one: two, two: one}
    return found


def _guess(value: float, expected: float, fit: TraitFit) -> Likely:
    if expected <= 0:
        return ""
    if 0 <= value < EMPTY_BELOW_FRAC * expected:
        return "empty"
    near = FITS_WITHIN_SD * np.sqrt(fit.residual_variance)
    kinds: tuple[tuple[Likely, float], ...] = (("decimal", 10.0), ("decimal", 0.1), ("decimal", 100.0))
    for kind, times in (*kinds, ("double", 2.0), ("half", 0.5)):
        # A value that was moved by a factor carries its own error by that factor.
        if abs(value / times - expected) < near and abs(np.log(value / expected / times)) < 0.35:
            return kind
    return ""
