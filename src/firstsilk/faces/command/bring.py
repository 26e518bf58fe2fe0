"""How does somebody bring their own station from the command line?"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from firstsilk.answers import Finding, InputRefused, refuse
from firstsilk.faces.command.giving import AsJson, Out, give_json, give_result, say
from firstsilk.faces.command.station import Today, open_books, refresh_statistics

if TYPE_CHECKING:
    from firstsilk.work.bring.store import Brought

CheckOnly = Annotated[bool, typer.Option("--check-only", help="Say what is wrong and write nothing.")]
Folder = Annotated[str, typer.Argument(metavar="DIR", help="Folder with station.csv, sites.csv and so on.")]


def bring(folder: Folder, check_only: CheckOnly = False, as_json: AsJson = False, today: Today = "") -> None:
    """Bring a station's own tables into the books: all of them, or nothing.

    Every finding is printed, one a line, then a summary. Exit 1 if any finding stops; then nothing was written.
    """
    from firstsilk.faces.files.station import read_station_folder

    tables = read_station_folder(folder)
    on = open_books(station=None, today=today)
    from firstsilk.work.bring.store import bring_station, check_against_books

    if check_only:
        _end(check_against_books(on, tables), as_json, "Nothing was written: this was a check only.")
        return
    try:
        brought = bring_station(on, tables, _report())
    except InputRefused as error:
        if not error.findings:
            raise
        _end(error.findings, as_json, "Nothing was written.")
        return
    refresh_statistics()
    _give_brought(brought, as_json)


def _report() -> Callable[[float, str], None]:
    """Tell a person at a screen how far it is; a script hears nothing."""
    shown = sys.stderr.isatty()
    return lambda share, message: say(f"{share:4.0%}  {message}") if shown else None


def _tell_findings(findings: Sequence[Finding]) -> str:
    for finding in findings:
        say(f"{'stops' if finding.stops else 'warns'}: {finding.as_text()}")
    stops = sum(finding.stops for finding in findings)
    return f"{stops:,} findings stop, {len(findings) - stops:,} warn."


def _end(findings: Sequence[Finding], as_json: bool, end: str) -> None:
    """Tell what was found where nothing was written; end with 1 if any finding stops."""
    summary = _tell_findings(findings)
    stops = any(finding.stops for finding in findings)
    if as_json:
        told = [finding.as_json() for finding in findings]
        error = InputRefused(summary).as_json() if stops else {}
        give_json({**error, "written": False, "findings": told})
    else:
        print(f"{summary} {end}")
    if stops:
        raise typer.Exit(1)


def _give_brought(brought: Brought, as_json: bool) -> None:
    summary = _tell_findings(brought.findings)
    if as_json:
        counts = {
            counted.table: {"new": counted.new, "added_to": counted.added, "there_already": counted.same}
            for counted in brought.counts
        }
        told = [finding.as_json() for finding in brought.findings]
        basis = brought.basis.as_text()
        give_json({"station": brought.station, "written": True, "counts": counts, "basis": basis, "findings": told})
        return
    print(f"Station {brought.station}:")
    for counted in brought.counts:
        print(
            f"  {counted.table:<14}{counted.new:>9,} new {counted.added:>9,} added to {counted.same:>9,} there already"
        )
    print(f"{summary} {brought.basis.as_text()}")


def blank_tables(
    folder: Annotated[str, typer.Argument(metavar="DIR", help="Folder to write the blank tables to.")],
    xlsx: Annotated[bool, typer.Option("--xlsx", help="Write spreadsheets instead of CSV.")] = False,
) -> None:
    """Write a blank table for everything a station can bring, each with one example row to be removed."""
    from firstsilk.faces.files.station import SUFFIXES, blank_table
    from firstsilk.faces.files.tables import write_table
    from firstsilk.work.bring.layouts import LAYOUTS

    target = Path(folder)
    there = [name for layout in LAYOUTS for end in SUFFIXES if (target / (name := layout.name + end)).exists()]
    if there:
        message = f"{folder}: {', '.join(there)} would be written over."
        raise refuse("would_overwrite", message, "Name an empty or a new folder.")
    target.mkdir(parents=True, exist_ok=True)
    for layout in LAYOUTS:
        columns, example = blank_table(layout.name)
        write_table(target / f"{layout.name}{'.xlsx' if xlsx else '.csv'}", columns, [example])
    say(f"{len(LAYOUTS)} blank tables are in {folder}. Remove the example row of each, fill them, then: bring {folder}")


def daily(
    hours: Annotated[str, typer.Argument(metavar="HOURS", help="File with time, temp_c or temp_f [, site, rain_mm].")],
    least_hours: Annotated[int, typer.Option("--least-hours", min=1, max=24, help="Fewest hours in a day.")] = 20,
    out: Out = "",
    as_json: AsJson = False,
) -> None:
    """Make daily weather from hourly readings; days with too few hours are left out and named."""
    from firstsilk.faces.files.hours import gather_days, read_hours

    file, readings = read_hours(hours)
    days, findings = gather_days(readings, file, least_hours)
    for finding in findings:
        say(f"warns: {finding.as_text()}")
    columns = ("site", "date", "tmin_c", "tmax_c", "rain_mm")
    rows = [(day.site, day.date.isoformat(), round(day.tmin_c, 4), round(day.tmax_c, 4), day.rain_mm) for day in days]
    give_result(columns, rows, out, as_json, {"findings": [finding.as_json() for finding in findings]})
