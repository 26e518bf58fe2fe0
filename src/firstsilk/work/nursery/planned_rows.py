"""What is a row of a plan before it is made, in which order do the rows stand, and where?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from firstsilk.records.models import Row, Season, Station
from firstsilk.science.nursery.layout import walk_places


@dataclass(frozen=True, slots=True)
class PlannedRow:
    """One row of the plan. `pollinations` is how many to attempt on it; `meet_frac` the share of past years in which
    its parents met and `served_frac` the share of its ears that can be expected, both of the whole cross; `sowing`
    counts the days of its line in its role; `why` the sum in words."""

    number: int
    field_row: int
    field_col: int
    line: str
    purpose: str
    target: int | None
    kind: str
    male: str
    lot: str
    lot_name: str
    kernels: int
    sow_on: date
    sowing: int
    silk_expected: date | None
    pollinations: int
    meet_frac: float | None
    why: str
    served_frac: float | None = None


@dataclass(frozen=True, slots=True)
class Short:
    """A target that cannot be sown as wished, and what would make it possible."""

    target: int
    line: str
    kernels_needed: int
    kernels_free: int
    message: str
    rows_needed: int = 1
    rows_possible: int = 0


def order_rows(drafted: list[PlannedRow], males: dict[tuple[str, date], list[PlannedRow]]) -> list[PlannedRow]:
    """By expected silk, rows of one target together, each male line before the first female it serves."""
    late = date.max
    by_target: dict[int, list[PlannedRow]] = {}
    for row in drafted:
        by_target.setdefault(row.target or 0, []).append(row)
    groups = sorted(by_target.values(), key=lambda rows: (rows[0].silk_expected or late, rows[0].target or 0))
    waiting = dict(males)
    ordered: list[PlannedRow] = []
    for group in groups:
        for key in [key for key in waiting if key[0] == group[0].male]:
            ordered += [replace(row, target=None, pollinations=0) for row in waiting.pop(key)]
        ordered += group
    return ordered


def place_rows(
    ordered: Sequence[PlannedRow], station: Station, season: Season, rows_per_range: int
) -> tuple[PlannedRow, ...]:
    """Number and place rows behind those that stand: on in their walk, or in a new range where they follow another."""
    there = list(
        Row.objects.filter(station=station, season=season)
        .order_by("number")
        .values_list("number", "field_row", "field_col")
    )
    last, start = (there[-1][0] if there else 0), 1
    if there:
        same_walk = there == [place for place, _ in zip(walk_places(rows_per_range), there, strict=False)]
        start = last + 1 if same_walk else max(field_row for _, field_row, _ in there) * rows_per_range + 1
    places = walk_places(rows_per_range, start)
    return tuple(
        replace(row, number=number, field_row=field_row, field_col=field_col)
        for number, (row, (_, field_row, field_col)) in enumerate(zip(ordered, places, strict=False), last + 1)
    )
