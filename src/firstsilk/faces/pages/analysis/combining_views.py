"""How does combining ability get onto a page: lines with intervals, testers, and crosses beyond both?"""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.safestring import SafeString

from firstsilk.answers import InputRefused
from firstsilk.faces.pages.analysis.shown import ROOM, link_traits, read_trait, read_years
from firstsilk.faces.pages.charts import BLUE, GREEN, GREY, INK, ORANGE, render_chart
from firstsilk.faces.pictures.units import UNITS, TraitUnit
from firstsilk.work.analysis.combining import CombiningAbility, LineAbility, read_combining_ability
from firstsilk.work.occasion import Occasion

MOST_ROWS = 40
ROW_PX, WIDTH_PX = 18, 640
KINDS = ("better beyond doubt", "cannot be told", "worse beyond doubt")


def show_combining(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Combining ability of the lines in all trials, or in those of the years asked for."""
    trait = read_trait(request)
    years = read_years(request.GET.getlist("year"))
    unit = UNITS[trait]
    told: dict[str, object] = {**ROOM, "unit": unit, "traits": link_traits(trait), "asked": years}
    try:
        found = read_combining_ability(on, years, trait)
    except InputRefused as no:
        return render(request, "analysis/combining.html", {**told, "no": str(no)})
    told["found"] = found
    told["says"] = tell_lines(found, unit)
    told["chart"] = draw_lines(found.lines, unit)
    told["lines"] = sorted(found.lines, key=lambda one: one.value * (1.0 if unit.less_is_better else -1.0))
    told["n_drawn"] = min(len(found.lines), MOST_ROWS)
    return render(request, "analysis/combining.html", told)


def tell_lines(found: CombiningAbility, unit: TraitUnit) -> str:
    """The main figures in one sentence."""
    sign = -1.0 if unit.less_is_better else 1.0
    good = [one for one in found.lines if min(sign * one.low, sign * one.high) > 0]
    poor = [one for one in found.lines if max(sign * one.low, sign * one.high) < 0]
    best = max(found.lines, key=lambda one: sign * one.value)
    return (
        f"Better than the mean of lines beyond doubt: {len(good)} of {len(found.lines)}; worse: {len(poor)}; "
        f"the best is {best.line} with {_tell(best.value, unit)} {unit.short}."
    )


def draw_lines(lines: tuple[LineAbility, ...], unit: TraitUnit) -> SafeString:
    """Each line's general combining ability with its interval; the best if there are many."""
    shown = sorted(lines, key=lambda one: one.value * (1.0 if unit.less_is_better else -1.0))[:MOST_ROWS]
    rows = [
        {"line": one.line, "value": one.value, "low": one.low, "high": one.high, "kind": KINDS[_place(one, unit)]}
        for one in shown
    ]
    spec = {
        "width": WIDTH_PX,
        "height": {"step": ROW_PX},
        "data": {"values": rows},
        "layer": _layers([one.line for one in shown], f"General combining ability, {unit.unit}"),
    }
    best, last = shown[0], shown[-1]
    return render_chart(
        spec,
        f"Lines from {best.line} ({_tell(best.value, unit)} {unit.short}) down to "
        f"{last.line} ({_tell(last.value, unit)}), each with its 95 % interval.",
    )


def _layers(lines: list[str], title: str) -> list[dict[str, object]]:
    """A line at 0, then each line's interval and its value, told apart by colour and shape."""
    y = {"field": "line", "type": "nominal", "sort": lines, "title": None}
    legend = {"title": None, "orient": "top", "columnPadding": 40}
    colour = {
        "field": "kind",
        "type": "nominal",
        "scale": {"domain": list(KINDS), "range": [GREEN, BLUE, ORANGE]},
        "legend": legend,
    }
    shapes = {"domain": list(KINDS), "range": ["triangle-up", "circle", "triangle-down"]}
    shape = {"field": "kind", "type": "nominal", "scale": shapes, "legend": legend}
    across = {"type": "quantitative", "title": title, "axis": {"labelFlush": False, "tickCount": 7}}
    dot = {"type": "point", "filled": True, "size": 60, "stroke": INK, "strokeWidth": 0.5, "opacity": 1}
    return [
        {"mark": {"type": "rule", "color": GREY}, "encoding": {"x": {"datum": 0, **across}}},
        {
            "mark": {"type": "rule", "strokeWidth": 2},
            "encoding": {"y": y, "x": {"field": "low", **across}, "x2": {"field": "high"}, "color": colour},
        },
        {
            "mark": dot,
            "encoding": {"y": y, "x": {"field": "value", **across}, "color": colour, "shape": shape},
        },
    ]


def _tell(value: float, unit: TraitUnit) -> str:
    return f"{value:+,.{unit.digits}f}".replace("-", "−")


def _place(one: LineAbility, unit: TraitUnit) -> int:
    """0 if the interval lies wholly on the better side of the mean of lines, 2 on the worse, else 1."""
    above, below = one.low > 0, one.high < 0
    if unit.less_is_better:
        above, below = below, above
    return 0 if above else 2 if below else 1
