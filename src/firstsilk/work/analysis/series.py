"""What do the trials of one series say together: how sure is each entry's rank, how does it respond to the sites, and
which is best where?
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from firstsilk.answers import InputRefused, refuse
from firstsilk.science.analysis.axes import Axes, AxisTest, check_axes, find_ammi_axes, find_gge_axes
from firstsilk.science.analysis.best_places import BestPlaces, find_best_places
from firstsilk.science.analysis.intervals import estimate_contrasts
from firstsilk.science.analysis.models import Array
from firstsilk.science.analysis.stability import EntryStability, describe_stability
from firstsilk.science.analysis.two_way import TwoWayTable, lay_out_two_way
from firstsilk.work.analysis.facts import LESS_IS_BETTER
from firstsilk.work.analysis.fits import Fitted, fit_plots, plan_model, tell_columns
from firstsilk.work.analysis.ground import GroundTrend
from firstsilk.work.analysis.plots import TRAIT_WORDS, TRAITS, PlotValue, read_plot_values
from firstsilk.work.analysis.trial_map import split_trial
from firstsilk.work.occasion import Basis, Occasion, Progress, stay_silent
from firstsilk.work.shelf import get_station
from firstsilk.work.trials.reading import TrialLine, TrialPage, list_trials, read_trial

WIDTH_95 = 1.959963984540054
"""Standard errors on either side of an estimate that hold the true value 95 times of 100 where variances are known."""
CHECKS = "the mean of the checks"
DRAWS = 1_000
LEAST_ENTRIES = 3
NOT_CONSIDERED = (
    "that the variances are themselves estimated, in the entries' own intervals and in the chance of being the best",
    "that the best was picked for being the best",
    "other years and sites than these",
)


@dataclass(frozen=True, slots=True)
class SeriesLine:
    """One series on the list: its name, years, and its trials with plot data."""

    name: str
    years: tuple[int, ...]
    trials: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class EntrySpan:
    """One entry's prediction with its 95 % interval, and its difference to what all are compared with."""

    entry: str
    is_check: bool
    value: float
    low: float
    high: float
    difference: float | None
    difference_low: float | None
    difference_high: float | None
    n_plots: int
    n_trials: int


@dataclass(frozen=True, slots=True)
class Responses:
    """How the entries that stood in every trial respond to the environments; the parts are those of the science floor.

    `axis_tests` of entries and interaction together; `left_out` entries that did not stand in every trial;
    `error_variance` (e,) of an entry's mean in each environment.
    """

    table: TwoWayTable
    stability: tuple[EntryStability, ...]
    interaction: Axes
    places: BestPlaces
    axis_tests: tuple[AxisTest, ...]
    error_variance: tuple[float, ...]
    left_out: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SeriesAnalysis:
    """One trait of one series. `responses` is None where `no_responses` says why. `against` is in words."""

    series: str
    trait: str
    years: tuple[int, ...]
    trials: tuple[str, ...]
    mean: float
    heritability: float | None
    checks: tuple[str, ...]
    against: str
    compared: tuple[str, ...]
    entries: tuple[EntrySpan, ...]
    responses: Responses | None
    no_responses: str
    model: str
    said: tuple[str, ...]
    not_considered: tuple[str, ...]
    basis: Basis


def list_series(on: Occasion) -> tuple[SeriesLine, ...]:
    """All series with plot data, the newest first; trials without a series stand together by year."""
    found: dict[str, list[TrialLine]] = {}
    for one in list_trials(on).trials:
        if one.n_with_record:
            found.setdefault(_name_series(one), []).append(one)
    lines = [
        SeriesLine(name, tuple(sorted({one.year for one in trials})), tuple(sorted(one.name for one in trials)))
        for name, trials in found.items()
    ]
    return tuple(sorted(lines, key=lambda line: (-line.years[-1], line.name)))


def _name_series(one: TrialLine) -> str:
    return one.series or f"trials of {one.year}"


def read_series(
    on: Occasion,
    name: str,
    trait: str = TRAITS[0],
    against: str = "",
    seed: int = 1,
    progress: Progress = stay_silent,
) -> SeriesAnalysis:
    """Analyse one trait of one series as it stands.

    Parameters
    ----------
    on
        The occasion.
    name
        Of the series.
    trait
        ``yield_kg_ha_15_5``, ``moisture_pct`` or ``erect_frac``.
    against
        ``checks`` or ``best``: what the entries are compared with; the checks if there are any, else the best.
    seed
        Of the dice behind the chances.
    progress
        Told how far the work is.

    Raises
    ------
    InputRefused
        If there is no such series or trait, or its plots carry no model.

    Notes
    -----
    Entries by the model of the analysis of trials (entry random), intervals value +- 1.96 se; the difference with the
    covariance of both and, unless there are too many records, by Student's t and an error that counts the unsureness of
    the variances. Responses from each trial's own means, entries fixed and the ground taken out, over the entries
    that stood in every trial.

    Checked by
    ----------
    tests/work/test_series_work.py
    """
    line = _find_series(on, name)
    if trait not in TRAITS:
        raise refuse("trait_unknown", f"There is no trait {trait!r}.", f"Traits: {', '.join(TRAITS)}.")
    progress(0.0, "reading plots")
    found = read_plot_values(get_station(on.station), line.years, trait, on.today)
    plots = tuple(one for one in found.plots if one.environment in line.trials)
    if not plots:
        raise refuse("no_plots", f"No plot of {name} tells {TRAIT_WORDS[trait]}.", "Bring the plot data in first.")
    progress(0.1, f"fitting {len(plots)} plots")
    fitted = _fit(plots)
    told, compared, spans, mean = _span_entries(fitted, plots, trait, against)
    progress(0.5, "looking at each trial")
    responses, why = _respond(on, line, plots, trait, seed)
    progress(1.0, "done")
    heritability = fitted.random.heritability
    return SeriesAnalysis(
        line.name,
        trait,
        line.years,
        tuple(sorted({one.environment for one in plots})),
        mean,
        heritability.cullis if heritability else None,
        tuple(sorted({one.entry for one in plots if one.is_check})),
        told,
        compared,
        spans,
        responses,
        why,
        fitted.part.as_text(),
        fitted.said,
        NOT_CONSIDERED,
        _basis(plots, line, trait),
    )


# The same plots give the same fit: a page, its print and the same page beside another check work it out once.
@lru_cache(maxsize=16)
def _fit(plots: tuple[PlotValue, ...]) -> Fitted:
    return fit_plots(plots)


def _find_series(on: Occasion, name: str) -> SeriesLine:
    every = list_series(on)
    found = next((line for line in every if line.name == name), None)
    if found is None:
        known = ", ".join(line.name for line in every[:6]) or "none yet"
        raise refuse("series_unknown", f"There is no series {name!r} with plot data.", f"Series: {known}.")
    return found


def _span_entries(
    fitted: Fitted, plots: Sequence[PlotValue], trait: str, against: str
) -> tuple[str, tuple[str, ...], tuple[EntrySpan, ...], float]:
    """What all are compared with in words, its names, and the entries from the best down."""
    fit = fitted.random
    own = [one for one in fit.random if one.term == "entry"]
    names, values = [one.level for one in own], np.array([one.value for one in own])
    errors = fit.random_covariance["entry"]
    trials = [one.value for one in fit.means if one.term == "trial"]
    mean = sum(trials) / len(trials) if trials else fit.fixed[0].estimate
    sign = -1.0 if trait in LESS_IS_BETTER else 1.0
    order = sorted(range(len(names)), key=lambda at: (-sign * float(values[at]), names[at]))
    checks = sorted({one.entry for one in plots if one.is_check})
    compared = checks if checks and against != "best" else [names[order[0]]]
    gaps = _compare(fitted, plots, names, mean + values, errors, compared)
    spans = tuple(_span(at, names, mean + values, errors, gaps[at], plots, set(checks)) for at in order)
    return (CHECKS if len(compared) > 1 else compared[0]), tuple(compared), spans, mean


_Gap = tuple[float | None, float | None, float | None]


def _compare(
    fitted: Fitted,
    plots: Sequence[PlotValue],
    names: Sequence[str],
    values: Array,
    errors: Array,
    compared: Sequence[str],
) -> list[_Gap]:
    """Each entry's difference to the mean of some, with both ends; all None for one that is compared with itself."""
    wanted = [_weigh(name, compared) for name in names]
    asked = [weights for weights in wanted if weights]
    data, model = tell_columns(plots), plan_model(fitted.part, entries_fixed=False)
    try:
        found = iter(estimate_contrasts(data, model, fitted.random, "entry", asked))
    except InputRefused:
        # Beyond what the engine judges for few records; then the variances may be taken as known.
        return [_gap_of_known(weights, names, values, errors) for weights in wanted]
    return [(one.value, one.low, one.high) if weights and (one := next(found)) else (None,) * 3 for weights in wanted]


def _weigh(name: str, compared: Sequence[str]) -> dict[str, float]:
    weights = {other: -1.0 / len(compared) for other in compared}
    weights[name] = weights.get(name, 0.0) + 1.0
    return {level: weight for level, weight in weights.items() if weight}


def _gap_of_known(weights: dict[str, float], names: Sequence[str], values: Array, errors: Array) -> _Gap:
    if not weights:
        return None, None, None
    less = np.array([weights.get(name, 0.0) for name in names])
    gap, wide = float(less @ values), WIDTH_95 * math.sqrt(max(float(less @ errors @ less), 0.0))
    return gap, gap - wide, gap + wide


def _span(
    at: int,
    names: Sequence[str],
    values: Array,
    errors: Array,
    gap: _Gap,
    plots: Sequence[PlotValue],
    checks: set[str],
) -> EntrySpan:
    value, half = float(values[at]), WIDTH_95 * math.sqrt(max(float(errors[at, at]), 0.0))
    own = [one for one in plots if one.entry == names[at]]
    told = (names[at], names[at] in checks, value, value - half, value + half)
    return EntrySpan(*told, *gap, len(own), len({one.environment for one in own}))


def _respond(
    on: Occasion, line: SeriesLine, plots: Sequence[PlotValue], trait: str, seed: int
) -> tuple[Responses | None, str]:
    with_values = {one.environment for one in plots}
    pages = [read_trial(on, trial) for trial in line.trials if trial in with_values]
    if len(pages) < 2:
        return None, "One trial only: how entries respond to sites cannot be told."
    try:
        return _build_responses(tuple(pages), trait, seed), ""
    except InputRefused as no:
        return None, str(no)


@lru_cache(maxsize=16)
def _build_responses(pages: tuple[TrialPage, ...], trait: str, seed: int) -> Responses:
    grounds = [split_trial(page, trait, entries_fixed=True) for page in pages]
    means = [{one.entry: one.value for one in ground.means} for ground in grounds]
    everywhere = set(means[0]).intersection(*means[1:])
    left_out = tuple(sorted(set().union(*means) - everywhere))
    if len(everywhere) < LEAST_ENTRIES:
        raise refuse(
            "too_few_everywhere",
            f"Only {len(everywhere)} entries stood in every trial: how they respond to sites cannot be told",
            "Look at a series whose trials share their entries.",
        )
    names = _name_environments(pages)
    cells = [(entry, name, own[entry]) for name, own in zip(names, means, strict=True) for entry in sorted(everywhere)]
    table = lay_out_two_way(*zip(*cells, strict=True))
    errors = dict(zip(names, grounds, strict=True))
    variance = tuple(_error_of(errors[name]) for name in table.environments)
    # Where less is wanted, the best is the lowest: the table is turned over for whatever looks for the best.
    better = replace(table, means=-table.means) if trait in LESS_IS_BETTER else table
    dice = np.random.default_rng(seed)
    known = variance if all(math.isfinite(one) for one in variance) else None
    return Responses(
        table,
        _describe(table, better, known),
        find_ammi_axes(table),
        find_best_places(better, dice, known),
        check_axes(find_gge_axes(better), "gge", dice, DRAWS, 2),
        variance,
        left_out,
    )


def _error_of(ground: GroundTrend) -> float:
    return math.nan if ground.mean_variance is None else ground.mean_variance


def _describe(table: TwoWayTable, better: TwoWayTable, variance: Sequence[float] | None) -> tuple[EntryStability, ...]:
    """Stability of each entry; superiority as the distance from the best, whichever way that is."""
    error = sum(variance) / len(variance) if variance else None
    own, turned = describe_stability(table, error), describe_stability(better, error)
    return tuple(replace(a, superiority=b.superiority) for a, b in zip(own, turned, strict=True))


def _name_environments(pages: Sequence[TrialPage]) -> list[str]:
    """Sites by their name, with the year where the series has several, by the trial's name where that is not enough."""
    years = len({page.year for page in pages}) > 1
    sites = [page.site_name.partition(",")[0] for page in pages]
    names = [f"{site} {page.year}" if years else site for site, page in zip(sites, pages, strict=True)]
    return names if len(set(names)) == len(names) else [page.name for page in pages]


def _basis(plots: Sequence[PlotValue], line: SeriesLine, trait: str) -> Basis:
    trials = {one.environment for one in plots}
    used = (("plots", len(plots)), ("trials", len(trials)), ("entries", len({one.entry for one in plots})))
    silent = sorted(set(line.trials) - trials)
    missing = tuple(f"trial {name} tells nothing of {TRAIT_WORDS[trait]}" for name in silent)
    return Basis(used, missing)
