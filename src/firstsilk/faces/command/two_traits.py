"""Which door fits two traits together? `genetic-correlation`."""

from __future__ import annotations

import os
import time
from dataclasses import replace
from typing import Annotated

import typer

# Before numpy is loaded: on matrices of this size a second thread costs time, much of it on a busy machine.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from firstsilk.faces.command.giving import AsJson, Out, give_result
from firstsilk.faces.command.naming import naming
from firstsilk.faces.files.fit_models import model_columns, read_model
from firstsilk.faces.files.relationships import columns_from_table
from firstsilk.faces.files.tables import Table, read_table
from firstsilk.science.analysis.models import Model
from firstsilk.science.analysis.two_traits import TwoTraits, fit_two_traits

COLUMNS = ("term", "variance_a", "variance_b", "covariance", "correlation", "correlation_se")


def genetic_correlation(
    plots: Annotated[str, typer.Argument(help="Table with one plot a line: both traits and the model's columns.")],
    model: Annotated[str, typer.Argument(metavar="MODEL.toml", help="The model of each trait; its response is left.")],
    traits: Annotated[str, typer.Option("--traits", help="Two columns joined by a comma.")],
    out: Out = "",
    as_json: AsJson = False,
) -> None:
    """Fit two traits of the same plots together: how they go together by lines (genetic), other terms, and plots.

    A row for each random term and the residual: both variances, covariance, correlation and its standard error. The
    correlation of the term of lines is the genetic correlation. A plot may lack one trait.
    """
    begun = time.perf_counter()
    names = [name.strip() for name in traits.split(",") if name.strip()]
    if len(names) != 2:
        raise typer.BadParameter(f"--traits must name two columns joined by a comma, not {traits!r}.")
    table = read_table(plots)
    wanted = read_model(model, len(table.rows))
    with naming(table):
        found = fit_two_traits(_columns(table, wanted, names), wanted, (names[0], names[1]))
    rows = [[getattr(line, key) for key in COLUMNS] for line in found.lines]
    give_result(COLUMNS, rows, out, as_json, _as_json(found, time.perf_counter() - begun))


def _columns(table: Table, model: Model, names: list[str]) -> dict[str, list[object]]:
    """The columns of the model where either trait is there."""
    parts = []
    for name in names:
        own = replace(model, response=name)
        parts.append(columns_from_table(table, *model_columns(own), name))
    one, two = parts
    merged = {
        name: [b if a is None else a for a, b in zip(one[name], two[name], strict=True)]
        for name in one
        if name not in names
    }
    return {**merged, names[0]: one[names[0]], names[1]: two[names[1]]}


def _as_json(found: TwoTraits, seconds: float) -> dict[str, object]:
    return {
        "trait_a": found.trait_a,
        "trait_b": found.trait_b,
        "n_plots": found.n_plots,
        "n_both": found.n_both,
        "reml_log_likelihood": found.fit.reml_log_likelihood,
        "converged": found.fit.converged,
        "gradient": found.fit.gradient,
        "at_bound": [one.term for one in found.lines if one.correlation is None or abs(one.correlation) == 1.0],
        "iterations": found.fit.iterations,
        "seconds": round(seconds, 3),
    }
