"""How does a station bring its own tables in from a browser?"""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render

from firstsilk.answers import InputRefused, refuse
from firstsilk.faces.files.station import blank_table, read_station_files
from firstsilk.faces.files.tables import csv_text
from firstsilk.work.bring.layouts import LAYOUTS
from firstsilk.work.bring.store import bring_station, check_against_books
from firstsilk.work.occasion import Occasion

MOST_FINDINGS_SHOWN = 500


def show_bring(request: HttpRequest, on: Occasion) -> HttpResponse:
    """The tables to bring; after sending, every finding and what came into the books."""
    told: dict[str, object] = {"layouts": LAYOUTS}
    if request.method != "POST":
        return render(request, "home/bring.html", told)
    files = {file.name or "nameless": file.read() for file in request.FILES.getlist("tables")}
    if not files:
        raise refuse("no_files", "No file was sent.", "Choose one or more tables.")
    tables = read_station_files(files)
    if request.POST.get("do") == "check":
        findings = check_against_books(on, tables)
        told |= {"checked": True, "stops": any(finding.stops for finding in findings)}
    else:
        try:
            brought = bring_station(on, tables)
            told["brought"], findings = brought, brought.findings
        except InputRefused as error:
            if not error.findings:
                raise
            told["stops"], findings = True, error.findings
    told |= {"findings": findings[:MOST_FINDINGS_SHOWN], "n_findings": len(findings), "sent": True}
    return render(request, "home/bring.html", told, status=422 if told.get("stops") else 200)


def give_blank_table(request: HttpRequest, on: Occasion, table: str) -> HttpResponse:
    """One blank table with its example row, as a file."""
    if table not in {layout.name for layout in LAYOUTS}:
        raise Http404
    columns, example = blank_table(table)
    answer = HttpResponse(csv_text(columns, [example]), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="{table}.csv"'
    return answer
