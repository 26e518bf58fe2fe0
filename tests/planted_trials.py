"""Which trials with known truth are the checks of plots judged on, and which faults are planted in them?"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from firstsilk.science.analysis.trial_plots import TrialPlots, arrange_trial

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Shape:
    """Complete blocks, one after another, each walked row by row, turning at each end.

    `repeatability` is that of one plot: entry variance over entry and error variance; error variance is 1. `ground` is
    the share of row, column and replicate variance against error variance, each; `bend` the height of a smooth wave.
    """

    entries: int
    reps: int
    pass_plots: int
    repeatability: float = 0.4
    ground: float = 0.0
    bend: float = 0.0
    traits: int = 1
    wild: float = 0.0
    empty: float = 0.0


@dataclass(frozen=True)
class Grown:
    """What grew: true values in harvest order (n, T), and the plan."""

    shape: Shape
    values: Array
    entry: NDArray[np.intp]
    rep: NDArray[np.intp]
    row: NDArray[np.intp]
    col: NDArray[np.intp]

    @property
    def passes(self) -> list[NDArray[np.intp]]:
        return [np.flatnonzero(self.row == one) for one in range(int(self.row.max()) + 1)]


def grow_trial(shape: Shape, dice: np.random.Generator) -> Grown:
    rows = -(-shape.entries // shape.pass_plots)
    at = np.arange(shape.entries)
    row, step = np.divmod(at, shape.pass_plots)
    entry = np.concatenate([dice.permutation(shape.entries) for _ in range(shape.reps)])
    rep = np.repeat(np.arange(shape.reps), shape.entries)
    row = np.concatenate([row + one * rows for one in range(shape.reps)])
    step = np.tile(step, shape.reps)
    col = np.where(row % 2 == 0, step, shape.pass_plots - 1 - step)
    n, T = len(entry), shape.traits
    ratio = shape.repeatability / (1.0 - shape.repeatability)
    values = dice.normal(0, ratio**0.5, (shape.entries, T))[entry] + dice.normal(size=(n, T))
    for line in (rep, row, rep * shape.pass_plots + col):
        values = values + dice.normal(0, shape.ground**0.5, (int(line.max()) + 1, T))[line]
    wave = np.sin(2 * np.pi * (row / (row.max() + 1) + dice.random())) * np.cos(np.pi * col / shape.pass_plots)
    values = values + shape.bend * wave[:, None]
    wild = dice.random(n) < shape.wild
    values[wild] += dice.choice([-6.0, 6.0], (int(np.sum(wild)), 1))
    values[dice.random(n) < shape.empty] = np.nan
    return Grown(shape, 20.0 + values, entry, rep, row, col)


def plant_shift(grown: Grown, first: int, last: int, late: bool, dice: np.random.Generator) -> Grown:
    """Records of places `first` to `last` hold what grew one plot before (late) or after; one of them is any value."""
    values = grown.values.copy()
    stray = grown.values[dice.integers(len(values))]
    if late:
        values[first + 1 : last + 1] = grown.values[first:last]
        values[first] = stray
    else:
        values[first:last] = grown.values[first + 1 : last + 1]
        values[last] = stray
    return replace(grown, values=values)


def arrange(grown: Grown) -> TrialPlots:
    names = [f"t{k}" for k in range(grown.values.shape[1])]
    return arrange_trial(
        dict(zip(names, grown.values.T, strict=True)),
        [f"E{k}" for k in grown.entry],
        [str(k + 1) for k in grown.rep],
        grown.row + 1,
        grown.col + 1,
    )
