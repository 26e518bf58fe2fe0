"""What is in the books already, as far as the tables of a station can speak of it?"""

from __future__ import annotations

from dataclasses import dataclass, field

from firstsilk.science.lineage.derivation import Derivation


@dataclass(frozen=True, slots=True)
class KnownLine:
    """A line in the books: how it was made and from whom, its generation, and from which plant it comes, if told."""

    method: str
    mother: str = ""
    father: str = ""
    selfings: int = 0
    generation: str = ""
    derived: Derivation | None = None


@dataclass(frozen=True, slots=True)
class Known:
    """Names in the books of one station; all empty for a station that is new.

    `scale` is the station's, `is_there` says that the station itself is in the books, `others` names the other
    stations there. `lots` gives each lot's line, `rows` each row's place by (season, number), `trials` each trial's
    (site, year), `places` each taken place of a trial by (trial, field_row, field_col) with its plot number; `merged`
    the line kept for each record of a line merged away.
    """

    station: str = ""
    scale: str = ""
    is_there: bool = False
    others: tuple[str, ...] = ()
    sites: tuple[str, ...] = ()
    home: str = ""
    lines: dict[str, KnownLine] = field(default_factory=dict)
    lots: dict[str, str] = field(default_factory=dict)
    rows: dict[tuple[str, int], tuple[int, int]] = field(default_factory=dict)
    trials: dict[str, tuple[str, int]] = field(default_factory=dict)
    places: dict[tuple[str, int, int], int] = field(default_factory=dict)
    merged: dict[str, str] = field(default_factory=dict)


NOTHING_KNOWN = Known()
