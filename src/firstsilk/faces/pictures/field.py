"""How does a field look from above: what was measured, the ground under it, and what is left over?

One picture a view, all of the same cells at the same places, so that a page can switch between them and a sheet can
print them side by side.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from firstsilk.faces.pictures.look import BOTH_WAYS, DARK, INK, MORE, Spec, choose_fill, limit_classes, tell_classes

VIEWS = ("measured", "ground", "left")
VIEW_WORDS = {"measured": "Measured", "ground": "Ground trend", "left": "Left over"}
NO_VALUE = "#ffffff"
FIGURE_PX = 38.0
"""A cell from this width on holds its figure; a narrower one only a triangle where it is among the outer tenths."""
WIDEST_PX, HIGHEST_PX = 60.0, 32.0
LOWEST_PX = 44.0
"""A field of few rows is drawn at least so high."""
SMALL_PX = 400.0
"""A map narrower than this has smaller letters."""
OUTER = 0.1
SAYS: Spec = {"description": {"field": "says"}}
"""Each cell says its plot in words; a small map leaves that to the large one and is half as long for it."""


@dataclass(frozen=True, slots=True)
class FieldCell:
    """One plot: its place, what grows on it, and its three values (None where there is none)."""

    number: int
    field_row: int
    field_col: int
    entry: str
    is_check: bool
    measured: float | None
    ground: float | None
    left: float | None

    def value(self, view: str) -> float | None:
        """The value of a view."""
        return {"measured": self.measured, "ground": self.ground, "left": self.left}[view]


@dataclass(frozen=True, slots=True)
class Scale:
    """Seven classes of a view: the six limits between them, and their fills."""

    limits: tuple[float, ...]
    fills: tuple[str, ...]

    def fill(self, value: float) -> str:
        """The fill of a value."""
        return choose_fill(value, self.limits, self.fills)


def plan_scale(cells: Sequence[FieldCell], view: str) -> Scale:
    """The classes of a view: what was measured from least to most; both differences alike, and even about 0."""
    if view == "measured":
        told = [one.measured for one in cells if one.measured is not None] or [0.0]
        return Scale(limit_classes(min(told), max(told), both_ways=False), MORE)
    parts = [abs(part) for one in cells for part in (one.ground, one.left) if part is not None] or [0.0]
    return Scale(limit_classes(-max(parts), max(parts), both_ways=True), BOTH_WAYS)


def picture_field(cells: Sequence[FieldCell], view: str, unit: str, digits: int = 0, wide_px: float = 860.0) -> Spec:
    """Draw one view of a field.

    Parameters
    ----------
    cells
        The plots; field row 1 lies at the bottom.
    view
        ``measured``, ``ground`` or ``left``.
    unit
        In words, for the legend.
    digits
        Decimals of the figures.
    wide_px
        Room across, at most.

    Returns
    -------
    dict
        Vega-Lite specification without schema and look.

    Notes
    -----
    Each cell holds its figure where there is room, else a triangle up or down in the outer tenths; a check has a
    heavy edge, a plot without a value a cross.
    """
    cols = _span([one.field_col for one in cells])
    rows = _span([one.field_row for one in cells])
    small = wide_px < SMALL_PX
    wide = min(max((wide_px - (32 if small else 60)) / len(cols), 2.0), WIDEST_PX)
    high = min(max(wide * 0.62, LOWEST_PX / len(rows), 2.0), HIGHEST_PX)
    scale = plan_scale(cells, view)
    fonts = {"labelFontSize": 9, "titleFontSize": 10, "labelPadding": 2, "titlePadding": 2} if small else {}
    axis = {"labelAngle": 0, "labelOverlap": True, "ticks": False, "domain": False, "grid": False, **fonts}
    bands = {"type": "ordinal", "scale": {"padding": 0.05}}
    x = {**bands, "field": "col", "title": "Field column", "axis": {**axis, "orient": "bottom"}}
    y = {**bands, "field": "row", "title": "Field row", "axis": axis}
    x["scale"], y["scale"] = {"padding": 0.05, "domain": cols}, {"padding": 0.05, "domain": rows[::-1]}
    return {
        "width": round(wide * len(cols), 1),
        "height": round(high * len(rows), 1),
        "data": {"values": tell_cells(cells, view, digits)},
        "encoding": {"x": x, "y": y},
        "layer": [
            _draw_fills(scale, f"{VIEW_WORDS[view]}, {unit}", len(cols) * wide, speaks=not small),
            *_draw_signs(wide, high, speaks=not small),
        ],
    }


def _span(places: Sequence[int]) -> list[int]:
    return list(range(min(places), max(places) + 1))


def tell_cells(cells: Sequence[FieldCell], view: str, digits: int) -> list[dict[str, object]]:
    """Each cell of a view as it is drawn: place, value, figure, fill, ink, outer tenth, check, and all in words."""
    scale = plan_scale(cells, view)
    told = sorted(value for one in cells if (value := one.value(view)) is not None)
    cut = int(OUTER * (len(told) - 1))
    low, high = (told[cut], told[-1 - cut]) if told else (0.0, 0.0)
    return [_tell_cell(one, one.value(view), scale, digits, (low, high), signed=view != "measured") for one in cells]


def _tell_cell(
    one: FieldCell, value: float | None, scale: Scale, digits: int, ends: tuple[float, float], signed: bool
) -> dict[str, object]:
    fill = NO_VALUE if value is None else scale.fill(value)
    outer = ""
    if value is not None and ends[0] < ends[1]:
        outer = "above" if value >= ends[1] else "below" if value <= ends[0] else ""
    figure = "" if value is None else write_figure(value, digits, signed)
    check = " (check)" if one.is_check else ""
    return {
        "col": one.field_col,
        "row": one.field_row,
        "value": None if value is None else round(value, digits + 2),
        "figure": figure,
        "fill": fill,
        "outer": outer,
        "ink": "#ffffff" if fill in DARK else INK,
        "check": int(one.is_check),
        "says": f"Plot {one.number}, row {one.field_row}, column {one.field_col}, {one.entry}{check}: "
        f"{figure or 'no value'}",
    }


def write_figure(value: float, digits: int, signed: bool) -> str:
    """A figure as it stands in a cell, with its sign where it is a difference."""
    rounded = round(value, digits)
    text = f"{rounded:+,.{digits}f}" if signed and rounded else f"{rounded or 0.0:,.{digits}f}"
    return text.replace("-", "−")


def _draw_fills(scale: Scale, title: str, across: float, speaks: bool) -> Spec:
    form = "+,~f" if scale.fills == BOTH_WAYS else ",~f"
    colour = tell_classes("value", scale.limits, scale.fills, title, form, min(max(across * 0.6, 190), 400))
    return {
        "transform": [{"filter": "isValid(datum.value)"}],
        "mark": {"type": "rect", "aria": speaks},
        "encoding": {"color": colour, **(SAYS if speaks else {})},
    }


def _draw_signs(wide: float, high: float, speaks: bool) -> list[Spec]:
    """A cross where there is no value, an edge round checks, and in each cell its figure or a triangle."""
    edge = {"type": "rect", "aria": False, "fillOpacity": 0, "stroke": INK, "strokeWidth": 2.2 if wide > 14 else 1.2}
    size = 0.32 * min(wide, high) ** 2
    cross = {
        "type": "point",
        "aria": False,
        "shape": "M-1,-1L1,1M1,-1L-1,1",
        "size": size,
        "stroke": INK,
        "strokeWidth": 1.1,
    }
    empty = {"type": "rect", "aria": speaks, "fill": NO_VALUE, "stroke": "#9b978a", "strokeWidth": 0.8}
    signs: list[Spec] = [
        {
            "transform": [{"filter": "!isValid(datum.value)"}],
            "mark": empty,
            "encoding": SAYS if speaks else {},
        },
        {"transform": [{"filter": "!isValid(datum.value)"}], "mark": cross},
        {"transform": [{"filter": "datum.check == 1"}], "mark": edge},
    ]
    if wide >= FIGURE_PX:
        return [*signs, *draw_in_ink({"type": "text", "fontSize": 11.5}, {"text": {"field": "figure"}})]
    for outer, shape in (("above", "triangle-up"), ("below", "triangle-down")):
        mark = {"type": "point", "shape": shape, "filled": True, "size": max(size * 0.8, 2), "opacity": 1}
        signs += draw_in_ink(mark, {}, f"datum.outer == '{outer}'")
    return signs


def draw_in_ink(mark: Spec, encoding: Spec, test: str = "true") -> list[Spec]:
    """A sign in dark ink on light fills and in white on dark ones, as each value's `ink` says."""
    return [
        {
            "transform": [{"filter": f"({test}) && datum.ink == '{ink}'"}],
            "mark": {**mark, "aria": False, "color": ink},
            "encoding": encoding,
        }
        for ink in (INK, "#ffffff")
    ]
