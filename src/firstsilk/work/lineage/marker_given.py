"""What does somebody hand in who brings markers?"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from firstsilk.answers import Place
from firstsilk.science.lineage.markers import MarkerTable


@dataclass(frozen=True, slots=True)
class SampleGiven:
    """One sample: its name, the line it is said to be of, lot or tag of the row it was taken from, when, and where
    that was said."""

    name: str
    line: str
    lot: str = ""
    row: str = ""
    sampled_on: date | None = None
    place: Place = field(default_factory=Place)


@dataclass(frozen=True, slots=True)
class MarkersGiven:
    """Readings with their samples in the same order; `loci` holds chromosome and position a marker, or nothing.

    `letters` says that the cells were nucleotides: which of the two is counted then depends on who else was read.
    """

    table: MarkerTable
    samples: tuple[SampleGiven, ...]
    loci: tuple[tuple[str, int], ...] = ()
    letters: bool = False
    source: str = ""
    notes: tuple[str, ...] = ()
