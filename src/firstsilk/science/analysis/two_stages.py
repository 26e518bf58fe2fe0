"""What does a series of trials say, trial by trial first and then all together?

Stage one gives each trial's adjusted means with their whole covariance; stage two takes them as records whose errors
are known.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import scipy.linalg

from firstsilk.answers import refuse
from firstsilk.science.analysis.columns import Column
from firstsilk.science.analysis.mean_weights import invert_diagonal, weigh_means
from firstsilk.science.analysis.mixed_models import DENSE_RECORDS, fit_mixed_model
from firstsilk.science.analysis.models import Array, Fit, Model, Residual, VarianceLine
from firstsilk.science.analysis.records import label_of

Weighting = Literal["full", "diagonal"]
# What the weights of stage two are called among its columns.
PRECISION = "precision of stage one"


@dataclass(frozen=True, slots=True)
class StageOne:
    """One trial's adjusted means (m,), in the response's unit, their errors (m,) and their covariance (m, m).

    `covariance` is None for more than 3,000 means. `weights` (m,) are the diagonal of its inverse, not 1 over its
    diagonal: what each mean adds to the others (Smith, Cullis & Gilmour 2001). `more` holds further columns that have
    one value for each level, such as a year or a group.
    """

    trial: str
    levels: tuple[str, ...]
    means: Array
    errors: Array
    covariance: Array | None
    weights: Array
    n: int
    variances: tuple[VarianceLine, ...]
    at_bound: tuple[str, ...]
    converged: bool
    more: Mapping[str, tuple[object, ...]]


def fit_stage_one(data: Mapping[str, Column], model: Model, trial: str, carried: Sequence[str] = ()) -> StageOne:
    """Fit one trial and keep its adjusted means with their covariance.

    Parameters
    ----------
    data
        The trial's records.
    model
        Its `genotype` must be a fixed main effect, so that nothing is shrunk twice.
    trial
        The trial's name.
    carried
        Columns that stage two needs; each must have one value for each level of the genotype.

    Returns
    -------
    StageOne
        Means in the order of the levels.

    Raises
    ------
    InputRefused
        If the genotype is not fixed, a carried column varies within a level, the fit cannot be made, or the weights of
        more than 3,000 means are not known (`weigh_means`).

    Checked by
    ----------
    tests/outside/test_two_stages_published.py, tests/science/test_two_stages.py
    """
    genotype = model.genotype
    if genotype is None or (genotype,) not in model.fixed:
        raise refuse(
            "genotype_not_fixed",
            "Stage one needs a genotype that is a fixed main effect: its means must not be shrunk twice",
            'Name it: genotype = "line", fixed = [["line"]].',
        )
    fit = fit_mixed_model(data, replace(model, genotype=None))
    lines = [line for line in fit.means if line.term == genotype]
    covariance = fit.mean_covariance.get(genotype)
    levels = tuple(line.level for line in lines)
    return StageOne(
        trial,
        levels,
        np.array([line.value for line in lines]),
        np.array([line.se for line in lines]),
        covariance,
        weigh_means(data, model, fit) if covariance is None else invert_diagonal(covariance),
        fit.n,
        fit.variances,
        fit.at_bound,
        fit.converged,
        {name: _carry(data, model, name, levels) for name in carried},
    )


def _carry(data: Mapping[str, Column], model: Model, name: str, levels: Sequence[str]) -> tuple[object, ...]:
    if name not in data:
        raise refuse("column_missing", f"Stage two names column {name!r}, which the records do not have", column=name)
    found: dict[str, object] = {}
    genotypes, responses = data[str(model.genotype)], data[model.response]
    for level, value, response in zip(genotypes, data[name], responses, strict=True):
        if response is None or response == "" or response != response:
            continue
        label = label_of(level)
        if label_of(found.setdefault(label, value)) != label_of(value):
            raise refuse(
                "column_varies",
                f"Column {name!r} has more than one value for {label!r} in one trial ({found[label]!r}, {value!r}), "
                "so that stage two cannot use it",
                column=name,
            )
    return tuple(found[level] for level in levels)


def check_stage_two(model: Model) -> None:
    """Refuse a model of stage two that has a residual or weights of its own, before stage one is worked.

    Raises
    ------
    InputRefused
        If it has.

    Checked by
    ----------
    tests/science/test_two_stages.py
    """
    if model.residual != Residual() or model.weights is not None:
        raise refuse(
            "residual_twice",
            "Stage two takes its residual from stage one, so that its model must not have one",
            "Leave [residual] and weights out.",
        )


def plan_stage_two(
    stages: Sequence[StageOne], model: Model, trial_column: str, genotype: str, weighting: Weighting = "full"
) -> tuple[dict[str, Column], Model]:
    """Lay out the records and the model of stage two.

    Parameters
    ----------
    stages
        The trials of stage one, in the order in which their means are to stand.
    model
        Stage two without residual and weights; its response has the name of stage one's.
    trial_column, genotype
        What the columns of trial and genotype are called.
    weighting
        ``full``: the residual is the known covariance of all means (up to 4,000); ``diagonal``: known weights.

    Returns
    -------
    tuple
        Columns, and the model with its residual.

    Raises
    ------
    InputRefused
        If the model has a residual of its own, or there are too many means for the full covariance.

    Checked by
    ----------
    tests/outside/test_two_stages_published.py, tests/science/test_two_stages.py
    """
    check_stage_two(model)
    n = sum(len(stage.levels) for stage in stages)
    if weighting == "full" and n > DENSE_RECORDS:
        raise refuse(
            "too_large",
            f"{n} means are too many for their full covariance (up to {DENSE_RECORDS})",
            "Take the diagonal weights of Smith et al. (2001).",
        )
    data: dict[str, Column] = {
        trial_column: [stage.trial for stage in stages for _ in stage.levels],
        genotype: [level for stage in stages for level in stage.levels],
        model.response: np.concatenate([stage.means for stage in stages]),
    }
    for name in stages[0].more:
        data.setdefault(name, [value for stage in stages for value in stage.more[name]])
    if weighting == "full":
        whole = scipy.linalg.block_diag(*[_need_covariance(stage) for stage in stages])
        return data, replace(model, residual=Residual(covariance=whole))
    data[PRECISION] = np.concatenate([stage.weights for stage in stages])
    return data, replace(model, weights=PRECISION, residual=Residual(variance=1.0))


def _need_covariance(stage: StageOne) -> Array:
    if stage.covariance is None:
        raise refuse(
            "too_large",
            f"The covariance of the {len(stage.levels)} means of trial {stage.trial!r} is not kept",
            "Take the diagonal weights of Smith et al. (2001).",
        )
    return stage.covariance


def fit_stage_two(
    stages: Sequence[StageOne], model: Model, trial_column: str, genotype: str, weighting: Weighting = "full"
) -> Fit:
    """Fit stage two: a mixed model of adjusted means whose errors are known from stage one.

    Parameters and refusals as `plan_stage_two`.

    Returns
    -------
    Fit
        Nothing of the residual is estimated.

    Notes
    -----
    With the full covariance nothing is lost against one stage but that stage one estimates each trial's variances from
    that trial alone (Piepho, Mohring, Schulz-Streeck & Ogutu 2012 Biom J 54:844).

    Checked by
    ----------
    tests/outside/test_two_stages_published.py, tests/science/test_two_stages.py
    """
    return fit_mixed_model(*plan_stage_two(stages, model, trial_column, genotype, weighting))
