"""How did a line come to be, from its first cross on, and what was wanted of it since?"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from django.db.models import Min, Q

from firstsilk.records.models import Line, Lot, Station, Target
from firstsilk.science.lineage.members import FOUNDERS, ONE_PARENT
from firstsilk.work.lineage.ancestry import Books, find_parents, tell_method
from firstsilk.work.lineage.timeline import Event


def tell_descent(station: Station, line: Line, books: Books, day: date) -> list[Event]:
    """The steps from the first cross, or founder, down to a line, itself left out, each with its first seed.

    Notes
    -----
    A step is dated by the year of its oldest lot in the books, and has no year where there is none.
    """
    steps = _climb(line, books)
    of_line = {pk: step.pk for step in steps for pk in books.find_records([step.pk])}
    lots = Lot.objects.filter(station=station, line__in=of_line, year__lte=day.year) if steps else Lot.objects.none()
    years: dict[int, int] = {}
    for pk, year in lots.order_by().values_list("line").annotate(first=Min("year")):
        years[of_line[pk]] = min(year, years.get(of_line[pk], year))
    return [Event(years.get(step.pk), None, "descent", _tell_step(step, books)) for step in reversed(steps)]


def _climb(line: Line, books: Books) -> list[Line]:
    """The lines that a line was selfed, sibbed or doubled from, upwards to the cross or founder they began with."""
    steps: list[Line] = []
    at = line
    while at.method in ONE_PARENT or (at.method == "bulk" and find_parents(at, books)[1] is None):
        mother = find_parents(at, books)[0]
        if mother is None or mother in steps or mother == line:
            break
        steps.append(mother)
        at = mother
    return steps


def _tell_step(step: Line, books: Books) -> str:
    parents = [one.name for one in find_parents(step, books) if one]
    how = tell_method(step)
    if step.method in FOUNDERS or not parents:
        return f"{step.name}: {how}."
    made = f"{how} of" if step.method in ("cross", "bulk") else f"{how}, from"
    return f"{step.name}: {made} {' × '.join(parents)}."


def tell_wishes(line: Line, merged: Sequence[Line], day: date) -> list[Event]:
    """What plans asked of a line up to a day, and of records merged into it: season, kind, partner, ears, reason."""
    records = {line.pk: "", **{one.pk: one.name for one in merged}}
    asked = Target.objects.filter(Q(female__in=records) | Q(male__in=records))
    told = asked.exclude(asked_on__gt=day).filter(season__year__lte=day.year + 1).order_by("asked_on", "pk")
    return [_tell_wish(one, records) for one in told.select_related("season", "female", "male")]


def _tell_wish(wish: Target, records: dict[int, str]) -> Event:
    as_female = wish.female_id in records
    partner = wish.male if as_female else wish.female
    with_it = f" with {partner.name}" if partner is not None and partner.pk not in records else ""
    why = f": {wish.reason.rstrip('.')}" if wish.reason else ""
    ears = f"{wish.ears_wanted} ear{'' if wish.ears_wanted == 1 else 's'}"
    told = f"Wanted in {wish.season.name}: {ears}, {wish.kind}{with_it}{why}."
    of = wish.female_id if as_female else wish.male_id
    return Event(wish.season.year, wish.asked_on or date(wish.season.year, 1, 1), "wanted", told, records[of or 0])
