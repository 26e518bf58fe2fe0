"""How far is grain from black layer, how wet is it there, and how fast does it dry on the stalk?"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class KernelStage:
    """A kernel stage: moisture [%], dry weight in percent of the final one, days to the next stage."""

    name: str
    moisture_pct: float
    dry_weight_pct: float
    days_to_next: float | None


KERNEL_STAGES = (
    KernelStage("R5", 60.0, 45.0, 3.0),
    KernelStage("R5.25", 52.0, 65.0, 6.0),
    KernelStage("R5.5", 40.0, 90.0, 10.0),
    KernelStage("R5.75", 37.0, 97.0, 10.5),
    KernelStage("R6", 35.0, 100.0, None),
)
"""Kassel 2015, from Abendroth et al. 2011, PMR 1009, Iowa State; R5.75 lasts 7 to 14 days, the middle is kept."""
BLACK_LAYER_MOISTURE_PCT = (30.0, 35.0)
"""Usual at black layer. Nielsen, Grain Fill Stages in Corn. (25-40 possible; British hybrids 35-40.)"""
BLACK_LAYER_MOISTURE_RANGE_PCT = (25.0, 40.0)
"""Possible at black layer. Nielsen, Grain Fill Stages in Corn; Purdue, 2018."""


@dataclass(frozen=True, slots=True)
class DrySteps:
    """Heat units a point of moisture while drying: `above` the moisture `change_pct`, `below` it."""

    above: float
    change_pct: float
    below: float


DRY_GDD_F = DrySteps(30.0, 25.0, 45.0)
"""gdd_f a point. Thomison, Corn drydown. (24-29 warm and dry, 20-22 cool and wet in Ohio trials.)"""
DRY_CHU = DrySteps(50.0, 25.0, 75.0)
"""chu a point. Barker 2013, Back in Black."""
DRY_SLOPE_PER_F, DRY_INTERCEPT = 0.0202, -0.7133
"""Points a day by mean temperature [°F]; a regression attributed to Nielsen, seen in a seed-company newsletter."""


def find_kernel_stage(name: str) -> KernelStage:
    """Find a kernel stage in the table by its name, e.g. ``R5.5``.

    Raises
    ------
    KeyError
        If the table has no such stage.

    Checked by ``tests/outside/test_agronomy_words.py`` (kernel_moisture_stage).
    """
    for stage in KERNEL_STAGES:
        if stage.name == name:
            return stage
    raise KeyError(f"no kernel stage {name}; there are {', '.join(stage.name for stage in KERNEL_STAGES)}")


def units_left(rating: float, so_far: float) -> float:
    """Give the heat units still needed, 0 once reached; rating and sum in one scale and from one start.

    Checked by ``tests/outside/test_agronomy.py`` (chu_remaining).
    """
    return max(rating - so_far, 0.0)


def days_left(units: float, units_per_day: float) -> float:
    """Give the days still needed at a steady daily gain.

    Checked by ``tests/outside/test_agronomy.py`` (chu_days_left).
    """
    return units / units_per_day


def mean_units_per_day(units: float, days: float) -> float:
    """Give the mean daily gain over some days.

    Checked by ``tests/outside/test_agronomy_words.py`` (chu_daily_mean).
    """
    return units / days


def dry_by_calendar_pct(moisture_pct: float, points_per_day: float, days: float) -> float:
    """Give the grain moisture after days on the stalk at a steady rate [%].

    Notes
    -----
    Rates by date: about 0.75-1.0 in mid-September, 0.5-0.75 around 1 October, 0.25-0.5 in mid-October, almost none
    in November (Hicks, Minnesota; Ohio State 2023; Iowa State).

    Checked by ``tests/outside/test_agronomy_words.py`` (drydown_by_calendar).
    """
    return moisture_pct - points_per_day * days


def dry_rate_points_per_day(mean_f: float) -> float:
    """Give the drying rate on the stalk by mean temperature [°F], in points a day; 0 below 35.3 °F.

    Checked by ``tests/outside/test_agronomy.py`` (drydown_rate_temp).
    """
    return max(DRY_SLOPE_PER_F * mean_f + DRY_INTERCEPT, 0.0)


def units_to_dry(from_pct: float, to_pct: float, steps: DrySteps = DRY_GDD_F) -> float:
    """Give the heat units that dry grain on the stalk from one moisture to another [scale of `steps`].

    Parameters
    ----------
    from_pct, to_pct
        Moisture now and wanted [%], ``to <= from``.
    steps
        `DRY_GDD_F` or `DRY_CHU`.

    Returns
    -------
    float
        Heat units.

    Checked by ``tests/outside/test_agronomy_words.py`` (drydown_gdd, chu_per_point_drydown).
    """
    above = max(from_pct - max(to_pct, steps.change_pct), 0.0)
    below = max(min(from_pct, steps.change_pct) - to_pct, 0.0)
    return above * steps.above + below * steps.below
