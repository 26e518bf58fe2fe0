"""Which markers are in the books, what do they bear out, and how do more come in?"""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import urlencode

from firstsilk.answers import InputRefused, refuse
from firstsilk.faces.files.marker_sheets import MAP_COLUMNS, SHEET_COLUMNS, give_markers, sheet_from_bytes
from firstsilk.faces.files.markers import markers_from_bytes
from firstsilk.faces.files.tables import Table
from firstsilk.faces.pages.forms import read_form_text
from firstsilk.work.accounts import DESK
from firstsilk.work.lineage.bring_markers import bring_markers, set_sample_aside
from firstsilk.work.lineage.marker_looks import CHECKS
from firstsilk.work.lineage.markers import VERDICTS, read_markers
from firstsilk.work.occasion import Occasion

DOUBTFUL = "not borne out"
CHOICES = {DOUBTFUL: VERDICTS[:2], "agrees": VERDICTS[2:], "all": VERDICTS}
"""Which claims are shown, by the word in the address."""
MOST_SHOWN = 300
"""Claims and samples on one page; more are counted, and the command gives them all."""


def show_markers(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Samples and claims of one panel; sent, more markers come in or a sample is set aside."""
    panel = request.POST.get("panel", request.GET.get("panel", "")).strip()
    told: dict[str, object] = {}
    if request.method == "POST":
        try:
            return _change(request, on, panel)
        except InputRefused as no:
            told = {"no": no, "typed": request.POST}
            panel = ""
    verdict = request.GET.get("verdict", DOUBTFUL)
    page = read_markers(on, panel)
    chosen = [one for one in page.judged if one.verdict in CHOICES.get(verdict, VERDICTS)]
    told |= {
        "room": "lineage",
        "page": page,
        "counts": [(word, page.count(word)) for word in VERDICTS],
        "verdict": verdict,
        "choices": CHOICES,
        "judged": [(one, CHECKS[one.check]) for one in chosen[:MOST_SHOWN]],
        "n_judged": len(chosen),
        "samples": page.samples[:MOST_SHOWN],
        "may_bring": getattr(request.user, "role", "") in DESK,
        "sheet_columns": ", ".join(SHEET_COLUMNS),
        "map_columns": ", ".join(MAP_COLUMNS),
    }
    return render(request, "lineage/markers.html", told, status=422 if "no" in told else 200)


def _change(request: HttpRequest, on: Occasion, panel: str) -> HttpResponse:
    if request.POST.get("do") == "aside":
        sample = read_form_text(request, "sample", wanted=True)
        line = set_sample_aside(on, panel, sample, read_form_text(request, "reason"))
        messages.success(request, f"Sample {sample} of {line} counts no longer.")
    else:
        file = request.FILES.get("markers")
        if file is None:
            raise refuse("no_files", "No file of markers was sent.", "Choose one.")
        read = markers_from_bytes(file.read(), file.name or "markers")
        done = bring_markers(
            on, panel, give_markers(read, _read_beside(request, "sheet"), _read_beside(request, "map"))
        )
        for sentence in done.told:
            messages.warning(request, sentence)
        there = f", {done.n_same} were there already" if done.n_same else ""
        messages.success(request, f"Panel {done.panel}: {done.n_new} samples are new{there}.")
        panel = done.panel
    return redirect(f"{reverse('lineage-markers')}?{urlencode({'panel': panel})}")


def _read_beside(request: HttpRequest, name: str) -> Table | None:
    file = request.FILES.get(name)
    return sheet_from_bytes(file.read(), file.name or name) if file is not None else None
