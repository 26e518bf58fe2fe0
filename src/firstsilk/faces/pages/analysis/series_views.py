"""How does one series get onto a page: entries with intervals, who is best where, and how entries respond?"""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from firstsilk.faces.analysed import list_responses, make_intervals, tell_places
from firstsilk.faces.pages.analysis.shown import ROOM, link_traits, read_trait
from firstsilk.faces.pages.charts import render_chart
from firstsilk.faces.pages.papers import give_pdf
from firstsilk.faces.pictures.intervals import picture_intervals, tell_intervals
from firstsilk.faces.pictures.places import picture_best_places
from firstsilk.faces.pictures.responses import picture_interaction, picture_lines, tell_responses
from firstsilk.faces.pictures.units import UNITS, TraitUnit
from firstsilk.work.analysis.series import Responses, SeriesAnalysis, read_series
from firstsilk.work.occasion import Occasion


def show_series(request: HttpRequest, on: Occasion, name: str) -> HttpResponse:
    """One series: entries with intervals, the best at each group of sites, responses."""
    trait = read_trait(request)
    against = "best" if request.GET.get("against") == "best" else ""
    found = read_series(on, name, trait, against)
    unit = UNITS[trait]
    rows = make_intervals(found)
    says = tell_intervals(rows, unit.short, found.against, unit.digits)
    told: dict[str, object] = {
        **ROOM,
        "series": found,
        "unit": unit,
        "traits": link_traits(trait),
        "against": against,
        "says": says,
        "chart": render_chart(picture_intervals(rows, unit.unit, found.against, unit.less_is_better), " ".join(says)),
    }
    if found.responses is not None:
        told |= _show_responses(found, found.responses, unit)
    return render(request, "analysis/series.html", told)


def _show_responses(found: SeriesAnalysis, own: Responses, unit: TraitUnit) -> dict[str, object]:
    places = tell_places(own, unit)
    lines = tell_responses(own.stability, unit.short, unit.digits)
    checks = found.checks
    return {
        "places": own.places,
        "places_says": places,
        "places_chart": render_chart(
            picture_best_places(own.places, checks, unit.unit, unit.less_is_better), " ".join(places)
        ),
        "lines_says": lines,
        "lines_chart": render_chart(picture_lines(own.table, own.stability, unit.unit, checks), " ".join(lines)),
        "interaction_chart": render_chart(
            picture_interaction(own.table, own.interaction, unit.unit, checks),
            "Entries and sites by their mean and their score on the first axis of the interaction.",
        ),
        "rows": list_responses(own, set(checks)),
        "sites": own.table.environments,
        "left_out": own.left_out,
    }


def print_series(request: HttpRequest, on: Occasion, name: str) -> HttpResponse:
    """The analysis of one series on paper."""
    from firstsilk.faces.paper.analysis_report import make_analysis_report, render_analysis_report

    report = make_analysis_report(on, name, read_trait(request))
    plain = "".join(sign if sign.isascii() and sign.isalnum() else "-" for sign in name)
    return give_pdf(render_analysis_report(report), f"analysis-{plain}.pdf")
