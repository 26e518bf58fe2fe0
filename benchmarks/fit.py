"""How long does a large mixed-model fit take, how many steps, how much memory? `python benchmarks/fit.py [S M L ...]`.

Each line is a process of its own: reading the columns and telling all effects is counted, importing and compiling is
not (the first fit of a process is left out where the second is shown).
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import resource
import subprocess
import sys
import time

import numpy as np

from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Model, RandomTerm, Residual

Data = dict[str, list[object]]
SIZES = {"S": (200, 4, 10), "M": (2_000, 8, 20)}
KINDS = ("one residual", "a residual by site", "with heritability")


def lay_trials(lines: int, sites: int, block: int) -> Data:
    """Two replicates at each site, in blocks of so many plots."""
    dice = np.random.default_rng(1)
    line, within = dice.normal(0, 1, lines), dice.normal(0, 0.7, (lines, sites))
    data: Data = {"line": [], "site": [], "rep": [], "block": [], "y": []}
    for j in range(sites):
        site = dice.normal(10, 2)
        for rep in range(2):
            shift, blocks = dice.normal(0, 0.3), dice.normal(0, 0.5, lines // block)
            for place, k in enumerate(dice.permutation(lines)):
                at = place // block
                value = site + shift + blocks[at] + line[k] + within[k, j] + dice.normal(0, 0.8 + 0.05 * j)
                row = (f"L{k:05d}", f"S{j}", f"S{j}R{rep}", f"S{j}R{rep}B{at:03d}", value)
                for name, one in zip(data, row, strict=True):
                    data[name].append(one)
    return data


def lay_first_year() -> Data:
    """20,000 lines, each once at 3 of 10 sites, and a plot of one of 6 checks in each of 3,000 blocks."""
    dice = np.random.default_rng(1)
    line, checks = dice.normal(0, 1, 20_000), dice.normal(1, 0.5, 6)
    sites = np.array([dice.choice(10, 3, replace=False) for _ in range(20_000)])
    data: Data = {"line": [], "site": [], "block": [], "group": [], "tested": [], "y": []}
    for j in range(10):
        site, blocks = dice.normal(10, 2), dice.normal(0, 0.5, 300)
        inside = dice.permutation(np.flatnonzero(np.any(sites == j, axis=1)))
        for b, part in enumerate(np.array_split(inside, 300)):
            check = int(dice.integers(6))
            rows = [(f"L{k:05d}", "line", 1.0, line[k] + dice.normal(0, 0.7)) for k in part.tolist()]
            rows.append((f"C{check}", f"C{check}", 0.0, checks[check]))
            for name, group, tested, worth in rows:
                value = site + blocks[b] + worth + dice.normal(0, 0.8 + 0.05 * j)
                for key, one in zip(data, (name, f"S{j}", f"S{j}B{b}", group, tested, value), strict=True):
                    data[key].append(one)
    return data


def lay(size: str, kind: str) -> tuple[Data, Model]:
    """The records and the model of one size."""
    residual = Residual("site") if kind != KINDS[0] else Residual()
    genotype = "line" if kind == KINDS[2] else None
    if size == "L":
        first = RandomTerm(("line",) if genotype else ("line", "tested"))
        terms = (first, RandomTerm(("line", "site")), RandomTerm(("block",)))
        fixed = (("site",),) if genotype else (("site",), ("group",))
        return lay_first_year(), Model("y", fixed, terms, residual, ("tested",), genotype=genotype)
    terms = (RandomTerm(("line",)), RandomTerm(("line", "site")), RandomTerm(("rep",)), RandomTerm(("block",)))
    return lay_trials(*SIZES[size]), Model("y", (("site",),), terms, residual, genotype=genotype)


def measure(size: str, kind: str) -> None:
    """Fit twice, print the second."""
    data, model = lay(size, kind)
    for _ in range(2):
        begun = time.perf_counter()
        fit = fit_mixed_model(data, model)
        seconds = time.perf_counter() - begun
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{size}, {kind}: {fit.n:,} records, {len(fit.random):,} random levels: {seconds:.2f} s, "
        f"{fit.iterations} steps, peak {peak:.0f} MB, log-likelihood {fit.reml_log_likelihood:.6f}, "
        f"slope left {fit.gradient:.0e}, heritability {fit.heritability.cullis if fit.heritability else None}",
        flush=True,
    )


def main() -> None:
    """Measure the sizes named, each kind in a process of its own."""
    if len(sys.argv) == 3 and sys.argv[2] in KINDS:
        measure(sys.argv[1], sys.argv[2])
        return
    for size in sys.argv[1:] or ["S", "M", "L"]:
        for kind in KINDS:
            subprocess.run([sys.executable, __file__, size, kind], check=True)


if __name__ == "__main__":
    main()
