"""Is there seed for the whole plan, and from which lots, all its uses weighed against each other?"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from firstsilk.records.models import Station, Target
from firstsilk.science.nursery.counts import GERMINATION_FRAC, OVERPLANT_FRAC, PLANTS_PER_ROW, count_rows
from firstsilk.science.seed.allotting import RowsAllotted
from firstsilk.work.nursery.joint_sowing import MALE_EARS_PER_ROW
from firstsilk.work.nursery.plan_needs import check_counts
from firstsilk.work.nursery.rates import read_line_rates
from firstsilk.work.nursery.row_seed import (
    DEAD_FRAC,
    RowSeed,
    SeedUse,
    is_in_turn,
    left_in,
    males_of,
    settle_line,
    usable_lots,
)
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.increases import count_increases
from firstsilk.work.seed.progeny import INCREASES
from firstsilk.work.seed.stock import LotStock, read_stock
from firstsilk.work.shelf import get_season, get_station
from firstsilk.work.standing import targets_on

ASSURANCE = 0.95
"""The chance wanted of reaching each target where the plan says no other."""


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


def read_plan_seed(
    on: Occasion, season: str, plants_per_row: int = PLANTS_PER_ROW, assurance: float = ASSURANCE
) -> PlanSeed:
    """Weigh the seed that is free against all that the draft targets of a season want.

    Parameters
    ----------
    plants_per_row, assurance
        As in the plan's settings.

    Raises
    ------
    InputRefused
        If there is no such season, or rows cannot be counted with these.

    Notes
    -----
    Rows as the plan counts them; males of a line together, 40 ears a row, sown on one day. What is promised to others
    is left alone. Increases of a line take remnant seed where that does not leave another row without. The plan takes
    its lots by the same sum, but leaves out targets that cannot have all their rows, the last in priority first; where
    nothing is short both name the same lots. Nothing is promised here.
    """
    check_counts(plants_per_row, assurance)
    station = get_station(on.station)
    drafts = targets_on(station, on.today).filter(season=get_season(station, season), state="draft")
    ordered = list(drafts.select_related("female", "male").order_by("priority", "number"))
    wanted = _count_uses(on, station, ordered, plants_per_row, assurance)
    stock: dict[str, list[LotStock]] = defaultdict(list)
    lots = read_stock(station, list(wanted), on.today)
    for lot in lots:
        stock[lot.line].append(lot)
    seed = RowSeed(plants_per_row, stock, count_increases(station, [lot.tag for lot in lots]), wanted)
    names = {one.number: _name_use(one) for one in ordered}
    told = [one for line in wanted for one in _allot_line(line, seed, names)]
    short = sum(one.short for one in told)
    told.sort(key=lambda one: not one.short)
    used = (("uses", len(told)), ("lots", len(lots)))
    in_turn = (f"seed weighed together of {line} (too many uses and lots)" for line in wanted if is_in_turn(seed, line))
    return PlanSeed(season, tuple(told), sum(one.rows for one in told), short, Basis(used, tuple(in_turn)))


def _name_use(target: Target) -> str:
    by = f" by {target.male.name}" if target.male is not None else ""
    return f"target {target.number}: {target.kind}{by}"


def _count_uses(
    on: Occasion, station: Station, drafts: Sequence[Target], plants: int, assurance: float
) -> dict[str, dict[int | None, SeedUse]]:
    rates = read_line_rates(station, {one.female.name for one in drafts}, on.today) if drafts else {}
    uses: dict[str, dict[int | None, SeedUse]] = defaultdict(dict)
    ears: dict[str, int] = defaultdict(int)
    for one in drafts:
        tries = rates[one.female.name].pollinations_for(one.ears_wanted, one.kernels_wanted, assurance)
        rows = count_rows(tries, plants)
        uses[one.female.name][one.number] = SeedUse(one.number, rows, OVERPLANT_FRAC, one.kind in INCREASES)
        if one.male is not None:
            ears[one.male.name] += tries
    for line, count in ears.items():
        uses[line][None] = males_of(-(-count // MALE_EARS_PER_ROW))
    return dict(uses)


def _allot_line(line: str, seed: RowSeed, names: Mapping[int, str]) -> list[UseSeed]:
    lots = seed.stock.get(line, ())
    settled = settle_line(seed, line)
    left = left_in(list(settled.values()), usable_lots(seed, line))
    males = "male rows of its crosses"
    return [_tell(line, males if target is None else names[target], one, lots, left) for target, one in settled.items()]


def _tell(line: str, use: str, one: RowsAllotted, lots: Sequence[LotStock], left: Mapping[str, int]) -> UseSeed:
    name_of = {lot.tag: lot.name for lot in lots}
    taken = tuple((name_of[tag], tag, rows, rows * one.need.each[tag]) for tag, rows in one.rows)
    says = f"short of {one.short} of {one.need.rows} rows"
    if not one.short:
        says = "ok" if len(taken) == 1 else f"ok from {len(taken)} lots"
    instead = _tell_instead(line, one, lots, left) if one.short else ()
    return UseSeed(use, line, one.need.rows, one.short, taken, says, instead)


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
