"""What do a plan's targets need, and what do its settings allow?"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from typing import TYPE_CHECKING

from firstsilk.answers import refuse
from firstsilk.records.models import Target
from firstsilk.science.nursery.counts import count_rows
from firstsilk.work.nursery.joint_sowing import CrossNeed, FieldLimits
from firstsilk.work.nursery.rates import LineRates

if TYPE_CHECKING:
    from firstsilk.work.nursery.plan import PlanSettings

MOST_MALE_SOWINGS, MOST_FEMALE_SOWINGS, MOST_ROWS_A_DAY = 3, 2, 100_000
"""Beyond these a plan is not worked out (a choice of ours)."""


def check_limits(settings: PlanSettings) -> None:
    """Refuse limits of the field that cannot be.

    Raises
    ------
    InputRefused
        Naming the limit.
    """
    if not 1 <= settings.male_sowings <= MOST_MALE_SOWINGS:
        told = f"{settings.male_sowings} sowings of one male are not usable."
        raise refuse("male_sowings", told, f"Use 1 to {MOST_MALE_SOWINGS}.")
    if not 1 <= settings.female_sowings <= MOST_FEMALE_SOWINGS:
        told = f"{settings.female_sowings} sowings of one female are not usable."
        raise refuse("female_sowings", told, f"Use 1 to {MOST_FEMALE_SOWINGS}.")
    if settings.rows_per_day is not None and not 1 <= settings.rows_per_day <= MOST_ROWS_A_DAY:
        told = f"{settings.rows_per_day} rows a day are not usable."
        raise refuse("rows_per_day", told, f"Use 1 to {MOST_ROWS_A_DAY:,}, or leave it empty.")
    if any(day not in range(7) for day in settings.weekdays):
        raise refuse("weekdays", "There is no such day of the week.", "Use 0 (Monday) to 6 (Sunday).")
    if settings.last_safe_on is not None and settings.last_safe_on < settings.sow_from:
        told = "The last safe day lies before the first sowing day."
        raise refuse("last_safe_too_soon", told, "Choose a later one, or leave it empty.")


def check_counts(plants_per_row: int, assurance: float) -> None:
    """Refuse plants of a row or an assurance that rows cannot be counted with.

    Raises
    ------
    InputRefused
        Naming which of them.
    """
    if not 1 <= plants_per_row <= 500:
        raise refuse("plants_per_row", f"{plants_per_row} plants a row cannot be.", "Use 1 to 500.")
    if not 0.5 <= assurance <= 0.999:
        raise refuse("assurance", f"An assurance of {assurance:g} is not usable.", "Use 0.5 to 0.999.")


def limit_field(settings: PlanSettings) -> FieldLimits:
    """The days on which anything can be sown, and what else the settings allow."""
    days = tuple(
        step
        for step in range(settings.last_sowing_days + 1)
        if (day := settings.sow_from + timedelta(days=step)) not in settings.closed
        and (not settings.weekdays or day.weekday() in settings.weekdays)
    )
    if not days:
        raise refuse("no_sowing_day", "No day of the sowing window is open.", "Open a day, or move the window.")
    last = None if settings.last_safe_on is None else (settings.last_safe_on - settings.sow_from).days
    return FieldLimits(days, settings.male_sowings, settings.female_sowings, settings.rows_per_day, last)


def count_need(target: Target, rates: LineRates, settings: PlanSettings) -> CrossNeed:
    """How many ears, pollinations and rows a target needs."""
    ears = rates.ears_for(target.ears_wanted, target.kernels_wanted)
    attempts = rates.pollinations_for(target.ears_wanted, target.kernels_wanted, settings.assurance)
    rows = count_rows(attempts, settings.plants_per_row)
    male = target.male.name if target.male is not None else ""
    return CrossNeed(target.number, target.kind, target.female.name, male, target.priority, ears, attempts, rows)


def tell_missing(missing: Sequence[tuple[str, str, str]]) -> tuple[str, ...]:
    """What is missing as sentences: names that lack the same thing stand together, the first three by name."""
    names: dict[tuple[str, str], list[str]] = {}
    for what, name, instead in dict.fromkeys(missing):
        names.setdefault((what, instead), []).append(name)
    told = []
    for (what, instead), which in names.items():
        more = f" and {len(which) - 3} more" if len(which) > 3 else ""
        told.append(f"{what} {', '.join(which[:3])}{more}" + (f" ({instead})" if instead else ""))
    return tuple(told)
