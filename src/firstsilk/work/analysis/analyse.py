"""What do the trials say of each entry and of the lines behind it?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import astuple

from django.db import transaction

from firstsilk import __version__
from firstsilk.records.models import Estimate, Line, Result, Station
from firstsilk.work.analysis.estimates import Worth, estimate_worth
from firstsilk.work.analysis.facts import LESS_IS_BETTER, TrialAnalysis, TrialQuality
from firstsilk.work.analysis.fits import Fitted, fit_plots, name_term
from firstsilk.work.analysis.plots import PlotValues, read_plot_values
from firstsilk.work.analysis.quality import judge_trials
from firstsilk.work.analysis.reading import KIND, about, read_result
from firstsilk.work.occasion import Occasion, Progress
from firstsilk.work.shelf import get_station


def analyse_trials(on: Occasion, years: Sequence[int], trait: str, seed: int, progress: Progress) -> TrialAnalysis:
    """Fit one model to the plots of several trials and store what it says.

    Parameters
    ----------
    on
        The occasion.
    years
        Years of the trials; all if empty.
    trait
        ``yield_kg_ha_15_5``, ``moisture_pct`` or ``erect_frac``.
    seed
        Stored with the result; this fit throws no dice.
    progress
        Told how far the work is; may stop it before anything is written.

    Returns
    -------
    TrialAnalysis
        As stored: what `read_analysis` gives from now on.

    Raises
    ------
    InputRefused
        If no plot tells the trait, or the plots carry no model.

    Notes
    -----
    Trial fixed; entry, entry within trial and replicate within trial random; the residual for each trial where there
    is replication enough. Falls back to simpler models and says so.
    """
    station = get_station(on.station)
    progress(0.0, "reading plots")
    values = read_plot_values(station, years, trait, on.today)
    progress(0.1, f"fitting {len(values.plots)} plots")
    fitted = fit_plots(values.plots)
    progress(0.6, "estimating lines")
    parents = _read_parents(station, {one.line for one in values.plots})
    mean, worth = estimate_worth(fitted, values.plots, parents, trait not in LESS_IS_BETTER)
    progress(0.8, "judging trials")
    quality = judge_trials(values.plots)
    progress(0.95, "writing down")
    with transaction.atomic():
        result = _write(on, station, values, fitted, mean, worth, quality, seed)
    progress(1.0, "done")
    return read_result(result)


def _read_parents(station: Station, entries: set[int]) -> dict[int, tuple[int, ...]]:
    hybrids = Line.objects.filter(station=station, pk__in=entries, kind="hybrid")
    return {
        pk: tuple(parent for parent in (mother, father) if parent is not None)
        for pk, mother, father in hybrids.values_list("pk", "mother", "father")
    }


def _write(
    on: Occasion,
    station: Station,
    values: PlotValues,
    fitted: Fitted,
    mean: float,
    worth: Sequence[Worth],
    quality: Sequence[TrialQuality],
    seed: int,
) -> Result:
    result = Result.objects.create(
        station=station,
        kind=KIND,
        about=about(values.trait, values.years),
        made_on=on.today,
        made_at=on.now,
        version=__version__,
        inputs_hash=values.hash(),
        settings={"trait": values.trait, "years": list(values.years), "model": fitted.part.as_text()},
        seed=seed,
        n_records=len(values.plots),
        missing=list(values.missing),
        answer=_answer(values, fitted, mean, worth, quality),
    )
    Estimate.objects.bulk_create(
        [
            Estimate(
                station=station,
                result=result,
                line_id=one.line,
                trait=values.trait,
                kind=one.kind,
                value=one.value,
                se=one.se,
                reliability=one.reliability,
                n_plots=one.n_plots,
                n_sites=one.n_sites,
            )
            for one in worth
        ],
        batch_size=500,
    )
    return result


def _answer(
    values: PlotValues, fitted: Fitted, mean: float, worth: Sequence[Worth], quality: Sequence[TrialQuality]
) -> dict[str, object]:
    heritability = fitted.random.heritability
    sign = -1.0 if values.trait in LESS_IS_BETTER else 1.0
    versus = {
        f"{one.kind} {one.line}": [
            sign * one.versus.difference,
            one.versus.se,
            one.versus.probability,
        ]
        for one in worth
        if one.versus
    }
    return {
        "mean": mean,
        "said": list(fitted.said),
        "heritability": heritability.cullis if heritability else None,
        "checks": sorted({one.entry for one in values.plots if one.is_check}),
        "check_lines": sorted({one.line for one in values.plots if one.is_check}),
        "variances": [[name_term(v.term), v.level, v.value, v.se] for v in fitted.random.variances],
        "versus_checks": versus,
        "n_years": {f"{one.kind} {one.line}": one.n_years for one in worth},
        "trials": len({one.environment for one in values.plots}),
        "quality": [list(astuple(one)) for one in quality],
    }
