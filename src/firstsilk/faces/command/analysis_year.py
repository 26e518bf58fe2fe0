"""How are trials analysed from the command line?"""

from __future__ import annotations

import re
from dataclasses import asdict, astuple, fields
from typing import Annotated

import typer

from firstsilk.faces.command.giving import AsJson, Out, check_pdf_out, give_result, say
from firstsilk.faces.command.station import StationCode, Today, open_books


def analyse(
    years: Annotated[str, typer.Option("--years", help="Years joined by commas; all if absent.")] = "",
    trait: Annotated[str, typer.Option("--trait", help="One trait; all three if absent.")] = "",
    seed: Annotated[int, typer.Option("--seed", min=0, max=2**63 - 1, help="Stored with the result.")] = 1,
    show: Annotated[bool, typer.Option("--show", help="Show the last analysis; compute nothing.")] = False,
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Analyse plot data over trials: estimates of entries and of the lines behind them, and the trials' quality."""
    asked = _read_years(years)
    on = open_books(station, today)
    from firstsilk.work.analysis.analyse import analyse_every_trait, analyse_trials
    from firstsilk.work.analysis.facts import EstimateFacts, TrialAnalysis
    from firstsilk.work.analysis.plots import TRAITS
    from firstsilk.work.analysis.reading import find_analysis, read_analysis

    found: list[TrialAnalysis]
    if show:
        found = [read_analysis(on, trait or TRAITS[0], asked)]
        more = TRAITS[1:] if not trait else ()
        found += [one for name in more if (one := find_analysis(on, name, asked)) is not None]
    elif trait:
        found = [analyse_trials(on, asked, trait, seed, _say_progress)]
    else:
        every, left_out = analyse_every_trait(on, asked, seed, _say_progress)
        found = list(every)
        for sentence in left_out:
            say(sentence)
    for analysis in found:
        say(f"{analysis.trait}: {analysis.model}. {analysis.basis.as_text()}")
        for line in analysis.said:
            say(f"  {line}")
    columns = ["trait", *(one.name for one in fields(EstimateFacts))]
    rows = [(analysis.trait, *astuple(one)) for analysis in found for one in analysis.estimates]
    told = [_describe(asdict(analysis)) for analysis in found]
    give_result(columns, rows, out, as_json, {"analyses": told})


def analysis_report(
    series: Annotated[str, typer.Argument(help="Name of the series; the newest if absent.")] = "",
    trait: Annotated[str, typer.Option("--trait", help="The trait; yield if absent.")] = "",
    seed: Annotated[int, typer.Option("--seed", min=0, max=2**63 - 1, help="Seed of the chances.")] = 1,
    out: Annotated[
        str, typer.Option("--out", help="PDF file to write.", callback=check_pdf_out)
    ] = "analysis-report.pdf",
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Print the analysis of one series: best at which sites, entries with intervals, responses, and every field."""
    on = open_books(station, today)
    from firstsilk.faces.command.paper_year import write_pdf
    from firstsilk.faces.paper.analysis_report import make_analysis_report, render_analysis_report
    from firstsilk.work.analysis.plots import TRAITS
    from firstsilk.work.analysis.series import list_series

    every = list_series(on)
    name = series or (every[0].name if every else "")
    report = make_analysis_report(on, name, trait or TRAITS[0], seed, _say_progress)
    say(f"{report.series.series}, {report.series.trait}: {report.series.basis.as_text()}")
    write_pdf(out, render_analysis_report(report))


def _describe(analysis: dict[str, object]) -> dict[str, object]:
    return {key: value for key, value in analysis.items() if key != "estimates"}


def _read_years(text: str) -> tuple[int, ...]:
    parts = [part.strip() for part in text.split(",") if part.strip()]
    if not all(re.fullmatch(r"[0-9]{4}", part) for part in parts):
        raise typer.BadParameter(f"{text!r} is no list of years: write 2030,2031.")
    return tuple(sorted({int(part) for part in parts}))


def _say_progress(share_frac: float, message: str) -> None:
    say(f"{100 * share_frac:3.0f} % {message}")
