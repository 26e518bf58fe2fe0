"""How far can the plots of one trial be believed: odd plots, a drift, a shifted pass, entries that do not differ?

Values in, doubts out: nothing is changed or left out by itself, and a person decides.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import InputRefused
from firstsilk.science.analysis.drift import Drift, find_drift
from firstsilk.science.analysis.models import Array
from firstsilk.science.analysis.oddities import OddPlot, find_odd_plots, measure_t
from firstsilk.science.analysis.shifted_pass import ShiftedPass, find_shifted_pass
from firstsilk.science.analysis.trial_plots import TraitFit, TrialPlots, fit_trait

DIFFERS_BELOW = 0.05
"""Entries are taken to differ below this chance of the likelihood ratio (the usual choice)."""


@dataclass(frozen=True, slots=True)
class TraitDoubts:
    """What one trait of a trial says: its fit without odd plots, how far out each plot lies, and the doubts.

    `t` is (n,), nan where that cannot be told; `bound` the size from which a plot is odd; `repeatability` that of an
    entry's mean over its plots; `chance_alike` the chance of so different entries if they did not differ.
    """

    trait: str
    fit: TraitFit
    t: Array
    bound: float
    odd: tuple[OddPlot, ...]
    drift: Drift | None
    repeatability: float
    chance_alike: float

    @property
    def differs(self) -> bool:
        """Whether entries differ beyond error."""
        return self.chance_alike < DIFFERS_BELOW


@dataclass(frozen=True, slots=True)
class TrialDoubts:
    """All that is doubted about one trial. `odds`: how many times as likely the values are with a shift as without.

    `not_told` says in sentences what could not be looked at, and why.
    """

    trial: TrialPlots
    traits: tuple[TraitDoubts, ...]
    shifted: ShiftedPass | None
    odds: float
    not_told: tuple[str, ...]


def check_trial(trial: TrialPlots, together: Sequence[str] | None = None) -> TrialDoubts:
    """Doubt the plots of a trial.

    Parameters
    ----------
    trial
        The plots.
    together
        Traits that were recorded on one travel, so that a slip moved them together; None: all.

    Returns
    -------
    TrialDoubts
        For each trait its odd plots, drift and repeatability; and the pass that is shifted, if one is.

    Notes
    -----
    The repeatability of an entry's mean is entry variance / (entry variance + error variance / m), m the harmonic mean
    of the plots of an entry.

    Checked by
    ----------
    tests/science/test_plot_doubts.py, tests/soak/prove_plot_quality.py
    """
    told: list[TraitDoubts] = []
    not_told: list[str] = []
    for trait in trial.values:
        try:
            told.append(_check_trait(trial, trait))
        except InputRefused as no:
            not_told.append(str(no))
    moved = [one.trait for one in told if together is None or one.trait in together]
    odds, shifted = 1.0, None
    if moved:
        # A plot that lies out counts here too, drawn in: where a pass is shifted, many lie out.
        odds, shifted = find_shifted_pass(trial, [fit_trait(trial, trait) for trait in moved])
    return TrialDoubts(trial, tuple(told), shifted, odds, tuple(not_told))


def _check_trait(trial: TrialPlots, trait: str) -> TraitDoubts:
    fit, odd = find_odd_plots(trial, trait)
    t, bound = measure_t(fit)
    for one in odd:
        t[one.at] = one.t
    counted = ~np.isnan(fit.left)
    repeatability = _repeatability(fit, trial.entry, counted)
    return TraitDoubts(trait, fit, t, bound, odd, find_drift(trial, fit, odd), repeatability, fit.p_entries)


def _repeatability(fit: TraitFit, entry: Sequence[str], counted: NDArray[np.bool_]) -> float:
    codes = np.unique(np.array(entry)[counted], return_inverse=True)[1]
    error = fit.residual_variance * float(np.mean(1.0 / np.bincount(codes)))
    return fit.entry_variance / (fit.entry_variance + error)
