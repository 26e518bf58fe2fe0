"""How often is a clean trial flagged, and is a planted shift found where it is?

Not collected by pytest: `python -m tests.soak.judge_plot_quality [RUNS] [CLEAN_RUNS]` prints the tables of
`docs/plot-quality.md`.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

from firstsilk.science.analysis.shifted_pass import NEAR, find_shifted_pass
from firstsilk.science.analysis.trial_plots import fit_trait
from tests.planted_trials import Grown, Shape, arrange, grow_trial, plant_shift

Where = tuple[int, int]
SEED = 20310725


def whole_pass(grown: Grown, dice: np.random.Generator) -> Where:
    one = grown.passes[dice.integers(len(grown.passes))]
    return int(one[0]), int(one[-1])


def from_a_plot_on(grown: Grown, dice: np.random.Generator) -> Where:
    """From a plot in the first half of a pass to the pass's end."""
    one = grown.passes[dice.integers(len(grown.passes))]
    return int(one[dice.integers(1, len(one) // 2)]), int(one[-1])


def to_the_end(grown: Grown, dice: np.random.Generator) -> Where:
    """From any plot but those of the last pass to the end of the trial."""
    return int(dice.integers(len(grown.entry) - len(grown.passes[-1]))), len(grown.entry) - 1


def whole_replicate(grown: Grown, dice: np.random.Generator) -> Where:
    one = np.flatnonzero(grown.rep == dice.integers(grown.shape.reps))
    return int(one[0]), int(one[-1])


def middle(grown: Grown, dice: np.random.Generator) -> Where:
    """The middle half of a pass."""
    one = grown.passes[dice.integers(len(grown.passes))]
    return int(one[len(one) // 4]), int(one[-1 - len(one) // 4])


PLANTED: dict[str, Callable[[Grown, np.random.Generator], Where]] = {
    "whole pass": whole_pass,
    "whole replicate": whole_replicate,
    "from a plot on, to the end of the pass": from_a_plot_on,
    "from a plot on, to the end of the trial": to_the_end,
    "middle half of a pass": middle,
}


@dataclass(frozen=True)
class Rates:
    """Shares of trials: flagged; flagged, both ends within two plots; and of the flagged, spans that hold the start."""

    runs: int
    flagged: float
    located: float
    held: float


def judge_one(shape: Shape, kind: str, seed: int) -> tuple[bool, bool, bool]:
    """Flagged; located; span of the start holds it."""
    dice = np.random.default_rng(seed)
    grown = grow_trial(shape, dice)
    first, last, late = -1, -1, bool(dice.integers(2))
    if kind:
        first, last = PLANTED[kind](grown, dice)
        grown = plant_shift(grown, first, last, late, dice)
    trial = arrange(grown)
    _, found = find_shifted_pass(trial, [fit_trait(trial, trait) for trait in trial.values])
    if found is None:
        return False, False, False
    near = abs(found.first - first) <= NEAR and abs(found.last - last) <= NEAR
    same = (found.direction == "late") == late
    return True, near and same, found.first_range[0] <= first <= found.first_range[1]


def judge(shape: Shape, kind: str, seeds: Iterable[int], workers: int = 1) -> Rates:
    """Rates over trials of a shape with one kind of shift planted ("" for none)."""
    one = partial(judge_one, shape, kind)
    if workers == 1:
        told = np.array([one(seed) for seed in seeds])
    else:
        with ProcessPoolExecutor(workers) as pool:
            told = np.array(list(pool.map(one, seeds, chunksize=8)))
    flagged = told[:, 0]
    held = float(told[flagged, 2].mean()) if flagged.any() else float("nan")
    return Rates(len(told), float(flagged.mean()), float(told[:, 1].mean()), held)


CLEAN = {
    "60 entries x 3, passes of 30": Shape(60, 3, 30),
    "60 x 3, passes of 20, rows, columns and a smooth trend": Shape(60, 3, 20, ground=0.2, bend=0.7),
    "60 x 3, passes of 30, 2 % wild plots, 3 % empty": Shape(60, 3, 30, wild=0.02, empty=0.03),
    "24 x 3, passes of 24": Shape(24, 3, 24),
    "40 x 3, passes of 20, repeatability 0.1": Shape(40, 3, 20, repeatability=0.1),
    "60 x 2, passes of 30, two traits": Shape(60, 2, 30, traits=2, ground=0.1),
}
TARGET = ("whole pass", Shape(200, 2, 200))
"""The kind of shift and the shape of trial for which the aim is asked: located in 95 of 100."""
FOUND: tuple[tuple[str, Shape], ...] = (
    TARGET,
    ("whole pass", Shape(150, 3, 150)),
    ("whole pass", Shape(100, 4, 100)),
    ("whole pass", Shape(100, 3, 100)),
    ("whole pass", Shape(60, 4, 60)),
    ("whole pass", Shape(100, 3, 50)),
    ("whole replicate", Shape(100, 3, 50)),
    ("from a plot on, to the end of the pass", Shape(100, 3, 50)),
    ("from a plot on, to the end of the trial", Shape(100, 3, 50)),
    ("middle half of a pass", Shape(100, 3, 50)),
    ("whole pass", Shape(60, 3, 30)),
    ("whole pass", Shape(60, 3, 30, repeatability=0.7)),
    ("from a plot on, to the end of the pass", Shape(60, 3, 30, repeatability=0.7)),
    ("whole pass", Shape(150, 3, 150, repeatability=0.4 / (0.4 + 3 * 0.6))),
    ("whole pass", Shape(60, 3, 30, traits=3)),
    ("whole pass", Shape(100, 3, 100, ground=0.2, bend=0.7)),
)


def print_clean(runs: int, workers: int) -> None:
    """How often clean trials are flagged."""
    for name, shape in CLEAN.items():
        told = judge(shape, "", range(SEED, SEED + runs), workers)
        print(f"| {name} | {told.runs} | {round(told.flagged * told.runs)} |", flush=True)


def print_found(runs: int, workers: int) -> None:
    """How often planted shifts are flagged and located."""
    for kind, shape in FOUND:
        told = judge(shape, kind, range(SEED, SEED + runs), workers)
        trial = f"{shape.entries} x {shape.reps}, passes of {shape.pass_plots}"
        trial += f", {shape.traits} traits" if shape.traits > 1 else ""
        trial += ", uneven ground" if shape.ground else ""
        rates = " | ".join(f"{rate:.0%}" for rate in (told.flagged, told.located, told.held))
        print(f"| {kind} | {trial} | {shape.repeatability:g} | {told.runs} | {rates} |", flush=True)


def print_bound(draws: int = 4_000) -> None:
    """How often one who knows all but the first plot of a late stretch, entries' true yields too, finds it within two.

    A pass of 50 plots is late from a plot in its first half on; error variance 1.
    """
    dice, plots = np.random.default_rng(1), 50
    for repeatability in (0.4, 0.7):
        spread = (repeatability / (1.0 - repeatability)) ** 0.5
        near = 0
        for _ in range(draws):
            entry = dice.normal(0.0, spread, plots)
            grown = entry + dice.normal(size=plots)
            first = int(dice.integers(1, plots // 2))
            told = np.concatenate([grown[:first], dice.normal(0.0, (1 + spread**2) ** 0.5, 1), grown[first:-1]])
            own, late = -0.5 * (told - entry) ** 2, -0.5 * (told[1:] - entry[:-1]) ** 2
            nobody = -0.5 * told**2 / (1 + spread**2) - 0.5 * np.log(1 + spread**2)
            likely = [own[:a].sum() + nobody[a] + late[a:].sum() for a in range(plots - 4)]
            near += abs(int(np.argmax(likely)) - first) <= NEAR
        print(f"| all but the first plot known | {repeatability:g} | {draws} | {near / draws:.0%} |", flush=True)


if __name__ == "__main__":
    print_bound()
    both = [int(word) for word in sys.argv[1:]] or [100, 300]
    print_found(both[0], workers=2)
    print_clean(both[-1], workers=2)
