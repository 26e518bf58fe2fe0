"""By what other names is a line known, and who wrote them down?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.db import transaction

from firstsilk.answers import refuse, shorten_value
from firstsilk.records.models import Line, LineName, Station
from firstsilk.work.lineage.newcomers import LONGEST
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_line, get_station

LONGEST_REMARK = 200


@dataclass(frozen=True, slots=True)
class OtherName:
    """Another name of a line: whose, who uses it or why, and when and by whom it was written down."""

    name: str
    line: str
    remark: str
    recorded_on: date
    recorded_by: str


@dataclass(frozen=True, slots=True)
class OtherNames:
    """Other names by line and name, and what the answer rests on."""

    names: tuple[OtherName, ...]
    basis: Basis


def list_line_names(on: Occasion, line: str = "") -> OtherNames:
    """The other names written down by the day, of all lines or of one (by any of its names).

    Raises
    ------
    InputRefused
        If there is no such line.

    Notes
    -----
    Checked by tests/work/test_line_names.py.
    """
    station = get_station(on.station)
    found = LineName.objects.filter(station=station, recorded_on__lte=on.today).select_related("line")
    of_all = found.order_by("line__name", "name")
    told = list_names_of(on, get_line(station, line)) if line else tuple(_tell(one) for one in of_all)
    return OtherNames(told, Basis((("other names", len(told)),)))


def list_names_of(on: Occasion, line: Line) -> tuple[OtherName, ...]:
    """The other names of one line that were written down by the day."""
    found = LineName.objects.filter(line=line, recorded_on__lte=on.today).select_related("line")
    return tuple(_tell(one) for one in found.order_by("name"))


def add_line_name(on: Occasion, line: str, name: str, remark: str = "") -> OtherName:
    """Write down another name of a line; from then on it finds the line wherever a name is asked for.

    Parameters
    ----------
    on
        The occasion.
    line
        The line, by any of its names.
    name
        The name to add; one that this line has already is not added again.
    remark
        Who calls it so, or since when.

    Raises
    ------
    InputRefused
        If the line is unknown, the name is empty or too long, or a line has it already, as its own name or another
        (capitals do not make it another); the sentence names that line.

    Notes
    -----
    Checked by tests/work/test_line_names.py.
    """
    wanted = " ".join(name.split())
    _check_text(wanted, remark.strip())
    with transaction.atomic():
        # Two who write at once: the second waits, and then finds the name of the first.
        station = Station.objects.select_for_update().get(pk=get_station(on.station).pk)
        of = get_line(station, line)
        there = LineName.objects.filter(station=station, name=wanted, line=of).select_related("line").first()
        if there is not None:
            return _tell(there)
        _check_free(station, wanted, of)
        made = {"remark": remark.strip(), "recorded_on": on.today, "recorded_by": on.who}
        return _tell(LineName.objects.create(station=station, line=of, name=wanted, **made))


def _tell(one: LineName) -> OtherName:
    return OtherName(one.name, one.line.name, one.remark, one.recorded_on, one.recorded_by)


def _check_text(name: str, remark: str) -> None:
    if not name:
        raise refuse("name_empty", "The other name is empty.", "Write the name.", column="name")
    if len(name) > LONGEST["name"] or not name.isprintable():
        told = f"The name {shorten_value(name)!r} is too long or holds signs that do not print."
        raise refuse("name_unfit", told, f"Use {LONGEST['name']} signs or fewer.", column="name")
    if len(remark) > LONGEST_REMARK:
        told = f"The remark {shorten_value(remark)!r} is longer than {LONGEST_REMARK} signs."
        raise refuse("too_long", told, "Shorten it.", column="remark")


def _check_free(station: Station, name: str, of: Line) -> None:
    own = Line.objects.filter(station=station, name__iexact=name).first()
    if own is not None:
        whose = "that line's own name" if own == of else "the name of a line in the books"
        raise refuse("name_taken", f"{name!r} is {whose} ({own.name}).", _ANOTHER, column="name", line=own.name)
    other = LineName.objects.filter(station=station, name__iexact=name).select_related("line").first()
    if other is not None:
        told = f"{name!r} is another name of {other.line.name} already ({other.name})."
        raise refuse("name_taken", told, _ANOTHER, column="name", line=other.line.name)


_ANOTHER = "Write another name, or merge the two records if they are one line."
