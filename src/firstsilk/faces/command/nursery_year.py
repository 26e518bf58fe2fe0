"""How is the nursery planned and sown from the command line?"""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Annotated

import typer

from firstsilk.answers import refuse
from firstsilk.faces.command.giving import AsJson, Out, give_result, say
from firstsilk.faces.command.station import StationCode, Today, open_books, read_day
from firstsilk.faces.files.tables import read_table

if TYPE_CHECKING:
    from firstsilk.work.nursery.lay_out import PlannedRow

Season = Annotated[str, typer.Option("--season", help="Season, such as 2031 or 2031W; the day's season if absent.")]

PLAN_COLUMNS = (
    "row", "field_row", "field_col", "line", "purpose", "target", "kind", "male", "lot", "kernels", "sow_on",
    "silk_expected", "pollinations", "meet_frac", "why",
)  # fmt: skip


def plan(
    season: Annotated[str, typer.Argument(help="Season to plan, such as 2032 or 2032W.")],
    add: Annotated[
        str, typer.Option("--add", help="Table of targets to add: kind, female, male, ears, kernels, ...")
    ] = "",
    sow_from: Annotated[str, typer.Option(help="First day the field can be sown, as 2032-05-15.")] = "",
    rows_per_range: Annotated[int, typer.Option(help="Rows side by side in one range.")] = 20,
    assurance: Annotated[float, typer.Option(help="Chance wanted of reaching each target.")] = 0.95,
    fix: Annotated[bool, typer.Option("--fix", help="Make the rows and reserve the seed.")] = False,
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Plan crosses and selfs: rows, kernels, lots, sowing days. Shows the plan; --fix makes it."""
    on = open_books(station, today)
    from firstsilk.faces.files.year import read_wants
    from firstsilk.work.nursery.plan import PlanSettings, bring_targets, check_season_name, plan_nursery

    year = check_season_name(season)
    first = read_day(sow_from) or date(year, 5, 15)
    if add:
        wants, places = read_wants(read_table(add))
        targets, n_new = bring_targets(on, season, wants, places)
        say(f"{n_new} targets added, {len(wants) - n_new} there before; {len(targets)} in season {season}.")
    settings = PlanSettings(sow_from=first, rows_per_range=rows_per_range, assurance=assurance)
    made = plan_nursery(on, season, settings, fix)
    for lack in made.short:
        say(f"Short of seed: {lack.message}.")
    say(f"{len(made.rows)} rows, {made.kernels:,} kernels, {len(made.short)} targets short of seed.")
    say(made.basis.as_text())
    if not fix:
        say("No row was made and no seed reserved. Add --fix to do so.")
    rows = [_plan_cells(row) for row in made.rows]
    more = {"season": made.season, "fixed": made.fixed, "kernels": made.kernels}
    more |= {"short": [lack.message for lack in made.short], "basis": made.basis.as_text()}
    give_result(PLAN_COLUMNS, rows, out, as_json, more)


def _plan_cells(row: PlannedRow) -> tuple[object, ...]:
    """A planned row as the cells of `PLAN_COLUMNS`."""
    return (
        row.number,
        row.field_row,
        row.field_col,
        row.line,
        row.purpose,
        row.target,
        row.kind,
        row.male,
        row.lot_name,
        row.kernels,
        row.sow_on,
        row.silk_expected,
        row.pollinations,
        row.meet_frac,
        row.why,
    )


def sow(
    file: Annotated[str, typer.Argument(help="Table of what was sown: row, sown[, misplanted, remark].")] = "",
    as_planned: Annotated[bool, typer.Option("--as-planned", help="Note all rows due by the day as sown.")] = False,
    season: Season = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Note what was sown, with as-planted corrections, and take its seed out of the lots."""
    on = open_books(station, today)
    from firstsilk.faces.files.year import read_as_sown
    from firstsilk.work.nursery.sow import record_sowing, sow_as_planned

    if as_planned == bool(file):
        raise refuse("sow_what", "Say what was sown.", "Give a table, or --as-planned, one of the two.")
    if as_planned:
        done = sow_as_planned(on, season, on.today)
    else:
        rows, places = read_as_sown(read_table(file))
        done = record_sowing(on, season, rows, "file", places)
    for finding in done.findings:
        say(finding.as_text())
    columns = ("season", "noted", "rows_settled", "kernels_out")
    give_result(columns, [(done.season, done.noted, done.settled, done.kernels)], "", as_json)
