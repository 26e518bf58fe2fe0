"""What is to be made this season, and what does the field look like that makes it?

Targets are wishes until the plan is fixed. Fixing it makes rows with tags, reserves seed for them and gives each its
sowing day; what cannot be sown for want of seed stays a draft and is named.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.db import transaction
from django.db.models import Max, Prefetch

from firstsilk.answers import Place, refuse, shorten_value
from firstsilk.records.models import Line, Lot, Reservation, Row, Season, Station, Target
from firstsilk.work.complaints import Complaints
from firstsilk.work.nursery.joint_sowing import JointSowing
from firstsilk.work.nursery.kept_sowing import Patience
from firstsilk.work.nursery.lay_out import lay_out_rows
from firstsilk.work.nursery.plan_needs import check_counts, check_limits
from firstsilk.work.nursery.planned_rows import PlannedRow, Short
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import find_lines, get_line, get_season, get_site, get_station, take_tags
from firstsilk.work.standing import find_merged_away, rows_on, targets_on

FIRST_YEAR, LAST_YEAR = 1900, 2200
MOST_EARS = 5000
MOST_KERNELS = 500_000
"""A single wish beyond these is a slip of the keyboard (a choice of ours)."""
CROSSES = ("cross", "testcross", "backcross")


@dataclass(frozen=True, slots=True)
class Want:
    """One wish: kind, parents by name, good ears and perhaps kernels, priority 1 (first) to 3, and why."""

    kind: str
    female: str
    male: str = ""
    ears: int = 4
    kernels: int | None = None
    priority: int = 2
    reason: str = ""


@dataclass(frozen=True, slots=True)
class TargetFacts:
    """One target as the books have it."""

    number: int
    kind: str
    female: str
    male: str
    ears_wanted: int
    kernels_wanted: int | None
    priority: int
    reason: str
    state: str
    rows: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class PlanSettings:
    """How the field is laid out and how sure the counts shall be.

    `sow_from` is the first day the field can be sown; `rows_per_range` the rows side by side; `assurance` the chance
    wanted of reaching each target; `last_sowing_days` the latest sowing after the first [days]. `male_sowings` and
    `female_sowings` are the most days on which one line is sown in that role; `rows_per_day` what can be sown on one
    day (None: any number); `closed` days and all but `weekdays` (0 = Monday; empty: all) are not sown; no female is
    sown after `last_safe_on`.
    """

    sow_from: date
    rows_per_range: int = 20
    plants_per_row: int = 18
    assurance: float = 0.95
    last_sowing_days: int = 25
    cutoff_on: date | None = None
    male_sowings: int = 1
    female_sowings: int = 1
    rows_per_day: int | None = None
    closed: tuple[date, ...] = ()
    weekdays: tuple[int, ...] = ()
    last_safe_on: date | None = None


@dataclass(frozen=True, slots=True)
class NurseryPlan:
    """A plan, proposed or fixed: rows to sow, what is short of seed, who meets (None: no cross), what it rests on."""

    season: str
    fixed: bool
    rows: tuple[PlannedRow, ...]
    short: tuple[Short, ...]
    targets: tuple[TargetFacts, ...]
    kernels: int
    joint: JointSowing | None
    basis: Basis


def open_season(on: Occasion, name: str, site: str = "", sow_from: date | None = None) -> str:
    """The season of this name (``2031`` or ``2031W``), made if it is not there yet.

    Raises
    ------
    InputRefused
        If the name is not a year, or a year and W.
    """
    year = check_season_name(name)
    station = get_station(on.station)
    season, _ = Season.objects.get_or_create(
        station=station, name=name, defaults={"year": year, "site": get_site(station, site), "sow_from": sow_from}
    )
    return season.name


def check_season_name(name: str) -> int:
    """The year in the name of a season, ``2031`` or ``2031W``; refused if it is none."""
    if not (re.fullmatch(r"[0-9]{4}W?", name, re.ASCII) and FIRST_YEAR <= int(name[:4]) <= LAST_YEAR):
        told = f"{shorten_value(name)!r} is not a season."
        raise refuse("season_name", told, "Write the year, and W for its winter nursery: 2031W.")
    return int(name[:4])


def add_targets(
    on: Occasion, season: str, wants: Sequence[Want], places: Sequence[Place] = ()
) -> tuple[TargetFacts, ...]:
    """Add wishes to a season's plan, all or none.

    Parameters
    ----------
    places
        Where each wish stands in its table, so that every wrong one can be named; empty for wishes typed in. Of a
        table, wishes that the season holds already are not added again.

    Raises
    ------
    InputRefused
        If a line is unknown, a cross lacks its male, a self has another male, or a count is not positive.
    """
    station = get_station(on.station)
    complaints = Complaints(places)
    parents: list[tuple[Line, Line | None]] = []
    for at, want in enumerate(wants):
        with complaints.about(at):
            parents.append(_parents(on, station, want))
    complaints.stop_if_any()
    with transaction.atomic():
        # Two people who add at once: the second waits, so that no number is given twice.
        Station.objects.select_for_update().get(pk=station.pk)
        book = get_season(station, season)
        there = _count_targets(station, book) if places else Counter[_Wish]()
        last = Target.objects.filter(station=station, season=book).aggregate(last=Max("number"))["last"] or 0
        for want, (female, male) in zip(wants, parents, strict=True):
            wish = (want.kind, female.pk, male.pk if male else None, want.ears, want.kernels)
            if there[wish] > 0:
                there[wish] -= 1
                continue
            last += 1
            _make_target(on, book, last, want, female, male)
    return list_targets(on, season)


def bring_targets(
    on: Occasion, season: str, wants: Sequence[Want], places: Sequence[Place]
) -> tuple[tuple[TargetFacts, ...], int]:
    """Open the season if it is not there yet and add a table of wishes, all or nothing; the targets, and how many of
    them are new.

    Notes
    -----
    A wish that the season holds already, alike in kind, parents, ears and kernels, is not added again: the same table
    twice changes nothing.
    """
    with transaction.atomic():
        name = open_season(on, season)
        before = len(list_targets(on, name))
        targets = add_targets(on, name, wants, places)
    return targets, len(targets) - before


_Wish = tuple[str, int, int | None, int, int | None]


def _count_targets(station: Station, season: Season) -> Counter[_Wish]:
    """The season's targets, alike ones counted."""
    there = Target.objects.filter(station=station, season=season)
    return Counter(there.values_list("kind", "female", "male", "ears_wanted", "kernels_wanted"))


def _make_target(on: Occasion, season: Season, number: int, want: Want, female: Line, male: Line | None) -> None:
    Target.objects.create(
        station=season.station,
        season=season,
        number=number,
        kind=want.kind,
        female=female,
        male=male,
        ears_wanted=want.ears,
        kernels_wanted=want.kernels,
        priority=want.priority,
        reason=want.reason[:200],
        asked_on=on.today,
    )


def _parents(on: Occasion, station: Station, want: Want) -> tuple[Line, Line | None]:
    if want.kind not in ("self", "sib", *CROSSES):
        told = "This is not a kind of target."
        raise refuse(
            "kind_unknown", told, "Use self, sib, cross, testcross or backcross.", column="kind", value=want.kind
        )
    female = _get_parent(on, station, want.female, "female")
    _check_counts(want)
    if want.kind in CROSSES:
        male = _get_parent(on, station, want.male, "male") if want.male else None
        if male is None or male == female:
            told = f"The {want.kind} of {want.female} needs another line as male."
            raise refuse("male_missing", told, "Name it.", column="male", value=want.male)
        return female, male
    if want.male and find_lines(station, [want.male]).get(want.male) != female:
        told = f"A {want.kind} of {want.female} takes no other male."
        raise refuse("male_not_wanted", told, "Leave the male empty.", column="male", value=want.male)
    return female, None


def _get_parent(on: Occasion, station: Station, name: str, column: str) -> Line:
    """The line of this name, refused if its record was merged into another's."""
    line = get_line(station, name, column)
    gone = find_merged_away(station, on.today, [line]).get(line.pk)
    if gone is not None:
        raise refuse("line_merged_away", f"{gone.told}.", f"{gone.repair}.", column=column, value=name)
    return line


def _check_counts(want: Want) -> None:
    if not 1 <= want.ears <= MOST_EARS:
        raise refuse(
            "ears_wanted",
            f"{want.ears} ears cannot be wanted of {want.female}.",
            f"Ask for 1 to {MOST_EARS:,} ears.",
            column="ears",
        )
    if want.kernels is not None and not 1 <= want.kernels <= MOST_KERNELS:
        told = f"{want.kernels} kernels cannot be wanted of {want.female}."
        raise refuse(
            "kernels_wanted", told, f"Ask for 1 to {MOST_KERNELS:,} kernels, or leave them out.", column="kernels"
        )
    if want.priority not in (1, 2, 3):
        raise refuse(
            "priority_unknown", f"{want.priority} is not a priority.", "Use 1 (first), 2 or 3.", column="priority"
        )


def drop_target(on: Occasion, season: str, number: int) -> None:
    """Take a draft target off the plan; a planned one has rows and stays."""
    station = get_station(on.station)
    with transaction.atomic():
        # The plan may be fixed at this very moment: who comes second finds what the first has done.
        Station.objects.select_for_update().get(pk=station.pk)
        target = Target.objects.filter(station=station, season=get_season(station, season), number=number).first()
        if target is None or target.state != "draft":
            raise refuse(
                "target_not_draft", f"Target {number} is not a draft of season {season}.", "Only drafts can go."
            )
        target.delete()


def list_targets(on: Occasion, season: str) -> tuple[TargetFacts, ...]:
    """All targets of a season with the rows that serve them."""
    station = get_station(on.station)
    targets = (
        targets_on(station, on.today)
        .filter(season=get_season(station, season))
        .select_related("female", "male")
        .prefetch_related(Prefetch("rows", rows_on(station, on.today)))
        .order_by("number")
    )
    return tuple(
        TargetFacts(
            one.number,
            one.kind,
            one.female.name,
            one.male.name if one.male else "",
            one.ears_wanted,
            one.kernels_wanted,
            one.priority,
            one.reason,
            one.state,
            tuple(sorted(row.number for row in one.rows.all())),
        )
        for one in targets
    )


def plan_nursery(
    on: Occasion, season: str, settings: PlanSettings, fix: bool = False, patience: Patience = "wait"
) -> NurseryPlan:
    """Lay out the rows that the draft targets need, and fix them if asked.

    Parameters
    ----------
    on, season
        Occasion; name of the season.
    settings
        Lay-out and assurance.
    fix
        False shows the plan and changes nothing. True makes the rows with their tags and reserves their seed.
    patience
        What to do about sowing days that take long: ``wait``, ``refuse``, or ``keep`` them for the next time.

    Returns
    -------
    NurseryPlan
        Rows in walking order, what is short, totals, basis.

    Raises
    ------
    InputRefused
        If there is no draft target, or no weather to compute sowing days from.
    """
    _check_settings(settings)
    station = get_station(on.station)
    with transaction.atomic():
        if fix:
            # Two people who press at once: the second waits, and then finds no draft.
            Station.objects.select_for_update().get(pk=station.pk)
        book = get_season(station, season)
        drafts = list(
            targets_on(station, on.today)
            .filter(season=book, state="draft")
            .select_related("female", "male")
            .order_by("priority", "number")
        )
        if not drafts:
            raise refuse("nothing_to_plan", f"Season {season} has no draft target.", "Add crosses and selfs first.")
        laid = lay_out_rows(on, station, book, drafts, settings, patience)
        if fix and laid.rows:
            _fix_rows(on, book, laid.rows, settings)
        if fix and not laid.rows:
            raise refuse("no_seed_at_all", "No row can be sown: seed is short for every target.", "See the list.")
    kernels = sum(row.kernels for row in laid.rows)
    return NurseryPlan(season, fix, laid.rows, laid.short, list_targets(on, season), kernels, laid.joint, laid.basis)


def _check_settings(settings: PlanSettings) -> None:
    if not 1 <= settings.rows_per_range <= 500:
        raise refuse("rows_per_range", f"{settings.rows_per_range} rows a range cannot be.", "Use 1 to 500.")
    check_counts(settings.plants_per_row, settings.assurance)
    if not 0 <= settings.last_sowing_days <= 60:
        told = f"A last sowing {settings.last_sowing_days} days after the first is not usable."
        raise refuse("last_sowing_days", told, "Use 0 to 60 days.")
    check_limits(settings)
    if settings.cutoff_on is not None and settings.cutoff_on <= settings.sow_from:
        raise refuse("cutoff_too_soon", "The cutoff lies before the sowing.", "Choose a day after the sowing.")


def _fix_rows(on: Occasion, season: Season, planned: Sequence[PlannedRow], settings: PlanSettings) -> None:
    station = season.station
    tags = take_tags(station, "row", len(planned))
    lines = {line.name: line for line in Line.objects.filter(station=station, name__in={row.line for row in planned})}
    lots = {lot.tag: lot for lot in Lot.objects.filter(station=station, tag__in={row.lot for row in planned})}
    targets = {target.number: target for target in Target.objects.filter(station=station, season=season)}
    rows = Row.objects.bulk_create(
        Row(
            station=station,
            season=season,
            tag=tag,
            number=row.number,
            field_row=row.field_row,
            field_col=row.field_col,
            line=lines[row.line],
            lot=lots[row.lot],
            target=targets.get(row.target or 0),
            purpose=row.purpose,
            kernels=row.kernels,
            sow_on=row.sow_on,
            sowing=row.sowing,
        )
        for tag, row in zip(tags, planned, strict=True)
    )
    Reservation.objects.bulk_create(
        Reservation(station=station, lot=row.lot, row=row, target=row.target, kernels=row.kernels, reserved_on=on.today)
        for row in rows
    )
    served = {row.target for row in planned if row.target and row.purpose != "male"}
    Target.objects.filter(station=station, season=season, number__in=served).update(state="planned")
    season.sow_from = season.sow_from or settings.sow_from
    season.cutoff_on = settings.cutoff_on or season.cutoff_on or settings.sow_from + timedelta(days=100)
    season.save(update_fields=["sow_from", "cutoff_on"])
