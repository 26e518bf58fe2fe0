"""How do yield and moisture of the entries look side by side, with their errors?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.safestring import SafeString

from firstsilk.faces.pages.charts import BLUE, GREEN, INK, ORANGE, render_chart
from firstsilk.work.analysis.facts import EstimateFacts

MOST_LABELS = 14
WIDTH_PX, HEIGHT_PX = 880, 460
LETTER_PX, LINE_PX = 7.5, 15.0
"""Room that a letter and a line of a label take at 12 px."""


@dataclass(frozen=True, slots=True)
class EntryPoint:
    """One entry or line on the plot and in its table twin. `on_front`: none is both higher and drier."""

    name: str
    is_check: bool
    yield_kg_ha_15_5: float
    yield_se: float
    moisture_pct: float | None
    moisture_se: float | None
    versus_checks: float | None
    versus_se: float | None
    better_probability: float | None
    reliability: float | None
    n_plots: int
    n_sites: int
    on_front: bool


def pair_entries(grain: Sequence[EstimateFacts], water: Sequence[EstimateFacts]) -> tuple[EntryPoint, ...]:
    """Put yield and moisture of each entry side by side, the highest yield first."""
    wet = {one.line: one for one in water}
    front = _find_front([(one.line, one.value, wet[one.line].value) for one in grain if one.line in wet])
    return tuple(
        EntryPoint(
            one.line,
            one.is_check,
            one.value,
            one.se or 0.0,
            wet[one.line].value if one.line in wet else None,
            wet[one.line].se if one.line in wet else None,
            one.versus_checks,
            one.versus_se,
            one.better_probability,
            one.reliability,
            one.n_plots,
            one.n_sites,
            one.line in front,
        )
        for one in sorted(grain, key=lambda one: -one.value)
    )


def _find_front(points: Sequence[tuple[str, float, float]]) -> set[str]:
    """Those that no other beats in yield and moisture at once."""
    front: set[str] = set()
    driest = float("inf")
    for name, _, water in sorted(points, key=lambda point: (-point[1], point[2])):
        if water < driest:
            front.add(name)
            driest = water
    return front


def draw_entry_plot(points: Sequence[EntryPoint]) -> SafeString | None:
    """Yield against moisture with a standard error each way; None if no entry has both."""
    both = [one for one in points if one.moisture_pct is not None]
    if not both:
        return None
    labelled = {one.name for one in both if one.is_check}
    labelled |= {one.name for one in [one for one in both if one.on_front][:MOST_LABELS]}
    turn = _place_labels(both, labelled)
    values = [_value(one, turn.get(one.name)) for one in both]
    best = both[0]
    says = (
        f"Yield against moisture of {len(both)} entries, each with one standard error both ways. Highest yield: "
        f"{best.name}, {best.yield_kg_ha_15_5:,.0f} kg/ha at {best.moisture_pct:.1f} % moisture. "
        f"{sum(one.on_front for one in both)} entries have none that is both higher and drier; the table holds all."
    )
    return render_chart(_spec(values), says)


def _place_labels(points: Sequence[EntryPoint], labelled: set[str]) -> dict[str, int]:
    """Which labels go above their point (0) and which below (1), so that none lies on another.

    Checks are placed first, then from the highest yield on; a label without room is left to the table.
    """
    waters = [one.moisture_pct or 0.0 for one in points]
    grains = [one.yield_kg_ha_15_5 for one in points]
    x_px = (WIDTH_PX - 60) / (max(waters) - min(waters) or 1.0)
    y_px = (HEIGHT_PX - 60) / (max(grains) - min(grains) or 1.0)
    taken: list[tuple[float, float, float]] = []
    turn: dict[str, int] = {}
    wanted = [one for one in points if one.name in labelled]
    for one in sorted(wanted, key=lambda one: (not one.is_check, -one.yield_kg_ha_15_5)):
        left, wide = (one.moisture_pct or 0.0) * x_px, len(one.name) * LETTER_PX + 10
        for side, shift in ((0, 7), (1, -14)):
            middle = one.yield_kg_ha_15_5 * y_px + shift
            if not any(left < x + w and x < left + wide and abs(middle - y) < LINE_PX for x, y, w in taken):
                taken.append((left, middle, wide))
                turn[one.name] = side
                break
    return turn


def _value(one: EntryPoint, turn: int | None) -> dict[str, object]:
    water, error = one.moisture_pct or 0.0, one.moisture_se or 0.0
    return {
        "entry": one.name,
        "above": one.name if turn == 0 else "",
        "below": one.name if turn == 1 else "",
        "kind": "check" if one.is_check else "none is higher and drier" if one.on_front else "other entry",
        "x": round(water, 3),
        "x1": round(water - error, 3),
        "x2": round(water + error, 3),
        "y": round(one.yield_kg_ha_15_5, 1),
        "y1": round(one.yield_kg_ha_15_5 - one.yield_se, 1),
        "y2": round(one.yield_kg_ha_15_5 + one.yield_se, 1),
    }


def _spec(values: Sequence[dict[str, object]]) -> dict[str, object]:
    kinds = ["none is higher and drier", "check", "other entry"]
    legend = {
        "title": None,
        "columnPadding": 28,
        "labelOffset": 6,
        "symbolSize": 110,
        "labelLimit": 400,
        "symbolOpacity": 1,
    }
    by_kind = {"field": "kind", "type": "nominal", "legend": legend}
    colour = {**by_kind, "scale": {"domain": kinds, "range": [GREEN, ORANGE, BLUE]}}
    shape = {**by_kind, "scale": {"domain": kinds, "range": ["triangle-up", "diamond", "circle"]}}
    number = {"type": "quantitative", "scale": {"zero": False}}
    x = {
        **number,
        "field": "x",
        "title": "Moisture at harvest, %  (drier to the left)",
        "axis": {"titlePadding": 10, "tickCount": 10},
    }
    y = {**number, "field": "y", "title": "Yield at 15.5 % moisture, kg/ha", "axis": {"titlePadding": 18}}
    point = {"type": "point", "filled": True, "size": 90, "opacity": 0.95, "stroke": "#fff", "strokeWidth": 0.8}
    text = {"type": "text", "align": "left", "dx": 8, "fontSize": 12, "color": INK}
    rule = {"type": "rule", "opacity": 0.28, "strokeWidth": 1.2}
    return {
        "width": WIDTH_PX,
        "height": HEIGHT_PX,
        "data": {"values": list(values)},
        "layer": [
            {"mark": rule, "encoding": {"x": {**x, "field": "x1"}, "x2": {"field": "x2"}, "y": y, "color": colour}},
            {"mark": rule, "encoding": {"x": x, "y": {**y, "field": "y1"}, "y2": {"field": "y2"}, "color": colour}},
            {
                "mark": point,
                "encoding": {"x": x, "y": y, "color": colour, "shape": shape},
            },
            {"mark": {**text, "dy": -7}, "encoding": {"x": x, "y": y, "text": {"field": "above"}}},
            {"mark": {**text, "dy": 14}, "encoding": {"x": x, "y": y, "text": {"field": "below"}}},
        ],
    }
