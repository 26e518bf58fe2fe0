"""How are other names written down at the desk, and two records found to be one line merged?"""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from firstsilk.answers import InputRefused
from firstsilk.faces.pages.forms import read_form_text
from firstsilk.work.accounts import DESK
from firstsilk.work.lineage.merges import compare_records, list_merges, merge_lines, undo_merge
from firstsilk.work.lineage.names import add_line_name, list_line_names
from firstsilk.work.occasion import Occasion

FACTS = (
    ("kind", "Which"),
    ("stands_for", "Stands for"),
    ("how", "How it was made"),
    ("mother", "Mother"),
    ("father", "Father"),
    ("generation", "Generation"),
    ("pedigree", "Written pedigree"),
    ("group", "Group"),
    ("n_lots", "Lots"),
    ("free_kernels", "Free kernels"),
    ("verdict", "Latest verdict"),
    ("remark", "Remark"),
)
"""What is shown of two records side by side."""


def show_names(request: HttpRequest, on: Occasion) -> HttpResponse:
    """All other names, and the form for one more."""
    told: dict[str, object] = {"room": "lineage", "may_add": getattr(request.user, "role", "") in DESK}
    if request.method != "POST":
        return render(request, "lineage/names.html", told | {"found": list_line_names(on), "typed": request.GET})
    line, name = read_form_text(request, "line", wanted=True), read_form_text(request, "name")
    try:
        added = add_line_name(on, line, name, read_form_text(request, "remark"))
    except InputRefused as no:
        more = {"found": list_line_names(on), "typed": request.POST, "no": no}
        return render(request, "lineage/names.html", told | more, status=422)
    messages.success(request, f"{added.name} is another name of {added.line}.")
    return redirect("lineage-line", name=added.line)


def show_merge(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Two records side by side before they are merged; the question alone if none is named; merges so far below."""
    given = request.POST if request.method == "POST" else request.GET
    typed = {name: given.get(name, "").strip() for name in ("kept", "gone", "reason", "undo")}
    told: dict[str, object] = {"room": "lineage", "typed": typed}
    try:
        if request.method == "POST":
            return _change(request, on, typed)
    except InputRefused as no:
        told["no"] = no
    if typed["kept"] and typed["gone"]:
        try:
            sides = compare_records(on, typed["kept"], typed["gone"])
        except InputRefused as no:
            told["no"] = no
        else:
            pairs = [(words, getattr(sides.kept, name), getattr(sides.gone, name)) for name, words in FACTS]
            told |= {"sides": sides, "facts": [pair for pair in pairs if pair[1] or pair[2]]}
    told["found"] = list_merges(on)
    return render(request, "lineage/merge.html", told, status=422 if "no" in told else 200)


def _change(request: HttpRequest, on: Occasion, typed: dict[str, str]) -> HttpResponse:
    if typed["undo"]:
        undone = undo_merge(on, typed["undo"])
        messages.success(request, f"{undone.gone} stands by itself again.")
        return redirect("lineage-line", name=undone.gone)
    done = merge_lines(on, typed["kept"], typed["gone"], typed["reason"])
    messages.success(request, f"{done.merge.gone} is merged into {done.merge.kept}.")
    if done.differences:
        facts = ", ".join(one.as_text() for one in done.differences)
        messages.warning(request, f"They contradict each other in {facts}.")
    return redirect("lineage-line", name=done.merge.kept)
