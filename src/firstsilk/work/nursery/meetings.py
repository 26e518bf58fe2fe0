"""Who meets in the nursery as it is planned and sown, with which chance, and who is at risk?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from firstsilk.records.models import Row
from firstsilk.science.nursery.meeting import Windows
from firstsilk.science.nursery.sowing_dates import judge_sowing_dates
from firstsilk.science.nursery.sowing_question import OWN_SD_FRAC, STAND_IN_SD_FRAC, LineNeeds, PlannedCross, Role
from firstsilk.work.flowering.states import read_states
from firstsilk.work.nursery.joint_sowing import (
    DRAWS,
    CrossMeeting,
    CrossNeed,
    sort_meetings,
    tell_meeting,
    units_of,
)
from firstsilk.work.nursery.past_days import PastDays, read_past_days
from firstsilk.work.nursery.rates import LineRates, read_line_rates
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_season, get_station
from firstsilk.work.standing import rows_on


@dataclass(frozen=True, slots=True)
class Meetings:
    """The crosses of a season that have rows, with their dates and chances.

    Attributes
    ----------
    season
        Its name.
    meetings
        One for each cross with female and male rows, those at risk first.
    days
        Sowing days with their rows and kernels, in order: (day, rows, kernels, rows sown).
    without_male
        Targets whose male has no row.
    """

    season: str
    meetings: tuple[CrossMeeting, ...]
    days: tuple[tuple[date, int, int, int], ...]
    without_male: tuple[int, ...]
    basis: Basis

    @property
    def at_risk(self) -> tuple[CrossMeeting, ...]:
        """Crosses that may fail."""
        return tuple(one for one in self.meetings if one.at_risk)


def read_meetings(on: Occasion, season: str = "") -> Meetings:
    """Who meets, by the days noted as sown, else by those planned.

    Raises
    ------
    InputRefused
        If there is no such season, or no whole past season of weather to judge by.

    Notes
    -----
    Each cross is judged by its own rows, as in `joint_sowing`. A fixed number of queries.
    """
    station = get_station(on.station)
    book = get_season(station, season, on.today)
    rows = list(
        rows_on(station, on.today)
        .filter(season=book)
        .select_related("line", "target", "target__female", "target__male")
        .order_by("number")
    )
    states = read_states(station, [row.tag for row in rows], on.today)
    noted = {row.pk: states[row.tag].sown_on for row in rows if row.tag in states}
    days = {row.pk: noted.get(row.pk) or row.sow_on for row in rows}
    sown = {key for key, day in noted.items() if day}
    found = _find_crosses(rows, days)
    counts = _count_days(rows, days, sown)
    lonely = tuple(sorted(number for number, (_, _, males) in found.items() if not males))
    whole = {number: each for number, each in found.items() if each[2]}
    if not whole:
        return Meetings(book.name, (), counts, lonely, Basis((("rows", len(rows)),)))
    names = {name for row, females, _ in whole.values() if females for name in _names_of(row)}
    rates = read_line_rates(station, names, on.today)
    first = min(day for _, females, males in whole.values() for day in (*females, *males))
    past = read_past_days(on, station, book.site, first)
    meetings = [_judge(row, females, males, rates, past) for row, females, males in whole.values()]
    used = (("rows", len(rows)), ("past years of weather", past.n_own))
    return Meetings(book.name, sort_meetings(meetings), counts, lonely, Basis(used, past.missing))


_Found = tuple[Row, tuple[date, ...], tuple[date, ...]]


def _find_crosses(rows: Sequence[Row], days: Mapping[int, date | None]) -> dict[int, _Found]:
    """For each cross with female rows: one of them, its female and its male's sowing days."""
    males: dict[str, set[date]] = defaultdict(set)
    females: dict[int, tuple[Row, set[date]]] = {}
    for row in rows:
        day = days[row.pk]
        if day is None:
            continue
        if row.purpose == "male":
            males[row.line.name].add(day)
        elif row.purpose == "female" and row.target is not None and row.target.male is not None:
            females.setdefault(row.target.number, (row, set()))[1].add(day)
    return {
        number: (row, tuple(sorted(own)), tuple(sorted(males[_names_of(row)[1]])))
        for number, (row, own) in sorted(females.items())
    }


def _names_of(row: Row) -> tuple[str, str]:
    """Female and male of a female row."""
    assert row.target is not None
    assert row.target.male is not None
    return row.line.name, row.target.male.name


def _count_days(
    rows: Sequence[Row], days: Mapping[int, date | None], sown: set[int]
) -> tuple[tuple[date, int, int, int], ...]:
    """Rows, kernels and rows sown of each sowing day."""
    counts: dict[date, list[int]] = defaultdict(lambda: [0, 0, 0])
    for row in rows:
        day = days.get(row.pk)
        if day is not None:
            counts[day][0] += 1
            counts[day][1] += row.kernels
            counts[day][2] += row.pk in sown
    return tuple((day, *counts[day]) for day in sorted(counts))  # type: ignore[misc]


def _judge(
    row: Row,
    females: tuple[date, ...],
    males: tuple[date, ...],
    rates: Mapping[str, LineRates],
    past: PastDays,
) -> CrossMeeting:
    target = row.target
    assert target is not None
    female, male = _names_of(row)
    ears = rates[female].ears_for(target.ears_wanted, target.kernels_wanted)
    need = CrossNeed(target.number, target.kind, female, male, target.priority, ears, 0, 0)
    lines = {name: _describe(rates[name]) for name in (female, male)}
    days: dict[Role, tuple[int, ...]] = {
        ("female", female): _count_from(past.sow_from, females),
        ("male", male): _count_from(past.sow_from, males),
    }
    (chance,) = judge_sowing_dates([PlannedCross(female, male)], lines, past.heat, days, Windows(), "plants", DRAWS)
    return tell_meeting(need, days, chance, None, past, units_of(rates[female])[0], units_of(rates[male])[1])


def _describe(rates: LineRates) -> LineNeeds:
    silk, shed = units_of(rates)
    return LineNeeds(silk, shed, silk * (OWN_SD_FRAC if rates.units_source == "own" else STAND_IN_SD_FRAC))


def _count_from(first: date, days: Sequence[date]) -> tuple[int, ...]:
    return tuple((day - first) // timedelta(days=1) for day in days)
