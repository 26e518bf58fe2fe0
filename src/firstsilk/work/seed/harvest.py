"""Which ears were picked, and how many kernels were shelled from them?

Ears and kernels are noted on rows or bags; `new_lots` makes lots of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.db import transaction

from firstsilk.answers import Finding, Place, refuse
from firstsilk.records.models import Row
from firstsilk.work.complaints import Complaints
from firstsilk.work.flowering.notes import NoteDraft, write_notes
from firstsilk.work.flowering.states import read_states
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.new_lots import MadeLots, NewLot, make_lots
from firstsilk.work.shelf import get_season, get_station

__all__ = ["Harvested", "MadeLots", "NewLot", "Picked", "make_lots", "record_harvest"]


MOST = 100_000
"""More ears or kernels of one row than this are a slip of the keyboard (a choice of ours)."""


@dataclass(frozen=True, slots=True)
class Picked:
    """Good ears picked from a row and the kernels shelled from them, as far as known; with a bag, of that ear."""

    row: int
    ears: int | None = None
    kernels: int | None = None
    bag: str = ""


@dataclass(frozen=True, slots=True)
class Harvested:
    """Notes written for a harvest."""

    season: str
    noted: int
    findings: tuple[Finding, ...]
    basis: Basis


def record_harvest(
    on: Occasion, season: str, picked: Sequence[Picked], source: str = "desk", places: Sequence[Place] = ()
) -> Harvested:
    """Note ears and kernels, all or none; more ears than were pollinated is a finding, never a refusal.

    Ears and kernels noted add to those noted before. `places` are the places of the entries in a table.
    """
    station = get_station(on.station)
    book = get_season(station, season, on.today)
    tags = dict(Row.objects.filter(station=station, season=book).values_list("number", "tag"))
    complaints = Complaints(places)
    drafts: list[NoteDraft] = []
    for at, one in enumerate(picked):
        with complaints.about(at):
            drafts += _drafts(one, tags, book.name)
    complaints.stop_if_any()
    with transaction.atomic():
        write_notes(on, drafts, source)
    touched = {tags[one.row] for one in picked}
    states = read_states(station, touched, on.today)
    findings = tuple(
        Finding(
            "more_ears_than_pollinated",
            f"row {number}: {state.ears_picked} ears picked, {state.ears_standing} pollinated and standing",
            Place(column="ears"),
            str(state.ears_picked),
            "Look whether ears of a neighbour row are among them",
            stops=False,
        )
        for number, tag in tags.items()
        if tag in touched and (state := states.get(tag)) is not None and state.ears_picked > state.ears_standing
    )
    return Harvested(book.name, len(drafts), findings, Basis((("rows", len(picked)),)))


def _drafts(one: Picked, tags: dict[int, str], season: str) -> list[NoteDraft]:
    if one.row not in tags:
        raise refuse("row_unknown", f"There is no row {one.row} in season {season}.", "Check the row number.")
    drafts = []
    for kind, count, unit in (("ears_picked", one.ears, "ears"), ("shelled", one.kernels, "kernels")):
        if count is not None and not 0 <= count <= MOST:
            raise refuse("count_wrong", f"Row {one.row}: {count} {unit} cannot be.", f"Write 0 to {MOST:,}.")
        if count is not None:
            drafts.append(NoteDraft(kind, tags[one.row], value=str(count), bag=one.bag, unit=unit))
    return drafts
