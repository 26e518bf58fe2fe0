"""How is the nursery planned and sown from the command line?"""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Annotated

import typer

from firstsilk.answers import refuse
from firstsilk.faces.command.giving import AsJson, Out, give_result, say
from firstsilk.faces.command.station import StationCode, Today, open_books, read_day
from firstsilk.faces.files.sowing_days import read_closed, read_weekdays
from firstsilk.faces.files.tables import read_table

if TYPE_CHECKING:
    from firstsilk.work.nursery.joint_sowing import CrossMeeting
    from firstsilk.work.nursery.plan import NurseryPlan
    from firstsilk.work.nursery.planned_rows import PlannedRow
    from firstsilk.work.occasion import Occasion

MEETING_COLUMNS = (
    "target", "kind", "female", "male", "priority", "ears", "female_sown", "male_sown", "p_meet", "ears_frac",
    "ripe_frac", "at_risk",
)  # fmt: skip
Season = Annotated[str, typer.Option("--season", help="Season, such as 2031 or 2031W; the day's season if absent.")]

PLAN_COLUMNS = (
    "row", "field_row", "field_col", "line", "purpose", "target", "kind", "male", "lot", "kernels", "sow_on",
    "silk_expected", "pollinations", "meet_frac", "why", "sowing", "served_frac",
)  # fmt: skip


def plan(
    season: Annotated[str, typer.Argument(help="Season to plan, such as 2032 or 2032W.")],
    add: Annotated[
        str, typer.Option("--add", help="Table of targets to add: kind, female, male, ears, kernels, ...")
    ] = "",
    sow_from: Annotated[str, typer.Option(help="First day the field can be sown, as 2032-05-15.")] = "",
    rows_per_range: Annotated[int, typer.Option(help="Rows side by side in one range.")] = 20,
    plants_per_row: Annotated[int, typer.Option(help="Plants wanted in a row.")] = 18,
    assurance: Annotated[float, typer.Option(help="Chance wanted of reaching each target.")] = 0.95,
    window: Annotated[int, typer.Option(help="Days after the first on which rows can still be sown.")] = 25,
    male_sowings: Annotated[int, typer.Option(help="Most days on which one male is sown, 1 to 3.")] = 1,
    female_sowings: Annotated[int, typer.Option(help="Most days on which one female is sown, 1 or 2.")] = 1,
    rows_per_day: Annotated[int | None, typer.Option(help="Rows that can be sown on one day.")] = None,
    closed: Annotated[str, typer.Option(help="Days on which nothing is sown, joined by commas.")] = "",
    weekdays: Annotated[str, typer.Option(help="Days of the week that are sown, such as mon,tue,wed,thu,fri.")] = "",
    last_safe: Annotated[str, typer.Option(help="No female is sown after this day.")] = "",
    fix: Annotated[bool, typer.Option("--fix", help="Make the rows and reserve the seed.")] = False,
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Plan crosses and selfs: rows, kernels, lots, sowing days. Shows the plan; --fix makes it."""
    try:
        shut, days_of_week = read_closed(closed), read_weekdays(weekdays)
    except ValueError as fault:
        raise typer.BadParameter(f"{fault}.") from None
    safe = read_day(last_safe)
    on = open_books(station, today)
    from firstsilk.faces.files.year import read_wants
    from firstsilk.work.nursery.plan import PlanSettings, bring_targets, check_season_name, plan_nursery

    year = check_season_name(season)
    first = read_day(sow_from) or date(year, 5, 15)
    if add:
        wants, places = read_wants(read_table(add))
        targets, n_new = bring_targets(on, season, wants, places)
        say(f"{n_new} targets added, {len(wants) - n_new} there before; {len(targets)} in season {season}.")
    settings = PlanSettings(
        sow_from=first,
        rows_per_range=rows_per_range,
        plants_per_row=plants_per_row,
        assurance=assurance,
        last_sowing_days=window,
        male_sowings=male_sowings,
        female_sowings=female_sowings,
        rows_per_day=rows_per_day,
        closed=shut,
        weekdays=days_of_week,
        last_safe_on=safe,
    )
    made = plan_nursery(on, season, settings, fix)
    _tell_plan(made)
    rows = [_plan_cells(row) for row in made.rows]
    more = {"season": made.season, "fixed": made.fixed, "kernels": made.kernels}
    more |= {"short": [lack.message for lack in made.short], "basis": made.basis.as_text()}
    more |= {"crosses": [] if made.joint is None else [_meeting_cells(one) for one in made.joint.meetings]}
    more |= {"findings": _tell_increases(on, made)}
    give_result(PLAN_COLUMNS, rows, out, as_json, more)


def _tell_increases(on: Occasion, made: NurseryPlan) -> list[dict[str, object]]:
    """Say which rows increase a line from an earlier increase instead of remnant seed."""
    from firstsilk.work.seed.remnant import check_planned_increases

    findings = check_planned_increases(on, made.rows).findings
    for finding in findings:
        say(finding.as_text())
    return [finding.as_json() for finding in findings]


def _tell_plan(made: NurseryPlan) -> None:
    """What the plan came to, in sentences."""
    from firstsilk.work.nursery.joint_sowing import tell_joint

    for lack in made.short:
        say(f"Short of seed: {lack.message}.")
    say(f"{len(made.rows)} rows, {made.kernels:,} kernels, {len(made.short)} targets short of seed.")
    if made.joint is not None:
        for told in tell_joint(made.joint):
            say(told)
    say(made.basis.as_text())
    if not made.fixed:
        say("No row was made and no seed reserved. Add --fix to do so.")


def sowing_dates(
    season: Season = "", out: Out = "", as_json: AsJson = False, station: StationCode = "", today: Today = ""
) -> None:
    """Who meets in the season's nursery as planned and sown, with which chance, and who is at risk."""
    on = open_books(station, today)
    from firstsilk.work.nursery.meetings import read_meetings

    found = read_meetings(on, season)
    for number in found.without_male:
        say(f"Target {number}: its male has no row.")
    say(f"{len(found.meetings)} crosses, {len(found.at_risk)} at risk. {found.basis.as_text()}")
    rows = [tuple(_meeting_cells(one).values()) for one in found.meetings]
    give_result(MEETING_COLUMNS, rows, out, as_json, {"season": found.season, "basis": found.basis.as_text()})


def _meeting_cells(one: CrossMeeting) -> dict[str, object]:
    """A cross with its dates and chances, under `MEETING_COLUMNS`."""
    cells = (
        one.target,
        one.kind,
        one.female,
        one.male,
        one.priority,
        one.ears,
        ";".join(day.isoformat() for day in one.female_sown),
        ";".join(day.isoformat() for day in one.male_sown),
        round(one.p_meet, 4),
        round(one.ears_frac, 4),
        round(one.ripe_frac, 4),
        one.at_risk,
    )
    return dict(zip(MEETING_COLUMNS, cells, strict=True))


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
        row.sowing,
        None if row.served_frac is None else round(row.served_frac, 4),
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
