"""What is asked when sowing dates are chosen: lines, crosses, past years, and what the field allows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from firstsilk.science.nursery.meeting import FloatArray

Measure = Literal["plain", "plants"]
Role = tuple[str, str]
"""``female`` or ``male``, and the line."""

OWN_SD_FRAC = 0.015
"""SD of a line's units, as a share of them, where it has a record of its own (a choice of ours)."""
STAND_IN_SD_FRAC = 0.04
"""The same where parents' or the programme's units stand in (a choice of ours)."""
LATE_COST_FRAC = 0.0002
"""By how much a cross is worth less for each day that a parent is last sown after the first day (plants measure; a
choice of ours): of days about as good the earlier are taken, seed ripens sooner."""
SPLIT_COST_FRAC = 0.002
"""By how much for each further sowing of a parent (plants measure; a choice of ours): it is work."""
MOST_TABLE_CELLS = 50_000_000
"""Cells of the largest table, or of all tables of worth together: less than half a gigabyte. More is refused."""


@dataclass(frozen=True, slots=True)
class LineNeeds:
    """A line's heat units to silk and shed with their SD, its rows in each role, and how often it may be sown.

    `most_sowings` is at most what the rules allow; None: what they allow. `last_female_day` is the last day on which
    it is sown as a female; where no day is left it takes the first. `keep_female_frac` is what is left of a cross's
    worth when it is sown as a female on each of the days allowed, say for seed that frost may catch (plants measure;
    None: all).
    """

    units_to_silk: float
    units_to_shed: float
    sd_units: float = 0.0
    rows_female: int = 1
    rows_male: int = 1
    most_sowings: int | None = None
    last_female_day: int | None = None
    keep_female_frac: tuple[float, ...] | None = None


@dataclass(frozen=True, slots=True)
class PlannedCross:
    """A cross to be made, by the names of its parents, and what it counts for, above 0."""

    female: str
    male: str
    weight: float = 1.0


@dataclass(frozen=True, slots=True)
class PastHeat:
    """Past years from the first possible sowing day on.

    Attributes
    ----------
    daily
        Heat units (years, days) [one scale].
    workable
        Share of the hours of each day that can be worked (years, days); None: every hour.
    """

    daily: FloatArray
    workable: FloatArray | None = None

    def take(self, years: Sequence[int]) -> PastHeat:
        """Only these years, by position."""
        at = list(years)
        return PastHeat(self.daily[at], None if self.workable is None else self.workable[at])


@dataclass(frozen=True, slots=True)
class SowingRules:
    """What the field allows: days after the first one on which sowing is possible, sowings of a male and of a female,
    rows a day (None: any number)."""

    days: tuple[int, ...]
    male_sowings: int = 1
    female_sowings: int = 1
    rows_per_day: int | None = None


def weigh_priority(priority: int) -> float:
    """What a priority counts for: 1 counts 1, and each further one half of the one before (a choice of ours)."""
    if priority < 1:
        raise ValueError("priorities begin at 1")
    return 0.5 ** (priority - 1)


def list_roles(crosses: Sequence[PlannedCross]) -> list[Role]:
    """Every line in every role it has, in order of first use."""
    roles: dict[Role, None] = {}
    for cross in crosses:
        roles.setdefault(("female", cross.female))
        roles.setdefault(("male", cross.male))
    return list(roles)
