"""How the work goes, for breeder and crew leaders alone: each person beside what is expected, never beside another."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from firstsilk.faces.pages.nursery.views import start_room
from firstsilk.work.flowering.work_quality import FEWEST_POLLINATIONS, FEWEST_RECHECKS, read_work_quality
from firstsilk.work.occasion import Occasion


def show_work_quality(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Cards in the order of codes, and whom to go and help."""
    told = start_room(request, on, "flowering")
    if told["season"]:
        told["view"] = read_work_quality(on, str(told["season"]))
        told |= {"fewest": FEWEST_POLLINATIONS, "fewest_checks": FEWEST_RECHECKS}
    response = render(request, "flowering/work_quality.html", told)
    # Nothing of this stays behind in a browser that others use.
    response["Cache-Control"] = "no-store"
    return response
