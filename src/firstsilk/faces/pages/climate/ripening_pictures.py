"""What do the chances of ripening look like? By sowing day, and grain moisture at the frost, wide and narrow."""

from __future__ import annotations

from collections.abc import Callable

from django.utils.safestring import SafeString

from firstsilk.faces.pages.charts import BLUE, GREEN, INK
from firstsilk.faces.pages.climate.pictures import DARK_ORANGE, DAY_AXIS, TITLE_ABOVE, WIDE, Spec, render_both
from firstsilk.work.climate.ripe_groups import ASKED_FOR
from firstsilk.work.climate.ripe_told import RipeAt, Ripening

COLOURS = {"early": GREEN, "middle": BLUE, "late": DARK_ORANGE, "all": BLUE, ASKED_FOR: INK}
SHAPES = {"early": "circle", "middle": "square", "late": "triangle-up", "all": "square", ASKED_FOR: "diamond"}
HEIGHT = (900, 320)
BLACK_LAYER_PCT = 35.0
CHANCE_AXIS, MOISTURE_AXIS = (0.0, 100.0), (15.0, 85.0)
PADDING = {"left": 5, "top": 26, "right": 52, "bottom": 5}


def draw_chances(told: Ripening) -> SafeString:
    """The chance of each group by sowing day."""
    rows = _rows(told, lambda one, at: None if one.chances[at] is None else 100.0 * (one.chances[at] or 0.0))
    says = _say(rows, "Chance of being ripe before the killing frost by sowing day", " %")
    title = "Ripe before −2 °C, % of years"
    return render_both(lambda *size: _spec(told, rows, size, title, CHANCE_AXIS), says, HEIGHT)


def draw_moistures(told: Ripening) -> SafeString:
    """Grain moisture of each group at the killing frost by sowing day, with black layer as a line."""
    rows = _rows(told, lambda one, at: one.moistures_at_frost_pct[at])
    says = _say(rows, "Grain moisture at the killing frost by sowing day, middle of the years", " %")

    def draw(width: int, height: int) -> Spec:
        spec = _spec(told, rows, (width, height), "Grain moisture at the frost, %", MOISTURE_AXIS)
        layers = spec["layer"]
        assert isinstance(layers, list)
        layers.append(_black_layer_line())
        return spec

    return render_both(draw, says, HEIGHT)


def _rows(told: Ripening, value: Callable[[RipeAt, int], float | None]) -> list[Spec]:
    return [
        {"day": one.day.isoformat(), "group": group.group, "value": found}
        for one in told.by_sowing
        for at, group in enumerate(told.groups.groups)
        if (found := value(one, at)) is not None
    ]


def _say(rows: list[Spec], what: str, unit: str) -> str:
    """First, and last day of each group, in words."""
    parts = []
    for group in dict.fromkeys(str(row["group"]) for row in rows):
        ours = [row for row in rows if row["group"] == group]
        first, last = ours[0], ours[-1]
        parts.append(
            f"{group} {first['value']:.0f}{unit} for {first['day']}, {last['value']:.0f}{unit} for {last['day']}"
        )
    return f"{what}: {'; '.join(parts)}."


def _spec(told: Ripening, rows: list[Spec], size: tuple[int, int], title: str, ends_at: tuple[float, float]) -> Spec:
    width, height = size
    axis = {"format": "%-d %b", "values": [row["day"] for row in rows], "grid": False, "labelOverlap": True}
    x: Spec = {**DAY_AXIS, "axis": axis}
    y: Spec = {"field": "value", "type": "quantitative", "title": title, "axis": {**TITLE_ABOVE, "tickCount": 6}}
    y["scale"] = {"domain": list(ends_at)}
    domain = [one.group for one in told.groups.groups]
    color, shape = _by_group(domain, COLOURS), _by_group(domain, SHAPES)
    line, point = {"type": "line", "strokeWidth": 2.5}, {"type": "point", "filled": True, "size": 70, "opacity": 1}
    ends = [row for row in rows if row["day"] == rows[-1]["day"]]
    layers: list[Spec] = [
        _asked_line(told, x),
        {"data": {"values": rows}, "mark": line, "encoding": {"x": x, "y": y, "color": color}},
        {"data": {"values": rows}, "mark": point, "encoding": {"x": x, "y": y, "color": color, "shape": shape}},
        *(
            {
                "data": {"values": [row]},
                "mark": {"type": "text", "align": "left", "dx": 8, "dy": dy, "fontSize": 13, "fontWeight": 600},
                "encoding": {"x": x, "y": y, "text": {"field": "group"}, "color": color},
            }
            for row, dy in _spread_labels(ends, ends_at[1] - ends_at[0], height)
        ),
    ]
    room = 150 if width >= WIDE[0] else 110
    return {"width": width - room, "height": height, "padding": PADDING, "layer": layers}


def _asked_line(told: Ripening, x: Spec) -> Spec:
    """The sowing day that was asked for, as an upright line."""
    text = {"type": "text", "align": "left", "dx": 5, "dy": 4, "fontSize": 12, "color": "#4a4a48"}
    return {
        "data": {"values": [{"day": told.groups.sown.isoformat(), "text": "asked for"}]},
        "layer": [
            {"mark": {"type": "rule", "color": "#777", "strokeDash": [4, 3]}, "encoding": {"x": x}},
            {"mark": text, "encoding": {"x": x, "y": {"value": 0}, "text": {"field": "text"}}},
        ],
    }


def _by_group(domain: list[str], named: dict[str, str]) -> Spec:
    scale = {"domain": domain, "range": [named[one] for one in domain]}
    return {"field": "group", "type": "nominal", "legend": None, "scale": scale}


def _spread_labels(ends: list[Spec], span: float, height: int) -> list[tuple[Spec, float]]:
    """Move the words at the line ends apart, so that none covers another: each with its shift down [px]."""
    if not ends:
        return []
    placed: list[tuple[Spec, float]] = []
    last = -1e9
    for row in sorted(ends, key=lambda one: -float(str(one["value"]))):
        at = -float(str(row["value"])) / span * height
        shown = max(at, last + 15.0)
        placed.append((row, shown - at))
        last = shown
    lift = placed[-1][1]
    return [(row, dy - lift) for row, dy in placed] if lift else placed


def _black_layer_line() -> Spec:
    row = {"value": BLACK_LAYER_PCT, "text": "black layer"}
    y: Spec = {"field": "value", "type": "quantitative"}
    return {
        "data": {"values": [row]},
        "layer": [
            {"mark": {"type": "rule", "color": INK, "strokeDash": [2, 3]}, "encoding": {"y": y}},
            {
                "mark": {"type": "text", "align": "right", "dx": -6, "dy": 11, "fontSize": 12, "color": INK},
                "encoding": {"x": {"value": "width"}, "y": y, "text": {"field": "text"}},
            },
        ],
    }
