"""Which plots and lay-outs of a trial cannot be what the records say?

Rules on counts and ranges. Values in, values out; odd yields are judged by ``analysis``.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

from firstsilk.answers import Finding, Place

MOISTURE_LOW_PCT, MOISTURE_HIGH_PCT = 8.0, 45.0
"""Grain is combined between these (a rule of the trade) [%]."""
WHOLE_DESIGNS = ("complete", "alpha", "square-lattice", "rectangular-lattice", "row-column")
"""Designs in which every entry stands in every replicate."""


@dataclass(frozen=True, slots=True)
class PlotFacts:
    """One plot with its newest record; None where a number was not taken."""

    number: int
    rep: str
    entry: str
    is_check: bool = False
    weight_kg: float | None = None
    moisture_pct: float | None = None
    stand: int | None = None
    lodged: int | None = None
    rejected: bool = False


@dataclass(frozen=True, slots=True)
class TrialFacts:
    """One trial with its lay-out."""

    name: str
    design: str
    reps: int
    plots: tuple[PlotFacts, ...]


def check_trial_records(trial: TrialFacts) -> tuple[Finding, ...]:
    """What cannot be or is unlikely about one trial's lay-out and records.

    Parameters
    ----------
    trial
        The trial; rejected plots count in the lay-out only.

    Returns
    -------
    tuple of Finding
        Never stopping.

    Notes
    -----
    Entries times replicates are the plots, where the design is a whole one; a check stands in every replicate; moisture
    lies in 8 to 45 %, weight above 0; no more plants lie than stand.

    Checked by
    ----------
    tests/science/test_audit_rules.py
    """
    found = [*_check_layout(trial)]
    for plot in trial.plots:
        if not plot.rejected:
            found += _check_plot(trial, plot)
    return tuple(found)


def _check_layout(trial: TrialFacts) -> Iterator[Finding]:
    entries = Counter(plot.entry for plot in trial.plots)
    checks = {plot.entry for plot in trial.plots if plot.is_check}
    if trial.design in WHOLE_DESIGNS:
        for entry, plots in entries.items():
            if (plots % trial.reps if entry in checks else plots != trial.reps) and trial.reps:
                told = f"{entry} stands on {plots} plots of {trial.reps} replicates"
                yield _odd("plots_not_by_reps", told, trial, "reps", str(plots), "Correct the entry of a plot")
    reps: dict[str, set[str]] = defaultdict(set)
    for plot in trial.plots:
        reps[plot.rep].add(plot.entry)
    for check in sorted(checks):
        without = sorted(rep for rep, grown in reps.items() if check not in grown)
        if without and len(reps) > 1:
            told = f"the check {check} does not stand in replicate {', '.join(without)}"
            yield _odd("check_not_in_replicate", told, trial, "entry", check, "Look for a plot with the wrong entry")


def _check_plot(trial: TrialFacts, plot: PlotFacts) -> Iterator[Finding]:
    name = f"plot {plot.number} ({plot.entry})"
    if plot.moisture_pct is not None and not MOISTURE_LOW_PCT <= plot.moisture_pct <= MOISTURE_HIGH_PCT:
        told = f"{name}: moisture outside {MOISTURE_LOW_PCT:g} to {MOISTURE_HIGH_PCT:g} %"
        yield _odd(
            "moisture_out_of_range", told, trial, "moisture_pct", f"{plot.moisture_pct:g}", "Read the meter again"
        )
    if plot.weight_kg is not None and plot.weight_kg <= 0:
        told = f"{name}: its weight is not above 0"
        repair = "Leave it empty if it was not weighed, or reject it with the reason"
        yield _odd("weight_not_above_zero", told, trial, "weight_kg", f"{plot.weight_kg:g}", repair)
    if plot.stand is not None and plot.lodged is not None and plot.lodged > plot.stand:
        told = f"{name}: {plot.lodged} plants lodged, but {plot.stand} stood"
        yield _odd("more_lodged_than_stood", told, trial, "stand", str(plot.stand), "Count again")


def _odd(code: str, told: str, trial: TrialFacts, column: str, value: str, repair: str) -> Finding:
    return Finding(code, told, Place(f"trial {trial.name}", None, column), value, repair, stops=False)
