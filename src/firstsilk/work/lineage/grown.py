"""Where has a line grown in the nursery, what seed of it is there, and what became of its rows?"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from firstsilk.records.models import Line, Lot, Row, Station
from firstsilk.science.flowering.rows import PollinationTally, RowState
from firstsilk.work.flowering.states import read_states
from firstsilk.work.occasion import Occasion
from firstsilk.work.seed.stock import read_stock
from firstsilk.work.standing import rows_on


@dataclass(frozen=True, slots=True)
class Pollinated:
    """Ears of one row pollinated in one way: the type, the male line (empty if the row's own), ears, first day."""

    type: str
    male: str
    ears: int
    first_on: date


@dataclass(frozen=True, slots=True)
class SeasonRow:
    """One nursery row of the line with what its notes say, up to today; `record` as for `LotFacts`."""

    season: str
    year: int
    number: int
    tag: str
    purpose: str
    sown_on: date | None
    stand: int | None
    silk_on: date | None
    shed_on: date | None
    pollinations: tuple[Pollinated, ...]
    ears_standing: int
    ears_picked: int
    kernels: int
    record: str = ""


@dataclass(frozen=True, slots=True)
class LotFacts:
    """One lot of the line: kernels in stock, promised and free, where it lies, where it came from.

    `record` names the record it was written for, where that was merged into this line.
    """

    name: str
    tag: str
    year: int
    kind: str
    origin: str
    kernels: int
    reserved: int
    free: int
    germination_frac: float | None
    germination_tested_on: date | None
    place: str
    record: str = ""


def list_rows(
    on: Occasion, station: Station, line: Line, merged: Sequence[Line] = ()
) -> tuple[tuple[SeasonRow, ...], dict[str, RowState]]:
    """The line's rows of this and past seasons, oldest first, with those of records merged into it (see `record`); and
    what their notes say, by tag."""
    names = {one.pk: one.name for one in merged}
    rows = list(
        rows_on(station, on.today)
        .filter(line__in=[line.pk, *names], season__year__lte=on.today.year)
        .select_related("season")
        .order_by("season__year", "season__name", "number")
    )
    states = read_states(station, [row.tag for row in rows], on.today) if rows else {}
    tags = {male for state in states.values() for tally in state.pollinations for male in tally.males}
    males = dict(Row.objects.filter(station=station, tag__in=tags).values_list("tag", "line__name")) if tags else {}
    told = (_tell_row(row, states.get(row.tag, RowState(row.tag)), males, names.get(row.line_id, "")) for row in rows)
    return tuple(told), states


def _tell_row(row: Row, state: RowState, males: dict[str, str], record: str) -> SeasonRow:
    return SeasonRow(
        season=row.season.name,
        year=row.season.year,
        number=row.number,
        tag=row.tag,
        purpose=row.purpose,
        sown_on=state.sown_on,
        stand=state.stand,
        silk_on=state.silk_on,
        shed_on=state.shed_on,
        pollinations=tuple(_tell_tally(tally, males) for tally in state.pollinations),
        ears_standing=state.ears_standing,
        ears_picked=state.ears_picked,
        kernels=state.kernels,
        record=record,
    )


def _tell_tally(tally: PollinationTally, males: dict[str, str]) -> Pollinated:
    by = " + ".join(sorted({males.get(male, male) for male in tally.males}))
    return Pollinated(tally.type, by, tally.ears, tally.first_on)


def list_lots(on: Occasion, station: Station, line: Line, merged: Sequence[Line] = ()) -> tuple[LotFacts, ...]:
    """The line's lots, oldest first, empty ones too, and those of records merged into it, which `record` names."""
    names = {one.pk: one.name for one in merged}
    lots = Lot.objects.filter(station=station, line__in=[line.pk, *names], year__lte=on.today.year)
    records = {lot.pk: lot for lot in lots}
    stock = read_stock(station, [line.name, *names.values()], on.today)
    return tuple(
        LotFacts(
            name=one.name,
            tag=one.tag,
            year=one.year,
            kind=records[one.id].kind,
            origin=_tell_origin(records[one.id]),
            kernels=one.kernels,
            reserved=one.reserved,
            free=one.free,
            germination_frac=one.germination_frac,
            germination_tested_on=records[one.id].germination_tested_on,
            place=_tell_place(records[one.id]),
            record=names.get(records[one.id].line_id, ""),
        )
        for one in stock
        if one.id in records
    )


def _tell_origin(lot: Lot) -> str:
    return lot.origin_text or lot.origin.replace("_", " ")


def _tell_place(lot: Lot) -> str:
    parts = (("shelf", lot.shelf), ("box", lot.box), ("slot", lot.slot))
    return ", ".join(f"{word} {value}" for word, value in parts if value)


def count_notes_missing(rows: Iterable[SeasonRow]) -> list[str]:
    """What the rows do not tell, in sentences."""
    sown_only = [row for row in rows if row.sown_on is None]
    return [f"no note of sowing for {len(sown_only)} rows"] if sown_only else []
