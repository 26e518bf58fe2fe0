"""The day's hands, hours, supplies and end of pollinating, at the desk."""

from __future__ import annotations

from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from firstsilk.answers import refuse
from firstsilk.faces.pages.flowering.pictures import draw_crew, draw_cutoff, draw_windows
from firstsilk.faces.pages.forms import read_form_day, read_form_number, read_form_text, read_form_whole
from firstsilk.faces.pages.nursery.views import start_room
from firstsilk.work.accounts import CREW, DESK
from firstsilk.work.cautions import CAUTIONS, CAUTIONS_SHORT, LIMITS
from firstsilk.work.flowering.crew import read_crew
from firstsilk.work.flowering.crew_plan import MOST_WORKERS, CrewFacts, set_crew
from firstsilk.work.flowering.cutoff import WANTED_FRAC, read_cutoff, set_cutoff
from firstsilk.work.flowering.cutoff_groups import GROUPINGS
from firstsilk.work.flowering.pollen_window import SOURCES, read_pollen_windows
from firstsilk.work.flowering.supplies import read_supplies
from firstsilk.work.occasion import Occasion

SHARES = ((0.8, "80 %"), (0.9, "90 %"), (0.95, "95 %"), (0.99, "99 %"))


def show_crew(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Workers needed by day against the crew; sent, the crew is set."""
    told = start_room(request, on, "flowering")
    season = str(told["season"])
    if request.method == "POST":
        _set_crew(request, on, season)
        messages.success(request, f"The crew of season {season} is set.")
        return redirect(f"{reverse('crew')}?{urlencode({'season': season})}")
    if season:
        need = read_crew(on, season)
        told |= {"need": need, "picture": draw_crew(need) if need.days or need.made else ""}
        told |= {"can_change": request.user.role in CREW}  # type: ignore[union-attr]
    return render(request, "flowering/crew.html", {**told, "all_cautions": CAUTIONS, "limits": LIMITS})


def _set_crew(request: HttpRequest, on: Occasion, season: str) -> None:
    if not season:
        raise refuse("season_unknown", "There is no season to set a crew for.", "Open one first.")
    crew = CrewFacts(
        workers=read_form_whole(request, "workers", 0, MOST_WORKERS) or 0,
        beginners=read_form_whole(request, "beginners", 0, MOST_WORKERS) or 0,
        beginners_from=read_form_day(request, "beginners_from"),
        hours_a_day=read_form_number(request, "hours_a_day", 0.5, 16) or 7.0,
        per_hour=read_form_number(request, "per_hour", 0.1, 500),
        efficiency_frac=read_form_number(request, "efficiency", 0.1, 1),
    )
    set_crew(on, season, crew)


def show_window(request: HttpRequest, on: Occasion) -> HttpResponse:
    """The hours in which pollen is dry, today and on the coming days."""
    told = start_room(request, on, "flowering")
    if told["season"]:
        windows = read_pollen_windows(on, str(told["season"]))
        told |= {"windows": windows, "picture": draw_windows(windows), "sources": SOURCES}
        told |= {"days": [(day, SOURCES[day.source]) for day in windows.days]}
    return render(request, "flowering/window.html", {**told, "cautions": CAUTIONS_SHORT})


def show_supplies(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Bags, clips, tags and the rest, for the season and the week."""
    told = start_room(request, on, "flowering")
    if told["season"]:
        told["list"] = read_supplies(on, str(told["season"]))
    return render(request, "flowering/supplies.html", told)


def show_cutoff(request: HttpRequest, on: Occasion) -> HttpResponse:
    """What each possible last day gives; sent, the season's cutoff is set or taken away."""
    told = start_room(request, on, "flowering")
    season = str(told["season"])
    if request.method == "POST":
        if not season:
            raise refuse("season_unknown", "There is no season to set a cutoff for.", "Open one first.")
        gone = read_form_text(request, "take_away")
        day = set_cutoff(on, season, None if gone else read_form_day(request, "cutoff_on"))
        said = f"Pollination of season {season} ends on {day.day} {day:%B}." if day else "The cutoff is taken away."
        messages.success(request, said)
        return redirect(f"{reverse('cutoff')}?{urlencode({'season': season})}")
    if season:
        wanted, by, asi = _asked_share(request), request.GET.get("by", ""), _asked_asi(request)
        by = by if by in GROUPINGS else ""
        cutoff = read_cutoff(on, season, wanted, by, asi)
        told |= {"cutoff": cutoff, "picture": draw_cutoff(cutoff) if cutoff.days else "", "shares": SHARES}
        told |= {"wanted": wanted, "by": by, "asi": asi, "can_change": request.user.role in DESK}  # type: ignore[union-attr]
    return render(request, "flowering/cutoff.html", told)


def _asked_share(request: HttpRequest) -> float:
    """The share asked for in the address; what is none is passed over."""
    try:
        share = float(request.GET.get("share", ""))
    except ValueError:
        return WANTED_FRAC
    return share if 0 < share <= 1 else WANTED_FRAC


def _asked_asi(request: HttpRequest) -> float | None:
    """The most days from shed to silk asked for in the address; what is none is passed over."""
    try:
        most = float(request.GET.get("asi", ""))
    except ValueError:
        return None
    return most if -30 <= most <= 30 else None
