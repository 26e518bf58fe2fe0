"""How far is each target: enough, more needed, or short?

What only the notes and the rates of its line tell. What the days left may still bring stands in `targets`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from firstsilk.science.flowering.day import SILK_LASTS_DAYS
from firstsilk.science.flowering.targets import ASSURANCE_FRAC, RED_FRAC, find_more
from firstsilk.science.seed.pollinations import EarRates, tabulate_reach
from firstsilk.work.flowering.rows import RowFacts


@dataclass(frozen=True, slots=True)
class TargetProgress:
    """How far one target is: ears wanted, pollinated, spoiled, picked, kernels, and in words.

    `standing` is ``none`` (nothing done yet), ``more`` (needed and possible), ``enough`` or ``short`` (no longer
    possible, and the chance too small); `chance_frac` the chance that ears picked and ears that stand give what is
    wanted, `goal_frac` the chance that is asked for, `more` the pollinations that are missing to it.
    """

    number: int
    kind: str
    female: str
    male: str
    ears_wanted: int
    kernels_wanted: int
    attempts_wanted: int
    ears_pollinated: int
    spoiled: int
    ears_picked: int
    kernels: int
    rows: tuple[int, ...]
    says: str
    standing: str
    chance_frac: float
    goal_frac: float
    more: int


@dataclass(frozen=True, slots=True)
class TargetReach:
    """What pollinations are worth to one target: `table` is the chance by how many stand, `standing` how many do.

    `goal_frac` is the chance asked for: the assurance, or what its plan gives if that is less.
    """

    table: NDArray[np.float64]
    standing: int
    goal_frac: float

    @property
    def now_frac(self) -> float:
        """The chance with what stands."""
        return float(self.table[min(self.standing, len(self.table) - 1)])

    @property
    def more(self) -> int:
        """Pollinations missing to the goal."""
        return find_more(self.table, self.standing, self.goal_frac)


def group_rows(rows: Iterable[RowFacts]) -> dict[int, list[RowFacts]]:
    """The rows that are pollinated, by the number of their target."""
    groups: dict[int, list[RowFacts]] = defaultdict(list)
    for row in rows:
        if row.target is not None and row.purpose in ("self", "female"):
            groups[row.target].append(row)
    return dict(sorted(groups.items()))


def measure_progress(rows: Iterable[RowFacts], today: date, end_on: date | None) -> tuple[TargetProgress, ...]:
    """How far each target is, from its rows; `end_on` is the last day on which anything is pollinated."""
    return tuple(_progress(number, group, today, end_on) for number, group in group_rows(rows).items())


def find_reach(rows: list[RowFacts], most: int = 0) -> TargetReach:
    """What pollinations are worth to the target of these rows.

    Parameters
    ----------
    rows
        All rows of one target.
    most
        The table goes at least so far beyond what stands.

    Notes
    -----
    Ears of rows that are picked are known: they count as they are, shelled ones with their kernels.
    """
    first = rows[0]
    attempts = sum(row.wanted for row in rows)
    growing = [row for row in rows if not row.state.ears_picked]
    standing = sum(count_standing(row) for row in growing)
    picked = sum(row.state.ears_picked for row in rows)
    kernels = sum(row.state.kernels for row in rows)
    shelled = sum(row.state.ears_picked for row in rows if row.state.kernels)
    ears = max(0, first.ears_asked - shelled)
    missing = max(0, first.kernels_asked - kernels)
    length = max(attempts, standing + most)
    table = _tabulate(length, first.ear_rates, ears, missing, picked - shelled)
    plan = _tabulate(max(attempts, 1), first.ear_rates, first.ears_asked, first.kernels_asked, 0)
    return TargetReach(table, standing, min(ASSURANCE_FRAC, float(plan[attempts])))


def count_standing(row: RowFacts) -> int:
    """Ears that stand on a row: not spoiled, and not found with an open bag, silk seen or a wrong code."""
    return max(0, row.state.ears_pollinated - max(row.state.spoiled, row.state.bags_not_well))


@lru_cache(maxsize=8192)
def _tabulate(most: int, rates: EarRates, ears: int, kernels: int, in_hand: int) -> NDArray[np.float64]:
    return tabulate_reach(most, rates, ears, kernels, in_hand)


def _progress(number: int, rows: list[RowFacts], today: date, end_on: date | None) -> TargetProgress:
    first = rows[0]
    reach = find_reach(rows)
    picked = sum(row.state.ears_picked for row in rows)
    over = (end_on is not None and today > end_on) or all(_silk_is_over(row, today) for row in rows)
    progress = TargetProgress(
        number=number,
        kind=first.kind,
        female=first.line,
        male=first.male,
        ears_wanted=first.ears_wanted,
        kernels_wanted=first.kernels_asked,
        attempts_wanted=sum(row.wanted for row in rows),
        ears_pollinated=sum(row.state.ears_pollinated for row in rows),
        spoiled=sum(row.state.spoiled for row in rows),
        ears_picked=picked,
        kernels=sum(row.state.kernels for row in rows),
        rows=tuple(row.number for row in rows),
        says="",
        standing="",
        chance_frac=reach.now_frac,
        goal_frac=reach.goal_frac,
        more=reach.more,
    )
    standing, says = _say(progress, reach, over)
    return replace(progress, standing=standing, says=says)


def _silk_is_over(row: RowFacts, today: date) -> bool:
    silk = row.state.silk_on
    return silk is not None and (today - silk).days > SILK_LASTS_DAYS


def _say(one: TargetProgress, reach: TargetReach, over: bool) -> tuple[str, str]:
    """The standing and its words; what is picked is told first."""
    if one.ears_picked:
        told = f"{one.ears_picked} of {one.ears_wanted} good ears picked"
        if one.kernels_wanted and one.kernels:
            told += f", {one.kernels:,} of {one.kernels_wanted:,} kernels"
        return ("enough", told) if reach.now_frac >= RED_FRAC else ("short", f"{told}: short")
    if not one.more:
        return "enough", "enough pollinated"
    if over:
        if reach.now_frac >= RED_FRAC:
            return "enough", f"{one.more} fewer than asked for, and its silk is over: likely enough"
        return "short", f"{one.more} short, and its silk is over" if reach.standing else "nothing made, too late now"
    if one.ears_pollinated:
        return "more", f"{one.more} more to pollinate"
    return "none", "nothing pollinated yet"
