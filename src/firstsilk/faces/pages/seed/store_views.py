"""The seed store at the desk: what to keep, test, regrow or discard, shared slots, promises and giving them up."""

from __future__ import annotations

from dataclasses import fields

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from firstsilk.answers import InputRefused
from firstsilk.faces.pages.forms import read_form_text, read_form_whole
from firstsilk.science.seed.keeping import KeepingRule
from firstsilk.work.accounts import DESK
from firstsilk.work.occasion import Occasion
from firstsilk.work.seed.keeping import list_keeping
from firstsilk.work.seed.lot_notes import list_lot_notes, settle_lot_notes
from firstsilk.work.seed.places import list_box
from firstsilk.work.seed.promises import list_given_up, list_promises, release_row, release_trial, renew_trial

SHOWN = 500
SHOWN_FINDINGS = 20


def show_store(request: HttpRequest, on: Occasion) -> HttpResponse:
    """What to do about which lot, by the numbers in the address; sent, a promise is given up."""
    if request.method == "POST":
        if "book_notes" in request.POST:
            return _book_notes(request, on)
        return _renew(request, on) if "renew" in request.POST else _release(request, on)
    no = ""
    try:
        found = list_keeping(on, _read_rule(request))
    except InputRefused as refused:
        no, found = str(refused), list_keeping(on)
    told = {"room": "seed", "page": "store", "found": found, "lots": found.lots[:SHOWN], "no": no}
    told |= {"shared": list_box(on).findings[:SHOWN], "promises": list_promises(on, only_past=True)}
    told["released"] = list_given_up(on)
    told["notes"] = list_lot_notes(on)
    told["can_change"] = getattr(request.user, "role", "") in DESK
    return render(request, "seed/store.html", told, status=422 if no else 200)


def _read_rule(request: HttpRequest) -> KeepingRule:
    """The rule with the numbers of the address; what is not given or no number stays as it is."""
    given: dict[str, float | int] = {}
    for one in fields(KeepingRule):
        text = request.GET.get(one.name, "").strip().replace(",", ".")
        is_share = one.name.endswith("_frac")
        try:
            if text:
                given[one.name] = float(text) / 100 if is_share else int(text)
        except ValueError:
            continue
    return KeepingRule(**given)  # type: ignore[arg-type]


def _book_notes(request: HttpRequest, on: Occasion) -> HttpResponse:
    done = settle_lot_notes(on)
    messages.success(request, f"{len(done.unbooked)} movements of {done.lots} lots are booked.")
    for finding in done.findings[:SHOWN_FINDINGS]:
        messages.warning(request, f"{finding.message.capitalize()}. {finding.repair}.")
    return redirect("seed-store")


def _renew(request: HttpRequest, on: Occasion) -> HttpResponse:
    trial = read_form_text(request, "renew", wanted=True)
    done = renew_trial(on, trial)
    messages.success(request, f"{done.kernels:,} kernels are promised to trial {trial} again.")
    return redirect("seed-store")


def _release(request: HttpRequest, on: Occasion) -> HttpResponse:
    trial = read_form_text(request, "trial")
    if trial:
        done = release_trial(on, trial)
    else:
        row = read_form_whole(request, "row", 1)
        done = release_row(on, read_form_text(request, "season", wanted=True), row or 0, "given up at the desk")
    messages.success(request, f"{done.kernels:,} kernels are free again.")
    return redirect("seed-store")
