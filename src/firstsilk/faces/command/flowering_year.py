"""How are the day and its notes worked from the command line?"""

from __future__ import annotations

from typing import Annotated

import typer

from firstsilk.answers import refuse
from firstsilk.faces.command.giving import AsJson, Out, give_result, say
from firstsilk.faces.command.nursery_year import Season
from firstsilk.faces.command.station import StationCode, Today, open_books, read_day


def day(
    season: Season = "",
    teams: Annotated[int, typer.Option(help="Part the list over so many teams; 0: those of the workers, or one.")] = 0,
    team: Annotated[str, typer.Option(help="Only this team's tasks, as it walks them.")] = "",
    by_loss: Annotated[bool, typer.Option("--by-loss", help="In the order of what is lost if it waits a day.")] = False,
    range_m: Annotated[float, typer.Option(help="From one range to the next: row and alley [m].")] = 5.0,
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Today's list: rows to sow, look at, bag, pollinate and pick, each with its reason, its rank and its team."""
    on = open_books(station, today)
    from firstsilk.science.flowering.day import rank_tasks
    from firstsilk.work.cautions import CAUTIONS_SHORT
    from firstsilk.work.flowering.day import read_day_list
    from firstsilk.work.flowering.teams import list_team_names, plan_teams

    found = read_day_list(on, season, by_forecast=True)
    plan = plan_teams(on, found, teams, range_m) if teams or team or list_team_names(on) else None
    walked = [task for _, task in plan.order(found.tasks, team)] if plan else list(found.tasks)
    say(f"{found.today}: {len(found.tasks)} tasks in season {found.season}. {found.basis.as_text()}")
    for line in (*CAUTIONS_SHORT, *(plan.sentences if plan else ())):
        say(line)
    ranks = {(task.do, task.number): rank for rank, task in enumerate(rank_tasks(found.tasks), 1)}
    tasks = rank_tasks(walked) if by_loss else walked
    columns = ("do", "row", "tag", "line", "count", "male_rows", "days_left", "why", "again", "rank")
    columns += ("good_ears_lost", "team", "why_here")
    rows = [
        (
            task.do,
            task.number,
            task.tag,
            found.rows[task.number].line,
            task.count,
            ";".join(str(number) for number in task.males),
            task.days_left,
            task.why,
            task.again,
            ranks[task.do, task.number],
            round(task.urgency, 4),
            plan.team_of(task) if plan else "",
            task.here,
        )
        for task in tasks
    ]
    give_result(columns, rows, out, as_json, {"season": found.season, "today": found.today})


def targets(
    season: Season = "",
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Each target's chance, how many more it wants, and when to stop: what will not be reached first."""
    on = open_books(station, today)
    from firstsilk.work.flowering.targets import read_targets

    found = read_targets(on, season)
    for line in (*found.sentences, f"{found.basis.as_text()} {found.workable}".rstrip()):
        say(line)
    columns = ("group", "target", "kind", "female", "male", "ears_wanted", "kernels_wanted", "made", "lost", "more")
    columns += ("today", "possible", "days_left", "last_day", "stop_after", "chance_now", "chance_as_asked")
    columns += ("chance_at_most", "says", "instead", "rows")
    rows = [
        (
            one.group,
            one.progress.number,
            one.progress.kind,
            one.progress.female,
            one.progress.male,
            one.progress.ears_wanted,
            one.progress.kernels_wanted or None,
            one.progress.ears_pollinated,
            one.progress.spoiled,
            one.outlook.more,
            one.today,
            round(one.outlook.possible, 1),
            one.days_left,
            one.last_on,
            one.stop_on,
            round(one.outlook.now_frac, 3),
            round(one.outlook.asked_frac, 3),
            round(one.outlook.can_frac, 3),
            one.says,
            " ".join(one.instead),
            ";".join(str(number) for number, _ in one.tags),
        )
        for one in found.targets
    ]
    give_result(columns, rows, out, as_json, {"season": found.season, "today": found.today})


def note(
    kind: Annotated[str, typer.Argument(help="Kind of note, such as silk, shed, pollinated, spoiled, rated.")],
    row: Annotated[str, typer.Argument(help="Row number or tag.")],
    value: Annotated[str, typer.Argument(help="Count, date or score; today for silk and shed if absent.")] = "",
    detail: Annotated[str, typer.Option(help="What kind of it: self, cross, silk_exposed, vigour, ...")] = "",
    male: Annotated[str, typer.Option(help="Row number or tag of the male.")] = "",
    bag: Annotated[str, typer.Option(help="Number of the bag that identifies the pollination.")] = "",
    taken: Annotated[str, typer.Option(help="Day the note speaks of, as 2031-07-21; today if absent.")] = "",
    worker: Annotated[str, typer.Option(help="Worker code.")] = "",
    doubt: Annotated[str, typer.Option(help="Why the note is in doubt, if it is.")] = "",
    season: Season = "",
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Write one note about a row, as from paper keyed back."""
    on = open_books(station, today)
    from firstsilk.work.flowering.desk_notes import write_row_note

    taken_on = read_day(taken) or on.today
    written = write_row_note(on, season, kind, row, value, detail, male, bag, taken_on, worker, doubt, source="paper")
    say(f"Noted: {written}.")


def notes(
    tag: Annotated[str, typer.Option(help="Only notes of this tag.")] = "",
    limit: Annotated[int, typer.Option(min=1, help="How many of the newest.")] = 50,
    verify: Annotated[
        bool, typer.Option("--verify", help="Walk the chain of hashes and say whether it holds.")
    ] = False,
    anchor: Annotated[
        str, typer.Option(help="With --verify: the signs behind the word chain on a printed sheet.")
    ] = "",
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """The newest notes, or whether the chain of all notes still holds."""
    on = open_books(station, today)
    from firstsilk.work.flowering.chain import verify_chain
    from firstsilk.work.flowering.notes import list_notes
    from firstsilk.work.shelf import read_tag_given

    if verify or anchor:
        check = verify_chain(on, anchor)
        if not check.ok:
            told = f"The chain of notes breaks at link {check.first_broken}: {check.reason}"
            repair = "Compare with an older copy of the books, and with the phone or sheet that the note came from."
            raise refuse("chain_broken", told, repair)
        say(f"The chain of {check.n:,} notes holds.")
        give_result(("notes", "holds", "head"), [(check.n, check.ok, check.head)], out, as_json)
        return
    columns = ("position", "taken", "kind", "detail", "tag", "value", "male", "bag", "worker", "source", "doubt", "id")
    rows = [
        (
            one.position,
            one.note.taken_local,
            one.note.kind,
            one.note.detail,
            one.note.tag,
            one.note.value,
            one.note.male,
            one.note.bag,
            one.note.worker,
            one.note.source,
            one.note.doubt,
            one.note.id,
        )
        for one in list_notes(on, read_tag_given(tag) if tag else None, limit, up_to=on.today)
    ]
    give_result(columns, rows, out, as_json)
