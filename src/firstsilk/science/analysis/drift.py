"""Do the values of a trial rise, fall or bend along harvest order, beyond what entries, replicates and rows explain?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.special
from numpy.typing import NDArray

from firstsilk.answers import InputRefused
from firstsilk.science.analysis.columns import Column
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Array, Fit, Model, RandomTerm
from firstsilk.science.analysis.oddities import OddPlot
from firstsilk.science.analysis.trial_plots import TraitFit, TrialPlots

FALSE_ALARM = 0.01
"""The chance that a clean trial is told to drift, for each trait (a choice of ours)."""
N_WAVES = 4
LEAST_FREE = 2


@dataclass(frozen=True, slots=True)
class Drift:
    """A course along harvest order: `course` (n,) around 0, within replicates where there are some.

    `change` is that from first to last plot (of a replicate, on the mean), `span` that from lowest to highest plot;
    `chance` is that of so strong a course in a clean trial, over all waves looked at; `wave` the number of the
    strongest, 1 the half wave that only rises or falls.
    """

    course: Array
    change: float
    span: float
    chance: float
    wave: int


def find_drift(trial: TrialPlots, fit: TraitFit, odd: tuple[OddPlot, ...] = ()) -> Drift | None:
    """Look for a course along harvest order in one trait.

    Parameters
    ----------
    trial
        The plots.
    fit
        The trait as fitted, for what the ground is made of.
    odd
        Plots that lie out and are left out here.

    Returns
    -------
    Drift or None
        None if the course is no stronger than chance has it, or cannot be told from the rest.

    Notes
    -----
    Cosine waves of order, cos(pi j (k - 1/2) / n), j = 1 to `N_WAVES`, are fixed beside replicates; entries, rows and
    columns random. Each is tested by its t; the degrees of freedom are the passes less the other fixed effects where
    rows differ, else those left to error. The smallest chance counts `N_WAVES` times (Bonferroni). A trend of the
    ground along the same way looks alike: only a person can tell which it is.

    Checked by
    ----------
    tests/science/test_plot_doubts.py, tests/soak/prove_plot_quality.py
    """
    values = trial.values[fit.trait].copy()
    values[[one.at for one in odd]] = np.nan
    at = np.arange(trial.n)
    waves = {f"wave{j}": np.cos(np.pi * j * (at + 0.5) / trial.n) for j in range(1, N_WAVES + 1)}
    data: dict[str, Column] = {"value": values, "entry": list(trial.entry), "rep": list(trial.rep), **waves}
    if trial.field_row is not None and trial.field_col is not None:
        data |= {"row": trial.field_row.tolist(), "col": trial.field_col.tolist()}
    random = tuple(RandomTerm((term,)) for term in ("entry", *fit.ground_terms) if term != "rep")
    fixed = tuple((name,) for name in waves)
    by_rep = (("rep",),) if "rep" in fit.ground_terms else ()
    try:
        found = fit_mixed_model(data, Model("value", (*by_rep, *fixed), random, numeric=tuple(waves)))
    except InputRefused:
        return None
    rep = np.unique(trial.rep if by_rep else [""] * trial.n, return_inverse=True)[1]
    return _judge(found, np.column_stack(list(waves.values())), rep, _count_free(trial, fit, found))


def _count_free(trial: TrialPlots, fit: TraitFit, found: Fit) -> float:
    """Degrees of freedom for a course: those of the passes where rows differ, else those left to error."""
    used = N_WAVES + len(set(trial.rep))
    if "row" in fit.ground_terms and found.variance("row") > 0:
        return max(float(trial.passes.max()) + 1.0 - used, float(LEAST_FREE))
    return max(fit.free - N_WAVES, float(LEAST_FREE))


def _judge(found: Fit, waves: Array, rep: NDArray[np.intp], free: float) -> Drift | None:
    lines = {line.term: line for line in found.fixed}
    told = [lines[f"wave{j}"] for j in range(1, N_WAVES + 1)]
    t = np.array([line.estimate / line.se if line.se > 0 else 0.0 for line in told])
    chances = 2.0 * scipy.special.stdtr(free, -np.abs(t))
    chance = min(1.0, N_WAVES * float(chances.min()))
    if chance >= FALSE_ALARM:
        return None
    # Waves that chance may have made are not drawn.
    kept = np.where(chances < FALSE_ALARM, [line.estimate for line in told], 0.0)
    course = waves @ kept
    # What lies between replicates is theirs, so it is taken out.
    course = course - (np.bincount(rep, course) / np.bincount(rep))[rep]
    ends = [np.flatnonzero(rep == one)[[0, -1]] for one in range(int(rep.max()) + 1)]
    change = float(np.mean([course[last] - course[first] for first, last in ends]))
    return Drift(course, change, float(course.max() - course.min()), chance, int(np.argmin(chances)) + 1)
