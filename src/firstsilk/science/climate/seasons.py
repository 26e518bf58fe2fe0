"""On which day does the counting of heat units start, and on which does it stop?

Rules published for Ontario, old and new. Indices are 0-based positions in the arrays handed in.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np
from numpy.typing import ArrayLike

OLD_START_MEAN_C = 12.8
"""Daily mean to be exceeded on three days running, Ontario before 2009. Morris & Stewart, Recent changes to the Crop
Heat Units System. (Since 2009 the count starts on 1 May everywhere; AAFC's layers start on 1 April, Saskatchewan's
on 15 May.)"""
END_MEAN_C = 12.0
"""Long-term mean below which the season ends, Ontario since 2009. Ontario Corn Committee, corn heat unit map."""
END_FROST_C = -2.0
"""Frost that ends the season. Ontario Corn Committee; OMAFRA 2025. (Saskatchewan: -3 °C.)"""


def find_old_ontario_start(mean_c: ArrayLike) -> int | None:
    """Find the third of three days running whose mean is above 12.8 °C.

    Parameters
    ----------
    mean_c
        Daily means [°C] (days,), in order, no gaps.

    Returns
    -------
    int or None
        0-based position of the start day; None if the rule is never met.

    References
    ----------
    Morris D., Stewart G., Recent changes to the Crop Heat Units System.

    Checked by ``tests/outside/test_agronomy.py`` (chu_start_old_rule).
    """
    warm = np.asarray(mean_c, dtype=np.float64) > OLD_START_MEAN_C
    runs = warm[2:] & warm[1:-1] & warm[:-2]
    return int(np.argmax(runs)) + 2 if runs.any() else None


def find_ontario_end(
    days: Sequence[date], tmin_c: ArrayLike, mean_falls: date | None, frost_c: float = END_FROST_C
) -> date | None:
    """Find the end of the season: the long-term date, or the first frost of this autumn if that is earlier.

    Parameters
    ----------
    days
        The days looked at (days,), in order, from summer on.
    tmin_c
        Their minima [°C] (days,).
    mean_falls
        The day on which the long-term daily mean falls below 12 °C; None if not known.
    frost_c
        A minimum at or below this ends the season.

    Returns
    -------
    date or None
        The ending day (itself not counted, our choice: the source does not say); None if neither happens.

    References
    ----------
    Ontario Corn Committee, Heat Units Available for Corn Production in Ontario.

    Checked by ``tests/outside/test_agronomy.py`` (season_end_ontario).
    """
    frosty = np.asarray(tmin_c, dtype=np.float64) <= frost_c
    frost = days[int(np.argmax(frosty))] if frosty.any() else None
    return min((day for day in (frost, mean_falls) if day is not None), default=None)
