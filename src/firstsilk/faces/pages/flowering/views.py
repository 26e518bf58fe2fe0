"""Flowering at the desk: today's list, one row, the notes."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from firstsilk.faces.pages.forms import read_form_day, read_form_text
from firstsilk.faces.pages.marks import day as mark_day
from firstsilk.faces.pages.nursery.views import start_room
from firstsilk.faces.pages.papers import give_pdf
from firstsilk.science.flowering.notes import KINDS
from firstsilk.work.accounts import CREW
from firstsilk.work.cautions import CAUTIONS_SHORT
from firstsilk.work.flowering.chain import verify_chain
from firstsilk.work.flowering.day import DayList, read_day_list
from firstsilk.work.flowering.desk_notes import write_row_note
from firstsilk.work.flowering.forecast import RowForecast
from firstsilk.work.flowering.note_list import SHOWN, read_note_list
from firstsilk.work.flowering.notes import take_back
from firstsilk.work.flowering.pollen_window import read_pollen_windows
from firstsilk.work.flowering.row_page import find_row, read_findings, read_row_page
from firstsilk.work.occasion import Occasion

HEADINGS = (
    ("pollinate", "Pollinate this morning", "ears"),
    ("take_down", "Take tassel bags down", "bags"),
    ("tassel_bag", "Bag tassels this afternoon", "bags"),
    ("shoot_bag", "Shoot bags", "bags"),
    ("look", "Look for silk and shed", ""),
    ("sow", "Sow", ""),
    ("pick", "Pick", "ears"),
)
"""Kinds of task in the order of a day, as headings, and what is counted in each."""
NOT_ASKED = ("withdrawn",)
DETAILS = tuple((name, kind.details) for name, kind in KINDS.items() if kind.details)


def show_flowering(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Today's list by kind of task in walking order, and how far each target is."""
    told = start_room(request, on, "flowering")
    season = str(told["season"])
    if season and told["this"].rows:  # type: ignore[attr-defined]
        day = read_day_list(on, season, by_forecast=True)
        told |= {"day": day, "groups": _group_tasks(day), "cautions": _cautions(day)}
        if day.count("pollinate"):
            told["hours"] = read_pollen_windows(on, season).sentences[0]
        told |= {"standing": _count_standing(day), "kinds": _kinds(), "details": DETAILS}
    return render(request, "flowering/flowering.html", told)


def _group_tasks(day: DayList) -> list[dict[str, object]]:
    groups = []
    told = {} if day.forecast is None else {row.number: row for row in day.forecast.rows}
    for do, heading, counted in HEADINGS:
        with_span = do == "look" and bool(told)
        tasks = [
            (task, day.rows[task.number], _say_spans(told.get(task.number)) if with_span else "")
            for task in day.tasks
            if task.do == do
        ]
        if tasks:
            total = sum(task.count for task, _, _ in tasks) if counted else 0
            groups.append(
                {"do": do, "heading": heading, "counted": counted, "tasks": tasks, "total": total, "spans": with_span}
            )
    return groups


def _say_spans(row: RowForecast | None) -> str:
    """The days that hold 80 % of the forecast of what is not noted yet: silk for ears, shed for pollen."""
    if row is None:
        return ""
    waited = (
        ("silk", row.silk, row.silk_on is None and row.purpose in ("self", "female")),
        ("shed", row.shed, row.shed_on is None and row.purpose in ("self", "male")),
    )
    return "; ".join(
        f"{name} {mark_day(span[0])} to {mark_day(span[2])}" for name, span, waits in waited if waits and span
    )


def _cautions(day: DayList) -> tuple[str, ...]:
    return CAUTIONS_SHORT if any(task.do != "sow" for task in day.tasks) else ()


def _count_standing(day: DayList) -> dict[str, int]:
    return {
        name: sum(1 for one in day.progress if one.standing == name) for name in ("enough", "more", "none", "short")
    }


def _kinds() -> list[tuple[str, str]]:
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
    told = {"room": "flowering", "page": page, "row": page.row, "on": on, "kinds": _kinds(), "details": DETAILS}
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


def print_day_sheet(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Today's list as PDF."""
    from firstsilk.faces.paper.lists import render_day_sheet
    from firstsilk.faces.paper.year import make_day_sheet

    day = read_day_list(on, request.GET.get("season", ""), by_forecast=True)
    return give_pdf(render_day_sheet(make_day_sheet(on, day, on.who)), f"day-sheet-{on.today}.pdf")
