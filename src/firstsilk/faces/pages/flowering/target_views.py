"""Each target of a season with its chance, what it still wants, and when to stop."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from firstsilk.faces.pages.nursery.views import start_room
from firstsilk.work.flowering.targets import read_targets
from firstsilk.work.occasion import Occasion


def show_targets(request: HttpRequest, on: Occasion) -> HttpResponse:
    """The red list first, then targets in hand, then those to stop now."""
    told = start_room(request, on, "flowering")
    if told["season"]:
        told["targets"] = read_targets(on, str(told["season"]))
    return render(request, "flowering/targets.html", told)
