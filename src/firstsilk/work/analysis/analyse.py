"""What do the trials say of each entry and of the lines behind it?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import astuple, dataclass

from django.db import transaction

from firstsilk import __version__
from firstsilk.answers import InputRefused
from firstsilk.records.models import Estimate, Line, Result, Station
from firstsilk.work.analysis.estimates import Worth, estimate_worth
from firstsilk.work.analysis.facts import LESS_IS_BETTER, TrialAnalysis, TrialQuality
from firstsilk.work.analysis.fits import Fitted, fit_plots, name_term
from firstsilk.work.analysis.plots import TRAIT_WORDS, TRAITS, PlotValues, read_plot_values
from firstsilk.work.analysis.quality import judge_trials
from firstsilk.work.analysis.reading import KIND, about, read_result
from firstsilk.work.occasion import Occasion, Progress
from firstsilk.work.shelf import get_station
from firstsilk.work.standing import read_kept


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
    worked = _work_out(on, years, trait, progress)
    with transaction.atomic():
        result = _write(on, get_station(on.station), worked, seed)
    progress(1.0, "done")
    return read_result(result)


def analyse_every_trait(
    on: Occasion, years: Sequence[int], seed: int, progress: Progress
) -> tuple[tuple[TrialAnalysis, ...], tuple[str, ...]]:
    """Analyse all traits and store the results together; yield must come out, another trait may be left out.

    Returns
    -------
    tuple
        The analyses as stored, and for each trait that cannot be analysed a sentence why.

    Raises
    ------
    InputRefused
        If the yields cannot be analysed.

    Notes
    -----
    All is worked out before the first result is written: the books stay open to others meanwhile, and a stop or a
    fault leaves them as they were.
    """
    worked, left_out = [], []
    for at, trait in enumerate(TRAITS):
        says = TRAIT_WORDS[trait].split(",")[0]
        progress(at / len(TRAITS), f"analysing {says}")
        try:
            worked.append(_work_out(on, years, trait, _part(progress, at, len(TRAITS))))
        except InputRefused as no:
            if trait == TRAITS[0]:
                raise
            left_out.append(f"{says.capitalize()} was left out: {no}")
    with transaction.atomic():
        results = [_write(on, get_station(on.station), one, seed) for one in worked]
    progress(1.0, "done")
    return tuple(read_result(one) for one in results), tuple(left_out)


def _part(progress: Progress, at: int, of: int) -> Progress:
    """A reporter for one part of several, each as long as the other."""
    return lambda share_frac, message: progress((at + share_frac) / of, message)


@dataclass(frozen=True, slots=True)
class _Worked:
    """One trait worked out, before anything is written."""

    values: PlotValues
    fitted: Fitted
    mean: float
    worth: tuple[Worth, ...]
    quality: tuple[TrialQuality, ...]


def _work_out(on: Occasion, years: Sequence[int], trait: str, progress: Progress) -> _Worked:
    station = get_station(on.station)
    progress(0.0, "reading plots")
    values = read_plot_values(station, years, trait, on.today)
    progress(0.1, f"fitting {len(values.plots)} plots")
    fitted = fit_plots(values.plots)
    progress(0.6, "estimating lines")
    parents = _read_parents(on, station, {one.line for one in values.plots})
    mean, worth = estimate_worth(fitted, values.plots, parents, trait not in LESS_IS_BETTER)
    progress(0.8, "judging trials")
    quality = judge_trials(values.plots)
    progress(0.95, "writing down")
    return _Worked(values, fitted, mean, tuple(worth), tuple(quality))


def _read_parents(on: Occasion, station: Station, entries: set[int]) -> dict[int, tuple[int, ...]]:
    kept = read_kept(station, on.today)
    hybrids = Line.objects.filter(station=station, pk__in=entries, kind="hybrid")
    return {
        pk: tuple(kept.get(parent, parent) for parent in (mother, father) if parent is not None)
        for pk, mother, father in hybrids.values_list("pk", "mother", "father")
    }


def _write(on: Occasion, station: Station, worked: _Worked, seed: int) -> Result:
    values, fitted = worked.values, worked.fitted
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
        answer=_answer(values, fitted, worked.mean, worked.worth, worked.quality),
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
            for one in worked.worth
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
