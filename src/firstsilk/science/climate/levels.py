"""Is a stretch of days at a level that its site and date cannot have: another unit, other dates, the other hemisphere?

The level is set against the site's own days if there are enough of them, and against a rough guess from latitude and
date, which knows no sea and no mountains and is used only for what is far off.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from firstsilk.science.climate.doubts import BoolArray, Doubt, DoubtKind, FloatArray, Series, measure_fineness
from firstsilk.science.climate.generated import YEAR_DAYS

LEAST_OWN_DAYS = 300
"""With so many days the site's own seasonal level is used. Our own choice."""
OWN_OFF_SPREADS, GUESS_OFF_SPREADS = 2.8, 3.0
"""A stretch is in another unit only if it lies so many spreads off as it is. Our own choices."""
FITS_SPREADS = 2.5
"""And if the other unit brings it this near. Our own choice."""
LEAST_GAIN = 18.0
"""Natural logarithm of how much likelier the other unit must be. Our own choice, by false alarms."""
LEAST_UNIT_DAYS = 3
JUMP_SHARE = 0.6
"""Where the stretch begins and ends within the days, the temperature must leap by this share of what the unit makes:
weather drifts, a unit does not. Looked for within two days. Our own choice."""
LONG_UNIT_DAYS = 12
"""So many days on end so far off are no weather: no leap is asked of them. Our own choice."""
GUESS_SPREAD_C = 7.0
"""Spread [°C] allowed around the level guessed from latitude. Our own choice."""
LEAST_SHIFT_DAYS, LEAST_SHIFT_SPAN = 30, 45
"""Shorter shifts, and files of fewer days, are not told from odd weather. Our own choices."""
SHIFT_RATIO = 2.0
"""The shift must bring the root mean square distance to the level down by this factor. Our own choice."""
SEASONLESS_LATITUDE = 15.0
LEAST_SEASON_DAYS = 30
TURNED_C = 3.0
"""A summer half colder than the winter half by more than this [°C] is turned. Our own choice."""


@dataclass(frozen=True, slots=True)
class _Unit:
    kind: DoubtKind
    read: Callable[[FloatArray], FloatArray]
    stretch: float


_UNITS = (
    _Unit("fahrenheit", lambda value: (value - 32.0) / 1.8, 1.8),
    _Unit("celsius", lambda value: value * 1.8 + 32.0, 1.0 / 1.8),
    _Unit("tenths", lambda value: value / 10.0, 10.0),
)
"""Another reading of the same figures, and by how much its days spread in them."""


def guess_level(latitude: float, day_of_year: FloatArray) -> FloatArray:
    """A rough mean temperature [°C] at sea level by latitude [°] and day of the year (days,). Our own guess.

    28 °C up to 15° of latitude and 0.6 °C less with each degree beyond; half a yearly range of 0.3 °C a degree.

    *Unchecked*: used only to doubt what is more than 20 °C off.
    """
    beyond = max(0.0, abs(latitude) - SEASONLESS_LATITUDE)
    turn = 0.0 if latitude >= 0 else YEAR_DAYS / 2.0
    wave = np.cos(2.0 * np.pi * (np.asarray(day_of_year, dtype=np.float64) - 200.0 - turn) / YEAR_DAYS)
    level: FloatArray = 28.0 - 0.6 * beyond + 0.3 * abs(latitude) * wave
    return level


def fit_level(series: Series) -> tuple[FloatArray, FloatArray] | None:
    """The site's own seasonal level and spread [°C], each (365, 2); None with fewer than `LEAST_OWN_DAYS` days.

    Notes
    -----
    Two waves a year, fitted in ten rounds in which far days count less (Tukey's biweight at 4.685 robust spreads), so
    that a spoiled month does not move the level. Months that are not there follow the waves: they are not judged.

    Checked by ``tests/science/test_quality.py``.
    """
    known = ~np.isnan(series.temps).any(axis=1)
    if known.sum() < LEAST_OWN_DAYS or len(np.unique(series.at[known] // 30)) < 6:
        return None
    design, temps = _design(series.at[known]), series.temps[known]
    weights = np.ones(len(temps))
    for _ in range(10):
        root = np.sqrt(weights)[:, None]
        solution = np.linalg.lstsq(design * root, temps * root, rcond=1e-8)[0]
        left = temps - design @ solution
        spread = np.maximum(1.4826 * np.median(np.abs(left), axis=0), 1.0)
        far = np.abs(left / (4.685 * spread)).max(axis=1)
        weights = np.where(far < 1.0, (1.0 - np.minimum(far, 1.0) ** 2) ** 2, 0.0) + 1e-9
    level: FloatArray = np.asarray(_design(np.arange(YEAR_DAYS)) @ solution, dtype=np.float64)
    wave = _design(series.at[known])[:, [0, 1, 3]]
    root = np.sqrt(weights)[:, None]
    sizes = np.linalg.lstsq(wave * root, np.abs(left) * root, rcond=1e-8)[0]
    # A normal deviate is 0.798 spreads in size, and about 0.755 where far ones count less.
    spreads = np.maximum(_design(np.arange(YEAR_DAYS))[:, [0, 1, 3]] @ sizes / 0.755, spread / 2.0)
    return level, np.asarray(spreads, dtype=np.float64)


def _design(at: np.ndarray[tuple[int], np.dtype[np.int64]]) -> FloatArray:
    turn = 2.0 * np.pi * at[:, None] / YEAR_DAYS * np.array([1.0, 2.0])
    return np.hstack([np.ones((len(at), 1)), np.cos(turn), np.sin(turn)])


def find_other_units(series: Series, latitude: float | None = None) -> list[Doubt]:
    """Stretches that fit the site far better in another unit: Fahrenheit, Celsius taken for Fahrenheit, tenths.

    Parameters
    ----------
    series
        Days in order; the site's own days before them may be among them.
    latitude
        Of the site [°]; None if not known.

    Notes
    -----
    The stretch with the greatest sum of the logarithm of the likelihood ratio, normal around the level, is told if that
    is over `LEAST_GAIN`, it holds `LEAST_UNIT_DAYS` days, lies far off as it is and near in the other unit, and a short
    one leaps at its ends. Tenths are whole numbers.

    Checked by ``tests/science/test_quality.py`` and ``tests/properties/test_quality_laws.py``.
    """
    found: list[tuple[float, Doubt]] = []
    own = fit_level(series)
    if own is not None:
        found += _find_stretches(series, own[0][series.at], own[1][series.at], OWN_OFF_SPREADS, _UNITS)
    if latitude is not None:
        middle = guess_level(latitude, series.at.astype(np.float64))
        around = np.column_stack([middle - 5.0, middle + 5.0])
        # A hard winter is as far from the guess as Celsius taken for Fahrenheit; that is judged in summer only.
        judged = np.where(middle > 5.0, 1.0, np.nan)[:, None]
        spread = np.full((len(series.at), 2), GUESS_SPREAD_C)
        found += _find_stretches(series, around, spread, GUESS_OFF_SPREADS, (_UNITS[0], _UNITS[2]))
        found += _find_stretches(series, around * judged, spread, GUESS_OFF_SPREADS, (_UNITS[1],))
    return _without_overlaps(found)


def _find_stretches(
    series: Series, level: FloatArray, spread: FloatArray, off: float, units: tuple[_Unit, ...]
) -> Iterator[tuple[float, Doubt]]:
    apart = (series.temps - level) / spread
    for unit in units:
        other = (unit.read(series.temps) - level) / spread
        gain = (np.minimum(apart**2, 100.0) - np.minimum(other**2, 100.0)).sum(axis=1) / 2.0 - 2.0 * np.log(
            unit.stretch
        )
        for first, last in _best_stretches(np.where(np.isnan(gain), -1.0, gain)):
            span = slice(first, last + 1)
            if last - first + 1 < LEAST_UNIT_DAYS or not np.isfinite(apart[span]).any():
                continue
            if unit.kind == "tenths" and measure_fineness(series.temps[span].ravel()) < 1.0:
                continue
            as_it_is = float(np.nanmean(np.abs(apart[span]).max(axis=1)))
            in_other = float(np.nanmean(np.abs(other[span]).max(axis=1)))
            if as_it_is > off and in_other < FITS_SPREADS and _leaps(series, unit, first, last):
                value, usual = float(np.nanmean(series.temps[span])), float(np.nanmean(level[span]))
                yield float(np.nansum(gain[span])), Doubt(unit.kind, first, last, value=value, usual=usual)


def _leaps(series: Series, unit: _Unit, first: int, last: int) -> bool:
    """Whether the days leap as a change of unit would, at each end of the stretch that is not an end of the days."""
    if last - first + 1 >= LONG_UNIT_DAYS:
        return True
    middle = series.temps.mean(axis=1)
    wanted = JUMP_SHARE * float(np.nanmean(np.abs(unit.read(middle) - middle)[first : last + 1]))
    leap = np.abs(np.diff(middle))
    ends = [edge for edge in (first - 1, last) if 1 < edge < len(middle) - 3]
    return all(float(np.nanmax(leap[max(0, edge - 2) : edge + 3], initial=0.0)) >= wanted for edge in ends)


def _best_stretches(gain: FloatArray, most: int = 20) -> Iterator[tuple[int, int]]:
    """Stretches of greatest sum over `LEAST_GAIN`, best first, each taken out before the next is looked for."""
    left = gain.copy()
    for _ in range(most):
        total = np.concatenate([[0.0], np.cumsum(left)])
        lowest = np.minimum.accumulate(total)
        last = int(np.argmax(total - lowest))
        if total[last] - lowest[last] < LEAST_GAIN:
            return
        first = int(np.argmin(total[: last + 1]))
        yield first, last - 1
        left[first:last] = -1.0


def _without_overlaps(found: list[tuple[float, Doubt]]) -> list[Doubt]:
    """Of doubts about the same days the likeliest stays."""
    kept: list[Doubt] = []
    for _, one in sorted(found, key=lambda told: -told[0]):
        if all(one.last < other.first or one.first > other.last for other in kept):
            kept.append(one)
    return sorted(kept, key=lambda doubt: doubt.first)


def find_date_shift(series: Series, judged: BoolArray) -> list[Doubt]:
    """Whether the judged days fit the site's other days far better under other dates.

    Parameters
    ----------
    series
        Days in order, those of the site before and after among them.
    judged
        The days that are looked at (days,).

    Checked by ``tests/science/test_quality.py`` and ``tests/properties/test_quality_laws.py``.
    """
    known = ~np.isnan(series.temps).any(axis=1)
    there, here = known & ~judged, known & judged
    level = fit_level(Series(series.serial[there], series.at[there], series.temps[there], series.rain[there]))
    if level is None or here.sum() < LEAST_SHIFT_SPAN:
        return []
    shifts = np.arange(-(YEAR_DAYS // 2), YEAR_DAYS // 2 + 1)
    at = (series.at[here][None, :] + shifts[:, None]) % YEAR_DAYS
    apart = np.sqrt(((series.temps[here][None] - level[0][at]) ** 2).mean(axis=(1, 2)))
    now, best = float(apart[shifts == 0][0]), int(np.argmin(apart))
    if abs(shifts[best]) < LEAST_SHIFT_DAYS or now < SHIFT_RATIO * apart[best] or now < 2.0 * level[1].mean():
        return []
    places = np.flatnonzero(here)
    return [Doubt("date_shift", int(places[0]), int(places[-1]), shift_days=int(shifts[best]))]


def find_turned_season(series: Series, latitude: float | None) -> list[Doubt]:
    """Whether the summer half of the site's hemisphere is colder than its winter half.

    Checked by ``tests/science/test_quality.py`` and ``tests/properties/test_quality_laws.py``.
    """
    if latitude is None or abs(latitude) < SEASONLESS_LATITUDE:
        return []
    mean = series.temps.mean(axis=1)
    wave = np.cos(2.0 * np.pi * (series.at - 200.0) / YEAR_DAYS)
    known = ~np.isnan(mean)
    north, south = known & (wave > 0.5), known & (wave < -0.5)
    if min(north.sum(), south.sum()) < LEAST_SEASON_DAYS:
        return []
    warmer = float(mean[north].mean() - mean[south].mean())
    if (warmer if latitude > 0 else -warmer) > -TURNED_C:
        return []
    places = np.flatnonzero(known)
    return [Doubt("season_turned", int(places[0]), int(places[-1]), value=warmer)]
