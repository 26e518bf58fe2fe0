"""The bench of the seed room: scan a lot, weigh it, place it, print its label, next. Keyboard and scanner only."""

from __future__ import annotations

from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from firstsilk.answers import InputRefused
from firstsilk.faces.pages.forms import read_form_number, read_form_text, read_form_whole
from firstsilk.work.occasion import Occasion
from firstsilk.work.seed.bench import BenchLot, BenchWork, do_bench_work, read_bench_lot

ROOM = {"room": "seed", "page": "bench"}
FIELDS = ("net_g", "sample_g", "sample_kernels", "shelf", "box", "slot")
SAMPLE_KERNELS = "100"


def show_bench(request: HttpRequest, on: Occasion) -> HttpResponse:
    """The bench: ready for a scan, with a lot on it, or showing what is about to be booked."""
    if request.method == "POST":
        return _take_entry(request, on)
    asked, last = request.GET.get("lot", "").strip(), request.GET.get("last", "").strip()
    if not asked:
        if "lot" in request.GET and last:
            return redirect(f"{reverse('lot-labels')}?{urlencode({'lot': last})}")
        return _show_ready(request, on, last)
    try:
        lot = read_bench_lot(on, asked)
    except InputRefused as no:
        return _show_ready(request, on, last, f"{no} Scan again.", 422)
    return _show_lot(request, lot, _first_entry(lot))


def _show_ready(request: HttpRequest, on: Occasion, last: str, no: str = "", status: int = 200) -> HttpResponse:
    try:
        before = read_bench_lot(on, last) if last else None
    except InputRefused:
        before = None
    return render(request, "seed/bench.html", {**ROOM, "state": "scan", "last": before, "no": no}, status=status)


def _show_lot(
    request: HttpRequest, lot: BenchLot, entry: dict[str, str], no: str = "", status: int = 200
) -> HttpResponse:
    told = {**ROOM, "state": "lot", "lot": lot, "entry": entry, "no": no}
    return render(request, "seed/bench.html", told, status=status)


def _first_entry(lot: BenchLot) -> dict[str, str]:
    """The fields as they stand when a lot comes on the bench."""
    return dict(zip(FIELDS, ("", "", SAMPLE_KERNELS, lot.shelf, lot.box, lot.slot), strict=True))


def _take_entry(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Weight and place as entered: shown before they are booked, booked when that is confirmed."""
    try:
        lot = read_bench_lot(on, read_form_text(request, "lot"))
    except InputRefused as no:
        return _show_ready(request, on, "", f"{no} Scan again.", 422)
    entry = {name: read_form_text(request, name) for name in FIELDS}
    if read_form_text(request, "step") == "back":
        return _show_lot(request, lot, entry)
    book = read_form_text(request, "step") == "book"
    try:
        done = _do(request, on, lot, entry, book)
    except InputRefused as no:
        return _show_lot(request, lot, entry, str(no), 422)
    if not book:
        told = {**ROOM, "state": "look", "lot": lot, "entry": entry, "work": done}
        return render(request, "seed/bench.html", told)
    _tell_done(request, done)
    return redirect(f"{reverse('seed-bench')}?{urlencode({'last': lot.tag})}")


def _do(request: HttpRequest, on: Occasion, lot: BenchLot, entry: dict[str, str], book: bool) -> BenchWork:
    sample = read_form_number(request, "sample_g", 0)
    place = (entry["shelf"], entry["box"], entry["slot"])
    return do_bench_work(
        on,
        lot.tag,
        read_form_number(request, "net_g", 0),
        () if sample is None else (sample,),
        None if sample is None else read_form_whole(request, "sample_kernels", 1),
        None if place == (lot.shelf, lot.box, lot.slot) else place,
        book,
    )


def _tell_done(request: HttpRequest, done: BenchWork) -> None:
    if done.weighed is not None:
        told = f"Lot {done.name}: before {done.weighed.before:,}, after {done.weighed.after:,} kernels."
        messages.success(request, told)
    if done.placed is not None:
        messages.success(request, f"Lot {done.name} lies in {done.placed.after}.")
        for finding in done.placed.findings:
            messages.warning(request, f"{finding.message}. {finding.repair}.")
