"""Which rows of the newest season flower as if other packets had been sown in them?"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import date

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import Finding, Place
from firstsilk.records.models import Row, Station
from firstsilk.science.flowering.rows import RowState
from firstsilk.science.nursery.misplaced import LEAST_ROWS, Misplaced, find_misplaced
from firstsilk.work.audited import Found
from firstsilk.work.climate.series import DailyHeat, read_daily_heat
from firstsilk.work.nursery.audit import name_row
from firstsilk.work.nursery.units import read_units

LOUDEST = 1e6
"""Odds above these are told as over a million."""


def audit_packets(
    station: Station, rows: Sequence[Row], states: Mapping[str, RowState], day: date
) -> tuple[list[Found], str]:
    """Findings about packets, and why they could not be judged; empty if they could.

    Parameters
    ----------
    station
        The station.
    rows
        All rows in walking order, with season and line at hand. The newest season with silk and shed is judged.
    states
        What the notes say, by tag.
    day
        The day of the look.

    Notes
    -----
    Only lines with heat units of their own count: a cross flowers earlier than its parents tell. Checked by
    tests/work/test_audit_packets.py.
    """
    noted = [row for row in rows if _is_noted(states.get(row.tag)) and row.purpose != "filler"]
    if not noted:
        return [], "packets by flowering: no row has sowing, silk and shed noted"
    season = noted[-1].season
    own = [row for row in rows if row.season_id == season.pk]
    heat = read_daily_heat(station, season.site, day)
    units = read_units(station, [row.line for row in own], day)
    expected = np.full((len(own), 2), np.nan)
    observed = np.full((len(own), 2), np.nan)
    for at, row in enumerate(own):
        known, state = units[row.line.name], states.get(row.tag)
        if known.source == "own" and known.silk and known.shed:
            expected[at] = known.silk, known.shed
        if state is not None and _is_noted(state):
            observed[at] = _count_units(heat, state)
    n_known = int(np.isfinite(expected + observed).all(axis=1).sum())
    if n_known < LEAST_ROWS:
        return [], f"packets by flowering in {season.name}: {n_known} rows tell, {LEAST_ROWS} are needed"
    claims = find_misplaced(expected, observed, [row.line.name for row in own])
    return [_tell(claim, own) for claim in claims], ""


def _is_noted(state: RowState | None) -> bool:
    return state is not None and None not in (state.sown_on, state.silk_on, state.shed_on)


def _count_units(heat: DailyHeat, state: RowState) -> NDArray[np.float64]:
    """Units from the day after sowing to half silk and half shed; NaN where the weather does not reach."""
    days = np.array([one.toordinal() for one in heat.days])
    sums = np.concatenate([[0.0], np.cumsum(heat.units)])
    wanted = [one for one in (state.sown_on, state.silk_on, state.shed_on) if one is not None]
    if not len(days) or min(wanted).toordinal() < days[0] or max(wanted).toordinal() > days[-1]:
        return np.full(2, np.nan)
    start, *ends = (sums[int(np.searchsorted(days, one.toordinal(), side="right"))] for one in wanted)
    return np.array([end - start for end in ends])


def _tell(claim: Misplaced, rows: Sequence[Row]) -> Found:
    first, last = rows[claim.first], rows[claim.last]
    record = name_row(first)
    odds = math.exp(claim.gain)
    likely = f"{odds:,.0f} times as likely" if odds < LOUDEST else "over a million times as likely"
    if claim.kind == "swap":
        code = "packets_swapped"
        told = f"it flowers like {last.line.name}, and row {last.number} like {first.line.name}: {likely} if swapped"
        repair = f"Look at both; if packets were swapped, note rows {first.number} and {last.number} as misplanted"
    elif claim.kind == "far":
        code = "row_flowers_apart"
        told = f"it flowers far from what {first.line.name} needs, beside the other rows of the season"
        repair = "Look at the row and at its notes of silk and shed; a marker test of one plant tells its line"
    else:
        code = "packets_shifted"
        side = "before" if claim.kind == "late" else "after"
        told = f"rows {first.number} to {last.number} flower as if each had the packet of the row {side} it: {likely}"
        repair = f"Look for a double or an empty packet near rows {first.number} and {last.number}"
    finding = Finding(code, told, Place(record, None, "packet"), f"{claim.gain:.1f}", repair, stops=False)
    return Found("nursery", "row", first.tag, record, finding)
