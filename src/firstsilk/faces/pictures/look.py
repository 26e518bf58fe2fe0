"""How do all pictures look, and how does a specification become a drawing?

Colours are from Okabe and Ito's set or of one lightness order, readable with every kind of colour vision, and never the
only sign. Drawn as SVG on our side, so a page needs no script for it and prints as it looks.
"""

from __future__ import annotations

import hashlib
import json
import math
import re
from collections.abc import Mapping, Sequence

INK = "#1b1b1b"
BLUE = "#0072B2"
ORANGE = "#D55E00"
GREEN = "#009E73"
GOLD = "#E69F00"
SKY = "#56B4E9"
PINK = "#CC79A7"
GREY = "#8a8a86"
MORE = ("#f4f8f1", "#dcecd3", "#b9d9ae", "#8cc08f", "#57a06f", "#2a7a50", "#12502f")
"""From little to much."""
BOTH_WAYS = ("#0b559f", "#5598c9", "#b9d8ea", "#f7f5ef", "#fbd3a4", "#ef8e3b", "#a84300")
"""From below to above 0: blue, white, orange."""
DARK = {"#2a7a50", "#12502f", "#0b559f", "#a84300"}
"""Fills on which ink is white."""

Spec = dict[str, object]
SCHEMA = "https://vega.github.io/schema/vega-lite/v5.json"
SCREEN_FONT = "system-ui, sans-serif"
PAPER_FONT = "Open Sans"
LOOK: Mapping[str, object] = {
    "font": SCREEN_FONT,
    "background": None,
    "view": {"stroke": None},
    "axis": {
        "labelFontSize": 13,
        "titleFontSize": 13,
        "titleFontWeight": "normal",
        "titleColor": "#444",
        "gridColor": "#e4e2da",
        "domainColor": "#777",
        "tickColor": "#777",
    },
    "legend": {"labelFontSize": 13, "titleFontSize": 13, "titleFontWeight": "normal", "orient": "top"},
    "title": {"fontSize": 15, "anchor": "start", "fontWeight": 600},
}


def complete(spec: Mapping[str, object], font: str = SCREEN_FONT) -> Spec:
    """A specification with its schema and the common look, as a notebook or another program takes it."""
    return {"$schema": SCHEMA, "config": {**LOOK, "font": font}, **spec}


def draw_svg(spec: Mapping[str, object], font: str = SCREEN_FONT) -> str:
    """Draw a specification as SVG text; the same specification gives the same bytes."""
    import vl_convert

    text = json.dumps(complete(spec, font), sort_keys=True, default=str)
    return name_parts(str(vl_convert.vegalite_to_svg(text)), hashlib.sha256(text.encode()).hexdigest()[:10])


def name_parts(svg: str, own: str) -> str:
    """Give the parts that a drawing refers to names of its own, so that several drawings can stand on one page.

    The drawer counts them on through the life of a process.
    """
    names = dict.fromkeys(re.findall(r'\bid="([^"]+)"', svg))
    told = {name: f"part-{own}-{at}" for at, name in enumerate(names)}
    svg = re.sub(r'\bid="([^"]+)"', lambda found: f'id="{told[found.group(1)]}"', svg)
    return re.sub(r"url\(#([^)]+)\)", lambda found: f"url(#{told.get(found.group(1), found.group(1))})", svg)


def read_size(svg: str) -> tuple[float, float]:
    """Width and height of a drawing [px]."""
    found = re.search(r'width="([\d.]+)" height="([\d.]+)"', svg)
    return (float(found.group(1)), float(found.group(2))) if found else (0.0, 0.0)


NICE = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)


def round_up(step: float) -> float:
    """The next round step at or above this one: 1, 1.5, 2, 2.5, 3, 4, 5, 6, 8 times a power of ten."""
    if not (math.isfinite(step) and step > 0):
        return 1.0
    power = 10.0 ** math.floor(math.log10(step))
    return float(f"{next(nice for nice in NICE if nice * power >= step * (1 - 1e-9)) * power:.10g}")


def limit_classes(low: float, high: float, both_ways: bool) -> tuple[float, ...]:
    """The six round limits between seven classes; even about 0 where a value goes both ways."""
    if both_ways:
        unit = round_up(max(abs(low), abs(high)) / 7.0)
        return tuple(float(f"{k * unit:.10g}") for k in (-5, -3, -1, 1, 3, 5))
    step = round_up((high - low) / 7.0)
    first = math.floor(low / step)
    while (first + 7) * step < high:
        step = round_up(step * 1.01)
        first = math.floor(low / step)
    return tuple(float(f"{(first + k) * step:.10g}") for k in range(1, 7))


def choose_fill(value: float, limits: Sequence[float], fills: Sequence[str]) -> str:
    """The fill of the class in which a value lies; one on a limit belongs to the upper class."""
    return fills[sum(value >= limit for limit in limits)]


def tell_classes(field: str, limits: Sequence[float], fills: Sequence[str], title: str, form: str, px: float) -> Spec:
    """The colour channel of a value in classes, with a legend of its own `px` long."""
    small = px < 200
    legend = {
        "type": "gradient",
        "title": title,
        "titleLimit": 0,
        "titleFontSize": 10.5 if small else 13,
        "labelFontSize": 8 if small else 12,
        "gradientLength": round(px),
        "gradientThickness": 9 if small else 14,
        "labelOverlap": False,
        "format": form,
        "offset": 8 if small else 14,
    }
    scale = {"type": "threshold", "domain": list(limits), "range": list(fills)}
    return {"field": field, "type": "quantitative", "scale": scale, "legend": legend}
