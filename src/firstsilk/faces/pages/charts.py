"""How does a picture get onto a page?

A chart is a Vega-Lite specification: a plain dictionary, the same in a page, a report and a notebook
(``altair.Chart.from_dict``). Here it is drawn as SVG on our side, so a page needs no script for it and prints as it
looks. Colours are from Okabe and Ito's set, readable with every kind of colour vision, and never the only sign.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from functools import lru_cache

from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

INK = "#1b1b1b"
BLUE = "#0072B2"
ORANGE = "#D55E00"
GREEN = "#009E73"
GOLD = "#E69F00"
SKY = "#56B4E9"
PINK = "#CC79A7"
GREY = "#8a8a86"

_LOOK = {
    "font": "system-ui, sans-serif",
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


def render_chart(spec: Mapping[str, object], says: str) -> SafeString:
    """Draw a chart as SVG for a page.

    Parameters
    ----------
    spec
        Vega-Lite specification without ``$schema`` and ``config``.
    says
        What a person who cannot see the picture is told; one or two sentences with the main figures.
    """
    svg = _draw(json.dumps(spec, sort_keys=True, default=str))
    figure = '<figure class="chart" role="img" aria-label="{}">{}</figure>'
    return format_html(figure, says, mark_safe(svg))  # noqa: S308 - drawn by ourselves from numbers and escaped names


@lru_cache(maxsize=128)
def _draw(spec_text: str) -> str:
    import vl_convert

    spec = {"$schema": "https://vega.github.io/schema/vega-lite/v5.json", "config": _LOOK, **json.loads(spec_text)}
    svg = vl_convert.vegalite_to_svg(json.dumps(spec))
    width = re.search(r'width="([\d.]+)" height="([\d.]+)"', svg)
    if width:
        fluid = f'width="100%" style="max-width:{float(width.group(1)):.0f}px;height:auto"'
        svg = svg.replace(width.group(0), fluid, 1)
    return svg.replace("<svg ", '<svg aria-hidden="true" ', 1)
