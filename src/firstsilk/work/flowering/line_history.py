"""What do the books tell of each line's flowering in earlier seasons, and how do lines hang together?

Rows of earlier seasons that have a sowing and a silk or shed in the notes give records with their season; the figure
in a line's own record counts where it has none of those.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import InputRefused
from firstsilk.records.models import Line, Row, Season, Site, Station
from firstsilk.science.climate.heat import Scale, heat_units
from firstsilk.science.flowering.line_records import LinesKnown, find_mixed_frac
from firstsilk.science.flowering.rows import RowState
from firstsilk.science.lineage.members import order_members
from firstsilk.work.climate.readings import fill_short_holes, read_readings
from firstsilk.work.flowering.states import read_states
from firstsilk.work.lineage.ancestry import Books, as_member, collect_ancestors, find_kinship, read_books

MOST_FOR_KINSHIP = 1_500
"""With more lines and ancestors a cross is taken to be of unrelated parents. Ours: it keeps a refresh quick."""
OWN_FIGURE_ROWS = 2.0
"""Rows that the figure in a line's own record is counted for. Ours."""


@dataclass(frozen=True, slots=True)
class LineHistory:
    """Lines as a forecast takes them.

    `names` (lines,) in the order of `known`; `years` of the past seasons with records; `n_records` from rows,
    `n_figures` from lines' own records; `rows_of` (lines,) how many records each line has of its own. `kept_names`
    gives the name of the line kept for each record merged away.
    """

    names: tuple[str, ...]
    known: LinesKnown
    years: tuple[int, ...]
    mean_units: NDArray[np.float64]
    n_records: int
    n_figures: int
    rows_of: NDArray[np.float64]
    kept_names: Mapping[str, str] = field(default_factory=dict)

    def find_place(self) -> dict[str, int]:
        """The place of each line among `names`, of records merged away that of the line kept."""
        place = {name: at for at, name in enumerate(self.names)}
        return place | {gone: place[kept] for gone, kept in self.kept_names.items() if kept in place}


@dataclass(frozen=True, slots=True)
class _Record:
    line: str
    year: int
    units: tuple[float, float]
    rows: float


def read_line_history(station: Station, lines: Iterable[Line], before: date) -> LineHistory | None:
    """What is known of lines, their ancestors and their relatives' records before a season; None if nothing is.

    Notes
    -----
    Checked by ``tests/work/test_forecast_work.py``.
    """
    books = read_books(station)
    family = collect_ancestors(lines, books)
    by_name = {line.name: line for line in family}
    names = [family[at].name for at in order_members([as_member(line, books) for line in family])]
    records = _read_past_rows(station, by_name, before, books.kept)
    figures = _read_figures(by_name.values(), {one.line for one in records})
    told = [*records, *figures]
    if not told:
        return None
    years = tuple(sorted({one.year for one in records}))
    place = {name: at for at, name in enumerate(names)}
    known = _set_known(names, by_name, books, place, told, years)
    units = np.array([one.units for one in told])
    rows_of = np.bincount(known.record_line, known.record_count, len(names))
    return LineHistory(
        tuple(names),
        known,
        years,
        np.nanmean(units, axis=0),
        len(records),
        len(figures),
        np.asarray(rows_of),
        books.tell_kept(),
    )


def _set_known(
    names: Sequence[str],
    by_name: dict[str, Line],
    books: Books,
    place: dict[str, int],
    told: Sequence[_Record],
    years: Sequence[int],
) -> LinesKnown:
    members = [as_member(by_name[name], books) for name in names]
    mother = np.array([place.get(one.mother, -1) for one in members], dtype=np.intp)
    method = [one.method for one in members]
    selfings = np.array([one.selfings if one.method == "self" else 0 for one in members], dtype=np.intp)
    return LinesKnown(
        mother,
        np.array([place.get(one.father, -1) for one in members], dtype=np.intp),
        method,
        selfings,
        find_mixed_frac(mother, method, selfings, _find_cross_frac(names, by_name, books)),
        np.array([place[one.line] for one in told], dtype=np.intp),
        np.array([years.index(one.year) if one.year else -1 for one in told], dtype=np.intp),
        np.array([one.units for one in told], dtype=np.float64),
        np.array([one.rows for one in told], dtype=np.float64),
        len(years),
        np.zeros(0),
    )


def _find_cross_frac(names: Sequence[str], by_name: dict[str, Line], books: Books) -> NDArray[np.float64] | None:
    """How mixed each line is by coancestry (lines,); None where that cannot be told or takes too long."""
    if len(names) > MOST_FOR_KINSHIP:
        return None
    try:
        kinship = find_kinship(by_name.values(), books)
    except InputRefused:
        return None
    found = dict(zip(kinship.lines, (1.0 - kinship.inbreeding).tolist(), strict=True))
    return np.array([found[name] for name in names])


def _read_figures(lines: Iterable[Line], told: set[str]) -> list[_Record]:
    found = []
    for line in lines:
        if line.name not in told and (line.units_to_silk or line.units_to_shed):
            pair = (line.units_to_silk or np.nan, line.units_to_shed or np.nan)
            found.append(_Record(line.name, 0, pair, OWN_FIGURE_ROWS))
    return found


def _read_past_rows(station: Station, by_name: dict[str, Line], before: date, kept: Mapping[int, int]) -> list[_Record]:
    """Mean units of each line in each earlier season, from the notes of its rows."""
    names = {line.pk: line.name for line in by_name.values()}
    names |= {gone: names[number] for gone, number in kept.items() if number in names}
    earlier = Season.objects.filter(station=station, year__lt=before.year).select_related("site")
    found: dict[tuple[str, int], list[tuple[float, float]]] = {}
    clocks: dict[int, _Clock] = {}
    for season in earlier:
        rows = Row.objects.filter(station=station, season=season)
        line_of = {tag: names[line] for tag, line in rows.values_list("tag", "line_id") if line in names}
        states = read_states(station, rows.values_list("tag", flat=True), before) if line_of else {}
        if states and season.site_id not in clocks:
            clocks[season.site_id] = _Clock(station, season.site, before)
        for tag, line in line_of.items():
            state = states.get(tag)
            pair = None if state is None else clocks[season.site_id].count(state)
            if pair is not None:
                found.setdefault((line, season.year), []).append(pair)
    return [_average(line, year, pairs) for (line, year), pairs in sorted(found.items())]


def _average(line: str, year: int, pairs: list[tuple[float, float]]) -> _Record:
    values = np.array(pairs)
    known = ~np.isnan(values)
    mean = np.where(known, values, 0.0).sum(axis=0) / np.maximum(known.sum(axis=0), 1)
    mean[~known.any(axis=0)] = np.nan
    return _Record(line, year, (float(mean[0]), float(mean[1])), float(len(pairs)))


class _Clock:
    """Units of a site between two days, in the station's scale."""

    def __init__(self, station: Station, site: Site, up_to: date) -> None:
        whole, _ = fill_short_holes(read_readings(station, site, up_to).without_forecast())
        scale: Scale = station.scale  # type: ignore[assignment]
        units = heat_units(whole.tmin_c, whole.tmax_c, scale)
        self.at = {day: place for place, day in enumerate(whole.days)}
        self.total = np.concatenate([[0.0], np.cumsum(units)])

    def count(self, state: RowState) -> tuple[float, float] | None:
        """Units to silk and shed of a row by its notes; None if neither can be counted."""
        silk = self._between(state.sown_on, state.silk_on, state.silk_not_yet)
        shed = self._between(state.sown_on, state.shed_on, state.shed_not_yet)
        return None if np.isnan(silk) and np.isnan(shed) else (silk, shed)

    def _between(self, sown_on: date | None, seen_on: date | None, not_yet: date | None) -> float:
        """Up to the middle of the days on which it may have come; a hole in the days tells nothing."""
        if sown_on is None or seen_on is None:
            return float("nan")
        before = seen_on - timedelta(days=1)
        if not_yet is not None and sown_on < not_yet < seen_on:
            before = not_yet
        start, low, high = (self.at.get(day) for day in (sown_on, before, seen_on))
        if start is None or low is None or high is None or high - start != (seen_on - sown_on).days:
            return float("nan")
        return float((self.total[low + 1] + self.total[high + 1]) / 2.0 - self.total[start + 1])


@dataclass(frozen=True, slots=True)
class NotedUnits:
    """Units to silk and shed of a line as its own rows' notes tell them, the mean of rows; None where not noted.

    `rows` and `seasons` say of how many.
    """

    silk: float | None
    shed: float | None
    rows: int
    seasons: int


def read_noted_units(
    station: Station,
    line: Line,
    up_to: date,
    merged: Iterable[Line] = (),
    states: Mapping[str, RowState] | None = None,
) -> NotedUnits | None:
    """What the notes of a line's own rows, and of records merged into it, tell of its units up to a day; or None.

    `states` are those of all these rows by tag, for whoever has read them already.

    Notes
    -----
    Checked by ``tests/faces/test_expected_days.py``.
    """
    rows = list(Row.objects.filter(station=station, line__in=[line, *merged]).select_related("season__site"))
    if states is None:
        states = read_states(station, [row.tag for row in rows], up_to) if rows else {}
    clocks: dict[int, _Clock] = {}
    pairs, seasons = [], set()
    for row in rows:
        state = states.get(row.tag)
        if state is None or not (state.silk_on or state.shed_on):
            continue
        site = row.season.site
        if site.pk not in clocks:
            clocks[site.pk] = _Clock(station, site, up_to)
        pair = clocks[site.pk].count(state)
        if pair is not None:
            pairs.append(pair)
            seasons.add(row.season_id)
    if not pairs:
        return None
    mean = _average(line.name, 0, pairs).units
    silk, shed = (None if np.isnan(each) else each for each in mean)
    return NotedUnits(silk, shed, len(pairs), len(seasons))
