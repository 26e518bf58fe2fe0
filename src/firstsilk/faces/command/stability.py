"""Which door tells how entries respond to environments? `stability`, from a table of means."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

# Before numpy is loaded: on matrices of this size a second thread costs time, much of it on a busy machine.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

from firstsilk.answers import FirstsilkError, InputRefused
from firstsilk.faces.command.drawing import check_folder, write_pictures
from firstsilk.faces.command.giving import check_out, give_json, say
from firstsilk.faces.files.mean_tables import read_means
from firstsilk.faces.files.tables import write_table
from firstsilk.faces.pictures.places import picture_best_places, tell_best_places
from firstsilk.faces.pictures.responses import picture_interaction, picture_lines
from firstsilk.science.analysis.axes import Axes, check_axes, count_kept, find_ammi_axes, find_gge_axes
from firstsilk.science.analysis.best_places import find_best_places
from firstsilk.science.analysis.ranks import rank_entries
from firstsilk.science.analysis.retention import validate_axes
from firstsilk.science.analysis.stability import (
    EntryStability,
    analyse_joint_regression,
    describe_stability,
    fit_joint_regression,
)
from firstsilk.science.analysis.two_way import TwoWayTable, fill_missing_cells, name_missing_cells, need_complete

ENTRY_COLUMNS = (
    "entry",
    "mean",
    "slope",
    "deviation_ms",
    "s2d",
    "wricke",
    "shukla",
    "superiority",
    "slope_se",
    "r2",
)


def stability(
    means: Annotated[str, typer.Argument(help="Table: entry, environment, mean; one line a cell.")],
    mse: Annotated[
        float | None, typer.Option("--mse", min=0, help="Mean square of the error of a plot, for s2d and Gollob's F.")
    ] = None,
    reps: Annotated[float, typer.Option("--reps", min=0.001, help="Plots behind each mean.")] = 1.0,
    mse_df: Annotated[
        float | None, typer.Option("--mse-df", min=1, help="Degrees of freedom of --mse, for the chance of Gollob's F.")
    ] = None,
    gaps: Annotated[str, typer.Option("--gaps", help="Empty cells: refuse, or estimate.")] = "refuse",
    axes: Annotated[int, typer.Option("--axes", min=0, help="Interaction axes used to estimate empty cells.")] = 0,
    scaling: Annotated[
        str, typer.Option("--scaling", help="Where singular values go: symmetric, entry, environment.")
    ] = "symmetric",
    scale_environments: Annotated[
        bool, typer.Option("--scale-environments", help="GGE: divide each environment by its standard deviation.")
    ] = False,
    draws: Annotated[
        int, typer.Option("--draws", min=0, max=100_000, help="Random tables drawn to test each axis; 0 for none.")
    ] = 2_000,
    hide: Annotated[
        int,
        typer.Option(
            "--hide", min=0, max=1_000, help="Deals in which means are hidden and told with 0, 1, 2 ... axes."
        ),
    ] = 0,
    seed: Annotated[int, typer.Option("--seed", min=0, help="Seed of the draws.")] = 1,
    pictures: Annotated[
        str,
        typer.Option("--pictures", help="Folder for pictures, as SVG and as Vega-Lite.", callback=check_folder),
    ] = "",
    unit: Annotated[str, typer.Option("--unit", help="Unit of the means in words, for the pictures.")] = "as given",
    out: Annotated[str, typer.Option("--out", help="File for the entries as a table.", callback=check_out)] = "",
    as_json: Annotated[bool, typer.Option("--json", help="The answer is one JSON object in any case.")] = False,
) -> None:
    """How entries respond to environments, as one JSON object: lines, ecovalence, variance, superiority, AMMI, GGE.

    entries: slope on the environment index, deviation_ms, s2d = deviation_ms - mse / reps, wricke, shukla, superiority
    (small is good). ammi and gge: singular_values, percent, entry_scores and environment_scores by name, one number
    an axis; tests says how many axes are more than chance, kept counts them. All in the unit of the means.
    """
    if gaps not in ("refuse", "estimate"):
        raise typer.BadParameter(f"--gaps is refuse or estimate, not {gaps!r}.")
    if scaling not in ("symmetric", "entry", "environment"):
        raise typer.BadParameter(f"--scaling is symmetric, entry or environment, not {scaling!r}.")
    given = read_means(means)
    missing = name_missing_cells(given)
    table = _fill(given, "standard input" if means == "-" else Path(means).name, gaps, axes)
    if missing:
        say(
            f"{len(missing)} of {table.means.size} cells were estimated: what rests on them is less sure than it looks."
        )
    entries = describe_stability(table, mse, reps)
    answer = {
        "entries": [asdict(entry) for entry in entries],
        **_axes_as_json(table, scaling, scale_environments, draws, seed, mse, mse_df, reps),
        "anova": [asdict(line) for line in analyse_joint_regression(table, mse, mse_df, reps)] if not missing else None,
        "joint_regression": _joint_as_json(given),
        "estimated": _estimated(table),
        "ranks": [asdict(one) for one in rank_entries(table)],
        "retention": _retention(table, hide, seed, bool(missing)),
    }
    if out not in ("", "-"):
        write_table(out, ENTRY_COLUMNS, [_row(entry) for entry in entries])
    if pictures:
        _draw(pictures, table, entries, None if mse is None else mse / reps, seed, unit)
    give_json(answer)


def _fill(given: TwoWayTable, file: str, gaps: str, axes: int) -> TwoWayTable:
    """The table without empty cells: as given, or with these estimated if that is asked for."""
    if gaps == "refuse":
        need_complete(given, file)
    try:
        return fill_missing_cells(given, axes)
    except InputRefused as no:
        raise InputRefused(f"{file}: {no}") from None


def _retention(table: TwoWayTable, hide: int, seed: int, filled: bool) -> list[dict[str, object]] | None:
    """How far hidden means were missed with so many axes; None if not asked for, or cells were filled in."""
    if not hide or filled:
        return None
    return [asdict(one) for one in validate_axes(table, np.random.default_rng(seed), hide)]


def _draw(
    folder: str, table: TwoWayTable, entries: Sequence[EntryStability], error: float | None, seed: int, unit: str
) -> None:
    """The best entry at each group of environments, in sentences too; lines; interaction against mean."""
    found = find_best_places(table, np.random.default_rng(seed), error)
    for sentence in tell_best_places(found, "" if unit == "as given" else unit):
        say(sentence)
    drawn = {
        "best-places": picture_best_places(found, unit=unit),
        "lines": picture_lines(table, entries, unit),
        "interaction": picture_interaction(table, find_ammi_axes(table), unit),
    }
    write_pictures(folder, drawn)


def _row(entry: EntryStability) -> list[object]:
    return [getattr(entry, column) for column in ENTRY_COLUMNS]


def _axes_as_json(
    table: TwoWayTable,
    scaling: str,
    scale_environments: bool,
    draws: int,
    seed: int,
    mse: float | None,
    mse_df: float | None,
    reps: float,
) -> dict[str, object]:
    ammi = find_ammi_axes(table, scaling)
    gge = find_gge_axes(table, scaling, scale_environments)
    dice = np.random.default_rng(seed)
    told: dict[str, object] = {}
    for kind, found in (("ammi", ammi), ("gge", gge)):
        # A table with cells filled in, or in units of each environment, is not one of equal independent errors.
        fair = not np.any(table.estimated) and not (kind == "gge" and scale_environments)
        tests = check_axes(found, kind, dice, draws, 6, mse, mse_df, reps) if fair else ()
        told[kind] = {
            **_view(found, table),
            "tests": [asdict(test) for test in tests],
            "kept": count_kept([test.p for test in tests]),
            "kept_f": count_kept([test.p_f for test in tests]),
        }
    return told


def _view(found: Axes, table: TwoWayTable) -> dict[str, object]:
    return {
        "singular_values": found.singular_values.tolist(),
        "percent": None if found.percent is None else found.percent.tolist(),
        "entry_scores": dict(zip(table.entries, found.entry_scores.tolist(), strict=True)),
        "environment_scores": dict(zip(table.environments, found.environment_scores.tolist(), strict=True)),
    }


def _joint_as_json(table: TwoWayTable) -> dict[str, object] | None:
    """Lines and environments fitted together over the cells that were given; None where there is nothing to fit."""
    try:
        found = fit_joint_regression(table)
    except FirstsilkError as error:
        say(f"No lines fitted together with the environments: {error}")
        return None
    return {
        "slopes": dict(zip(table.entries, found.slopes.tolist(), strict=True)),
        "environments": dict(zip(table.environments, found.environments.tolist(), strict=True)),
        "residual_ss": found.residual_ss,
        "residual_df": found.residual_df,
    }


def _estimated(table: TwoWayTable) -> list[dict[str, object]]:
    return [
        {"entry": table.entries[i], "environment": table.environments[j], "mean": float(table.means[i, j])}
        for i, j in np.argwhere(table.estimated)
    ]
