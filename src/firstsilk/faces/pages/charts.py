"""How does a picture get onto a page?

A chart is a Vega-Lite specification: a plain dictionary, the same in a page, a report and a notebook
(``altair.Chart.from_dict``). Drawn as SVG on our side (`firstsilk.faces.pictures.look`), so a page needs no script for
it and prints as it looks.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import lru_cache

from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from firstsilk.faces.pictures.look import BLUE, GOLD, GREEN, GREY, INK, ORANGE, PINK, SKY, draw_svg, read_size

__all__ = ["BLUE", "GOLD", "GREEN", "GREY", "INK", "ORANGE", "PINK", "SKY", "render_chart"]


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
    svg = draw_svg(json.loads(spec_text))
    wide, high = read_size(svg)
    if wide:
        fluid = f'width="100%" style="max-width:{wide:.0f}px;height:auto"'
        svg = svg.replace(f'width="{wide:g}" height="{high:g}"', fluid, 1)
    return svg.replace("<svg ", '<svg aria-hidden="true" ', 1)
