"""Which rows need a hand today, for what, and why?

Values in, values out: what each row is for, what the notes say of it, what its heat units promise. The list is in
walking order within each kind of task, each task says why it is there, and what is lost if it waits until tomorrow
(`stakes`): that ranks it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, timedelta

from firstsilk.science.flowering.bags import USED_WITHIN_DAYS
from firstsilk.science.flowering.day_rows import (
    LOOK_OVERDUE_DAYS,
    NOTHING_LOST,
    ORDER,
    SHED_LASTS_DAYS,
    RowOnDay,
    SeasonDay,
    Task,
)
from firstsilk.science.flowering.stakes import (
    SILK_LASTS_DAYS,
    WORKABLE_FRAC,
    Stake,
    find_out_chance,
    find_shoots_lost,
)

__all__ = ["LOOK_OVERDUE_DAYS", "ORDER", "SHED_LASTS_DAYS", "SILK_LASTS_DAYS", "RowOnDay", "Task", "list_tasks"]

SHOOT_BAG_LEAD_DAYS = 4
"""Shoot bags go on before silks show: from this many days before expected silk (common practice, no source)."""
LOOK_LEAD_DAYS = 5
"""Rows are looked at for silk and shed from this many days before they are expected (common practice, no source)."""
FIRST_SILKS_DAYS = 2
"""Days before half silk from which the first plants of a bagged row can be pollinated: a row's plants spread over
a week and more (field of 10-14 days, Jeschke 2023); the number is ours."""
RIPE_AFTER_DAYS = 58
"""Days from pollination to black layer: 55-65 (Nielsen, grain fill stages)."""
TAKE_DOWN_DAYS = 4
"""Tassel bags put on more days ago than this are no longer asked for: they came down and nobody noted it (ours)."""
EARS_PER_TASSEL_BAG = 4
"""Ears that the pollen of one bagged tassel is counted for (common practice, no source)."""


def list_tasks(
    rows: Sequence[RowOnDay],
    today: date,
    cutoff_on: date | None = None,
    killed_on: date | None = None,
    workable_frac: float = WORKABLE_FRAC,
) -> tuple[Task, ...]:
    """Today's tasks over all rows, by kind in the order of a crew's day and by row number within a kind.

    Parameters
    ----------
    rows
        All rows of the season.
    today
        The day.
    cutoff_on
        Last day on which a row is still pollinated; None for no cutoff.
    killed_on
        Day of the frost that killed the plants, if there was one: nothing ripens after it.
    workable_frac
        Chance that a later day can be worked.

    Notes
    -----
    A row under a spray interval has no task. Heat and the hour are not considered, rain only as that chance.
    Checked by tests/science/test_day.py.
    """
    end = cutoff_on if killed_on is None else min(cutoff_on or killed_on, killed_on)
    day = SeasonDay(rows, today, end, killed_on, workable_frac)
    tasks = [task for row in rows if not row.no_entry for task in _tasks_of(row, day)]
    tasks += [*_male_bags(day), *_take_down(day, tasks)]
    return tuple(sorted(tasks, key=lambda task: (ORDER.index(task.do), task.number)))


def rank_tasks(tasks: Iterable[Task]) -> tuple[Task, ...]:
    """Tasks by what is lost if they wait, the most first; then by days left, kind and row."""
    return tuple(
        sorted(
            tasks,
            key=lambda one: (
                -round(one.urgency, 9),
                one.days_left if one.days_left is not None else 99,
                ORDER.index(one.do),
                one.number,
            ),
        )
    )


def _tasks_of(row: RowOnDay, day: SeasonDay) -> Iterable[Task]:
    state, today = row.state, day.today
    if row.purpose == "filler" and state.sown_on is not None:
        return
    if state.sown_on is None:
        if row.sow_on is not None and row.sow_on <= today and not state.misplanted:
            late = (today - row.sow_on).days
            why = (
                f"planned for {_day(row.sow_on)}, {late} day{'s' if late > 1 else ''} ago"
                if late
                else "planned for today"
            )
            yield Task("sow", row.number, row.tag, 1, (), None, why)
        return
    yield from _look(row, day)
    if row.purpose in ("self", "female"):
        yield from _shoot_bags(row, day)
        yield from _pollinate(row, day)
        yield from _pick(row, today, day.killed_on)


def _is_near(in_days: int | None, lead_days: int) -> bool:
    """True from so many days before the expected day until long after it."""
    return in_days is not None and -LOOK_OVERDUE_DAYS <= in_days <= lead_days


def _say_expected(in_days: int) -> str:
    if in_days < 0:
        return f"expected {_many(-in_days, 'day')} ago"
    return f"expected in {_many(in_days, 'day')}" if in_days else "expected now"


def _look(row: RowOnDay, day: SeasonDay) -> Iterable[Task]:
    """Rows near flowering that nobody has looked at today."""
    if day.is_past(day.today):
        return
    state, wanted = row.state, []
    looks = (
        ("silk", state.silk_on, state.silk_not_yet, row.silk_in_days, row.purpose in ("self", "female")),
        ("shed", state.shed_on, state.shed_not_yet, row.shed_in_days, row.purpose in ("self", "male")),
    )
    for what, seen, not_yet, in_days, matters in looks:
        looked_today = not_yet is not None and not_yet >= day.today
        if matters and seen is None and not looked_today and in_days is not None and _is_near(in_days, LOOK_LEAD_DAYS):
            wanted.append((what, in_days))
    if wanted:
        soonest = min(days for _, days in wanted)
        what = " and ".join(name for name, _ in wanted)
        why = f"{what} {_say_expected(soonest)}, not seen"
        out, ears = find_out_chance(soonest), _still_wanted(row)
        stake = day.find_look_stake(row, ears, max(0, -soonest), out) if ears else NOTHING_LOST
        here = f"{out:.0%} that {what} is out already and nobody knows".replace("%", " %")
        if ears:
            here += f"; {_many(ears, 'ear')} would add {_ears(stake.gain_ears)}, of which {_say_loss(stake)}"
        yield Task("look", row.number, row.tag, 1, (), None, why, stake, f"{here}.")


def _ears(count: float) -> str:
    """Good ears in few digits: 3.2, 0.35."""
    if count < 0.005:
        return "hardly a good ear"
    return f"{count:.1f} good ears" if count >= 0.95 else f"{count:.2f} good ears"


def _say_loss(stake: Stake) -> str:
    counted = "" if stake.weight == 1.0 else f", counted {stake.weight:g} by priority"
    lost = f"{stake.lost_frac:.0%}".replace("%", " %")
    return f"{lost} is lost by tomorrow: {_ears(stake.loss_ears)}{counted}"


def _still_wanted(row: RowOnDay) -> int:
    """Ears still to pollinate; those whose bags were found open or with silk seen do not count as made."""
    made = row.state.ears_pollinated
    return max(0, row.wanted - max(0, made - _lost(row))) if made else row.wanted


def _lost(row: RowOnDay) -> int:
    return max(row.state.spoiled, row.state.bags_not_well)


def _shoot_bags(row: RowOnDay, day: SeasonDay) -> Iterable[Task]:
    state, today = row.state, day.today
    missing = _still_wanted(row) + state.ears_pollinated - state.shoot_bags
    near = state.silk_on is not None or _is_near(row.silk_in_days, SHOOT_BAG_LEAD_DAYS)
    silk_over = state.silk_on is not None and (today - state.silk_on).days > SILK_LASTS_DAYS
    if missing <= 0 or not near or silk_over or day.is_past(today):
        return
    if state.silk_on is not None:
        why, left = f"silk since {_day(state.silk_on)}: bag late shoots before they show silk", 0
        in_days = -(today - state.silk_on).days
    else:
        in_days = row.silk_in_days or 0
        left = max(0, in_days)
        why = f"silk {_say_expected(in_days)}"
    stake = Stake(day.find_gain(row, missing), find_shoots_lost(max(in_days, -SILK_LASTS_DAYS)), row.weight)
    here = f"Shoots for {_ears(stake.gain_ears)}; {_say_loss(stake)}, as silk that shows first."
    yield Task("shoot_bag", row.number, row.tag, missing, (), left, why, stake, here)


def _sheds(row: RowOnDay, on: date) -> bool:
    start = row.state.shed_on
    return start is not None and 0 <= (on - start).days <= SHED_LASTS_DAYS


def _pollinate(row: RowOnDay, day: SeasonDay) -> Iterable[Task]:
    """Ears wanted, silks out and still good, and a male that sheds today."""
    state, wanted, today = row.state, _still_wanted(row), day.today
    half_on = _half_silk(row, today)
    if wanted == 0 or half_on is None or not _silk_is_good(half_on, today) or day.is_past(today):
        return
    left = SILK_LASTS_DAYS - max(0, (today - half_on).days)
    males = [day.by_tag[tag] for tag in row.males if tag in day.by_tag and _sheds(day.by_tag[tag], today)]
    if not males:
        return
    bagged = [male for male in males if _bagged_last_evening(male, today)]
    silk = f"silk since {_day(state.silk_on)}, {_say_left(left)}"
    if state.silk_on is None:
        silk = f"first silks may be out, half the row {_say_expected(row.silk_in_days or 0)}"
    why = f"{row.wanted - wanted} of {row.wanted} done, {silk}"
    if _lost(row):
        why = f"{_lost(row)} lost; {why}"
    if not bagged:
        why += "; no tassel bag noted last evening"
    numbers = tuple(male.number for male in (bagged or males))
    count = min(wanted, max(1, state.shoot_bags - state.ears_pollinated)) if state.shoot_bags else wanted
    stake, later = day.find_stake(row, half_on, count, today)
    days = f"{_many(later, 'later day')} of silk and pollen" if later else "no later day of silk and pollen"
    here = f"{_many(count, 'ear')} would add {_ears(stake.gain_ears)}; {days}: {_say_loss(stake)}."
    again = min(count, _lost(row))
    yield Task("pollinate", row.number, row.tag, count, numbers, left, why, stake, here, again)


def _half_silk(row: RowOnDay, today: date) -> date | None:
    """The day when half the plants show silk: as noted; as expected where shoot bags wait for it; else None."""
    if row.state.silk_on is not None or not row.state.shoot_bags:
        return row.state.silk_on
    if row.silk_in_days is None or row.silk_in_days < -LOOK_OVERDUE_DAYS:
        return None
    return today + timedelta(days=max(0, row.silk_in_days))


def _silk_is_good(half_on: date, on: date) -> bool:
    return -FIRST_SILKS_DAYS <= (on - half_on).days <= SILK_LASTS_DAYS


def _bagged_last_evening(male: RowOnDay, today: date) -> bool:
    last = male.state.last_tassel_bag_on
    return last is not None and 1 <= (today - last).days <= 2


def _male_bags(day: SeasonDay) -> list[Task]:
    """Tassels to bag this afternoon, for the pollinations that are possible tomorrow."""
    today, tomorrow = day.today, day.today + timedelta(days=1)
    if day.is_past(tomorrow):
        return []
    giving = {row.tag for row in day.rows if _can_give(row, tomorrow)}
    need: dict[str, int] = {}
    stakes: dict[str, list[Stake]] = defaultdict(list)
    for row in day.rows:
        half_on, wanted = _half_silk(row, today), _still_wanted(row)
        if row.no_entry or row.purpose not in ("self", "female") or half_on is None or not wanted:
            continue
        if not _silk_is_good(half_on, tomorrow):
            continue
        givers = [tag for tag in row.males if tag in giving]
        if not givers:
            continue
        stake, _ = day.find_stake(row, half_on, wanted, tomorrow)
        share, of_each = replace(stake, gain_ears=stake.gain_ears / len(givers)), -(-wanted // len(givers))
        for tag in givers:
            need[tag] = need.get(tag, 0) + of_each
            stakes[tag].append(share)
    return [
        _bag_male(day.by_tag[tag], ears, stakes[tag], today)
        for tag, ears in need.items()
        if day.by_tag[tag].state.last_tassel_bag_on != today
    ]


def _bag_male(male: RowOnDay, ears: int, stakes: Sequence[Stake], today: date) -> Task:
    left = SHED_LASTS_DAYS - (today - male.state.shed_on).days if male.state.shed_on else 0
    bags = ears if male.purpose == "self" else max(1, -(-ears // EARS_PER_TASSEL_BAG))
    why = f"sheds since {_day(male.state.shed_on)}; {_many(ears, 'ear')} can take its pollen tomorrow"
    gain, loss = sum(one.gain_ears for one in stakes), sum(one.loss_ears for one in stakes)
    weighted = sum(one.urgency for one in stakes)
    stake = Stake(gain, loss / gain if gain else 0.0, weighted / loss if loss else 1.0)
    here = f"Pollen for {_ears(gain)} of {_many(len(stakes), 'row')} tomorrow; without it {_say_loss(stake)}."
    return Task("tassel_bag", male.number, male.tag, bags, (), left, why, stake, here)


def _take_down(day: SeasonDay, tasks: Sequence[Task]) -> list[Task]:
    """Tassel bags whose pollen nobody wants today, or that hang too long: they come down, and it is noted."""
    wanted = {number for task in tasks if task.do == "pollinate" for number in task.males}
    found = []
    for row in day.rows:
        put_on, hanging = row.state.last_tassel_bag_on, row.state.tassel_bags_hanging
        if row.no_entry or put_on is None or not hanging:
            continue
        age, used = (day.today - put_on).days, day.used_on.get(row.tag)
        if not 1 <= age <= TAKE_DOWN_DAYS or (used is not None and used > put_on):
            continue
        if age > USED_WITHIN_DAYS:
            why = f"put on {age} days ago: its pollen is dead"
        elif row.number not in wanted:
            why = f"put on {_day(put_on)}: no row takes its pollen today"
        else:
            continue
        here = "Nothing is lost if it waits."
        found.append(Task("take_down", row.number, row.tag, hanging, (), None, why, NOTHING_LOST, here))
    return found


def _can_give(male: RowOnDay, on: date) -> bool:
    return not male.no_entry and _sheds(male, on)


def _day(value: date | None) -> str:
    return f"{value.day} {value:%b}" if value is not None else "?"


def _many(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def _say_left(days: int) -> str:
    return f"{_many(days, 'day')} of silk left" if days else "last day of silk"


def _pick(row: RowOnDay, today: date, killed_on: date | None) -> Iterable[Task]:
    """Ears at black layer, or killed by frost: they ripen no further."""
    state = row.state
    last = max((tally.last_on for tally in state.pollinations), default=None)
    if last is None or state.ears_picked or state.ears_standing == 0:
        return
    days, ears = (today - last).days, state.ears_standing
    said = f"{_many(ears, 'ear')}, last pollinated {days} days ago"
    if killed_on is not None and killed_on < today:
        why = f"{said}; killed by frost on {_day(killed_on)}, nothing ripens any more"
        yield Task("pick", row.number, row.tag, ears, (), None, why)
    elif days >= RIPE_AFTER_DAYS:
        why = f"{said}: at or after black layer"
        yield Task("pick", row.number, row.tag, ears, (), None, why)
