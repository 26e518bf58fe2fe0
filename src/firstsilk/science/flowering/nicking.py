"""Do two parents flower together, and by how much must one be delayed?

The heat-unit rule is used everywhere and written out nowhere we could read: it stands here from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

SPIKELETS_PER_TASSEL = 1000
"""About. Nielsen, Tassel Emergence & Pollen Shed, Purdue."""
FLORETS_PER_SPIKELET = 2
"""Nielsen, Tassel Emergence & Pollen Shed, Purdue."""
ANTHERS_PER_FLORET = 3
"""Nielsen, Tassel Emergence & Pollen Shed, Purdue."""
SILK_DEAF_DAYS = 7.0
"""Pollinated this many days after emergence or later, silks set no kernels in the middle and base of the ear.
Bassetti & Westgate 1993, Crop Sci. 33:275-278. (Receptive 5-6 days: an industry study; to 10 days: Elmore 2011.)"""


@dataclass(frozen=True, slots=True)
class ClipDelay:
    """What clipping near the soil does: delay of shed and silk [days], loss of stand and yield [%]."""

    leaves: int
    shed_days: float
    silk_days: float
    stand_loss_pct: float
    yield_loss_pct: float


CLIP_DELAYS = (
    ClipDelay(4, 5.5, 5.5, 18.0, 11.0),
    ClipDelay(6, 7.6, 7.7, 44.0, 38.0),
    ClipDelay(8, 6.7, 7.1, 25.0, 46.0),
)
"""Means over 28 crosses of 8 inbreds. Synchronization of Flowering in Corn by Clipping Young Plants, Agron. J. 1974
(authors Cloninger, Zuber & Horrocks from memory)."""


def find_clip_delay(leaves: int) -> ClipDelay:
    """Find what clipping at 4, 6 or 8 leaves does.

    Raises
    ------
    KeyError
        If it was not tried at that leaf number.

    Checked by ``tests/outside/test_agronomy_words.py`` (clip_delay_days).
    """
    for delay in CLIP_DELAYS:
        if delay.leaves == leaves:
            return delay
    raise KeyError(f"clipping was tried at 4, 6 and 8 leaves, not at {leaves}")


def silk_shed_interval_days(days_to_silk: float, days_to_shed: float) -> float:
    """Give the anthesis-silking interval [days]: days to 50 % silk less days to 50 % shed; may be negative.

    References
    ----------
    Goodman M. et al. 1992, North Carolina maize trials.

    Checked by ``tests/outside/test_agronomy.py`` (asi_days).
    """
    return days_to_silk - days_to_shed


def male_delay_units(female_to_silk: float, male_to_shed: float, lead: float = 0.0) -> float:
    """Give by how many heat units the male's sowing must follow the female's.

    Parameters
    ----------
    female_to_silk, male_to_shed
        Heat units from sowing to half the plants in flower [one scale].
    lead
        Heat units by which shed should come before silk [same scale].

    Returns
    -------
    float
        Delay of the male [same scale]; negative means that the female is the one to wait.

    Notes
    -----
    From memory; no stored page writes it as a formula.

    Checked by ``tests/outside/test_agronomy_words.py`` (nick_delay_gdu), itself from memory.
    """
    return female_to_silk - male_to_shed - lead


def find_delayed_day(daily_units: ArrayLike, delay_units: float) -> int | None:
    """Find the day on which the second parent is sown: the first on which the running sum reaches the delay.

    Parameters
    ----------
    daily_units
        Heat units of each day after the first sowing (days,) [one scale].
    delay_units
        The delay [same scale].

    Returns
    -------
    int or None
        1-based day, 0 if no delay is wanted; None if the sum is not reached in the days given.

    Checked by ``tests/outside/test_agronomy_words.py`` (nick_delay_by_gdu), itself from memory.
    """
    if delay_units <= 0.0:
        return 0
    # A sum such as 0.1 + 0.2 must still reach 0.3.
    reached = np.cumsum(np.asarray(daily_units, dtype=np.float64)) >= delay_units * (1.0 - 1e-12)
    return int(np.argmax(reached)) + 1 if reached.any() else None


def sowing_shift_days(flowering_days: float, units_per_flowering_day: float, units_per_sowing_day: float) -> float:
    """Give the days by which sowing must move to move flowering by some days.

    Notes
    -----
    Spring days carry fewer units than summer days, so the two are not one for one. From memory.

    Checked by ``tests/outside/test_agronomy_words.py`` (nick_planting_days), itself from memory.
    """
    return flowering_days * units_per_flowering_day / units_per_sowing_day


def anthers_per_tassel(
    spikelets: int = SPIKELETS_PER_TASSEL,
    florets: int = FLORETS_PER_SPIKELET,
    anthers: int = ANTHERS_PER_FLORET,
) -> int:
    """Give the anthers of a tassel.

    Checked by ``tests/outside/test_agronomy.py`` (anthers_per_tassel).
    """
    return spikelets * florets * anthers


def pollen_per_silk(pollen_grains: float, silks: float) -> float:
    """Give the pollen grains for each silk.

    Checked by ``tests/outside/test_agronomy_words.py`` (pollen_per_silk).
    """
    return pollen_grains / silks


def silks_still_set(days_after_emergence: float) -> bool:
    """Say whether silks of this age still set kernels in the middle and base of the ear.

    Checked by ``tests/outside/test_agronomy_words.py`` (silk_receptive).
    """
    return days_after_emergence < SILK_DEAF_DAYS
