"""Flowering at the desk: one row, the notes."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from firstsilk.faces.pages.forms import read_form_day, read_form_text
from firstsilk.faces.pages.nursery.views import start_room
from firstsilk.science.flowering.notes import KINDS
from firstsilk.work.accounts import CREW
from firstsilk.work.flowering.chain import verify_chain
from firstsilk.work.flowering.desk_notes import write_row_note
from firstsilk.work.flowering.note_list import SHOWN, read_note_list
from firstsilk.work.flowering.notes import take_back
from firstsilk.work.flowering.row_page import find_row, read_findings, read_row_page
from firstsilk.work.occasion import Occasion

NOT_ASKED = ("withdrawn",)
DETAILS = tuple((name, kind.details) for name, kind in KINDS.items() if kind.details)


def list_kinds() -> list[tuple[str, str]]:
    return [(name, kind.says) for name, kind in KINDS.items() if name not in NOT_ASKED]


def find_row_page(request: HttpRequest, on: Occasion) -> HttpResponse:
    """From a row's number or tag to its page."""
    _, tag = find_row(on, request.GET.get("row", "").strip(), request.GET.get("season", ""))
    return redirect("row", tag)


def show_row(request: HttpRequest, on: Occasion, tag: str) -> HttpResponse:
    """One row with all its notes; sent, a note about it is written or taken back."""
    if request.method == "POST":
        return _change_row(request, on, tag)
    page = read_row_page(on, tag)
    told = {"room": "flowering", "page": page, "row": page.row, "on": on, "kinds": list_kinds(), "details": DETAILS}
    return render(request, "flowering/row.html", {**told, "can_write": request.user.role in CREW})  # type: ignore[union-attr]


def _change_row(request: HttpRequest, on: Occasion, tag: str) -> HttpResponse:
    if "take_back" in request.POST:
        why = read_form_text(request, "why", wanted=True)
        take_back(on, read_form_text(request, "take_back", wanted=True), why)
        messages.success(request, f"The note is taken back: {why}. It stays in the books.")
    else:
        season, found = find_row(on, tag)
        messages.success(request, f"Noted: {_write_note(request, on, season, found)}.")
    return redirect("row", tag)


def write_note(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Write a note about any row, as from a paper sheet, and come back for the next one."""
    season = request.GET.get("season", "")
    noted = _write_note(request, on, season, read_form_text(request, "row", wanted=True))
    messages.success(request, f"Noted: {noted}.")
    return redirect(f"{reverse('flowering')}?season={season}#write" if season else f"{reverse('flowering')}#write")


def _write_note(request: HttpRequest, on: Occasion, season: str, row: str) -> str:
    kind = read_form_text(request, "kind", wanted=True)
    known = KINDS.get(kind)
    return write_row_note(
        on,
        season,
        kind,
        row,
        read_form_text(request, "value"),
        read_form_text(request, "detail") if known is not None and known.details else "",
        read_form_text(request, "male"),
        read_form_text(request, "bag"),
        read_form_day(request, "taken_on"),
        read_form_text(request, "worker"),
        read_form_text(request, "doubt"),
        "paper" if request.POST.get("from_paper") else "desk",
    )


def show_notes(request: HttpRequest, on: Occasion) -> HttpResponse:
    """The newest notes, those in doubt, those that do not fit together, those laid aside, and the chain."""
    told = start_room(request, on, "flowering")
    show = request.GET.get("show", "all")
    before = request.GET.get("before", "")
    show = show if show in SHOWN else "all"
    told |= {"list": read_note_list(on, show, int(before) if before.isdecimal() else None), "show": show}
    if told["season"] and not before:
        told["odd"] = read_findings(on, str(told["season"]))
    if request.GET.get("verify"):
        told["chain"] = verify_chain(on, request.GET.get("anchor", "").strip())
    return render(request, "flowering/notes.html", told)
