"""What does a crew note in an invented nursery, day by day, given what it is asked to do?

`sow_field` lays the rows out with the facts that nature gives them. `walk_day` looks for silk and shed,
`answer_day_list` does the tasks of a day list. Both give note drafts: notes without identity, which `crew` writes as
phones do.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np

from firstsilk.invented.dice import roll
from firstsilk.invented.drafts import Mistake, NoteDraft, blur_drafts
from firstsilk.invented.nursery import FieldRow, RowFacts, draw_kernels, draw_row_facts
from firstsilk.invented.world import World, find_row_truth

DOINGS = ("sow", "stand", "look", "shoot_bag", "pollinate", "take_down", "tassel_bag", "rate", "pick", "shell")
"""What a task can ask for, in the order of a day."""
START_MINUTES = {"look": 450, "shoot_bag": 510, "pollinate": 600, "take_down": 780, "tassel_bag": 870}
"""Minutes after midnight at which each is begun; the others at eight. Pollen flies when the dew is gone."""
EIGHT_O_CLOCK = 480

TOO_WET_MM = 8.0
WET_MM = 2.0
"""Rain of a day on which nobody pollinates, and on which some pollen is wet."""
WET_POLLEN_SHARE = 0.2
BAG_LOST_SHARE = 0.015
PLANT_BROKEN_SHARE = 0.005
BY_BAG_SHARE = 0.3
CODED_BAGS = 3
"""Pollinations lost on a wet day, lost bags, broken plants; evenings on which a row gets numbered bags, and how many of
them at most. Ours, no source."""
MINUTES_AN_EAR, PACE_SPREAD = 3.3, 0.12
"""Minutes of this crew for a pollination, a little faster than the published 3.92, and its workers' spread (ours)."""


@dataclass(frozen=True, slots=True)
class CrewTask:
    """One line of a day list: a row's tag, what to do (of `DOINGS`), how many (0: as many as can be), whose pollen.

    `males` are tags of rows, the first that sheds is taken; empty: those that the row was sown with, its own tag for a
    self. For ``rate``, `trait` names what is scored: ``vigour`` or ``standing``.
    """

    tag: str
    do: str
    count: int = 0
    males: tuple[str, ...] = ()
    trait: str = "vigour"


@dataclass(slots=True)
class Progress:
    """What has been done on a row so far; `codes` are the bags of ears with a number, once picked of the good ones."""

    sown: bool = False
    silk_noted: bool = False
    shed_noted: bool = False
    shoot_bags: int = 0
    exposed: int = 0
    pollinated: int = 0
    spoiled: int = 0
    last_pollinated_on: date | None = None
    codes: list[str] = field(default_factory=list)
    picked: int | None = None
    picked_on: date | None = None
    kernels: int | None = None


@dataclass(slots=True)
class Field:
    """A nursery in the course of its season. Grows day by day; everything else here is frozen.

    `facts` is the truth about each row, `mistakes` the truth about notes that say something else than what happened.
    """

    world: World
    phones: int
    rows: dict[str, FieldRow]
    facts: dict[str, RowFacts]
    progress: dict[str, Progress]
    mistakes: list[Mistake] = field(default_factory=list)
    codes: list[str] = field(default_factory=list)
    hung: dict[str, tuple[date, list[str]]] = field(default_factory=dict)

    def phone_of(self, tag: str) -> int:
        """Which phone goes past a row: neighbouring rows share one. Counts from 0."""
        return list(self.rows).index(tag) * self.phones // len(self.rows)

    def available(self, tag: str, day: date) -> int:
        """Ears that can be pollinated on a day: silk out under a shoot bag, not too old, not yet pollinated."""
        facts, done = self.facts[tag], self.progress[tag]
        ready = min(facts.silking(day) - done.exposed, done.shoot_bags)
        return max(0, ready - max(done.pollinated, facts.too_old(day) - done.exposed))


def sow_field(world: World, rows: Iterable[FieldRow], phones: int = 4) -> Field:
    """Lay out a nursery with what nature gives each row.

    Parameters
    ----------
    world
        Must know each row's line.
    rows
        In field order, each tag once.
    phones
        Phones in the crew; each goes past its own stretch of rows with its own worker, W01, W02, ...

    Returns
    -------
    Field
        Ready for its first day.

    Raises
    ------
    KeyError
        If a line is not known.
    ValueError
        If a tag is there twice.
    """
    laid = list(rows)
    by_tag = {row.tag: row for row in laid}
    if len(by_tag) != len(laid):
        raise ValueError("a tag is there twice")
    facts = {
        row.tag: draw_row_facts(world.seed, world.weather, world.home, find_row_truth(world, row.line), row)
        for row in laid
    }
    return Field(world, phones, by_tag, facts, {tag: Progress() for tag in by_tag})


def walk_day(field: Field, day: date, tags: Sequence[str] | None = None) -> tuple[NoteDraft, ...]:
    """Walk rows and look for silk and shed.

    Parameters
    ----------
    field
        The nursery; remembers what has been noted.
    day
        The day of the walk.
    tags
        The rows to look at; every sown row if None. A row whose silk and shed are noted gives no note.

    Returns
    -------
    tuple of NoteDraft
        ``silk`` or ``silk_not_yet`` and ``shed`` or ``shed_not_yet``, with the day of the walk as their value.
    """
    chosen = tags if tags is not None else [tag for tag, done in field.progress.items() if done.sown]
    return answer_day_list(field, [CrewTask(tag, "look") for tag in chosen], day)


def answer_day_list(field: Field, tasks: Iterable[CrewTask], day: date) -> tuple[NoteDraft, ...]:
    """Do the tasks of a day list and note what was done, with the slips that people make.

    Parameters
    ----------
    field
        The nursery; remembers what was done.
    tasks
        In any order; done in the order of a day, and of the field within it.
    day
        Today.

    Returns
    -------
    tuple of NoteDraft
        In the order in which they were taken. A task that cannot be done (no silk to pollinate, too wet, the male does
        not shed) gives no note of doing.

    Raises
    ------
    KeyError
        If a tag is not in the field.
    ValueError
        If a task asks for something that is not in `DOINGS`.

    Notes
    -----
    Ears pollinated never exceed shoot bags put on in time, nor those the plants that stand.
    Checked by ``tests/work/test_invented_season.py``.
    """
    place = {tag: at for at, tag in enumerate(field.rows)}
    ordered = sorted(tasks, key=lambda task: (_position(task.do), place[task.tag]))
    drafts: list[NoteDraft] = []
    for task in ordered:
        dice = roll(field.world.seed, "task", task.tag, task.do, task.trait, day)
        drafts += [_stamp(field, task, said, day) for said in _DO[task.do](field, task, day, dice)]
    timed = set_clocks(field, drafts, day)
    males = [tag for tag, row in field.rows.items() if row.purpose == "male"]
    blurred, mistakes = blur_drafts(field.world.seed, timed, males)
    field.mistakes += mistakes
    return blurred


def _position(do: str) -> int:
    if do not in DOINGS:
        raise ValueError(f"a crew can {', '.join(DOINGS)}; not {do!r}")
    return DOINGS.index(do)


@dataclass(frozen=True, slots=True)
class _Said:
    """What a crew wants to write about a row."""

    kind: str
    value: str
    detail: str = ""
    male: str = ""
    bag: str = ""


def _stamp(field: Field, task: CrewTask, said: _Said, day: date) -> NoteDraft:
    phone = field.phone_of(task.tag)
    return NoteDraft(
        key="",
        phone=phone,
        worker=f"W{phone + 1:02d}",
        kind=said.kind,
        detail=said.detail,
        tag=task.tag,
        male=said.male,
        bag=said.bag,
        value=said.value,
        taken_local=f"{day.isoformat()}T{START_MINUTES.get(task.do, EIGHT_O_CLOCK)}",
    )


def set_clocks(field: Field, drafts: Iterable[NoteDraft], day: date) -> list[NoteDraft]:
    """Each phone's clock, never going back: a job begins at its minute of the day, which stands for the time of its
    drafts, and notes follow at a walker's pace."""
    clocks: dict[int, int] = {}
    timed = []
    for at, draft in enumerate(drafts):
        start = int(draft.taken_local.partition("T")[2]) * 60
        dice = roll(field.world.seed, "clock", draft.tag, draft.kind, draft.bag, day)
        clock = max(start, clocks.get(draft.phone, 0)) + int(dice.integers(15, 50))
        if draft.kind == "pollinated":
            clock += int(
                60 * find_minutes_an_ear(field.world.seed, draft.worker) * int(draft.value) * dice.lognormal(0, 0.2)
            )
        clocks[draft.phone] = clock
        timed.append(draft.taken(f"{day.isoformat()}:{draft.phone}:{draft.kind}:{draft.tag}:{at}", day, clock))
    return timed


def find_minutes_an_ear(seed: int, worker: str) -> float:
    """The truth about a worker's pace: minutes for one pollination [min]."""
    return float(MINUTES_AN_EAR * roll(seed, "pace", worker).lognormal(0, PACE_SPREAD))


def _do_sow(field: Field, task: CrewTask, day: date, dice: np.random.Generator) -> list[_Said]:
    field.progress[task.tag].sown = True
    return [_Said("sown", day.isoformat())]


def _do_stand(field: Field, task: CrewTask, day: date, dice: np.random.Generator) -> list[_Said]:
    return [_Said("stand", str(field.facts[task.tag].stand))]


def _do_look(field: Field, task: CrewTask, day: date, dice: np.random.Generator) -> list[_Said]:
    facts, done = field.facts[task.tag], field.progress[task.tag]
    said = []
    if not done.shed_noted:
        done.shed_noted = facts.shed_on is not None and day >= facts.shed_on
        said.append(_Said("shed" if done.shed_noted else "shed_not_yet", day.isoformat()))
    if not done.silk_noted:
        done.silk_noted = facts.silk_on is not None and day >= facts.silk_on
        said.append(_Said("silk" if done.silk_noted else "silk_not_yet", day.isoformat()))
    return said


def _do_shoot_bag(field: Field, task: CrewTask, day: date, dice: np.random.Generator) -> list[_Said]:
    """Bag shoots before they silk: as many as asked, or those that will silk by tomorrow. Silk already out is lost."""
    facts, done = field.facts[task.tag], field.progress[task.tag]
    done.exposed = max(done.exposed, facts.silking(day) - done.shoot_bags)
    room = facts.stand - done.exposed - done.shoot_bags
    wanted = task.count or facts.silking(day + timedelta(days=1)) - done.exposed - done.shoot_bags
    bags = max(0, min(wanted, room))
    done.shoot_bags += bags
    return [_Said("shoot_bagged", str(bags))] if bags else []


def _do_tassel_bag(field: Field, task: CrewTask, day: date, dice: np.random.Generator) -> list[_Said]:
    facts = field.facts[task.tag]
    if not facts.sheds(day + timedelta(days=1)):
        return []
    bags = min(task.count or facts.stand // 2, facts.stand)
    coded = field.codes[: min(bags, CODED_BAGS)] if dice.random() < BY_BAG_SHARE else []
    del field.codes[: len(coded)]
    said = _say_taken_down(field, task.tag)
    field.hung[task.tag] = (day, coded)
    said += [_Said("tassel_bagged", "1", bag=code) for code in coded]
    return [*said, _Said("tassel_bagged", str(bags - len(coded)))] if bags > len(coded) else said


def _do_take_down(field: Field, task: CrewTask, day: date, dice: np.random.Generator) -> list[_Said]:
    said = _say_taken_down(field, task.tag)
    rest = task.count - len(said)
    return [*said, _Said("tassel_unbagged", str(rest))] if rest > 0 else said


def _say_taken_down(field: Field, tag: str) -> list[_Said]:
    """Numbered bags of an earlier evening that nobody used come down, each told by its number."""
    _, codes = field.hung.pop(tag, (None, []))
    return [_Said("tassel_unbagged", "1", bag=code) for code in codes]


def _do_pollinate(field: Field, task: CrewTask, day: date, dice: np.random.Generator) -> list[_Said]:
    row, done = field.rows[task.tag], field.progress[task.tag]
    rain_mm = field.world.weather.at(field.world.home, day)[2]
    ears = field.available(task.tag, day)
    left = row.ears_wanted - done.pollinated if row.ears_wanted else ears
    ears = max(0, min(ears, left, task.count or ears))
    kind, male = _choose_pollen(field, row, task, day)
    if not ears or not kind or rain_mm >= TOO_WET_MM:
        return []
    done.pollinated += ears
    done.last_pollinated_on = day
    bags = _take_hung(field, male or task.tag, ears, day)
    done.codes += bags
    said = _say_pollinated(kind, male, ears, bags)
    losses = [("bag_lost", BAG_LOST_SHARE), ("plant_broken", PLANT_BROKEN_SHARE)]
    losses += [("wet_pollen", WET_POLLEN_SHARE)] if rain_mm >= WET_MM else []
    for reason, share in losses:
        lost = min(int(dice.binomial(ears, share)), done.pollinated - done.spoiled)
        done.spoiled += lost
        said += [_Said("spoiled", str(lost), reason)] if lost else []
    return said


def _choose_pollen(field: Field, row: FieldRow, task: CrewTask, day: date) -> tuple[str, str]:
    """The type of pollination and the male's tag; no type if nothing sheds. A self has no other row as its male."""
    males = task.males or row.males
    if not males or males == (row.tag,):
        return (row.pollination or "self" if field.facts[row.tag].sheds(day) else ""), ""
    shedding = [male for male in males if field.facts[male].sheds(day)]
    return (row.pollination or "cross", shedding[0]) if shedding else ("", "")


def _take_hung(field: Field, male: str, ears: int, day: date) -> list[str]:
    """Codes of the bags that came on this male's tassels the evening before, one for an ear as far as they go."""
    on, codes = field.hung.get(male, (day, []))
    if on != day - timedelta(days=1):
        return []
    taken = codes[:ears]
    del codes[: len(taken)]
    return taken


def _say_pollinated(kind: str, male: str, ears: int, bags: list[str]) -> list[_Said]:
    """A note for each bag with a code, and one tally of the ears that have none."""
    said = [_Said("pollinated", "1", kind, male, bag) for bag in bags]
    return [*said, _Said("pollinated", str(ears - len(bags)), kind, male)] if ears > len(bags) else said


def _do_rate(field: Field, task: CrewTask, day: date, dice: np.random.Generator) -> list[_Said]:
    """Scores 1 (bad) to 9 (good) by eye: vigour by the stand, standing by what the line's stalks are worth."""
    row = field.rows[task.tag]
    if task.trait == "standing":
        middle = 6.5 - 1.5 * find_row_truth(field.world, row.line).lodging_logit
    else:
        middle = 2.0 + 6.0 * field.facts[task.tag].stand / max(row.kernels, 1)
    return [_Said("rated", str(int(np.clip(round(dice.normal(middle, 0.7)), 1, 9))), task.trait)]


def _do_pick(field: Field, task: CrewTask, day: date, dice: np.random.Generator) -> list[_Said]:
    done = field.progress[task.tag]
    if done.picked is not None or not done.pollinated:
        return []
    good = int(dice.binomial(done.pollinated - done.spoiled, field.facts[task.tag].success_frac))
    done.picked, done.picked_on = good, day
    return [_Said("ears_picked", str(good))]


def _do_shell(field: Field, task: CrewTask, day: date, dice: np.random.Generator) -> list[_Said]:
    done = field.progress[task.tag]
    if not done.picked or done.kernels is not None:
        return []
    done.kernels = draw_kernels(dice, field.facts[task.tag].kernels_per_ear, done.picked)
    return [_Said("shelled", str(done.kernels))]


_DO = {
    "sow": _do_sow,
    "stand": _do_stand,
    "look": _do_look,
    "shoot_bag": _do_shoot_bag,
    "pollinate": _do_pollinate,
    "tassel_bag": _do_tassel_bag,
    "take_down": _do_take_down,
    "rate": _do_rate,
    "pick": _do_pick,
    "shell": _do_shell,
}
