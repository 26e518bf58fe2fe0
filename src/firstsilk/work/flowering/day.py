"""What needs a hand in the field today, and how far is each target?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from firstsilk.records.models import Row, Station
from firstsilk.science.flowering.day import RowOnDay, Task, list_tasks
from firstsilk.science.flowering.rows import RowState
from firstsilk.science.nursery.counts import count_pollinations
from firstsilk.science.nursery.sowing import expect_day
from firstsilk.work.climate.series import DailyHeat, normal_daily, read_daily_heat
from firstsilk.work.flowering.states import read_states
from firstsilk.work.nursery.rates import LineRates, read_line_rates
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_season, get_station

LOOK_AHEAD_DAYS = 90


@dataclass(frozen=True, slots=True)
class RowFacts:
    """One row as planned, as noted, as expected today."""

    number: int
    tag: str
    field_row: int
    field_col: int
    line: str
    pedigree: str
    purpose: str
    target: int | None
    kind: str
    ears_wanted: int
    wanted: int
    male: str
    male_rows: tuple[int, ...]
    lot: str
    kernels: int
    sow_on: date | None
    silk_expected: date | None
    shed_expected: date | None
    units_since_sowing: float | None
    state: RowState
    no_entry: bool


@dataclass(frozen=True, slots=True)
class DayList:
    """Today's tasks with the rows they are about."""

    season: str
    today: date
    cutoff_on: date | None
    tasks: tuple[Task, ...]
    rows: dict[int, RowFacts]
    basis: Basis

    def count(self, do: str) -> int:
        """How many rows have this task."""
        return sum(1 for task in self.tasks if task.do == do)


def read_rows(on: Occasion, season: str = "") -> tuple[tuple[RowFacts, ...], Basis]:
    """Every row of a season as it stands on the occasion's day, in walking order."""
    station = get_station(on.station)
    book = get_season(station, season, on.today)
    rows = list(
        Row.objects.filter(station=station, season=book)
        .select_related("line", "lot", "target", "target__male")
        .order_by("number")
    )
    states = read_states(station, [row.tag for row in rows], on.today)
    heat = read_daily_heat(station, book.site, on.today)
    rates = read_line_rates(station, {row.line.name for row in rows})
    facts = _facts_of(rows, states, heat, rates, on)
    return facts, _basis(facts, heat, on, station)


def _basis(facts: Sequence[RowFacts], heat: DailyHeat, on: Occasion, station: Station) -> Basis:
    missing = []
    if heat.last is None:
        missing.append("weather of the site (nothing can be expected)")
    elif (on.today - heat.last).days > 1:
        missing.append(f"weather since {heat.last} (last reading {(on.today - heat.last).days} days old)")
    unknown = sorted({row.line for row in facts if row.purpose != "filler" and row.silk_expected is None})
    sown_unknown = [row.line for row in facts if row.state.sown_on and row.silk_expected is None]
    if unknown and sown_unknown:
        missing.append(f"heat units to silk of {len(set(sown_unknown))} lines")
    noted = sum(row.state.n_notes for row in facts)
    return Basis((("rows", len(facts)), ("notes", noted), ("days of weather", len(heat.days))), tuple(missing))


def _facts_of(
    rows: Sequence[Row], states: dict[str, RowState], heat: DailyHeat, rates: dict[str, LineRates], on: Occasion
) -> tuple[RowFacts, ...]:
    ahead = normal_daily(heat, heat.last or on.today, LOOK_AHEAD_DAYS).tolist()
    males: dict[str, list[int]] = defaultdict(list)
    for row in rows:
        if row.purpose == "male":
            males[row.line.name].append(row.number)
    shares = _share_targets(rows, rates)
    facts = []
    for row in rows:
        state = states.get(row.tag, RowState(row.tag))
        units = heat.between(state.sown_on, on.today) if state.sown_on else None
        rate = rates[row.line.name]
        silk = _expect(state.silk_on, rate.units_to_silk, units, ahead, heat, on)
        shed = _expect(state.shed_on, rate.units_to_shed or rate.units_to_silk, units, ahead, heat, on)
        facts.append(_row_facts(row, state, units, (silk, shed), males, shares.get(row.number, 0), on))
    return tuple(facts)


def _expect(
    seen: date | None, need: float | None, units: float | None, ahead: list[float], heat: DailyHeat, on: Occasion
) -> date | None:
    """The day seen, else the day expected at the normal pace; in the past, today stands for it."""
    if seen is not None or need is None or units is None or heat.last is None:
        return seen
    days = expect_day(need - units, ahead)
    return None if days is None else max(heat.last + timedelta(days=days), on.today)


def _share_targets(rows: Sequence[Row], rates: dict[str, LineRates]) -> dict[int, int]:
    """Pollinations to attempt on each row: a target's need with assurance, dealt evenly over its rows."""
    by_target: dict[int, list[Row]] = defaultdict(list)
    for row in rows:
        if row.target is not None and row.purpose in ("self", "female"):
            by_target[row.target.pk].append(row)
    shares = {}
    for group in by_target.values():
        target = group[0].target
        assert target is not None
        rate = rates[group[0].line.name]
        ears = target.ears_wanted
        if target.kernels_wanted:
            ears = max(ears, -(-target.kernels_wanted // max(1, int(rate.kernels_per_ear))))
        need = count_pollinations(ears, rate.success_frac)
        for step, row in enumerate(group):
            shares[row.number] = need // len(group) + (1 if step < need % len(group) else 0)
    return shares


def _row_facts(
    row: Row,
    state: RowState,
    units: float | None,
    expected: tuple[date | None, date | None],
    males: dict[str, list[int]],
    wanted: int,
    on: Occasion,
) -> RowFacts:
    target = row.target
    male = target.male.name if target is not None and target.male is not None and row.purpose == "female" else ""
    return RowFacts(
        number=row.number,
        tag=row.tag,
        field_row=row.field_row,
        field_col=row.field_col,
        line=row.line.name,
        pedigree=row.line.pedigree,
        purpose=row.purpose,
        target=target.number if target is not None else None,
        kind=target.kind if target is not None and row.purpose in ("self", "female") else "",
        ears_wanted=target.ears_wanted if target is not None and row.purpose in ("self", "female") else 0,
        wanted=wanted,
        male=male,
        male_rows=tuple(males.get(male, [])) if male else (),
        lot=row.lot.name if row.lot else "",
        kernels=row.kernels,
        sow_on=row.sow_on,
        silk_expected=expected[0],
        shed_expected=expected[1],
        units_since_sowing=units,
        state=state,
        no_entry=row.no_entry_until is not None and row.no_entry_until > on.now,
    )


def read_day_list(on: Occasion, season: str = "") -> DayList:
    """Today's tasks: rows to sow, look at, bag, pollinate and pick, each with its reason.

    Notes
    -----
    Considered: plan, notes, heat units so far and the normal pace ahead, silk and shed windows, spray intervals, the
    cutoff. Not considered: rain, heat of the day, the hour, walking distance beyond row order, who is there.
    """
    station = get_station(on.station)
    book = get_season(station, season, on.today)
    facts, basis = read_rows(on, book.name)
    by_number = {row.number: row for row in facts}
    tasks = list_tasks([_on_day(row, by_number, on.today) for row in facts], on.today, book.cutoff_on)
    return DayList(book.name, on.today, book.cutoff_on, tasks, by_number, basis)


def _on_day(row: RowFacts, by_number: dict[int, RowFacts], today: date) -> RowOnDay:
    males = (row.tag,) if row.purpose == "self" else tuple(by_number[number].tag for number in row.male_rows)
    return RowOnDay(
        number=row.number,
        tag=row.tag,
        purpose=row.purpose,
        type=row.kind,
        wanted=row.wanted,
        males=males,
        sow_on=row.sow_on,
        silk_in_days=None if row.silk_expected is None else max(0, (row.silk_expected - today).days),
        shed_in_days=None if row.shed_expected is None else max(0, (row.shed_expected - today).days),
        state=row.state,
        no_entry=row.no_entry,
    )


@dataclass(frozen=True, slots=True)
class TargetProgress:
    """How far one target is: ears wanted, pollinated, spoiled, picked, kernels, and in words."""

    number: int
    kind: str
    female: str
    male: str
    ears_wanted: int
    attempts_wanted: int
    ears_pollinated: int
    spoiled: int
    ears_picked: int
    kernels: int
    rows: tuple[int, ...]
    says: str


def read_progress(on: Occasion, season: str = "") -> tuple[tuple[TargetProgress, ...], Basis]:
    """How far each planned target of the season is on the occasion's day."""
    facts, basis = read_rows(on, season)
    groups: dict[int, list[RowFacts]] = defaultdict(list)
    for row in facts:
        if row.target is not None and row.purpose in ("self", "female"):
            groups[row.target].append(row)
    return tuple(_progress(number, rows) for number, rows in sorted(groups.items())), basis


def _progress(number: int, rows: list[RowFacts]) -> TargetProgress:
    done = sum(row.state.ears_pollinated for row in rows)
    lost = sum(row.state.spoiled for row in rows)
    picked = sum(row.state.ears_picked for row in rows)
    attempts = sum(row.wanted for row in rows)
    wanted = rows[0].ears_wanted
    if picked:
        says = f"{picked} of {wanted} good ears picked" + ("" if picked >= wanted else ": short")
    elif done - lost >= attempts:
        says = "enough pollinated"
    elif done:
        says = f"{attempts - done + lost} more to pollinate"
    else:
        says = "nothing pollinated yet"
    return TargetProgress(
        number,
        rows[0].kind,
        rows[0].line,
        rows[0].male,
        wanted,
        attempts,
        done,
        lost,
        picked,
        sum(row.state.kernels for row in rows),
        tuple(row.number for row in rows),
        says,
    )
