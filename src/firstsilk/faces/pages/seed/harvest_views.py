"""From the field to the dryer at the desk: what to pick, which ears came, what lies in which crate."""

from __future__ import annotations

import re

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from firstsilk.answers import refuse
from firstsilk.faces.pages.forms import read_form_number, read_form_text, read_form_whole
from firstsilk.faces.pages.nursery.views import start_room
from firstsilk.faces.pages.papers import give_pdf
from firstsilk.work.accounts import CREW
from firstsilk.work.occasion import Occasion
from firstsilk.work.seed.crates import give_crate_tags, list_crates, note_crated, note_moisture
from firstsilk.work.seed.ear_counts import EarLine, read_ear_book
from firstsilk.work.seed.picking import LEFT_WHYS, note_picked, read_pick_list
from firstsilk.work.station import read_station

SHOWS = (("begun", "harvest begun"), ("missing", "ears missing"), ("odd", "something odd"), ("all", "all rows"))
MOST_TEAMS = 40
SHOWN_FINDINGS = 40


def show_picks(request: HttpRequest, on: Occasion) -> HttpResponse:
    """The rows to pick today; sent, ears scanned by bag or row are noted as picked or left."""
    told = start_room(request, on, "seed")
    season = str(told["season"])
    if request.method == "POST":
        codes = _read_codes(request, "codes")
        count = read_form_whole(request, "ears")
        worker = read_form_text(request, "worker")
        for said in note_picked(on, season, codes, count, read_form_text(request, "left"), worker):
            messages.success(request, f"{said[:1].upper()}{said[1:]}.")
        return redirect(f"{reverse('picks')}?{request.GET.urlencode()}")
    if season:
        team = request.GET.get("team", "").strip()
        told |= {"picks": read_pick_list(on, season, _read_teams(request), team), "team": team}
        told["n_teams"] = request.GET.get("teams", "")
    told |= {"whys": LEFT_WHYS, "can_note": getattr(request.user, "role", "") in CREW}
    return render(request, "seed/picks.html", told)


def print_picks(request: HttpRequest, on: Occasion) -> HttpResponse:
    """The pick list as PDF, of one team if it is named."""
    from firstsilk.faces.paper.harvest import render_pick_list

    team = request.GET.get("team", "").strip()
    picks = read_pick_list(on, request.GET.get("season", ""), _read_teams(request), team)
    return give_pdf(render_pick_list(picks, read_station(on.station).name, team), "pick-list.pdf")


def _read_teams(request: HttpRequest) -> int:
    text = request.GET.get("teams", "").strip()
    if not text:
        return 0
    if not (text.isascii() and text.isdecimal() and 1 <= int(text[:6]) <= MOST_TEAMS):
        raise refuse("teams_wrong", f"{text[:20]!r} teams cannot be planned.", f"Give 1 to {MOST_TEAMS}.")
    return int(text)


def _read_codes(request: HttpRequest, name: str) -> list[str]:
    """Codes as scanned: one a line, or parted by commas; a row and its bag stand on one line with a space."""
    return [one.strip() for one in re.split(r"[\r\n,;]+", read_form_text(request, name)) if one.strip()]


def show_ears(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Ears against pollinations, by row and by bag."""
    told = start_room(request, on, "seed")
    show = request.GET.get("show", "begun")
    if told["season"]:
        book = read_ear_book(on, str(told["season"]))
        counts = [(name, says, sum(1 for one in book.rows if _is_shown(one, name))) for name, says in SHOWS]
        told |= {"book": book, "rows": [one for one in book.rows if _is_shown(one, show)], "shows": counts}
        told |= {"show": show, "findings": book.findings[:SHOWN_FINDINGS]}
        told["more"] = max(0, len(book.findings) - SHOWN_FINDINGS)
    return render(request, "seed/ears.html", told)


def _is_shown(row: EarLine, show: str) -> bool:
    shown = {"begun": row.is_begun, "missing": row.is_begun and row.ears.missing > 0, "odd": bool(row.odd)}
    return shown.get(show, True)


def show_crates(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Crates with what is in them; sent, ears put in or a moisture are noted."""
    told = start_room(request, on, "seed")
    season = str(told["season"])
    if request.method == "POST":
        crate, worker = read_form_text(request, "crate", wanted=True), read_form_text(request, "worker")
        percent, codes = read_form_number(request, "moisture", 0, 100), _read_codes(request, "codes")
        if percent is None and not codes:
            raise refuse("nothing_entered", "Neither ears nor a moisture were entered.", "Enter one of them.")
        said = list(note_crated(on, season, crate, codes, worker)) if codes else []
        said += [note_moisture(on, season, crate, percent, worker)] if percent is not None else []
        for one in said:
            messages.success(request, f"{one[:1].upper()}{one[1:]}.")
        return redirect(f"{reverse('crates')}?{request.GET.urlencode()}")
    if season:
        told["found"] = list_crates(on, season)
    told["can_note"] = getattr(request.user, "role", "") in CREW
    return render(request, "seed/crates.html", told)


def print_crate_tags(request: HttpRequest, on: Occasion) -> HttpResponse:
    """New tags for crates, as PDF; each call gives out new ones."""
    from firstsilk.faces.paper.harvest import render_crate_tags

    codes = give_crate_tags(on, read_form_whole(request, "count", 1) or 0)
    return give_pdf(render_crate_tags(codes, read_station(on.station).name), "crate-tags.pdf")
