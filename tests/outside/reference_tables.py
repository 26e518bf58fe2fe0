"""What do our stability figures and axes say of the tables behind the reference values, in the words of those?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable

import numpy as np
from reference_fits import Answers
from trial_tables import outside

from firstsilk.science.analysis.axes import Axes, find_ammi_axes, find_gge_axes
from firstsilk.science.analysis.stability import analyse_joint_regression, describe_stability, fit_joint_regression
from firstsilk.science.analysis.two_way import TwoWayTable, lay_out_two_way

# Mean square of plots (72 df) of the maize of Lu & Tien 1993, and how many blocks: analysis of variance by R.
MAIZE_ERROR = (12912246.05 / 72, 4)


def cell_means(name: str) -> TwoWayTable:
    """Cell means of a data set kept outside the project."""
    data = outside(name)
    cells = defaultdict(list)
    for entry, environment, value in zip(data["gen"], data["env"], data["yield"], strict=True):
        if value not in (None, "", "NA"):
            cells[entry, environment].append(float(str(value)))
    return lay_out_two_way(*zip(*cells, strict=True), [float(np.mean(values)) for values in cells.values()])


def tell_entries(name: str) -> Answers:
    table = cell_means(name)
    error = MAIZE_ERROR if name.startswith("lu") else (None, 1)
    told: Answers = {}
    for one in describe_stability(table, *error):
        figures = {
            "mean": one.mean,
            "Finlay-Wilkinson/Eberhart-Russell b": one.slope,
            "SS deviations from regression": (len(table.environments) - 2) * (one.deviation_ms or 0.0),
            "MS deviations": one.deviation_ms,
            "Eberhart-Russell S2d = MS deviations - MSE/r": one.s2d,
            "r2": one.r2,
            "Wricke ecovalence": one.wricke,
            "Shukla stability variance (cell-mean scale)": one.shukla,
            "Lin-Binns superiority P": one.superiority,
        }
        told |= {f"{figure} {one.entry}": value for figure, value in figures.items() if value is not None}
    return told


def tell_joint(name: str) -> Answers:
    words = ("environments", "genotypes", "GxE", "heterogeneity of regressions", "pooled deviations")
    lines = analyse_joint_regression(cell_means(name))
    return {f"SS {word}": line.ss for word, line in zip(words, lines, strict=True)}


def tell_axes(axes: Axes, of: str) -> Answers:
    told: Answers = {}
    assert axes.percent is not None
    for k, (size, percent) in enumerate(zip(axes.singular_values, axes.percent, strict=True), 1):
        told |= {f"singular value {k}": float(size), f"percent of {of} SS, axis {k}": float(percent)}
    return told


def tell_ammi(name: str) -> Answers:
    return tell_axes(find_ammi_axes(cell_means(name)), "GxE")


def tell_ammi_scores(name: str) -> Answers:
    table = cell_means(name)
    axes = find_ammi_axes(table)
    entries = zip(table.entries, axes.entry_scores, strict=True)
    environments = zip(table.environments, axes.environment_scores, strict=True)
    told = {f"gen {entry}": float(row[0]) for entry, row in entries}
    return told | {f"env {environment}": float(row[0]) for environment, row in environments}


def tell_gge(name: str, scaled: bool = False) -> Answers:
    return tell_axes(find_gge_axes(cell_means(name), scale_environments=scaled), "G+GE")


def tell_gge_scores(name: str, scaled: bool = False) -> Answers:
    table = cell_means(name)
    axes = find_gge_axes(table, "environment", scaled)
    return {entry: float(row[0]) for entry, row in zip(table.entries, axes.entry_scores, strict=True)}


def tell_lines_with_gaps(name: str) -> Answers:
    table = cell_means(name)
    found = fit_joint_regression(table)
    told = {f"slope {entry}": float(slope) for entry, slope in zip(table.entries, found.slopes, strict=True)}
    return told | {"residual SS": found.residual_ss}


def of(name: str, tell: Callable[..., Answers], *more: object) -> Callable[[], Answers]:
    """What `tell` says of a data set, when asked."""
    return lambda: tell(name, *more)
