"""Which trials are there, how do they lie, what goes into them and what comes out?"""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from firstsilk.answers import refuse
from firstsilk.faces.files.plots import BLANK_COLUMNS, read_plot_readings
from firstsilk.faces.files.tables import csv_text, table_from_bytes
from firstsilk.faces.pages.forms import read_form_number, read_form_text, read_form_whole
from firstsilk.faces.pages.papers import give_pdf
from firstsilk.faces.pages.trials.field_map import draw_map
from firstsilk.work.occasion import Occasion, stay_silent
from firstsilk.work.trials.lay_out import design_trial
from firstsilk.work.trials.packets import list_packets, pack_trial
from firstsilk.work.trials.plot_data import record_plot_data
from firstsilk.work.trials.reading import list_trials, read_trial
from firstsilk.work.trials.sowable import list_sowable
from firstsilk.work.trials.testcrosses import propose_testcrosses

ROOM = {"room": "trials"}


def show_trials(request: HttpRequest, on: Occasion) -> HttpResponse:
    """All trials, the newest year first."""
    return render(request, "trials/list.html", {**ROOM, "list": list_trials(on)})


def show_trial(request: HttpRequest, on: Occasion, name: str) -> HttpResponse:
    """One trial: map, entries, plots, and the form for its data."""
    trial = read_trial(on, name)
    return render(request, "trials/trial.html", {**ROOM, "trial": trial, "map": draw_map(trial.plots)})


def show_testcrosses(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Which lines should meet which tester."""
    year = request.GET.get("year", "")
    found = propose_testcrosses(on, int(year) if year.isdecimal() and len(year) == 4 else on.today.year + 1)
    return render(request, "trials/testcrosses.html", {**ROOM, "found": found})


def show_new_trial(request: HttpRequest, on: Occasion) -> HttpResponse:
    """The form for a new trial; sent, it lays the trial out and reserves its seed."""
    if request.method == "POST":
        made = _lay_out(request, on)
        messages.success(request, f"Trial {made} is laid out and its seed is reserved.")
        return redirect("trial", name=made)
    sowable = list_sowable(on)
    return render(request, "trials/new.html", {**ROOM, "sowable": sowable, "year": on.today.year + 1})


def _lay_out(request: HttpRequest, on: Occasion) -> str:
    entries = [name for name in request.POST.getlist("entry") if name]
    entries += [line.strip() for line in read_form_text(request, "more_entries").splitlines() if line.strip()]
    trial = design_trial(
        on,
        read_form_text(request, "name", wanted=True),
        read_form_text(request, "series"),
        read_form_text(request, "site", wanted=True),
        read_form_whole(request, "year", 1900, 2200) or on.today.year + 1,
        entries,
        request.POST.getlist("check"),
        read_form_whole(request, "replicates", 1, 20) or 1,
        read_form_number(request, "plot_area_m2", 0.1, 10_000) or 8.0,
        read_form_whole(request, "kernels_per_plot", 1, 100_000) or 1,
        read_form_whole(request, "seed", 0) or 1,
        stay_silent,
        read_form_whole(request, "plots_in_a_field_row", 1, 10_000),
    )
    return trial.name


def show_packets(request: HttpRequest, on: Occasion, name: str) -> HttpResponse:
    """The packets of a trial in planting order; sent, they are booked as filled."""
    if request.method == "POST":
        done = pack_trial(on, name)
        messages.success(request, f"{done.packed_kernels:,} kernels are booked out of their lots for {name}.")
        return redirect("packets", name=name)
    return render(request, "trials/packets.html", {**ROOM, "list": list_packets(on, name)})


def give_packets(request: HttpRequest, on: Occasion, name: str) -> HttpResponse:
    """The packets of a trial as a table."""
    found = list_packets(on, name)
    columns = ("order", "plot", "tag", "rep", "block", "field_row", "field_col", "entry", "check", "lot", "kernels")
    rows = [
        (p.order, p.plot, p.plot_tag, p.rep, p.block, p.field_row, p.field_col, p.entry, p.is_check, p.lot, p.kernels)
        for p in found.packets
    ]
    return _give_table(f"packets-{name}", csv_text(columns, rows))


def print_packets(request: HttpRequest, on: Occasion, name: str) -> HttpResponse:
    """The packets of a trial on paper."""
    from firstsilk.faces.paper.lists import render_packet_list
    from firstsilk.faces.paper.trial_packets import make_packet_list

    return give_pdf(render_packet_list(make_packet_list(on, list_packets(on, name))), f"packets-{_plain(name)}.pdf")


def give_data_sheet(request: HttpRequest, on: Occasion, name: str) -> HttpResponse:
    """An empty table for the trial's data, with its plots and entries filled in."""
    trial = read_trial(on, name)
    rows = [[plot.number, plot.entry, *([""] * (len(BLANK_COLUMNS) - 2))] for plot in trial.plots]
    return _give_table(f"data-{name}", csv_text(BLANK_COLUMNS, rows))


def _give_table(name: str, text: str) -> HttpResponse:
    response = HttpResponse(text, content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{_plain(name)}.csv"'
    return response


def _plain(name: str) -> str:
    """A name that any file system takes."""
    return "".join(sign if sign.isascii() and (sign.isalnum() or sign in "-_.") else "-" for sign in name)


def show_received(request: HttpRequest, on: Occasion, name: str) -> HttpResponse:
    """Plot data sent from the trial's page: what was stored, what is odd, what is still missing."""
    if request.method != "POST":
        return redirect("trial", name=name)
    file = request.FILES.get("file")
    if file is None or not file.name:
        raise refuse("no_file", "No file was sent.", "Choose a CSV or XLSX file and send again.")
    read_trial(on, name)
    readings, seen = read_plot_readings(table_from_bytes(file.read(), file.name), name)
    got = record_plot_data(on, name, readings, file.name)
    told = {**ROOM, "got": got, "findings": [*seen, *got.findings], "file": file.name}
    return render(request, "trials/received.html", told)
