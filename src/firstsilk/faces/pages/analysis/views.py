"""What do the trials say of each entry, and how far can each trial be trusted?"""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from firstsilk.answers import refuse
from firstsilk.faces.jobs import start_job
from firstsilk.faces.pages.analysis.entry_plot import draw_entry_plot, pair_entries
from firstsilk.faces.pages.analysis.shown import read_years
from firstsilk.work.analysis.facts import TrialAnalysis
from firstsilk.work.analysis.plots import TRAIT_WORDS, TRAITS
from firstsilk.work.analysis.reading import find_analysis
from firstsilk.work.analysis.series import list_series
from firstsilk.work.occasion import Occasion
from firstsilk.work.trials.reading import list_trials


def show_analysis(request: HttpRequest, on: Occasion) -> HttpResponse:
    """The last analysis: entry plot, estimates, quality of the trials; sent, it is run again."""
    if request.method == "POST":
        return _run(request, on)
    years = read_years(request.GET.getlist("year"))
    grain = find_analysis(on, "yield_kg_ha_15_5", years)
    newest = max(grain.years) if grain else 0
    told: dict[str, object] = {"room": "analysis", "years": _list_years(on), "asked": years, "grain": grain}
    told["series"] = list_series(on)
    told["newest"] = newest  # a year with data that came after the last analysis is ticked as well
    if grain is not None:
        told |= _describe(request, on, grain)
    return render(request, "analysis/analysis.html", told)


def _describe(request: HttpRequest, on: Occasion, grain: TrialAnalysis) -> dict[str, object]:
    water = find_analysis(on, "moisture_pct", grain.years)
    standing = find_analysis(on, "erect_frac", grain.years)
    kind = "gca" if request.GET.get("of") == "lines" and grain.of_kind("gca") else "blup"
    points = pair_entries(grain.of_kind(kind), water.of_kind(kind) if water else ())
    found = [one for one in (grain, water, standing) if one is not None]
    return {
        "kind": kind,
        "has_lines": bool(grain.of_kind("gca")),
        "points": points,
        "chart": draw_entry_plot(points),
        "traits": [(TRAIT_WORDS[one.trait], one) for one in found],
        "absent": [TRAIT_WORDS[trait] for trait in TRAITS if trait not in {one.trait for one in found}],
    }


def _run(request: HttpRequest, on: Occasion) -> HttpResponse:
    years = read_years(request.POST.getlist("year"))
    if not years:
        raise refuse("no_years", "No year was ticked.", "Tick the years whose trials shall count.")
    number = start_job(on, "analyse", {"years": list(years)})
    return redirect("job", number)


def _list_years(on: Occasion) -> list[int]:
    return sorted({one.year for one in list_trials(on).trials if one.n_with_record}, reverse=True)
