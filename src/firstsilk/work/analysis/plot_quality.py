"""How far can the plots of one of the station's trials be believed, and what should a person look at?"""

from __future__ import annotations

import math
from dataclasses import dataclass

from firstsilk.answers import Finding, refuse
from firstsilk.science.analysis.plot_doubts import check_trial
from firstsilk.science.analysis.trial_plots import arrange_trial
from firstsilk.work.analysis.plot_findings import PlotLabel, PlotLook, list_looks, tell_doubts
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.trials.reading import PlotCell, TrialPage, read_trial

TRAITS = {
    "yield_kg_ha_15_5": "yield at 15.5 % moisture, kg/ha",
    "moisture_pct": "moisture at harvest, %",
}
"""What a harvester records on one travel, and how a person calls it: a slip moves these together."""


@dataclass(frozen=True, slots=True)
class TraitPlots:
    """One trait of a trial: how the trial does by it, and each plot as a map shows it, in harvest order.

    `bound` is the size in error deviations from which a plot is odd; `chance_alike` the chance of so different entries
    if all were alike.
    """

    trait: str
    words: str
    n_values: int
    repeatability: float
    chance_alike: float
    error_sd: float
    bound: float
    plots: tuple[PlotLook, ...]


@dataclass(frozen=True, slots=True)
class PlotQuality:
    """All that is doubted about the plots of one trial. `shift_odds`: how many times as likely with a shift as without.

    `not_told` says what could not be looked at, and why; `findings` stop nothing.
    """

    trial: str
    site_name: str
    year: int
    traits: tuple[TraitPlots, ...]
    findings: tuple[Finding, ...]
    shift_odds: float
    not_told: tuple[str, ...]
    basis: Basis


def judge_plots(on: Occasion, trial: str) -> PlotQuality:
    """Doubt the plots of one trial by its yields and moistures.

    Parameters
    ----------
    on
        The occasion: records taken later do not count.
    trial
        Name of the trial.

    Returns
    -------
    PlotQuality
        Findings, and each plot by each trait. Nothing is written or changed.

    Raises
    ------
    InputRefused
        If there is no such trial, or no plot of it tells yield or moisture.

    Notes
    -----
    Plot numbers are taken for the harvest order, as the plots are walked. Rejected plots count as empty. Checked by
    ``tests/work/test_plot_quality.py``.
    """
    page = read_trial(on, trial)
    values = {trait: [_value(cell, trait) for cell in page.plots] for trait in TRAITS}
    told = {trait: found for trait, found in values.items() if not all(math.isnan(one) for one in found)}
    if not told:
        raise refuse(
            "no_plots", f"No plot of {page.name} tells yield or moisture yet.", "Bring the plot data in first."
        )
    placed = all(cell.field_row is not None and cell.field_col is not None for cell in page.plots)
    arranged = arrange_trial(
        told,
        [cell.entry for cell in page.plots],
        [cell.rep for cell in page.plots],
        [cell.field_row or 0 for cell in page.plots] if placed else None,
        [cell.field_col or 0 for cell in page.plots] if placed else None,
        [cell.number for cell in page.plots],
    )
    doubts = check_trial(arranged)
    labels = [PlotLabel(str(cell.number), rejected=bool(cell.rejected)) for cell in page.plots]
    traits = tuple(
        TraitPlots(
            one.trait,
            TRAITS[one.trait],
            sum(not math.isnan(value) for value in told[one.trait]),
            one.repeatability,
            one.chance_alike,
            math.sqrt(one.fit.residual_variance),
            one.bound,
            list_looks(doubts, one, labels),
        )
        for one in doubts.traits
    )
    findings = tell_doubts(doubts, labels, TRAITS)
    basis = _basis(page, placed)
    return PlotQuality(page.name, page.site_name, page.year, traits, findings, doubts.odds, doubts.not_told, basis)


def _value(cell: PlotCell, trait: str) -> float:
    value = cell.yield_kg_ha_15_5 if trait == "yield_kg_ha_15_5" else cell.moisture_pct
    return math.nan if value is None or cell.rejected else float(value)


def _basis(page: TrialPage, placed: bool) -> Basis:
    missing = list(page.basis.missing)
    missing.append("the order of harvest: plot numbers stand for it")
    if not placed:
        missing.append("the places of plots in the field, so the whole trial is one pass and the ground is not told")
    return Basis(page.basis.used, tuple(missing))
