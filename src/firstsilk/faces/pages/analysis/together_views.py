"""How does it get onto a page whether two traits go together?"""

from __future__ import annotations

import math

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from firstsilk.answers import InputRefused
from firstsilk.faces.pages.analysis.shown import ROOM, read_years
from firstsilk.faces.pictures.units import UNITS
from firstsilk.work.analysis.plots import TRAITS
from firstsilk.work.analysis.together import SHORT, Together, read_traits_together
from firstsilk.work.occasion import Occasion

PAIRS = tuple((one, two) for k, one in enumerate(TRAITS) for two in TRAITS[k + 1 :])


def show_together(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Two traits of all trials, or of those of the years asked for."""
    asked = (request.GET.get("a", TRAITS[0]), request.GET.get("b", TRAITS[1]))
    pair = asked if asked in PAIRS else PAIRS[0]
    years = read_years(request.GET.getlist("year"))
    pairs = [
        {"a": one, "b": two, "words": f"{SHORT[one]} and {SHORT[two]}", "is_shown": (one, two) == pair}
        for one, two in PAIRS
    ]
    told: dict[str, object] = {**ROOM, "pairs": pairs, "asked": years, "a": SHORT[pair[0]], "b": SHORT[pair[1]]}
    try:
        found = read_traits_together(on, years, *pair)
        told |= {"found": found, "rows": [_tell_row(one, *pair) for one in found.parts]}
    except InputRefused as no:
        told["no"] = str(no)
    return render(request, "analysis/together.html", told)


def _tell_row(one: Together, trait_a: str, trait_b: str) -> dict[str, object]:
    """A part with the spread of each trait in its own unit."""
    spreads = [
        f"{math.sqrt(variance):,.{UNITS[trait].digits or 0}f} {UNITS[trait].short}"
        for trait, variance in ((trait_a, one.variance_a), (trait_b, one.variance_b))
    ]
    return {
        "part": one.part,
        "correlation": one.correlation,
        "se": one.se,
        "spread_a": spreads[0],
        "spread_b": spreads[1],
    }
