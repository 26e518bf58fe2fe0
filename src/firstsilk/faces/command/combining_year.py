"""How does the command line tell which lines combine well with testers?"""

from __future__ import annotations

import re
from dataclasses import asdict
from typing import Annotated

import typer

from firstsilk.answers import refuse
from firstsilk.faces.command.giving import AsJson, Out, give_result, say
from firstsilk.faces.command.station import StationCode, Today, open_books

COLUMNS = ("effect", "line", "tester", "value", "low", "high", "reliability", "n_plots")


def combining_ability(
    years: Annotated[str, typer.Option("--years", help="Years joined by commas; all if absent.")] = "",
    trait: Annotated[str, typer.Option("--trait", help="The trait; yield if absent.")] = "",
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """General and specific combining ability of the lines whose testcrosses stood in the trials, with intervals."""
    asked = read_years(years)
    on = open_books(station, today)
    from firstsilk.work.analysis.combining import read_combining_ability
    from firstsilk.work.analysis.plots import TRAITS

    found = read_combining_ability(on, asked, trait or TRAITS[0])
    say(f"{found.trait}: {found.model}. {found.basis.as_text()}")
    for sentence in found.said:
        say(f"  {sentence}")
    rows: list[tuple[object, ...]] = [
        ("gca", one.line, "", one.value, one.low, one.high, one.reliability, one.n_plots) for one in found.lines
    ]
    rows += [("sca", one.line, one.tester, one.value, one.low, one.high, None, one.n_plots) for one in found.crosses]
    rows += [("tester", "", one.tester, one.mean, None, None, None, one.n_plots) for one in found.testers]
    give_result(COLUMNS, rows, out, as_json, asdict(found))


def read_years(text: str) -> tuple[int, ...]:
    """Years joined by commas; none if the text is empty.

    Raises
    ------
    InputRefused
        If a part is no year of four figures.
    """
    asked = [word for word in text.replace(" ", "").split(",") if word]
    if any(not re.fullmatch(r"\d{4}", word) for word in asked):
        raise refuse("years_unreadable", f"{text!r} is no list of years", "Write them as 2030,2031.")
    return tuple(int(word) for word in asked)
