"""How are places, promises, remnant seed and what to keep looked after from the command line?"""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

import typer

from firstsilk.faces.command.giving import AsJson, Out, give_result, say
from firstsilk.faces.command.nursery_year import Season
from firstsilk.faces.command.station import StationCode, Today, open_books


def place(
    lot: Annotated[str, typer.Argument(help="Name or tag of the lot.")],
    shelf: Annotated[str, typer.Option("--shelf", help="Shelf it was put on.")] = "",
    box: Annotated[str, typer.Option("--box", help="Box it was put in.")] = "",
    slot: Annotated[str, typer.Option("--slot", help="Slot of the box or shelf.")] = "",
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Write down where a lot lies; two lots in one slot are told."""
    on = open_books(station, today)
    from firstsilk.work.seed.places import place_lot

    done = place_lot(on, lot, shelf, box, slot)
    for finding in done.findings:
        say(finding.as_text())
    say(f"Lot {done.name} ({done.tag}) lies in {done.after}; before: {done.before or 'nowhere'}.")


def box(
    shelf: Annotated[str, typer.Option("--shelf", help="Only this shelf.")] = "",
    box: Annotated[str, typer.Option("--box", help="Only this box.")] = "",
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """What lies on a shelf or in a box; all lots that have a place if none is named."""
    on = open_books(station, today)
    from firstsilk.work.seed.places import list_box

    found = list_box(on, shelf, box)
    for finding in found.findings:
        say(finding.as_text())
    say(found.basis.as_text())
    columns = ("shelf", "box", "slot", "lot", "tag", "line", "kernels")
    rows = [(one.shelf, one.box, one.slot, one.name, one.tag, one.line, one.kernels) for one in found.lots]
    give_result(columns, rows, out, as_json, {"findings": [one.as_json() for one in found.findings]})


def promises(
    lot: Annotated[str, typer.Argument(help="Only promises of this lot.")] = "",
    past: Annotated[bool, typer.Option("--past", help="Only those of earlier years.")] = False,
    release_row: Annotated[
        int | None, typer.Option("--release-row", help="Give up what this row was promised.")
    ] = None,
    release_trial: Annotated[str, typer.Option("--release-trial", help="Give up what this trial was promised.")] = "",
    renew_trial: Annotated[
        str, typer.Option("--renew-trial", help="Promise this trial again what was given up by hand.")
    ] = "",
    why: Annotated[str, typer.Option("--why", help="Why the row is not sown.")] = "",
    season: Season = "",
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Kernels promised to rows and trials; give up a promise so that its seed is free again."""
    on = open_books(station, today)
    from firstsilk.work.seed import promises as work

    if (release_row is not None) + bool(release_trial) + bool(renew_trial) > 1:
        raise typer.BadParameter("Give --release-row, --release-trial or --renew-trial, one of them.")
    if renew_trial:
        again = work.renew_trial(on, renew_trial)
        say(f"{again.kernels:,} kernels are promised to trial {renew_trial} again.")
    if release_row is not None or release_trial:
        if release_row is not None:
            done = work.release_row(on, season, release_row, why)
        else:
            done = work.release_trial(on, release_trial)
        say(f"{done.kernels:,} kernels are free again.")
    found = work.list_promises(on, lot, past)
    say(f"{found.kernels:,} kernels are promised. {found.basis.as_text()}")
    columns = ("lot", "tag", "line", "kernels", "used_for", "reserved_on", "past")
    rows = [
        (one.lot, one.tag, one.line, one.kernels, one.used_for, one.reserved_on, one.is_past) for one in found.promises
    ]
    give_result(columns, rows, out, as_json)


def keeping(
    line: Annotated[str, typer.Argument(help="One line; all lines if absent.")] = "",
    every: Annotated[bool, typer.Option("--all", help="Also lots that are simply kept.")] = False,
    keep_kernels: Annotated[int, typer.Option("--keep-kernels", help="Germinating kernels wanted of each line.")] = 200,
    regrow_below: Annotated[float, typer.Option("--regrow-below", help="Regrow what germinates worse, 0 to 1.")] = 0.85,
    dead_below: Annotated[float, typer.Option("--dead-below", help="What germinates worse is of no use.")] = 0.5,
    oldest_years: Annotated[int, typer.Option("--oldest-years", help="Older lots may go.")] = 10,
    retest_years: Annotated[int, typer.Option("--retest-years", help="Older tests no longer tell.")] = 3,
    untested: Annotated[float, typer.Option("--untested", help="Share counted on of a lot never tested.")] = 0.85,
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Which lots to count, test, regrow or discard, and why of each. Nothing is discarded by itself."""
    on = open_books(station, today)
    from firstsilk.science.seed.keeping import KeepingRule
    from firstsilk.work.seed.keeping import list_keeping

    rule = KeepingRule(keep_kernels, regrow_below, dead_below, oldest_years, retest_years, untested)
    found = list_keeping(on, rule, line, needed_only=not every)
    say(", ".join(f"{number:,} {what}" for what, number in found.counts) + "." if found.counts else "No lots.")
    say(found.basis.as_text())
    columns = (
        *("line", "lot", "tag", "advice", "why", "kernels", "promised", "germination", "year", "place"),
        *("line_germinable", "line_need", "draft_need"),
    )
    rows = [
        (
            *(one.advice.lot.line, one.advice.lot.name, one.tag, one.advice.advice, "; ".join(one.advice.why)),
            *(one.advice.lot.kernels, one.advice.lot.promised, one.advice.lot.germination_frac, one.advice.lot.year),
            *(one.place, one.advice.line_germinable, one.advice.line_need, one.draft_need),
        )
        for one in found.lots
    ]
    give_result(columns, rows, out, as_json, {"rule": asdict(found.rule)})


def remnant(
    season: Season = "", out: Out = "", as_json: AsJson = False, station: StationCode = "", today: Today = ""
) -> None:
    """Is each increase of a season sown from remnant seed? A finding for each that is not."""
    on = open_books(station, today)
    from firstsilk.work.seed.remnant import check_season_increases

    found = check_season_increases(on, season)
    for finding in found.findings:
        say(finding.as_text())
    say(found.basis.as_text())
    columns = ("row", "line", "lot", "increases", "remnant_lot", "remnant_kernels")
    rows = [(one.row, one.line, one.lot, one.increases, one.remnant_lot, one.remnant_kernels) for one in found.rows]
    give_result(columns, rows, out, as_json, {"findings": [one.as_json() for one in found.findings]})
