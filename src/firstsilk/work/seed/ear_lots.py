"""Which lot do the ears shelled now become? One ear, or several on purpose, of one row and one way of pollination."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from uuid import UUID

from firstsilk.answers import Finding, refuse
from firstsilk.records.models import Lot, LotOrigin, Movement, Row
from firstsilk.science.flowering.rows import RowState, read_row_states
from firstsilk.work.lineage.generations import is_fixed
from firstsilk.work.occasion import Occasion
from firstsilk.work.seed.ears import EarGroup, group_ears
from firstsilk.work.seed.new_lots import (
    Harvest,
    NewLot,
    count_booked,
    father_key,
    find_males,
    find_problem,
    keep_notes,
    open_harvest,
    store_new_lot,
    tell_no_lot,
)
from firstsilk.work.seed.scan_notes import read_notes_around
from firstsilk.work.shelf import get_season, get_station


@dataclass(frozen=True, slots=True)
class EarLot:
    """The lot that shelled ears went into; None with a finding where the notes cannot tell yet what they are."""

    lot: Lot | None
    kernels: int
    is_new_lot: bool
    is_new_line: bool
    findings: tuple[Finding, ...]


def put_in_lot(on: Occasion, season: str, row_tag: str, shelled: Mapping[str, str]) -> EarLot:
    """Make a lot of the ears whose kernels were just noted, or add them to the lot of that row and father.

    Parameters
    ----------
    shelled
        Ids of the notes of their kernels, with the bag of each; call inside the transaction that wrote them.

    Raises
    ------
    InputRefused
        If the ears have several fathers, or one of them stands in a lot already.

    Notes
    -----
    A selfed ear of an unfixed mother that was read by its bag is a line and a lot of its own. Ears of a cross go into
    one lot a father. Selfed ears bulked on purpose are the bulk of their row.
    """
    station = get_station(on.station)
    book = get_season(station, season, on.today)
    notes = read_notes_around(station, row_tag, on.today)
    tags = {row_tag, *(note.tag for note in notes), *(note.male for note in notes)}
    around = Row.objects.filter(station=station, season=book, tag__in=tags)
    rows = list(around.select_related("line", "lot").order_by("number"))
    row = next(one for one in rows if one.tag == row_tag)
    states = read_row_states(notes, on.today)
    harvest = open_harvest(on, station, book, rows, states, notes, True, row)
    group = _find_group(harvest, row, set(shelled))
    if isinstance(group, Finding):
        return EarLot(None, 0, False, False, (group,))
    bags = tuple(sorted({bag for bag in shelled.values() if bag}))
    group = keep_notes(harvest, row, replace(group, bags=bags)) if bags else group
    problem = find_problem(harvest, harvest.lines[row.tag], group)
    if problem is not None:
        return EarLot(None, 0, False, False, (tell_no_lot(row, *problem),))
    return _store(harvest, row, states[row.tag], group, shelled)


def _find_group(harvest: Harvest, row: Row, ids: Collection[str]) -> EarGroup | Finding:
    """The one way of pollination of these kernels."""
    told = [note for note in harvest.notes[row.tag] if note.kind != "shelled" or note.id in ids]
    ears = group_ears(told, row.tag, harvest.line_of, harvest.givers)
    if not ears.ways:
        repair = "Note the pollination; the lot is then made with the others of the season"
        return tell_no_lot(row, "no_pollination", "kernels but no pollination noted", repair)
    if ears.unassigned:
        ways = ", ".join(f"{kind} with {father or 'its own pollen'}" for kind, father in ears.ways)
        said = f"{ears.unassigned} kernels cannot be told apart; pollinated as {ways}"
        return tell_no_lot(row, "fathers_mixed", said, "Scan the bag of the ear, or take a wrong pollination note back")
    if len(ears.groups) > 1:
        ways = " and ".join(f"{one.kind} with {one.father or 'its own pollen'}" for one in ears.groups)
        raise refuse("ears_of_several_ways", f"These ears are {ways}.", "Shell them one after the other.")
    return ears.groups[0]


def _store(harvest: Harvest, row: Row, state: RowState, group: EarGroup, shelled: Mapping[str, str]) -> EarLot:
    males, fathers = find_males(harvest, group)
    selfed = group.kind == "self" and not is_fixed(harvest.lines[row.tag])
    one_ear = selfed and len(group.bags) == 1
    there = harvest.made_before.get((row.pk, father_key(males)), [])
    if one_ear:
        there = [one for one in there if one[1] in group.bags]
    elif selfed:
        there = [one for one in there if not one[1]]
    there = [one for one in there if _has_shares(one[0], {male.pk: share for male, share in males})]
    if there:
        lot = there[0][0]
        if one_ear and count_booked([lot]):
            told = f"That ear stands in lot {lot.name} already."
            raise refuse("ear_shelled_before", told, "Take that lot back first if it was wrong, or scan the next ear.")
        _add(harvest, lot, row, group, shelled)
        return EarLot(lot, group.kernels, False, False, ())
    is_alone = len(group_ears(harvest.notes[row.tag], row.tag, harvest.line_of, harvest.givers).ways) == 1
    made = store_new_lot(harvest, row, state, group, males, fathers, is_alone, one_ear, is_booked=False)
    if not isinstance(made, NewLot):
        return EarLot(None, 0, False, False, (made,))
    lot = Lot.objects.select_related("line").get(station=harvest.station, tag=made.tag)
    _book(harvest, lot, row, group, shelled)
    return EarLot(lot, group.kernels, True, made.is_new_line, ())


def _has_shares(lot: Lot, wanted: Mapping[int, float]) -> bool:
    """Whether a lot's fathers have these shares: ears of another mixture of pollen are another lot."""
    shares = {one.male_row_id: one.share_frac for one in LotOrigin.objects.filter(lot=lot) if one.male_row_id}
    return set(shares) == set(wanted) and all(abs(shares[key] - share) < 1e-9 for key, share in wanted.items())


def _add(harvest: Harvest, lot: Lot, row: Row, group: EarGroup, shelled: Mapping[str, str]) -> None:
    _book(harvest, lot, row, group, shelled)
    others = LotOrigin.objects.filter(lot=lot).exclude(bag="")
    others.exclude(bag__in=group.bags).update(bag="")


def _book(harvest: Harvest, lot: Lot, row: Row, group: EarGroup, shelled: Mapping[str, str]) -> None:
    """Each ear is a movement of its own that names its note, so that a kernel's ear is known."""
    kernels = dict(group.bag_kernels)
    loose = group.kernels - sum(kernels.values())
    on = harvest.on
    Movement.objects.bulk_create(
        Movement(
            station=harvest.station,
            lot=lot,
            kernels=kernels.get(bag, loose) if bag else loose,
            reason="harvested",
            used_for=(f"bag {bag} of row {row.number}" if bag else f"ears of row {row.number}")[:120],
            moved_on=on.today,
            recorded_at=on.now,
            recorded_by=on.who,
            note=UUID(note),
        )
        for note, bag in shelled.items()
        if (kernels.get(bag, loose) if bag else loose)
    )
