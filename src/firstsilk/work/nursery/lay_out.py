"""Which rows does a set of targets need, sown when, from which lot, standing where?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import refuse
from firstsilk.records.models import Row, Season, Station, Target
from firstsilk.science.nursery.counts import (
    GERMINATION_FRAC,
    OVERPLANT_FRAC,
    OVERPLANT_TESTER_FRAC,
    count_kernels,
    count_pollinations,
    count_rows,
)
from firstsilk.science.nursery.layout import walk_places
from firstsilk.science.nursery.sowing import SowingChoice, choose_sowing_days, find_flowering_days
from firstsilk.work.climate.series import heat_by_year, read_daily_heat
from firstsilk.work.nursery.rates import LineRates, read_line_rates
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.stock import LotStock, read_stock

if TYPE_CHECKING:
    from firstsilk.work.nursery.plan import PlanSettings

SEASON_DAYS = 150
DEFAULT_UNITS_TO_SILK_CHU = 1750.0
"""Units from sowing to half silk where nothing is known of a line: Ottawa inbreds 1,720-1,855 CHU to flowering."""
MALE_EARS_PER_ROW = 40
"""Ears that one male row can serve over its days of shed (common practice, no source)."""
DEAD_FRAC = 0.05
"""Lots that germinate worse than this are not sown (a choice of ours)."""


@dataclass(frozen=True, slots=True)
class PlannedRow:
    """One row of the plan. `pollinations` is how many to attempt on it; `meet_frac` the share of past years in which
    its parents met; `why` the sum in words."""

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
    """Rows in walking order, what is short, and the basis."""

    rows: tuple[PlannedRow, ...]
    short: tuple[Short, ...]
    basis: Basis


@dataclass(slots=True)
class _Bench:
    """What the lay-out has at hand, and what it has promised so far."""

    settings: PlanSettings
    years: tuple[int, ...]
    daily: NDArray[np.float64]
    rates: dict[str, LineRates]
    stock: dict[str, list[LotStock]]
    taken: dict[str, int]
    missing: list[tuple[str, str, str]]
    """What is missing, of which line or lot, and what stands in for it."""


def lay_out_rows(
    on: Occasion, station: Station, season: Season, drafts: Sequence[Target], settings: PlanSettings
) -> LaidOut:
    """Rows for the draft targets, after the rows that stand already.

    Notes
    -----
    A target gets as many rows as its pollinations need; each male line gets rows of its own, sown so that it sheds
    when its females silk; rows are ordered by expected silk so that a crew works one block a day, each male before
    the first female it serves.
    """
    bench = _set_bench(on, station, season, drafts, settings)
    drafted: list[PlannedRow] = []
    short: list[Short] = []
    males: dict[tuple[str, date], list[PlannedRow]] = {}
    for target in drafts:
        rows, lack = _rows_for_target(target, bench, males)
        drafted += rows
        short += lack
    ordered = _order_rows(drafted, males)
    placed = _place_rows(ordered, station, season, settings.rows_per_range)
    used = (("past years of weather", len(bench.years)), ("draft targets", len(drafts)), ("lots", len(bench.stock)))
    return LaidOut(placed, tuple(short), Basis(used, _tell_missing(bench.missing)))


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
    heat = read_daily_heat(station, season.site, on.today)
    start = settings.sow_from
    day = 28 if (start.month, start.day) == (2, 29) else start.day
    years, daily = heat_by_year(heat, (start.month, day), SEASON_DAYS, before_year=start.year)
    if not years:
        raise refuse(
            "no_past_weather",
            f"There is no whole past season of weather for {season.site.name}.",
            "Bring daily weather of at least one past year, May to October.",
        )
    names = {target.female.name for target in drafts} | {target.male.name for target in drafts if target.male}
    stock: dict[str, list[LotStock]] = {}
    for lot in read_stock(station, names):
        stock.setdefault(lot.line, []).append(lot)
    missing = [("only", f"{len(years)} past years of weather", "")] if len(years) < 10 else []
    return _Bench(settings, years, daily, read_line_rates(station, names, on.today), stock, {}, missing)


def _tell_missing(missing: Sequence[tuple[str, str, str]]) -> tuple[str, ...]:
    """What is missing as sentences: names that lack the same thing stand together, the first three by name."""
    names: dict[tuple[str, str], list[str]] = {}
    for what, name, instead in dict.fromkeys(missing):
        names.setdefault((what, instead), []).append(name)
    told = []
    for (what, instead), which in names.items():
        more = f" and {len(which) - 3} more" if len(which) > 3 else ""
        told.append(f"{what} {', '.join(which[:3])}{more}" + (f" ({instead})" if instead else ""))
    return tuple(told)


def _units(bench: _Bench, line: str) -> tuple[float, float]:
    """Units to silk and shed of a line, or the stated default where nothing is known."""
    rates = bench.rates[line]
    if rates.units_to_silk is None:
        bench.missing.append(("units to silk of", line, f"taken as {DEFAULT_UNITS_TO_SILK_CHU:.0f}"))
    elif rates.units_source != "own":
        whose = "those of parents stand" if rates.units_source == "parents" else "the programme's mean stands"
        bench.missing.append(("own units to silk of", line, f"{whose} in"))
    silk = rates.units_to_silk or DEFAULT_UNITS_TO_SILK_CHU
    return silk, rates.units_to_shed or silk - 20.0


def _rows_for_target(
    target: Target, bench: _Bench, males: dict[tuple[str, date], list[PlannedRow]]
) -> tuple[list[PlannedRow], list[Short]]:
    """The rows of one target, its males' rows added to `males`; or nothing and what is short."""
    female = target.female.name
    rates = bench.rates[female]
    ears = rates.ears_for(target.ears_wanted, target.kernels_wanted)
    attempts = count_pollinations(ears, rates.success_frac, bench.settings.assurance)
    n_rows = count_rows(attempts, bench.settings.plants_per_row)
    silk, _ = _units(bench, female)
    choice = SowingChoice(0, 0, None, 1.0, len(bench.years))
    if target.male is not None:
        _, male_shed = _units(bench, target.male.name)
        choice = choose_sowing_days(bench.daily, silk, male_shed, bench.settings.last_sowing_days)
    sow_on = bench.settings.sow_from + timedelta(days=choice.female_day)
    why = (
        f"{ears} good ear{'s' if ears > 1 else ''} at {rates.success_frac:.0%} success need {attempts} pollinations"
        f" ({bench.settings.assurance:.0%} sure): {n_rows} row{'s' if n_rows > 1 else ''}"
    )
    purpose = "female" if target.male is not None else "self"
    before = dict(bench.taken)
    rows: list[PlannedRow] = []
    for step in range(n_rows):
        share = attempts // n_rows + (1 if step < attempts % n_rows else 0)
        row = _one_row(target, female, purpose, sow_on, silk, share, choice, bench, why)
        if isinstance(row, Short):
            bench.taken = before
            return [], [replace(row, rows_needed=n_rows, rows_possible=step)]
        rows.append(row)
    if target.male is not None:
        lack = _male_rows(target, attempts, choice, bench, males)
        if lack is not None:
            bench.taken = before
            return [], [lack]
    return rows, []


def _one_row(
    target: Target,
    line: str,
    purpose: str,
    sow_on: date,
    silk: float,
    pollinations: int,
    choice: SowingChoice,
    bench: _Bench,
    why: str,
) -> PlannedRow | Short:
    over = OVERPLANT_TESTER_FRAC if purpose == "male" else OVERPLANT_FRAC
    lot, kernels = _take_seed(line, bench, over)
    if lot is None:
        return _tell_short(target, line, kernels, bench)
    days = find_flowering_days(bench.daily, (sow_on - bench.settings.sow_from).days, silk)
    known = days[~np.isnan(days)]
    expected = bench.settings.sow_from + timedelta(days=round(float(np.median(known)))) if len(known) else None
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
        sow_on=sow_on,
        sowing=1,
        silk_expected=expected,
        pollinations=pollinations,
        meet_frac=choice.meet_frac if target.male is not None else None,
        why=why,
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


def _male_rows(
    target: Target,
    attempts: int,
    choice: SowingChoice,
    bench: _Bench,
    males: dict[tuple[str, date], list[PlannedRow]],
) -> Short | None:
    """Add male rows for a cross until those sown on the wanted day can serve all ears asked of them, or none."""
    assert target.male is not None
    name = target.male.name
    sow_on = bench.settings.sow_from + timedelta(days=choice.male_day)
    rows = list(males.get((name, sow_on), ()))
    free = sum(MALE_EARS_PER_ROW - row.pollinations for row in rows)
    while free < attempts:
        silk, _ = _units(bench, name)
        why = f"male for its crosses, sown {choice.male_day} days after the first sowing so that it meets them"
        row = _one_row(target, name, "male", sow_on, silk, 0, choice, bench, why)
        if isinstance(row, Short):
            return row
        rows.append(row)
        free += MALE_EARS_PER_ROW
    left = attempts
    for at, row in enumerate(rows):
        room = min(left, MALE_EARS_PER_ROW - row.pollinations)
        rows[at] = replace(row, pollinations=row.pollinations + room)
        left -= room
    males[(name, sow_on)] = rows
    return None


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
