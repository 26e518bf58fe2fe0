"""Where does each row of a season stand: as planned, as noted, as its heat units promise?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import NamedTuple

import numpy as np

from firstsilk.records.models import Season, Station
from firstsilk.science.flowering.rows import RowState
from firstsilk.science.nursery.sowing import expect_day
from firstsilk.science.seed.pollinations import EarRates
from firstsilk.work.climate.series import DailyHeat, normal_daily, read_daily_heat
from firstsilk.work.collecting import pause_collecting
from firstsilk.work.flowering.clock import find_moment
from firstsilk.work.flowering.states import read_states
from firstsilk.work.nursery.rates import LineRates, read_line_rates
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_season, get_station
from firstsilk.work.standing import rows_on

LOOK_AHEAD_DAYS = 90
UNTOLD = EarRates()


@dataclass(frozen=True, slots=True)
class RowFacts:
    """One row as planned, as noted, as expected today. An expected day may lie in the past: then it is overdue.

    `ears_wanted` are the good ears that its target wants, those counted in that its kernels need on the average;
    `ears_asked` and `kernels_asked` what was asked for.
    """

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
    no_entry_until: datetime | None = None
    ear_rates: EarRates = UNTOLD
    priority: int = 2
    ears_asked: int = 0
    kernels_asked: int = 0


class PlannedRow(NamedTuple):
    """One row as the plan has it, with its line, lot and target."""

    number: int
    tag: str
    field_row: int
    field_col: int
    line: str
    pedigree: str
    purpose: str
    lot: str | None
    kernels: int
    sow_on: date | None
    no_entry_until: datetime | None
    target: int | None
    kind: str
    ears_wanted: int
    kernels_wanted: int | None
    priority: int
    male: str | None


_ROW_COLUMNS = (
    *("number", "tag", "field_row", "field_col", "line__name", "line__pedigree", "purpose", "lot__name", "kernels"),
    *("sow_on", "no_entry_until", "target__number", "target__kind", "target__ears_wanted", "target__kernels_wanted"),
    *("target__priority", "target__male__name"),
)


class HeatClock:
    """Heat units of a site, ready for many questions: how many since a day, and on which day a sum was reached."""

    def __init__(self, heat: DailyHeat, today: date) -> None:
        self.heat, self.today = heat, today
        self.ordinals = np.array([day.toordinal() for day in heat.days], dtype=np.int64)
        self.totals = np.concatenate([[0.0], np.cumsum(heat.units)])
        self.ahead = normal_daily(heat, heat.last or today, LOOK_AHEAD_DAYS).tolist()
        # Many rows are sown on one day, and many of one line.
        self._places: dict[date, int] = {}
        self._expected: dict[tuple[date, float], date | None] = {}

    def count_since(self, sown_on: date) -> float:
        """Units from the day after sowing up to the last reading."""
        return float(self.totals[-1] - self.totals[self._after(sown_on)])

    def expect(self, sown_on: date, need: float) -> date | None:
        """The day on which the units were or will be reached at the normal pace; None if that cannot be told."""
        asked = (sown_on, need)
        if asked not in self._expected:
            self._expected[asked] = self._expect(sown_on, need)
        return self._expected[asked]

    def _expect(self, sown_on: date, need: float) -> date | None:
        if self.heat.last is None:
            return None
        start = self._after(sown_on)
        wanted = need + self.totals[start]
        reached = int(np.searchsorted(self.totals[1:], wanted * (1 - 1e-12)))
        if reached < len(self.ordinals):
            return date.fromordinal(int(self.ordinals[reached])) if reached >= start else sown_on
        days = expect_day(float(wanted - self.totals[-1]), self.ahead)
        return None if days is None else max(self.heat.last, sown_on) + timedelta(days=days)

    def _after(self, day: date) -> int:
        if day not in self._places:
            self._places[day] = int(np.searchsorted(self.ordinals, day.toordinal(), side="right"))
        return self._places[day]


def read_rows(on: Occasion, season: str = "") -> tuple[tuple[RowFacts, ...], Basis]:
    """Every row of a season as it stands on the occasion's day, in walking order."""
    station = get_station(on.station)
    return read_season_rows(on, station, get_season(station, season, on.today))


def read_season_rows(on: Occasion, station: Station, season: Season) -> tuple[tuple[RowFacts, ...], Basis]:
    """As `read_rows`, for whoever has the season at hand."""
    # Whether a spray interval still runs is asked of the day looked at, not of the clock on the wall.
    on = replace(on, now=find_moment(on, station))
    with pause_collecting():
        told = rows_on(station, on.today).filter(season=season).order_by("number")
        # Plain values: a large nursery has 20,000 rows, and five records for each take a second and more.
        rows = [PlannedRow(*values) for values in told.values_list(*_ROW_COLUMNS)]
        states = read_states(station, told.order_by().values_list("tag", flat=True), on.today)
        heat = read_daily_heat(station, season.site, on.today)
        rates = read_line_rates(station, {row.line for row in rows}, on.today)
        facts = _facts_of(rows, states, HeatClock(heat, on.today), rates, on)
    return facts, _basis(facts, heat, rates, on)


def _basis(facts: Sequence[RowFacts], heat: DailyHeat, rates: dict[str, LineRates], on: Occasion) -> Basis:
    missing = []
    if heat.last is None:
        missing.append("weather of the site (nothing can be expected)")
    elif (on.today - heat.last).days > 1:
        age = (on.today - heat.last).days
        missing.append(f"weather since {heat.last.day} {heat.last:%b %Y} (last reading {age} days old)")
    sown = {row.line for row in facts if row.purpose != "filler" and row.state.sown_on and row.silk_expected is None}
    unknown = {line for line in sown if rates[line].units_to_silk is None}
    if unknown and heat.last is not None:
        missing.append(f"heat units to silk of {len(unknown)} line{'s' if len(unknown) > 1 else ''}")
    lent = {row.line for row in facts if row.purpose != "filler" and rates[row.line].units_source not in ("own", "")}
    if lent:
        told = f"own heat units to silk of {len(lent)} line{'s' if len(lent) > 1 else ''}"
        missing.append(f"{told} (those of parents or of the programme stand in)")
    noted = sum(row.state.n_notes for row in facts)
    return Basis((("rows", len(facts)), ("notes", noted), ("days of weather", len(heat.days))), tuple(missing))


def _facts_of(
    rows: Sequence[PlannedRow], states: dict[str, RowState], clock: HeatClock, rates: dict[str, LineRates], on: Occasion
) -> tuple[RowFacts, ...]:
    males: dict[str, list[int]] = defaultdict(list)
    for row in rows:
        if row.purpose == "male":
            males[row.line].append(row.number)
    rows_of = {line: tuple(numbers) for line, numbers in males.items()}
    shares = share_pollinations(rows, rates)
    return tuple(
        _row_facts(row, states.get(row.tag, RowState(row.tag)), clock, rates[row.line], rows_of, shares, on)
        for row in rows
    )


def share_pollinations(rows: Sequence[PlannedRow], rates: dict[str, LineRates]) -> dict[int, int]:
    """Pollinations to attempt on each row: a target's need with assurance, dealt evenly over its rows."""
    by_target: dict[int, list[PlannedRow]] = defaultdict(list)
    for row in rows:
        if row.target is not None and row.purpose in ("self", "female"):
            by_target[row.target].append(row)
    shares = {}
    for group in by_target.values():
        first = group[0]
        need = rates[first.line].pollinations_for(first.ears_wanted, first.kernels_wanted)
        for step, row in enumerate(group):
            shares[row.number] = need // len(group) + (1 if step < need % len(group) else 0)
    return shares


def _row_facts(
    row: PlannedRow,
    state: RowState,
    clock: HeatClock,
    rate: LineRates,
    males: dict[str, tuple[int, ...]],
    shares: dict[int, int],
    on: Occasion,
) -> RowFacts:
    serves = row.target is not None and row.purpose in ("self", "female")
    male = row.male or "" if serves and row.purpose == "female" else ""
    silk_units, shed_units = rate.units_to_silk, rate.units_to_shed or rate.units_to_silk
    sown = state.sown_on
    return RowFacts(
        number=row.number,
        tag=row.tag,
        field_row=row.field_row,
        field_col=row.field_col,
        line=row.line,
        pedigree=row.pedigree,
        purpose=row.purpose,
        target=row.target,
        kind=row.kind if serves else "",
        ears_wanted=rate.ears_for(row.ears_wanted, row.kernels_wanted) if serves else 0,
        wanted=shares.get(row.number, 0),
        male=male,
        male_rows=males.get(male, ()) if male else (),
        lot=row.lot or "",
        kernels=row.kernels,
        sow_on=row.sow_on,
        silk_expected=state.silk_on or (clock.expect(sown, silk_units) if sown and silk_units else None),
        shed_expected=state.shed_on or (clock.expect(sown, shed_units) if sown and shed_units else None),
        units_since_sowing=clock.count_since(sown) if sown and clock.heat.last else None,
        state=state,
        no_entry=row.no_entry_until is not None and row.no_entry_until > on.now,
        no_entry_until=row.no_entry_until,
        ear_rates=rate.ear_rates,
        priority=row.priority if row.target is not None else 2,
        ears_asked=row.ears_wanted if serves else 0,
        kernels_asked=(row.kernels_wanted or 0) if serves else 0,
    )
