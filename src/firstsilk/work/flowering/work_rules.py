"""What may people of an age band do, and how long? As the station has set it; local law decides.

Nothing is set at first, and nothing here is legal advice: the published examples are shown beside the empty form.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date, time

from django.db import transaction

from firstsilk.answers import refuse
from firstsilk.records.models import Worker, WorkRule
from firstsilk.work.occasion import Occasion
from firstsilk.work.shelf import get_station

BANDS = {"under_16": "under 16", "16_17": "16 or 17", "adult": "18 and over"}
DAY_TASKS = {
    "look": "look for silk and shed",
    "shoot_bag": "shoot bags",
    "tassel_bag": "tassel bags",
    "take_down": "take tassel bags down",
    "pollinate": "pollinate",
    "sow": "sow",
    "pick": "pick ears",
}
"""Kinds of task of the day list."""
OTHER_TASKS = {
    "knives": "knives, cutting ears back",
    "machines": "shellers, dryers, planters, other machines",
    "driving": "drive, ride on trailers",
    "sprays": "handle sprays",
    "treated_seed": "handle treated seed",
}
"""Work that is on no day list; kept here so that one rule says all."""
TASKS = DAY_TASKS | OTHER_TASKS


@dataclass(frozen=True, slots=True)
class Example:
    """One published rule, shown as an example: whose, for whom, and what it says."""

    source: str
    who: str
    says: str


EXAMPLES = (
    Example(
        "European Union, Directive 94/33/EC",
        "under 15, or still in compulsory schooling",
        "Not employed; light work where national law allows it from 14, or 13: 2 hours on a school day and 12 a week "
        "in term time, 7 a day and 35 a week in holidays of a week or more (at 15: 8 and 40), none from 20:00 to 6:00. "
        "Hazardous work barred.",
    ),
    Example(
        "European Union, Directive 94/33/EC",
        "15 to 17, out of compulsory schooling",
        "8 hours a day and 40 a week; none from 22:00 to 6:00 or 23:00 to 7:00; half an hour of break after 4.5 hours. "
        "Hazardous work barred.",
    ),
    Example(
        "United States, Department of Labor, Fact Sheet 40 (farms)",
        "16 and over",
        "Any farm job. Many states ask for more.",
    ),
    Example(
        "United States, Department of Labor, Fact Sheet 40 (farms)",
        "14 and 15",
        "Outside school hours, no hazardous job: no combines, dryers, augers, tractors above 20 PTO horsepower, no "
        "driving of people. 12 and 13 with a parent's consent.",
    ),
)
"""Summed up from the directive as published (ages: article 4, hours: article 8, nights: article 9; its break of half
an hour, article 12, is from memory) and from the fact sheet; laws change, and countries and states add theirs. Read
the law itself."""
LAW_DECIDES = "Local law decides. What stands here is what this station has written down, and no legal advice."


@dataclass(frozen=True, slots=True)
class Rule:
    """What an age band may do. Empty or None: nothing is set here, which is no permission."""

    age_band: str
    barred: tuple[str, ...] = ()
    hours_a_day: float | None = None
    hours_a_week: float | None = None
    earliest: time | None = None
    latest: time | None = None
    set_by: str = ""
    set_on: date | None = None

    @property
    def says(self) -> str:
        """The rule in one sentence."""
        said = [f"not {TASKS.get(one, one)}" for one in self.barred]
        for hours, name in ((self.hours_a_day, "day"), (self.hours_a_week, "week")):
            said += [f"at most {hours:g} h a {name}"] if hours is not None else []
        said += [f"not before {self.earliest:%H:%M}"] if self.earliest else []
        said += [f"not after {self.latest:%H:%M}"] if self.latest else []
        return "; ".join(said) if said else "nothing is set"


def read_rules(on: Occasion) -> dict[str, Rule]:
    """The rule of every age band, empty where none is set."""
    station = get_station(on.station)
    found = {one.age_band: one for one in WorkRule.objects.filter(station=station)}
    return {band: _tell(found[band]) if band in found else Rule(band) for band in BANDS}


def _tell(one: WorkRule) -> Rule:
    return Rule(
        one.age_band,
        tuple(one.barred),
        one.hours_a_day,
        one.hours_a_week,
        one.earliest,
        one.latest,
        one.set_by,
        one.set_on,
    )


def set_rule(on: Occasion, rule: Rule) -> Rule:
    """Write down what an age band may do; what was set before is replaced.

    Raises
    ------
    InputRefused
        If a band or task is unknown, or hours or times cannot be.
    """
    station = get_station(on.station)
    if rule.age_band not in BANDS:
        raise refuse("band_unknown", f"There is no age band {rule.age_band!r}.", f"Bands: {', '.join(BANDS)}.")
    for task in rule.barred:
        if task not in TASKS:
            raise refuse("task_unknown", f"There is no task {task!r}.", f"Tasks: {', '.join(TASKS)}.")
    for hours, most, name in ((rule.hours_a_day, 24, "day"), (rule.hours_a_week, 168, "week")):
        if hours is not None and not 0 <= hours <= most:
            raise refuse("rule_hours", f"{hours:g} hours a {name} cannot be.", f"Give 0 to {most}, or nothing.")
    if rule.earliest and rule.latest and rule.earliest >= rule.latest:
        raise refuse("rule_times", f"Work cannot end at {rule.latest:%H:%M} if it begins later.", "Check both times.")
    values = {
        "barred": sorted(set(rule.barred), key=list(TASKS).index),
        "hours_a_day": rule.hours_a_day,
        "hours_a_week": rule.hours_a_week,
        "earliest": rule.earliest,
        "latest": rule.latest,
        "set_by": on.who[:150],
        "set_on": on.today,
    }
    with transaction.atomic():
        made, _ = WorkRule.objects.update_or_create(station=station, age_band=rule.age_band, defaults=values)
    return _tell(made)


def read_barred_teams(on: Occasion) -> dict[str, frozenset[str]]:
    """Kinds of task of the day list that a team may not do, by its name.

    Notes
    -----
    What one of a team may not do the whole team is not sent to do: who may, works in another team.
    """
    station = get_station(on.station)
    rules = dict(WorkRule.objects.filter(station=station).exclude(barred=[]).values_list("age_band", "barred"))
    if not rules:
        return {}
    there = Worker.objects.filter(station=station, age_band__in=rules).exclude(team="")
    barred: dict[str, set[str]] = {}
    for team, band, first_day, left_on in there.values_list("team", "age_band", "first_day", "left_on"):
        if (first_day is None or first_day <= on.today) and (left_on is None or left_on > on.today):
            barred.setdefault(team, set()).update(task for task in rules[band] if task in DAY_TASKS)
    return {team: frozenset(tasks) for team, tasks in barred.items()}


def say_barred(barred: Mapping[str, Collection[str]]) -> tuple[str, ...]:
    """Which team may not do what, a sentence each."""
    return tuple(
        f"Team {team} is not sent to: {', '.join(DAY_TASKS[one] for one in DAY_TASKS if one in tasks)}."
        for team, tasks in sorted(barred.items())
        if tasks
    )
