"""Which rows does a set of targets need, sown when, from which lot, standing where?"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import TYPE_CHECKING

from firstsilk.answers import refuse
from firstsilk.records.models import Season, Station, Target
from firstsilk.science.nursery.counts import GERMINATION_FRAC, OVERPLANT_FRAC, count_kernels
from firstsilk.work.nursery.joint_sowing import (
    DEFAULT_UNITS_TO_SILK_CHU,
    MALE_EARS_PER_ROW,
    CrossNeed,
    FieldLimits,
    JointSowing,
    choose_joint_sowing,
    units_of,
)
from firstsilk.work.nursery.kept_sowing import Patience, hash_question, is_large, settle_joint
from firstsilk.work.nursery.past_days import PastDays, read_past_days
from firstsilk.work.nursery.plan_needs import count_need, limit_field, tell_missing
from firstsilk.work.nursery.planned_rows import PlannedRow, Short, order_rows, place_rows
from firstsilk.work.nursery.rates import LineRates, read_line_rates
from firstsilk.work.nursery.row_seed import (
    DEAD_FRAC,
    RowSeed,
    SeedUse,
    ask_rows,
    drop_rows,
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

if TYPE_CHECKING:
    from firstsilk.work.nursery.plan import PlanSettings


@dataclass(frozen=True, slots=True)
class LaidOut:
    """Rows in walking order, what is short, who meets (None: no cross), and the basis."""

    rows: tuple[PlannedRow, ...]
    short: tuple[Short, ...]
    joint: JointSowing | None
    basis: Basis


@dataclass(slots=True)
class _Bench:
    """What the lay-out has at hand, and what it has promised so far."""

    settings: PlanSettings
    limits: FieldLimits
    past: PastDays
    rates: dict[str, LineRates]
    seed: RowSeed
    missing: list[tuple[str, str, str]]
    """What is missing, of which line or lot, and what stands in for it."""
    needs: dict[int, CrossNeed]
    """By target; a self has no male."""
    joint: JointSowing | None = None
    males: dict[tuple[str, date], list[PlannedRow]] = field(default_factory=dict)
    self_days: dict[int, list[int]] = field(default_factory=dict)


def lay_out_rows(
    on: Occasion,
    station: Station,
    season: Season,
    drafts: Sequence[Target],
    settings: PlanSettings,
    patience: Patience = "wait",
) -> LaidOut:
    """Rows for the draft targets, after the rows that stand already.

    Notes
    -----
    A target gets as many rows as its pollinations need; each male line gets rows of its own; the sowing days of all
    parents are chosen together (`joint_sowing`), for the crosses that there is seed for; rows are ordered by expected
    silk so that a crew works one block a day, each male before the first female it serves.
    """
    bench = _set_bench(on, station, season, drafts, settings)

    def settle(crosses: Sequence[CrossNeed]) -> JointSowing:
        key = hash_question(crosses, bench.rates, bench.past, bench.limits)
        large = is_large(crosses, bench.limits)
        return settle_joint(
            on,
            station,
            patience,
            key,
            large,
            lambda: choose_joint_sowing(crosses, bench.rates, bench.past, bench.limits),
        )

    drafted, short = _draft_rows(drafts, bench, settle)
    if short and drafted:
        # What cannot be sown must not pull the others' days.
        lacking = {lack.target for lack in short}
        bench.seed.uses, bench.males = {}, {}
        drafted, more = _draft_rows([target for target in drafts if target.number not in lacking], bench, settle)
        short = sorted([*short, *more], key=lambda lack: [one.number for one in drafts].index(lack.target))
    ordered = order_rows(drafted, bench.males)
    placed = place_rows(ordered, station, season, settings.rows_per_range)
    used = [
        ("past years of weather", bench.past.n_own),
        ("draft targets", len(drafts)),
        ("lots", sum(len(lots) for lots in bench.seed.stock.values())),
    ]
    if bench.past.n_generated:
        used.append(("generated years of weather", bench.past.n_generated))
    missing = (*bench.past.missing, *tell_missing(bench.missing))
    return LaidOut(placed, tuple(short), bench.joint, Basis(tuple(used), missing))


def _draft_rows(
    drafts: Sequence[Target], bench: _Bench, settle: Callable[[Sequence[CrossNeed]], JointSowing]
) -> tuple[list[PlannedRow], list[Short]]:
    """Days for these targets, then their rows as far as there is seed, and the lots for all of them together."""
    needs = [bench.needs[target.number] for target in drafts]
    crosses = [need for need in needs if need.male]
    bench.joint = settle(crosses) if crosses else None
    bench.self_days = _place_selfs([need for need in needs if not need.male], crosses, bench)
    drafted: list[PlannedRow] = []
    short: list[Short] = []
    for target in drafts:
        rows, lack = _rows_for_target(target, bench)
        drafted += rows
        short += lack
    return _deal_seed(drafted, bench), short


def _place_selfs(selfs: Sequence[CrossNeed], crosses: Sequence[CrossNeed], bench: _Bench) -> dict[int, list[int]]:
    """A day for each row of each self: the first, or where rows a day are limited the first with room, late lines
    before early ones."""
    limits = bench.limits
    if limits.rows_per_day is None:
        return {need.target: [limits.days[0]] * need.rows for need in selfs}
    room = dict.fromkeys(limits.days, limits.rows_per_day)
    for (role, line), days in (bench.joint.days if bench.joint else {}).items():
        if role == "female":
            rows = sum(need.rows for need in crosses if need.female == line)
        else:
            rows = -(-sum(need.attempts for need in crosses if need.male == line) // MALE_EARS_PER_ROW)
        for day in days:
            room[day] -= -(-rows // len(days))
    placed: dict[int, list[int]] = {}
    for need in sorted(selfs, key=lambda one: (-units_of(bench.rates[one.female])[0], one.target)):
        for _ in range(need.rows):
            free = [day for day in limits.days if room[day] > 0]
            if not free:
                told = "The rows do not fit on the sowing days."
                raise refuse("sowing_limits", told, "Allow more days or more rows a day.")
            room[free[0]] -= 1
            placed.setdefault(need.target, []).append(free[0])
    return placed


def _set_bench(
    on: Occasion, station: Station, season: Season, drafts: Sequence[Target], settings: PlanSettings
) -> _Bench:
    past = read_past_days(on, station, season.site, settings.sow_from)
    names = {target.female.name for target in drafts} | {target.male.name for target in drafts if target.male}
    lots = read_stock(station, names)
    stock: dict[str, list[LotStock]] = {}
    for lot in lots:
        stock.setdefault(lot.line, []).append(lot)
    seed = RowSeed(settings.plants_per_row, stock, count_increases(station, [lot.tag for lot in lots]))
    rates = read_line_rates(station, names, on.today)
    needs = {target.number: count_need(target, rates[target.female.name], settings) for target in drafts}
    bench = _Bench(settings, limit_field(settings), past, rates, seed, [], needs)
    for name in sorted(names):
        _tell_units(bench, name)
    return bench


def _tell_units(bench: _Bench, line: str) -> None:
    """Write down whose units stand in where a line has none of its own."""
    rates = bench.rates[line]
    if rates.units_to_silk is None:
        bench.missing.append(("units to silk of", line, f"taken as {DEFAULT_UNITS_TO_SILK_CHU:.0f}"))
    elif rates.units_source != "own":
        whose = "those of parents stand" if rates.units_source == "parents" else "the programme's mean stands"
        bench.missing.append(("own units to silk of", line, f"{whose} in"))


def _rows_for_target(target: Target, bench: _Bench) -> tuple[list[PlannedRow], list[Short]]:
    """The rows of one target, its males' rows added to the bench; or nothing and what is short."""
    need = bench.needs[target.number]
    success = bench.rates[need.female].success_frac
    ears = f"{need.ears} good ear{'s' if need.ears > 1 else ''}"
    wanted = f"{target.kernels_wanted:,} kernels ({ears} on average)" if target.kernels_wanted else ears
    why = (
        f"{wanted} at {success:.0%} success need {need.attempts} pollinations"
        f" ({bench.settings.assurance:.0%} sure): {need.rows} row{'s' if need.rows > 1 else ''}"
    )
    purpose = "female" if need.male else "self"
    days = bench.joint.days["female", need.female] if bench.joint and need.male else ()
    use = SeedUse(target.number, need.rows, OVERPLANT_FRAC, target.kind in INCREASES)
    lacking = ask_rows(bench.seed, need.female, use)
    if lacking:
        return [], [_tell_short(target, need.female, use, max(0, need.rows - lacking), bench)]
    rows: list[PlannedRow] = []
    for step in range(need.rows):
        share = need.attempts // need.rows + (1 if step < need.attempts % need.rows else 0)
        day = days[step % len(days)] if days else bench.self_days[target.number][step]
        sowing = days.index(day) + 1 if days else 1
        rows.append(_one_row(target, need.female, purpose, day, sowing, share, bench, why))
    if need.male:
        lack = _male_rows(target, need, bench)
        if lack is not None:
            drop_rows(bench.seed, need.female, target.number)
            return [], [lack]
    return rows, []


def _one_row(
    target: Target, line: str, purpose: str, day: int, sowing: int, pollinations: int, bench: _Bench, why: str
) -> PlannedRow:
    """A row without its seed, which `_deal_seed` gives it."""
    meeting = None
    if bench.joint is not None:
        meeting = next((one for one in bench.joint.meetings if one.target == target.number), None)
    return PlannedRow(
        number=0,
        field_row=0,
        field_col=0,
        line=line,
        purpose=purpose,
        target=target.number,
        kind=target.kind if purpose != "male" else "",
        male=target.male.name if target.male is not None and purpose == "female" else "",
        lot="",
        lot_name="",
        kernels=0,
        sow_on=bench.past.date_of(day),
        sowing=sowing,
        silk_expected=bench.past.expect_flowering(day, units_of(bench.rates[line])[0]),
        pollinations=pollinations,
        meet_frac=meeting.p_meet if meeting else None,
        why=why,
        served_frac=meeting.ears_frac if meeting else None,
    )


def _tell_short(target: Target, line: str, use: SeedUse, possible: int, bench: _Bench) -> Short:
    """Take back what a use asks beyond its possible rows, and say how much seed one more row needs and how much of it
    is free then, over all lots and in the fullest one."""
    ask_rows(bench.seed, line, replace(use, rows=possible))
    free = list(left_in(list(settle_line(bench.seed, line).values()), usable_lots(bench.seed, line)).values())
    drop_rows(bench.seed, line, use.target)
    kernels = count_kernels(bench.settings.plants_per_row, GERMINATION_FRAC, use.overplant_frac)
    if not free:
        dead = bool(bench.seed.stock.get(line))
        told = f"target {target.number}: there is no {'live seed' if dead else 'lot'} of {line}"
    else:
        held = f"{sum(free)} free" if len(free) == 1 else f"{sum(free)} free in {len(free)} lots, {max(free)} in one"
        told = f"target {target.number}: {line} needs {kernels} kernels for one more row and has {held}"
    return Short(target.number, line, kernels, sum(free), told, use.rows, possible)


def _deal_seed(drafted: Sequence[PlannedRow], bench: _Bench) -> list[PlannedRow]:
    """Give the rows their lots, the uses of a line weighed together; male rows on the bench get theirs too."""
    hands: dict[tuple[str, int | None], Iterator[tuple[LotStock, int]]] = {}
    for line in bench.seed.uses:
        by_tag = {lot.tag: lot for lot in bench.seed.stock.get(line, ())}
        for target, one in settle_line(bench.seed, line).items():
            dealt = [(by_tag[tag], one.need.each[tag]) for tag, rows in one.rows for _ in range(rows)]
            hands[line, target] = iter(dealt)
        _tell_seed(line, by_tag.values(), bench)

    def deal(row: PlannedRow) -> PlannedRow:
        lot, kernels = next(hands[row.line, None if row.purpose == "male" else row.target])
        if lot.germination_frac is None:
            bench.missing.append(("germination of lot", lot.name, f"taken as {GERMINATION_FRAC:.0%}"))
        return replace(row, lot=lot.tag, lot_name=lot.name, kernels=kernels)

    bench.males = {key: [deal(row) for row in rows] for key, rows in bench.males.items()}
    return [deal(row) for row in drafted]


def _tell_seed(line: str, lots: Iterable[LotStock], bench: _Bench) -> None:
    """Write down which lots are dead, and whose uses were too many to be weighed together."""
    for lot in lots:
        if lot.germination_frac is not None and lot.germination_frac < DEAD_FRAC:
            bench.missing.append(("live seed in lot", lot.name, f"germination {lot.germination_frac:.0%}, not used"))
    if is_in_turn(bench.seed, line):
        bench.missing.append(("seed weighed together of", line, "too many uses and lots: given in turn"))


def _male_rows(target: Target, need: CrossNeed, bench: _Bench) -> Short | None:
    """Add male rows for a cross until those of each of the male's days can serve the ears asked of them, or none."""
    assert bench.joint is not None
    days = bench.joint.days["male", need.male]
    asked = {day: sum(row.pollinations for row in bench.males.get(_key(bench, need, day), ())) for day in days}
    shares = dict.fromkeys(days, need.attempts // len(days))
    for day in sorted(days, key=lambda one: (asked[one], one))[: need.attempts % len(days)]:
        shares[day] += 1
    made: dict[tuple[str, date], list[PlannedRow]] = {}
    for sowing, day in enumerate(days, 1):
        rows = list(bench.males.get(_key(bench, need, day), ()))
        free = sum(MALE_EARS_PER_ROW - row.pollinations for row in rows)
        while free < shares[day]:
            why = f"male for its crosses, sown {day} days after the first sowing so that it meets them"
            rows.append(_one_row(target, need.male, "male", day, sowing, 0, bench, why))
            free += MALE_EARS_PER_ROW
        made[_key(bench, need, day)] = _share_ears(rows, shares[day])
    return _ask_males(target, need, made, bench)


def _ask_males(
    target: Target, need: CrossNeed, made: dict[tuple[str, date], list[PlannedRow]], bench: _Bench
) -> Short | None:
    """Ask seed for all male rows of a line, with those made for this cross; without it they stay as they were."""
    there = bench.males | made
    before = bench.seed.uses.get(need.male, {}).get(None)
    use = males_of(sum(len(rows) for key, rows in there.items() if key[0] == need.male))
    lacking = ask_rows(bench.seed, need.male, use)
    if not lacking:
        bench.males = there
        return None
    lack = _tell_short(target, need.male, use, max(0, use.rows - lacking), bench)
    if before is not None:
        ask_rows(bench.seed, need.male, before)
    return lack


def _key(bench: _Bench, need: CrossNeed, day: int) -> tuple[str, date]:
    return need.male, bench.past.date_of(day)


def _share_ears(rows: Sequence[PlannedRow], ears: int) -> list[PlannedRow]:
    """Deal ears to male rows, each as many as it has room for."""
    shared = []
    for row in rows:
        room = min(ears, MALE_EARS_PER_ROW - row.pollinations)
        shared.append(replace(row, pollinations=row.pollinations + room))
        ears -= room
    return shared
