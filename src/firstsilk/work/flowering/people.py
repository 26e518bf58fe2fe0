"""Who is in the crew, by code alone; since when, in which team, how long have they worked, and may they go on?"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from django.db import IntegrityError, transaction

from firstsilk.answers import Finding, InputRefused, refuse, shorten_value
from firstsilk.records.models import Note, Station, Worker
from firstsilk.science.flowering.crew import HOURS_A_DAY, share_of_first_day
from firstsilk.science.flowering.rows import find_undone
from firstsilk.work.flowering.chain import as_note
from firstsilk.work.flowering.crew import FIRST_DAYS_RULE
from firstsilk.work.flowering.crew_plan import read_crew_of
from firstsilk.work.flowering.day import read_day_list
from firstsilk.work.flowering.notes import NoteDraft, write_notes
from firstsilk.work.flowering.teams import plan_teams
from firstsilk.work.flowering.work_rules import BANDS, Rule, read_rules
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_station

CODE = re.compile(r"[A-Z]{0,3}-?[0-9]{1,6}[A-Z]?")
TEAM = re.compile(r"[A-Za-z0-9-]{1,12}")
MOST_HOURS_NOTED = 24.0
AWAY_DAYS = 7
"""After so many days away the shorter first days begin anew (Rutgers, as in the cautions on heat)."""


@dataclass(frozen=True, slots=True)
class PersonWritten:
    """What is written down of a person: a code, never a name, and nothing about health."""

    code: str
    age_band: str = "adult"
    team: str = ""
    first_day: date | None = None
    trained_on: date | None = None
    left_on: date | None = None


@dataclass(frozen=True, slots=True)
class Person:
    """One person as the day sees them.

    `may_h` is what is left of today's hours by the rule and the first days, None where nothing is set; `planned_h` the
    team's hours by today's list. `first_days` says how much of the hours a newcomer works, empty for others.
    """

    written: PersonWritten
    band: str
    is_there: bool
    today_h: float
    week_h: float
    planned_h: float | None
    may_h: float | None
    first_days: str
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class PeopleList:
    """The crew: who is there, who is to come or has left, the rules, and what is over them."""

    season: str
    today: date
    people: tuple[Person, ...]
    rules: Mapping[str, Rule]
    findings: tuple[Finding, ...]
    basis: Basis

    @property
    def there(self) -> tuple[Person, ...]:
        """Those who are there today."""
        return tuple(one for one in self.people if one.is_there)

    @property
    def away(self) -> tuple[Person, ...]:
        """Those who are to come or have left."""
        return tuple(one for one in self.people if not one.is_there)


def add_person(on: Occasion, person: PersonWritten) -> PersonWritten:
    """Write a new person down, by code.

    Raises
    ------
    InputRefused
        If the code is taken or reads like a name, or a value cannot be.
    """
    station = get_station(on.station)
    _check(person)
    try:
        with transaction.atomic():
            Worker.objects.create(station=station, **_values(person), code=person.code)
    except IntegrityError:
        raise refuse(
            "worker_taken", f"There is a worker {person.code} already.", "A code is never given to a second person."
        ) from None
    return person


def change_person(on: Occasion, person: PersonWritten) -> PersonWritten:
    """Change what is written of a person: all fields but the code, which stays.

    Raises
    ------
    InputRefused
        If nobody has the code, or a value cannot be.
    """
    station = get_station(on.station)
    _check(person)
    with transaction.atomic():
        if not Worker.objects.filter(station=station, code=person.code).update(**_values(person)):
            raise refuse("worker_unknown", f"There is no worker {person.code}.", "Add them first.")
    return person


def note_hours(on: Occasion, code: str, hours: float) -> float:
    """Write down the hours that a person worked on the occasion's day; what was noted of them before is replaced.

    Raises
    ------
    InputRefused
        If nobody has the code, or the hours cannot be.
    """
    if find_person(on, code) is None:
        raise refuse("worker_unknown", f"There is no worker {shorten_value(code)}.", "Add them first.")
    if not 0 < hours <= MOST_HOURS_NOTED:
        raise refuse("hours_wrong", f"{hours:g} hours in a day cannot be.", f"Give up to {MOST_HOURS_NOTED:g}.")
    station = get_station(on.station)
    with transaction.atomic():
        Station.objects.select_for_update().get(pk=station.pk)
        every = Note.objects.filter(station=station, practice=False, taken_on=on.today)
        undone = find_undone(as_note(one) for one in every.filter(replaces__isnull=False))
        noted = every.filter(kind="worked", worker=code).order_by("position").values_list("uuid", flat=True)
        first, *others = [str(uuid) for uuid in noted if str(uuid) not in undone] or [""]
        drafts = [NoteDraft("worked", "", f"{hours:g}", unit="hours", replaces=first, worker=code)]
        drafts += [NoteDraft("withdrawn", "", "hours set anew", replaces=one) for one in others]
        write_notes(on, drafts)
    return hours


def find_person(on: Occasion, code: str) -> PersonWritten | None:
    """What is written of a person; None if nobody has the code."""
    one = Worker.objects.filter(station=get_station(on.station), code=code).first()
    return None if one is None else _written(one)


def _values(person: PersonWritten) -> dict[str, object]:
    return {
        "age_band": person.age_band,
        "team": person.team,
        "first_day": person.first_day,
        "trained_on": person.trained_on,
        "left_on": person.left_on,
    }


def _check(person: PersonWritten) -> None:
    if not CODE.fullmatch(person.code):
        raise refuse(
            "worker_code",
            f"{shorten_value(person.code)!r} is no worker code.",
            "Use up to three capitals and figures, as W07: names stay out of the books.",
        )
    if person.age_band not in BANDS:
        raise refuse("band_unknown", f"There is no age band {person.age_band!r}.", f"Bands: {', '.join(BANDS)}.")
    if person.team and not TEAM.fullmatch(person.team):
        raise refuse("team_name", f"{shorten_value(person.team)!r} is no team.", "Use up to 12 letters and figures.")
    if person.first_day and person.left_on and person.left_on < person.first_day:
        raise refuse("worker_days", f"{person.code} cannot leave before the first day.", "Check both days.")


def _written(one: Worker) -> PersonWritten:
    return PersonWritten(one.code, one.age_band, one.team, one.first_day, one.trained_on, one.left_on)


def read_people(on: Occasion, season: str = "", code: str = "") -> PeopleList:
    """The crew with hours noted and planned against what is allowed.

    Notes
    -----
    Hours are those of `worked` notes: a person's of a day added up, a week from Monday to the day. Planned hours are
    the team's by today's list. A newcomer's days count from the first day, or by the days on which the person was
    noted if those are fewer; they begin anew after a week away.
    """
    station = get_station(on.station)
    rules = read_rules(on)
    written = [_written(one) for one in Worker.objects.filter(station=station).order_by("code")]
    written = [one for one in written if code in ("", one.code)]
    hours, n_notes = _read_hours(station, on.today)
    noted = _read_days(station, {one.code for one in written}, on.today)
    planned, why_not = _plan_hours(on, season)
    usual = _usual_hours(on, season)
    clocks = _read_clocks(station, on.today)
    people = tuple(
        _tell(
            one, on.today, rules[one.age_band], hours.get(one.code, {}), noted.get(one.code, []), planned, usual, clocks
        )
        for one in written
    )
    unknown = sorted({who for who in hours if who and who not in {one.code for one in written}} if not code else ())
    findings = tuple(finding for one in people for finding in one.findings) + tuple(map(_say_unknown, unknown))
    missing = tuple(filter(None, (why_not, "" if n_notes else "notes of hours worked")))
    used = (("people", len(people)), ("notes of hours", n_notes))
    return PeopleList(season, on.today, people, rules, findings, Basis(used, missing))


def _is_there(one: PersonWritten, today: date) -> bool:
    return (one.first_day is None or one.first_day <= today) and (one.left_on is None or one.left_on > today)


def _read_hours(station: Station, today: date) -> tuple[dict[str, dict[date, float]], int]:
    """Hours of each worker by day over the week up to today, from `worked` notes that stand."""
    since = today - timedelta(days=today.weekday())
    every = Note.objects.filter(station=station, practice=False, taken_on__gte=since, taken_on__lte=today)
    undone = find_undone(as_note(one) for one in every.filter(replaces__isnull=False))
    hours: dict[str, dict[date, float]] = defaultdict(lambda: defaultdict(float))
    n_notes = 0
    for uuid, worker, day, value in every.filter(kind="worked").values_list("uuid", "worker", "taken_on", "value"):
        told = _read_number(value)
        if str(uuid) not in undone and told is not None:
            hours[worker][day] += told
            n_notes += 1
    return hours, n_notes


def _read_number(text: str) -> float | None:
    try:
        told = float(text.replace(",", "."))
    except ValueError:
        return None
    return told if 0 <= told <= MOST_HOURS_NOTED else None


def _read_days(station: Station, codes: Iterable[str], today: date) -> dict[str, list[date]]:
    """Days on which each worker was noted within six weeks, in order."""
    since = today - timedelta(days=42)
    found = Note.objects.filter(station=station, practice=False, worker__in=list(codes), taken_on__gte=since)
    days: dict[str, list[date]] = defaultdict(list)
    for worker, day in found.filter(taken_on__lt=today).values_list("worker", "taken_on").distinct():
        days[worker].append(day)
    return {worker: sorted(told) for worker, told in days.items()}


def _read_clocks(station: Station, today: date) -> dict[str, tuple[str, str]]:
    """The first and last clock time of today's notes of phones, by worker."""
    found = Note.objects.filter(station=station, practice=False, source="phone", taken_on=today).exclude(worker="")
    clocks: dict[str, tuple[str, str]] = {}
    for worker, local in found.values_list("worker", "taken_local"):
        first, last = clocks.get(worker, (local[11:16], local[11:16]))
        clocks[worker] = (min(first, local[11:16]), max(last, local[11:16]))
    return clocks


def _plan_hours(on: Occasion, season: str) -> tuple[dict[str, float], str]:
    """Hours of each team by today's list, or why they are not known."""
    try:
        plan = plan_teams(on, read_day_list(on, season))
    except InputRefused as refused:
        return {}, f"planned hours ({refused})"
    return {team.name: plan.busy_min(team.name) / 60.0 for team in plan.teams}, ""


def _usual_hours(on: Occasion, season: str) -> float:
    try:
        crew = read_crew_of(on, season)
    except InputRefused:
        crew = None
    return crew.hours_a_day if crew is not None else HOURS_A_DAY


def count_days_worked(person: PersonWritten, noted: list[date], today: date) -> int | None:
    """How many days a person has worked since coming or coming back; None where the first day is not known."""
    if person.first_day is None:
        return None
    days = [day for day in noted if day >= person.first_day]
    calendar = (today - person.first_day).days
    if not days:
        return calendar
    last = [*days, today]
    back = max((at for at in range(1, len(last)) if (last[at] - last[at - 1]).days > AWAY_DAYS), default=0)
    return min(calendar, len(days) - back)


def _tell(
    one: PersonWritten,
    today: date,
    rule: Rule,
    hours: Mapping[date, float],
    noted: list[date],
    planned: Mapping[str, float],
    usual: float,
    clocks: Mapping[str, tuple[str, str]],
) -> Person:
    today_h, week_h = hours.get(today, 0.0), sum(hours.values())
    worked = count_days_worked(one, noted, today)
    share = share_of_first_day(FIRST_DAYS_RULE, worked) if worked is not None and worked >= 0 else 1.0
    limits = [usual * share] if share < 1 else []
    limits += [rule.hours_a_day] if rule.hours_a_day is not None else []
    limits += [max(0.0, rule.hours_a_week - (week_h - today_h))] if rule.hours_a_week is not None else []
    may_h = min(limits, default=None)
    is_there = _is_there(one, today)
    planned_h = planned.get(one.team) if is_there and one.team else None
    said = (
        f"day {worked + 1} of work: {share:.0%} of the hours, {usual * share:.1f} h"
        if share < 1 and worked is not None
        else ""
    )
    person = Person(one, BANDS[one.age_band], is_there, today_h, week_h, planned_h, may_h, said if is_there else "", ())
    found = tuple(_find(person, rule, clocks.get(one.code)))
    return Person(one, BANDS[one.age_band], is_there, today_h, week_h, planned_h, may_h, person.first_days, found)


def _find(person: Person, rule: Rule, clock: tuple[str, str] | None) -> Iterable[Finding]:
    code = person.written.code
    over_day = rule.hours_a_day is not None and person.today_h > rule.hours_a_day
    over_week = rule.hours_a_week is not None and person.week_h > rule.hours_a_week
    if over_day:
        yield _over(code, "hours_day", f"{person.today_h:g} h today, {rule.hours_a_day:g} allowed")
    if over_week:
        yield _over(code, "hours_week", f"{person.week_h:g} h this week, {rule.hours_a_week:g} allowed")
    is_new = person.first_days and person.may_h is not None and not (over_day or over_week)
    if is_new and person.today_h > (person.may_h or 0.0):
        yield _over(code, "hours_new", f"{person.today_h:g} h today, {person.may_h:.1f} for somebody new to the work")
    if person.may_h is not None and person.planned_h is not None and person.planned_h > person.may_h + 1 / 60:
        yield _over(code, "hours_planned", f"{person.planned_h:.1f} h planned today, {person.may_h:.1f} may be worked")
    if clock and rule.earliest and clock[0] < f"{rule.earliest:%H:%M}":
        yield _over(code, "hours_early", f"noted at {clock[0]}, not before {rule.earliest:%H:%M}")
    if clock and rule.latest and clock[1] > f"{rule.latest:%H:%M}":
        yield _over(code, "hours_late", f"noted at {clock[1]}, not after {rule.latest:%H:%M}")
    if person.is_there and person.written.trained_on is None:
        yield Finding(
            "not_trained",
            f"{code} is there, and no day of training is written down",
            repair="Show them the work and the cautions, then write the day down",
            stops=False,
        )


def _over(code: str, name: str, said: str) -> Finding:
    return Finding(name, f"{code}: {said}", repair="Let them stop, or send them home earlier", stops=False)


def _say_unknown(code: str) -> Finding:
    return Finding(
        "worker_not_listed",
        f"hours are noted for {code}, who is not on the list",
        repair="Add the code, or correct the note",
        stops=False,
    )
