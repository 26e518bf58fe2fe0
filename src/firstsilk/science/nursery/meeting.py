"""How well do a female and a male meet, for every day on which each may be sown?

Two measures. *Plain*: a year is met if at least a share of the female's silk days fall into the male's shed days; rows
are taken as one plant. *Plants*: plants of a row flower around its half-way day, each silk waits some days, and a plant
is served on the first of them on which enough of the male sheds and the day can be worked.

A scenario is one past year's heat with one draw of the lines' own units. Day 0 is the first day on which sowing is
possible; heat counts from the day after sowing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

SILK_DAYS = 5
"""Days on which silks of a plant take pollen. 5-6: an industry study of silk growth; most kernels within 4-5 days of
sweet maize (Maydica); kernel set falls quickly from the 7th day (Bassetti & Westgate 1993, Crop Sci. 33:275); to 10
days: Elmore 2011."""
SHED_DAYS = 5
"""Days on which a plant sheds usefully. At most 7, most of it on days 2-3 (Jeschke 2023); 4-5 by trade practice."""
SHARE_FRAC = 0.5
"""Share of the silk days that must see pollen for a year to count as met (a choice of ours, an option)."""
PLANT_SD_DAYS = 2.2
"""Spread of single plants about the half-way day of their row [days], one SD. Whole fields shed for 10-14 days, one
plant for at most 7 (Jeschke 2023): starts spread over about 7 days, some 3 SD. A choice of ours within that, an
option."""
ENOUGH_FRAC = 0.2
"""Share of a male sowing's plants in shed from which on there is pollen for all: in Westgate 1997 the nick needs no
more than the dates of 20 % and 80 % of silk and shed. An option."""
NEEDED_FRAC = 0.95
"""Share of a female's plants that must be served for all the ears wanted of it. Rows are counted so that half would do
(`counts.USABLE_FRAC`); the rest is for storms and for what is wrong in this sum. More than that makes no more ears. A
choice of ours, an option: dates chosen with 0.8 sit nearer the edge and did worse in years not chosen on."""
UNITS_CORRELATION = 0.8
"""Correlation of a line's errors in units to silk and to shed: both hang on the same leaf number (a choice of ours)."""


@dataclass(frozen=True, slots=True)
class Windows:
    """How long silks wait and pollen flies, and what counts as met.

    Attributes
    ----------
    silk_days, shed_days
        Days that silks take pollen and that pollen is shed: of a row in the plain measure, of a plant in the other.
    share_frac
        Plain measure: share of the silk days that must see pollen.
    plant_sd_days, enough_frac, needed_frac
        Plants measure: spread of plants [days]; share of a male's plants in shed that suffices; share of the female's
        plants that must be served for all the ears wanted.
    """

    silk_days: int = SILK_DAYS
    shed_days: int = SHED_DAYS
    share_frac: float = SHARE_FRAC
    plant_sd_days: float = PLANT_SD_DAYS
    enough_frac: float = ENOUGH_FRAC
    needed_frac: float = NEEDED_FRAC

    def __post_init__(self) -> None:
        if self.silk_days < 1 or self.shed_days < 1:
            raise ValueError("silk and shed last 1 day or more")
        if not 0 < self.share_frac <= 1 or not 0 < self.enough_frac < 1 or not 0 < self.needed_frac <= 1:
            raise ValueError("shares lie above 0 and not above 1")
        if not self.plant_sd_days > 0:
            raise ValueError("the spread of plants is above 0 days")

    @property
    def days_needed(self) -> int:
        """Silk days that must see pollen for a year to count as met."""
        return max(1, int(np.ceil(self.share_frac * self.silk_days - 1e-9)))


def list_patterns(days: Sequence[int], most: int) -> tuple[tuple[int, ...], ...]:
    """All sets of 1 to `most` of the days, small sets first, then early days first."""
    return tuple(pattern for size in range(1, most + 1) for pattern in combinations(days, size))


def find_flowering_table(daily: FloatArray, sow_days: IntArray, units: FloatArray) -> IntArray:
    """The flowering day of each line for each sowing day in each scenario.

    Parameters
    ----------
    daily
        Heat units by scenario and day (scenarios, days) [one scale]; day 0 is the first possible sowing day.
    sow_days
        Days on which a line may be sown (sowings,).
    units
        Heat units from sowing to flowering (lines, scenarios) [same scale].

    Returns
    -------
    numpy.ndarray
        First day on which the sum since the day after sowing reaches the units (lines, sowings, scenarios);
        ``days`` where it is never reached.

    Notes
    -----
    A sum that falls short by rounding alone (1e-9 units) counts as reached.

    Checked by ``tests/science/test_meeting.py``, day by day.
    """
    n_scenarios, n_days = daily.shape
    total = np.cumsum(daily, axis=1)
    found = np.empty((len(units), len(sow_days), n_scenarios), dtype=np.int64)
    for scenario in range(n_scenarios):
        wanted = total[scenario, sow_days][None, :] + units[:, scenario][:, None] - 1e-9
        found[:, :, scenario] = np.searchsorted(total[scenario], wanted, side="left")
    return np.minimum(found, n_days)


def draw_units(mean: float, sd: float, scores: FloatArray) -> FloatArray:
    """Units of one line in each scenario: its mean, moved by its own uncertainty; never below a tenth of the mean.

    Parameters
    ----------
    mean, sd
        Mean and SD of the line's units [units].
    scores
        Standard normal deviates (scenarios,).
    """
    return np.maximum(mean + sd * scores, 0.1 * mean)


def draw_scores(dice: np.random.Generator, n_scenarios: int, correlation: float = UNITS_CORRELATION) -> FloatArray:
    """Correlated standard normal deviates of one line for silk and shed (2, scenarios)."""
    both = dice.standard_normal((2, n_scenarios))
    shed = correlation * both[0] + np.sqrt(1.0 - correlation**2) * both[1]
    return np.stack([both[0], shed])


def spread_plants(sd_days: float) -> tuple[IntArray, FloatArray]:
    """Days after the half-way day and the share of plants that begin on each, a rounded normal cut at 3 SD."""
    reach = int(np.ceil(3.0 * sd_days))
    offsets = np.arange(-reach, reach + 1)
    shares = norm.cdf(offsets + 0.5, scale=sd_days) - norm.cdf(offsets - 0.5, scale=sd_days)
    return offsets, shares / shares.sum()


def find_shed_span(windows: Windows) -> tuple[int, int]:
    """First and last day, after the male's half-way day, on which enough of its plants shed.

    Raises
    ------
    ValueError
        If there is never enough at once.
    """
    offsets, shares = spread_plants(windows.plant_sd_days)
    days: IntArray = np.arange(offsets[0], offsets[-1] + windows.shed_days)
    age = days[:, None] - offsets[None, :]
    in_shed = ((age >= 0) & (age < windows.shed_days)) @ shares
    enough = days[in_shed >= windows.enough_frac]
    if not len(enough):
        raise ValueError("there is no day on which so large a share of the plants sheds at once")
    return int(enough[0]), int(enough[-1])


@dataclass(frozen=True, slots=True)
class ServedTable:
    """How a female that flowers on a day is served by each set of sowings of one male.

    `worth` (scenarios, days + 1, patterns) is 0/1 in the plain measure, a share of plants in the other; `overlap` the
    silk days that see pollen, in the plain measure only. The last day stands for "never flowers" and holds 0.
    """

    worth: FloatArray
    overlap: FloatArray


def serve_plain(shed: IntArray, patterns: Sequence[tuple[int, ...]], n_days: int, windows: Windows) -> ServedTable:
    """The plain measure for one male.

    Parameters
    ----------
    shed
        First shed day of each sowing (sowings, scenarios); ``n_days`` = never.
    patterns
        Sets of sowings, by position in `shed`.
    n_days
        Days of a scenario.
    """
    flags = _flag_days(shed, 0, windows.shed_days - 1, n_days, n_days + windows.silk_days)
    n_scenarios = shed.shape[1]
    worth = np.zeros((n_scenarios, n_days + 1, len(patterns)))
    overlap = np.zeros_like(worth)
    for at, pattern in enumerate(patterns):
        seen = np.cumsum(np.pad(flags[list(pattern)].any(axis=0), ((0, 0), (1, 0))), axis=1)
        days: IntArray = seen[:, windows.silk_days : windows.silk_days + n_days] - seen[:, :n_days]
        overlap[:, :n_days, at] = days
        worth[:, :n_days, at] = days >= windows.days_needed
    return ServedTable(worth, overlap)


def serve_plants(
    shed: IntArray,
    patterns: Sequence[tuple[int, ...]],
    workable: FloatArray,
    windows: Windows,
) -> ServedTable:
    """The plants measure for one male: share of a female's plants that are served.

    Parameters
    ----------
    shed
        Half-way shed day of each sowing (sowings, scenarios); the number of days = never.
    patterns
        Sets of sowings, by position in `shed`.
    workable
        Share of hours workable (scenarios, days).

    Notes
    -----
    A plant whose silks come on day x is served with chance 1 - prod over its silk days d of (1 - workable(d) if enough
    of the male sheds on d).
    """
    n_scenarios, n_days = workable.shape
    offsets, shares = spread_plants(windows.plant_sd_days)
    reach = int(offsets[-1])
    first, last = find_shed_span(windows)
    flags = _flag_days(shed, first, last, n_days, n_days)
    # Beyond the days known nothing is served; before day 0 nobody silks.
    missed = np.log1p(-np.minimum(workable, 1.0 - 1e-12))
    width = n_days + 2 * reach
    # Row of the plant's own day, column of its row's half-way day.
    band = np.zeros((width, n_days))
    for offset, share in zip(offsets.tolist(), shares.tolist(), strict=True):
        band[np.arange(n_days) + reach + offset, np.arange(n_days)] = share
    served = np.zeros((len(patterns), n_scenarios, n_days + 1))
    total = np.zeros((n_scenarios, 1 + width + windows.silk_days))
    for at, pattern in enumerate(patterns):
        lost = np.where(flags[list(pattern)].any(axis=0), missed, 0.0)
        np.cumsum(lost, axis=1, out=total[:, 1 + reach : 1 + reach + n_days])
        total[:, 1 + reach + n_days :] = total[:, reach + n_days : reach + n_days + 1]
        plant = -np.expm1(total[:, windows.silk_days : windows.silk_days + width] - total[:, :width])
        served[at, :, :n_days] = plant @ band
    worth = np.ascontiguousarray(np.moveaxis(served, 0, 2))
    return ServedTable(worth, np.zeros((0, 0, 0)))


def _flag_days(shed: IntArray, first: int, last: int, never: int, n_days: int) -> NDArray[np.bool_]:
    """True on days from `first` to `last` after each shed day (sowings, scenarios, days); False all along if never."""
    age = np.arange(n_days)[None, None, :] - shed[:, :, None]
    return (age >= first) & (age <= last) & (shed < never)[:, :, None]


def judge_plain(
    table: ServedTable, silk: IntArray, patterns: Sequence[tuple[int, ...]]
) -> tuple[FloatArray, FloatArray]:
    """Share of scenarios met, and mean silk days that see pollen, for each pair of patterns.

    Parameters
    ----------
    table
        What the male gives.
    silk
        First silk day of each female sowing (sowings, scenarios).
    patterns
        Sets of female sowings; a scenario is met if any of them meets, and its days are those of the best.

    Returns
    -------
    met, overlap
        (female patterns, male patterns) each.
    """
    at = np.arange(silk.shape[1])
    met = [table.worth[at, silk[one]] for one in range(len(silk))]
    days = [table.overlap[at, silk[one]] for one in range(len(silk))]
    shares = [np.maximum.reduce([met[one] for one in pattern]).mean(axis=0) for pattern in patterns]
    overlaps = [np.maximum.reduce([days[one] for one in pattern]).mean(axis=0) for pattern in patterns]
    return np.array(shares), np.array(overlaps)


def judge_plants(
    table: ServedTable, silk: IntArray, patterns: Sequence[tuple[int, ...]], needed_frac: float
) -> FloatArray:
    """Expected share of the good ears wanted, for each pair of patterns (female patterns, male patterns).

    Notes
    -----
    A female's rows are shared evenly over its sowings. In a scenario min(1, plants served / `needed_frac`) of the ears
    are made. Mean over scenarios.
    """
    at = np.arange(silk.shape[1])
    served = [table.worth[at, silk[one]] for one in range(len(silk))]
    shares = []
    for pattern in patterns:
        plants = sum(served[one] for one in pattern) / len(pattern)
        shares.append(np.minimum(1.0, plants / needed_frac).mean(axis=0))
    return np.array(shares)
