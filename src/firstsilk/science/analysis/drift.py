"""Do the values of a trial rise, fall or bend along harvest order, beyond what entries and replicates explain?"""

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
"""Fewer degrees of freedom between passes tell nothing of a course from pass to pass (a choice of ours)."""


@dataclass(frozen=True, slots=True)
class Drift:
    """A course along harvest order: `course` (n,) around 0, within replicates where there are some.

    `change` is that from first to last plot (of a replicate, on the mean), `span` that from lowest to highest plot;
    `chance` is that of so strong a course in a clean trial, over all that was looked at.
    """

    course: Array
    change: float
    span: float
    chance: float


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
    Within passes: cosine waves of order, cos(pi j (k - 1/2) / n), j = 1 to `N_WAVES`, fixed beside passes; entries, and
    what of the ground crosses passes, random; each by its t. From pass to pass: the adjusted means of passes against
    their middle in order, beside replicates, by its t on the passes less the replicates less 1. The smallest chance
    counts as often as was looked (Bonferroni). A trend of the ground along the same way looks alike: only a person can
    tell which it is.

    Checked by
    ----------
    tests/science/test_plot_doubts.py, tests/soak/prove_plot_quality.py
    """
    values = trial.values[fit.trait].copy()
    values[[one.at for one in odd]] = np.nan
    at = np.arange(trial.n)
    waves = {f"wave{j}": np.cos(np.pi * j * (at + 0.5) / trial.n) for j in range(1, N_WAVES + 1)}
    several = bool(trial.passes.max())
    data: dict[str, Column] = {"value": values, "entry": list(trial.entry), "pass": trial.passes.tolist(), **waves}
    crossing = [(name, codes) for name, codes in _list_lines(trial, fit) if not _is_told_by(codes, trial.passes)]
    data |= {name: codes.tolist() for name, codes in crossing}
    random = tuple(RandomTerm((name,)) for name in ("entry", *(name for name, _ in crossing)))
    fixed = ((("pass",),) if several else ()) + tuple((name,) for name in waves)
    try:
        found = fit_mixed_model(data, Model("value", fixed, random, numeric=tuple(waves)))
        plain = fit_mixed_model(data, Model("value", (("pass",),), random)) if several else None
    except InputRefused:
        return None
    rep = np.unique(trial.rep, return_inverse=True)[1].astype(np.intp)
    if not _is_told_by(rep, trial.passes):
        rep = np.zeros(trial.n, dtype=np.intp)
    return _judge(trial, rep, _test_waves(found, fit, waves), _test_passes(trial, rep, plain))


def _list_lines(trial: TrialPlots, fit: TraitFit) -> list[tuple[str, NDArray[np.intp]]]:
    lines = {"rep": np.unique(trial.rep, return_inverse=True)[1], "row": trial.field_row, "col": trial.field_col}
    return [(name, np.asarray(lines[name], dtype=np.intp)) for name in fit.ground_terms]


def _is_told_by(codes: NDArray[np.intp], passes: NDArray[np.intp]) -> bool:
    """Whether all plots of a pass have the same one."""
    return len(np.unique(np.column_stack([codes, passes]), axis=0)) == len(np.unique(passes))


def _test_waves(found: Fit, fit: TraitFit, waves: dict[str, Array]) -> list[tuple[float, Array]]:
    """The chance of each wave, and its course (n,)."""
    free = max(fit.free - N_WAVES, float(LEAST_FREE))
    lines = {line.term: line for line in found.fixed}
    told = []
    for name, wave in waves.items():
        line = lines[name]
        t = line.estimate / line.se if line.se > 0 else 0.0
        told.append((2.0 * float(scipy.special.stdtr(free, -abs(t))), wave * line.estimate))
    return told


def _test_passes(trial: TrialPlots, rep: NDArray[np.intp], plain: Fit | None) -> list[tuple[float, Array]]:
    """The chance of a course from pass to pass, and that course (n,); nothing where there are too few passes."""
    if plain is None:
        return []
    mean = {line.level: line.value for line in plain.means if line.term == "pass"}
    passes = [one for one in range(int(trial.passes.max()) + 1) if str(one) in mean]
    y = np.array([mean[str(one)] for one in passes])
    middle = np.array([float(np.mean(np.flatnonzero(trial.passes == one))) for one in passes])
    of = np.array([rep[trial.passes == one][0] for one in passes])
    free = len(passes) - len(set(of.tolist())) - 1
    if free < LEAST_FREE:
        return []
    within = [one - (np.bincount(of, one) / np.maximum(np.bincount(of), 1))[of] for one in (y, middle)]
    size = float(within[1] @ within[1])
    slope = float(within[1] @ within[0]) / size
    error = float(np.sum((within[0] - slope * within[1]) ** 2)) / free
    t = slope / np.sqrt(max(error, 1e-300) / size)
    along = np.asarray(slope * np.arange(trial.n), dtype=np.float64)
    return [(2.0 * float(scipy.special.stdtr(free, -abs(t))), along)]


def _judge(
    trial: TrialPlots, rep: NDArray[np.intp], within: list[tuple[float, Array]], across: list[tuple[float, Array]]
) -> Drift | None:
    looked = within + across
    chance = min(1.0, len(looked) * min(one for one, _ in looked))
    if chance >= FALSE_ALARM:
        return None
    # A course that chance may have made is not drawn; what lies between passes, or between replicates, is theirs.
    course = np.zeros(trial.n)
    for group, parts in ((trial.passes, within), (rep, across)):
        if parts and len(looked) * min(alone for alone, _ in parts) < FALSE_ALARM:
            own = np.sum([one for _, one in parts], axis=0)
            course = course + own - (np.bincount(group, own) / np.bincount(group))[group]
    ends = [np.flatnonzero(rep == one)[[0, -1]] for one in range(int(rep.max()) + 1)]
    change = float(np.mean([course[last] - course[first] for first, last in ends]))
    return Drift(course, change, float(course.max() - course.min()), chance)
