"""Which plots and lay-outs of the books' trials cannot be what the records say on a day?"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import date

from firstsilk.answers import Finding, InputRefused, Place
from firstsilk.records.models import Plot, PlotRecord, Station
from firstsilk.science.analysis.drift import find_drift
from firstsilk.science.analysis.oddities import find_odd_plots
from firstsilk.science.analysis.trial_plots import arrange_trial
from firstsilk.science.trials.plot_rules import PlotFacts, TrialFacts, check_trial_records
from firstsilk.work.audited import Found
from firstsilk.work.standing import trials_on
from firstsilk.work.trials.newest import read_newest_records

MOST_PLOTS_FOR_DRIFT = 2_000
"""Larger trials are left to the page of their plots: the look for a drift would keep an audit waiting (ours)."""


def audit_trials(station: Station, day: date, every_year: bool) -> tuple[list[Found], int, int, list[str]]:
    """Findings about trials, trials and plots looked at, and what could not be told of drift.

    A drift is looked for in the trials of the newest year that has yields, or with `every_year` in all.
    """
    trials = list(trials_on(station, day).order_by("-year", "name"))
    records = read_newest_records(station, [trial.pk for trial in trials], day)
    plots: dict[int, list[Plot]] = defaultdict(list)
    for plot in Plot.objects.filter(station=station).select_related("entry").order_by("number"):
        plots[plot.trial_id].append(plot)
    found: list[Found] = []
    untold: list[str] = []
    told_in = [trial.year for trial in trials if any(_yields(plots.get(trial.pk, []), records))]
    newest = max(told_in, default=0)
    for trial in trials:
        own = plots.get(trial.pk, [])
        facts = TrialFacts(trial.name, trial.design, trial.reps, tuple(_tell(plot, records) for plot in own))
        told = [*check_trial_records(facts)]
        try:
            if every_year or trial.year == newest:
                told += _check_drift(trial.name, own, records)
        except InputRefused:
            untold.append(f"a drift in {trial.name}: its plots do not allow it")
        found += [Found("trials", "trial", trial.name, trial.name, one) for one in told]
    if not every_year and any(year < newest for year in told_in):
        untold.append(f"a drift in trials before {newest}: judged in their own year, or by --every-year")
    return found, len(trials), sum(len(plots.get(trial.pk, ())) for trial in trials), untold


def _tell(plot: Plot, records: dict[int, PlotRecord]) -> PlotFacts:
    record = records.get(plot.pk)
    is_check = plot.is_check or plot.entry.is_check
    if record is None:
        return PlotFacts(plot.number, plot.rep, plot.entry.name, is_check)
    lodged = [one for one in (record.root_lodged, record.stalk_lodged) if one is not None]
    return PlotFacts(
        plot.number,
        plot.rep,
        plot.entry.name,
        is_check,
        record.weight_kg,
        record.moisture_pct,
        record.stand,
        max(lodged, default=None),
        bool(record.rejected),
    )


def _yields(plots: Sequence[Plot], records: dict[int, PlotRecord]) -> Iterator[bool]:
    return (not math.isnan(_yield(records.get(plot.pk))) for plot in plots)


def _check_drift(name: str, plots: Sequence[Plot], records: dict[int, PlotRecord]) -> Iterator[Finding]:
    """Whether the yields of a trial drift along its plots; nothing where it has no yields yet."""
    values = [_yield(records.get(plot.pk)) for plot in plots]
    if not plots or all(math.isnan(one) for one in values) or len(plots) > MOST_PLOTS_FOR_DRIFT:
        return
    placed = all(plot.field_row is not None and plot.field_col is not None for plot in plots)
    trial = arrange_trial(
        {"yield": values},
        [plot.entry.name for plot in plots],
        [plot.rep for plot in plots],
        [plot.field_row or 0 for plot in plots] if placed else None,
        [plot.field_col or 0 for plot in plots] if placed else None,
        [plot.number for plot in plots],
    )
    fit, odd = find_odd_plots(trial, "yield")
    drift = find_drift(trial, fit, odd)
    if drift is not None:
        told = f"yields drift along the plots' order, by {drift.span:,.0f} kg/ha from the lowest to the highest"
        repair = "Check the scale and the meter; a trend of the ground along the same way looks alike"
        place = Place(f"trial {name}", None, "yield_kg_ha_15_5")
        yield Finding("drift", told, place, f"chance {drift.chance:.2g}", repair, stops=False)


def _yield(record: PlotRecord | None) -> float:
    if record is None or record.rejected or record.yield_kg_ha_15_5 is None:
        return math.nan
    return float(record.yield_kg_ha_15_5)
