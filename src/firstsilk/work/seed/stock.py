"""How many kernels does each lot hold, and how many of them are promised?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import Min, QuerySet, Sum
from django.db.models.functions import Coalesce

from firstsilk.records.models import Lot, Movement, Reservation, Station


@dataclass(frozen=True, slots=True)
class LotStock:
    """One lot with its stock: the sum of its movements, and what of it is promised."""

    id: int
    tag: str
    name: str
    line: str
    year: int
    germination_frac: float | None
    kernels: int
    reserved: int

    @property
    def free(self) -> int:
        """Kernels neither used nor promised."""
        return self.kernels - self.reserved


def read_stock(station: Station, lines: Iterable[str] | None = None, up_to: date | None = None) -> list[LotStock]:
    """The stock of every lot, oldest first; only lots of these lines if given; movements up to a day if given."""
    lots = Lot.objects.filter(station=station).select_related("line")
    if lines is not None:
        lots = lots.filter(line__name__in=list(lines))
    return _count_stock(station, lots, up_to)


def read_lot_stock(lot: Lot, up_to: date | None = None) -> LotStock:
    """The stock of one lot."""
    return _count_stock(lot.station, Lot.objects.filter(pk=lot.pk).select_related("line"), up_to, lot)[0]


def _count_stock(
    station: Station, lots: QuerySet[Lot], up_to: date | None = None, only: Lot | None = None
) -> list[LotStock]:
    moves = Movement.objects.filter(station=station)
    held = Reservation.objects.filter(station=station, released_on__isnull=True)
    if up_to is not None:
        moves = moves.filter(moved_on__lte=up_to)
        held = Reservation.objects.filter(station=station, reserved_on__lte=up_to).exclude(released_on__lte=up_to)
    if only is not None:
        moves, held = moves.filter(lot=only), held.filter(lot=only)
    stock = dict(moves.order_by().values_list("lot").annotate(sum=Coalesce(Sum("kernels"), 0)))
    promised = dict(held.order_by().values_list("lot").annotate(sum=Coalesce(Sum("kernels"), 0)))
    later = _not_there_yet(station, up_to)
    return [
        LotStock(
            lot.pk,
            lot.tag,
            lot.name,
            lot.line.name,
            lot.year,
            _germination(lot, up_to),
            stock.get(lot.pk, 0),
            promised.get(lot.pk, 0),
        )
        for lot in lots.order_by("year", "name")
        if only is not None or lot.pk not in later
    ]


def _germination(lot: Lot, up_to: date | None) -> float | None:
    """The germination on record; None where it was tested after the day."""
    tested_on = lot.germination_tested_on
    return None if up_to is not None and tested_on is not None and tested_on > up_to else lot.germination_frac


def _not_there_yet(station: Station, up_to: date | None) -> set[int]:
    """Lots whose every movement lies after a day: on that day they did not exist."""
    if up_to is None:
        return set()
    first = Movement.objects.filter(station=station).order_by().values("lot").annotate(first=Min("moved_on"))
    return set(first.filter(first__gt=up_to).values_list("lot", flat=True))
