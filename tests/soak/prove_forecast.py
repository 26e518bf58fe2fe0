"""In each frozen world, over two hundred seasons: do spans hold four fifths, and is half the gap to the oracle closed?

Run by ``make soak``; prints the table of docs/figures.md. What is asked: ten days ahead, spans of 80 % hold 75 to 85 %
of the rows, and the forecast takes away at least half of what a plain heat-unit sum misses more than an oracle that
knows each line's true units. The constants were set on other seasons of the same worlds.
"""

from __future__ import annotations

import numpy as np
import pytest

from firstsilk.invented.flowering_worlds import WORLDS, simulate_season
from tests.soak.judge_forecast import Judged, join_judged, judge_season

SEEDS = (*range(1001, 1101), *range(2001, 2101))
"""Two hundreds of seasons. No constant was set on either; the second was first looked at after the last change. One
hundred alone leaves the share held unsure by two and a half per cent where seasons scatter most."""
LEAST_HELD, MOST_HELD = 0.75, 0.85
LEAST_CLOSED = 0.5


def _tell(world: str, organ: str, judged: Judged, seasons: np.ndarray) -> str:
    ours, plain, oracle = (judged.miss(each) for each in (judged.found[:, 1], judged.plain, judged.oracle))
    width = float(np.mean(judged.found[:, 2] - judged.found[:, 0])) + 1.0
    bias = float(np.mean(judged.found[:, 1] - judged.truth))
    held = f"{judged.coverage:.1%} ± {seasons.std(ddof=1) / len(seasons) ** 0.5:.1%}"
    return (
        f"| {world} | {organ} | {held} | {width:.1f} | {bias:+.2f} | {ours:.2f} | {plain:.2f} | {oracle:.2f} "
        f"| {judged.gap_closed:.2f} |"
    )


@pytest.mark.parametrize("world", WORLDS, ids=lambda world: world.name)
def test_spans_hold_four_fifths_and_half_the_gap_is_closed(world, capsys):
    seasons = [judge_season(simulate_season(world, seed)) for seed in SEEDS]
    faults = []
    for organ, parts in zip(("silk", "shed"), zip(*seasons, strict=True), strict=True):
        judged = join_judged(parts)
        with capsys.disabled():
            print("\n" + _tell(world.name, organ, judged, np.array([one.coverage for one in parts])), flush=True)
        if not LEAST_HELD <= judged.coverage <= MOST_HELD:
            faults.append(f"{organ}: spans hold {judged.coverage:.1%}")
        if not judged.gap_closed >= LEAST_CLOSED:
            faults.append(f"{organ}: {judged.gap_closed:.2f} of the gap is closed")
    assert not faults
