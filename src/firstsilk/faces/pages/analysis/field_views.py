"""How does the field of one trial get onto a page: three views of the same cells, and the map of what is left?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.safestring import SafeString

from firstsilk.faces.analysed import make_cells
from firstsilk.faces.pages.analysis.shown import ROOM, TraitLink, link_traits, read_trait
from firstsilk.faces.pages.charts import render_chart
from firstsilk.faces.pictures.field import VIEW_WORDS, VIEWS, FieldCell, picture_field, plan_scale, tell_cells
from firstsilk.faces.pictures.lags import picture_lags, tell_lags
from firstsilk.faces.pictures.units import UNITS, TraitUnit
from firstsilk.science.analysis.lags import LagMap
from firstsilk.work.analysis.trial_map import TrialMap, read_trial_map
from firstsilk.work.occasion import Occasion

MOST_SVG_CELLS = 3_000
SMALL_PX = 230.0
"""Room across for each of the three printed maps."""


@dataclass(frozen=True, slots=True)
class View:
    """One view of a field: its code, its words, the picture (None on a canvas), the small one, and the canvas's key."""

    code: str
    words: str
    chart: SafeString | None
    small: SafeString | None
    key: tuple[tuple[str, str], ...]


def show_field(request: HttpRequest, on: Occasion, name: str) -> HttpResponse:
    """The field of one trial: measured, ground trend, left over; and what correlation is left."""
    trait = read_trait(request)
    found = read_trial_map(on, name, trait)
    unit = UNITS[trait]
    views, canvas = draw_views(found, unit)
    links: tuple[TraitLink, ...] = link_traits(trait)
    told = {**ROOM, "map": found, "unit": unit, "views": views, "canvas": canvas, "traits": links}
    if found.lags is not None:
        told |= {
            "lag_chart": render_chart(picture_lags(found.lags), " ".join(tell_lags(found.lags))),
            "lag_says": tell_lags(found.lags),
            "lag_rows": _tabulate_lags(found.lags),
            "lag_cols": range(found.lags.correlation.shape[1]),
        }
    return render(request, "analysis/field.html", told)


def draw_views(
    found: TrialMap, unit: TraitUnit, limit: int = MOST_SVG_CELLS
) -> tuple[tuple[View, ...], dict[str, object] | None]:
    """The three views as SVG up to `limit` cells, beyond as data for a canvas; none where a plot has no place."""
    if not found.is_placed:
        return (), None
    cells = make_cells(found)
    if len(cells) > limit:
        views = tuple(View(view, VIEW_WORDS[view], None, None, _list_key(cells, view, unit)) for view in VIEWS)
        return views, _canvas_data(cells, unit)
    return tuple(_draw_view(cells, view, unit, found) for view in VIEWS), None


def _draw_view(cells: Sequence[FieldCell], view: str, unit: TraitUnit, found: TrialMap) -> View:
    says = (
        f"{VIEW_WORDS[view]} on the {len(cells)} plots of {found.trial}, {unit.unit}; the table below holds the same."
    )
    large = render_chart(picture_field(cells, view, unit.unit, unit.digits), says)
    small = render_chart(picture_field(cells, view, unit.unit, unit.digits, SMALL_PX), says)
    return View(view, VIEW_WORDS[view], large, small, ())


def _list_key(cells: Sequence[FieldCell], view: str, unit: TraitUnit) -> tuple[tuple[str, str], ...]:
    """Fill and range of each class, for a canvas that has no legend of its own."""
    scale = plan_scale(cells, view)
    edges = [f"{one:,.{max(unit.digits, 1 if abs(one) < 10 else 0)}f}".replace("-", "−") for one in scale.limits]
    words = [
        f"under {edges[0]}",
        *(f"{a} to {b}" for a, b in pairwise(edges)),
        f"{edges[-1]} or more",
    ]
    return tuple(zip(scale.fills, words, strict=True))


def _canvas_data(cells: Sequence[FieldCell], unit: TraitUnit) -> dict[str, object]:
    """The cells in short form: row, column, check, what is said, and for each view its fill, ink and triangle."""
    parts = [tell_cells(cells, view, unit.digits) for view in VIEWS]
    return {
        "rows": [min(one.field_row for one in cells), max(one.field_row for one in cells)],
        "cols": [min(one.field_col for one in cells), max(one.field_col for one in cells)],
        "views": list(VIEWS),
        "cells": [
            [
                one.field_row,
                one.field_col,
                int(one.is_check),
                [[p["says"], p["fill"], p["ink"], p["outer"]] for p in told],
            ]
            for one, *told in zip(cells, *parts, strict=True)
        ],
    }


def _tabulate_lags(lags: LagMap) -> list[tuple[int, list[tuple[float, int, bool]]]]:
    return [
        (
            r,
            [
                (float(lags.correlation[r, c]), int(lags.pairs[r, c]), bool(lags.beyond_chance[r, c]))
                for c in range(lags.correlation.shape[1])
            ],
        )
        for r in range(lags.correlation.shape[0])
    ]
