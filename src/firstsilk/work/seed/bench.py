"""What is done with one lot at the bench: weigh it, put it in its place, both or none?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.db import transaction

from firstsilk.answers import refuse
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.lots import read_lot
from firstsilk.work.seed.places import Placed, place_lot
from firstsilk.work.seed.weighing import WeighedLot, weigh_lot
from firstsilk.work.shelf import get_lot, get_station


@dataclass(frozen=True, slots=True)
class BenchLot:
    """A lot as it lies on the bench."""

    tag: str
    name: str
    line: str
    year: int
    kernels: int
    promised: int
    kernel_weight_mg: float | None
    shelf: str
    box: str
    slot: str
    cautions: tuple[str, ...]
    basis: Basis


@dataclass(frozen=True, slots=True)
class BenchWork:
    """What the bench did, or would do: a weighing, a place, or both."""

    tag: str
    name: str
    weighed: WeighedLot | None
    placed: Placed | None
    booked: bool
    basis: Basis


def read_bench_lot(on: Occasion, tag_or_name: str) -> BenchLot:
    """The lot of a tag that was scanned or typed."""
    page = read_lot(on, tag_or_name.strip())
    lot = get_lot(get_station(on.station), page.stock.tag)
    stock = page.stock
    return BenchLot(
        tag=stock.tag,
        name=stock.name,
        line=stock.line,
        year=stock.year,
        kernels=stock.kernels,
        promised=stock.reserved,
        kernel_weight_mg=page.kernel_weight_mg,
        shelf=lot.shelf,
        box=lot.box,
        slot=lot.slot,
        cautions=page.cautions,
        basis=page.basis,
    )


def do_bench_work(
    on: Occasion,
    tag: str,
    net_g: float | None = None,
    samples_g: Sequence[float] = (),
    sample_kernels: int | None = None,
    place: tuple[str, str, str] | None = None,
    book: bool = False,
) -> BenchWork:
    """Weigh a lot, put it in its place (shelf, box, slot), or both; without `book` only say what that would change.

    Raises
    ------
    InputRefused
        If neither is asked, or as `weigh_lot` and `place_lot`; then nothing is written.
    """
    if net_g is None and samples_g:
        raise refuse("lot_unweighed", "The sample was weighed, the lot was not.", "Weigh the whole lot too.")
    if net_g is None and place is None:
        raise refuse("nothing_entered", "Neither a weight nor a place was entered.", "Enter one, or scan the next lot.")
    with transaction.atomic():
        lot = get_lot(get_station(on.station), tag)
        weighed = None if net_g is None else weigh_lot(on, tag, net_g, samples_g, sample_kernels, book)
        placed = None if place is None else place_lot(on, tag, *place)
        if not book:
            # Placing tells who else lies in the slot; what was only asked is taken back.
            transaction.set_rollback(True)
    return BenchWork(lot.tag, lot.name, weighed, placed, book, Basis((("lots", 1),)))
