"""Sprays at the desk: post one, change its end with a reason, and see who was noted inside an interval."""

from __future__ import annotations

from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from firstsilk.answers import refuse
from firstsilk.faces.pages.forms import read_form_number, read_form_text, read_form_whole
from firstsilk.faces.pages.nursery.views import start_room
from firstsilk.work.accounts import CREW
from firstsilk.work.cautions import LIMITS, SPRAY
from firstsilk.work.flowering.clock import read_typed
from firstsilk.work.flowering.sprays import LONGEST_HOURS, Spraying, change_spray, post_spray, read_sprays
from firstsilk.work.occasion import Occasion


def show_sprays(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Sprayings of a season; sent, one is posted or its end is changed."""
    told = start_room(request, on, "flowering")
    season = str(told["season"])
    if request.method == "POST":
        if not season:
            raise refuse("season_unknown", "There is no season to post a spray for.", "Open one first.")
        change = bool(request.POST.get("number"))
        done = _change(request, on, season) if change else _post(request, on, season)
        messages.success(
            request,
            f"Rows {done.first_row} to {done.last_row}: no entry until {done.no_entry_until:%Y-%m-%d %H:%M} after "
            f"{done.product}.",
        )
        asked = {"season": season} | ({"day": request.GET["day"]} if request.GET.get("day") else {})
        return redirect(f"{reverse('sprays')}?{urlencode(asked)}")
    if season:
        told["list"] = read_sprays(on, season)
    told |= {"can_change": request.user.role in CREW, "caution": SPRAY, "limits": LIMITS}  # type: ignore[union-attr]
    return render(request, "flowering/sprays.html", told)


def _post(request: HttpRequest, on: Occasion, season: str) -> Spraying:
    first = read_form_whole(request, "first_row", 1)
    last = read_form_whole(request, "last_row", 1)
    hours = read_form_number(request, "hours", 0, LONGEST_HOURS)
    if first is None or hours is None:
        raise refuse("field_empty", "First row and hours are wanted.", "Fill them in and send again.")
    sprayed_at = read_typed(read_form_text(request, "sprayed_at", wanted=True), on.today)
    return post_spray(on, season, read_form_text(request, "product"), (first, last or first), sprayed_at, hours)


def _change(request: HttpRequest, on: Occasion, season: str) -> Spraying:
    number = read_form_whole(request, "number", 1) or 0
    until = read_form_text(request, "until")
    return change_spray(
        on, season, number, read_typed(until, on.today) if until else None, read_form_text(request, "reason")
    )
