"""The crew at the desk, by code: who is there, hours against what is allowed, and the rules for age bands."""

from __future__ import annotations

from datetime import time
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from firstsilk.answers import refuse
from firstsilk.faces.pages.forms import read_form_day, read_form_number, read_form_text
from firstsilk.faces.pages.nursery.views import start_room
from firstsilk.work.cautions import HEAT, HOURS, UNDER_18
from firstsilk.work.flowering.people import PersonWritten, add_person, change_person, note_hours, read_people
from firstsilk.work.flowering.work_rules import BANDS, EXAMPLES, LAW_DECIDES, TASKS, Rule, set_rule
from firstsilk.work.occasion import Occasion


def show_people(request: HttpRequest, on: Occasion) -> HttpResponse:
    """The crew; sent, a person is added or changed, or a rule is set."""
    told = start_room(request, on, "flowering")
    season = str(told["season"])
    if request.method == "POST":
        write = _set_rule if request.POST.get("rule") else _note_hours if "hours" in request.POST else _write
        messages.success(request, write(request, on))
        asked = {"season": season} | ({"day": request.GET["day"]} if request.GET.get("day") else {})
        return redirect(f"{reverse('people')}?{urlencode(asked)}")
    found = read_people(on, season)
    told |= {"list": found, "bands": BANDS.items(), "tasks": TASKS.items(), "examples": EXAMPLES}
    told |= {"rules": found.rules.values(), "law": LAW_DECIDES, "all_cautions": (HEAT, HOURS, UNDER_18)}
    return render(request, "flowering/people.html", told)


def _write(request: HttpRequest, on: Occasion) -> str:
    person = PersonWritten(
        code=read_form_text(request, "code", wanted=True).upper(),
        age_band=read_form_text(request, "age_band", wanted=True),
        team=read_form_text(request, "team"),
        first_day=read_form_day(request, "first_day"),
        trained_on=read_form_day(request, "trained_on"),
        left_on=read_form_day(request, "left_on"),
    )
    if request.POST.get("known"):
        change_person(on, person)
        return f"{person.code} is changed."
    add_person(on, person)
    return f"{person.code} is on the list."


def _note_hours(request: HttpRequest, on: Occasion) -> str:
    code = read_form_text(request, "code", wanted=True).upper()
    hours = read_form_number(request, "hours", 0, 24)
    if hours is None:
        raise refuse("hours_missing", "No hours are written.", "Write them as 3.5.")
    return f"{code} worked {note_hours(on, code, hours):g} h on {on.today}."


def _set_rule(request: HttpRequest, on: Occasion) -> str:
    rule = set_rule(
        on,
        Rule(
            age_band=read_form_text(request, "rule"),
            barred=tuple(request.POST.getlist("barred")),
            hours_a_day=read_form_number(request, "hours_a_day", 0, 24),
            hours_a_week=read_form_number(request, "hours_a_week", 0, 168),
            earliest=_read_time(request, "earliest"),
            latest=_read_time(request, "latest"),
        ),
    )
    return f"The rule for people {BANDS[rule.age_band]} is set: {rule.says}."


def _read_time(request: HttpRequest, name: str) -> time | None:
    text = read_form_text(request, name)
    try:
        return time.fromisoformat(text) if text else None
    except ValueError:
        raise refuse("not_a_time", f"{text!r} is not a time of day.", "Write it as 06:30.") from None
