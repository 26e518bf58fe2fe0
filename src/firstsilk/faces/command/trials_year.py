"""How are testcrosses, trials, packets and plot data worked from the command line?"""

from __future__ import annotations

from dataclasses import astuple, fields
from pathlib import Path
from typing import Annotated

import typer

from firstsilk.answers import Finding, Place, refuse, stop_if_any
from firstsilk.faces.command.giving import AsJson, Out, check_table_or_pdf_out, give_result, say
from firstsilk.faces.command.station import StationCode, Today, open_books, year_option
from firstsilk.faces.files.tables import read_table

Trial = Annotated[str, typer.Argument(help="Name of the trial.")]


def list_testcrosses(
    year: Annotated[
        int | None,
        year_option("Year of the crosses; next year if absent."),
    ] = None,
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Which lines should meet which tester: what exists of the hybrid, what seed there is, what to do, and why."""
    on = open_books(station, today)
    from firstsilk.work.trials.testcrosses import Testcross, propose_testcrosses

    found = propose_testcrosses(on, on.today.year + 1 if year is None else year)
    say(found.basis.as_text())
    say(f"Not considered: {'; '.join(found.not_considered)}.")
    columns = [one.name for one in fields(Testcross)]
    more = {"year": found.year, "basis": found.basis.as_text(), "not_considered": found.not_considered}
    give_result(columns, [astuple(one) for one in found.testcrosses], out, as_json, more)


def trial(
    name: Annotated[str, typer.Argument(help="Name of the new trial, or of one there is.")],
    entries: Annotated[str, typer.Option("--entries", help="Table of entries: entry[, check]; check 1 = yes.")] = "",
    site: Annotated[str, typer.Option("--site", help="Code of the site; the home site if absent.")] = "",
    year: Annotated[int | None, year_option("Year it grows in; this year if absent.")] = None,
    series: Annotated[str, typer.Option("--series", help="Trials with one aim share a series.")] = "",
    reps: Annotated[int, typer.Option("--reps", min=1, help="Replicates.")] = 2,
    plot_area_m2: Annotated[float, typer.Option("--plot-area-m2", help="Harvested area of a plot.")] = 8.0,
    kernels_per_plot: Annotated[int, typer.Option("--kernels-per-plot", help="Kernels in a packet.")] = 75,
    columns: Annotated[int | None, typer.Option("--columns", min=1, max=20_000, help="Plots in a field row.")] = None,
    seed: Annotated[int, typer.Option("--seed", min=0, max=2**63 - 1, help="Same seed, same lay-out.")] = 1,
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Lay out a trial in complete blocks and reserve its seed; without --entries show the trial as it stands."""
    on = open_books(station, today)
    from firstsilk.work.trials.lay_out import design_trial
    from firstsilk.work.trials.reading import PlotCell, read_trial

    if entries:
        listed, checks, places = _read_entries(entries)
        grown = on.today.year if year is None else year
        told = (listed, checks, reps, plot_area_m2, kernels_per_plot, seed)
        page = design_trial(on, name, series, site, grown, *told, _say_progress, columns, places)
        say(f"Trial {page.name} is laid out: {len(page.plots)} plots, {len(page.entries)} entries, seed reserved.")
    else:
        page = read_trial(on, name)
    say(page.basis.as_text())
    names = [one.name for one in fields(PlotCell)]
    more = {"trial": page.name, "site": page.site, "year": page.year, "reps": page.reps, "basis": page.basis.as_text()}
    give_result(names, [astuple(one) for one in page.plots], out, as_json, more)


def _read_entries(path: str) -> tuple[list[str], list[str], dict[str, Place]]:
    """Entries, checks, and the place of each name; checks are 1 or 0, and no name stands twice."""
    table = read_table(path)
    table.need("entry")
    table.need_rows()
    findings: list[Finding] = []
    names: dict[bool, list[str]] = {False: [], True: []}
    places: dict[str, Place] = {}
    for row in table.rows:
        name, check = row.text("entry"), row.text("check")
        if not name:
            findings.append(row.finding("entry_nameless", "the entry has no name", "entry", "Name it"))
        elif name in places:
            told = f"this entry stood in line {places[name].line}"
            findings.append(row.finding("entry_twice", told, "entry", "Give the entry once"))
        if check not in ("", "0", "1"):
            repair = "Write 1 for a check, else 0 or nothing"
            findings.append(row.finding("check_not_0_1", "check is 1 or 0", "check", repair))
        names[check == "1"].append(name)
        places.setdefault(name, row.place("entry"))
    stop_if_any(findings)
    return names[False], names[True], places


def _say_progress(share_frac: float, message: str) -> None:
    say(f"{100 * share_frac:3.0f} % {message}")


def packets(
    trial: Trial,
    pack: Annotated[bool, typer.Option("--pack", help="Book the packets as filled: seed leaves its lots.")] = False,
    out: Annotated[
        str,
        typer.Option("--out", help="File: .pdf to print, or .csv, .xlsx, .parquet.", callback=check_table_or_pdf_out),
    ] = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """The packets of a trial in planting order."""
    on = open_books(station, today)
    from firstsilk.work.trials.packets import Packet, list_packets, pack_trial

    found = pack_trial(on, trial) if pack else list_packets(on, trial)
    held = f"{found.reserved_kernels} kernels reserved, {found.packed_kernels} packed."
    say(f"{held} {found.basis.as_text()}")
    if out.lower().endswith(".pdf"):
        from firstsilk.faces.command.paper_year import write_pdf
        from firstsilk.faces.paper.lists import render_packet_list
        from firstsilk.faces.paper.trial_packets import make_packet_list

        write_pdf(out, render_packet_list(make_packet_list(on, found)))
        return
    columns = [one.name for one in fields(Packet)]
    more = {
        "trial": found.trial,
        "reserved_kernels": found.reserved_kernels,
        "packed_kernels": found.packed_kernels,
        "basis": found.basis.as_text(),
    }
    give_result(columns, [astuple(one) for one in found.packets], out, as_json, more)


def plots(
    file: Annotated[str, typer.Argument(help="Table: plot, weight_kg, moisture_pct[, stand, root_lodged, ...].")],
    trial: Annotated[str, typer.Option("--trial", help="The trial it is for.")] = "",
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Bring plot data in, all or nothing; what is odd is told. The same file twice changes nothing."""
    on = open_books(station, today)
    from firstsilk.faces.files.plots import read_plot_readings
    from firstsilk.work.trials.plot_data import record_plot_data

    table = read_table(file)
    table.need_rows()
    named = trial or _only_trial({row.text("trial") for row in table.rows})
    readings, seen = read_plot_readings(table, named)
    got = record_plot_data(on, named, readings, Path(file).name)
    findings = [*seen, *got.findings]
    for finding in findings:
        say(finding.as_text())
    say(
        f"{got.trial}: {got.n_stored} plots stored, {got.n_same} known before, {got.n_yields} yields, "
        f"{got.n_rejected} rejected, {len(got.plots_without_record)} plots still without a record."
    )
    say(got.basis.as_text())
    columns = ("code", "line", "column", "value", "message", "repair")
    rows = [(one.code, one.place.line, one.place.column, one.value, one.message, one.repair) for one in findings]
    more = {
        "trial": got.trial,
        "stored": got.n_stored,
        "known_before": got.n_same,
        "yields": got.n_yields,
        "rejected": got.n_rejected,
        "plots_without_record": got.plots_without_record,
        "basis": got.basis.as_text(),
    }
    if as_json or out:
        give_result(columns, rows, out, as_json, more)


def _only_trial(named: set[str]) -> str:
    if len(named - {""}) != 1:
        raise refuse("trial_unclear", "It is not clear which trial this file is for.", "Name it with --trial.")
    return (named - {""}).pop()
