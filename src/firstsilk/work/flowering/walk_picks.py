"""What does a phone need at harvest? Ears still on each row, its bags, when it is ripe, and the tags of crates.

The rows are those of the pick list (`work.seed.picking`), which counts ears against pollinations; until the first row
is ripe nothing of it is read or sent.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from firstsilk.science.flowering.day import Task
from firstsilk.science.flowering.harvest import NO_BAG, EarCount, RowCount
from firstsilk.work.flowering.day import DayList
from firstsilk.work.occasion import Occasion
from firstsilk.work.seed.picking import PickRow, find_pick_rows, is_row_ripe, list_pick_tasks
from firstsilk.work.seed.season_notes import read_season_notes


@dataclass(frozen=True, slots=True)
class WalkEarBag:
    """One bag of a row: ears pollinated from it and not lost, and how many of them were picked and left already."""

    bag: str
    ears: int
    picked: int
    left: int


@dataclass(frozen=True, slots=True)
class WalkPick:
    """A row's ears at harvest.

    `ears` are still to be picked, of `standing` that were pollinated and not lost; `picked` and `left` are noted, those
    left without a bag also in `left_unknown`: they may never have been of these. `ripe_on` is when it is at black
    layer by the usual count; `is_ripe` also if frost has killed it.
    """

    ears: int
    standing: int
    picked: int
    left: int
    left_unknown: int
    ripe_on: str
    is_ripe: bool
    bags: tuple[WalkEarBag, ...]


@dataclass(frozen=True, slots=True)
class WalkPicks:
    """Rows with ears by tag, tags of crates, and the day list with the tasks of the pick list; empty before harvest."""

    day: DayList
    rows: Mapping[str, WalkPick] = field(default_factory=dict)
    crates: tuple[str, ...] = ()


def read_walk_picks(on: Occasion, day: DayList) -> WalkPicks:
    """The ears of every row that was pollinated, once one of them is ripe."""
    if not any(is_row_ripe(row, day.killed_on, on.today) for row in day.rows.values()):
        return WalkPicks(day)
    there = read_season_notes(on, day.season)
    to_pick = {row.tag: row for row in find_pick_rows(there, day)}
    ripe = [row for row in to_pick.values() if row.is_ripe and not row.blocked]
    tasks: tuple[Task, ...] = (*(task for task in day.tasks if task.do != "pick"), *list_pick_tasks(ripe))
    rows = {
        row.tag: _tell(there.ears[row.tag], to_pick.get(row.tag))
        for row in day.rows.values()
        if row.tag in there.ears and row.purpose in ("self", "female")
    }
    return WalkPicks(replace(day, tasks=tasks), rows, tuple(sorted(there.crates)))


def _tell(count: RowCount, row: PickRow | None) -> WalkPick:
    """A row's ears; one with nothing left to pick is ripe as far as anybody may care."""
    total = count.total
    return WalkPick(
        ears=total.missing,
        standing=total.standing,
        picked=total.picked,
        left=total.ears_left,
        left_unknown=sum(ears for why, ears in total.left if why == NO_BAG),
        ripe_on=row.ripe_on.isoformat() if row else "",
        is_ripe=row.is_ripe if row else True,
        bags=tuple(_tell_bag(one) for one in count.bags if one.pollinated),
    )


def _tell_bag(bag: EarCount) -> WalkEarBag:
    return WalkEarBag(bag.bag, bag.standing, bag.picked, bag.ears_left)
