"""Do the station's hybrids ripen before the killing frost? The page."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from firstsilk.faces.pages.climate.ripening_pictures import draw_chances, draw_moistures
from firstsilk.work.climate.ripening import read_month_day, read_ripening, read_units
from firstsilk.work.climate.sites import list_sites
from firstsilk.work.occasion import Occasion


def show_ripening(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Chance of ripening, grain moisture and loss, by group, hybrid, sowing day and site."""
    sites = list_sites(on)
    told: dict[str, object] = {"room": "climate", "sites": sites}
    if sites.sites:
        sown = read_month_day(request.GET.get("sown", ""), "sowing day")
        harvest = read_month_day(request.GET.get("harvest", ""), "harvest day")
        units = read_units(request.GET.get("units", ""))
        ripening = read_ripening(on, request.GET.get("site", ""), sown, harvest, units)
        drawn = any(chance is not None for one in ripening.by_sowing for chance in one.chances)
        told |= {
            "ripening": ripening,
            "groups": ripening.groups,
            "chances": draw_chances(ripening) if drawn else "",
            "moistures": draw_moistures(ripening) if drawn else "",
        }
    return render(request, "climate/ripening.html", told)
