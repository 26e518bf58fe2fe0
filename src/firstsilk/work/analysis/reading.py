"""What was the last analysis of a trait, as it was stored?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from firstsilk.answers import refuse
from firstsilk.records.models import Estimate, Result
from firstsilk.work.analysis.facts import (
    NOT_CONSIDERED,
    EstimateFacts,
    TrialAnalysis,
    TrialQuality,
    VarianceFacts,
)
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_station

KIND = "trial_analysis"


def about(trait: str, years: Sequence[int]) -> str:
    """How an analysis is filed: its trait and years."""
    return f"{trait} {' '.join(str(year) for year in sorted(years))}"[:120]


def read_analysis(on: Occasion, trait: str = "", years: Sequence[int] = ()) -> TrialAnalysis:
    """The latest analysis of a trait (yield if none is named), of exactly these years if any are named.

    Raises
    ------
    InputRefused
        If there is none yet.
    """
    found = find_analysis(on, trait, years)
    if found is None:
        told = f" of {', '.join(str(year) for year in years)}" if years else ""
        raise refuse("no_analysis", f"There is no analysis of {trait or 'yield'}{told} yet.", "Run it first.")
    return found


def find_analysis(on: Occasion, trait: str = "", years: Sequence[int] = ()) -> TrialAnalysis | None:
    """As `read_analysis`, None where there is none yet."""
    station = get_station(on.station)
    trait = trait or "yield_kg_ha_15_5"
    results = Result.objects.filter(station=station, kind=KIND, made_on__lte=on.today)
    results = results.filter(about=about(trait, years)) if years else results.filter(about__startswith=f"{trait} ")
    latest = results.order_by("-made_on", "-id").first()
    return read_result(latest) if latest else None


def find_analysis_with_year(on: Occasion, trait: str, year: int) -> TrialAnalysis | None:
    """The latest analysis of a trait in which this year takes part and no later one; None where there is none."""
    station = get_station(on.station)
    results = Result.objects.filter(station=station, kind=KIND, made_on__lte=on.today, about__startswith=f"{trait} ")
    for key, settings in results.order_by("-made_on", "-id").values_list("pk", "settings"):
        if max(settings["years"]) == year:
            return read_result(Result.objects.get(pk=key))
    return None


def read_result(result: Result) -> TrialAnalysis:
    """A stored result as the analysis it was."""
    answer = result.answer
    estimates = Estimate.objects.filter(result=result).select_related("line").order_by("-value", "line__name")
    years = tuple(result.settings["years"])
    used = (
        ("plots", result.n_records),
        ("trials", answer["trials"]),
        ("entries", sum(1 for one in estimates if one.kind == "blup")),
    )
    return TrialAnalysis(
        result=result.pk,
        trait=result.settings["trait"],
        years=years,
        made_on=result.made_on,
        version=result.version,
        inputs_hash=result.inputs_hash,
        seed=result.seed,
        model=result.settings["model"],
        said=tuple(answer["said"]),
        mean=answer["mean"],
        heritability=answer["heritability"],
        checks=tuple(answer["checks"]),
        variances=tuple(VarianceFacts(*row) for row in answer["variances"]),
        estimates=tuple(_estimate(one, answer) for one in estimates),
        quality=tuple(TrialQuality(*row) for row in answer["quality"]),
        not_considered=NOT_CONSIDERED,
        basis=Basis(used, tuple(result.missing)),
    )


def _estimate(one: Estimate, answer: dict[str, Any]) -> EstimateFacts:
    line = one.line
    key = f"{one.kind} {line.pk}"
    difference, error, chance = answer["versus_checks"].get(key, (None, None, None))
    return EstimateFacts(
        line.name,
        line.kind,
        line.group,
        line.is_check or line.pk in answer["check_lines"],
        line.is_tester,
        one.kind,
        one.value,
        one.se,
        one.reliability,
        one.n_plots,
        one.n_sites,
        answer["n_years"].get(key, 1),
        difference,
        error,
        chance,
    )
