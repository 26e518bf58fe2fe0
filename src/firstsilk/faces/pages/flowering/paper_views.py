"""How do the day's sheets leave for the field, and how are they keyed back, compared and settled at the desk?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from firstsilk.answers import InputRefused, refuse
from firstsilk.faces.pages.forms import read_form_text, read_form_whole
from firstsilk.faces.pages.papers import give_pdf
from firstsilk.science.flowering.paper_boxes import BAG_TYPES, BOXES, Difference, Line, list_boxes
from firstsilk.science.seed.tags import print_tag
from firstsilk.work.flowering.day import read_day_list
from firstsilk.work.flowering.keying import (
    LineToKey,
    SheetToKey,
    check_keyer,
    list_sheets,
    read_sheet,
    save_lines,
)
from firstsilk.work.flowering.settle_sheets import Settling, drop_sheet, read_settling, settle_sheet
from firstsilk.work.flowering.sheet_look_up import look_up_bag, look_up_row
from firstsilk.work.flowering.teams import list_team_names
from firstsilk.work.occasion import Occasion

LANGUAGES = (("en", "English"), ("fr", "Français"), ("es", "Español"))
HEADINGS = {
    "silk": "Silk",
    "shed": "Shed",
    "shoot_bagged": "Shoot bags",
    "tassel_bagged": "Tassel bags",
    "tassel_unbagged": "Taken down",
    "type": "Type",
    "pollinated": "Pollinated",
    "ears_picked": "Picked",
    "silk_exposed": "Silk was showing",
    "bag_lost": "Bag is gone",
    "wrong_male": "Wrong pollen",
    "wet_pollen": "Wet pollen",
    "plant_broken": "Plant broken",
    "other": "Something else",
}
"""Boxes as the English sheets name them."""
NAMES = {"tally": "Tally card", "walk": "Walk sheet", "bag": "Bag sheet"}


@dataclass(frozen=True, slots=True)
class Cell:
    """One box to be typed into."""

    name: str
    key: str
    heading: str
    value: str
    most: int


def show_paper(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Sheets to print, and those printed: which wait to be keyed or settled. A code leads to its sheet.

    Sent, one is written down as never used.
    """
    if request.method == "POST":
        dropped = read_form_text(request, "drop", wanted=True)
        drop_sheet(on, dropped)
        messages.success(request, f"Sheet {print_tag(dropped)} was not used: it waits no longer.")
        return redirect("paper")
    asked = request.GET.get("sheet", "").strip()
    if asked:
        sheet = read_sheet(on, asked)
        entry = "?entry=2" if request.GET.get("entry") == "2" else ""
        return redirect(reverse("paper-key", args=[sheet.standing.code]) + entry)
    told = {"room": "flowering", "on": on, "sheets": list_sheets(on), "names": NAMES}
    told |= {"languages": LANGUAGES, "teams": list_team_names(on)}
    return render(request, "flowering/paper.html", told)


def print_paper(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Print sheets or bag tags under new codes."""
    from firstsilk.faces.paper.field import print_bag_tags, print_empty_bag_sheets, print_field_sheets

    language = read_form_text(request, "language") or "en"
    kind = read_form_text(request, "kind", wanted=True)
    if kind == "bags":
        count = read_form_whole(request, "count", 1)
        if count is None:
            raise refuse("field_empty", "How many bags get a code is not said.", "Write a number.")
        return give_pdf(print_bag_tags(on, count, language), f"bag-tags-{on.today}.pdf")
    workers = read_form_text(request, "workers").replace(",", " ").split()
    if kind == "bag":
        count = read_form_whole(request, "count", 1) or 1
        made = print_empty_bag_sheets(on, request.GET.get("season", ""), count, workers, language)
        return give_pdf(made.pdf, f"bag-sheets-{on.today}.pdf")
    if kind not in BOXES:
        raise refuse("sheet_kind_unknown", f"There is no sheet {kind!r}.", "Choose tally cards or walk sheets.")
    day = read_day_list(on, request.GET.get("season", ""), by_forecast=True)
    done = print_field_sheets(on, day, kind, workers, 0, read_form_text(request, "team"), language)
    if done.left:
        messages.warning(request, f"{done.left} tasks stand on no sheet printed last: nobody named may do them.")
    return give_pdf(done.pdf, f"{NAMES[kind].lower().replace(' ', '-')}s-{on.today}.pdf")


def find_paper_row(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Which row or bag was written by hand, for the keying page; a mistyped code is told its sign."""
    try:
        if "bag" in request.GET:
            return JsonResponse({"bag": print_tag(look_up_bag(on, request.GET["bag"]))})
        row = look_up_row(on, request.GET.get("sheet", ""), request.GET.get("row", ""))
    except InputRefused as refused:
        return JsonResponse({"no": str(refused)}, status=422)
    return JsonResponse({"number": row.number, "line": row.line, "most": dict(row.limits)})


def key_paper(request: HttpRequest, on: Occasion, sheet: str) -> HttpResponse:
    """One sheet in its printed order; sent, its lines are kept: all by the form, one by one as somebody types."""
    entry = 2 if request.GET.get("entry") == "2" else 1
    found = read_sheet(on, sheet, entry)
    if request.method == "POST":
        return _save(request, on, found)
    if found.standing.settled:
        return redirect("paper-settle", found.standing.code)
    check_keyer(on, sheet, entry)
    lines = [(line, _tell_cells(found.standing.kind, line)) for line in found.lines]
    boxes = list_boxes(found.standing.kind)
    told = {"room": "flowering", "on": on, "sheet": found, "entry": entry, "lines": lines}
    told |= {"heads": [(HEADINGS[box.key], box.kind == "spoiled") for box in boxes], "name": NAMES[found.standing.kind]}
    told |= {"n_lost": sum(box.kind == "spoiled" for box in boxes), "looks": any(box.seen for box in boxes)}
    told |= {"types": list(enumerate(BAG_TYPES, 1)), "morning": found.standing.day + timedelta(days=1)}
    return render(request, "flowering/paper_key.html", told)


def _tell_cells(kind: str, line: LineToKey) -> list[Cell]:
    values = dict(line.keyed.values) if line.keyed is not None else {}
    return [
        Cell(f"l-{line.at}-{box.key}", box.key, HEADINGS[box.key], str(values.get(box.key, "")), line.limits[box.key])
        for box in list_boxes(kind)
    ]


def _save(request: HttpRequest, on: Occasion, found: SheetToKey) -> HttpResponse:
    by_script = bool(request.headers.get("X-Keying"))
    try:
        lines = _read_lines(request, found)
        worker = read_form_text(request, "worker") if "worker" in request.POST else None
        saved = save_lines(on, found.standing.code, found.entry, lines, worker)
    except InputRefused as refused:
        if by_script:
            return JsonResponse({"no": str(refused)}, status=422)
        raise
    if by_script:
        return JsonResponse({"saved": saved})
    messages.success(request, f"{len(lines)} line{'' if len(lines) == 1 else 's'} kept.")
    if "settle" in request.POST:
        return redirect("paper-settle", found.standing.code)
    return redirect(reverse("paper-key", args=[found.standing.code]) + ("?entry=2" if found.entry == 2 else ""))


def _read_lines(request: HttpRequest, found: SheetToKey) -> dict[int, Line]:
    """The lines in a form that hold something, or held something before."""
    lines = {}
    for line in found.lines:
        prefix = f"l-{line.at}-"
        if not any(name.startswith(prefix) for name in request.POST):
            continue
        values = []
        for box in list_boxes(found.standing.kind):
            text = read_form_text(request, f"{prefix}{box.key}")
            if text and not (text.isdecimal() and len(text) < 6):
                where = f"line {line.at + 1}, {HEADINGS[box.key].lower()}"
                raise refuse("not_a_number", f"{where}: {text[:20]!r} is no count.", "Write a whole number.")
            if text:
                values.append((box.key, int(text)))
        row, male = read_form_text(request, f"{prefix}row"), read_form_text(request, f"{prefix}male")
        bag = read_form_text(request, f"{prefix}bag")
        if values or row or male or bag or line.keyed is not None or request.headers.get("X-Keying"):
            lines[line.at] = Line(row, male, tuple(values), bag)
    return lines


def settle_paper(request: HttpRequest, on: Occasion, sheet: str) -> HttpResponse:
    """What two keyings say differently, and what is unusual; sent, the notes of the sheet are made, once."""
    if request.method == "POST":
        made = settle_sheet(on, sheet, _read_choices(request), read_form_text(request, "worker"))
        told = f"{made} note{'' if made == 1 else 's'} made of sheet {print_tag(sheet)}."
        messages.success(request, told if made else "The sheet was settled before; nothing was added.")
        return redirect("paper")
    found = read_settling(on, sheet)
    told_page = {"room": "flowering", "on": on, "settling": found, "name": NAMES[found.kind]}
    told_page["differ"] = [_tell_difference(found, one) for one in found.differences]
    return render(request, "flowering/paper_settle.html", told_page)


def _tell_difference(found: Settling, one: Difference) -> dict[str, object]:
    """A cell in which two keyings differ, in words: rows by their number."""

    def say(text: str) -> str:
        return f"row {found.numbers[text]}" if text in found.numbers else text or "nothing"

    return {
        "at": one.at,
        "key": one.key,
        "line": one.at + 1,
        "number": found.numbers.get(found.rows.get(one.at, ""), ""),
        "heading": {"tag": "Row", "male": "Male", "bag": "Bag"}.get(one.key) or HEADINGS[one.key],
        "first": one.first,
        "second": one.second,
        "first_said": say(one.first),
        "second_said": say(one.second),
    }


def _read_choices(request: HttpRequest) -> dict[tuple[int, str], str]:
    """What holds in each cell that differed: the first or second keying's text, or another."""
    chosen = {}
    for name in request.POST:
        if not name.startswith("c-"):
            continue
        _, at, key = name.split("-", 2)
        held = read_form_text(request, name)
        if at.isdecimal() and held in ("first", "second", "other"):
            chosen[int(at), key] = read_form_text(request, f"{held}-{at}-{key}")
    return chosen
