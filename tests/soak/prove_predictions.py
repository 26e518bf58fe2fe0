"""Do intervals of predictive ability hold what untested sisters show in 87 of 100 families or more, without bias?

Run by ``make soak``; prints the table of docs/markers.md.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.soak.judge_predictions import KINDS, judge, share_held, tell

RUNS = 100


@pytest.mark.parametrize("kind", KINDS, ids=str)
def test_ability_told_is_that_of_untested_sisters(kind, capsys):
    told = judge(kind, RUNS)
    with capsys.disabled():
        print("\n" + tell(kind, told), flush=True)
    assert share_held(told) >= 0.87
    assert np.mean([one.ability - one.truth for one in told]) == pytest.approx(0.0, abs=0.08)
