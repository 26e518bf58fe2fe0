"""How did a line, and the hybrids made from it, do in trials, and what was decided?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Q, QuerySet

from firstsilk.records.models import Estimate, Line, Plot, Result, Station, Trial, Verdict
from firstsilk.work.occasion import Occasion
from firstsilk.work.trials.newest import PlotGave, read_newest_of_plots


@dataclass(frozen=True, slots=True)
class TrialResult:
    """An entry in one trial: plots, plots that count, plain means, and the difference to the plain mean of the checks.

    Yield is grain at 15.5 % moisture [kg/ha]. `partner` is the line's other parent in a hybrid, empty for the line.
    `record` names the record it was written for, where that was merged into this line.
    """

    trial: str
    site: str
    year: int
    entry: str
    partner: str
    n_plots: int
    n_used: int
    yield_kg_ha_15_5: float | None
    moisture_pct: float | None
    versus_checks_kg_ha: float | None
    record: str = ""


@dataclass(frozen=True, slots=True)
class EstimateOf:
    """The latest estimate of one trait of the line or of a hybrid from it, and the analysis it stands in.

    `versus_checks` is the estimate less the mean of the checks, `better_probability` the chance that the difference
    is truly in the wanted direction; None where the analysis had no checks. `record` as for `TrialResult`.
    """

    entry: str
    trait: str
    kind: str
    value: float
    se: float | None
    reliability: float | None
    n_plots: int
    n_sites: int
    years: tuple[int, ...]
    made_on: date
    versus_checks: float | None
    better_probability: float | None
    record: str = ""


@dataclass(frozen=True, slots=True)
class VerdictFacts:
    """One verdict: the year it speaks of, what, why, when, by whom, and what the figures had proposed.

    `record` as for `TrialResult`.
    """

    year: int
    verdict: str
    reason: str
    decided_on: date
    decided_by: str
    proposed: str
    record: str = ""


def list_trial_results(
    on: Occasion,
    station: Station,
    line: Line,
    hybrids: Sequence[Line],
    names: Mapping[int, str],
    merged: Sequence[Line] = (),
) -> tuple[TrialResult, ...]:
    """The line, records merged into it and its hybrids in each trial up to this year, oldest first."""
    entries = {one.pk: one for one in (line, *merged, *hybrids)}
    records = {one.pk: one.name for one in merged}
    grown = Plot.objects.filter(station=station, entry__in=list(entries), trial__year__lte=on.today.year)
    plots: dict[tuple[int, int], list[int]] = defaultdict(list)
    for plot, trial, entry in grown.order_by("pk").values_list("pk", "trial", "entry"):
        plots[trial, entry].append(plot)
    if not plots:
        return ()
    trials = Trial.objects.select_related("site").in_bulk({trial for trial, _ in plots})
    beside = _find_checks(station, trials)
    checks: dict[int, list[int]] = defaultdict(list)
    for plot, trial in beside.order_by("pk").values_list("pk", "trial"):
        checks[trial].append(plot)
    newest = read_newest_of_plots(station, grown) | read_newest_of_plots(station, beside)
    of_checks = {trial: _mean_yield(checks[trial], newest) for trial in trials}
    results = [
        _tell_result(group, newest, trials[trial], of_checks[trial], entries[entry], line, names, records)
        for (trial, entry), group in plots.items()
    ]
    return tuple(sorted(results, key=lambda one: (one.year, one.trial, one.entry)))


def _find_checks(station: Station, trials: Iterable[int]) -> QuerySet[Plot]:
    """The check plots of trials."""
    plots = Plot.objects.filter(station=station, trial__in=list(trials))
    return plots.filter(Q(is_check=True) | Q(entry__is_check=True))


def _counted(plots: Sequence[int], newest: Mapping[int, PlotGave]) -> list[PlotGave]:
    given = [newest[plot] for plot in plots if plot in newest]
    return [one for one in given if not one.rejected and one.yield_kg_ha_15_5 is not None]


def _mean(values: Sequence[float]) -> float | None:
    return sum(values) / len(values) if values else None


def _mean_yield(plots: Sequence[int], newest: Mapping[int, PlotGave]) -> float | None:
    return _mean([one.yield_kg_ha_15_5 for one in _counted(plots, newest) if one.yield_kg_ha_15_5 is not None])


def _tell_result(
    plots: Sequence[int],
    newest: Mapping[int, PlotGave],
    trial: Trial,
    of_checks: float | None,
    entry: Line,
    line: Line,
    names: Mapping[int, str],
    records: Mapping[int, str],
) -> TrialResult:
    counted = _counted(plots, newest)
    found = _mean_yield(plots, newest)
    partner = entry.father_id if entry.mother_id == line.pk else entry.mother_id
    record = records.get(entry.pk, "")
    return TrialResult(
        trial=trial.name,
        site=trial.site.name,
        year=trial.year,
        entry=entry.name,
        partner=names.get(partner or 0, "") if entry.pk != line.pk and not record else "",
        n_plots=len(plots),
        n_used=len(counted),
        yield_kg_ha_15_5=found,
        moisture_pct=_mean([one.moisture_pct for one in counted if one.moisture_pct is not None]),
        versus_checks_kg_ha=found - of_checks if found is not None and of_checks is not None else None,
        record=record,
    )


def list_estimates(
    on: Occasion, station: Station, entries: Sequence[Line], merged: Sequence[Line] = ()
) -> tuple[tuple[EstimateOf, ...], tuple[EstimateOf, ...]]:
    """The newest estimate of each trait and kind, of the first entry before those of all others; and all earlier ones.

    Those that stand in earlier analyses alone are told without their difference to the checks.
    Those of `merged` records are told beside the first entry's own, by the name of their record.
    """
    if not entries:
        return (), ()
    told = Estimate.objects.filter(station=station, line__in=[*entries, *merged], result__made_on__lte=on.today)
    found = list(told.order_by("result__made_on", "result__made_at", "result_id"))
    newest = {(one.line_id, one.trait, one.kind): one for one in found}
    kept = {one.pk for one in newest.values()}
    # An answer holds all entries of its analysis: those of earlier ones are left unread.
    results = Result.objects.in_bulk({one.result_id for one in newest.values()})
    before_results = Result.objects.defer("answer").in_bulk({one.result_id for one in found} - results.keys())
    results |= before_results
    order = {one.pk: at for at, one in enumerate(entries)} | {one.pk: 0 for one in merged}
    names = {one.pk: one.name for one in (*entries, *merged)}
    records = {one.pk: one.name for one in merged}

    def tell(ordered: Iterable[Estimate]) -> tuple[EstimateOf, ...]:
        return tuple(
            _tell_estimate(
                one,
                names[one.line_id],
                results[one.result_id],
                {} if one.result_id in before_results else results[one.result_id].answer,
                records.get(one.line_id, ""),
            )
            for one in ordered
        )

    now = sorted(newest.values(), key=lambda one: (order[one.line_id] > 0, one.trait, one.kind, -one.value))
    before = [one for one in reversed(found) if one.pk not in kept]
    return tell(now), tell(sorted(before, key=lambda one: order[one.line_id] > 0))


def _tell_estimate(one: Estimate, entry: str, result: Result, answer: Mapping[str, Any], record: str) -> EstimateOf:
    versus = answer.get("versus_checks", {}).get(f"{one.kind} {one.line_id}", (None, None, None))
    return EstimateOf(
        entry=entry,
        trait=one.trait,
        kind=one.kind,
        value=one.value,
        se=one.se,
        reliability=one.reliability,
        n_plots=one.n_plots,
        n_sites=one.n_sites,
        years=tuple(result.settings.get("years", ())),
        made_on=result.made_on,
        versus_checks=versus[0],
        better_probability=versus[2],
        record=record,
    )


def list_verdicts(on: Occasion, station: Station, line: Line, merged: Sequence[Line] = ()) -> tuple[VerdictFacts, ...]:
    """The verdicts on the line and on records merged into it, oldest first."""
    names = {one.pk: one.name for one in merged}
    told = Verdict.objects.filter(station=station, line__in=[line.pk, *names], decided_on__lte=on.today)
    return tuple(
        VerdictFacts(
            *(one.year, one.verdict, one.reason, one.decided_on, one.decided_by, one.proposed),
            record=names.get(one.line_id, ""),
        )
        for one in told.order_by("decided_on", "decided_at", "id")
    )
