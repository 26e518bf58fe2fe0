"""What is at hand while a station's tables are being stored?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import TypeVar

from firstsilk.answers import Finding
from firstsilk.records.models import Line, Lot, Site, Station
from firstsilk.work.bring.tables import StationTables
from firstsilk.work.occasion import Occasion

Item = TypeVar("Item")

CHUNK = 500
"""Records written at once."""


@dataclass(frozen=True, slots=True)
class Counted:
    """Rows of one table: new in the books, added to (something empty was filled), and there already."""

    table: str
    new: int = 0
    added: int = 0
    same: int = 0


@dataclass(slots=True)
class Storing:
    """The station, its records by name, and what is found and counted on the way. Lives for one transaction."""

    on: Occasion
    station: Station
    tables: StationTables
    sites: dict[str, Site] = field(default_factory=dict)
    lines: dict[str, Line] = field(default_factory=dict)
    lots: dict[str, Lot] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)
    counts: dict[str, Counted] = field(default_factory=dict)

    def count(self, table: str, new: int = 0, added: int = 0, same: int = 0) -> None:
        """Add to the counts of a table."""
        before = self.counts.get(table, Counted(table))
        self.counts[table] = replace(before, new=before.new + new, added=before.added + added, same=before.same + same)

    def count_filled(self, table: str, filled: Sequence[str]) -> None:
        """Count one row that was there: added to, if any field was filled."""
        self.count(table, added=1 if filled else 0, same=0 if filled else 1)

    @property
    def home(self) -> Site:
        """The home site; the checks have seen that there is one."""
        return next(site for site in self.sites.values() if site.is_home)


def in_chunks(items: Sequence[Item], size: int = CHUNK) -> Iterator[Sequence[Item]]:
    """The items in parts of at most `size`."""
    for start in range(0, len(items), size):
        yield items[start : start + size]
