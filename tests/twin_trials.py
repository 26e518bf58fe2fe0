"""Which small trials and models do the tests of mixed models share?"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from firstsilk.science.analysis.models import Model, RandomTerm, Relationship, Residual

Array = NDArray[np.float64]


def incidence(names: list[str]) -> Array:
    levels = sorted(set(names))
    return np.array([[float(name == level) for level in levels] for name in names])


def small_trial(seed: int, holes: bool) -> dict[str, list[object]]:
    dice = np.random.default_rng(seed)
    lines, sites = [f"L{k}" for k in range(6)], ["A", "B", "C"]
    effect = dict(zip(lines, dice.normal(0, 2, 6), strict=True))
    shift = dict(zip(sites, dice.normal(10, 3, 3), strict=True))
    data: dict[str, list[object]] = {"line": [], "site": [], "rep": [], "y": [], "w": []}
    for site in sites:
        for rep in ("1", "2"):
            for line in lines:
                if holes and dice.random() < 0.15:
                    continue
                spread = {"A": 0.5, "B": 1.0, "C": 2.0}[site]
                for name, value in (("line", line), ("site", site), ("rep", rep)):
                    data[name].append(value)
                data["y"].append(shift[site] + effect[line] + dice.normal(0, spread))
                data["w"].append(float(dice.uniform(0.5, 2)))
    return data


def columns(data: dict[str, list[object]], *names: str) -> list[str]:
    return [":".join(str(data[name][k]) for name in names) for k in range(len(data["y"]))]


MODELS = {
    "one residual": Model("y", (("site",),), (RandomTerm(("line",)), RandomTerm(("site", "rep")))),
    "residuals by site": Model("y", (("site",),), (RandomTerm(("line",)),), Residual("site"), weights="w"),
    "random variances by site": Model(
        "y", (("site",),), (RandomTerm(("line",)), RandomTerm(("site", "line"), variance_by="site")), weights="w"
    ),
    "related lines within sites": Model(
        "y",
        (("site",),),
        (RandomTerm(("line", "site"), Relationship(tuple(f"L{k}" for k in range(6)), np.eye(6) + 0.5), "site"),),
    ),
}


def poor_series(seed: int) -> dict[str, list[object]]:
    """A small series with holes, some true variances 0, and residuals that differ much between sites."""
    dice = np.random.default_rng(seed)
    n_lines, n_sites, n_blocks = dice.integers(4, 15), dice.integers(2, 6), dice.integers(2, 4)
    spread = [float(dice.choice([0, 0.3, 1, 3])) for _ in range(4)]
    residual = dice.choice([0.1, 1, 5], n_sites) * 1.0
    line = dice.normal(size=n_lines) * spread[0]
    within = dice.normal(size=(n_lines, n_sites)) * spread[1]
    block = dice.normal(size=(n_sites, n_blocks)) * spread[2]
    site = dice.normal(size=n_sites) * spread[3]
    data: dict[str, list[object]] = {"line": [], "site": [], "block": [], "y": []}
    for i in range(n_lines):
        for j in range(n_sites):
            for k in range(n_blocks):
                if dice.random() < 0.85:
                    for name, value in (("line", f"L{i}"), ("site", f"S{j}"), ("block", f"B{k}")):
                        data[name].append(value)
                    data["y"].append(line[i] + within[i, j] + block[j, k] + site[j] + dice.normal() * residual[j])
    return data


def by_site(*columns: str) -> RandomTerm:
    return RandomTerm(columns, variance_by="site")


MANY_TOPS = {
    39: Model(
        "y",
        (("site",),),
        (by_site("line", "site"), RandomTerm(("line",)), RandomTerm(("site", "block"))),
        Residual("site"),
    ),
    106: Model("y", (("line",),), (RandomTerm(("site",)), by_site("line", "site"), by_site("site", "block"))),
    157: Model(
        "y",
        (),
        (RandomTerm(("line",)), RandomTerm(("line", "site")), RandomTerm(("site", "block")), RandomTerm(("site",))),
        Residual("site"),
    ),
}
