"""Which small trials and models do the tests of mixed models share?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import scipy.sparse
from numpy.typing import NDArray

from firstsilk.science.analysis.models import Model, RandomTerm, Relationship, Residual, SparseRelationship, Surface

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


LINES = tuple(f"L{k}" for k in range(8))


def grid_trials(seed: int, rows: int = 4, columns: int = 6, gone: float = 0.1) -> dict[str, list[object]]:
    """Eight lines on the grids of two sites with ground that runs along both axes; some plots have no value."""
    dice = np.random.default_rng(seed)
    line, loading, factor = dice.normal(size=8), dice.normal(1.0, 0.5, 2), dice.normal(size=8)
    data: dict[str, list[object]] = {name: [] for name in ("site", "row", "col", "line", "block", "y", "w", "x")}
    for site in range(2):
        steps = [np.abs(np.subtract.outer(range(m), range(m))) for m in (rows, columns)]
        along = [rho**step for rho, step in zip(dice.uniform(0.2, 0.9, 2), steps, strict=True)]
        ground = np.linalg.cholesky(np.kron(*along)) @ dice.normal(size=rows * columns) * dice.uniform(0.3, 1.5)
        order = dice.permutation(np.arange(rows * columns) % 8)
        for k in range(rows * columns):
            row, column, entry = k // columns, k % columns, order[k]
            y = 10 + site + line[entry] + 0.7 * loading[site] * factor[entry] + ground[k] + 0.5 * dice.normal()
            y += 0.1 * column + 0.05 * (row - 1) ** 2
            cells = (f"S{site}", row + 1, column + 1, LINES[entry], f"B{row // 2}", None if dice.random() < gone else y)
            for name, cell in zip(data, (*cells, dice.uniform(0.5, 2), dice.normal()), strict=True):
                data[name].append(cell)
    return data


def kin(seed: int) -> Relationship:
    root = np.random.default_rng(seed).normal(size=(8, 12))
    return Relationship(LINES, root @ root.T / 12)


TWINS = Relationship(LINES, np.kron(np.eye(4), np.ones((2, 2))))


def sources(seed: int) -> SparseRelationship:
    """Eight lines made of six sources: their relationship is singular."""
    dice = np.random.default_rng(seed)
    root, to_level = dice.normal(size=(6, 6)), (dice.random((8, 6)) < 0.5) * 0.5
    to_level[:, 0] += 0.3
    precision = root @ root.T + np.eye(6)
    made = scipy.sparse.csr_array(precision), scipy.sparse.csr_array(to_level)
    diagonal = np.diag(to_level @ np.linalg.inv(precision) @ to_level.T).copy()
    return SparseRelationship(LINES, *made, -float(np.linalg.slogdet(precision)[1]), diagonal)


PLAIN = Model("y", (("site",),), (RandomTerm(("line",)),))
GRID = Residual(grid=("row", "col"), within="site")
FACTOR = RandomTerm(("line", "site"), factors=1)
BENT = Surface(("row", "col"), (4, 5), within="site")
# Correlated ground, smooth ground, factors and sparse relationships, alone and together.
GROUND = {
    "correlated": replace(PLAIN, residual=GRID),
    "correlated, with nugget": replace(PLAIN, residual=replace(GRID, nugget=True)),
    "correlated, variances by site": replace(PLAIN, residual=replace(GRID, variance_by="site")),
    "correlated, lines fixed": Model("y", (("site",), ("line",)), (RandomTerm(("site", "block")),), GRID),
    "correlated, slopes": Model(
        "y", (("site",), ("x",)), (*PLAIN.random, RandomTerm(("line", "x"))), GRID, numeric=("x",)
    ),
    "correlated, twins": Model("y", PLAIN.fixed, (RandomTerm(("line",), TWINS),), replace(GRID, nugget=True)),
    "correlated, a factor": Model("y", PLAIN.fixed, (FACTOR,), GRID),
}
SMOOTH = {
    "smooth in each site": replace(PLAIN, surfaces=(BENT,)),
    "smooth over all sites": replace(PLAIN, surfaces=(Surface(("row", "col"), (4, 5)),)),
    "smooth, weighted": replace(PLAIN, surfaces=(BENT,), weights="w"),
    "smooth along both axes": replace(
        PLAIN, surfaces=(Surface(("col",), (6,), within="site"), Surface(("row",), (4,), within="site"))
    ),
    "smooth, kin": Model("y", PLAIN.fixed, (RandomTerm(("line",), kin(1)),), surfaces=(BENT,)),
}
FACTORS = {
    "a factor": Model("y", PLAIN.fixed, (FACTOR,), Residual("site")),
    "a factor, kin": Model("y", PLAIN.fixed, (replace(FACTOR, relationship=kin(2)),)),
    "a factor, twins": Model("y", PLAIN.fixed, (replace(FACTOR, relationship=TWINS),)),
    "a factor, sources": Model("y", PLAIN.fixed, (replace(FACTOR, relationship=sources(5)),)),
    "sources": Model("y", PLAIN.fixed, (RandomTerm(("line",), sources(3)), RandomTerm(("site", "block")))),
    "sources by site": Model("y", PLAIN.fixed, (RandomTerm(("line", "site"), sources(4), "site"),), Residual("site")),
    "twins, weighted": Model(
        "y", PLAIN.fixed, (RandomTerm(("line",), TWINS), RandomTerm(("site", "block"))), Residual("site"), weights="w"
    ),
}
