"""Which rows need a hand today, for what, and why?

Values in, values out: what each row is for, what the notes say of it, what its heat units promise. The list is in
walking order within each kind of task, and each task says why it is there.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from firstsilk.science.flowering.rows import RowState

SHOOT_BAG_LEAD_DAYS = 4
"""Shoot bags go on before silks show: from this many days before expected silk (common practice, no source)."""
LOOK_LEAD_DAYS = 5
"""Rows are looked at for silk and shed from this many days before they are expected (common practice, no source)."""
SILK_LASTS_DAYS = 6
"""Days a row's silks take pollen after half of it silks: 5-6 (summary page on silk growth and receptivity)."""
FIRST_SILKS_DAYS = 2
"""Days before half silk from which the first plants of a bagged row can be pollinated: a row's plants spread over
a week and more (field of 10-14 days, Jeschke 2023); the number is ours."""
SHED_LASTS_DAYS = 7
"""Days a row sheds usefully after half of it sheds: 5-8 (common practice); one plant at most 7 (Jeschke 2023)."""
RIPE_AFTER_DAYS = 58
"""Days from pollination to black layer: 55-65 (Nielsen, grain fill stages)."""
LOOK_OVERDUE_DAYS = 21
"""A row that should have flowered this many days ago and was never seen to is no longer on the list (a choice of ours:
its silks, if any, are long over)."""
EARS_PER_TASSEL_BAG = 4
"""Ears that the pollen of one bagged tassel is counted for (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class RowOnDay:
    """One row as planned, as noted and as expected.

    Attributes
    ----------
    number, tag, purpose
        Row number in walking order, its tag, and ``self``, ``female``, ``male`` or ``filler``.
    type
        Pollination wanted: ``self``, ``cross``, ``testcross``, ...; empty for males and fillers.
    wanted
        Pollinations to attempt on this row (already with assurance); 0 for males.
    males
        Tags of the rows that may give pollen to this row; its own tag for a self.
    sow_on
        Day planned for sowing.
    silk_in_days, shed_in_days
        Days from today to expected silk and shed [days]; negative = that many days overdue; None if unknown or never.
    state
        What the notes say.
    no_entry
        True while the row lies under a spray interval.
    """

    number: int
    tag: str
    purpose: str
    type: str
    wanted: int
    males: tuple[str, ...]
    sow_on: date | None
    silk_in_days: int | None
    shed_in_days: int | None
    state: RowState
    no_entry: bool = False


@dataclass(frozen=True, slots=True)
class Task:
    """One thing to do today on one row.

    `do` is one of ``sow``, ``look``, ``shoot_bag``, ``tassel_bag``, ``pollinate``, ``pick``. `count` is how many bags
    or ears; `males` the row numbers that give the pollen; `days_left` after which it is too late, None if it can wait.
    """

    do: str
    number: int
    tag: str
    count: int
    males: tuple[int, ...]
    days_left: int | None
    urgency: float
    why: str


ORDER = ("pollinate", "tassel_bag", "shoot_bag", "look", "sow", "pick")


def list_tasks(
    rows: Sequence[RowOnDay], today: date, cutoff_on: date | None = None, killed_on: date | None = None
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

    Notes
    -----
    A row under a spray interval has no task. Rain, heat and the hour are not considered.
    Checked by tests/science/test_day.py.
    """
    by_tag = {row.tag: row for row in rows}
    end = cutoff_on if killed_on is None else min(cutoff_on or killed_on, killed_on)
    tasks = [task for row in rows if not row.no_entry for task in _tasks_of(row, by_tag, today, end, killed_on)]
    tasks += _male_bags(rows, by_tag, today, end)
    return tuple(sorted(tasks, key=lambda task: (ORDER.index(task.do), task.number)))


def _tasks_of(
    row: RowOnDay, by_tag: Mapping[str, RowOnDay], today: date, cutoff_on: date | None, killed_on: date | None
) -> Iterable[Task]:
    state = row.state
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
            yield Task("sow", row.number, row.tag, 1, (), None, 1.0 + late, why)
        return
    yield from _look(row, today, cutoff_on)
    if row.purpose in ("self", "female"):
        yield from _shoot_bags(row, today, cutoff_on)
        yield from _pollinate(row, by_tag, today, cutoff_on)
        yield from _pick(row, today, killed_on)


def _is_near(in_days: int | None, lead_days: int) -> bool:
    """True from so many days before the expected day until long after it."""
    return in_days is not None and -LOOK_OVERDUE_DAYS <= in_days <= lead_days


def _say_expected(in_days: int) -> str:
    if in_days < 0:
        return f"expected {_many(-in_days, 'day')} ago"
    return f"expected in {_many(in_days, 'day')}" if in_days else "expected now"


def _look(row: RowOnDay, today: date, cutoff_on: date | None) -> Iterable[Task]:
    """Rows near flowering that nobody has looked at today."""
    if _past_cutoff(today, cutoff_on):
        return
    state, wanted = row.state, []
    looks = (
        ("silk", state.silk_on, state.silk_not_yet, row.silk_in_days, row.purpose in ("self", "female")),
        ("shed", state.shed_on, state.shed_not_yet, row.shed_in_days, row.purpose in ("self", "male")),
    )
    for what, seen, not_yet, in_days, matters in looks:
        looked_today = not_yet is not None and not_yet >= today
        if matters and seen is None and not looked_today and in_days is not None and _is_near(in_days, LOOK_LEAD_DAYS):
            wanted.append((what, in_days))
    if wanted:
        soonest = min(days for _, days in wanted)
        what = " and ".join(name for name, _ in wanted)
        why = f"{what} {_say_expected(soonest)}, not seen"
        yield Task("look", row.number, row.tag, 1, (), None, float(LOOK_LEAD_DAYS - soonest), why)


def _still_wanted(row: RowOnDay) -> int:
    return max(0, row.wanted - row.state.ears_standing)


def _past_cutoff(today: date, cutoff_on: date | None) -> bool:
    return cutoff_on is not None and today > cutoff_on


def _shoot_bags(row: RowOnDay, today: date, cutoff_on: date | None) -> Iterable[Task]:
    state = row.state
    missing = _still_wanted(row) + state.ears_pollinated - state.shoot_bags
    near = state.silk_on is not None or _is_near(row.silk_in_days, SHOOT_BAG_LEAD_DAYS)
    silk_over = state.silk_on is not None and (today - state.silk_on).days > SILK_LASTS_DAYS
    if missing <= 0 or not near or silk_over or _past_cutoff(today, cutoff_on):
        return
    if state.silk_on is not None:
        why, left = f"silk since {_day(state.silk_on)}: bag late shoots before they show silk", 0
    else:
        left = max(0, row.silk_in_days or 0)
        why = f"silk {_say_expected(row.silk_in_days or 0)}"
    yield Task("shoot_bag", row.number, row.tag, missing, (), left, missing * (1 + SHOOT_BAG_LEAD_DAYS - left), why)


def _sheds(row: RowOnDay, on: date) -> bool:
    start = row.state.shed_on
    return start is not None and 0 <= (on - start).days <= SHED_LASTS_DAYS


def _pollinate(row: RowOnDay, by_tag: Mapping[str, RowOnDay], today: date, cutoff_on: date | None) -> Iterable[Task]:
    """Ears wanted, silks out and still good, and a male that sheds today."""
    state, wanted, half_on = row.state, _still_wanted(row), _half_silk(row, today)
    if wanted == 0 or half_on is None or not _silk_is_good(half_on, today) or _past_cutoff(today, cutoff_on):
        return
    left = SILK_LASTS_DAYS - max(0, (today - half_on).days)
    males = [by_tag[tag] for tag in row.males if tag in by_tag and _sheds(by_tag[tag], today)]
    if not males:
        return
    bagged = [male for male in males if _bagged_last_evening(male, today)]
    silk = f"silk since {_day(state.silk_on)}, {_say_left(left)}"
    if state.silk_on is None:
        silk = f"first silks may be out, half the row {_say_expected(row.silk_in_days or 0)}"
    why = f"{state.ears_standing} of {row.wanted} done, {silk}"
    if not bagged:
        why += "; no tassel bag noted last evening"
    numbers = tuple(male.number for male in (bagged or males))
    count = min(wanted, max(1, state.shoot_bags - state.ears_pollinated)) if state.shoot_bags else wanted
    yield Task("pollinate", row.number, row.tag, count, numbers, left, wanted * (1.0 + SILK_LASTS_DAYS - left), why)


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


def _male_bags(
    rows: Sequence[RowOnDay], by_tag: Mapping[str, RowOnDay], today: date, cutoff_on: date | None
) -> list[Task]:
    """Tassels to bag this afternoon, for the pollinations that are possible tomorrow."""
    tomorrow = today + timedelta(days=1)
    if _past_cutoff(tomorrow, cutoff_on):
        return []
    need: dict[str, int] = {}
    for row in rows:
        half_on = _half_silk(row, today)
        if row.no_entry or row.purpose not in ("self", "female") or half_on is None or not _still_wanted(row):
            continue
        if not _silk_is_good(half_on, tomorrow):
            continue
        givers = [tag for tag in row.males if tag in by_tag and _can_give(by_tag[tag], tomorrow)]
        for tag in givers:
            need[tag] = need.get(tag, 0) + -(-_still_wanted(row) // len(givers))
    tasks = []
    for tag, ears in need.items():
        male = by_tag[tag]
        if male.state.last_tassel_bag_on == today:
            continue
        left = SHED_LASTS_DAYS - (today - male.state.shed_on).days if male.state.shed_on else 0
        bags = ears if male.purpose == "self" else max(1, -(-ears // EARS_PER_TASSEL_BAG))
        why = f"sheds since {_day(male.state.shed_on)}; {_many(ears, 'ear')} can take its pollen tomorrow"
        tasks.append(Task("tassel_bag", male.number, tag, bags, (), left, float(ears), why))
    return tasks


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
        frozen = float((today - killed_on).days)
        why = f"{said}; killed by frost on {_day(killed_on)}, nothing ripens any more"
        yield Task("pick", row.number, row.tag, ears, (), None, frozen, why)
    elif days >= RIPE_AFTER_DAYS:
        why = f"{said}: at or after black layer"
        yield Task("pick", row.number, row.tag, ears, (), None, float(days - RIPE_AFTER_DAYS), why)
