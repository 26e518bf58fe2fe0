"""Is the selection for earliness that a cutoff makes the published intensity of truncation selection?

Falconer D. S. & Mackay T. F. C. 1996, Introduction to quantitative genetics, 4th edition, appendix table A: intensity
of selection i at the share p selected, in an infinite population.
"""

import numpy as np
import pytest
from scipy.special import ndtri

from firstsilk.science.flowering.cutoff import find_earlier_days

PUBLISHED = {0.01: 2.665, 0.05: 2.063, 0.10: 1.755, 0.20: 1.400, 0.30: 1.159, 0.40: 0.966, 0.50: 0.798}
"""Told to three decimals."""


@pytest.mark.parametrize(("share", "intensity"), PUBLISHED.items())
@pytest.mark.parametrize("sd", [1.0, 2.2])
def test_plants_of_one_row_up_to_a_day_are_earlier_by_the_published_intensity(share, intensity, sd):
    last = 10.0 + sd * ndtri(share) - 0.5
    (earlier,) = find_earlier_days(np.full((1, 3), 10.0), [5.0], [last], sd)
    assert earlier / sd == pytest.approx(intensity, abs=6e-4)
