"""Seed at the desk: the lots, one lot, the harvest."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from firstsilk.answers import Finding, InputRefused, refuse
from firstsilk.faces.files.replicates import read_replicates
from firstsilk.faces.files.tables import csv_text, table_from_bytes
from firstsilk.faces.files.year import HARVEST_COLUMNS, read_picked
from firstsilk.faces.pages.forms import read_form_day, read_form_number, read_form_text, read_form_whole
from firstsilk.faces.pages.nursery.views import start_room
from firstsilk.faces.pages.papers import give_pdf
from firstsilk.work.accounts import DESK
from firstsilk.work.occasion import Occasion
from firstsilk.work.seed.from_where import read_from_where
from firstsilk.work.seed.germination_tests import record_germination
from firstsilk.work.seed.harvest import Harvested, Picked, make_lots, record_harvest
from firstsilk.work.seed.harvest_list import HarvestRow, read_harvest
from firstsilk.work.seed.lot_notes import write_lot_note
from firstsilk.work.seed.lots import DESK_REASONS, list_lots, move_seed, read_lot, receive_lot
from firstsilk.work.seed.splits import split_lot

ROOM = {"room": "seed"}
STEPS = (
    ("todo", "not shelled"),
    ("pick", "not picked"),
    ("shell", "picked, not shelled"),
    ("lot", "shelled, in no lot"),
    ("done", "in a lot"),
)
LABELS_AT_ONCE = 5000


def show_lots(request: HttpRequest, on: Occasion) -> HttpResponse:
    """The list of lots with search."""
    text, page = request.GET.get("text", "").strip(), request.GET.get("page", "1")
    in_stock = request.GET.get("in_stock") == "1"
    found = list_lots(on, text, in_stock, int(page) if page.isdecimal() else 1)
    told = {**ROOM, "list": found, "text": text, "in_stock": in_stock, "can_change": _may_change(request)}
    return render(request, "seed/lots.html", told)


def _may_change(request: HttpRequest) -> bool:
    return getattr(request.user, "role", "") in DESK


def show_lot(request: HttpRequest, on: Occasion, tag: str) -> HttpResponse:
    """One lot; sent, kernels are taken out of it, its stock is set by a count, a test is entered or it is split."""
    sent = {"germination": _enter_test, "part": _split, "happened": _key_back}
    if request.method == "POST" and request.POST.get("reason") in sent:
        return sent[request.POST["reason"]](request, on, tag)
    if request.method == "POST":
        kernels = read_form_whole(request, "kernels", 0)
        if kernels is None:
            raise refuse("field_empty", "The field kernels is empty.", "Write how many and send again.")
        page = move_seed(on, tag, kernels, read_form_text(request, "reason"), read_form_text(request, "used_for"))
        messages.success(request, f"Lot {page.stock.name} now holds {page.stock.kernels:,} kernels.")
        return redirect("lot", page.stock.tag)
    page = read_lot(on, tag)
    # A count and a split have forms of their own.
    reasons = [one for one in DESK_REASONS if one not in ("counted", "split")]
    behind = read_from_where(on, page.stock.tag)
    told = {**ROOM, "lot": page, "behind": behind, "reasons": reasons, "can_change": _may_change(request)}
    return render(request, "seed/lot.html", told)


def _enter_test(request: HttpRequest, on: Occasion, tag: str) -> HttpResponse:
    seeds, germinated = read_form_whole(request, "seeds", 1), read_form_whole(request, "germinated")
    each = read_replicates(read_form_text(request, "replicates"))
    if each and seeds is None and germinated is None:
        seeds, germinated = 100 * len(each), sum(each)
    if seeds is None or germinated is None:
        raise refuse("field_empty", "The seeds of the test are not told.", "Write how many, and how many germinated.")
    day, remark = read_form_day(request, "tested_on"), read_form_text(request, "remark")
    found = record_germination(on, tag, seeds, germinated, day, remark, each)
    if found.entered:
        messages.warning(request, found.entered)
    messages.success(request, f"Test of lot {found.name} entered: {germinated:,} of {seeds:,} seeds germinated.")
    return redirect("lot", found.tag)


def _key_back(request: HttpRequest, on: Occasion, tag: str) -> HttpResponse:
    kind, value = read_form_text(request, "kind", wanted=True), read_form_text(request, "value")
    day, worker = read_form_day(request, "taken_on"), read_form_text(request, "worker")
    said, done = write_lot_note(on, kind, tag, value, day, worker)
    messages.success(request, f"Noted: {said}.")
    for finding in done.findings:
        if tag in (one.tag for one in done.unbooked):
            messages.warning(request, f"{finding.message.capitalize()}. {finding.repair}.")
    return redirect("lot", tag)


def _split(request: HttpRequest, on: Occasion, tag: str) -> HttpResponse:
    kernels = read_form_whole(request, "kernels", 1)
    if kernels is None:
        raise refuse("field_empty", "The field kernels is empty.", "Write how many and send again.")
    made = split_lot(
        on, tag, kernels, read_form_text(request, "name", wanted=True), read_form_text(request, "used_for")
    )
    messages.success(request, f"Lot {made.name} is made with {made.kernels:,} kernels.")
    return redirect("lot", made.tag)


def enter_received(request: HttpRequest, on: Occasion) -> HttpResponse:
    """The form for a lot received from outside; sent, the lot is entered."""
    if request.method == "POST":
        percent = read_form_number(request, "germination_percent", 0, 100)
        page = receive_lot(
            on,
            read_form_text(request, "name", wanted=True),
            read_form_text(request, "line", wanted=True),
            read_form_whole(request, "kernels", 1) or 0,
            read_form_text(request, "origin_text", wanted=True),
            None if percent is None else percent / 100,
        )
        messages.success(request, f"Lot {page.stock.name} is entered with {page.stock.kernels:,} kernels.")
        return redirect("lot", page.stock.tag)
    return render(request, "seed/receive.html", ROOM)


def show_harvest(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Rows with ears to pick and kernels to count; sent, ears and kernels are noted."""
    told = start_room(request, on, "seed")
    season = str(told["season"])
    if request.method == "POST":
        done = _record_harvest(request, on, season)
        notes = "1 note" if done.noted == 1 else f"{done.noted} notes"
        messages.success(request, f"{notes} written for season {done.season}.")
        _tell_findings(request, done.findings)
        return redirect(f"{reverse('harvest')}?{request.GET.urlencode()}")
    step = request.GET.get("step", "todo")
    if season:
        found = read_harvest(on, season)
        rows = [one for one in found.rows if _is_at(one, step)]
        counts = [(name, says, sum(1 for one in found.rows if _is_at(one, name))) for name, says in STEPS]
        told |= {"harvest": found, "rows": rows, "step": step, "steps": counts, "unmade": found.count("lot")}
        told["can_change"] = _may_change(request)
    return render(request, "seed/harvest.html", told)


def _is_at(row: HarvestRow, step: str) -> bool:
    return row.step in ("pick", "shell") if step == "todo" else row.step == step


def _record_harvest(request: HttpRequest, on: Occasion, season: str) -> Harvested:
    if "table" in request.FILES:
        file = request.FILES["table"]
        picked, places = read_picked(table_from_bytes(file.read(), file.name or "upload.csv"))
        return record_harvest(on, season, picked, "file", places)
    if "row" in request.POST:
        row = read_form_whole(request, "row", 1)
        if row is None:
            raise refuse("field_empty", "The field row is empty.", "Write the row's number and send again.")
        bag = read_form_text(request, "bag")
        one = Picked(row, read_form_whole(request, "ears"), read_form_whole(request, "kernels"), bag[:16])
        return record_harvest(on, season, [one])
    numbers = sorted(
        {int(name.partition("-")[2]) for name in request.POST if name.partition("-")[2].isdecimal() and "-" in name}
    )
    picked_now = [
        Picked(number, read_form_whole(request, f"ears-{number}"), read_form_whole(request, f"kernels-{number}"))
        for number in numbers
    ]
    filled = [one for one in picked_now if one.ears is not None or one.kernels is not None]
    if not filled:
        raise refuse("nothing_entered", "No ears and no kernels were entered.", "Fill in at least one row.")
    return record_harvest(on, season, filled)


def _tell_findings(request: HttpRequest, findings: tuple[Finding, ...]) -> None:
    for finding in findings[:30]:
        messages.warning(request, f"{finding.message[:1].upper()}{finding.message[1:]}. {finding.repair}.")
    if len(findings) > 30:
        messages.warning(request, f"{len(findings) - 30} more findings are not shown here.")


def make_season_lots(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Make lots of all rows whose kernels are noted."""
    season = request.GET.get("season", "")
    made = make_lots(on, season, "ears_apart" in request.POST)
    kernels, new = sum(one.kernels for one in made.lots), sum(1 for one in made.lots if one.is_new_line)
    lots, lines = len(made.lots), "a new line" if new == 1 else "new lines"
    lots_said = "1 lot" if lots == 1 else f"{lots} lots"
    messages.success(request, f"{lots_said} made with {kernels:,} kernels; {new} of them of {lines}.")
    _tell_findings(request, made.findings)
    return redirect(f"{reverse('harvest')}?season={made.season}&step=done")


def give_blank_harvest(request: HttpRequest, on: Occasion) -> HttpResponse:
    """The rows still to do as a table to fill in."""
    rows = [(one.row.number, None, None, "") for one in read_harvest(on, request.GET.get("season", "")).rows]
    return HttpResponse(
        csv_text(HARVEST_COLUMNS, rows),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": 'attachment; filename="harvest.csv"'},
    )


def print_labels(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Labels of the lots that a search finds, as PDF."""
    from firstsilk.faces.paper.tags import render_lot_labels
    from firstsilk.faces.paper.year import make_lot_labels

    tag = request.GET.get("lot", "")
    text = read_lot(on, tag).stock.tag if tag else request.GET.get("text", "").strip()
    found = list_lots(on, text, only_in_stock=not tag, size=LABELS_AT_ONCE + 1)
    if found.total > LABELS_AT_ONCE:
        raise InputRefused(f"{found.total:,} labels are too many for one print. Search for fewer lots.")
    return give_pdf(render_lot_labels(make_lot_labels(found.lots)), "lot-labels.pdf")
