"""How often does an interval of 95 % hold the true difference between two entries, also when one was picked as best?

Trials with known truth, of sizes a breeder grows. Not collected by pytest: `python -m tests.soak.judge_intervals`
prints the table of `docs/mixed-models.md` (a share of the runs: `... judge_intervals 200`).
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import scipy.special

from firstsilk.science.analysis.intervals import Contrast, estimate_contrasts
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Model, RandomTerm, Residual

RUNS = 2_000
CHECK = "L00"
Data = dict[str, Sequence[object]]
COMPARED = ("pair", "best - check", "best - mean")


@dataclass(frozen=True, slots=True)
class Design:
    """One kind of trial: how it is drawn (true values of the entries, plots), and what is fitted beside the entries."""

    name: str
    draw: Callable[[np.random.Generator], tuple[np.ndarray, Data]]
    fixed: tuple[tuple[str, ...], ...]
    random: tuple[RandomTerm, ...]
    residual: Residual = field(default_factory=Residual)

    def with_random_entries(self) -> Model:
        return Model("y", self.fixed, (RandomTerm(("line",)), *self.random), self.residual)

    def with_fixed_entries(self) -> Model:
        return Model("y", (*self.fixed, ("line",)), self.random, self.residual)


def grow_series(
    dice: np.random.Generator, lines: int, sites: int, reps: int, errors: Sequence[float] = (), share: float = 1.0
) -> tuple[np.ndarray, Data]:
    """Entries at places: standard deviation 0.8 of entries, 0.7 of entry x place, 0.3 of replicates, 1 of plots."""
    line, site, rep = (axis.ravel() for axis in np.meshgrid(range(lines), range(sites), range(reps), indexing="ij"))
    grown = dice.random((lines, sites)) < share
    grown[0] = True
    for row in grown[grown.sum(axis=1) < 2]:
        row[:2] = True
    kept = grown[line, site]
    line, site, rep = line[kept], site[kept], rep[kept]
    error = np.array(errors or [1.0] * sites)
    true = dice.normal(0, 0.8, lines)
    y = 10.0 + true[line] + dice.normal(0, 2, sites)[site] + dice.normal(0, 0.3, (sites, reps))[site, rep]
    y += (
        dice.normal(0, 0.7 if sites > 1 else 0.0, (lines, sites))[line, site]
        + dice.normal(size=len(line)) * error[site]
    )
    return true, {
        "y": y.tolist(),
        "line": [f"L{at:02d}" for at in line],
        "site": [f"S{at}" for at in site],
        "rep": [f"r{at}" for at in rep],
    }


def grow_blocks(dice: np.random.Generator) -> tuple[np.ndarray, Data]:
    """24 entries, three replicates of six blocks of four: no two entries meet in more than one block."""
    shifts = ((0, 0, 0, 0), (0, 1, 2, 3), (0, 3, 1, 4))
    cells = [(6 * i + (b + shifts[rep][i]) % 6, rep, b) for rep in range(3) for b in range(6) for i in range(4)]
    line, rep, block = np.array(cells).T
    true = dice.normal(0, 0.8, 24)
    y = 10.0 + true[line] + dice.normal(size=3)[rep] + dice.normal(0, 0.5, (3, 6))[rep, block]
    y += dice.normal(0, 0.7, len(line))
    return true, {
        "y": y.tolist(),
        "line": [f"L{at:02d}" for at in line],
        "rep": [f"r{at}" for at in rep],
        "block": [f"b{at}" for at in block],
    }


_AT_SITES = ((("site",),), (RandomTerm(("line", "site")), RandomTerm(("site", "rep"))))
DESIGNS = (
    Design("12 entries, 6 places x 2", lambda dice: grow_series(dice, 12, 6, 2), *_AT_SITES),
    Design("15 entries, 8 places x 2, 3 in 10 missing", lambda d: grow_series(d, 15, 8, 2, share=0.7), *_AT_SITES),
    Design("24 entries, 1 place, 3 x 6 blocks", grow_blocks, (("rep",),), (RandomTerm(("rep", "block")),)),
    Design(
        "12 entries, 4 unlike places x 3",
        lambda dice: grow_series(dice, 12, 4, 3, (0.5, 1.0, 1.5, 2.0)),
        *_AT_SITES,
        Residual("site"),
    ),
    Design("10 entries, 2 places x 3", lambda dice: grow_series(dice, 10, 2, 3), *_AT_SITES),
    Design("8 entries, 1 place x 3", lambda dice: grow_series(dice, 8, 1, 3), (("rep",),), ()),
)


@dataclass(frozen=True, slots=True)
class Judged:
    """Shares of runs whose interval held the truth, and mean widths of intervals, by what was compared."""

    held: Mapping[str, float]
    width: Mapping[str, float]


def judge_design(design: Design, runs: int, seed: int) -> Judged:
    """Draw the trial again and again; look at one pair named beforehand and at the best entry.

    Predictions with `estimate_contrasts` and (``plain``) with variances taken as known; means likewise, the best of
    them chosen by the means.
    """
    held: dict[str, int] = {}
    width: dict[str, float] = {}
    for run in range(runs):
        true, data = design.draw(np.random.default_rng((seed, run)))
        names = [f"L{at:02d}" for at in range(len(true))]
        for kind, model in (("", design.with_random_entries()), ("means, ", design.with_fixed_entries())):
            fit = fit_mixed_model(data, model)
            told = {one.level: one.value for one in (fit.means if kind else fit.random) if one.term == "line"}
            best = max(range(1, len(true)), key=lambda at: told[names[at]])
            asked = [{names[1]: 1.0, CHECK: -1.0}, {names[best]: 1.0, CHECK: -1.0}]
            asked.append({name: (name == names[best]) - 1.0 / len(names) for name in names})
            found = estimate_contrasts(data, model, fit, "line", asked)
            truths = (true[1] - true[0], true[best] - true[0], true[best] - true.mean())
            for what, one, truth in zip(COMPARED, found, truths, strict=True):
                for word, low, high in (("", one.low, one.high), ("plain ", *_plain(one))):
                    key = word + kind + what
                    held[key] = held.get(key, 0) + bool(low - 1e-12 <= truth <= high + 1e-12)
                    width[key] = width.get(key, 0.0) + (high - low) / runs
    return Judged({key: count / runs for key, count in held.items()}, width)


def _plain(one: Contrast) -> tuple[float, float]:
    half = float(scipy.special.ndtri(0.975)) * one.plain_se
    return one.value - half, one.value + half


def tell(design: Design, judged: Judged) -> str:
    cells = []
    for kind in ("", "means, "):
        for what in COMPARED:
            now, plain = judged.held[kind + what], judged.held["plain " + kind + what]
            cells.append(f"{100 * now:.1f} ({100 * plain:.1f})")
    wide = f"{judged.width['pair']:.2f}; {judged.width['means, pair']:.2f}"
    return f"| {design.name} | {' | '.join(cells)} | {wide} |"


def main() -> None:
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else RUNS
    print(f"{runs} runs; share of intervals of 95 % that hold the truth (in brackets: variances taken as known)")
    for design in DESIGNS:
        print(tell(design, judge_design(design, runs, 2026)), flush=True)


if __name__ == "__main__":
    main()
