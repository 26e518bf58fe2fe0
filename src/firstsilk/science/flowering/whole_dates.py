"""Which whole dates stand for 10, 50 and 90 % of a forecast?

A plant flowers on a day, not at an instant, so no two dates cut off exactly a tenth on either side. The dates given
are those that come nearest: the chance of flowering before the first is as near as can be to a tenth, and so is the
chance of flowering after the last; the span with both its ends then holds four fifths as nearly as whole days allow.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def find_whole_dates(days: NDArray[np.floating], outer: float = 0.1) -> NDArray[np.float64]:
    """Low, middle and high date of draws of a day.

    Parameters
    ----------
    days
        Whole days of each draw (rows, draws); NaN where never.
    outer
        Chance wanted before the low date and after the high one.

    Returns
    -------
    NDArray
        (rows, 3): the day before which the chance is nearest to `outer`, the median day (the first by which half have
        come), the day after which the chance is nearest to `outer`. NaN where that share never comes.

    Notes
    -----
    Ties go to the wider span. Unchecked from outside: the rule is ours; its coverage is measured in
    ``tests/science/test_whole_dates.py``.
    """
    ordered = np.sort(np.where(np.isnan(days), np.inf, days), axis=1)
    n = ordered.shape[1]
    low = ordered[:, min(int(np.floor(outer * n)), n - 1)]
    before, by = _share_below(ordered, low), _share_up_to(ordered, low)
    low = np.where(by - outer < outer - before - 1e-12, low + 1.0, low)
    middle = ordered[:, int(np.ceil(0.5 * n)) - 1]
    high = ordered[:, int(np.ceil((1.0 - outer) * n - 1e-9)) - 1]
    by, earlier = _share_up_to(ordered, high), _share_below(ordered, high)
    high = np.where((1.0 - outer) - earlier < by - (1.0 - outer) - 1e-12, high - 1.0, high)
    found = np.stack([low, np.maximum(middle, low), np.maximum(high, low)], axis=1)
    return np.where(np.isinf(found), np.nan, found)


def _share_below(ordered: NDArray[np.float64], day: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(np.mean(ordered < day[:, None], axis=1))


def _share_up_to(ordered: NDArray[np.float64], day: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(np.mean(ordered <= day[:, None], axis=1))
