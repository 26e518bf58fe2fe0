"""Which sowing days for all parents together make the crosses worth most, and how sure is it that none are better?

Each parent (a line in one role) takes one of its patterns, a set of sowing days; each cross has a worth for each pair
of patterns of its female and male; a field takes only so many rows a day. Found by moves from several starts, bounded
by shifting worth between parents (`sowing_bound`), and what is left open is closed by a mixed-integer programme
(`sowing_exact`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

PART = 8
"""Parents that are taken out at once to be put back better (a choice of ours)."""
EVEN = 1e-12
"""Worths nearer than this are even."""


@dataclass(frozen=True, slots=True)
class Parent:
    """A line in one role: the sets of days it may be sown on, and how many rows it takes in all.

    Rows are shared evenly over the days of a set, rounded up.
    """

    patterns: tuple[tuple[int, ...], ...]
    rows: int = 1


@dataclass(frozen=True, slots=True)
class Mating:
    """A cross: positions of its female and male among the parents, and what each pair of their patterns is worth
    (female patterns, male patterns), weight included, 0 or more."""

    female: int
    male: int
    worth: FloatArray


@dataclass(frozen=True, slots=True)
class SowingProblem:
    """Parents, crosses between them, and the rows that can be sown on one day (None: any number).

    Raises
    ------
    ValueError
        If a table does not fit its parents, a worth is negative, or a parent has no pattern.
    """

    parents: tuple[Parent, ...]
    matings: tuple[Mating, ...]
    rows_per_day: int | None = None
    n_days: int = 0
    around: tuple[tuple[int, ...], ...] = field(init=False)

    def __post_init__(self) -> None:
        around: list[list[int]] = [[] for _ in self.parents]
        for at, one in enumerate(self.matings):
            shape = (len(self.parents[one.female].patterns), len(self.parents[one.male].patterns))
            if one.female == one.male or one.worth.shape != shape or not np.all(one.worth >= 0):
                raise ValueError(f"cross {at} does not fit its parents")
            around[one.female].append(at)
            around[one.male].append(at)
        if not all(parent.patterns for parent in self.parents):
            raise ValueError("a parent has no day to be sown on")
        object.__setattr__(self, "around", tuple(tuple(each) for each in around))

    def loads(self, parent: int) -> FloatArray:
        """Rows that each pattern of a parent puts on each day (patterns, days)."""
        one = self.parents[parent]
        load = np.zeros((len(one.patterns), self.n_days))
        for at, pattern in enumerate(one.patterns):
            load[at, list(pattern)] = -(-one.rows // len(pattern))
        return load

    def table(self, mating: int, parent: int) -> FloatArray:
        """A cross's worth with the patterns of `parent` first."""
        one = self.matings[mating]
        return one.worth if one.female == parent else one.worth.T

    def other(self, mating: int, parent: int) -> int:
        """The other parent of a cross."""
        one = self.matings[mating]
        return one.male if one.female == parent else one.female


def sum_worth(problem: SowingProblem, labels: Sequence[int]) -> float:
    """The worth of all crosses under a choice of one pattern for each parent."""
    return float(sum(one.worth[labels[one.female], labels[one.male]] for one in problem.matings))


class FieldBook:
    """Rows put on each day under a choice, and what would still fit."""

    def __init__(self, problem: SowingProblem, labels: Sequence[int]) -> None:
        self.most = problem.rows_per_day
        if self.most is None:
            return
        self.loads = [problem.loads(at) for at in range(len(problem.parents))]
        self.day = np.sum([load[label] for load, label in zip(self.loads, labels, strict=True)], axis=0)

    def fits(self, parent: int, label: int) -> NDArray[np.bool_] | None:
        """Which patterns a parent may change to (patterns,); None where every one may be had."""
        if self.most is None:
            return None
        rest = self.day - self.loads[parent][label]
        fits: NDArray[np.bool_] = np.all(rest[None, :] + self.loads[parent] <= self.most, axis=1)
        return fits

    def take_out(self, parent: int, label: int) -> None:
        """Take a parent's rows out of the field."""
        if self.most is not None:
            self.day = self.day - self.loads[parent][label]

    def put_in(self, parent: int, label: int) -> None:
        """Put a parent's rows into the field."""
        if self.most is not None:
            self.day = self.day + self.loads[parent][label]

    def room_for(self, parent: int) -> NDArray[np.bool_] | None:
        """Which patterns a parent that is out may take (patterns,); None where every one may be had."""
        if self.most is None:
            return None
        fits: NDArray[np.bool_] = np.all(self.day[None, :] + self.loads[parent] <= self.most, axis=1)
        return fits

    def change(self, parent: int, old: int, new: int) -> None:
        """Move a parent's rows from one pattern's days to another's."""
        if self.most is not None:
            self.day += self.loads[parent][new] - self.loads[parent][old]


def place_rows(problem: SowingProblem) -> list[int] | None:
    """Any choice within the rows a day: parents with most rows first, each on the days with most room; None if that
    finds none."""
    labels = [0] * len(problem.parents)
    if problem.rows_per_day is None:
        return labels
    day = np.zeros(problem.n_days)
    for at in sorted(range(len(labels)), key=lambda one: (-problem.parents[one].rows, one)):
        after = day[None, :] + problem.loads(at)
        fits = np.all(after <= problem.rows_per_day, axis=1)
        if not fits.any():
            return None
        fullest = np.where(fits, after.max(axis=1), np.inf)
        labels[at] = int(np.argmin(fullest))
        day += problem.loads(at)[labels[at]]
    return labels


def improve_choice(problem: SowingProblem, labels: Sequence[int], sweeps: int = 50) -> list[int]:
    """Improve a choice until no single parent, and no parent together with its mates, can do better.

    Parameters
    ----------
    labels
        A pattern for each parent, within the rows a day.
    sweeps
        Most rounds over all parents.
    """
    now = list(labels)
    book = FieldBook(problem, now)
    for _ in range(sweeps):
        moved = _move_singly(problem, now, book)
        if problem.rows_per_day is None:
            moved |= _move_with_mates(problem, now)
        if not moved:
            break
    return now


def _weigh_labels(problem: SowingProblem, labels: Sequence[int], parent: int) -> FloatArray:
    """What each pattern of a parent is worth while all others stay (patterns,)."""
    total = np.zeros(len(problem.parents[parent].patterns))
    for mating in problem.around[parent]:
        total += problem.table(mating, parent)[:, labels[problem.other(mating, parent)]]
    return total


def _move_singly(problem: SowingProblem, labels: list[int], book: FieldBook) -> bool:
    moved = False
    for parent in range(len(labels)):
        worth = _weigh_labels(problem, labels, parent)
        fits = book.fits(parent, labels[parent])
        if fits is not None:
            worth = np.where(fits, worth, -np.inf)
        best = int(np.argmax(worth))
        if worth[best] > worth[labels[parent]] + EVEN:
            book.change(parent, labels[parent], best)
            labels[parent] = best
            moved = True
    return moved


def _move_with_mates(problem: SowingProblem, labels: list[int]) -> bool:
    """Change a parent and, with it, all its mates at once: exact for a star of crosses around it."""
    moved = False
    for parent in range(len(labels)):
        mates = _sum_by_mate(problem, labels, parent)
        best_of = {mate: table.max(axis=1) for mate, table in mates.items()}
        total = np.sum(list(best_of.values()), axis=0) if best_of else np.zeros(1)
        held = sum(table[labels[parent], labels[mate]] for mate, table in mates.items())
        best = int(np.argmax(total))
        if total[best] > held + EVEN:
            labels[parent] = best
            for mate, table in mates.items():
                labels[mate] = int(np.argmax(table[best]))
            moved = True
    return moved


def _sum_by_mate(problem: SowingProblem, labels: Sequence[int], parent: int) -> dict[int, FloatArray]:
    """For each mate: worth by pattern of the parent and of the mate, the mate's other crosses as they stand."""
    mates: dict[int, FloatArray] = {}
    for mating in problem.around[parent]:
        mate = problem.other(mating, parent)
        if mate not in mates:
            elsewhere = np.zeros(len(problem.parents[mate].patterns))
            for other in problem.around[mate]:
                third = problem.other(other, mate)
                if third != parent:
                    elsewhere += problem.table(other, mate)[:, labels[third]]
            mates[mate] = np.repeat(elsewhere[None, :], len(problem.parents[parent].patterns), axis=0)
        mates[mate] = mates[mate] + problem.table(mating, parent)
    return mates


def rebuild_part(problem: SowingProblem, labels: Sequence[int], dice: np.random.Generator) -> list[int] | None:
    """Take a few linked parents out of a choice and put them back one by one where they are worth most; None if they
    do not fit any more."""
    now = list(labels)
    centre = int(dice.integers(len(now)))
    linked = sorted({problem.other(mating, centre) for mating in problem.around[centre]} | {centre})
    others = [one for one in range(len(now)) if one not in linked]
    picked = [*linked, *dice.permutation(others)[:3].tolist()]
    out = [int(one) for one in dice.permutation(picked)[:PART]]
    book = FieldBook(problem, now)
    for parent in out:
        book.take_out(parent, now[parent])
    waiting = set(out)
    for parent in out:
        waiting.discard(parent)
        worth = np.zeros(len(problem.parents[parent].patterns))
        for mating in problem.around[parent]:
            mate, table = problem.other(mating, parent), problem.table(mating, parent)
            # A mate that is out itself may still come anywhere.
            worth += table.max(axis=1) if mate in waiting else table[:, now[mate]]
        fits = book.room_for(parent)
        if fits is not None:
            worth = np.where(fits, worth, -np.inf)
        best = int(np.argmax(worth))
        if not np.isfinite(worth[best]):
            return None
        now[parent] = best
        book.put_in(parent, best)
    return now


def settle_ties(problem: SowingProblem, labels: Sequence[int], sweeps: int = 100) -> list[int]:
    """Among choices worth the same that moves of one parent, or of all by a day, can reach: fewest sowings, then the
    earliest days."""
    now = list(labels)
    book = FieldBook(problem, now)
    ranks = [np.array([(len(p), sum(p)) for p in parent.patterns]) for parent in problem.parents]
    for _ in range(sweeps):
        moved = False
        for parent in range(len(now)):
            worth = _weigh_labels(problem, now, parent)
            even = worth >= worth[now[parent]] - EVEN
            fits = book.fits(parent, now[parent])
            even = even if fits is None else even & fits
            choice = np.flatnonzero(even)
            best = int(min(choice, key=lambda at: (*ranks[parent][at], at)))
            if tuple(ranks[parent][best]) < tuple(ranks[parent][now[parent]]):
                book.change(parent, now[parent], best)
                now[parent] = best
                moved = True
        if not moved and not _shift_all(problem, now):
            break
        book = FieldBook(problem, now)
    return now


def _shift_all(problem: SowingProblem, labels: list[int]) -> bool:
    """Move every parent of a group of linked crosses to the pattern one place earlier, if that is worth the same."""
    moved = False
    for group in find_groups(problem):
        earlier = list(labels)
        for parent in group:
            patterns = problem.parents[parent].patterns
            now = patterns[labels[parent]]
            before = sorted({day for pattern in patterns for day in pattern})
            steps = [before.index(day) - 1 for day in now]
            wanted = tuple(before[step] for step in steps if step >= 0)
            if len(wanted) < len(now) or wanted not in patterns:
                break
            earlier[parent] = patterns.index(wanted)
        else:
            even = sum_worth(problem, earlier) >= sum_worth(problem, labels) - EVEN
            if even and is_within_rows(problem, earlier):
                labels[:] = earlier
                moved = True
    return moved


def is_within_rows(problem: SowingProblem, labels: Sequence[int]) -> bool:
    """Whether a choice keeps to the rows a day."""
    book = FieldBook(problem, labels)
    return book.most is None or bool(np.all(book.day <= book.most))


def find_groups(problem: SowingProblem) -> tuple[tuple[int, ...], ...]:
    """Parents linked by crosses, group by group, each in order."""
    group_of = list(range(len(problem.parents)))

    def root(one: int) -> int:
        while group_of[one] != one:
            one = group_of[one]
        return one

    for mating in problem.matings:
        a, b = root(mating.female), root(mating.male)
        group_of[max(a, b)] = min(a, b)
    groups: dict[int, list[int]] = {}
    for parent in range(len(problem.parents)):
        groups.setdefault(root(parent), []).append(parent)
    return tuple(tuple(group) for group in groups.values())
