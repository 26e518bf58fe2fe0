"""Which doors does analysis have? `fit`: a mixed model on plot data."""

from __future__ import annotations

import math
import os
import time
from collections.abc import Sequence
from dataclasses import asdict
from typing import Annotated

import typer

# Before numpy is loaded: on matrices of this size a second thread costs time, much of it on a busy machine.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from firstsilk.faces.command.giving import check_out, give_json, say
from firstsilk.faces.command.naming import naming
from firstsilk.faces.files.fit_models import model_columns, read_model
from firstsilk.faces.files.relationships import columns_from_table
from firstsilk.faces.files.tables import read_table, write_table
from firstsilk.science.analysis.fixed_tests import Differences, EffectTest, Way, judge_fit
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Fit, RecordFit

RANDOM_COLUMNS = ("term", "level", "value", "se", "reliability")
RECORD_COLUMNS = ("record", "fitted", "residual", "studentised", "ground")


def fit(
    plots: Annotated[str, typer.Argument(help="Table with one record a line: response and the model's columns.")],
    model: Annotated[str, typer.Argument(metavar="MODEL.toml", help="The model, as TOML.")],
    out: Annotated[str, typer.Option("--out", help="File for the random effects as a table.", callback=check_out)] = "",
    tests: Annotated[
        str, typer.Option("--tests", help="Degrees of freedom of the tests: satterthwaite, kenward-roger; or none.")
    ] = "satterthwaite",
    records: Annotated[
        str,
        typer.Option("--records", help="File for each record: fitted, left over, ground under it.", callback=check_out),
    ] = "",
    as_json: Annotated[bool, typer.Option("--json", help="The answer is one JSON object in any case.")] = False,
) -> None:
    """Fit a mixed model by REML: variances, fixed effects, means, predictions, heritability, as one JSON object.

    Tens of thousands of records and random levels will do. Keys of the model: response, fixed, numeric, sum_coded,
    weights, genotype, [[random]] columns, relationship, variance_by, factors, variance (known), [[surface]] grid,
    knots, within, [residual] variance_by, grid, within, nugget, together, covariance (up to 4,000 records), variance
    (known).
    """
    begun = time.perf_counter()
    way = find_way(tests)
    table = read_table(plots)
    wanted = read_model(model, len(table.rows))
    numbers, classes = model_columns(wanted)
    data = columns_from_table(table, numbers, classes, wanted.response)
    with naming(table, records_are_lines=True):
        found = fit_mixed_model(data, wanted)
        judged, differences = judge_fit(data, wanted, found, way)
    if not found.converged:
        say(f"The fit stopped after {found.iterations} steps before it was done: treat its numbers with care.")
    if out not in ("", "-"):
        write_table(out, RANDOM_COLUMNS, [[getattr(line, key) for key in RANDOM_COLUMNS] for line in found.random])
    if records not in ("", "-") and found.records is not None:
        write_table(records, RECORD_COLUMNS, _record_rows(found.records))
    more = {
        "tests": None if judged is None else [test_as_json(test) for test in judged],
        "differences": [differences_as_json(one) for one in differences],
    }
    give_json({**fit_as_json(found, time.perf_counter() - begun), **more})


def _record_rows(told: RecordFit) -> list[list[object]]:
    """A line for each record with a response, `record` counting the lines below the header from 1."""
    columns = (told.fitted, told.residual, told.studentised, told.ground)
    parts = zip(told.kept.tolist(), *(column.tolist() for column in columns), strict=True)
    return [[at + 1, *(None if math.isnan(value) else value for value in values)] for at, *values in parts]


def find_way(tests: str) -> Way | None:
    """The way of `--tests`; None for no tests."""
    ways: dict[str, Way | None] = {"satterthwaite": "satterthwaite", "kenward-roger": "kenward-roger", "none": None}
    if tests not in ways:
        raise typer.BadParameter(f"--tests is satterthwaite, kenward-roger or none, not {tests!r}.")
    return ways[tests]


def test_as_json(test: EffectTest) -> dict[str, object]:
    """The test of one fixed term with the keys of the door."""
    told = {"term": test.term, "df": test.df, "denominator_df": test.denominator_df}
    return {**told, "F": test.f, "p": test.p}


def differences_as_json(found: Differences) -> dict[str, object]:
    """The differences between the means of one term with the keys of the door."""
    return {**asdict(found), "each": _lines(found.each)}


def fit_as_json(found: Fit, seconds: float) -> dict[str, object]:
    """A fit with the keys of the door."""
    return {
        "n": found.n,
        "n_dropped": found.n_dropped,
        "reml_log_likelihood": found.reml_log_likelihood,
        "variances": _lines(found.variances),
        "correlations": _lines(found.correlations),
        "fixed": _lines(found.fixed),
        "means": _lines(found.means),
        "random": _lines(found.random),
        "heritability": asdict(found.heritability) if found.heritability else None,
        "converged": found.converged,
        "gradient": found.gradient,
        "at_bound": list(found.at_bound),
        "iterations": found.iterations,
        "seconds": round(seconds, 3),
        "loadings": _lines(found.loadings),
        "effective_df": found.effective_df,
    }


def _lines(lines: Sequence[object]) -> list[dict[str, object]]:
    """Lines as objects; what has no meaning (a correlation of a variance of 0) is null."""
    told = [asdict(line) for line in lines]  # type: ignore[call-overload]
    return [{key: None if value != value else value for key, value in line.items()} for line in told]
