"""How are ears picked, dried and shelled from the command line?"""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

import typer

from firstsilk.answers import refuse
from firstsilk.faces.command.giving import AsJson, Out, check_pdf_out, give_json, give_result, say
from firstsilk.faces.command.nursery_year import Season
from firstsilk.faces.command.station import StationCode, Today, open_books
from firstsilk.science.seed.tags import print_tag

Worker = Annotated[str, typer.Option("--worker", help="Code of the worker who did it.")]
Codes = Annotated[
    list[str],
    typer.Argument(help="Bags, or rows by tag or number; a row and its bag as '12 7KQ4-RN2M'."),
]
PdfFile = Annotated[str, typer.Option("--pdf", help="Also print it to this PDF file.")]


def pick_list(
    teams: Annotated[int, typer.Option("--teams", min=0, help="Part the rows over so many teams of equal size.")] = 0,
    team: Annotated[str, typer.Option("--team", help="Only this team's rows.")] = "",
    pdf: PdfFile = "",
    season: Season = "",
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Rows that are ripe to pick, in walking order, with their bags, and those that ripen within two weeks."""
    if pdf:
        check_pdf_out(pdf)
    on = open_books(station, today)
    from firstsilk.work.seed.picking import read_pick_list

    picks = read_pick_list(on, season, teams, team)
    say(picks.rule)
    for one in picks.sentences:
        say(one)
    if picks.bring:
        say(f"Bring: {'; '.join(picks.bring)}.")
    say(picks.basis.as_text())
    columns = ("team", "row", "tag", "range", "line", "ears", "days", "ripe_on", "ripe", "bags", "why", "no_entry")
    rows = [
        (
            *(one.team, one.number, one.tag, one.field_row, one.line, one.ears, one.days, one.ripe_on, one.is_ripe),
            *(" ".join(one.bags), one.why, one.blocked),
        )
        for one in (*picks.rows, *picks.coming)
    ]
    give_result(columns, rows, out, as_json, {"rule": picks.rule, "bring": picks.bring, "killed_on": picks.killed_on})
    if pdf:
        from firstsilk.faces.command.paper_year import write_pdf
        from firstsilk.faces.paper.harvest import render_pick_list
        from firstsilk.work.station import read_station

        write_pdf(pdf, render_pick_list(picks, read_station(on.station).name, team))


def pick(
    codes: Codes,
    ears: Annotated[int | None, typer.Option("--ears", min=0, help="Ears of each; all still there if absent.")] = None,
    left: Annotated[
        str, typer.Option("--left", help="They were left: no_bag, rotten, few_kernels, off_type or other.")
    ] = "",
    worker: Worker = "",
    season: Season = "",
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Note ears as picked, or as left and why, by their bag or by row."""
    on = open_books(station, today)
    from firstsilk.work.seed.picking import note_picked

    for said in note_picked(on, season, codes, ears, left, worker):
        print(f"{said[:1].upper()}{said[1:]}.")


def ears(
    season: Season = "",
    by_bag: Annotated[bool, typer.Option("--by-bag", help="A line for each bag instead of each row.")] = False,
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Ears against pollinations: lost, picked, left and why, missing; and what does not fit."""
    on = open_books(station, today)
    from firstsilk.work.seed.ear_counts import read_ear_book

    book = read_ear_book(on, season)
    for finding in book.findings:
        say(finding.as_text())
    say(book.basis.as_text())
    columns = ("row", "tag", "line", "bag", "pollinated", "lost", "picked", "left", "missing", "kernels")
    rows = []
    for row in book.rows:
        for bag, count in [(one.printed, one.ears) for one in row.bags] if by_bag else [("", row.ears)]:
            left = " ".join(f"{why}={many}" for why, many in count.left)
            told = (count.pollinated, count.spoiled, count.picked, left, count.missing, count.kernels)
            rows.append((row.number, row.tag, row.line, bag, *told))
    give_result(columns, rows, out, as_json, {"findings": [asdict(one) for one in book.findings]})


def crate_tags(
    count: Annotated[int, typer.Argument(help="How many new crate tags.")],
    pdf: PdfFile = "crate-tags.pdf",
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Give out new tags for drying crates and print them, ten to a sheet; a crate keeps its tag from year to year."""
    check_pdf_out(pdf)
    on = open_books(station, today)
    from firstsilk.faces.command.paper_year import write_pdf
    from firstsilk.faces.paper.harvest import render_crate_tags
    from firstsilk.work.seed.crates import give_crate_tags
    from firstsilk.work.station import read_station

    codes = give_crate_tags(on, count)
    for code in codes:
        print(print_tag(code))
    write_pdf(pdf, render_crate_tags(codes, read_station(on.station).name))


def crates(
    season: Season = "",
    loads: Annotated[bool, typer.Option("--loads", help="A line for each row or bag in a crate.")] = False,
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Drying crates: what is in them, days in the dryer, last moisture, which are dry."""
    on = open_books(station, today)
    from firstsilk.work.seed.crates import list_crates

    page = list_crates(on, season)
    for one in page.cautions:
        say(one)
    for finding in page.findings:
        say(finding.as_text())
    say(page.basis.as_text())
    if loads:
        columns: tuple[str, ...] = ("crate", "row", "line", "bag", "ears", "in_since", "worker", "shelled")
        rows: list[tuple[object, ...]] = [
            (one.printed, each.row, each.line, each.bag, each.ears, each.on, each.worker, each.is_shelled)
            for one in page.crates
            for each in one.loads
        ]
    else:
        columns = ("crate", "state", "days", "moisture_pct", "measured_on", "ears")
        rows = [(one.printed, one.state, one.days, one.last_pct, one.measured_on, one.ears) for one in page.crates]
    give_result(columns, rows, out, as_json)


def crate(
    crate: Annotated[str, typer.Argument(help="The crate's tag.")],
    codes: Annotated[list[str] | None, typer.Argument(help="Bags or rows whose ears went in.")] = None,
    moisture: Annotated[float | None, typer.Option("--moisture", help="Moisture measured, percent.")] = None,
    worker: Worker = "",
    season: Season = "",
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Note ears put into a crate, or its moisture."""
    if not codes and moisture is None:
        raise refuse("nothing_entered", "Neither ears nor a moisture were given.", "Name bags or rows, or --moisture.")
    on = open_books(station, today)
    from firstsilk.work.seed.crates import note_crated, note_moisture

    said = list(note_crated(on, season, crate, codes, worker)) if codes else []
    said += [note_moisture(on, season, crate, moisture, worker)] if moisture is not None else []
    for one in said:
        print(f"{one[:1].upper()}{one[1:]}.")


def shell(
    codes: Codes,
    kernels: Annotated[int | None, typer.Option("--kernels", min=1, help="Kernels counted.")] = None,
    net_g: Annotated[float | None, typer.Option("--net-g", help="Weight of all their kernels, in g.")] = None,
    sample: Annotated[int | None, typer.Option("--sample", min=1, help="Kernels counted into each sample.")] = None,
    sample_g: Annotated[
        list[float] | None, typer.Option("--sample-g", help="Weight of a counted sample, in g.")
    ] = None,
    look: Annotated[bool, typer.Option("--look", help="Only show the lot that it would be.")] = False,
    worker: Worker = "",
    season: Season = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Shell an ear, or several of a row into one lot on purpose: kernels are noted and their lot is made at once."""
    on = open_books(station, today)
    from firstsilk.work.seed.shelling import shell_ears

    done = shell_ears(on, season, codes, kernels, net_g, sample_g or (), sample, worker, book=not look)
    for one in done.cautions:
        say(one)
    for finding in done.findings:
        say(finding.as_text())
    if as_json:
        give_json(asdict(done))
        return
    if done.name:
        before = f", {done.before + done.kernels:,} with those before" if done.before else ""
        say(f"Lot {done.name} of {done.line} ({done.generation}): {done.kernels:,} kernels{before}.")
    else:
        say(f"{done.kernels:,} kernels of {done.line}, in no lot yet.")
    say("Booked." if done.booked else "Nothing was booked.")


def unshell(
    lot: Annotated[str, typer.Argument(help="Name or tag of the lot.")],
    why: Annotated[str, typer.Option("--why", help="What was wrong.")] = "",
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Take back what was shelled into a lot, by notes and a movement against it; its ears can be shelled again."""
    on = open_books(station, today)
    from firstsilk.work.seed.shelling import undo_shelling

    print(f"{undo_shelling(on, lot, why):,} kernels are taken back.")
