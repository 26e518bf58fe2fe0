"""How many kernels does the scale find in a lot, and what does that change in the books?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.db import transaction

from firstsilk.records.models import Lot, Station, Weighing
from firstsilk.science.seed.weighing import Weighed, weigh_kernels
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.booking import add_movement
from firstsilk.work.seed.stock import read_lot_stock
from firstsilk.work.shelf import get_lot, get_station

FAR_OFF_FRAC = 0.2
"""A count further from the books than this share of them may be that of another lot (a choice of ours)."""


@dataclass(frozen=True, slots=True)
class WeighedLot:
    """A lot on the scale: kernels in the books before and after, what was weighed, whether it was booked."""

    tag: str
    name: str
    line: str
    before: int
    after: int
    promised: int
    net_g: float
    weighed: Weighed
    cautions: tuple[str, ...]
    booked: bool
    basis: Basis

    @property
    def change(self) -> int:
        """Kernels that the weighing adds to (positive) or takes from the books."""
        return self.after - self.before


def weigh_lot(
    on: Occasion,
    tag_or_name: str,
    net_g: float,
    samples_g: Sequence[float] = (),
    sample_kernels: int | None = None,
    book: bool = True,
) -> WeighedLot:
    """Weigh a lot; the difference to what was written is booked as ``counted``.

    Parameters
    ----------
    net_g, samples_g, sample_kernels
        As `weigh_kernels`; without a sample the lot's known kernel weight is used.
    book
        False shows what it would change and writes nothing.

    Returns
    -------
    WeighedLot
        Always with the kernels before and after.

    Raises
    ------
    InputRefused
        As `weigh_kernels`, or if the lot is not in the books.
    """
    station = get_station(on.station)
    with transaction.atomic():
        if book:
            Station.objects.select_for_update().get(pk=station.pk)
        lot = get_lot(station, tag_or_name)
        stock = read_lot_stock(lot)
        weighed = weigh_kernels(net_g, samples_g, sample_kernels, lot.kernel_weight_mg)
        if book:
            _book(on, lot, weighed, weighed.kernels - stock.kernels, net_g, samples_g, sample_kernels)
    cautions = list(weighed.cautions)
    off = abs(weighed.kernels - stock.kernels)
    if stock.kernels > 0 and off > FAR_OFF_FRAC * stock.kernels:
        told = f"{off / stock.kernels:.0%} {'more' if weighed.kernels > stock.kernels else 'fewer'} than in the books"
        cautions.append(f"The scale finds {told}: look whether this is the right lot.")
    if weighed.kernels < stock.reserved:
        cautions.append(f"More seed is promised ({stock.reserved:,} kernels) than the lot holds.")
    if stock.kernels < 0:
        cautions.append(f"The books stood at {stock.kernels:,} kernels: more was used than they held.")
    counted = (("kernels counted", len(samples_g) * sample_kernels),) if samples_g and sample_kernels else ()
    return WeighedLot(
        lot.tag,
        lot.name,
        lot.line.name,
        stock.kernels,
        weighed.kernels,
        stock.reserved,
        net_g,
        weighed,
        tuple(cautions),
        book,
        Basis((("weighings", 1), *counted), () if samples_g else ("a counted sample",)),
    )


def _book(
    on: Occasion,
    lot: Lot,
    weighed: Weighed,
    change: int,
    net_g: float,
    samples_g: Sequence[float],
    sample_kernels: int | None,
) -> None:
    counted = len(samples_g) * sample_kernels if samples_g and sample_kernels else None
    Weighing.objects.create(
        station=lot.station,
        lot=lot,
        weighed_on=on.today,
        net_g=net_g,
        sample_kernels=counted,
        sample_g=sum(samples_g) if counted else None,
        kernels=weighed.kernels,
        recorded_at=on.now,
        recorded_by=on.who,
    )
    if counted:
        lot.kernel_weight_mg = weighed.kernel_weight_mg
        lot.save(update_fields=["kernel_weight_mg"])
    if change:
        add_movement(on, lot, change, "counted", f"weighed: {net_g:g} g at {weighed.kernel_weight_mg:.1f} mg a kernel")
