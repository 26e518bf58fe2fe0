"""What correlation is left between plots some rows and columns apart? A flat map, one cell a distance."""

from __future__ import annotations

import math
from collections.abc import Sequence

from firstsilk.faces.pictures.field import draw_in_ink, write_figure
from firstsilk.faces.pictures.look import (
    BOTH_WAYS,
    DARK,
    INK,
    Spec,
    choose_fill,
    limit_classes,
    tell_classes,
)
from firstsilk.science.analysis.lags import LagMap

CELL_WIDE_PX, CELL_HIGH_PX, SMALL_PX = 62.0, 42.0, 50.0
LEAST_SCALE = 0.3
"""The colours reach at least so far each way, so that noise does not look like a pattern (a choice of ours)."""


def picture_lags(lags: LagMap, cell_px: float = CELL_WIDE_PX) -> Spec:
    """Draw the correlations of what is left over by rows and columns apart, with the pairs they rest on.

    Parameters
    ----------
    lags
        As `correlate_lags` gives them.
    cell_px
        Width of a cell.

    Returns
    -------
    dict
        Vega-Lite specification without schema and look.

    Notes
    -----
    Each cell holds the correlation and below it the number of pairs; a heavy edge marks what lies farther from 0 than
    chance as a rule goes. Distance 0 is the plot with itself and has no colour.
    """
    R, C = lags.correlation.shape
    values = [_tell_lag(lags, r, c) for r in range(R) for c in range(C)]
    told = [abs(float(value)) for one in values if isinstance(value := one["value"], float)]
    limits = limit_classes(0.0, max([LEAST_SCALE, *told]), both_ways=True)
    for one in values:
        value = one["value"]
        dark = isinstance(value, float) and choose_fill(value, limits, BOTH_WAYS) in DARK
        one["ink"] = "#ffffff" if dark else INK
    fonts = {"labelFontSize": 13 if cell_px >= SMALL_PX else 10, "titleFontSize": 13 if cell_px >= SMALL_PX else 10}
    axis = {"labelAngle": 0, "ticks": False, "domain": False, "grid": False, **fonts}
    x = {"field": "c", "type": "ordinal", "title": "Field columns apart", "axis": {**axis, "orient": "top"}}
    y = {"field": "r", "type": "ordinal", "title": "Field rows apart", "axis": axis}
    return {
        "width": round(cell_px * C),
        "height": round(cell_px * CELL_HIGH_PX / CELL_WIDE_PX * R),
        "data": {"values": values},
        "encoding": {"x": {**x, "scale": {"padding": 0.04}}, "y": {**y, "scale": {"padding": 0.04}}},
        "layer": _draw_layers(limits, cell_px),
    }


def _tell_lag(lags: LagMap, r: int, c: int) -> dict[str, object]:
    value, pairs = float(lags.correlation[r, c]), int(lags.pairs[r, c])
    self_or_none = (r == 0 and c == 0) or not math.isfinite(value)
    return {
        "r": r,
        "c": c,
        "value": None if self_or_none else round(value, 4),
        "figure": "itself" if r == c == 0 else "" if self_or_none else write_figure(value, 2, signed=True),
        "pairs": f"{pairs:,}",
        "beyond": int(lags.beyond_chance[r, c]),
    }


def _draw_layers(limits: Sequence[float], cell_px: float) -> list[Spec]:
    px = 300.0 if cell_px >= SMALL_PX else 190.0
    colour = tell_classes("value", limits, BOTH_WAYS, "Correlation of what is left over", "+.2~f", px)
    size = 13 if cell_px >= SMALL_PX else 9.5
    return [
        {"mark": {"type": "rect", "fill": "#eceae2"}},
        {"transform": [{"filter": "isValid(datum.value)"}], "mark": "rect", "encoding": {"color": colour}},
        {
            "transform": [{"filter": "datum.beyond == 1"}],
            "mark": {"type": "rect", "fillOpacity": 0, "stroke": INK, "strokeWidth": 2.4},
        },
        *draw_in_ink(
            {"type": "text", "fontSize": size, "fontWeight": 600, "dy": -size * 0.5}, {"text": {"field": "figure"}}
        ),
        *draw_in_ink({"type": "text", "fontSize": size * 0.8, "dy": size * 0.75}, {"text": {"field": "pairs"}}),
    ]


def tell_lags(lags: LagMap) -> tuple[str, ...]:
    """What the map says, in sentences: neighbours along a row and along a column, and how many cells beyond chance."""
    said = []
    for words, value in (("in the same field row", lags.along_rows), ("in the same field column", lags.along_columns)):
        if value is not None:
            said.append(f"Next neighbours {words}: correlation {write_figure(value, 2, signed=True)}.")
    looked = int((lags.pairs > 0).sum()) - 1
    beyond = int(lags.beyond_chance.sum())
    if looked:
        about = round(looked * 0.05)
        said.append(
            f"{beyond} of {looked} distances lie beyond what chance as a rule gives (about {about} would by chance)."
        )
    neighbours = [bool(lags.beyond_chance[at]) for at in ((0, 1), (1, 0)) if all(map(int.__lt__, at, lags.pairs.shape))]
    if any(neighbours):
        said.append("Neighbours are still alike or unlike: part of the ground is not in the model yet.")
    elif neighbours:
        said.append("Next neighbours show no correlation that chance does not give.")
    return tuple(said)
