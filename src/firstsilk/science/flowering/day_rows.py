"""What are the rows of a season on one day, and what does a task on one of them need to know of the others?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from firstsilk.science.flowering.rows import RowState
from firstsilk.science.flowering.stakes import SILK_LASTS_DAYS, Stake, find_gain, find_silk_lost
from firstsilk.science.nursery.counts import SUCCESS_FRAC

SHED_LASTS_DAYS = 7
"""Days a row sheds usefully after half of it sheds: 5-8 (common practice); one plant at most 7 (Jeschke 2023)."""
LOOK_OVERDUE_DAYS = 21
"""A row that should have flowered this many days ago and was never seen to is no longer on the list (a choice of ours:
its silks, if any, are long over)."""
NOTHING_LOST = Stake()


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
    target
        Number of the target it serves; None if none.
    good_wanted
        Good ears that the whole target wants; 0 if that is not told: then every good ear counts.
    success_frac
        Good ears per pollination of its line.
    weight
        What the target's priority counts for.
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
    target: int | None = None
    good_wanted: int = 0
    success_frac: float = SUCCESS_FRAC
    weight: float = 1.0


@dataclass(frozen=True, slots=True)
class Task:
    """One thing to do today on one row.

    `do` is one of `ORDER`. `count` is how many bags or ears, `again` how many of these ears repeat lost ones; `males`
    the row numbers that give the pollen; `days_left` after which it is too late, None if it can wait. `stake` is what
    is lost if it waits until tomorrow, `here` says that in a sentence with its numbers; `why` says why it is listed.
    """

    do: str
    number: int
    tag: str
    count: int
    males: tuple[int, ...]
    days_left: int | None
    why: str
    stake: Stake = NOTHING_LOST
    here: str = ""
    again: int = 0

    @property
    def urgency(self) -> float:
        """Good ears lost if it waits until tomorrow, counted by priority."""
        return self.stake.urgency


ORDER = ("pollinate", "take_down", "tassel_bag", "shoot_bag", "look", "sow", "pick")


class SeasonDay:
    """The rows of a season on one day, and what a task on one of them needs to know of the others."""

    def __init__(
        self, rows: Sequence[RowOnDay], today: date, end_on: date | None, killed_on: date | None, workable_frac: float
    ) -> None:
        self.rows, self.today, self.end_on, self.killed_on = rows, today, end_on, killed_on
        self.workable_frac = workable_frac
        self.by_tag = {row.tag: row for row in rows}
        self._starts: dict[tuple[str, ...], tuple[date, ...]] = {}
        self.standing: dict[int, int] = defaultdict(int)
        self.used_on: dict[str, date] = {}
        for row in rows:
            if row.target is not None:
                self.standing[row.target] += min(row.wanted, row.state.ears_standing)
            for tally in row.state.pollinations:
                for male in tally.males or (row.tag,):
                    self.used_on[male] = max(tally.last_on, self.used_on.get(male, tally.last_on))

    def is_past(self, day: date) -> bool:
        """Whether nothing is pollinated any more on a day."""
        return self.end_on is not None and day > self.end_on

    def find_gain(self, row: RowOnDay, count: int) -> float:
        """Good ears that so many more pollinations of a row add to what its target still wants."""
        standing = self.standing[row.target] if row.target is not None else row.state.ears_standing
        return find_gain(standing, count, row.success_frac, row.good_wanted)

    def find_later(self, row: RowOnDay, half_on: date, day: date) -> tuple[int, ...]:
        """In how many days from a day on the row can be pollinated once more: silk good, a male sheds, no cutoff."""
        last = half_on + timedelta(days=SILK_LASTS_DAYS)
        starts = self._find_starts(row.males)
        later = []
        for ahead in range(1, (last - day).days + 1):
            on = day + timedelta(days=ahead)
            if not self.is_past(on) and any(0 <= (on - start).days <= SHED_LASTS_DAYS for start in starts):
                later.append(ahead)
        return tuple(later)

    def _find_starts(self, males: tuple[str, ...]) -> tuple[date, ...]:
        """The days on which the shed of any of these begins; many rows share their males, and many males a day."""
        if males not in self._starts:
            there = [self.by_tag[tag] for tag in males if tag in self.by_tag]
            starts = {start for male in there if (start := _shed_start(male, self.today)) is not None}
            self._starts[males] = tuple(sorted(starts))
        return self._starts[males]

    def find_look_stake(self, row: RowOnDay, count: int, age_days: int, out_frac: float) -> Stake:
        """What is lost if nobody looks today at a row that is out with this chance, so many days ago: a day's wait of
        its ears, with a male that sheds."""
        age = min(age_days, SILK_LASTS_DAYS)
        later = tuple(
            ahead
            for ahead in range(1, SILK_LASTS_DAYS - age + 1)
            if not self.is_past(self.today + timedelta(days=ahead))
        )
        lost = find_silk_lost(age, later, self.workable_frac)
        return Stake(self.find_gain(row, count), out_frac * lost, row.weight)

    def find_stake(self, row: RowOnDay, half_on: date, count: int, day: date) -> tuple[Stake, int]:
        """What is lost if so many ears that can be made on a day wait for the next; and on how many days they still can
        be made."""
        later = self.find_later(row, half_on, day)
        lost = find_silk_lost((day - half_on).days, later, self.workable_frac)
        return Stake(self.find_gain(row, count), lost, row.weight), len(later)


def _shed_start(male: RowOnDay, today: date) -> date | None:
    """The day on which a male's shed began, or is expected to: tomorrow where it is overdue."""
    if male.state.shed_on is not None or male.shed_in_days is None or male.shed_in_days < -LOOK_OVERDUE_DAYS:
        return male.state.shed_on
    return today + timedelta(days=max(1, male.shed_in_days))
