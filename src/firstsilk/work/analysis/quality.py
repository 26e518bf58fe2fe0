"""How far can each trial be trusted, from its own plots alone?"""

from __future__ import annotations

import math
from collections.abc import Sequence

from firstsilk.answers import InputRefused
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Fit, Model, RandomTerm
from firstsilk.work.analysis.facts import TrialQuality
from firstsilk.work.analysis.plots import PlotValue

WEAK_REPEATABILITY = 0.2
HIGH_CV_PCT = 20.0
"""A trial beyond either is called weak: trial practice, no source. Values such as 15 to 25 % are in use for the CV."""


def judge_trials(plots: Sequence[PlotValue]) -> tuple[TrialQuality, ...]:
    """Error, repeatability and check gap of each trial, in the order of the plots.

    Notes
    -----
    Each trial is fitted by itself: entry and replicate random. error CV = 100 sqrt(residual variance) / |mean|;
    repeatability = entry variance over that of an entry's mean. Without replicates neither can be told.
    """
    trials = dict.fromkeys(one.environment for one in plots)
    return tuple(_judge([one for one in plots if one.environment == trial]) for trial in trials)


def _judge(plots: Sequence[PlotValue]) -> TrialQuality:
    first = plots[0]
    mean = sum(one.value for one in plots) / len(plots)
    checks = [one.value for one in plots if one.is_check]
    others = [one.value for one in plots if not one.is_check]
    gap = sum(checks) / len(checks) - sum(others) / len(others) if checks and others else None
    fit = _fit_alone(plots)
    cv = repeatability = None
    if fit is not None:
        cv = 100.0 * math.sqrt(fit.variance("residual")) / abs(mean) if mean else None
        repeatability = fit.heritability.entry_mean if fit.heritability else None
        if repeatability is None:
            repeatability = 0.0
    entries = len({one.entry for one in plots})
    told = (first.environment, first.site, first.year, len(plots), entries, mean)
    return TrialQuality(*told, cv, repeatability, gap, _words(cv, repeatability))


def _fit_alone(plots: Sequence[PlotValue]) -> Fit | None:
    reps = [one.rep for one in plots]
    data: dict[str, list[object]] = {
        "value": [one.value for one in plots],
        "entry": [one.entry for one in plots],
        "replicate": [*reps],
    }
    random: tuple[RandomTerm, ...] = (RandomTerm(("entry",)),)
    models = [Model("value", (), random, genotype="entry")]
    if len(set(reps)) > 1:
        models.insert(0, Model("value", (), (*random, RandomTerm(("replicate",))), genotype="entry"))
    for model in models:
        try:
            return fit_mixed_model(data, model)
        except InputRefused:
            continue
    return None


def _words(cv: float | None, repeatability: float | None) -> str:
    if cv is None or repeatability is None:
        return "cannot be told: no replicates"
    if repeatability <= 0.0:
        return "weak: entries do not differ beyond error"
    said = []
    if repeatability < WEAK_REPEATABILITY:
        said.append(f"repeatability under {WEAK_REPEATABILITY:g}")
    if cv > HIGH_CV_PCT:
        said.append(f"error above {HIGH_CV_PCT:g} % of the mean")
    return "weak: " + ", ".join(said) if said else "usable"
