"""How are the crew and the rules for age bands worked from the command line?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, time
from typing import TYPE_CHECKING, Annotated

import typer

from firstsilk.answers import refuse
from firstsilk.faces.command.giving import AsJson, Out, give_result, say
from firstsilk.faces.command.nursery_year import Season
from firstsilk.faces.command.station import StationCode, Today, open_books, read_day

if TYPE_CHECKING:
    from firstsilk.work.flowering.people import Person
    from firstsilk.work.occasion import Occasion

NONE = "none"
COLUMNS: tuple[str, ...] = (
    *("code", "age_band", "team", "first_day", "trained_on", "left_on"),
    *("there", "today_h", "week_h", "planned_h", "may_h", "first_days"),
)


def people(
    code: Annotated[str, typer.Argument(help="A person's code, as W07; all if absent.")] = "",
    band: Annotated[str, typer.Option(help="Set: under_16, 16_17 or adult; wanted for a new person.")] = "",
    team: Annotated[str, typer.Option(help="Set: the team; none takes it away.")] = "",
    first_day: Annotated[str, typer.Option(help="Set: first day, as 2031-07-14.")] = "",
    trained: Annotated[str, typer.Option(help="Set: day of training.")] = "",
    left: Annotated[str, typer.Option(help="Set: first day on which the person is gone; none takes it back.")] = "",
    hours: Annotated[float | None, typer.Option(help="Set: hours worked that day, in place of those noted.")] = None,
    season: Season = "",
    out: Out = "",
    with_age_bands: Annotated[
        bool, typer.Option("--with-age-bands", help="Write age bands into the file of --out too.")
    ] = False,
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Who is in the crew, with hours noted, planned and allowed; options add or change the person named."""
    if hours is not None and not code:
        raise refuse("worker_missing", "Whose hours these are is not said.", "Name a person: W05 --hours 3.5.")
    on = open_books(station, today)
    from firstsilk.work.cautions import HEAT, UNDER_18
    from firstsilk.work.flowering.people import note_hours, read_people
    from firstsilk.work.flowering.work_rules import LAW_DECIDES

    code = code.upper()
    changes = _read_changes(band, team, {"first_day": first_day, "trained_on": trained, "left_on": left})
    if changes:
        _write_person(on, code, changes)
    if hours is not None:
        say(f"Noted: {code} worked {note_hours(on, code, hours):g} h on {on.today}.")
    found = read_people(on, season, code)
    for line in (*(one.as_text() for one in found.findings), HEAT.text, UNDER_18.text, LAW_DECIDES):
        say(line)
    say(found.basis.as_text())
    columns, rows = COLUMNS, [_tell_person(one) for one in found.people]
    if out not in ("", "-") and not with_age_bands:
        columns, rows = _leave_out_bands(columns, rows)
    give_result(columns, rows, out, as_json, {"today": found.today})


def _read_changes(band: str, team: str, days: Mapping[str, str]) -> dict[str, object]:
    """What is to be set of a person; `none` takes a team or a day away."""
    changes: dict[str, object] = {"age_band": band} if band else {}
    if team:
        changes["team"] = "" if team == NONE else team
    return changes | {name: None if text == NONE else read_day(text) for name, text in days.items() if text}


def _tell_person(one: Person) -> tuple[object, ...]:
    """One person as a row of the table."""
    known = one.written
    written = (known.code, known.age_band, known.team, known.first_day, known.trained_on, known.left_on)
    hours = (round(one.today_h, 2), round(one.week_h, 2), _round(one.planned_h), _round(one.may_h))
    return (*written, one.is_there, *hours, one.first_days)


def _leave_out_bands(
    columns: tuple[str, ...], rows: list[tuple[object, ...]]
) -> tuple[tuple[str, ...], list[tuple[object, ...]]]:
    """A file travels: who is a minor stays in the books unless it is asked for."""
    at = columns.index("age_band")
    return columns[:at] + columns[at + 1 :], [row[:at] + row[at + 1 :] for row in rows]


def _write_person(on: Occasion, code: str, changes: dict[str, object]) -> None:
    from firstsilk.work.flowering.people import PersonWritten, add_person, change_person, find_person

    if not code:
        raise refuse("worker_nameless", "Whom to change is not said.", "Name the code first: firstsilk people W07 ...")
    known = find_person(on, code)
    if known is not None:
        change_person(on, replace(known, **changes))  # type: ignore[arg-type]
        return
    if "age_band" not in changes:
        raise refuse("worker_unknown", f"There is no worker {code}.", "A new person wants --band.")
    add_person(on, replace(PersonWritten(code), **changes))  # type: ignore[arg-type]


def _round(value: float | None) -> float | None:
    return None if value is None else round(value, 2)


def work_rule(
    band: Annotated[str, typer.Argument(help="under_16, 16_17 or adult; absent: only show.")] = "",
    bar: Annotated[str, typer.Option(help="Set: tasks that it may not do, with commas; none for no task.")] = "",
    hours_a_day: Annotated[float | None, typer.Option(help="Set: hours a day at most; 24 for no limit.")] = None,
    hours_a_week: Annotated[float | None, typer.Option(help="Set: hours a week at most; 168 for no limit.")] = None,
    earliest: Annotated[str, typer.Option(help="Set: not before, as 06:00; none takes it away.")] = "",
    latest: Annotated[str, typer.Option(help="Set: not after, as 20:00; none takes it away.")] = "",
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """What an age band may do and how long, as this station has set it; options set it. Local law decides."""
    on = open_books(station, today)
    from firstsilk.work.flowering.work_rules import EXAMPLES, LAW_DECIDES, TASKS, read_rules, set_rule

    changes: dict[str, object] = {}
    if bar:
        changes["barred"] = () if bar == NONE else tuple(one.strip() for one in bar.split(",") if one.strip())
    for name, hours, no_limit in (("hours_a_day", hours_a_day, 24), ("hours_a_week", hours_a_week, 168)):
        if hours is not None:
            changes[name] = None if hours == no_limit else hours
    for name, text in (("earliest", earliest), ("latest", latest)):
        if text:
            changes[name] = None if text == NONE else _read_time(text)
    rules = read_rules(on)
    if band and band not in rules:
        raise refuse("band_unknown", f"There is no age band {band!r}.", f"Bands: {', '.join(rules)}.")
    if changes and not band:
        raise refuse("band_missing", "Which age band is not said.", f"Name one of: {', '.join(rules)}.")
    if changes:
        rules[band] = set_rule(on, replace(rules[band], **changes))  # type: ignore[arg-type]
    say(LAW_DECIDES)
    for one in EXAMPLES:
        say(f"Example, {one.source}, {one.who}: {one.says}")
    say(f"Tasks: {', '.join(TASKS)}.")
    columns = ("age_band", "barred", "hours_a_day", "hours_a_week", "earliest", "latest", "set_by", "set_on")
    table = [
        (
            one.age_band,
            ",".join(one.barred),
            one.hours_a_day,
            one.hours_a_week,
            _say_time(one.earliest),
            _say_time(one.latest),
            one.set_by,
            one.set_on if isinstance(one.set_on, date) else None,
        )
        for name, one in rules.items()
        if band in ("", name)
    ]
    give_result(columns, table, out, as_json, {})


def _read_time(text: str) -> time:
    try:
        return time.fromisoformat(text)
    except ValueError:
        raise refuse("not_a_time", f"{text!r} is not a time of day.", "Write it as 06:30.") from None


def _say_time(value: time | None) -> str | None:
    return None if value is None else f"{value:%H:%M}"
