"""How far would plants that follow another published scale of heat units be from where this scale puts them?

No scale is the plants' own clock. Where two scales disagree about a season, the disagreement is a hint: if past seasons
lay off in this scale by what the other scale says, the season that runs will too. The forecast learns how much of the
hint to believe.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def find_clock_shifts(
    season: tuple[FloatArray, FloatArray],
    normal: tuple[FloatArray, FloatArray],
    sown: Sequence[int] | NDArray[np.intp],
    units: FloatArray,
    usually_sown: int | None = None,
) -> FloatArray:
    """By how many units more than usual rows would need if they followed the other scale.

    Parameters
    ----------
    season
        Daily units of the season in this scale and in the other one, each (days,).
    normal
        The same of a normal year, from the same calendar day on, each (days,).
    sown
        Day of sowing of each row (rows,), counted from the first day.
    units
        Units to flowering of each row in this scale (rows,).
    usually_sown
        Day of sowing for which `units` hold in a normal year; each row's own if None. A row sown later than that starts
        in warmer days, on which scales agree less.

    Returns
    -------
    FloatArray
        Units in this scale at the day on which the other scale reaches what it usually has when this one reaches
        `units`, less `units` (rows,); 0 where the days do not suffice.

    Notes
    -----
    Unchecked from outside: the hint is ours. It is 0 where both scales are proportional, and where the season is the
    normal one and sowing the usual (``tests/science/test_other_clock.py``).
    """
    sown = np.asarray(sown, dtype=np.intp)
    usual = [np.concatenate([[0.0], np.cumsum(each)]) for each in normal]
    here = [np.concatenate([[0.0], np.cumsum(each)]) for each in season]
    start = sown + 1
    told = start if usually_sown is None else usually_sown + 1
    when = _find_place(usual[0], usual[0][told] + units)
    other = _value_at(usual[1], when) - usual[1][told]
    place = _find_place(here[1], here[1][start] + other)
    found = _value_at(here[0], place) - here[0][start] - units
    return np.where(np.isnan(found), 0.0, found)


def _find_place(running: FloatArray, wanted: FloatArray) -> FloatArray:
    """The place, between days, at which a running total is reached; NaN if it is not."""
    # A cold day adds nothing; a hair for each day keeps the total rising, so that a place is found.
    rising = running + np.arange(len(running)) * 1e-9
    return np.asarray(np.interp(wanted, rising, np.arange(len(running)), right=np.nan))


def _value_at(running: FloatArray, place: FloatArray) -> FloatArray:
    return np.asarray(np.interp(place, np.arange(len(running)), running))
