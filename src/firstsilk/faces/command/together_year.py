"""How does the command line tell whether two traits go together in the station's trials?"""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

import typer

from firstsilk.faces.command.combining_year import read_years
from firstsilk.faces.command.giving import AsJson, Out, give_result, say
from firstsilk.faces.command.station import StationCode, Today, open_books

COLUMNS = ("part", "variance_a", "variance_b", "covariance", "correlation", "se")


def traits_together(
    traits: Annotated[str, typer.Option("--traits", help="Two traits joined by a comma; yield and moisture.")] = "",
    years: Annotated[str, typer.Option("--years", help="Years joined by commas; all if absent.")] = "",
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Do two traits go together in the trials: by genes, from trial to trial, from plot to plot? With errors."""
    asked = read_years(years)
    on = open_books(station, today)
    from firstsilk.work.analysis.plots import TRAITS
    from firstsilk.work.analysis.together import read_traits_together

    names = [word.strip() for word in traits.split(",") if word.strip()] or list(TRAITS[:2])
    if len(names) != 2:
        raise typer.BadParameter(f"--traits must name two traits joined by a comma, not {traits!r}.")
    found = read_traits_together(on, asked, names[0], names[1])
    say(f"{found.says} {found.basis.as_text()}")
    for sentence in found.said:
        say(f"  {sentence}")
    give_result(COLUMNS, [[getattr(one, key) for key in COLUMNS] for one in found.parts], out, as_json, asdict(found))
