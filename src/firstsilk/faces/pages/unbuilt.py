"""A room that is not built yet says so."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from firstsilk.work.occasion import Occasion


def show_unbuilt(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Say that this room is not built yet."""
    return render(request, "no.html", {"title": "Not built yet", "message": "This room is not built yet."}, status=501)
