"""From which lots are the kernels taken, and how many, so that enough of them germinate?

The fewest lots that do it, the oldest of those that can, and of these the oldest first and whole. Counted exactly, in
fractions: 0.9 is nine tenths, so that 90 kernels wanted are 100 taken and not 101.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from heapq import nlargest


@dataclass(frozen=True, slots=True)
class LotOnHand:
    """A lot with the kernels that lie in it and the share of them that germinates [0 to 1]."""

    lot: str
    line: str
    kernels: int
    germination: Fraction


@dataclass(frozen=True, slots=True)
class KernelNeed:
    """Kernels of a line that must germinate for a use."""

    use: str
    line: str
    kernels: int


@dataclass(frozen=True, slots=True)
class Taking:
    """Kernels taken from a lot."""

    lot: str
    kernels: int


@dataclass(frozen=True, slots=True)
class Covered:
    """What is taken for a need, oldest lot first, and how many germinating kernels are missing."""

    need: KernelNeed
    takings: tuple[Taking, ...]
    short: int


def cover_needs(needs: Sequence[KernelNeed], lots: Sequence[LotOnHand]) -> tuple[Covered, ...]:
    """Cover needs one after the other from what lies in the lots.

    Parameters
    ----------
    needs
        In the order in which they are served: a need takes from what those before it have left.
    lots
        Oldest first. Kernels of 0 or more.

    Returns
    -------
    tuple of Covered
        One for each need, in the same order.

    Notes
    -----
    As `cover_need` for each. Needs are not weighed against each other: two uses of one line may together take from a
    lot more than would do if the first had been given another lot.

    Checked by
    ----------
    tests/properties/test_covering_laws.py
    """
    by_line: dict[str, list[LotOnHand]] = {}
    for lot in lots:
        by_line.setdefault(lot.line, []).append(lot)
    left = {lot.lot: lot.kernels for lot in lots}
    covered = []
    for need in needs:
        done = cover_need(need, by_line.get(need.line, ()), left)
        for taking in done.takings:
            left[taking.lot] -= taking.kernels
        covered.append(done)
    return tuple(covered)


def cover_need(need: KernelNeed, lots: Sequence[LotOnHand], left: Mapping[str, int]) -> Covered:
    """Cover one need from the lots of its line.

    Parameters
    ----------
    need
        What must germinate.
    lots
        The lots of that line, oldest first.
    left
        Kernels that still lie in each lot, by its name.

    Returns
    -------
    Covered
        The fewest lots whose kernels x germination add up to the need. Where several sets of that many lots would do,
        the one with the oldest lot; among those the one with the next oldest, and so on. Each lot but the youngest is
        taken whole. Where all lots together are too few, all of them, and what is short, rounded up to whole kernels.

    Notes
    -----
    That so many lots can do it is seen from the fullest ones: k lots reach at most the sum of the k largest
    kernels x germination. The oldest set follows lot by lot: a lot belongs to it if, with it, the fullest of the
    younger ones can still fill the rest. Expected kernels: a lot of 90 % gives 90 of 100 on average, half of the time
    fewer. Ask for a margin in the need where that matters.

    Checked by
    ----------
    tests/properties/test_covering_laws.py
    """
    usable = [lot for lot in lots if left[lot.lot] > 0 and lot.germination > 0]
    # Whole numbers from here on: parts so fine that one kernel of any lot is a whole number of them.
    parts = math.lcm(*(lot.germination.denominator for lot in usable))
    each = [int(lot.germination * parts) for lot in usable]
    gives = [left[lot.lot] * part for lot, part in zip(usable, each, strict=True)]
    missing = need.kernels * parts
    takings = []
    for at in _oldest_set(gives, missing, _count_fewest(gives, missing)):
        taken = min(left[usable[at].lot], -(-missing // each[at]))
        takings.append(Taking(usable[at].lot, taken))
        missing -= taken * each[at]
    return Covered(need, tuple(takings), max(0, -(-missing // parts)))


def _count_fewest(gives: Sequence[int], wanted: int) -> int:
    """The fewest lots that together give what is wanted; all of them where even they do not."""
    count, reached = 0, 0
    for give in sorted(gives, reverse=True):
        if reached >= wanted:
            break
        count, reached = count + 1, reached + give
    return count


def _oldest_set(gives: Sequence[int], wanted: int, count: int) -> list[int]:
    """Of all sets of so many lots that give what is wanted, the first in the order of age."""
    chosen: list[int] = []
    for at, give in enumerate(gives):
        more = count - len(chosen) - 1
        if more < 0:
            break
        if len(gives) - at - 1 == more or give + sum(nlargest(more, gives[at + 1 :])) >= wanted:
            chosen.append(at)
            wanted -= give
    return chosen
