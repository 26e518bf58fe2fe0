"""From rows with their notes, what is known of their lines, and the season's heat, to a forecast of silk and shed.

Two ways in: the need of each row is handed in (`forecast_known`), or it is learnt from pedigree and records
(`forecast_lines`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from firstsilk.science.flowering.forecast import DRAWS, FloweringForecast, forecast_flowering
from firstsilk.science.flowering.line_records import (
    KNOWN_ONLY,
    LinesKnown,
    design_rows,
    learn_lines,
    row_cov,
    season_cov,
    start_season,
)
from firstsilk.science.flowering.line_tree import LineTree
from firstsilk.science.flowering.other_clock import find_clock_shifts
from firstsilk.science.flowering.rows_ahead import HeatAhead, RowsAhead
from firstsilk.science.flowering.season_heat import SeasonHeat
from firstsilk.science.flowering.spreads import SPREADS, Spreads

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

UNTOLD_SEASON_SCALE, UNTOLD_ROW_SCALE = 2.0, 1.3
"""Where no earlier season has told how far seasons and rows lie apart, their variances are so much larger. Ours."""
DRIFT_POWER = 1.5
"""The worse past seasons fit the scale of heat units, the more the season's shift drifts: by this power of how many
times the usual variance they had. Ours, set on worlds that were frozen first."""
KNOWN_SD_DAYS = 1.0
"""How sure a line's units are where its spread is not told [days]. Common practice, no source."""
ALIKE = 0.85
"""Correlation of what is not known of a line's silk and of its shed. Ours."""


@dataclass(frozen=True, slots=True)
class NotedRows:
    """Rows with what was noted of them; the last axis of two is silk, shed; days are those of the season's heat.

    Attributes
    ----------
    line_of
        Line of each row (rows,).
    sown
        Day of sowing (rows,).
    crowding
        How crowded, in standard deviations (rows,); 0 where not known.
    not_yet, seen
        Last day looked for and not there, and day seen (rows, 2); -1 if none.
    """

    line_of: IntArray
    sown: IntArray
    crowding: FloatArray
    not_yet: IntArray
    seen: IntArray


@dataclass(frozen=True, slots=True)
class SeasonTold:
    """A forecast with what made it: units of a normal day at flowering, how dry the month before it is (0 to 1), and
    how many times the usual variance seasons and rows were found to have."""

    forecast: FloweringForecast
    pace: float
    dryness_frac: float
    season_scale: float
    row_scale: float


def forecast_known(
    heat: SeasonHeat,
    rows: NotedRows,
    units: FloatArray,
    sd_units: FloatArray,
    spreads: Spreads = SPREADS,
    draws: int = DRAWS,
    seed: int = 1,
) -> SeasonTold:
    """Forecast rows whose need is handed in.

    Parameters
    ----------
    heat
        The season.
    rows
        The rows; those of one line share what is not known of it.
    units
        Units from sowing to half silk and half shed (rows, 2).
    sd_units
        Standard deviation of what is not known of a row's line (rows,) [units]; NaN where it is not told.
    spreads, draws, seed
        As in `forecast.forecast_flowering`.

    Returns
    -------
    SeasonTold

    Raises
    ------
    ValueError
        If a row is sown after the days that past years tell.

    Notes
    -----
    Checked by ``tests/science/test_season_forecast.py``.
    """
    pace, expected = _find_pace(heat, rows.sown, units[:, 0])
    dryness = heat.find_dryness(expected)
    sd = np.where(np.isnan(sd_units), KNOWN_SD_DAYS * pace, sd_units)
    n_lines = int(rows.line_of.max()) + 1
    count = np.bincount(rows.line_of, minlength=n_lines)
    variance = np.maximum(np.bincount(rows.line_of, sd**2, n_lines) / np.maximum(count, 1), (0.01 * pace) ** 2)
    tree = LineTree(
        np.full(n_lines, -1, dtype=np.intp),
        np.zeros((n_lines, 2)),
        variance[:, None, None] * np.array([[1.0, ALIKE], [ALIKE, 1.0]]),
        np.zeros((n_lines, 2, KNOWN_ONLY)),
        *start_season(spreads, pace, dryness, UNTOLD_SEASON_SCALE * season_cov(spreads, pace)),
    )
    hints = _read_hints(heat, rows.sown, units[:, 0])
    ahead = RowsAhead(
        rows.line_of,
        rows.sown,
        units,
        _design(tree, rows, hints, np.zeros(len(rows.sown))),
        rows.not_yet,
        rows.seen,
        hints - hints.mean(axis=1)[:, None],
    )
    told = forecast_flowering(
        tree,
        None,
        ahead,
        HeatAhead(heat.so_far[0], heat.ahead[0]),
        row_cov(spreads, pace) * UNTOLD_ROW_SCALE,
        pace,
        spreads.drift_days * pace * UNTOLD_SEASON_SCALE**DRIFT_POWER,
        spreads.wrong_note_frac,
        draws,
        seed,
    )
    return SeasonTold(told, pace, dryness, UNTOLD_SEASON_SCALE, UNTOLD_ROW_SCALE)


def forecast_lines(
    heat: SeasonHeat,
    rows: NotedRows,
    known: LinesKnown,
    season_years: tuple[int, ...],
    mean_units: FloatArray,
    spreads: Spreads = SPREADS,
    draws: int = DRAWS,
    seed: int = 1,
) -> SeasonTold:
    """Forecast rows whose lines are known by pedigree and records.

    Parameters
    ----------
    heat, rows
        The season and its rows; `line_of` are places in `known`.
    known
        Lines and records; what it says of the other clock is filled in here.
    season_years
        Year of each past season of the records.
    mean_units
        The programme's mean (2,), before records.
    spreads, draws, seed
        As in `forecast.forecast_flowering`.

    Returns
    -------
    SeasonTold

    Notes
    -----
    Checked by ``tests/science/test_forecast_worlds.py``.
    """
    middle = np.full(len(rows.sown), float(mean_units[0]))
    pace, expected = _find_pace(heat, rows.sown, middle)
    dryness = heat.find_dryness(expected)
    hinted = replace(known, clock_shift=_read_past_hints(heat, season_years, rows.sown, float(mean_units[0])))
    learnt = learn_lines(hinted, spreads, pace, mean_units, dryness)
    hints = _read_hints(heat, rows.sown, middle)
    ahead = RowsAhead(
        rows.line_of,
        rows.sown,
        np.zeros((len(rows.sown), 2)),
        _design(learnt.tree, rows, hints, known.mixed_frac[rows.line_of]),
        rows.not_yet,
        rows.seen,
        hints - hints.mean(axis=1)[:, None],
    )
    told = forecast_flowering(
        learnt.tree,
        learnt.history,
        ahead,
        HeatAhead(heat.so_far[0], heat.ahead[0]),
        row_cov(spreads, pace) * learnt.row_scale,
        pace,
        spreads.drift_days * pace * learnt.season_scale**DRIFT_POWER,
        spreads.wrong_note_frac,
        draws,
        seed,
    )
    return SeasonTold(told, pace, dryness, learnt.season_scale, learnt.row_scale)


def _find_pace(heat: SeasonHeat, sown: IntArray, units: FloatArray) -> tuple[float, float]:
    """Units of a normal day at flowering, and the day on which the middle row is expected."""
    if int(sown.max()) + 1 >= heat.span_days:
        raise ValueError(f"a row is sown on day {int(sown.max())}, and the season has {heat.span_days} days")
    first, middle = int(np.median(sown)), float(np.median(units))
    season = heat.members()[0].mean(axis=0)
    expected = first + 1 + int(np.searchsorted(np.cumsum(season[first + 1 :]), middle))
    return heat.find_pace(first, middle), float(expected)


def _design(tree: LineTree, rows: NotedRows, hints: FloatArray, mixed_frac: FloatArray) -> FloatArray:
    late = (rows.sown - rows.sown.min()).astype(np.float64)
    return design_rows(tree, late, rows.crowding, hints.mean(axis=1), mixed_frac)


def _read_hints(heat: SeasonHeat, sown: IntArray, units: FloatArray) -> FloatArray:
    """What the other scale hints at for each row in each member (rows, members)."""
    this, other = heat.members()
    normal = heat.normal
    # Rows of one day and one need have one hint: reckoned once.
    kinds, kind_of = np.unique(np.stack([sown, units]), axis=1, return_inverse=True)
    day, need = kinds[0].astype(np.intp), kinds[1]
    usually = int(np.median(sown))
    pairs = zip(this, other, strict=True)
    found = [find_clock_shifts(pair, (normal[0], normal[1]), day, need, usually) for pair in pairs]
    return np.stack(found, axis=1)[np.reshape(kind_of, -1)]


def _read_past_hints(heat: SeasonHeat, years: tuple[int, ...], sown: IntArray, units: float) -> FloatArray:
    """What the other scale hints at for each past season (seasons,); 0 for one without whole weather."""
    middle = np.array([int(np.median(sown))], dtype=np.intp)
    normal = heat.normal
    found = np.zeros(len(years))
    for at, year in enumerate(years):
        if year in heat.years:
            place = heat.years.index(year)
            pair = heat.past[0, place], heat.past[1, place]
            found[at] = find_clock_shifts(pair, (normal[0], normal[1]), middle, np.array([units]))[0]
    return found
