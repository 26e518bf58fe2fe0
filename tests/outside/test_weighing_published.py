"""Is the thousand-seed weight that of a published worked example?

Eight replicates of 100 seeds, from a tutorial for registered seed analysts (rules of AOSA): 1000-seed weight 2.1326 g,
variance 1.84570e-5, standard deviation 0.0042962, coefficient of variation 2.0145 %.
"""

from __future__ import annotations

import pytest

from firstsilk.science.seed.weighing import weigh_kernels

REPLICATES_G = (0.2224, 0.2134, 0.2130, 0.2116, 0.2145, 0.2071, 0.2116, 0.2125)


def test_thousand_seed_weight_and_spread_are_as_printed():
    found = weigh_kernels(100.0, REPLICATES_G, 100)
    assert found.thousand_g == pytest.approx(2.1326, abs=5e-5)
    assert found.spread_percent == pytest.approx(2.0145, abs=5e-5)
    mean = found.kernel_weight_mg / 10
    assert found.spread_percent / 100 * mean == pytest.approx(0.0042962, abs=5e-8)
