"""What does a written pedigree say? It is typed, and taken apart on the page."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from firstsilk.answers import InputRefused
from firstsilk.science.lineage.derivation import tell_stands_for
from firstsilk.science.lineage.told_pedigree import tell_pedigree
from firstsilk.work.occasion import Occasion

LONGEST = 400
STEPS = {"ear": "ear", "bulk": "selfed ears in bulk", "increase": "increase, not selfed", "doubled": "doubled haploid"}


def show_written(request: HttpRequest, on: Occasion) -> HttpResponse:
    """The question, and what the pedigree in the address tells."""
    text = request.GET.get("text", "")[:LONGEST]
    told: dict[str, object] = {"room": "lineage", "typed": text, "longest": LONGEST}
    if not text.strip():
        return render(request, "lineage/written.html", told)
    try:
        found = tell_pedigree(text)
    except InputRefused as no:
        return render(request, "lineage/written.html", {**told, "no": no}, status=422)
    told |= {
        "told": found,
        "stands_for": tell_stands_for(found.stands_for, found.derived_from) if found.stands_for else "",
        "steps": [(one, STEPS[one.kind]) for one in found.advances],
        "shares": [(name, float(share)) for name, share in found.shares.items()],
    }
    return render(request, "lineage/written.html", told)
