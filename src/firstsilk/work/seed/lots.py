"""What seed is on the shelf, where did each lot come from, and where did it go?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.db import transaction
from django.db.models import Min

from firstsilk.answers import refuse
from firstsilk.records.models import Lot, LotOrigin, Movement, Station
from firstsilk.science.seed.germination import find_germination_interval, judge_germination
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.booking import MOST_KERNELS, add_movement, check_lot_name
from firstsilk.work.seed.germination_tests import GerminationFacts, read_tests
from firstsilk.work.seed.lot_notes import read_unbooked_moves
from firstsilk.work.seed.stock import LotStock, read_lot_stock, read_stock
from firstsilk.work.shelf import get_line, get_lot, get_station, take_tags
from firstsilk.work.standing import promises_on, rows_on

DESK_REASONS = ("split", "sent", "discarded", "counted")


@dataclass(frozen=True, slots=True)
class LotRow:
    """One lot on the list of lots."""

    stock: LotStock
    kind: str
    place: str
    generation: str
    is_low: bool
    germination_seeds: int | None = None


@dataclass(frozen=True, slots=True)
class LotList:
    """A page of the list of lots."""

    lots: tuple[LotRow, ...]
    total: int
    page: int
    pages: int
    kernels: int
    basis: Basis


@dataclass(frozen=True, slots=True)
class MovementFacts:
    """One movement with the stock after it."""

    moved_on: date
    kernels: int
    reason: str
    used_for: str
    who: str
    stock_after: int


@dataclass(frozen=True, slots=True)
class OriginFacts:
    """One thing a lot came from: a row with its line and season, the male row, or a parent lot."""

    row: int | None
    row_tag: str
    season: str
    mother: str
    male_row: int | None
    father: str
    parent_lot: str
    share_frac: float


@dataclass(frozen=True, slots=True)
class LotPage:
    """Everything about one lot; `used_by` are the rows sown from it by season, tag and words, `germination_interval`
    the two shares between which the lot's own germination lies (95 %, Wilson; None where nobody wrote the seeds),
    `tests` its germination tests, newest first."""

    stock: LotStock
    kind: str
    origin: str
    origin_text: str
    pedigree: str
    germination_seeds: int | None
    germination_tested_on: date | None
    kernel_weight_mg: float | None
    place: str
    origins: tuple[OriginFacts, ...]
    movements: tuple[MovementFacts, ...]
    promised: tuple[tuple[str, int], ...]
    cautions: tuple[str, ...]
    basis: Basis
    year: int = 0
    used_by: tuple[tuple[str, str], ...] = ()
    germination_interval: tuple[float, float] | None = None
    tests: tuple[GerminationFacts, ...] = ()


def list_lots(on: Occasion, text: str = "", only_in_stock: bool = False, page: int = 1, size: int = 50) -> LotList:
    """The lots whose name, line or tag holds the text, newest year first."""
    station = get_station(on.station)
    needle = text.strip().lower()
    sign = read_signs(needle)
    found = [
        lot
        for lot in read_stock(station, up_to=on.today)
        if not needle or needle in lot.name.lower() or needle in lot.line.lower() or (sign and sign in lot.tag)
    ]
    if only_in_stock:
        found = [lot for lot in found if lot.kernels > 0]
    found.sort(key=lambda lot: (-lot.year, lot.name))
    pages = max(1, -(-len(found) // size))
    page = min(max(1, page), pages)
    shown = found[(page - 1) * size : page * size]
    records = {lot.pk: lot for lot in Lot.objects.filter(pk__in=[lot.id for lot in shown]).select_related("line")}
    rows = tuple(_lot_row(stock, records[stock.id]) for stock in shown)
    untested = sum(1 for lot in found if lot.germination_frac is None and lot.kernels > 0)
    missing = (f"a germination test of {untested} lots in stock",) if untested else ()
    kernels = sum(lot.kernels for lot in found)
    return LotList(rows, len(found), page, pages, kernels, Basis((("lots", len(found)),), missing))


def read_signs(text: str) -> str:
    """Part of a tag as it may be typed: capitals without hyphens, I and L read as 1, O as 0."""
    signs = "".join(sign for sign in text.upper() if sign.isalnum())
    return signs.replace("I", "1").replace("L", "1").replace("O", "0")


def _lot_row(stock: LotStock, lot: Lot) -> LotRow:
    is_low = stock.kernels < 0 or stock.free < 0
    return LotRow(stock, lot.kind, tell_place(lot), lot.line.generation, is_low, stock.germination_seeds)


def tell_place(lot: Lot) -> str:
    """Shelf, box and slot of a lot in one text; empty where it has no place."""
    return " / ".join(part for part in (lot.shelf, lot.box, lot.slot) if part)


def read_lot(on: Occasion, tag_or_name: str) -> LotPage:
    """One lot: stock, from where, every movement, what it is promised for."""
    station = get_station(on.station)
    lot = get_lot(station, tag_or_name)
    stock = read_lot_stock(lot, on.today)
    first = lot.movements.aggregate(first=Min("moved_on"))["first"]
    if first is not None and first > on.today:
        raise refuse("lot_not_yet", f"Lot {lot.name} came into the books on {first}.", "Look at it from that day on.")
    tests = read_tests(lot, on.today)
    movements = _movements(lot, on.today)
    origins = tuple(_origin(one) for one in _origins(lot))
    missing = () if origins or lot.origin in ("received", "open_pollinated") else ("rows or lots it came from",)
    used = (("movements", len(movements)), ("origins", len(origins)))
    return LotPage(
        stock=stock,
        kind=lot.kind,
        origin=lot.origin,
        origin_text=lot.origin_text,
        pedigree=lot.line.pedigree,
        germination_seeds=stock.germination_seeds,
        germination_tested_on=tests[0].tested_on if tests else None,
        kernel_weight_mg=lot.kernel_weight_mg,
        place=tell_place(lot),
        origins=origins,
        movements=movements,
        promised=_promised(lot, on.today),
        cautions=(*_cautions(stock), *_tell_unbooked(station, lot, stock, on.today)),
        basis=Basis(used, missing),
        year=lot.year,
        used_by=tuple(
            (row.tag, f"row {row.number} of {row.season.name}")
            for row in rows_on(station, on.today)
            .filter(lot=lot)
            .select_related("season")
            .order_by("-season__year", "number")[:50]
        ),
        germination_interval=_germination_interval(stock),
        tests=tests,
    )


def _germination_interval(stock: LotStock) -> tuple[float, float] | None:
    if stock.germination_frac is None or not stock.germination_seeds:
        return None
    return find_germination_interval(stock.germination_frac, stock.germination_seeds)


def _movements(lot: Lot, day: date) -> tuple[MovementFacts, ...]:
    """Every movement up to a day, with the stock after it."""
    told, total = [], 0
    for move in Movement.objects.filter(lot=lot, moved_on__lte=day).order_by("moved_on", "pk"):
        total += move.kernels
        told.append(MovementFacts(move.moved_on, move.kernels, move.reason, move.used_for, move.recorded_by, total))
    return tuple(told)


def _origins(lot: Lot) -> list[LotOrigin]:
    return list(
        LotOrigin.objects.filter(lot=lot)
        .select_related("row__line", "row__season", "male_row__line", "parent_lot")
        .order_by("pk")
    )


def _origin(one: LotOrigin) -> OriginFacts:
    row, male = one.row, one.male_row
    return OriginFacts(
        row=row.number if row else None,
        row_tag=row.tag if row else "",
        season=row.season.name if row else "",
        mother=row.line.name if row else "",
        male_row=male.number if male else None,
        father=male.line.name if male else "",
        parent_lot=one.parent_lot.name if one.parent_lot else "",
        share_frac=one.share_frac,
    )


def _promised(lot: Lot, day: date) -> tuple[tuple[str, int], ...]:
    held = promises_on(lot.station, day).filter(lot=lot).select_related("row__season", "trial")
    return tuple(
        (f"row {one.row.number} of {one.row.season.name}" if one.row else f"trial {one.trial or ''}", one.kernels)
        for one in held.order_by("pk")
    )


def _cautions(stock: LotStock) -> tuple[str, ...]:
    told = []
    if stock.germination_frac is None:
        told.append("No germination test is on record.")
    elif caution := judge_germination(stock.germination_frac, stock.germination_seeds or None).caution:
        told.append(caution)
    if stock.kernels < 0:
        told.append("More seed was used than the books hold: count the lot.")
    if stock.free < 0 <= stock.kernels:
        told.append("More seed is promised than the lot holds.")
    return tuple(told)


def _tell_unbooked(station: Station, lot: Lot, stock: LotStock, day: date) -> tuple[str, ...]:
    """What notes of the seed room are still to move, in a sentence."""
    waiting = read_unbooked_moves(station, day, lot).get(lot.pk, [])
    if not waiting:
        return ()
    left = stock.kernels + sum(kernels for _, kernels, _ in waiting)
    told = f"Notes of the seed room are not booked yet: with them the lot holds {left:,} kernels."
    return (told, f"More seed was taken than the lot held, by {-left:,} kernels: count it.") if left < 0 else (told,)


def move_seed(on: Occasion, tag_or_name: str, kernels: int, reason: str, used_for: str = "") -> LotPage:
    """Take kernels out of a lot (positive number), or set its stock by a count.

    Parameters
    ----------
    kernels
        Kernels to take; for ``counted`` the kernels found in the lot.
    reason
        ``split``, ``sent``, ``discarded`` or ``counted``.

    Raises
    ------
    InputRefused
        If the lot would fall below zero, or below what is promised unless it is discarded or counted.
    """
    station = get_station(on.station)
    if reason not in DESK_REASONS:
        raise refuse("reason_unknown", f"{reason!r} is not a reason at the desk.", f"Use {', '.join(DESK_REASONS)}.")
    if not (0 if reason == "counted" else 1) <= kernels <= MOST_KERNELS:
        raise refuse("kernels_wrong", f"{kernels} kernels cannot be moved.", f"Write 1 to {MOST_KERNELS:,}.")
    with transaction.atomic():
        Station.objects.select_for_update().get(pk=station.pk)
        lot = get_lot(station, tag_or_name)
        stock = read_lot_stock(lot)
        change = kernels - stock.kernels if reason == "counted" else -kernels
        if reason != "counted" and stock.kernels + change < 0:
            raise refuse(
                "stock_too_small",
                f"Lot {lot.name} holds {stock.kernels} kernels; {kernels} cannot leave it.",
                "Take fewer, or count the lot first.",
                lot=lot.name,
                kernels=stock.kernels,
            )
        if reason in ("split", "sent") and stock.free + change < 0:
            raise refuse(
                "stock_promised",
                f"Of lot {lot.name} {stock.reserved} of {stock.kernels} kernels are promised to the plan.",
                f"Take {max(0, stock.free)} or fewer, or give up a promise first.",
            )
        if change:
            add_movement(on, lot, change, reason, used_for)
    return read_lot(on, lot.tag)


def receive_lot(
    on: Occasion, name: str, line: str, kernels: int, origin_text: str, germination_frac: float | None = None
) -> LotPage:
    """Enter a lot received from outside, with its first movement.

    Raises
    ------
    InputRefused
        If the name is taken, the line is unknown, the kernels are not positive, or it is not said where it came from.
    """
    station = get_station(on.station)
    name = name.strip()
    check_lot_name(station, name)
    if not 1 <= kernels <= MOST_KERNELS or not origin_text.strip():
        told = "A received lot needs its kernels and where it came from."
        raise refuse("lot_incomplete", told, f"Fill in both; kernels from 1 to {MOST_KERNELS:,}.")
    if germination_frac is not None and not 0 <= germination_frac <= 1:
        raise refuse("germination_wrong", f"Germination {germination_frac} is not in 0..1.", "Write 0.92 for 92 %.")
    with transaction.atomic():
        # The tag locks the station: a name taken meanwhile is seen.
        tag = take_tags(station, "lot", 1)[0]
        check_lot_name(station, name)
        lot = Lot.objects.create(
            station=station,
            tag=tag,
            name=name,
            line=get_line(station, line),
            kind="bulk",
            origin="received",
            origin_text=origin_text[:200],
            year=on.today.year,
            germination_frac=germination_frac,
        )
        add_movement(on, lot, kernels, "opening", "received")
    return read_lot(on, lot.tag)
