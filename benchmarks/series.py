"""What do more processes gain, and a large season in two stages? `python benchmarks/series.py [traits trials season]`.

Each line is a process of its own; every way must give the same bytes as the first one of its kind.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import hashlib
import resource
import subprocess
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import numpy as np
from fit import lay_trials

from firstsilk.science.analysis.models import Model, RandomTerm
from firstsilk.work.analysis.many_traits import fit_traits
from firstsilk.work.analysis.staged_series import fit_series
from firstsilk.work.analysis.workers import Here, Processes, Workers

Data = dict[str, list[object]]
WAYS = ("1", "2", "cluster")


def find(way: str) -> Workers:
    if way == "cluster":
        from firstsilk.work.analysis.clusters import Cluster

        return Cluster("local", 2)
    return Here() if way == "1" else Processes(int(way))


def lay_traits() -> tuple[Data, Model, list[str]]:
    """12 traits of 1,000 lines at 8 sites in two replicates: 16,000 records."""
    data = lay_trials(1_000, 8, 20)
    dice = np.random.default_rng(3)
    plain = np.array(data["y"], dtype=float)
    names = [f"trait {k}" for k in range(12)]
    for name in names:
        data[name] = (plain + dice.normal(0, 1, len(plain))).tolist()
    terms = (RandomTerm(("line",)), RandomTerm(("line", "site")), RandomTerm(("rep",)), RandomTerm(("block",)))
    return data, Model("y", (("site",),), terms, genotype="line"), names


def lay_series(trials: int = 200) -> tuple[Data, Model, Model]:
    """So many trials of 30 of 300 entries, three replicates of six blocks each."""
    dice = np.random.default_rng(4)
    worth = dice.normal(0, 1, 300)
    data: Data = {"trial": [], "rep": [], "block": [], "line": [], "y": []}
    for t in range(trials):
        here = dice.choice(300, 30, replace=False)
        level = dice.normal(10, 2)
        within = dice.normal(0, 0.6, 30)
        for rep in range(3):
            blocks = dice.normal(0, 0.4, 6)
            for place, k in enumerate(dice.permutation(30)):
                y = level + worth[here[k]] + within[k] + blocks[place // 5] + dice.normal(0, 0.8)
                row = (f"T{t:03d}", f"R{rep}", f"B{place // 5}", f"L{here[k]:03d}", y)
                for name, cell in zip(data, row, strict=True):
                    data[name].append(cell)
    one = Model("y", (("line",), ("rep",)), (RandomTerm(("rep", "block")),), genotype="line")
    two = Model("y", (("trial",),), (RandomTerm(("line",)), RandomTerm(("line", "trial"))), genotype="line")
    return data, one, two


def lay_season() -> Data:
    """20,000 lines, each once at 3 of 10 sites, with 2 of 6 checks in each of 3,000 blocks: 66,000 records.

    With one check in a block its blocks and its error could not be told apart where lines are fixed.
    """
    dice = np.random.default_rng(1)
    line, checks = dice.normal(0, 1, 20_000), dice.normal(1, 0.5, 6)
    sites = np.array([dice.choice(10, 3, replace=False) for _ in range(20_000)])
    data: Data = {"line": [], "site": [], "block": [], "y": []}
    for j in range(10):
        site, blocks = dice.normal(10, 2), dice.normal(0, 0.5, 300)
        inside = dice.permutation(np.flatnonzero(np.any(sites == j, axis=1)))
        for b, part in enumerate(np.array_split(inside, 300)):
            rows = [(f"L{k:05d}", line[k] + dice.normal(0, 0.7)) for k in part.tolist()]
            rows += [(f"C{k}", checks[k]) for k in dice.choice(6, 2, replace=False)]
            for name, worth in rows:
                value = site + blocks[b] + worth + dice.normal(0, 0.8 + 0.05 * j)
                for key, one in zip(data, (name, f"S{j}", f"B{b:03d}", value), strict=True):
                    data[key].append(one)
    return data


def measure(what: str, way: str) -> None:
    """Do it once and print seconds, bytes and memory."""
    if what == "traits":
        data, model, names = lay_traits()
        fit_traits(data, model, names[:1])  # compiled code is loaded
        begun = time.perf_counter()
        answers = fit_traits(data, model, names, find(way))
        told: object = [(a.found.fit.random, a.found.fit.variances) if a.found else a.lost for a in answers]
    elif what == "trials":
        series, one, two = lay_series()
        begun = time.perf_counter()
        # 6,000 means are beyond the full covariance of stage two.
        found = fit_series(series, one, two, weighting="diagonal", workers=find(way))
        told = [(s.trial, s.means.tolist(), s.variances) for s in found.stages], found.second.fit.random
    else:
        season = lay_season()
        one = Model("y", (("line",),), (RandomTerm(("block",)),), genotype="line")
        two = Model("y", (("site",),), (RandomTerm(("line",)), RandomTerm(("line", "site"))))
        begun = time.perf_counter()
        found = fit_series(season, one, two, "site", "diagonal", find(way))
        told = found.second.fit.variances
        print(*[f"{v.term} {v.value:.4f}" for v in found.second.fit.variances], found.second.fit.n, "means", flush=True)
    seconds = time.perf_counter() - begun
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    child = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    digest = hashlib.sha256(repr(told).encode()).hexdigest()[:16]
    print(f"{what}, {way}: {seconds:.1f} s, {digest}, peak {peak:.0f} MB here, {child:.0f} MB in a worker", flush=True)


def main() -> None:
    """Measure what is named, each way in a process of its own."""
    if len(sys.argv) == 3 and sys.argv[2] in WAYS:
        measure(sys.argv[1], sys.argv[2])
        return
    for what in sys.argv[1:] or ["traits", "trials", "season"]:
        for way in WAYS if what != "season" else ("1",):
            subprocess.run([sys.executable, __file__, what, way], check=True)


if __name__ == "__main__":
    main()
