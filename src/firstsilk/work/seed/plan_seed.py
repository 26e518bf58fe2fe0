"""Is there seed for the whole plan, and from which lots, all its uses weighed against each other?"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from firstsilk.records.models import Station, Target
from firstsilk.science.nursery.counts import (
    GERMINATION_FRAC,
    OVERPLANT_FRAC,
    OVERPLANT_TESTER_FRAC,
    PLANTS_PER_ROW,
    count_kernels,
    count_rows,
)
from firstsilk.science.seed.allotting import RowsAllotted, RowsNeed, allot_rows
from firstsilk.work.nursery.joint_sowing import MALE_EARS_PER_ROW
from firstsilk.work.nursery.lay_out import DEAD_FRAC
from firstsilk.work.nursery.rates import read_line_rates
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.progeny import INCREASES
from firstsilk.work.seed.remnant import count_increases
from firstsilk.work.seed.stock import LotStock, read_stock
from firstsilk.work.shelf import get_season, get_station
from firstsilk.work.standing import targets_on


@dataclass(frozen=True, slots=True)
class UseSeed:
    """Seed for one use of the plan: a target's rows, or the male rows of a line. `lots` are (lot, tag, rows, kernels);
    `says` is ``ok``, ``ok from N lots`` or what is short, `instead` what could be done about it."""

    use: str
    line: str
    rows: int
    short: int
    lots: tuple[tuple[str, str, int, int], ...]
    says: str
    instead: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PlanSeed:
    """Seed for every use of a season's draft targets, those that are short first."""

    season: str
    uses: tuple[UseSeed, ...]
    rows: int
    short: int
    basis: Basis


def read_plan_seed(on: Occasion, season: str) -> PlanSeed:
    """Weigh the seed that is free against all that the draft targets of a season want.

    Notes
    -----
    Rows as the plan counts them, 18 plants a row, 95 % sure; males of a line together, 40 ears a row. What is promised
    to others is left alone. Increases of a line take remnant seed where that does not leave another row without.
    Nothing is promised here, and the plan itself goes on taking the oldest lot with enough for each row.
    """
    station = get_station(on.station)
    drafts = targets_on(station, on.today).filter(season=get_season(station, season), state="draft")
    wanted = _count_uses(on, station, list(drafts.select_related("female", "male").order_by("priority", "number")))
    stock: dict[str, list[LotStock]] = defaultdict(list)
    for lot in read_stock(station, list(wanted), on.today):
        stock[lot.line].append(lot)
    increases = count_increases(station)
    told: list[UseSeed] = []
    for line, uses in wanted.items():
        lots = stock.get(line, [])
        told += _allot_line(line, uses, lots, increases)
    short = sum(one.short for one in told)
    told.sort(key=lambda one: not one.short)
    used = (("uses", len(told)), ("lots", sum(len(lots) for lots in stock.values())))
    return PlanSeed(season, tuple(told), sum(one.rows for one in told), short, Basis(used))


_Use = tuple[str, int, float, bool]
"""Name, rows, seed sown beyond the plants wanted, whether it increases its line."""


def _count_uses(on: Occasion, station: Station, drafts: Sequence[Target]) -> dict[str, list[_Use]]:
    rates = read_line_rates(station, {one.female.name for one in drafts}, on.today) if drafts else {}
    uses: dict[str, list[_Use]] = defaultdict(list)
    ears: dict[str, int] = defaultdict(int)
    for one in drafts:
        tries = rates[one.female.name].pollinations_for(one.ears_wanted, one.kernels_wanted)
        by = f" by {one.male.name}" if one.male is not None else ""
        name = f"target {one.number}: {one.kind}{by}"
        uses[one.female.name].append((name, count_rows(tries), OVERPLANT_FRAC, one.kind in INCREASES))
        if one.male is not None:
            ears[one.male.name] += tries
    for line, count in ears.items():
        uses[line].append(("male rows of its crosses", -(-count // MALE_EARS_PER_ROW), OVERPLANT_TESTER_FRAC, False))
    return dict(uses)


def _allot_line(
    line: str, uses: Sequence[_Use], lots: Sequence[LotStock], increases: Mapping[str, int]
) -> list[UseSeed]:
    usable = [lot for lot in lots if lot.germination_frac is None or lot.germination_frac >= DEAD_FRAC]
    needs = [
        RowsNeed(
            name,
            rows,
            {lot.tag: _count_row(lot, over) for lot in usable},
            frozenset(lot.tag for lot in usable if is_increase and increases.get(lot.tag, 0)),
        )
        for name, rows, over, is_increase in uses
    ]
    free = {lot.tag: max(0, lot.free) for lot in usable}
    allotted = allot_rows(needs, free)
    left = dict(free)
    for one in allotted:
        for tag, rows in one.rows:
            left[tag] -= rows * one.need.each[tag]
    return [_tell(line, one, lots, left) for one in allotted]


def _count_row(lot: LotStock, over: float) -> int:
    germination = GERMINATION_FRAC if lot.germination_frac is None else lot.germination_frac
    return count_kernels(PLANTS_PER_ROW, germination, over)


def _tell(line: str, one: RowsAllotted, lots: Sequence[LotStock], left: Mapping[str, int]) -> UseSeed:
    name_of = {lot.tag: lot.name for lot in lots}
    taken = tuple((name_of[tag], tag, rows, rows * one.need.each[tag]) for tag, rows in one.rows)
    says = f"short of {one.short} of {one.need.rows} rows"
    if not one.short:
        says = "ok" if len(taken) == 1 else f"ok from {len(taken)} lots"
    instead = _tell_instead(line, one, lots, left) if one.short else ()
    return UseSeed(one.need.use, line, one.need.rows, one.short, taken, says, instead)


def _tell_instead(line: str, one: RowsAllotted, lots: Sequence[LotStock], left: Mapping[str, int]) -> tuple[str, ...]:
    """What could be done about rows without seed: fewer rows or plants, promises given up, dead seed, growing new."""
    told = []
    got = one.need.rows - one.short
    if got:
        told.append(f"ask for fewer ears: {got} of {one.need.rows} rows have seed")
    rest = max(((kernels, tag) for tag, kernels in left.items() if kernels), default=None)
    if rest is not None:
        lot = next(lot for lot in lots if lot.tag == rest[1])
        share = GERMINATION_FRAC if lot.germination_frac is None else lot.germination_frac
        told.append(
            f"sow a thinner row of lot {lot.name}: {rest[0]} kernels, some {math.floor(rest[0] * share)} plants"
        )
    held = [lot for lot in lots if lot.reserved]
    if held:
        most = max(held, key=lambda lot: (lot.reserved, lot.name))
        told.append(f"give up a promise: {most.reserved:,} kernels of lot {most.name} are promised")
    dead = [lot.name for lot in lots if lot.germination_frac is not None and lot.germination_frac < DEAD_FRAC]
    if dead:
        told.append(f"test lot {dead[0]} again: it germinated next to nothing")
    told.append(f"regrow {line} first, or receive seed of it" if lots else f"receive seed of {line}: it has no lot")
    return tuple(told)
