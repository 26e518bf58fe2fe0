"""On what occasion is a piece of work done, and what does its answer rest on?

Work never reads a clock, never throws dice and never asks who is there: the caller hands all of it in.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime


@dataclass(frozen=True, slots=True)
class Occasion:
    """Which station, on which day of its season, at which instant, by whom.

    Parameters
    ----------
    station
        Code of the station.
    today
        The station's day: the season is shown and planned as of it; notes taken later do not count.
    now
        The instant at which records are written, with its time zone.
    who
        Account name or worker code of the person, or ``command``.
    """

    station: str
    today: date
    now: datetime
    who: str = "command"


@dataclass(frozen=True, slots=True)
class Basis:
    """What a result rests on: how many records of each kind were used, and what was missing, in sentences."""

    used: tuple[tuple[str, int], ...] = ()
    missing: tuple[str, ...] = ()

    @property
    def n_records(self) -> int:
        """All records used."""
        return sum(number for _, number in self.used)

    def as_text(self) -> str:
        """One line for a page or a report."""
        used = ", ".join(f"{number:,} {_one(what) if number == 1 else what}" for what, number in self.used)
        used = used or "no records"
        missing = "; ".join(self.missing)
        return f"Rests on {used}. Missing: {missing}." if missing else f"Rests on {used}. Nothing was missing."


_LINKS = (" of ", " laid ", " with ", " in ", " that ", " whose ", " as ", " before ", " up ")


def _one(what: str) -> str:
    """A kind of record in the singular: ``days of weather`` reads ``day of weather``."""
    at = min((what.find(link) for link in _LINKS if link in what), default=len(what))
    head, rest = what[:at], what[at:]
    if head.endswith("ies") and not head.endswith("series"):
        return f"{head[:-3]}y{rest}"
    return f"{head[:-1] if head.endswith('s') and not head.endswith(('ss', 'series')) else head}{rest}"


class StopAsked(Exception):
    """Somebody asked a long piece of work to stop; it left everything as it was."""


Progress = Callable[[float, str], None]
"""Called with a share done in 0..1 and what is being done; may raise `StopAsked`."""


def stay_silent(share_frac: float, message: str) -> None:
    """A progress reporter for whoever does not want to hear."""
