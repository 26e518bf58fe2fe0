"""What are untested lines worth by their markers, as a page?"""

from __future__ import annotations

from collections.abc import Mapping

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from firstsilk.answers import refuse
from firstsilk.faces.jobs import start_job
from firstsilk.work.accounts import DESK
from firstsilk.work.analysis.plots import TRAIT_WORDS, TRAITS
from firstsilk.work.lineage.untested import find_untested
from firstsilk.work.occasion import Occasion

FIGURES = {"yield_kg_ha_15_5": (1.0, 0), "moisture_pct": (1.0, 1), "erect_frac": (100.0, 1)}
"""How a trait is written: the factor to the unit shown, decimals."""
TRUST_WORDS = {
    "ranks_well": "ranks well",
    "ranks_roughly": "ranks roughly",
    "not_shown": "not shown",
    "not_measured": "not measured",
}
MOST_SHOWN = 300


def show_untested(request: HttpRequest, on: Occasion) -> HttpResponse:
    """The newest foretelling of a trait; sent, a new one is worked out beside the pages."""
    trait = request.POST.get("trait", request.GET.get("trait", TRAITS[0]))
    if trait not in TRAITS:
        raise refuse("trait_unknown", f"There is no trait {trait!r}.", f"Traits: {', '.join(TRAITS)}.")
    if request.method == "POST":
        return redirect("job", start_job(on, "predict_untested", {"trait": trait}))
    found = find_untested(on, trait)
    times, places = FIGURES[trait]
    lines = found.lines if found is not None else ()
    chosen = [one for one in lines if request.GET.get("of") == "all" or not one.tested]
    told = {
        "room": "lineage",
        "found": found,
        "trait": trait,
        "traits": TRAIT_WORDS.items(),
        "places": places,
        "unit": TRAIT_WORDS[trait] if trait != "erect_frac" else "plants standing, %",
        "of_all": request.GET.get("of") == "all",
        "rows": [
            (one, one.foretold * times, None if one.estimate is None else one.estimate * times, TRUST_WORDS[one.trust])
            for one in chosen[:MOST_SHOWN]
        ],
        "n_chosen": len(chosen),
        "families": [(one, *_tell_trust(one)) for one in (found.families if found else ()) if one["untested"]],
        "may_run": getattr(request.user, "role", "") in DESK,
    }
    return render(request, "lineage/untested.html", told)


def _tell_trust(one: Mapping[str, object]) -> tuple[str, str]:
    """How far a family is trusted, and why: without its name and count, which stand in columns of their own."""
    why = str(one["words"]).removeprefix(f"Family {one['family']}, {one['untested']} untested: ")
    return TRUST_WORDS[str(one["trust"])], why[:1].upper() + why[1:]
