"""Which rows does a set of targets need, sown when, from which lot, standing where?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import TYPE_CHECKING

from firstsilk.answers import refuse
from firstsilk.records.models import Row, Season, Station, Target
from firstsilk.science.nursery.counts import (
    GERMINATION_FRAC,
    OVERPLANT_FRAC,
    OVERPLANT_TESTER_FRAC,
    count_kernels,
)
from firstsilk.science.nursery.layout import walk_places
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
from firstsilk.work.nursery.rates import LineRates, read_line_rates
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.stock import LotStock, read_stock

if TYPE_CHECKING:
    from firstsilk.work.nursery.plan import PlanSettings

DEAD_FRAC = 0.05
"""Lots that germinate worse than this are not sown (a choice of ours)."""


@dataclass(frozen=True, slots=True)
class PlannedRow:
    """One row of the plan. `pollinations` is how many to attempt on it; `meet_frac` the share of past years in which
    its parents met and `served_frac` the share of its ears that can be expected, both of the whole cross; `sowing`
    counts the days of its line in its role; `why` the sum in words."""

    number: int
    field_row: int
    field_col: int
    line: str
    purpose: str
    target: int | None
    kind: str
    male: str
    lot: str
    lot_name: str
    kernels: int
    sow_on: date
    sowing: int
    silk_expected: date | None
    pollinations: int
    meet_frac: float | None
    why: str
    served_frac: float | None = None


@dataclass(frozen=True, slots=True)
class Short:
    """A target that cannot be sown as wished, and what would make it possible."""

    target: int
    line: str
    kernels_needed: int
    kernels_free: int
    message: str
    rows_needed: int = 1
    rows_possible: int = 0


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
    stock: dict[str, list[LotStock]]
    missing: list[tuple[str, str, str]]
    """What is missing, of which line or lot, and what stands in for it."""
    needs: dict[int, CrossNeed]
    """By target; a self has no male."""
    joint: JointSowing | None = None
    taken: dict[str, int] = field(default_factory=dict)
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
        bench.taken, bench.males = {}, {}
        drafted, more = _draft_rows([target for target in drafts if target.number not in lacking], bench, settle)
        short = sorted([*short, *more], key=lambda lack: [one.number for one in drafts].index(lack.target))
    ordered = _order_rows(drafted, bench.males)
    placed = _place_rows(ordered, station, season, settings.rows_per_range)
    used = [("past years of weather", bench.past.n_own), ("draft targets", len(drafts)), ("lots", len(bench.stock))]
    if bench.past.n_generated:
        used.append(("generated years of weather", bench.past.n_generated))
    missing = (*bench.past.missing, *tell_missing(bench.missing))
    return LaidOut(placed, tuple(short), bench.joint, Basis(tuple(used), missing))


def _draft_rows(
    drafts: Sequence[Target], bench: _Bench, settle: Callable[[Sequence[CrossNeed]], JointSowing]
) -> tuple[list[PlannedRow], list[Short]]:
    """Days for these targets, then their rows as far as there is seed."""
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
    return drafted, short


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


def _place_rows(
    ordered: Sequence[PlannedRow], station: Station, season: Season, rows_per_range: int
) -> tuple[PlannedRow, ...]:
    """Number and place rows behind those that stand: on in their walk, or in a new range where they follow another."""
    there = list(
        Row.objects.filter(station=station, season=season)
        .order_by("number")
        .values_list("number", "field_row", "field_col")
    )
    last, start = (there[-1][0] if there else 0), 1
    if there:
        same_walk = there == [place for place, _ in zip(walk_places(rows_per_range), there, strict=False)]
        start = last + 1 if same_walk else max(field_row for _, field_row, _ in there) * rows_per_range + 1
    places = walk_places(rows_per_range, start)
    return tuple(
        replace(row, number=number, field_row=field_row, field_col=field_col)
        for number, (row, (_, field_row, field_col)) in enumerate(zip(ordered, places, strict=False), last + 1)
    )


def _set_bench(
    on: Occasion, station: Station, season: Season, drafts: Sequence[Target], settings: PlanSettings
) -> _Bench:
    past = read_past_days(on, station, season.site, settings.sow_from)
    names = {target.female.name for target in drafts} | {target.male.name for target in drafts if target.male}
    stock: dict[str, list[LotStock]] = {}
    for lot in read_stock(station, names):
        stock.setdefault(lot.line, []).append(lot)
    rates = read_line_rates(station, names, on.today)
    needs = {target.number: count_need(target, rates[target.female.name], settings) for target in drafts}
    bench = _Bench(settings, limit_field(settings), past, rates, stock, [], needs)
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
    before = dict(bench.taken)
    rows: list[PlannedRow] = []
    for step in range(need.rows):
        share = need.attempts // need.rows + (1 if step < need.attempts % need.rows else 0)
        day = days[step % len(days)] if days else bench.self_days[target.number][step]
        sowing = days.index(day) + 1 if days else 1
        row = _one_row(target, need.female, purpose, day, sowing, share, bench, why)
        if isinstance(row, Short):
            bench.taken = before
            return [], [replace(row, rows_needed=need.rows, rows_possible=step)]
        rows.append(row)
    if need.male:
        lack = _male_rows(target, need, bench)
        if lack is not None:
            bench.taken = before
            return [], [lack]
    return rows, []


def _one_row(
    target: Target, line: str, purpose: str, day: int, sowing: int, pollinations: int, bench: _Bench, why: str
) -> PlannedRow | Short:
    over = OVERPLANT_TESTER_FRAC if purpose == "male" else OVERPLANT_FRAC
    lot, kernels = _take_seed(line, bench, over)
    if lot is None:
        return _tell_short(target, line, kernels, bench)
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
        lot=lot.tag,
        lot_name=lot.name,
        kernels=kernels,
        sow_on=bench.past.date_of(day),
        sowing=sowing,
        silk_expected=bench.past.expect_flowering(day, units_of(bench.rates[line])[0]),
        pollinations=pollinations,
        meet_frac=meeting.p_meet if meeting else None,
        why=why,
        served_frac=meeting.ears_frac if meeting else None,
    )


def _tell_short(target: Target, line: str, kernels: int, bench: _Bench) -> Short:
    """Say how much seed a row needs and how much of it is free, over all lots and in the fullest one."""
    free = [max(0, one.free - bench.taken.get(one.tag, 0)) for one in bench.stock.get(line, [])]
    if not free:
        told = f"target {target.number}: there is no lot of {line}"
    else:
        held = f"{sum(free)} free" if len(free) == 1 else f"{sum(free)} free in {len(free)} lots, {max(free)} in one"
        told = f"target {target.number}: {line} needs {kernels} kernels for one more row and has {held}"
    return Short(target.number, line, kernels, sum(free), told)


def _take_seed(line: str, bench: _Bench, overplant_frac: float) -> tuple[LotStock | None, int]:
    """The oldest lot with enough free kernels for one row, and the kernels; the lot is None if none has enough."""
    least = count_kernels(bench.settings.plants_per_row, GERMINATION_FRAC, overplant_frac)
    for lot in bench.stock.get(line, []):
        if lot.germination_frac is not None and lot.germination_frac < DEAD_FRAC:
            told = f"germination {lot.germination_frac:.0%}, not used"
            bench.missing.append(("live seed in lot", lot.name, told))
            continue
        germination = GERMINATION_FRAC if lot.germination_frac is None else lot.germination_frac
        wanted = count_kernels(bench.settings.plants_per_row, germination, overplant_frac)
        if lot.free - bench.taken.get(lot.tag, 0) >= wanted:
            if lot.germination_frac is None:
                bench.missing.append(("germination of lot", lot.name, f"taken as {GERMINATION_FRAC:.0%}"))
            bench.taken[lot.tag] = bench.taken.get(lot.tag, 0) + wanted
            return lot, wanted
    return None, least


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
            row = _one_row(target, need.male, "male", day, sowing, 0, bench, why)
            if isinstance(row, Short):
                return row
            rows.append(row)
            free += MALE_EARS_PER_ROW
        made[_key(bench, need, day)] = _share_ears(rows, shares[day])
    bench.males.update(made)
    return None


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


def _order_rows(drafted: list[PlannedRow], males: dict[tuple[str, date], list[PlannedRow]]) -> list[PlannedRow]:
    """By expected silk, rows of one target together, each male line before the first female it serves."""
    late = date.max
    by_target: dict[int, list[PlannedRow]] = {}
    for row in drafted:
        by_target.setdefault(row.target or 0, []).append(row)
    groups = sorted(by_target.values(), key=lambda rows: (rows[0].silk_expected or late, rows[0].target or 0))
    waiting = dict(males)
    ordered: list[PlannedRow] = []
    for group in groups:
        for key in [key for key in waiting if key[0] == group[0].male]:
            ordered += [replace(row, target=None, pollinations=0) for row in waiting.pop(key)]
        ordered += group
    return ordered
