"""The shelling bench: scan a crate, an ear's bag or a row; count or weigh; the lot is made, its label printed, next."""

from __future__ import annotations

from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from firstsilk.answers import InputRefused
from firstsilk.faces.pages.forms import read_form_number, read_form_text, read_form_whole
from firstsilk.work.occasion import Occasion
from firstsilk.work.seed.bench import BenchLot, read_bench_lot
from firstsilk.work.seed.scan_notes import find_crate_tag
from firstsilk.work.seed.season_notes import print_code
from firstsilk.work.seed.shelling import (
    BLANK,
    CAUTION,
    ShellBench,
    Shelled,
    read_shelling,
    shell_ears,
    undo_shelling,
)

ROOM = {"room": "seed", "page": "shelling", "blank": BLANK, "caution": CAUTION}
FIELDS = ("kernels", "net_g", "sample_g", "sample_kernels")
FIRST_ENTRY = ("", "", "", "100")
JOINED = ","


def show_shelling(request: HttpRequest, on: Occasion) -> HttpResponse:
    """The bench: ready for a scan, with ears on it, or showing the lot that they become."""
    if request.method == "POST":
        return _undo(request, on) if "undo" in request.POST else _take_entry(request, on)
    asked = request.GET.get("lot", "").strip()
    told = _read_asked(request)
    if not asked:
        if "lot" in request.GET and told["last"]:
            return redirect(f"{reverse('lot-labels')}?{urlencode({'lot': told['last']})}")
        return _show_ready(request, on, told)
    crate = find_crate_tag(on, asked)
    if crate:
        return redirect(_address({**told, "crate": crate, "ears": ""}))
    # A scan after a plus is one more ear of the same lot; else it is the next ear, and what lay there is put back.
    codes = [*told["ears"].split(JOINED), asked] if told["ears"] and request.GET.get("more") else [asked]
    try:
        bench = read_shelling(on, told["season"], codes, told["crate"])
    except InputRefused as no:
        if len(codes) > 1:
            there = read_shelling(on, told["season"], codes[:-1], told["crate"])
            return _show_ears(request, told, there, dict(zip(FIELDS, FIRST_ENTRY, strict=True)), str(no), 422)
        return _show_ready(request, on, told, f"{no} Scan again.", 422)
    return _show_ears(request, told, bench, dict(zip(FIELDS, FIRST_ENTRY, strict=True)))


def _read_asked(request: HttpRequest) -> dict[str, str]:
    """Season, crate, ears on the bench and the last lot, from the address or the form."""
    given = request.POST if request.method == "POST" else request.GET
    return {name: given.get(name, "").strip() for name in ("season", "crate", "ears", "last")}


def _keep(told: dict[str, str]) -> dict[str, str]:
    """What goes from page to page, whatever lies on the bench."""
    return {name: told[name] for name in ("season", "crate", "last") if told[name]}


def _address(told: dict[str, str]) -> str:
    kept = {name: value for name, value in told.items() if value}
    return reverse("shelling") + (f"?{urlencode(kept)}" if kept else "")


def _show_ready(
    request: HttpRequest, on: Occasion, told: dict[str, str], no: str = "", status: int = 200
) -> HttpResponse:
    bench = read_shelling(on, told["season"], (), told["crate"])
    context = {
        **ROOM,
        "kept": _keep(told),
        "state": "scan",
        "bench": bench,
        "before": _read_last(on, told["last"]),
        "no": no,
    }
    return render(request, "seed/shelling.html", context, status=status)


def _read_last(on: Occasion, tag: str) -> BenchLot | None:
    try:
        return read_bench_lot(on, tag) if tag else None
    except InputRefused:
        return None


def _show_ears(
    request: HttpRequest,
    told: dict[str, str],
    bench: ShellBench,
    entry: dict[str, str],
    no: str = "",
    status: int = 200,
) -> HttpResponse:
    ears = JOINED.join(one.code for one in bench.ears)
    context = {**ROOM, "kept": _keep(told), "ears": ears, "state": "ears", "bench": bench, "entry": entry, "no": no}
    context["back"] = _address({**told, "ears": ""})
    return render(request, "seed/shelling.html", context, status=status)


def _take_entry(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Kernels as entered: the lot is shown before it is made, made when that is confirmed."""
    told = _read_asked(request)
    codes = [code for code in told["ears"].split(JOINED) if code]
    entry = {name: read_form_text(request, name) for name in FIELDS}
    try:
        bench = read_shelling(on, told["season"], codes, told["crate"])
    except InputRefused as no:
        return _show_ready(request, on, told, f"{no} Scan again.", 422)
    step = read_form_text(request, "step")
    if step == "back" or not codes:
        return _show_ears(request, told, bench, entry) if codes else _show_ready(request, on, told)
    try:
        done = _shell(request, on, told["season"], codes, book=step == "book")
    except InputRefused as no:
        return _show_ears(request, told, bench, entry, str(no), 422)
    if step != "book":
        context = {**ROOM, "kept": _keep(told), "ears": told["ears"], "state": "look", "bench": bench}
        context |= {"entry": entry, "done": done}
        return render(request, "seed/shelling.html", context)
    _tell_done(request, done)
    return redirect(_address({**told, "ears": "", "last": done.tag or told["last"]}))


def _shell(request: HttpRequest, on: Occasion, season: str, codes: list[str], book: bool) -> Shelled:
    sample = read_form_number(request, "sample_g", 0)
    return shell_ears(
        on,
        season,
        codes,
        read_form_whole(request, "kernels", 1),
        read_form_number(request, "net_g", 0),
        () if sample is None else (sample,),
        None if sample is None else read_form_whole(request, "sample_kernels", 1),
        book=book,
    )


def _tell_done(request: HttpRequest, done: Shelled) -> None:
    if done.tag:
        now = done.before + done.kernels
        told = f"Lot {done.name} of {done.line}: {done.kernels:,} kernels in, {now:,} from the field in all."
        messages.success(request, told)
    else:
        messages.success(request, f"{done.kernels:,} kernels are noted; they are in no lot yet.")
    for finding in done.findings:
        messages.warning(request, f"{finding.message[:1].upper()}{finding.message[1:]}. {finding.repair}.")


def _undo(request: HttpRequest, on: Occasion) -> HttpResponse:
    told = _read_asked(request)
    lot = read_form_text(request, "undo", wanted=True)
    try:
        kernels = undo_shelling(on, lot, read_form_text(request, "why"))
    except InputRefused as no:
        return _show_ready(request, on, told, str(no), 422)
    messages.success(
        request, f"{kernels:,} kernels of lot {_name(on, lot)} are taken back; its ears can be shelled again."
    )
    return redirect(_address({**told, "ears": "", "last": ""}))


def _name(on: Occasion, tag: str) -> str:
    lot = _read_last(on, tag)
    return lot.name if lot else print_code(tag)
