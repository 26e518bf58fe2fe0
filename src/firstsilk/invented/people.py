"""Who works in the invented nursery: codes, age bands and teams, and how well each really closes a bag."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class InventedWorker:
    """One person of the crew, by code: age band, team, the day of July from which they are there (0: since sowing).

    `phone` is theirs, counted from 0; None who writes on paper. `open_frac` is the truth about their work: the share of
    bags that they leave open.
    """

    code: str
    band: str
    team: str
    july_day: int = 0
    phone: int | None = None
    open_frac: float = 0.02


LEADER = InventedWorker("L01", "adult", "", 0, 4)
"""The crew leader, with a phone of their own."""
CREW = (
    InventedWorker("W01", "adult", "A", 0, 0),
    InventedWorker("W02", "adult", "A", 0, 1),
    InventedWorker("W03", "adult", "B", 0, 2, 0.25),
    InventedWorker("W04", "adult", "B", 0, 3),
    InventedWorker("W05", "16_17", "C", 18),
    InventedWorker("W06", "adult", "C", 18),
)
"""Two teams with phones, and two beginners without, who write on paper. All of it ours, no source."""
PAPER_TEAM = "C"


def find_worker(code: str) -> InventedWorker:
    """The person behind a code; KeyError if there is none."""
    found = next((one for one in (*CREW, LEADER) if one.code == code), None)
    if found is None:
        raise KeyError(code)
    return found
