"""How does the analysis of one series get onto paper?

The same pictures as on the page, from the same specifications; sentences first, tables beside their pictures, then each
field as three small maps.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from firstsilk.answers import InputRefused
from firstsilk.faces.analysed import ResponseRow, list_responses, make_cells, make_intervals, tell_places
from firstsilk.faces.paper.lettering import check_lettering
from firstsilk.faces.paper.press import print_sheet
from firstsilk.faces.paper.tags import write_day
from firstsilk.faces.pictures.field import VIEWS, picture_field, write_figure
from firstsilk.faces.pictures.intervals import picture_intervals, tell_intervals
from firstsilk.faces.pictures.lags import picture_lags, tell_lags
from firstsilk.faces.pictures.look import PAPER_FONT, Spec, draw_svg
from firstsilk.faces.pictures.places import picture_best_places
from firstsilk.faces.pictures.responses import picture_interaction, picture_lines, tell_responses
from firstsilk.faces.pictures.units import UNITS, TraitUnit
from firstsilk.work.analysis.series import EntrySpan, Responses, SeriesAnalysis, read_series
from firstsilk.work.analysis.trial_map import TrialMap, read_trial_map
from firstsilk.work.occasion import Occasion, Progress, stay_silent
from firstsilk.work.station import read_station

MAP_PX, LAG_PX, LAG_MM = 250.0, 40.0, 7.6


@dataclass(frozen=True, slots=True)
class AnalysisReport:
    """What goes on paper: the series whole, the fields of its trials, and why a field is not there."""

    station: str
    printed_on: date
    series: SeriesAnalysis
    fields: tuple[TrialMap, ...]
    no_fields: tuple[str, ...]


def make_analysis_report(
    on: Occasion, name: str, trait: str, seed: int = 1, progress: Progress = stay_silent
) -> AnalysisReport:
    """Read one series and all its fields for printing."""
    series = read_series(on, name, trait, seed=seed, progress=lambda share, what: progress(share / 2, what))
    fields, gone = [], []
    for at, trial in enumerate(series.trials):
        progress(0.5 + at / len(series.trials) / 2, f"field of {trial}")
        try:
            fields.append(read_trial_map(on, trial, trait))
        except InputRefused as no:
            gone.append(f"{trial}: {no}")
    return AnalysisReport(read_station(on.station).name, on.today, series, tuple(fields), tuple(gone))


def render_analysis_report(report: AnalysisReport) -> bytes:
    """Print the analysis of one series, A4 portrait.

    Raises
    ------
    InputRefused
        If a name holds a sign that the printed font does not.
    StationFault
        If the sheet could not be set.

    Checked by
    ----------
    tests/faces/test_analysis_pictures_pages.py
    """
    own, unit = report.series, UNITS[report.series.trait]
    check_lettering((f"entry {one.entry}", one.entry) for one in own.entries)
    check_lettering((name, text) for name, text in (("station", report.station), ("series", own.series)))
    rows = make_intervals(own)
    data: dict[str, object] = {
        "title": f"Analysis of {own.series}",
        "station": report.station,
        "printed": write_day(report.printed_on),
        "trait": unit.name,
        "unit": unit.unit,
        "facts": _list_facts(own, unit),
        "entries_says": tell_intervals(rows, unit.short, own.against, unit.digits),
        "entries_picture": _draw(picture_intervals(rows, unit.unit, own.against, unit.less_is_better)),
        "against": own.against,
        "entries": [_set_entry(one, unit) for one in own.entries],
        "no_responses": own.no_responses,
        "fields": [_set_field(one, unit) for one in report.fields],
        "no_fields": list(report.no_fields),
        "model": f"{own.model}. {' '.join(own.said)}",
        "basis": own.basis.as_text(),
        "not_considered": "; ".join(own.not_considered),
        "responses": None if own.responses is None else _set_responses(own, own.responses, unit),
    }
    return print_sheet("analysis_report", data)


def _draw(spec: Spec) -> str:
    return draw_svg(spec, PAPER_FONT)


def _list_facts(own: SeriesAnalysis, unit: TraitUnit) -> list[list[str]]:
    heritability = "–" if own.heritability is None else f"{own.heritability:.2f}"
    return [
        ["Mean", f"{own.mean:,.{unit.digits}f} {unit.unit}"],
        ["Heritability of an entry's result", heritability],
        ["Trials", ", ".join(own.trials)],
        ["Entries", str(len(own.entries))],
        ["Checks", ", ".join(own.checks) or "none"],
    ]


def _write(value: float | None, digits: int, signed: bool = False) -> str:
    return "–" if value is None or not math.isfinite(value) else write_figure(value, digits, signed)


def _set_entry(one: EntrySpan, unit: TraitUnit) -> list[str]:
    d = unit.digits
    return [
        f"{one.entry} (check)" if one.is_check else one.entry,
        _write(one.value, d),
        f"{_write(one.low, d)} to {_write(one.high, d)}",
        _write(one.difference, d, signed=True),
        "–"
        if one.difference is None
        else f"{_write(one.difference_low, d, signed=True)} to {_write(one.difference_high, d, signed=True)}",
        str(one.n_plots),
        str(one.n_trials),
    ]


def _set_responses(own: SeriesAnalysis, found: Responses, unit: TraitUnit) -> Mapping[str, object]:
    checks = own.checks
    return {
        "places_says": tell_places(found, unit),
        "places": [
            [
                ", ".join(one.environments),
                one.entry,
                one.next_best,
                _write(one.lead, unit.digits, signed=True),
                _write(one.plain_lead, unit.digits, signed=True),
                _write(one.chance, 2),
            ]
            for one in found.places.groups
        ],
        "places_picture": _draw(picture_best_places(found.places, checks, unit.unit, unit.less_is_better)),
        "lines_says": tell_responses(found.stability, unit.short, unit.digits),
        "lines_picture": _draw(picture_lines(found.table, found.stability, unit.unit, checks)),
        "interaction_picture": _draw(picture_interaction(found.table, found.interaction, unit.unit, checks)),
        "rows": [_set_response(one, unit) for one in list_responses(found, set(checks))],
        "left_out": ", ".join(found.left_out),
    }


def _set_response(one: ResponseRow, unit: TraitUnit) -> list[str]:
    slope = _write(one.slope, 2) + ("" if one.slope_se is None else f" ± {one.slope_se:.2f}")
    return [
        f"{one.entry} (check)" if one.is_check else one.entry,
        _write(one.mean, unit.digits),
        _write(one.from_best, unit.digits),
        slope,
        _write(one.off_line, unit.digits),
        f"{100 * one.interaction_share:.0f} %",
    ]


def _set_field(found: TrialMap, unit: TraitUnit) -> Mapping[str, object]:
    maps: Sequence[str] = ()
    if found.is_placed:
        cells = make_cells(found)
        maps = [_draw(picture_field(cells, view, unit.unit, unit.digits, MAP_PX)) for view in VIEWS]
    d = unit.digits
    return {
        "name": f"{found.trial}, {found.site_name}, {found.year}",
        "says": f"Spread of the ground trend {_write(found.ground_sd, d)}, of what is left over "
        f"{_write(found.left_sd, d)} {unit.unit}. Model: {found.model}. {' '.join(found.said)}",
        "maps": list(maps),
        "lags": "" if found.lags is None else _draw(picture_lags(found.lags, LAG_PX)),
        "lags_mm": 0.0 if found.lags is None else LAG_MM * found.lags.correlation.shape[1] + 12.0,
        "lags_says": [found.no_lags] if found.lags is None else tell_lags(found.lags),
        "basis": found.basis.as_text(),
    }
