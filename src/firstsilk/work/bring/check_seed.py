"""Is every lot somebody's seed from somewhere, and can what was seen in the rows have been so?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from datetime import date

from firstsilk.answers import Finding
from firstsilk.work.bring.known import Known
from firstsilk.work.bring.names import suggest_name
from firstsilk.work.bring.tables import LotGiven, RowGiven, StationTables

LONGEST_TO_SILK_DAYS = 150
SHORTEST_TO_SILK_DAYS = 25
"""Days from sowing to silk beyond which a date is doubted. Common practice, no source."""
SILK_SHED_APART_DAYS = 21
"""Days between silk and shed of one row beyond which one is doubted. Common practice, no source."""
KERNELS_ON_EAR = 1000
"""More kernels an ear are doubted. Common practice, no source."""


def check_lots(tables: StationTables, known: Known, today: date) -> Iterator[Finding]:
    """Every lot once, of a known line, from a declared origin, one lot in a slot."""
    lines = frozenset([*known.lines, *(line.line for line in tables.lines)])
    first: dict[str, LotGiven] = {}
    slots: dict[tuple[str, str, str], LotGiven] = {}
    for lot in tables.lots:
        before = first.setdefault(lot.lot.casefold(), lot)
        if before is not lot and lot.lot:
            message = f"this lot is there already, in line {before.at_line} as {before.lot!r}"
            yield lot.tell("lot", "lot_twice", message, "Keep one of the two lines, or rename one lot")
        if lot.line and lot.line not in lines and "lines" not in tables.unread:
            yield lot.tell("line", "line_unknown", "there is no such line", suggest_name(lot.line, lines, _ADD_LINE))
        if lot.origin == "received" and not lot.origin_text:
            message = "it is not said from whom the seed was received"
            yield lot.tell("origin_text", "origin_untold", message, "Name the giver", stops=False)
        if lot.year is not None and lot.year > today.year:
            yield lot.tell("year", "in_future", f"this year is after {today.year}", "Check it", stops=False)
        tested = lot.germination_tested_on
        if tested is not None and lot.year is not None and tested.year < lot.year:
            message = f"the test is older than the seed of {lot.year}"
            yield lot.tell("germination_tested_on", "test_before_harvest", message, "Check both", stops=False)
        if lot.box and lot.slot:
            there = slots.setdefault((lot.shelf, lot.box, lot.slot), lot)
            if there is not lot:
                message = f"lot {there.lot!r} (line {there.at_line}) has the same shelf, box and slot"
                yield lot.tell("slot", "slot_taken", message, "Check where each one stands", stops=False)


_ADD_LINE = "Add it to lines.csv"


def check_rows(tables: StationTables, known: Known, today: date) -> Iterator[Finding]:
    """Every row once and in its own place, of a known line and lot; what was seen in it in a possible order."""
    lines = frozenset([*known.lines, *(line.line for line in tables.lines)])
    line_of = {**known.lots, **{lot.lot: lot.line for lot in tables.lots}}
    yield from _check_places(tables, known)
    for row in tables.rows:
        if row.line and row.line not in lines and "lines" not in tables.unread:
            yield row.tell("line", "line_unknown", "there is no such line", suggest_name(row.line, lines, _ADD_LINE))
        if row.lot and row.lot not in line_of and "lots" not in tables.unread:
            repair = suggest_name(row.lot, frozenset(line_of), "Add it to lots.csv")
            yield row.tell("lot", "lot_unknown", "there is no such lot", repair)
        elif row.lot and row.line and line_of.get(row.lot, row.line) != row.line:
            message = f"this is a lot of line {line_of[row.lot]!r}, the row is of {row.line!r}"
            yield row.tell("lot", "lot_of_other_line", message, "Correct the line or the lot")
        yield from _check_order(row)
        yield from _check_counts(row)
        yield from _check_days(row, today)
    yield from _check_stock(tables)


def _check_places(tables: StationTables, known: Known) -> Iterator[Finding]:
    numbers: dict[tuple[str, int], RowGiven] = {}
    places: dict[tuple[str, int, int], RowGiven] = {}
    taken = {(season, *place): number for (season, number), place in known.rows.items()}
    for row in tables.rows:
        if row.season and row.row is not None:
            before = numbers.setdefault((row.season, row.row), row)
            if before is not row:
                message = f"this row of season {row.season} is there already, in line {before.at_line}"
                yield row.tell("row", "row_twice", message, "Give it another number, or remove one line")
        if not row.season or row.field_row is None or row.field_col is None:
            continue
        place = (row.season, row.field_row, row.field_col)
        there = places.setdefault(place, row)
        spot = f"field_row {row.field_row}, field_col {row.field_col}"
        if there is not row:
            message = f"row {there.row} (line {there.at_line}) stands at {spot} already"
            yield row.tell("field_col", "place_taken", message, "Correct one of the two places")
        elif taken.get(place, row.row) != row.row:
            message = f"row {taken[place]} of the books stands at {spot} already"
            yield row.tell("field_col", "place_taken", message, "Correct the place")


def _check_order(row: RowGiven) -> Iterator[Finding]:
    for column, seen in (("silk", row.silk), ("shed", row.shed)):
        if seen is None or row.sown is None:
            continue
        days = (seen - row.sown).days
        if days <= 0:
            message = f"{column} before the row was sown ({row.sown})"
            yield row.tell(column, "before_sowing", message, "Correct one of the two dates")
        elif not SHORTEST_TO_SILK_DAYS <= days <= LONGEST_TO_SILK_DAYS:
            message = f"{days} days after sowing ({row.sown}) are unlikely"
            yield row.tell(column, "unlikely", message, "Check both dates", stops=False)
    if row.silk and row.shed and abs((row.silk - row.shed).days) > SILK_SHED_APART_DAYS:
        message = f"silk lies {abs((row.silk - row.shed).days)} days from shed ({row.shed})"
        yield row.tell("silk", "silk_far_from_shed", message, "Check both dates", stops=False)


def _check_counts(row: RowGiven) -> Iterator[Finding]:
    if row.stand is not None and row.kernels and row.stand > row.kernels:
        message = f"more plants than the {row.kernels} kernels sown"
        yield row.tell("stand", "more_plants_than_kernels", message, "Check both", stops=False)
    if row.kernels_shelled and not row.ears:
        message = "kernels were shelled, and no ear was picked"
        yield row.tell("kernels_shelled", "kernels_without_ears", message, "Fill in the ears", stops=False)
    elif row.kernels_shelled and row.ears and row.kernels_shelled > KERNELS_ON_EAR * row.ears:
        message = f"that is more than {KERNELS_ON_EAR} kernels on each of {row.ears} ears"
        yield row.tell("kernels_shelled", "unlikely", message, "Check both", stops=False)


def _check_days(row: RowGiven, today: date) -> Iterator[Finding]:
    year = int(row.season[:4]) if row.season else None
    for column in ("sown", "silk", "shed"):
        day: date | None = getattr(row, column)
        if day is None:
            continue
        if day > today:
            message = f"it cannot have been seen yet; today is {today}"
            yield row.tell(column, "in_future", message, "Leave the cell empty until it is seen", stops=False)
        if year is not None and not year - 1 <= day.year <= year + 1:
            message = f"this is far from season {row.season}"
            yield row.tell(column, "other_season", message, f"Did you mean {year}-{day:%m-%d}?")


def _check_stock(tables: StationTables) -> Iterator[Finding]:
    """Kernels that the rows of one season take from a lot, against the lot's kernels."""
    stock = {lot.lot: lot.kernels for lot in tables.lots}
    takes: dict[tuple[str, str], list[RowGiven]] = defaultdict(list)
    for row in tables.rows:
        if row.lot and row.season and row.kernels:
            takes[(row.lot, row.season)].append(row)
    for (lot, season), rows in takes.items():
        have, taken = stock.get(lot), sum(row.kernels or 0 for row in rows)
        if have is not None and taken > have:
            message = f"the rows of season {season} take {taken} kernels of lot {lot!r}, which has {have}"
            yield rows[-1].tell(
                "kernels", "more_than_stock", message, "Right if the stock was counted later", stops=False
            )
