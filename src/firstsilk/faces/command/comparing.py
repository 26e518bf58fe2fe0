"""Which door compares two mixed models of the same records? `compare-models`."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import asdict
from typing import Annotated

import typer

# Before numpy is loaded: on matrices of this size a second thread costs time, much of it on a busy machine.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from firstsilk.faces.command.giving import give_json, say
from firstsilk.faces.command.naming import naming
from firstsilk.faces.files.fit_models import model_columns, read_model
from firstsilk.faces.files.relationships import columns_from_table
from firstsilk.faces.files.tables import read_table
from firstsilk.science.analysis.columns import Column
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Model
from firstsilk.science.analysis.random_parts import FittedModel, RandomComparison, check_same_fixed, compare_fits


def compare_models(
    plots: Annotated[str, typer.Argument(help="Table with one record a line.")],
    small: Annotated[str, typer.Argument(metavar="SMALL.toml", help="The smaller model, as for fit.")],
    large: Annotated[str, typer.Argument(metavar="LARGE.toml", help="The larger: more random terms or variances.")],
    as_json: Annotated[bool, typer.Option("--json", help="The answer is one JSON object in any case.")] = False,
) -> None:
    """Compare two mixed models that differ in their random parts only, by the ratio of their REML likelihoods.

    ratio is twice the gain in log-likelihood, p its chance if the smaller model is true: a mixture of chi-squares with
    the weights given, since a variance cannot be negative. p_plain is that of a plain chi-square, which is too large.
    """
    table = read_table(plots)
    models = [read_model(path, len(table.rows)) for path in (small, large)]
    check_same_fixed(*models)
    wanted = [model_columns(model) for model in models]
    numbers, classes = wanted[0][0] | wanted[1][0], wanted[0][1] | wanted[1][1]
    data = columns_from_table(table, numbers, classes, models[1].response)
    with naming(table, records_are_lines=True):
        first, second = (_fit(data, model, path) for model, path in zip(models, (small, large), strict=True))
        compared = compare_fits(data, first, second)
    give_json(comparison_as_json(compared, first, second))


def _fit(data: Mapping[str, Column], model: Model, path: str) -> FittedModel:
    found = fit_mixed_model(data, model)
    if not found.converged:
        say(f"The fit of {path} stopped after {found.iterations} steps before it was done: treat it with care.")
    return FittedModel(model, found)


def comparison_as_json(found: RandomComparison, first: FittedModel, second: FittedModel) -> dict[str, object]:
    """A comparison with the keys of the door."""
    return {
        "smaller": _one_as_json(first),
        "larger": _one_as_json(second),
        "ratio": found.ratio,
        "on_bound": list(found.on_bound),
        "interior": found.interior,
        "weights": [{"df": found.interior + at, "weight": weight} for at, weight in enumerate(found.weights)],
        "weights_from": found.weights_from,
        "p": found.p,
        "p_plain": found.p_plain,
    }


def _one_as_json(one: FittedModel) -> dict[str, object]:
    return {
        "n": one.fit.n,
        "reml_log_likelihood": one.fit.reml_log_likelihood,
        "variances": [asdict(line) for line in one.fit.variances],
        "converged": one.fit.converged,
    }
