"""What writes books for a test of how large they can be: the dice, the numbers given out, rows put in many at once."""

from __future__ import annotations

import random
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from itertools import islice

from django.db import connection, models

from firstsilk.science.seed.tags import tag_for_serial

STATION = "big"
TODAY = date(2031, 12, 1)
YEARS = tuple(range(2022, 2032))
FIRST_TRIALS = 2024
GROUPS = ("North", "South")
NOTES_A_ROW = 15
CHUNK = 20_000
INSTANT = "2031-01-01 00:00:00+00:00"
TRAITS = ("yield_kg_ha_15_5", "moisture_pct", "erect_frac", "test_weight_kg_hl", "height_cm")


@dataclass(frozen=True, slots=True)
class Size:
    """How many lines and hybrids, notes in all, trials, and plots of a trial."""

    lines: int = 200_000
    notes: int = 3_000_000
    trials: int = 200
    plots: int = 400


@dataclass(slots=True)
class Drawn:
    """One line while the books are drawn: its number, year, kind, method and selfings since the cross."""

    number: int
    name: str
    year: int
    kind: str
    method: str
    mother: int | None
    father: int | None
    selfings: int
    group: str
    is_tester: bool = False
    is_check: bool = False


@dataclass(slots=True)
class Pen:
    """What writes the books: the dice, the numbers given out so far, and the last serial of a tag."""

    dice: random.Random
    station: int = 0
    next_number: dict[str, int] = field(default_factory=dict)
    serial: int = 0
    position: int = 0

    def number(self, table: str) -> int:
        """The next number of a table."""
        self.next_number[table] = self.next_number.get(table, 0) + 1
        return self.next_number[table]

    def tag(self) -> str:
        """A new tag."""
        self.serial += 1
        return tag_for_serial(self.serial)


def insert(model: type[models.Model], columns: Sequence[str], rows: Iterable[Sequence[object]]) -> int:
    """Put rows into a table by its columns, many at once; return how many."""
    table = connection.ops.quote_name(model._meta.db_table)
    names = ", ".join(connection.ops.quote_name(one) for one in columns)
    statement = f"INSERT INTO {table} ({names}) VALUES ({', '.join(['%s'] * len(columns))})"
    waiting, done = iter(rows), 0
    with connection.cursor() as cursor:
        while chunk := list(islice(waiting, CHUNK)):
            cursor.executemany(statement, chunk)
            done += len(chunk)
    return done
