"""From where does weather come by itself, and how does somebody at the desk set that?"""

from __future__ import annotations

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from firstsilk.answers import InputRefused, refuse
from firstsilk.faces.files.feed_places import Rules, check_place
from firstsilk.work.climate.feeds import add_feed, ask_look, list_feeds, switch_feed
from firstsilk.work.climate.sites import list_sites
from firstsilk.work.occasion import Occasion


def show_feeds(request: HttpRequest, on: Occasion) -> HttpResponse:
    """The places that are looked at; by POST one more, or one stopped, started or looked at soon."""
    no: InputRefused | None = None
    if request.method == "POST":
        try:
            messages.success(request, _do(request, on))
        except InputRefused as refused:
            no = refused
        else:
            return redirect("climate-feeds")
    told = {
        "room": "climate",
        "feeds": list_feeds(on),
        "sites": list_sites(on),
        "no": no,
        "place": request.POST.get("place", "") if no else "",
        "minutes": settings.FEED_MINUTES,
        "may_name_folders": bool(settings.FEED_FOLDERS),
    }
    return render(request, "climate/feeds.html", told, status=200 if no is None else 422)


def _do(request: HttpRequest, on: Occasion) -> str:
    """Do what was asked, and say it."""
    asked = request.POST.get("do", "")
    if asked == "add":
        rules = Rules(settings.HOME, settings.FEED_HOSTS, settings.FEED_FOLDERS)
        kind, place = check_place(request.POST.get("place", ""), rules, by_page=True)
        feed = add_feed(on, request.POST.get("site", ""), kind, place)
        return f"{feed.shown} is looked at for {feed.site_name} from now on."
    number = request.POST.get("feed", "")
    if asked not in ("stop", "start", "look") or not number.isdecimal() or len(number) > 15:
        raise refuse("feed_what", "This is nothing a feed can do.", "Use the buttons of the page.")
    if asked == "look":
        return f"{ask_look(on, int(number)).shown} is looked at within seconds, if the station is served."
    feed = switch_feed(on, int(number), asked == "start")
    return f"{feed.shown} is {'looked at again' if feed.is_on else 'no longer looked at'}."
