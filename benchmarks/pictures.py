"""How long does each picture of an analysis take, and how large is it? Seconds of the processor, one core.

Fields of 100, 1,000 and 3,000 plots; a series of 50 entries at 8 sites.

    python benchmarks/pictures.py
"""

from __future__ import annotations

import time
from collections.abc import Callable

import firstsilk  # noqa: F401 - first of all, so that it asks for one thread before numpy is loaded

# isort: split
import numpy as np

from firstsilk.faces.pictures.field import FieldCell, picture_field
from firstsilk.faces.pictures.intervals import EntryInterval, picture_intervals
from firstsilk.faces.pictures.lags import picture_lags
from firstsilk.faces.pictures.look import Spec, draw_svg
from firstsilk.faces.pictures.places import picture_best_places
from firstsilk.faces.pictures.responses import picture_interaction, picture_lines
from firstsilk.science.analysis.axes import find_ammi_axes
from firstsilk.science.analysis.best_places import find_best_places
from firstsilk.science.analysis.lags import correlate_lags
from firstsilk.science.analysis.stability import describe_stability
from firstsilk.science.analysis.two_way import lay_out_two_way
from firstsilk.work.analysis.ground import find_ground

ENTRIES, SITES = 50, 8


def measure(name: str, what: Callable[[], object]) -> object:
    """Run once, say the processor's seconds."""
    begin = time.process_time()
    answer = what()
    print(f"{name:<42} {time.process_time() - begin:7.2f} s", end="")
    print(f"  {len(answer) / 1024:6.0f} kB" if isinstance(answer, str) else "")
    return answer


def draw(name: str, picture: Callable[[], Spec]) -> None:
    """Make a specification and draw it."""
    measure(name, lambda: draw_svg(picture()))


def time_field(n: int) -> None:
    """Ground, lags and pictures of one field in two replicates."""
    dice, across = np.random.default_rng(n), 10 if n <= 100 else 50
    rows, cols = [at // across + 1 for at in range(n)], [at % across + 1 for at in range(n)]
    entries = [f"E{at:04d}" for _ in range(2) for at in dice.permutation(n // 2)]
    values = [8000 + 900 * np.sin((r + c) / 3) + dice.normal(0, 400) for r, c in zip(rows, cols, strict=True)]
    replicates = [str(2 * at // n) for at in range(n)]
    # The ground runs across rows and columns, so that a surface is laid.
    split = measure(f"field of {n} plots: ground", lambda: find_ground(values, entries, replicates, rows, cols))
    print(f"    {split.model}")
    cells = [
        FieldCell(at + 1, rows[at], cols[at], entries[at], at % 20 == 0, values[at], split.ground[at], split.left[at])
        for at in range(n)
    ]
    draw(f"field of {n} plots: one view", lambda: picture_field(cells, "left", "kg/ha"))
    lags = measure(f"field of {n} plots: lags", lambda: correlate_lags(rows, cols, split.left))
    draw(f"field of {n} plots: lag map", lambda: picture_lags(lags))


def time_series() -> None:
    """The pictures of a series."""
    dice = np.random.default_rng(1)
    means = (
        8000 + dice.normal(0, 400, (ENTRIES, 1)) + dice.normal(0, 800, SITES) + dice.normal(0, 300, (ENTRIES, SITES))
    )
    cells = [(f"E{i:02d}", f"site {j}", means[i, j]) for i in range(ENTRIES) for j in range(SITES)]
    table = lay_out_two_way(*zip(*cells, strict=True))
    rows = [
        EntryInterval(f"E{k:02d}", k % 9 == 0, 9000 - k, 8500 - k, 9500 - k, -k, -k - 400, 400 - k) for k in range(50)
    ]
    draw("50 entries with intervals", lambda: picture_intervals(rows, "kg/ha", "the checks"))
    found = measure("best places of 50 x 8, 2,000 draws", lambda: find_best_places(table, dice, 40000.0))
    draw("best places", lambda: picture_best_places(found))
    draw("lines", lambda: picture_lines(table, describe_stability(table), "kg/ha"))
    draw("interaction", lambda: picture_interaction(table, find_ammi_axes(table), "kg/ha"))


if __name__ == "__main__":
    draw("the first drawing of a process", lambda: {"mark": "point", "data": {"values": [{"a": 1}]}})
    for size in (100, 100, 1_000, 3_000):
        time_field(size)
    time_series()
