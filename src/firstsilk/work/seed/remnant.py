"""Is each increase of a line sown from remnant seed, and not from an earlier increase?

Every increase grown from an increase carries its outcrosses and mixtures on. Remnant seed is what was there before
the line was ever increased here.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from firstsilk.answers import Finding, Place
from firstsilk.records.models import Line, Station
from firstsilk.work.lineage.generations import is_fixed
from firstsilk.work.nursery.planned_rows import PlannedRow
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.increases import count_increases
from firstsilk.work.seed.progeny import INCREASES
from firstsilk.work.seed.stock import LotStock, read_stock
from firstsilk.work.shelf import get_season, get_station
from firstsilk.work.standing import rows_on


@dataclass(frozen=True, slots=True)
class IncreaseRow:
    """A row that increases a fixed line: its lot, how many increases lie behind that lot, and the remnant lot of the
    line with most free kernels, if there is any."""

    row: int
    line: str
    lot: str
    increases: int
    remnant_lot: str
    remnant_kernels: int


@dataclass(frozen=True, slots=True)
class RemnantCheck:
    """Rows that increase a fixed line, and a finding for each that is not sown from remnant seed."""

    rows: tuple[IncreaseRow, ...]
    findings: tuple[Finding, ...]
    basis: Basis


def check_season_increases(on: Occasion, season: str = "") -> RemnantCheck:
    """The rows of a season that increase a fixed line, held against the rule."""
    station = get_station(on.station)
    book = get_season(station, season, on.today)
    rows = rows_on(station, on.today).filter(season=book, lot__isnull=False).select_related("line", "lot", "target")
    asked = [
        (row.number, row.line.name, row.lot.tag)
        for row in rows.order_by("number")
        if row.lot is not None and row.purpose == "self" and (row.target is None or row.target.kind in INCREASES)
    ]
    return _check(on, station, asked)


def check_planned_increases(on: Occasion, planned: Sequence[PlannedRow]) -> RemnantCheck:
    """The rows of a plan, made or only proposed, held against the rule."""
    asked = [(row.number, row.line, row.lot) for row in planned if row.purpose == "self" and row.kind in INCREASES]
    return _check(on, get_station(on.station), asked)


def _check(on: Occasion, station: Station, asked: Iterable[tuple[int, str, str]]) -> RemnantCheck:
    asked = list(asked)
    lines = Line.objects.filter(station=station, name__in={line for _, line, _ in asked})
    fixed = {line.name for line in lines if is_fixed(line)}
    stock = read_stock(station, fixed, on.today)
    counted = count_increases(station, {one.tag for one in stock} | {tag for _, _, tag in asked})
    names = {one.tag: one.name for one in stock}
    rows = [
        _tell(number, line, tag, names.get(tag, tag), counted, stock) for number, line, tag in asked if line in fixed
    ]
    findings = tuple(_complain(one) for one in rows if one.increases)
    return RemnantCheck(tuple(rows), findings, Basis((("rows that increase a line", len(rows)),)))


def _tell(row: int, line: str, tag: str, lot: str, counted: dict[str, int], stock: list[LotStock]) -> IncreaseRow:
    remnant = [one for one in stock if one.line == line and not counted.get(one.tag) and one.free > 0]
    best = max(remnant, key=lambda one: one.free, default=None)
    return IncreaseRow(row, line, lot, counted.get(tag, 0), best.name if best else "", best.free if best else 0)


def _complain(one: IncreaseRow) -> Finding:
    behind = "1 increase" if one.increases == 1 else f"{one.increases} increases"
    told = f"row {one.row} increases {one.line} from lot {one.lot}, behind which lies {behind}, not from remnant seed"
    if one.remnant_lot:
        repair = f"Sow it from remnant lot {one.remnant_lot}: {one.remnant_kernels:,} kernels are free"
    else:
        repair = "No remnant seed of it is free: check this increase for off-types, and keep part of it as remnant"
    return Finding("increase_from_increase", told, Place(), one.lot, repair, stops=False)
