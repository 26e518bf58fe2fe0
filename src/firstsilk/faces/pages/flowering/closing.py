"""How does the crew leader close a day, and settle what waits for a person?"""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from firstsilk.faces.pages.flowering.views import DETAILS, NOT_ASKED
from firstsilk.faces.pages.forms import read_form_day, read_form_text, read_form_whole
from firstsilk.science.flowering.notes import KINDS
from firstsilk.work.flowering.day_close import close_day, list_closed_days, read_day_standing
from firstsilk.work.flowering.desk_notes import make_row_draft
from firstsilk.work.flowering.settling import keep_correction, read_to_settle, settle_as_note, settle_as_nothing
from firstsilk.work.occasion import Occasion


def show_day_close(request: HttpRequest, on: Occasion) -> HttpResponse:
    """What came of the day, phone by phone; sent, the day is closed."""
    if request.method == "POST":
        closed = close_day(on, read_form_text(request, "reason"))
        messages.success(
            request,
            f"{closed.day.day} {closed.day:%B} is closed at note {closed.head_position:,}. "
            "Print the day sheet: it carries the signs of that note.",
        )
        return redirect(f"{reverse('day-close')}?day={on.today}")
    told = {"room": "flowering", "on": on, "standing": read_day_standing(on), "closed_days": list_closed_days(on)}
    return render(request, "flowering/day_close.html", told)


def show_to_settle(request: HttpRequest, on: Occasion) -> HttpResponse:
    """What was laid aside, and notes corrected twice; sent, one of them is settled."""
    if request.method == "POST":
        messages.success(request, _settle(request, on))
        return redirect("settle")
    told = {"room": "flowering", "on": on, "list": read_to_settle(on), "details": DETAILS}
    told["kinds"] = [(name, kind.says) for name, kind in KINDS.items() if name not in NOT_ASKED]
    return render(request, "flowering/settle.html", told)


def _settle(request: HttpRequest, on: Occasion) -> str:
    if "keep" in request.POST:
        gone = keep_correction(on, read_form_text(request, "keep", wanted=True))
        return f"Kept. {len(gone)} other correction{'s are' if len(gone) > 1 else ' is'} taken back by a note."
    number = read_form_whole(request, "aside", 1, 2**53) or 0
    if "nothing" in request.POST:
        settle_as_nothing(on, number, read_form_text(request, "reason", wanted=True))
        return "Settled: nothing became of it. What came stays in the books."
    kind = read_form_text(request, "kind", wanted=True)
    known = KINDS.get(kind)
    draft, told = make_row_draft(
        on,
        "",
        kind,
        read_form_text(request, "row", wanted=True),
        read_form_text(request, "value"),
        read_form_text(request, "detail") if known is not None and known.details else "",
        read_form_text(request, "male"),
        read_form_text(request, "bag"),
        read_form_day(request, "taken_on"),
        read_form_text(request, "worker"),
        read_form_text(request, "doubt"),
    )
    settle_as_note(on, number, draft)
    return f"Settled. Noted: {told}."
