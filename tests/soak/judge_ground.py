"""How well are entries told with the ground taken out: by blocks, rows and columns, with a surface always, or as we do?

Planted trials of 41 entries in two replicates on ten columns: entries with a standard deviation of 550, plots of 780,
replicates of 300; no ground, waves that rows and columns add up to, and waves that run across both.

    python -m tests.soak.judge_ground [trials]
"""

from __future__ import annotations

import sys
from collections.abc import Callable

import firstsilk  # noqa: F401 - first of all, so that it asks for one thread before numpy is loaded

# isort: split
import numpy as np

from firstsilk.work.analysis import ground as room
from firstsilk.work.analysis.ground import find_ground

ENTRIES, COLUMNS, FIRST_SEED = 41, 10, 5_000
WAYS = ("rows and columns", "surface always", "as found")


def plant(seed: int, size: float, across: bool) -> tuple[list, np.ndarray]:
    """One trial: the columns that `find_ground` takes, and the entries' true values in text order."""
    dice = np.random.default_rng(seed)
    worth, turn = dice.normal(0, 550, ENTRIES), dice.uniform(0, 2 * np.pi, 2)
    columns: list[list] = [[], [], [], [], []]
    for rep in range(2):
        block = dice.normal(0, 300)
        for entry in dice.permutation(ENTRIES):
            at = len(columns[0])
            row, col = at // COLUMNS + 1, at % COLUMNS + 1
            waves = np.sin((row + col) / 2.2 + turn[0]) * np.sqrt(2) if across else sum(
                np.sin(place / 2.4 + start) for place, start in zip((row, col), turn, strict=True)
            )  # fmt: skip
            value = 8000 + worth[entry] + block + size * waves + dice.normal(0, 780)
            for column, told in zip(columns, (value, f"E{entry:02d}", str(rep), row, col), strict=True):
                column.append(told)
    return columns, worth


def judge(trials: int, size: float, across: bool) -> None:
    """Mean square error of entry means, and the variance told, for each way; how often a surface was laid."""
    choose, laid = room._choose_model, 0
    found: dict[str, list[tuple[float, float]]] = {way: [] for way in WAYS}
    for seed in range(FIRST_SEED, FIRST_SEED + trials):
        columns, worth = plant(seed, size, across)
        for way in WAYS:
            room._choose_model = choose if way == "as found" else _always(way == "surface always")
            split = find_ground(*columns, entries_fixed=True)
            off = np.array([one.value for one in split.means]) - worth
            found[way].append((float(np.var(off, ddof=1)), split.mean_variance or 0.0))
            laid += way == "as found" and "smooth" in split.model
    room._choose_model = choose
    kind = "across" if across else "rows and columns"
    for way in WAYS:
        off, told = np.mean(found[way], axis=0)
        print(f"ground {size:4.0f} ({kind:16}) {way:17} error {off:8.0f}, told {told:8.0f}", flush=True)
    print(f"   a surface was laid in {laid} of {trials}", flush=True)


def _always(with_surface: bool) -> Callable:
    def choose(data: dict, placed: bool, entries_fixed: bool, said: list) -> tuple:
        plain, surfaced = room._list_models(data, placed)
        return room._fit_first(data, surfaced[1:] if with_surface else plain, entries_fixed, said)

    return choose


if __name__ == "__main__":
    n = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    for size, across in ((0.0, False), (300.0, False), (300.0, True), (600.0, True)):
        judge(n, size, across)
