"""Is there seed for the rows of a plan, and from which lots, all uses of a line weighed together?

The one home of this sum: the plan takes its lots here, and what is told beside the plan comes from here too.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from firstsilk.science.nursery.counts import GERMINATION_FRAC, OVERPLANT_TESTER_FRAC, count_kernels
from firstsilk.science.seed.allotting import (
    RowsAllotted,
    RowsNeed,
    allot_rows,
    allot_rows_in_turn,
    count_rows_short,
    is_beyond_bound,
)
from firstsilk.work.seed.stock import LotStock

DEAD_FRAC = 0.05
"""Lots that germinate worse than this are not sown (a choice of ours)."""


@dataclass(frozen=True, slots=True)
class SeedUse:
    """Rows of a line that should be of one seed: those of a target, or the male rows of a line (target None).

    `overplant_frac` is the seed sown beyond the plants wanted; an increase takes remnant seed where it can.
    """

    target: int | None
    rows: int
    overplant_frac: float
    is_increase: bool = False


def males_of(rows: int) -> SeedUse:
    """The male rows of a line, for all its crosses together."""
    return SeedUse(None, rows, OVERPLANT_TESTER_FRAC)


@dataclass(slots=True)
class RowSeed:
    """What lies in the lots of a plan's lines, and what the plan asks of them so far.

    `stock` has the lots of each line, oldest first; `increases` the increases behind a lot, by its tag; `uses` what is
    asked, by line and target (None: its male rows).
    """

    plants_per_row: int
    stock: Mapping[str, Sequence[LotStock]]
    increases: Mapping[str, int]
    uses: dict[str, dict[int | None, SeedUse]] = field(default_factory=dict)


def usable_lots(seed: RowSeed, line: str) -> list[LotStock]:
    """Lots of a line that are alive, as far as is known, oldest first."""
    lots = seed.stock.get(line, ())
    return [lot for lot in lots if lot.germination_frac is None or lot.germination_frac >= DEAD_FRAC]


def ask_rows(seed: RowSeed, line: str, use: SeedUse) -> int:
    """Ask seed for a use, in place of what it asked before; the rows of the line that are short then."""
    seed.uses.setdefault(line, {})[use.target] = use
    needs, free = _weigh(seed, line)
    if is_beyond_bound(needs, free):
        return sum(one.short for one in allot_rows_in_turn(needs, free))
    return count_rows_short(needs, free)


def drop_rows(seed: RowSeed, line: str, target: int | None, before: SeedUse | None = None) -> None:
    """Take back what a use asks, or give it what it asked before."""
    if before is None:
        seed.uses.get(line, {}).pop(target, None)
    else:
        seed.uses.setdefault(line, {})[target] = before


def settle_line(seed: RowSeed, line: str) -> dict[int | None, RowsAllotted]:
    """From which lots the uses of a line are sown, by target (None: its male rows).

    Notes
    -----
    As few rows short as can be, then remnant seed for increases, then the fewest lots, then the oldest: exactly, as
    far as the line has not more uses x lots than that is worked out for; beyond it in turn, oldest lot first.
    """
    needs, free = _weigh(seed, line)
    allot = allot_rows_in_turn if is_beyond_bound(needs, free) else allot_rows
    return dict(zip(_order(seed, line), allot(needs, free), strict=True))


def is_in_turn(seed: RowSeed, line: str) -> bool:
    """Whether the line has too many uses x lots for all to be weighed together."""
    return is_beyond_bound(*_weigh(seed, line))


def count_row_kernels(seed: RowSeed, lot: LotStock, overplant_frac: float) -> int:
    """Kernels that one row takes from a lot."""
    germination = GERMINATION_FRAC if lot.germination_frac is None else lot.germination_frac
    return count_kernels(seed.plants_per_row, germination, overplant_frac)


def left_in(allotted: Sequence[RowsAllotted], lots: Sequence[LotStock]) -> dict[str, int]:
    """Kernels that stay free in each lot, by its tag, when rows were allotted."""
    left = {lot.tag: max(0, lot.free) for lot in lots}
    for one in allotted:
        for tag, rows in one.rows:
            left[tag] -= rows * one.need.each[tag]
    return left


def _order(seed: RowSeed, line: str) -> list[int | None]:
    """Targets as they were asked, the male rows last."""
    targets: list[int | None] = [target for target in seed.uses.get(line, {}) if target is not None]
    return [*targets, None] if None in seed.uses.get(line, {}) else targets


def _weigh(seed: RowSeed, line: str) -> tuple[list[RowsNeed], dict[str, int]]:
    """What is asked of a line, and what is free in its lots."""
    lots = usable_lots(seed, line)
    grown = frozenset(lot.tag for lot in lots if seed.increases.get(lot.tag, 0))
    needs = []
    for target in _order(seed, line):
        use = seed.uses[line][target]
        each = {lot.tag: count_row_kernels(seed, lot, use.overplant_frac) for lot in lots}
        needs.append(RowsNeed(str(target), use.rows, each, grown if use.is_increase else frozenset()))
    return needs, {lot.tag: max(0, lot.free) for lot in lots}
