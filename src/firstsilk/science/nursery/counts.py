"""How many rows and kernels do so many pollinations and plants need? Published means of success and set.

How many pollinations are needed is counted in `science.seed.pollinations`.
"""

from __future__ import annotations

import math

SUCCESS_FRAC = 0.676
"""Good ears per pollination, mean of 10,037 attempts; lines ranged 0.34-0.83. Thayer & Down 1942 (abstract)."""
KERNELS_PER_EAR = 146.5
"""Kernels per good ear, mean; lines ranged 44-298. Thayer & Down 1942 (abstract)."""
PLANTS_PER_ROW = 18
"""Plants in a 4 m row: common practice 16-20, no source."""
USABLE_FRAC = 0.5
"""Share of a row's plants that flower on usable days: common practice 50-70 %, 30-40 % for earliness; no source."""
GERMINATION_FRAC = 0.9
"""One-year seed; 0.8 for two-year. Stanford 1988, Illustrated guide on how to work with corn."""
OVERPLANT_FRAC = 0.2
"""Seed sown beyond the plants wanted; 0.5 for testers. Stanford 1988."""
OVERPLANT_TESTER_FRAC = 0.5
"""As above, for testers and other males that must not fail. Stanford 1988."""


def count_rows(pollinations: int, plants_per_row: int = PLANTS_PER_ROW, usable_frac: float = USABLE_FRAC) -> int:
    """Rows needed so that enough plants flower on usable days, one ear a plant."""
    if plants_per_row < 1 or not 0 < usable_frac <= 1:
        raise ValueError("plants_per_row >= 1 and 0 < usable_frac <= 1 are needed")
    return max(1, math.ceil(pollinations / (plants_per_row * usable_frac) - 1e-9))


def count_kernels(
    plants: int, germination_frac: float = GERMINATION_FRAC, overplant_frac: float = OVERPLANT_FRAC
) -> int:
    """Kernels to sow for so many plants: plants / germination, and a margin for thinning, rounded up.

    Notes
    -----
    kernels = ceil(plants / germination_frac x (1 + overplant_frac)). Stanford 1988; trade practice.
    """
    if not 0 < germination_frac <= 1 or overplant_frac < 0:
        raise ValueError("0 < germination_frac <= 1 and overplant_frac >= 0 are needed")
    return math.ceil(plants / germination_frac * (1 + overplant_frac) - 1e-9)
