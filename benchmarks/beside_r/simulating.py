"""Which records do both programs fit? Invented trials from fixed seeds, written once to a file that both read.

Numbers are rounded to six decimals, so that every reader takes the same number from the text.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np

Data = dict[str, list[object]]
ENTRIES_OF_FIRST_YEAR = 20_000
SITES_OF_FIRST_YEAR = 10
BLOCKS_OF_FIRST_YEAR = 300


def lay_series(lines: int, sites: int, block: int) -> Data:
    """A series of trials: two replicates at each site, in blocks of so many plots."""
    dice = np.random.default_rng(1)
    line, within = dice.normal(0, 1, lines), dice.normal(0, 0.7, (lines, sites))
    data: Data = {"y": [], "line": [], "site": [], "rep": [], "block": []}
    for j in range(sites):
        site = dice.normal(10, 2)
        for rep in range(2):
            shift, blocks = dice.normal(0, 0.3), dice.normal(0, 0.5, lines // block)
            at, order = np.arange(lines) // block, dice.permutation(lines)
            error = dice.normal(0, 0.8 + 0.05 * j, lines)
            data["y"] += np.round(site + shift + blocks[at] + line[order] + within[order, j] + error, 6).tolist()
            data["line"] += [f"L{k:05d}" for k in order]
            data["site"] += [f"S{j}"] * lines
            data["rep"] += [f"S{j}R{rep}"] * lines
            data["block"] += [f"S{j}R{rep}B{b:03d}" for b in at]
    return data


def lay_first_year(
    lines: int = ENTRIES_OF_FIRST_YEAR, blocks: int = BLOCKS_OF_FIRST_YEAR, worth_of_lines: np.ndarray | None = None
) -> Data:
    """Many new lines, each once at 3 of 10 sites, and a plot of one of 6 checks in each block."""
    sites = SITES_OF_FIRST_YEAR
    dice = np.random.default_rng(2)
    line, checks = dice.normal(0, 1, lines), dice.normal(1, 0.5, 6)
    if worth_of_lines is not None:
        line = worth_of_lines
    grown = np.zeros((lines, sites), dtype=bool)
    for k in range(lines):
        grown[k, dice.choice(sites, 3, replace=False)] = True
    check_within = dice.normal(0, 0.7, (6, sites))
    data: Data = {"y": [], "line": [], "site": [], "block": [], "group": [], "tested": []}
    for j in range(sites):
        site, shift = dice.normal(10, 2), dice.normal(0, 0.5, blocks)
        inside = dice.permutation(np.flatnonzero(grown[:, j]))
        worth = line[inside] + dice.normal(0, 0.7, len(inside))
        at = np.arange(len(inside)) * blocks // len(inside)
        error = dice.normal(0, 0.8 + 0.05 * j, len(inside))
        kept, noise = dice.integers(0, 6, blocks), dice.normal(0, 0.8 + 0.05 * j, blocks)
        data["y"] += np.round(site + shift[at] + worth + error, 6).tolist()
        data["y"] += np.round(site + shift + checks[kept] + check_within[kept, j] + noise, 6).tolist()
        data["line"] += [f"L{k:05d}" for k in inside] + [f"C{k}" for k in kept]
        data["group"] += ["line"] * len(inside) + [f"C{k}" for k in kept]
        data["tested"] += [1.0] * len(inside) + [0.0] * blocks
        data["site"] += [f"S{j}"] * (len(inside) + blocks)
        data["block"] += [f"S{j}B{b:03d}" for b in at] + [f"S{j}B{b:03d}" for b in range(blocks)]
    return data


def lay_strip(plots: int) -> Data:
    """One long strip of plots, each line twice: neighbours correlated by 0.6, and an error of each plot."""
    dice = np.random.default_rng(3)
    line = dice.permutation(np.repeat(np.arange(plots // 2), 2))
    ground = _correlate(dice.normal(size=plots), 0.6)
    y = 10.0 + dice.normal(0, 1, plots // 2)[line] + ground + dice.normal(0, 0.7, plots)
    return {
        "y": np.round(y, 6).tolist(),
        "line": [f"L{k:05d}" for k in line],
        "strip": [1] * plots,
        "place": list(range(1, plots + 1)),
    }


def lay_ground(rows: int, columns: int, trend: bool) -> Data:
    """One field of rows and columns, each line twice, over a smooth trend or correlated ground (0.7 and 0.5)."""
    dice = np.random.default_rng(4)
    plots = rows * columns
    line = dice.permutation(np.repeat(np.arange(plots // 2), 2))
    row, column = (each.ravel() for each in np.meshgrid(np.arange(rows), np.arange(columns), indexing="ij"))
    if trend:
        ground = 2.0 * np.sin(3.0 * row / rows) * np.cos(4.0 * column / columns) + 1.5 * (column / columns) ** 2
    else:
        noise = _correlate(dice.normal(size=(rows, columns)), 0.7)
        ground = _correlate(noise.T, 0.5).T.ravel()
    y = 10.0 + dice.normal(0, 1, plots // 2)[line] + ground + dice.normal(0, 0.7, plots)
    return {
        "y": np.round(y, 6).tolist(),
        "line": [f"L{k:05d}" for k in line],
        "field_row": (row + 1).tolist(),
        "field_col": (column + 1).tolist(),
    }


def _correlate(noise: np.ndarray, share: float) -> np.ndarray:
    """First-order autoregressive along the first axis, of variance 1."""
    found = noise.copy()
    for at in range(1, len(noise)):
        found[at] = share * found[at - 1] + np.sqrt(1.0 - share**2) * noise[at]
    return found


def write_records(data: Data, path: Path) -> None:
    """Write columns to a file of comma-separated values."""
    with path.open("w", newline="", encoding="utf-8") as file:
        lines = csv.writer(file)
        lines.writerow(data)
        lines.writerows(zip(*data.values(), strict=True))


def read_records(path: Path, numbers: frozenset[str]) -> Data:
    """Read columns back: `numbers` as numbers, all others as text."""
    with path.open(newline="", encoding="utf-8") as file:
        lines = csv.reader(file)
        names = next(lines)
        columns = list(zip(*lines, strict=True))
    return {
        name: [float(value) for value in column] if name in numbers else list(column)
        for name, column in zip(names, columns, strict=True)
    }
