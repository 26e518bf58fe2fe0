"""In trials of six kinds with known truth: do intervals of 95 % hold the true difference 93 to 97 times in 100?

Run by ``make soak``; prints the table of docs/mixed-models.md. Asked of a difference named beforehand, by predictions
and by means, and of the best entry, by predictions: less the check and less the mean of all.
"""

from __future__ import annotations

import pytest

from tests.soak.judge_intervals import DESIGNS, RUNS, judge_design, tell

LEAST_HELD, MOST_HELD = 0.93, 0.97
ASKED = ("pair", "best - check", "best - mean", "means, pair")
SEED = 2026
MISSED = {"10 entries, 2 places x 3": ["pair"]}
"""What is known to miss: with two places the interval of a prediction is a little too wide (97.2 % hold)."""


@pytest.mark.parametrize("design", DESIGNS, ids=lambda design: design.name)
def test_intervals_hold_the_truth(design, capsys):
    judged = judge_design(design, RUNS, SEED)
    with capsys.disabled():
        print("\n" + tell(design, judged), flush=True)
    faults = [what for what in ASKED if not LEAST_HELD <= judged.held[what] <= MOST_HELD]
    told = ", ".join(f"{what}: {judged.held[what]:.1%}" for what in faults)
    assert faults == MISSED.get(design.name, []), told
