"""Which plots of a trial should a person look at, and where do they lie?"""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.safestring import mark_safe

from firstsilk.faces.pictures.plot_doubts import draw_plot_map, list_shades
from firstsilk.work.analysis.plot_quality import judge_plots
from firstsilk.work.occasion import Occasion


def show_quality(request: HttpRequest, on: Occasion, name: str) -> HttpResponse:
    """Findings about a trial's plots, the map that shows them, and its table twin."""
    found = judge_plots(on, name)
    asked = request.GET.get("trait", "")
    shown = next((one for one in found.traits if one.trait == asked), found.traits[0] if found.traits else None)
    picture = draw_plot_map(shown.plots, linked=True) if shown else ""
    told = {
        "room": "trials",
        "found": found,
        "shown": shown,
        "map": mark_safe(picture),  # noqa: S308 - drawn by ourselves from numbers and escaped names
        "shades": list_shades(),
    }
    return render(request, "trials/quality.html", told)
