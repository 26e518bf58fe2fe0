"""How warm has the season been, when does the frost come, and is the weather in the books fresh?"""

from __future__ import annotations

from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from firstsilk.answers import InputRefused, refuse
from firstsilk.faces.files.tables import table_from_bytes
from firstsilk.faces.files.weather_in import Asked, take_weather
from firstsilk.faces.pages.climate.pictures import draw_frosts, draw_season
from firstsilk.work.accounts import DESK
from firstsilk.work.climate.frosts import read_frost_chances
from firstsilk.work.climate.season import SHOWN_FORMS, SHOWN_RULES, name_units, read_season_heat
from firstsilk.work.climate.sites import list_sites
from firstsilk.work.occasion import Occasion

TABLE_STEP_DAYS = 7
LARGEST_FILE = 10 * 1024 * 1024
MOST_TOLD = 20
"""Findings that are told one by one above the page; a message lives in a cookie. Our own choice."""


def show_climate(request: HttpRequest, on: Occasion) -> HttpResponse:
    """The season's heat against past years, frost, and the sites; a weather file by POST."""
    if request.method == "POST":
        return _take_weather(request, on)
    return _show(request, on, request.GET.get("site", ""))


def _show(request: HttpRequest, on: Occasion, site: str, no: InputRefused | None = None) -> HttpResponse:
    sites = list_sites(on)
    told: dict[str, object] = {
        "room": "climate",
        "sites": sites,
        "no": no,
        "may_add": getattr(request.user, "role", "") in DESK,
    }
    if sites.sites:
        scale, _, form = request.GET.get("units", "").partition(":")
        heat = read_season_heat(on, site, scale=scale, form=form, rule=request.GET.get("rule", ""))
        frosts = read_frost_chances(on, site)
        told |= {
            "heat": heat,
            "scale": heat.units_name,
            "forms": [(f"{scale}:{one.name}", name_units(scale, one.name), one) for scale, one in SHOWN_FORMS],
            "units": f"{heat.scale}:{heat.form.name}",
            "rules": SHOWN_RULES,
            "season_picture": draw_season(heat) if heat.course.counted_to else "",
            "season_rows": [
                point
                for at, point in enumerate(heat.course.points)
                if at % TABLE_STEP_DAYS == 0 or point.day == heat.course.counted_to
            ],
            "frosts": frosts,
            "frost_picture": draw_frosts(frosts) if any(one.seen for one in frosts.events) else "",
        }
    return render(request, "climate/climate.html", told, status=200 if no is None else 422)


def _take_weather(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Add the days of an uploaded file; with findings that stop, nothing is written and all of them are shown."""
    site = request.POST.get("site", "")
    try:
        upload = request.FILES.get("file")
        if upload is None:
            raise refuse("no_file", "No file was chosen.", "Choose a weather file and send again.")
        if (upload.size or 0) > LARGEST_FILE:
            raise refuse("file_too_large", "The file is larger than 10 MB.", "Send one site or fewer years at a time.")
        asked = Asked(
            site,
            forecast="forecast" in request.POST,
            fill="fill" in request.POST,
            keep_doubts="keep_doubts" in request.POST,
        )
        taken = take_weather(on, table_from_bytes(upload.read(), upload.name or "weather file"), asked)
    except InputRefused as no:
        return _show(request, on, site, no)
    for sentence in taken.sentences:
        messages.success(request, sentence)
    for finding in taken.findings[:MOST_TOLD]:
        messages.warning(request, finding.as_text())
    if len(taken.findings) > MOST_TOLD:
        messages.warning(request, f"And {len(taken.findings) - MOST_TOLD} more to look at.")
    return redirect(f"{reverse('climate')}?{urlencode({'site': site})}")
