"""Which door doubts plot data? `plot-doubts`: odd plots, a drift, a shifted pass, a trial without repeatability."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

# Before numpy is loaded: on matrices of this size a second thread costs time, much of it on a busy machine.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from firstsilk.answers import Finding
from firstsilk.faces.command.giving import AsJson, Out, check_place, give_result, say
from firstsilk.faces.files.trial_tables import PlotColumns, read_trial_plots
from firstsilk.faces.pictures.plot_doubts import draw_plot_map
from firstsilk.science.analysis.plot_doubts import TrialDoubts, check_trial
from firstsilk.work.analysis.plot_findings import PlotLabel, list_looks, tell_doubts

COLUMNS = ("code", "line", "column", "value", "message", "repair")


def check_svg_out(out: str) -> str:
    """The name of an SVG file to write, looked at before any work is done."""
    return check_place(out, (".svg",)) if out else out


Map = Annotated[
    str,
    typer.Option("--map", help="File for a map (.svg) of how far each plot lies out.", callback=check_svg_out),
]


def plot_doubts(
    plots: Annotated[str, typer.Argument(help="Table of one trial, one line a plot.")],
    response: Annotated[
        str, typer.Option("--response", metavar="COL[,COL]", help="What was recorded; several on one travel by commas.")
    ],
    entry: Annotated[str, typer.Option("--entry", metavar="COL", help="Column of the entry.")] = "entry",
    rep: Annotated[str, typer.Option("--rep", metavar="COL", help="Column of the replicate.")] = "",
    row: Annotated[str, typer.Option("--row", metavar="COL", help="Column of the field row.")] = "",
    column: Annotated[str, typer.Option("--column", metavar="COL", help="Column of the field column.")] = "",
    order: Annotated[
        str, typer.Option("--order", metavar="COL", help="Column that rises as harvested; the lines' order if absent.")
    ] = "",
    plot: Annotated[str, typer.Option("--plot", metavar="COL", help="Column of the plot's name.")] = "",
    picture: Map = "",
    out: Out = "",
    as_json: AsJson = False,
) -> None:
    """Doubt the plots of one trial: odd ones, a drift, a pass recorded one plot early or late, entries that are alike.

    Each finding says where, what and the likely repair; nothing is changed. Needs entries on two or more plots. With
    --row and --column the passes are the runs of plots along a row, or a column, whichever the order follows.
    """
    responses = tuple(dict.fromkeys(name.strip() for name in response.split(",") if name.strip()))
    if not responses:
        raise typer.BadParameter("--response names no column.")
    if bool(row) != bool(column):
        raise typer.BadParameter("Give --row and --column together, or neither.")
    trial, labels = read_trial_plots(plots, PlotColumns(responses, entry, rep, row, column, order, plot))
    doubts = check_trial(trial)
    findings = tell_doubts(doubts, labels, {})
    if picture and doubts.traits:
        Path(picture).write_text(draw_plot_map(list_looks(doubts, doubts.traits[0], labels)), encoding="utf-8")
    give_findings(findings, doubts.not_told, out, as_json, describe_doubts(doubts, labels))


def give_findings(
    findings: Sequence[Finding], not_told: Sequence[str], out: str, as_json: bool, more: dict[str, object]
) -> None:
    """Hand over findings about plots, as both commands do; what could not be looked at is said."""
    for sentence in not_told:
        say(f"Not looked at: {sentence}")
    say(f"{len(findings)} finding{'' if len(findings) == 1 else 's'}. Nothing was changed.")
    rows = [(one.code, one.place.line, one.place.column, one.value, one.message, one.repair) for one in findings]
    give_result(COLUMNS, rows, out, as_json, more)


def describe_doubts(doubts: TrialDoubts, labels: Sequence[PlotLabel]) -> dict[str, object]:
    """What was looked at, in the shape of the door's JSON."""
    shift = asdict(doubts.shifted) if doubts.shifted else None
    if doubts.shifted and shift is not None:
        ordered = [labels[int(at)].plot for at in doubts.trial.place]
        for key in ("first", "last"):
            shift[key] = ordered[shift[key]]
            shift[f"{key}_range"] = [ordered[at] for at in shift[f"{key}_range"]]
    return {
        "n_plots": doubts.trial.n,
        "n_passes": int(doubts.trial.passes.max()) + 1,
        "shift_odds": doubts.odds,
        "shifted_pass": shift,
        "traits": [
            {
                "trait": one.trait,
                "repeatability": one.repeatability,
                "chance_alike": one.chance_alike,
                "error_sd": one.fit.residual_variance**0.5,
                "ground": list(one.fit.ground_terms),
                "odd_beyond": one.bound,
                "plots": [asdict(look) for look in list_looks(doubts, one, labels)],
            }
            for one in doubts.traits
        ],
        "not_told": list(doubts.not_told),
    }
