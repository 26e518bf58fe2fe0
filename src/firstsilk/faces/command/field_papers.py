"""How do the day's sheets leave for the field, and come back, from the command line?"""

from __future__ import annotations

from typing import Annotated

import typer

from firstsilk.answers import refuse
from firstsilk.faces.command.giving import AsJson, Out, give_result, say
from firstsilk.faces.command.nursery_year import Season
from firstsilk.faces.command.paper_year import PdfOut, write_pdf
from firstsilk.faces.command.station import StationCode, Today, open_books

Language = Annotated[str, typer.Option(help="Language of the sheet: en, fr or es.")]
Worker = Annotated[list[str], typer.Option("--worker", help="Worker code, one sheet each; give it once for each.")]
Teams = Annotated[int, typer.Option(help="Part the list over so many teams; 0: those of the workers, or one.")]
Team = Annotated[str, typer.Option(help="Only this team's sheets.")]


def bag_tags(
    count: Annotated[int, typer.Option(help="How many tassel bags get a code.")],
    language: Language = "en",
    out: PdfOut = "bag-tags.pdf",
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Print labels for tassel bags, sixteen to a sheet, each with a new code and room for male row, day and type."""
    on = open_books(station, today)
    from firstsilk.faces.paper.field import print_bag_tags

    write_pdf(out, print_bag_tags(on, count, language))


def bag_sheets(
    count: Annotated[int, typer.Option(help="How many sheets, for each worker if workers are named.")] = 1,
    season: Season = "",
    worker: Worker = [],  # noqa: B006 - typer wants a list
    language: Language = "en",
    out: PdfOut = "bag-sheets.pdf",
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Print empty bag sheets: a line a bag with male row and type this evening, female row and ears tomorrow."""
    on = open_books(station, today)
    from firstsilk.faces.paper.field import print_empty_bag_sheets
    from firstsilk.science.seed.tags import print_tag

    done = print_empty_bag_sheets(on, season, count, worker, language)
    write_pdf(out, done.pdf)
    for sheet in done.sheets:
        say(f"{print_tag(sheet.code)}: {sheet.worker or 'anybody'}, {sheet.blank} lines.")


def tally_cards(
    season: Season = "",
    worker: Worker = [],  # noqa: B006 - typer wants a list
    teams: Teams = 0,
    team: Team = "",
    language: Language = "en",
    out: PdfOut = "tally-cards.pdf",
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Print tally cards of the day: rows to bag and pollinate in walking order, with boxes for counts; new codes."""
    _print("tally", season, worker, teams, team, language, out, station, today)


def walk_sheets(
    season: Season = "",
    worker: Worker = [],  # noqa: B006 - typer wants a list
    teams: Teams = 0,
    team: Team = "",
    language: Language = "en",
    out: PdfOut = "walk-sheets.pdf",
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Print walk sheets of the day: all its tasks but sowing in walking order, with boxes to tick and to fill."""
    _print("walk", season, worker, teams, team, language, out, station, today)


def _print(
    kind: str,
    season: str,
    workers: list[str],
    teams: int,
    team: str,
    language: str,
    out: str,
    station: str,
    today: str,
) -> None:
    on = open_books(station, today)
    from firstsilk.faces.paper.field import print_field_sheets
    from firstsilk.science.seed.tags import print_tag
    from firstsilk.work.flowering.day import read_day_list

    done = print_field_sheets(on, read_day_list(on, season, by_forecast=True), kind, workers, teams, team, language)
    write_pdf(out, done.pdf)
    for sheet in done.sheets:
        whose = sheet.worker or (f"team {sheet.team}" if sheet.team else "anybody")
        say(f"{print_tag(sheet.code)}: {whose}, {len(sheet.lines)} rows.")
    if done.left:
        say(f"{done.left} tasks stand on no sheet: nobody named may do them.")


def paper_sheets(
    sheet: Annotated[str, typer.Argument(help="Code of a sheet, to see its lines; all sheets if absent.")] = "",
    entry: Annotated[int, typer.Option(help="1 or 2: what the first or the second keying holds.")] = 1,
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Sheets printed in the last two weeks and how far each is keyed; or one sheet's lines, as a table to fill in."""
    on = open_books(station, today)
    from firstsilk.science.flowering.paper_boxes import Line, list_boxes
    from firstsilk.science.seed.tags import print_tag
    from firstsilk.work.flowering.keying import list_sheets, read_sheet

    if not sheet:
        columns = ("sheet", "kind", "day", "worker", "team", "page", "rows", "first", "second", "stands")
        asked = ("kind", "day", "worker", "team", "page", "n_printed", "n_first", "n_second", "stands")
        rows = [(print_tag(one.code), *(getattr(one, name) for name in asked)) for one in list_sheets(on)]
        give_result(columns, rows, out, as_json)
        return
    found = read_sheet(on, sheet, entry)
    keys = [box.key for box in list_boxes(found.standing.kind)]
    bag = ("bag",) if found.standing.kind == "bag" else ()
    columns = ("sheet", "line", *bag, "row", "line_name", "male", *keys)
    code = print_tag(found.standing.code)
    lines = []
    for line in found.lines:
        keyed = line.keyed or Line("")
        cells = (keyed.get(key) for key in keys)
        of_bag = (print_tag(keyed.bag) if keyed.bag else "",) if bag else ()
        lines.append((code, line.at + 1, *of_bag, line.number or "", line.line, keyed.male, *cells))
    give_result(columns, lines, out, as_json)


def key_in(
    file: Annotated[
        str, typer.Argument(help="CSV, XLSX or Parquet as paper-sheets CODE gives it; - for standard input.")
    ],
    entry: Annotated[int, typer.Option(help="1, or 2 for the second keying, by another person.")] = 1,
    who: Annotated[str, typer.Option(help="Account name of who keys; wanted for a second keying.")] = "",
    worker: Annotated[str, typer.Option(help="Worker code on the sheet, where it was written by hand.")] = "",
    settle: Annotated[bool, typer.Option("--settle", help="Make the notes if nothing is left to settle.")] = False,
    sure: Annotated[bool, typer.Option("--sure", help="Unusual numbers stand so on the paper.")] = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Key sheets in from a table; --settle makes their notes, each once. Unusual numbers are asked for once more."""
    from dataclasses import replace

    on = open_books(station, today)
    from firstsilk.faces.files.paper_sheets import read_keyed_sheets
    from firstsilk.work.flowering.keying import save_sheets
    from firstsilk.work.flowering.settle_sheets import read_settling, settle_sheet

    on = replace(on, who=who) if who else on
    sheets = read_keyed_sheets(file)
    save_sheets(on, sheets, entry, worker or None)
    for code, lines in sheets.items():
        found = read_settling(on, code)
        say(f"Sheet {code}: {len(lines)} lines kept; {found.n_notes} notes in the first keying.")
        for one in found.differences:
            key = one.key.replace("_", " ")
            say(f"  line {one.at + 1}, {key}: first {one.first or 'nothing'}, second {one.second or 'nothing'}.")
        for odd in found.unusual:
            say(f"  row {odd.number}, {odd.key.replace('_', ' ')}: {odd.value}, usually at most {odd.usual}. Is it so?")
        if settle and found.unusual and not sure:
            told = f"Sheet {code} has {len(found.unusual)} unusual numbers."
            raise refuse("unusual", told, "Look at the paper; if it says so, give --sure.")
        if settle:
            say(f"  {settle_sheet(on, code)} notes made.")
