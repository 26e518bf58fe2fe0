"""How many kernels does each lot hold, and how many of them are promised?"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from django.db.models import Min, QuerySet, Sum
from django.db.models.functions import Coalesce

from firstsilk.records.models import GerminationTest, Line, Lot, Movement, Reservation, Station
from firstsilk.work.standing import read_kept


@dataclass(frozen=True, slots=True)
class LotStock:
    """One lot with its stock: the sum of its movements, and what of it is promised.

    `germination_frac` is that of the newest test, of so many seeds (None: not known).
    """

    id: int
    tag: str
    name: str
    line: str
    year: int
    germination_frac: float | None
    kernels: int
    reserved: int
    germination_seeds: int | None = None

    @property
    def free(self) -> int:
        """Kernels neither used nor promised."""
        return self.kernels - self.reserved


def read_stock(station: Station, lines: Iterable[str] | None = None, up_to: date | None = None) -> list[LotStock]:
    """The stock of every lot, oldest first; only lots of these lines if given; movements up to a day if given.

    Of lines that are given, lots of records merged into them are theirs too.
    """
    lots = Lot.objects.filter(station=station)
    if lines is None:
        return _count_stock(station, lots, up_to)
    kept = read_kept(station, up_to)
    name_of = dict(Line.objects.filter(station=station, name__in=set(lines)).values_list("pk", "name"))
    merged_in = {gone: name_of[number] for gone, number in kept.items() if number in name_of}
    lots = lots.filter(line__in=[*name_of, *merged_in])
    line_of = {lot.pk: merged_in[lot.line_id] for lot in lots if lot.line_id in merged_in} if merged_in else {}
    stock = _count_stock(station, lots, up_to, is_part=True)
    return [replace(one, line=line_of[one.id]) if one.id in line_of else one for one in stock]


def read_lot_stock(lot: Lot, up_to: date | None = None) -> LotStock:
    """The stock of one lot."""
    only = Lot.objects.filter(pk=lot.pk)
    return _count_stock(lot.station, only, up_to, is_part=True, with_later=True)[0]


def _count_stock(
    station: Station, lots: QuerySet[Lot], up_to: date | None = None, is_part: bool = False, with_later: bool = False
) -> list[LotStock]:
    """Stock of some lots. `is_part`: they are few among all of the station, so that only their movements are added."""
    moves = Movement.objects.filter(station=station)
    held = Reservation.objects.filter(station=station, released_on__isnull=True)
    if up_to is not None:
        moves = moves.filter(moved_on__lte=up_to)
        held = Reservation.objects.filter(station=station, reserved_on__lte=up_to).exclude(released_on__lte=up_to)
    if is_part:
        moves, held = moves.filter(lot__in=lots), held.filter(lot__in=lots)
    stock = dict(moves.order_by().values_list("lot").annotate(sum=Coalesce(Sum("kernels"), 0)))
    promised = dict(held.order_by().values_list("lot").annotate(sum=Coalesce(Sum("kernels"), 0)))
    later = set() if with_later else _not_there_yet(station, up_to, lots if is_part else None)
    older = _read_older_tests(station, up_to, lots if is_part else None)
    # Whole records of lots and lines would take five times as long where there are many.
    told = lots.order_by("year", "name").values_list(*_TOLD)
    return [
        LotStock(pk, tag, name, line, year, tested[0], stock.get(pk, 0), promised.get(pk, 0), tested[1])
        for pk, tag, name, line, year, *test in told.iterator(5000)
        if pk not in later
        for tested in (_germination(pk, test, up_to, older),)
    ]


_TOLD = ("pk", "tag", "name", "line__name", "year", "germination_frac", "germination_seeds", "germination_tested_on")
_Tested = tuple[float | None, int | None]


def _germination(pk: int, test: Sequence[Any], up_to: date | None, older: dict[int, _Tested]) -> _Tested:
    """Share and seeds of a lot's newest test up to the day; both None where there was none yet."""
    frac, seeds, tested_on = test
    if up_to is not None and tested_on is not None and tested_on > up_to:
        return older.get(pk, (None, None))
    return frac, None if frac is None else seeds


def _read_older_tests(station: Station, up_to: date | None, among: QuerySet[Lot] | None) -> dict[int, _Tested]:
    """The newest test up to a day of each lot that was tested again after it."""
    if up_to is None:
        return {}
    tests = GerminationTest.objects.filter(station=station, tested_on__lte=up_to, lot__germination_tested_on__gt=up_to)
    tests = tests if among is None else tests.filter(lot__in=among)
    found = tests.order_by("tested_on", "pk").values_list("lot", "germinated", "seeds")
    return {lot: (germinated / seeds, seeds) for lot, germinated, seeds in found}


def _not_there_yet(station: Station, up_to: date | None, among: QuerySet[Lot] | None) -> set[int]:
    """Lots whose every movement lies after a day: on that day they did not exist."""
    if up_to is None:
        return set()
    moves = Movement.objects.filter(station=station)
    moves = moves if among is None else moves.filter(lot__in=among)
    first = moves.order_by().values("lot").annotate(first=Min("moved_on"))
    return set(first.filter(first__gt=up_to).values_list("lot", flat=True))
