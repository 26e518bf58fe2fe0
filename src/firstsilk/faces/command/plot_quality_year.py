"""How are the plots of the station's trials doubted from the command line?"""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from firstsilk.faces.command.giving import AsJson, Out, say
from firstsilk.faces.command.plot_doubts import Map, give_findings
from firstsilk.faces.command.station import StationCode, Today, open_books


def plot_quality(
    trial: Annotated[str, typer.Argument(help="Name of the trial.")],
    picture: Map = "",
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Doubt the plots of a trial by yield and moisture: odd plots, a drift, a shifted pass, entries that are alike.

    Each finding says where, what and the likely repair; nothing is changed. A plot is rejected, with its reason, by
    plot data sent in again (firstsilk plots).
    """
    on = open_books(station, today)
    from firstsilk.faces.pictures.plot_doubts import draw_plot_map
    from firstsilk.work.analysis.plot_quality import judge_plots

    found = judge_plots(on, trial)
    say(found.basis.as_text())
    for one in found.traits:
        say(f"{one.words}: repeatability of an entry's mean {one.repeatability:.2f}, {one.n_values} plots.")
    if picture and found.traits:
        Path(picture).write_text(draw_plot_map(found.traits[0].plots), encoding="utf-8")
    more = {
        "trial": found.trial,
        "year": found.year,
        "shift_odds": found.shift_odds,
        "traits": [asdict(one) for one in found.traits],
        "not_told": found.not_told,
        "basis": found.basis.as_text(),
    }
    give_findings(found.findings, found.not_told, out, as_json, more)
