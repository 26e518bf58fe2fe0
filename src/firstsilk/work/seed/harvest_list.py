"""Which rows have ears to pick, kernels to count, or lots to make?"""

from __future__ import annotations

from dataclasses import dataclass

from firstsilk.records.models import LotOrigin
from firstsilk.work.flowering.rows import RowFacts, read_season_rows
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_season, get_station


@dataclass(frozen=True, slots=True)
class HarvestRow:
    """One row at harvest. `step` is ``pick``, ``shell``, ``lot`` (kernels noted, no lot yet) or ``done``."""

    row: RowFacts
    lots: tuple[tuple[str, str], ...]
    step: str
    odd: str


@dataclass(frozen=True, slots=True)
class HarvestList:
    """The rows of a season that bear ears, with sums over all of them."""

    season: str
    rows: tuple[HarvestRow, ...]
    ears_standing: int
    ears_picked: int
    kernels: int
    basis: Basis

    def count(self, step: str) -> int:
        """How many rows stand at this step."""
        return sum(1 for row in self.rows if row.step == step)


def read_harvest(on: Occasion, season: str = "") -> HarvestList:
    """Every row that was pollinated or picked, in walking order, with its lots as (name, tag)."""
    station = get_station(on.station)
    book = get_season(station, season, on.today)
    facts, basis = read_season_rows(on, station, book)
    lots: dict[int, list[tuple[str, str]]] = {}
    there = LotOrigin.objects.filter(station=station, row__season=book, lot__movements__moved_on__lte=on.today)
    origins = there.distinct().select_related("row", "lot").order_by("pk")
    for one in origins:
        if one.row is not None:
            lots.setdefault(one.row.number, []).append((one.lot.name, one.lot.tag))
    rows = tuple(
        _harvest_row(row, lots.get(row.number, []))
        for row in facts
        if row.purpose in ("self", "female")
        and (row.state.pollinations or row.state.ears_picked or row.state.kernels or row.number in lots)
    )
    return HarvestList(
        season=book.name,
        rows=rows,
        ears_standing=sum(one.row.state.ears_standing for one in rows),
        ears_picked=sum(one.row.state.ears_picked for one in rows),
        kernels=sum(one.row.state.kernels for one in rows),
        basis=basis,
    )


def _harvest_row(row: RowFacts, lots: list[tuple[str, str]]) -> HarvestRow:
    state, odd = row.state, ""
    if state.ears_picked > state.ears_standing:
        odd = f"{state.ears_picked} ears picked, {state.ears_standing} standing"
    if lots:
        step = "done"
    elif state.kernels:
        step = "lot"
    else:
        step = "shell" if state.ears_picked else "pick"
    return HarvestRow(row, tuple(lots), step, odd)
