"""Where does a lot lie, what is in a box, and which lots claim the same slot?"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from django.db import transaction

from firstsilk.answers import Finding, Place, refuse
from firstsilk.records.models import Lot, Station
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.lots import tell_place
from firstsilk.work.seed.stock import LotStock, read_stock
from firstsilk.work.shelf import get_lot, get_station

LONGEST_PLACE = 20


@dataclass(frozen=True, slots=True)
class Placed:
    """A lot put in a place; a lot that already lies in the same slot is a finding."""

    tag: str
    name: str
    before: str
    after: str
    findings: tuple[Finding, ...]
    basis: Basis


@dataclass(frozen=True, slots=True)
class LyingLot:
    """One lot in its place."""

    tag: str
    name: str
    line: str
    kernels: int
    shelf: str
    box: str
    slot: str


@dataclass(frozen=True, slots=True)
class BoxContent:
    """Lots by shelf, box and slot, and the slots that hold more than one lot."""

    lots: tuple[LyingLot, ...]
    findings: tuple[Finding, ...]
    basis: Basis


def place_lot(on: Occasion, tag_or_name: str, shelf: str = "", box: str = "", slot: str = "") -> Placed:
    """Write down where a lot was put; an earlier place is forgotten.

    Raises
    ------
    InputRefused
        If no place is named, a part is too long, or a slot is named without its box or shelf.

    Notes
    -----
    Two lots with seed in one slot are told as a finding, not refused: the lot lies there already.
    """
    station = get_station(on.station)
    shelf, box, slot = (part.strip() for part in (shelf, box, slot))
    if not (shelf or box or slot):
        raise refuse("place_missing", "No place was named.", "Name the shelf, the box or the slot.")
    if slot and not (shelf or box):
        raise refuse("slot_alone", f"Slot {slot} of which box?", "Name the box or the shelf too.")
    for part in (shelf, box, slot):
        if len(part) > LONGEST_PLACE:
            told = f"The place {part[:24]!r} is too long."
            raise refuse("place_too_long", told, f"Use {LONGEST_PLACE} signs or fewer.")
    with transaction.atomic():
        Station.objects.select_for_update().get(pk=station.pk)
        lot = get_lot(station, tag_or_name)
        before = tell_place(lot)
        lot.shelf, lot.box, lot.slot = shelf, box, slot
        lot.save(update_fields=["shelf", "box", "slot"])
    findings = tuple(
        one for one in _find_shared(_read_lying(station, read_stock(station, up_to=on.today))) if lot.tag in one.value
    )
    return Placed(lot.tag, lot.name, before, tell_place(lot), findings, Basis((("lots", 1),)))


def list_box(on: Occasion, shelf: str = "", box: str = "") -> BoxContent:
    """Lots with seed on a shelf, in a box; all that have a place if neither is named. Shared slots are findings."""
    station = get_station(on.station)
    lying = _read_lying(station, read_stock(station, up_to=on.today))
    found = [
        one
        for one in lying
        if (not shelf or one.shelf.lower() == shelf.strip().lower())
        and (not box or one.box.lower() == box.strip().lower())
        and (one.shelf or one.box)
    ]
    homeless = sum(1 for one in lying if not (one.shelf or one.box))
    missing = (f"a place of {homeless} lots with seed",) if homeless and not (shelf or box) else ()
    return BoxContent(tuple(found), tuple(_find_shared(found)), Basis((("lots", len(found)),), missing))


def _read_lying(station: Station, stock: list[LotStock]) -> list[LyingLot]:
    """Lots with seed in the order of their places; an empty lot lies nowhere."""
    places = {
        pk: (shelf, box, slot)
        for pk, shelf, box, slot in Lot.objects.filter(station=station).values_list("pk", "shelf", "box", "slot")
    }
    lying = [LyingLot(one.tag, one.name, one.line, one.kernels, *places[one.id]) for one in stock if one.kernels > 0]
    return sorted(lying, key=lambda one: (*map(_natural, (one.shelf, one.box, one.slot)), one.name))


def _natural(text: str) -> tuple[int, str]:
    """Numbers by size, then words."""
    return (int(text), "") if text.isdecimal() and len(text) < 10 else (10**10, text.lower())


def _find_shared(lying: list[LyingLot]) -> list[Finding]:
    slots: dict[tuple[str, str, str], list[LyingLot]] = defaultdict(list)
    for one in lying:
        if one.slot:
            slots[one.shelf.lower(), one.box.lower(), one.slot.lower()].append(one)
    return [
        Finding(
            "slot_shared",
            f"{len(lots)} lots lie in one slot ({' / '.join(part for part in _where(lots[0]) if part)}): "
            + ", ".join(one.name for one in lots),
            Place(),
            ", ".join(one.tag for one in lots),
            "Look which of them lies there and place the others anew",
            stops=False,
        )
        for lots in slots.values()
        if len(lots) > 1
    ]


def _where(lot: LyingLot) -> tuple[str, str, str]:
    return lot.shelf, lot.box, lot.slot
