"""How are the crew, the pollen's hours, supplies and the cutoff worked from the command line?"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Annotated

import typer

from firstsilk.answers import refuse
from firstsilk.faces.command.giving import AsJson, Out, give_result, say
from firstsilk.faces.command.nursery_year import Season
from firstsilk.faces.command.station import StationCode, Today, open_books, read_day

if TYPE_CHECKING:
    from firstsilk.work.flowering.cutoff import SeasonCutoff

DECIMALS = 3


def crew_plan(
    workers: Annotated[int | None, typer.Option(help="Set: people who know the work.")] = None,
    beginners: Annotated[int | None, typer.Option(help="Set: people new to it.")] = None,
    beginners_from: Annotated[str, typer.Option(help="Set: the beginners' first day, as 2031-07-18.")] = "",
    hours: Annotated[float | None, typer.Option(help="Set: hours a day.")] = None,
    per_hour: Annotated[
        float | None, typer.Option(help="Set: pollinations of a worker in an hour; 0 clears it.")
    ] = None,
    efficiency: Annotated[float | None, typer.Option(help="Set: share of the hours worked; 0 clears it.")] = None,
    season: Season = "",
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Workers needed by day, with spread, against the crew of the season; options set the crew first."""
    on = open_books(station, today)
    from firstsilk.work.cautions import CAUTIONS_SHORT
    from firstsilk.work.flowering.crew import read_crew
    from firstsilk.work.flowering.crew_plan import CrewFacts, read_crew_of, set_crew

    given = (workers, beginners, hours, per_hour, efficiency)
    if beginners_from or any(value is not None for value in given):
        crew = read_crew_of(on, season) or CrewFacts(0, 0, None, 7.0, None, None)
        changes: dict[str, object] = {"workers": workers, "beginners": beginners, "hours_a_day": hours}
        changes = {name: value for name, value in changes.items() if value is not None}
        if beginners_from:
            changes["beginners_from"] = read_day(beginners_from)
        for name, value in (("per_hour", per_hour), ("efficiency_frac", efficiency)):
            if value is not None:
                changes[name] = value or None
        set_crew(on, season, replace(crew, **changes))  # type: ignore[arg-type]
    need = read_crew(on, season)
    for line in (*need.sentences, f"Pace: {need.per_hour:.1f} an hour, {need.per_hour_from}.", *CAUTIONS_SHORT):
        say(line)
    say(need.basis.as_text())
    columns = ("date", "p10", "p50", "p90", "workers_p50", "workers_p90", "crew_makes", "short_frac", "hours", "note")
    rows = [
        (
            day.date,
            _round(day.p10),
            _round(day.p50),
            _round(day.p90),
            day.workers_p50,
            day.workers_p90,
            _round(day.crew_makes),
            _round(day.short_frac),
            _round(day.hours),
            day.note,
        )
        for day in need.days
    ]
    more = {"season": need.season, "today": need.today, "per_hour": _round(need.per_hour), "lost": _round(need.lost)}
    give_result(columns, rows, out, as_json, more)


def _round(value: float | None) -> float | None:
    # Adding 0 turns a negative zero into a plain one.
    return None if value is None else round(value, DECIMALS) + 0.0


def pollen_hours(
    season: Season = "",
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """The hours in which pollen is dry at the nursery, today and on the coming days, as ranges of clock time."""
    on = open_books(station, today)
    from firstsilk.work.cautions import HEAT_CAUTION
    from firstsilk.work.flowering.pollen_window import SOURCES, read_pollen_windows, write_clock

    found = read_pollen_windows(on, season)
    for line in (*found.sentences, HEAT_CAUTION, found.basis.as_text()):
        say(line)
    columns = ("date", "start_early", "start_late", "end_early", "end_late", "usable_min", "told_by", "note")
    rows = [
        (
            day.date,
            *(
                None if edge is None else write_clock(edge)
                for edge in (day.start_early, day.start_late, day.end_early, day.end_late)
            ),
            None if day.usable_min is None else round(day.usable_min),
            SOURCES[day.source],
            day.note,
        )
        for day in found.days
    ]
    give_result(columns, rows, out, as_json, {"season": found.season, "today": found.today})


def supplies(
    season: Season = "",
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Bags, clips, tags and the rest for the season and the next week; rates are practice, from memory."""
    on = open_books(station, today)
    from firstsilk.work.flowering.supplies import read_supplies

    found = read_supplies(on, season)
    for line in (*found.sentences, found.basis.as_text()):
        say(line)
    columns = ("what", "season_low", "season_high", "used", "left_low", "left_high", "week_low", "week_high")
    rows = [
        (
            one.name,
            one.season_low,
            one.season_high,
            one.used,
            one.left_low,
            one.left_high,
            one.week_low,
            one.week_high,
        )
        for one in found.supplies
    ]
    more = {"season": found.season, "today": found.today, "order_by": found.order_by}
    give_result(columns, rows, out, as_json, more)


GROUP_COLUMNS = ("group", "rows", "wanted", "made", "middle", "sure", "share_by_then", "left", "next_day_adds")
GROUP_COLUMNS += ("days_earlier", "silk_after_shed_days")


def _list_groups(found: SeasonCutoff) -> list[tuple[object, ...]]:
    """One line for each range, family or row."""
    return [
        (
            one.name,
            one.rows,
            one.wanted,
            one.standing,
            one.middle,
            one.sure,
            *(_round(each) for each in (one.share, one.left, one.next_adds, one.earlier_days, one.asi)),
        )
        for one in found.groups
    ]


def cutoff(
    share: Annotated[float, typer.Option(help="Share of the season's pollinations that is wanted.")] = 0.95,
    set_to: Annotated[str, typer.Option("--set", help="Set the cutoff to this day; none takes it away.")] = "",
    by: Annotated[str, typer.Option(help="Tell each range, family or row instead of each day.")] = "",
    asi: Annotated[float | None, typer.Option(help="Leave out rows whose silk comes more days after shed.")] = None,
    season: Season = "",
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """What each possible last day of pollinating gives, and the day for a wanted share; --set writes one down."""
    on = open_books(station, today)
    from firstsilk.work.flowering.cutoff import read_cutoff, set_cutoff

    if not 0 < share <= 1:
        raise refuse("share_wrong", f"--share takes a number above 0, up to 1; not {share:g}.", "Give 0.95 for 95 %.")
    if set_to:
        day: date | None = None if set_to == "none" else read_day(set_to)
        set_cutoff(on, season, day)
        say(f"The cutoff is {day}." if day else "The cutoff is taken away.")
    found = read_cutoff(on, season, share, by, asi)
    for line in (*found.sentences, found.basis.as_text()):
        say(line)
    more = {"season": found.season, "cutoff_on": found.cutoff_on, "middle": found.middle, "sure": found.sure}
    if by:
        give_result(GROUP_COLUMNS, _list_groups(found), out, as_json, {**more, "until": found.until})
        return
    columns = ("last_day", "share_p10", "share_p50", "share_p90", "gained", "chance", "ripe_before_frost")
    columns += ("days_earlier",)
    rows = [
        (
            one.date,
            _round(one.share_p10),
            _round(one.share_p50),
            _round(one.share_p90),
            _round(one.gained),
            _round(one.chance_frac),
            _round(one.ripe_frac),
            _round(one.earlier_days),
        )
        for one in found.days
    ]
    give_result(columns, rows, out, as_json, more)
