"""How does the year get onto paper from the command line?"""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from typing import Annotated

import typer

from firstsilk.faces.command.giving import check_pdf_out, say
from firstsilk.faces.command.nursery_year import Season
from firstsilk.faces.command.station import StationCode, Today, open_books

PdfOut = Annotated[str, typer.Option("--out", help="PDF file to write.", callback=check_pdf_out)]


def tags(season: Season = "", out: PdfOut = "tags.pdf", station: StationCode = "", today: Today = "") -> None:
    """Print a tag for each row of the season, ten to a sheet; the codes are read back before the file is written."""
    on = open_books(station, today)
    from firstsilk.faces.paper.tags import render_row_tags
    from firstsilk.faces.paper.year import make_row_tags
    from firstsilk.work.flowering.day import read_day_list

    made = make_row_tags(read_day_list(on, season))
    say(f"Printing {len(made):,} row tags ...")
    write_pdf(out, render_row_tags(made))


def walk_book(season: Season = "", out: PdfOut = "walk-book.pdf", station: StationCode = "", today: Today = "") -> None:
    """Print the walk book: every row in walking order, with boxes to fill."""
    on = open_books(station, today)
    from firstsilk.faces.paper.walkbook import render_walk_book
    from firstsilk.faces.paper.year import make_walk_book
    from firstsilk.work.flowering.day import read_day_list

    book = make_walk_book(on, read_day_list(on, season, by_forecast=True))
    say(f"Printing a walk book of {len(book.rows):,} rows ...")
    write_pdf(out, render_walk_book(book))


def sowing_calendar(
    season: Season = "", out: PdfOut = "sowing-calendar.pdf", station: StationCode = "", today: Today = ""
) -> None:
    """Print the sowing calendar: months on top, then each day's rows in walking order, with boxes to tick."""
    on = open_books(station, today)
    from firstsilk.faces.paper.sowing_calendar import render_sowing_calendar
    from firstsilk.work.nursery.sowing_calendar import read_sowing_calendar

    calendar = read_sowing_calendar(on, season)
    say(f"Printing a sowing calendar of {len(calendar.days)} days ...")
    write_pdf(out, render_sowing_calendar(calendar, on.today))


def day_sheet(
    season: Season = "",
    leader: Annotated[str, typer.Option("--leader", help="Name or code of the crew leader, for the head.")] = "",
    teams: Annotated[int, typer.Option(help="Part the list over so many teams; 0: those of the workers, or one.")] = 0,
    team: Annotated[str, typer.Option(help="Only this team's rows.")] = "",
    range_m: Annotated[float, typer.Option(help="From one range to the next: row and alley [m].")] = 5.0,
    out: PdfOut = "day-sheet.pdf",
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Print today's list for a crew leader: what to do on which row, why, and where nobody may go."""
    on = open_books(station, today)
    from firstsilk.faces.paper.lists import render_day_sheet
    from firstsilk.faces.paper.year import make_day_sheet
    from firstsilk.work.flowering.day import read_day_list
    from firstsilk.work.flowering.teams import choose_team

    day = read_day_list(on, season, by_forecast=True)
    if team or teams:
        day, leader = choose_team(on, day, teams, team, range_m), leader or f"team {team}"
    sheet = make_day_sheet(on, day, leader)
    say(f"Printing the day sheet of {on.today}: {len(sheet.tasks):,} rows ...")
    write_pdf(out, render_day_sheet(sheet))


def lot_labels(
    text: Annotated[str, typer.Argument(help="Part of the lots' name, tag or line; all lots in stock if absent.")] = "",
    out: PdfOut = "lot-labels.pdf",
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Print a label for each lot that holds seed, 27 to a sheet."""
    on = open_books(station, today)
    from firstsilk.faces.paper.tags import render_lot_labels
    from firstsilk.faces.paper.year import make_lot_labels
    from firstsilk.work.seed.lots import list_lots

    labels = make_lot_labels(list_lots(on, text, only_in_stock=True, size=1_000_000).lots)
    say(f"Printing {len(labels):,} lot labels ...")
    write_pdf(out, render_lot_labels(labels))


def write_pdf(out: str, pdf: bytes) -> None:
    """Write a file whole or not at all: beside its place, then moved there."""
    path = Path(out)
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".pdf")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(pdf)
        os.chmod(temporary, 0o644)
        os.replace(temporary, path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
    say(f"{path}: {len(pdf) / 1024:,.0f} kB.")
