"""Where does each record stand on the grids of plots, and are these grids sound?"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import InputRefused, refuse
from firstsilk.science.analysis.layouts import Layout
from firstsilk.science.analysis.models import Residual
from firstsilk.science.analysis.records import Records

# A grid with more cells than this for each record has gaps so wide that its numbers are likely wrong.
MOST_CELLS = 50


@dataclass(frozen=True, slots=True)
class PlotGrid:
    """One grid of plots: the level of `within`, its records, the cell of each, and its shape."""

    level: str
    group: int
    records: NDArray[np.intp]
    cells: NDArray[np.intp]
    shape: tuple[int, int]


def find_grids(layout: Layout, residual: Residual) -> list[PlotGrid]:
    """The grids of a residual with neighbours, one for each level of `within`.

    Raises
    ------
    InputRefused
        If two records stand on one place, a grid is a single plot, much too wide, or not in whole numbers.
    """
    records = layout.records
    names = residual.grid or ()
    columns = [records.grid[name] for name in names]
    for name, column in zip(names, columns, strict=True):
        if np.any(column != np.round(column)):
            bad = int(np.argmax(column != np.round(column)))
            row = int(records.kept[bad]) + 1
            raise refuse("not_whole", f"Column {name!r}, record {row}: a grid needs whole numbers ({column[bad]:g})")
    within = records.classes[residual.within] if residual.within else None
    codes = within.codes if within else np.zeros(records.n, dtype=np.intp)
    grids = []
    for code, level in enumerate(within.levels if within else ("",)):
        at = np.flatnonzero(codes == code)
        if len(set(layout.groups[at].tolist())) > 1:
            raise _split_field(residual)
        spans = [(int(column[at].min()), int(column[at].max())) for column in columns]
        shape = (spans[0][1] - spans[0][0] + 1, spans[1][1] - spans[1][0] + 1)
        cells = ((columns[0][at] - spans[0][0]) * shape[1] + columns[1][at] - spans[1][0]).astype(np.intp)
        _check_grid(records, residual, level, at, cells, shape)
        grids.append(PlotGrid(level, int(layout.groups[at[0]]), at, cells, shape))
    return grids


def _check_grid(
    records: Records,
    residual: Residual,
    level: str,
    at: NDArray[np.intp],
    cells: NDArray[np.intp],
    shape: tuple[int, int],
) -> None:
    where, names = f" at {level}" if level else "", " x ".join(residual.grid or ())
    if shape == (1, 1):
        raise refuse("grid_too_small", f"The grid {names}{where} has but one plot")
    if math.prod(shape) > MOST_CELLS * len(at):
        raise refuse(
            "grid_too_wide",
            f"The grid {names}{where} spans {shape[0]} x {shape[1]} places for {len(at)} records",
            "Number rows and columns one by one.",
        )
    found, times = np.unique(cells, return_counts=True)
    if np.any(times > 1):
        twice = np.flatnonzero(cells == found[np.argmax(times > 1)])[:2]
        one, two = (int(records.kept[at[k]]) + 1 for k in twice)
        raise refuse("plot_twice", f"Records {one} and {two} stand on the same place of the grid {names}{where}")


def _split_field(residual: Residual) -> InputRefused:
    told = f"a level of within ({residual.within!r})" if residual.within else "one field"
    return refuse(
        "variance_by_not_nested",
        f"variance_by ({residual.variance_by!r}) of the residual splits {told}, whose plots go together",
        f"Repeat the grid within {residual.variance_by!r}." if residual.within is None else "Leave variance_by out.",
    )
