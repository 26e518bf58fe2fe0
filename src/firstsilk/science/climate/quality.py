"""Can these days be believed: does one stand out, does a sensor stand still, was a block copied, is the unit another?

Values in, doubts out; nothing is changed. What cannot be at all (a minimum above its maximum, a temperature that nobody
ever measured) is told by `firstsilk.science.climate.weather.check_days`; here is what can be but hardly is. Thresholds
follow the site's own day-to-day spread and the fineness of its readings, so that clean weather is seldom doubted.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from firstsilk.science.climate.doubts import (
    USUAL_STEP_C,
    BoolArray,
    Doubt,
    Series,
    measure_fineness,
    measure_steps,
)
from firstsilk.science.climate.levels import find_date_shift, find_other_units, find_turned_season

SPIKE_SPREADS = 3.0
"""A day is a spike if it is further than so many day-to-day spreads from both its neighbours, on the same side. Our own
choice, set by the false alarms over invented years (`docs/weather-in.md`)."""
SPIKE_EDGE_SPREADS = 4.5
"""The same for a day with one neighbour only. Our own choice."""
ONCE_IN_DAYS = 36525.0
"""A run or a repetition is doubted if chance brings it less than once in so many days, a hundred years. Our choice."""
LEAST_STUCK_DAYS = 4
LEAST_BLOCK_DAYS = 3


def check_quality(series: Series, judged: BoolArray, latitude: float | None = None) -> tuple[Doubt, ...]:
    """Everything that is hard to believe about the judged days.

    Parameters
    ----------
    series
        Days in order: those judged, and the site's own before and after them, which make the judgement sharper.
    judged
        Which days are judged (days,).
    latitude
        Of the site [°], south negative; None if not known.

    Returns
    -------
    tuple of Doubt
        In order of their first day, held to the judged days. A block that stands in days not judged and in judged ones
        is told at the judged ones.

    Notes
    -----
    Clean weather of the invented valley is doubted about once in 26 years of a site, nearly always for a spike; what is
    found of planted faults stands in ``docs/weather-in.md``.

    Checked by ``tests/science/test_quality.py``, ``tests/properties/test_quality_laws.py``.
    """
    if not judged.any():
        return ()
    found = find_spikes(series) + find_stuck(series) + find_copies(series)
    turned = find_turned_season(series, latitude)
    # The wrong half of the year is no unit: then latitude tells nothing of the level.
    found += find_other_units(series, None if turned else latitude)
    found += find_date_shift(series, judged) or turned
    held = (_hold_to(one, judged) for one in found)
    return tuple(sorted((one for one in held if one is not None), key=lambda one: (one.first, one.last)))


def _hold_to(doubt: Doubt, judged: BoolArray) -> Doubt | None:
    """The doubt about the judged days of its span; None if there are none."""
    places = np.flatnonzero(judged[doubt.first : doubt.last + 1]) + doubt.first
    if len(places):
        return replace(doubt, first=int(places[0]), last=int(places[-1]))
    if (
        doubt.kind == "repeated_block"
        and doubt.like is not None
        and judged[doubt.like : doubt.like + doubt.n_places].any()
    ):
        return replace(doubt, first=doubt.like, last=doubt.like + doubt.n_places - 1, like=doubt.first)
    return None


def find_spikes(series: Series) -> list[Doubt]:
    """Days whose minimum or maximum lies far from both neighbours on the same side; at an edge, from the one there is.

    Notes
    -----
    Limits: `SPIKE_SPREADS` and `SPIKE_EDGE_SPREADS` day-to-day spreads of the site. Of two neighbours that both stand
    out, as beside a spike at an edge, the farther is told.

    Checked by ``tests/science/test_quality.py`` and ``tests/properties/test_quality_laws.py``.
    """
    n = len(series.serial)
    if n < 2:
        return []
    step = np.where(series.follows[:, None], np.diff(series.temps, axis=0), np.nan)
    none = np.full((1, 2), np.nan)
    back, ahead = np.vstack([none, step]), -np.vstack([step, none])
    spread = measure_steps(series)
    both = np.where(back * ahead > 0, np.minimum(np.abs(back), np.abs(ahead)), 0.0)
    edge = np.isnan(back) ^ np.isnan(ahead)
    single = np.where(edge, np.where(np.isnan(back), np.abs(ahead), np.abs(back)), 0.0)
    score = np.maximum(np.nan_to_num(both) / SPIKE_SPREADS, single / SPIKE_EDGE_SPREADS) / spread
    beside = np.maximum(np.vstack([score[1:], np.zeros((1, 2))]), np.vstack([np.zeros((1, 2)), score[:-1]]))
    odd = (score > 1.0) & (score >= beside)
    return [
        Doubt("spike", at, at, ("tmin", "tmax")[side], float(series.temps[at, side]), _beside(series, at, side))
        for at, side in np.argwhere(odd).tolist()
    ]


def _beside(series: Series, at: int, side: int) -> float:
    near = [series.temps[one, side] for one in (at - 1, at + 1) if 0 <= one < len(series.serial)]
    return float(np.nanmean(near))


def count_stuck_days(fineness_c: float, step_c: float, columns: int = 1) -> int:
    """Days with the same value that chance brings less than once in a hundred years.

    Parameters
    ----------
    fineness_c
        How finely readings are told [°C].
    step_c
        Day-to-day spread [°C].
    columns
        How many columns stand still together.

    Notes
    -----
    Two days are the same with chance p = fineness / (step sqrt(2 pi)), a normal step rounded; a run of k days has
    chance p^(k - 1). At 0.1 °C and 2.5 °C four days, at whole degrees seven.

    Checked by ``tests/science/test_quality.py``.
    """
    same = min(0.5, fineness_c / (step_c * np.sqrt(2.0 * np.pi)))
    days = 1 + int(np.ceil(np.log(ONCE_IN_DAYS) / (-columns * np.log(same))))
    return max(days, LEAST_STUCK_DAYS if columns == 1 else LEAST_BLOCK_DAYS)


def find_stuck(series: Series) -> list[Doubt]:
    """Runs of days with the same minimum or the same maximum, longer than chance brings (`count_stuck_days`).

    Checked by ``tests/science/test_quality.py`` and ``tests/properties/test_quality_laws.py``.
    """
    spread = measure_steps(series)
    found: list[Doubt] = []
    for side, column in ((0, "tmin"), (1, "tmax")):
        values = series.temps[:, side]
        fineness = measure_fineness(values)
        for first, last in _runs((np.diff(values) == 0) & series.follows):
            if last - first + 1 >= count_stuck_days(fineness, float(spread[first, side])):
                found.append(Doubt("stuck", first, last, column, float(values[first])))  # type: ignore[arg-type]
    return found


def _runs(same: BoolArray) -> Iterator[tuple[int, int]]:
    """First and last place of each run of places joined to the next by a True."""
    edges = np.diff(np.concatenate([[0], same.astype(np.int8), [0]]))
    yield from zip(np.flatnonzero(edges == 1).tolist(), np.flatnonzero(edges == -1).tolist(), strict=True)


def find_copies(series: Series) -> list[Doubt]:
    """Blocks of days that stand in the series twice, and single days copied onto the next.

    Notes
    -----
    A block is as long as chance would repeat less than once in a hundred among all pairs of days, from the fineness of
    the readings; at least `LEAST_BLOCK_DAYS`. It is told at its later place. A single copied day is told where its rain
    is above 0 and the same too: temperatures alone repeat by chance.

    Checked by ``tests/science/test_quality.py`` and ``tests/properties/test_quality_laws.py``.
    """
    n = len(series.serial)
    length = _block_length(series)
    found = _copied_days(series)
    if n < 2 * length:
        return found
    tenths = np.round(series.temps * 100.0)
    code = np.where(np.isnan(tenths).any(axis=1), np.nan, tenths[:, 0] * 100003.0 + tenths[:, 1])
    windows = np.lib.stride_tricks.sliding_window_view(code, length)
    whole = (series.serial[length - 1 :] - series.serial[: n - length + 1] == length - 1) & ~np.isnan(windows).any(1)
    # A block that stands still in itself is stuck, not copied.
    whole &= (windows != windows[:, :1]).any(axis=1)
    starts = np.flatnonzero(whole)
    if len(starts) < 2:
        return found
    _, first, inverse = np.unique(windows[starts], axis=0, return_index=True, return_inverse=True)
    earlier = starts[first[inverse.ravel()]]
    again = (starts - earlier) >= length
    return found + _join_blocks(starts[again], earlier[again], length)


def _block_length(series: Series) -> int:
    spread = np.median(measure_steps(series), axis=0) if len(series.serial) else np.full(2, USUAL_STEP_C)
    fine = np.array([measure_fineness(series.temps[:, side]) for side in (0, 1)])
    step = float(np.prod(np.minimum(0.5, fine / (2.0 * np.sqrt(np.pi) * spread))))
    pairs = max(len(series.serial), 2) ** 2 / 2.0
    return max(LEAST_BLOCK_DAYS, 1 + int(np.ceil((np.log(pairs) + np.log(100.0)) / -np.log(step))))


def _copied_days(series: Series) -> list[Doubt]:
    same = (np.diff(series.temps, axis=0) == 0).all(axis=1) & series.follows
    same &= (np.diff(series.rain) == 0) & (series.rain[1:] > 0)
    return [
        Doubt("copied_day", at + 1, at + 1, value=float(series.temps[at + 1, 0]), like=at)
        for at in np.flatnonzero(same).tolist()
    ]


def _join_blocks(starts: NDArray[np.int64], earlier: NDArray[np.int64], length: int) -> list[Doubt]:
    """Windows that go on with the same distance to their first place are one block."""
    blocks: list[tuple[int, int, int]] = []
    for start, like in zip(starts.tolist(), earlier.tolist(), strict=True):
        first, last, of = blocks[-1] if blocks else (start, start, -1)
        if of >= 0 and start <= last + 1 and first - of == start - like:
            blocks[-1] = (first, start + length - 1, of)
        else:
            blocks.append((start, start + length - 1, like))
    return [Doubt("repeated_block", first, last, like=of) for first, last, of in blocks]
