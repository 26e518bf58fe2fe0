"""How does a whole nursery season go with a plain day list, from the first sowing to the last shelling?

For examples and tests that have no station; a station's own day list is better played with `season.answer_day_list`.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta

from firstsilk.invented.drafts import NoteDraft
from firstsilk.invented.season import CrewTask, Field, answer_day_list
from firstsilk.invented.weather import find_killing_frost

STAND_AFTER_DAYS, VIGOUR_AFTER_DAYS = 21, 35
PICK_AFTER_DAYS, PICK_AFTER_FROST_DAYS, SHELL_AFTER_DAYS = 48, 4, 14
SPARE_SHOOT_BAGS = 2
LOOK_BEFORE_DAYS, LOOK_NO_LONGER_DAYS, BAG_BEFORE_DAYS = 4, 12, 8
"""When a row is due, against its sowing, its half-way days, its last pollination or the frost. Common practice."""


def play_season(field: Field) -> Iterator[tuple[date, tuple[NoteDraft, ...]]]:
    """Play a whole season with a plain day list, from the first sowing to the last shelling.

    Yields
    ------
    date, tuple of NoteDraft
        Each day on which something was noted.
    """
    first = min(row.sown_on for row in field.rows.values())
    for step in range((date(first.year, 12, 1) - first).days):
        day = first + timedelta(days=step)
        drafts = answer_day_list(field, plan_plain_day(field, day), day)
        if drafts:
            yield day, drafts


def plan_plain_day(field: Field, day: date) -> list[CrewTask]:
    """A day list that knows the rows' flowering beforehand: what a faultless forecast would ask for."""
    frost = find_killing_frost(field.world.weather, field.world.home, day.year)
    tasks: list[CrewTask] = []
    for tag in field.rows:
        tasks += _plan_season_work(field, tag, day, frost)
        tasks += _plan_flowering(field, tag, day) if day < frost else []
    return tasks


def _plan_season_work(field: Field, tag: str, day: date, frost: date) -> list[CrewTask]:
    row, done = field.rows[tag], field.progress[tag]
    age = (day - row.sown_on).days
    tasks = [
        CrewTask(tag, do, trait=trait)
        for at, do, trait in ((0, "sow", ""), (STAND_AFTER_DAYS, "stand", ""), (VIGOUR_AFTER_DAYS, "rate", "vigour"))
        if age == at
    ]
    if row.purpose == "filler":
        return tasks
    if day == frost - timedelta(days=1):
        tasks.append(CrewTask(tag, "rate", trait="standing"))
    last = done.last_pollinated_on
    if last is not None and done.picked is None:
        ripe = min(last + timedelta(days=PICK_AFTER_DAYS), frost + timedelta(days=PICK_AFTER_FROST_DAYS))
        tasks += [CrewTask(tag, "pick")] if day >= ripe else []
    if done.picked_on is not None and day >= done.picked_on + timedelta(days=SHELL_AFTER_DAYS):
        tasks += [CrewTask(tag, "shell")] if done.kernels is None else []
    return tasks


def _plan_flowering(field: Field, tag: str, day: date) -> list[CrewTask]:
    row, facts, done = field.rows[tag], field.facts[tag], field.progress[tag]
    known = [one for one in (facts.silk_on, facts.shed_on) if one is not None]
    if row.purpose == "filler" or not known:
        return []
    since, until = (day - min(known)).days, (day - max(known)).days
    if since < -BAG_BEFORE_DAYS or until > LOOK_NO_LONGER_DAYS:
        return []
    tasks = [] if since < -LOOK_BEFORE_DAYS or (done.silk_noted and done.shed_noted) else [CrewTask(tag, "look")]
    if row.purpose != "male":
        covered = row.ears_wanted and done.shoot_bags >= row.ears_wanted + SPARE_SHOOT_BAGS
        tasks += [] if covered else [CrewTask(tag, "shoot_bag")]
        tasks.append(CrewTask(tag, "pollinate"))
    if row.purpose == "male" or not row.males:
        tasks.append(CrewTask(tag, "tassel_bag", count=max(1, facts.stand // 4)))
    return tasks
