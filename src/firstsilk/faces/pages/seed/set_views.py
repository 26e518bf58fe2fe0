"""What went wrong with seed set: causes ranked, with pictures by hour, dry air and age of silk."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.safestring import SafeString

from firstsilk.faces.pages.charts import BLUE, INK
from firstsilk.faces.pages.climate.pictures import Spec, render_both
from firstsilk.faces.pages.nursery.views import start_room
from firstsilk.science.seed.set_causes import Point, SetModel
from firstsilk.work.occasion import Occasion
from firstsilk.work.seed.set_causes import NAMES, NOT_CONSIDERED, WHY_ROOT, SetCauses, read_set_causes

AXES = {"hour": "Hour of the day", "deficit_kpa": "Dry air, kPa", "silk_days": "Age of the silk, days"}
FEWEST_IN_POINT = 2
"""A point of a single row has no error and is not drawn."""


def show_set(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Causes of a season's seed set."""
    told = start_room(request, on, "seed")
    if told["season"]:
        found = read_set_causes(on, str(told["season"]))
        told |= {"found": found, "pictures": _draw(found), "levels": _name_levels(found), "why_root": WHY_ROOT}
        told["not_considered"] = NOT_CONSIDERED
    return render(request, "seed/set.html", told)


def _name_levels(found: SetCauses) -> list[dict[str, object]]:
    model = found.model
    if model is None:
        return []
    scale = 1.0 if model.measure == "kernels" else 100.0
    return [
        {
            "title": NAMES[name],
            "levels": [
                {
                    "name": one.name,
                    "off": scale * (model.back(model.middle_root + one.value) - model.middle),
                    "error": scale
                    * abs(
                        model.back(model.middle_root + one.value + one.se) - model.back(model.middle_root + one.value)
                    ),
                    "attempts": one.attempts,
                }
                for one in levels
            ],
        }
        for name, levels in found.worst.items()
        if levels
    ]


def _draw(found: SetCauses) -> list[dict[str, object]]:
    model = found.model
    if model is None:
        return []
    return [
        {"title": AXES[name], "picture": draw_points(model, name), "points": model.points[name]}
        for name in AXES
        if len([one for one in model.points.get(name, ()) if one.n >= FEWEST_IN_POINT]) > 1
    ]


def draw_points(model: SetModel, name: str) -> SafeString:
    """What a pollination gave by one number, the other causes held at their middle."""
    drawn = [one for one in model.points[name] if one.n >= FEWEST_IN_POINT]
    first, last = drawn[0], drawn[-1]
    unit = _unit(model)
    says = (
        f"{AXES[name]}: {unit} from {_scaled(model, first.value):.0f} at {first.at:g} to "
        f"{_scaled(model, last.value):.0f} at {last.at:g}, other causes held at their middle."
    )
    return render_both(lambda width, height: _spec(model, name, drawn, width, height), says, (560, 300))


def _unit(model: SetModel) -> str:
    return "kernels a pollination" if model.measure == "kernels" else "good ears of 100 pollinations"


def _scaled(model: SetModel, value: float) -> float:
    return value if model.measure == "kernels" else 100 * value


def _spec(model: SetModel, name: str, points: list[Point], width: int, height: int) -> Spec:
    rows: list[Spec] = [
        {
            "at": one.at,
            "value": _scaled(model, one.value),
            "low": _scaled(model, max(0.0, one.value - 2 * (one.se or 0.0))),
            "high": _scaled(model, one.value + 2 * (one.se or 0.0)),
            "n": one.n,
        }
        for one in points
    ]
    x: Spec = {"field": "at", "type": "quantitative", "title": AXES[name], "scale": {"zero": False, "padding": 12}}
    y: Spec = {
        "type": "quantitative",
        "title": _unit(model).capitalize(),
        "axis": {"titleAngle": 0, "titleAlign": "left", "titleAnchor": "end", "titleX": -38, "titleY": -10},
    }
    return {
        "width": width - 80,
        "height": height - 80,
        "padding": {"left": 5, "top": 18, "right": 12, "bottom": 5},
        "data": {"values": rows},
        "layer": [
            {
                "mark": {"type": "rule", "color": INK, "strokeWidth": 1.5},
                "encoding": {"x": x, "y": {**y, "field": "low"}, "y2": {"field": "high"}},
            },
            {
                "mark": {"type": "point", "filled": True, "color": BLUE, "opacity": 1},
                "encoding": {
                    "x": x,
                    "y": {**y, "field": "value"},
                    "size": {"field": "n", "type": "quantitative", "legend": None, "scale": {"range": [40, 260]}},
                },
            },
        ],
    }
