"""Which lines are there, what is the history of one, and who is kin to whom?"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from firstsilk.answers import InputRefused
from firstsilk.faces.pages.forms import read_form_number, read_form_text, read_form_whole
from firstsilk.faces.pages.lineage.drawing import draw_ancestors, draw_ancestors_narrow
from firstsilk.faces.pages.lineage.folding import fold, read_page_number, read_part
from firstsilk.faces.pages.marks import number, plus_minus, signed
from firstsilk.science.lineage.members import METHODS
from firstsilk.work.accounts import DECIDERS, DESK
from firstsilk.work.lineage.ancestry import Ancestor
from firstsilk.work.lineage.kin import MOST_LINES, KinshipTable, read_kinship
from firstsilk.work.lineage.line import LinePage, read_line
from firstsilk.work.lineage.lines import list_lines
from firstsilk.work.lineage.marker_looks import CHECKS
from firstsilk.work.lineage.markers import read_line_markers
from firstsilk.work.lineage.newcomers import KINDS, STANDS_FOR, NewLine, add_line
from firstsilk.work.lineage.noted import list_line_notes
from firstsilk.work.lineage.tried import EstimateOf
from firstsilk.work.occasion import Occasion

KIND_CHOICES = (("", "all"), ("line", "lines"), ("hybrid", "hybrids"), ("tester", "testers"), ("check", "checks"))
SHADES = 9
TRAITS = {
    "yield_kg_ha_15_5": ("yield, kg/ha at 15.5 %", 1.0, 0),
    "moisture_pct": ("moisture, %", 1.0, 1),
    "erect_frac": ("plants erect, %", 100.0, 1),
}
"""How a trait is written: its name, the factor to the unit shown, decimals."""
FIELDS = ("name", "kind", "stands_for", "method", "mother", "father", "generation", "pedigree", "group", "remark")
FIELDS += ("derived_from", "derived_plant", "derived_generation")


def show_lines(request: HttpRequest, on: Occasion) -> HttpResponse:
    """The list of lines, searched and filtered; only the list itself where htmx asks for it."""
    asked = {name: request.GET.get(name, "") for name in ("text", "group", "kind")}
    found = list_lines(on, **asked, page=read_page_number(request.GET.get("page", "1")))
    told = {
        "room": "lineage",
        "found": found,
        "asked": asked,
        "query": urlencode({name: value for name, value in asked.items() if value}),
        "kinds": KIND_CHOICES,
        "may_add": getattr(request.user, "role", "") in DESK,
    }
    part = bool(getattr(request, "htmx", False))
    return render(request, "lineage/list.html" if part else "lineage/lines.html", told)


def show_line(request: HttpRequest, on: Occasion, name: str) -> HttpResponse:
    """Everything about one line on one page; a part of it where htmx asks for that."""
    part = read_part(request)
    if part == "notes":
        return render(request, "lineage/line_notes.html", _show_notes(request, on, name))
    told = read_line(on, name)
    shown = {"room": "lineage", "line": told, **_fold_line(request, told)}
    if part:
        return render(request, f"lineage/line_{part}.html", shown)
    role = getattr(request.user, "role", "")
    shown |= _show_notes(request, on, told.facts.name) | {
        **_draw_tree(told.tree),
        "of_siblings": _write_out(told.sibling_estimates),
        "marked": (marked := read_line_markers(on, told.facts.name)),
        "judged": [(one, CHECKS[one.check]) for one in marked.judged],
        "may_name": role in DESK,
        "may_merge": role in DECIDERS,
    }
    return render(request, "lineage/line.html", shown)


def _draw_tree(tree: Ancestor) -> dict[str, object]:
    """The tree for a wide and for a narrow screen, if anything stands behind the line."""
    if tree.female is None and tree.male is None:
        return {}
    return {"picture": draw_ancestors(tree), "narrow_picture": draw_ancestors_narrow(tree)}


def _show_notes(request: HttpRequest, on: Occasion, name: str) -> dict[str, object]:
    notes = list_line_notes(on, name, read_page_number(request.GET.get("notes", "1")))
    return {"notes": notes, "newer": notes.page - 1, "older": notes.page + 1}


def _fold_line(request: HttpRequest, told: LinePage) -> dict[str, object]:
    """The lists of the page as far as they are shown, and the line's own estimates."""
    own = (told.facts.name, *(one.gone for one in told.merged))
    of_hybrids = fold(request, "hybrids", [one for one in told.estimates if one.entry not in own], newest_last=False)
    of_earlier = fold(request, "hybrids", told.earlier_estimates, newest_last=False)
    return {
        "rows": fold(request, "rows", told.rows),
        "trials": fold(request, "trials", told.trials),
        "lots": fold(request, "lots", sorted(told.lots, key=lambda one: one.kernels <= 0), newest_last=False),
        "of_line": _write_out([one for one in told.estimates if one.entry in own]),
        "of_hybrids": replace(of_hybrids, shown=_write_out(of_hybrids.shown)),
        "of_earlier": replace(of_earlier, shown=_write_out(of_earlier.shown)),
        "all_of": request.GET.get("all", ""),
    }


def _write_out(estimates: Sequence[EstimateOf]) -> list[dict[str, object]]:
    """Estimates with their numbers written as their trait wants it."""
    rows: list[dict[str, object]] = []
    for one in estimates:
        name, times, places = TRAITS.get(one.trait, (one.trait.replace("_", " "), 1.0, 3))
        value, error = one.value * times, None if one.se is None else one.se * times
        versus = None if one.versus_checks is None else one.versus_checks * times
        written = {
            "trait": name,
            "value": f"{number(value, places)} {plus_minus(error, places)}".strip(),
            "versus": signed(versus, places),
        }
        rows.append({"one": one, **written})
    return rows


def show_kinship(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Kinship among the lines named in the address; the question alone if none is."""
    names = [name for text in request.GET.getlist("line") for name in re.split(r"[\n,;]+", text) if name.strip()]
    typed = "\n".join(name.strip() for name in names)
    told: dict[str, object] = {"room": "lineage", "typed": typed, "most": MOST_LINES}
    if names:
        try:
            kinship = read_kinship(on, names)
        except InputRefused as no:
            return render(request, "lineage/kinship.html", {**told, "no": no}, status=422)
        told |= {"kinship": kinship, "rows": _shade(kinship)}
    return render(request, "lineage/kinship.html", told)


def _shade(kinship: KinshipTable) -> list[tuple[str, str, float, list[tuple[float, int, bool]]]]:
    """Each row: name, group, inbreeding, and for each cell its value, its shade 0 to 8, and whether it is the line."""
    return [
        (
            name,
            kinship.groups[at],
            kinship.inbreeding[at],
            [
                (value, min(SHADES - 1, int(value * SHADES)), at == other)
                for other, value in enumerate(kinship.coancestry[at])
            ],
        )
        for at, name in enumerate(kinship.names)
    ]


def show_new_line(request: HttpRequest, on: Occasion) -> HttpResponse:
    """The form for a new line; what was wrong stands above what was typed."""
    told: dict[str, object] = {"room": "lineage", "kinds": KINDS, "stands": STANDS_FOR, "methods": METHODS}
    if request.method != "POST":
        return render(request, "lineage/new.html", told | {"typed": {"kind": "line", "method": "self", "selfings": 1}})
    try:
        added = add_line(on, _read_new_line(request))
    except InputRefused as no:
        return render(request, "lineage/new.html", told | {"typed": request.POST, "no": no}, status=422)
    messages.success(request, f"{added.name} is in the books: {added.how}.")
    for finding in added.findings:
        messages.warning(request, finding.as_text())
    return redirect("lineage-line", name=added.name)


def _read_new_line(request: HttpRequest) -> NewLine:
    text = {name: read_form_text(request, name) for name in FIELDS}
    selfings = read_form_whole(request, "selfings", 1, 50)
    return NewLine(
        **text,
        selfings=1 if selfings is None else selfings,
        is_tester="is_tester" in request.POST,
        is_check="is_check" in request.POST,
        units_to_silk=read_form_number(request, "units_to_silk", 0),
        units_to_shed=read_form_number(request, "units_to_shed", 0),
        units_to_black_layer=read_form_number(request, "units_to_black_layer", 0),
    )
