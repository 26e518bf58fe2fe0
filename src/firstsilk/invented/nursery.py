"""How did a nursery row come up, when does it flower, and what does its seed set allow?

The facts of a row as nature made them, drawn by the row's own name; what a crew sees of them is told elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from statistics import NormalDist

import numpy as np

from firstsilk.invented.dice import roll
from firstsilk.invented.genes import LineTruth
from firstsilk.invented.weather import InventedWeather, find_day_of_units

EMERGENCE_FRAC = 0.9
"""Seedlings that come up in the field of those that would in the laboratory. Ours, no source."""
ROW_SD_CHU = 12.0
"""How far a row's flowering lies from its line's, silk and shed alike: soil, depth, seed. Ours, no source."""
SILK_AGAINST_SHED_SD_CHU = 6.0
"""How far silk and shed of a row go apart beyond their line's gap. Ours, no source."""
PLANT_SD_DAYS = 2.2
"""Spread of the plants of a row about its half-way day. Ours: nearly all within nine days."""
SILK_RECEPTIVE_DAYS = 5
"""Days a silk takes pollen well. 5 to 6 days: a summary of silk growth (trade); 4 to 5: sweet maize."""
SHED_DAYS_BEFORE, SHED_DAYS_AFTER = 2, 5
"""A row sheds usefully from so long before its half-way day until so long after: 5 to 8 days a row (from memory)."""
KERNELS_CV = 0.45
"""Spread of kernels an ear about its line's mean. Ours, no source."""

_NORMAL = NormalDist()


@dataclass(frozen=True, slots=True)
class FieldRow:
    """One nursery row as it was sown.

    Parameters
    ----------
    tag
        What the row is called in notes; its dice are thrown by it.
    line
        Name of a line or hybrid of the book.
    sown_on
        The day it was really sown.
    purpose
        ``self``, ``female``, ``male`` or ``filler``.
    kernels
        Kernels sown.
    males
        Tags of the rows whose pollen it is to get; empty for selfs.
    pollination
        Type of its pollinations, from the notes' closed list; empty: ``self`` or ``cross`` by the purpose.
    ears_wanted
        Ears to pollinate; 0: as many as can be.
    """

    tag: str
    line: str
    sown_on: date
    purpose: str = "self"
    kernels: int = 25
    males: tuple[str, ...] = ()
    pollination: str = ""
    ears_wanted: int = 0


@dataclass(frozen=True, slots=True)
class RowFacts:
    """A row as nature made it; None where the frost comes first."""

    stand: int
    silk_on: date | None
    shed_on: date | None
    success_frac: float
    kernels_per_ear: float

    def silking(self, day: date) -> int:
        """Plants that have shown silk by the end of a day."""
        return _share_by(self.stand, self.silk_on, day)

    def too_old(self, day: date) -> int:
        """Plants whose silk no longer takes pollen on a day."""
        return _share_by(self.stand, self.silk_on, date.fromordinal(day.toordinal() - SILK_RECEPTIVE_DAYS))

    def sheds(self, day: date) -> bool:
        """Whether the row sheds usefully on a day."""
        if self.shed_on is None:
            return False
        return -SHED_DAYS_BEFORE <= (day - self.shed_on).days <= SHED_DAYS_AFTER


def _share_by(stand: int, half_on: date | None, day: date) -> int:
    if half_on is None:
        return 0
    # The half-way day itself ends with just half the plants.
    return round(stand * _NORMAL.cdf((day - half_on).days / PLANT_SD_DAYS))


def draw_row_facts(seed: int, weather: InventedWeather, site: str, line: LineTruth, row: FieldRow) -> RowFacts:
    """Draw what nature makes of a row.

    Parameters
    ----------
    seed
        The world's seed; with the row's tag and year of sowing it decides everything.
    weather, site
        The weather that the row has.
    line
        What its line is truly worth.
    row
        The row as sown.
    """
    dice = roll(seed, "row", row.tag, row.sown_on.year)
    stand = int(dice.binomial(row.kernels, line.germination_frac * EMERGENCE_FRAC))
    shared, apart = ROW_SD_CHU * dice.normal(), SILK_AGAINST_SHED_SD_CHU * dice.normal()
    silk = find_day_of_units(weather, site, row.sown_on, line.units_to_silk_chu + shared + apart)
    shed = find_day_of_units(weather, site, row.sown_on, line.units_to_shed_chu + shared - apart)
    return RowFacts(stand, silk if stand else None, shed if stand else None, line.success_frac, line.kernels_per_ear)


def draw_ear_kernels(dice: np.random.Generator, kernels_per_ear: float, ears: int) -> list[int]:
    """Kernels on each of a number of good ears; gamma about the line's mean, at least one an ear."""
    shape = 1.0 / KERNELS_CV**2
    drawn = np.maximum(np.round(dice.gamma(shape, kernels_per_ear / shape, ears)), 1.0)
    return [int(one) for one in drawn]


def draw_kernels(dice: np.random.Generator, kernels_per_ear: float, ears: int) -> int:
    """Kernels shelled from a number of good ears, as `draw_ear_kernels`."""
    return sum(draw_ear_kernels(dice, kernels_per_ear, ears))
