"""How far is each target: enough, more needed, or short?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from firstsilk.science.flowering.day import SILK_LASTS_DAYS
from firstsilk.science.seed.pollinations import find_reach_chance
from firstsilk.work.flowering.rows import RowFacts


@dataclass(frozen=True, slots=True)
class TargetProgress:
    """How far one target is: ears wanted, pollinated, spoiled, picked, kernels, and in words.

    `standing` is ``none`` (nothing done yet), ``more`` (needed and possible), ``enough`` or ``short`` (no longer
    possible); `chance_frac` the chance that the ears standing give the ears wanted, None once they are picked.
    """

    number: int
    kind: str
    female: str
    male: str
    ears_wanted: int
    attempts_wanted: int
    ears_pollinated: int
    spoiled: int
    ears_picked: int
    kernels: int
    rows: tuple[int, ...]
    says: str
    standing: str
    chance_frac: float | None


def measure_progress(rows: Iterable[RowFacts], today: date, end_on: date | None) -> tuple[TargetProgress, ...]:
    """How far each target is, from its rows; `end_on` is the last day on which anything is pollinated."""
    groups: dict[int, list[RowFacts]] = defaultdict(list)
    for row in rows:
        if row.target is not None and row.purpose in ("self", "female"):
            groups[row.target].append(row)
    return tuple(_progress(number, group, today, end_on) for number, group in sorted(groups.items()))


def _progress(number: int, rows: list[RowFacts], today: date, end_on: date | None) -> TargetProgress:
    first = rows[0]
    done = sum(row.state.ears_pollinated for row in rows)
    lost = sum(row.state.spoiled for row in rows)
    picked = sum(row.state.ears_picked for row in rows)
    attempts = sum(row.wanted for row in rows)
    stand = max(0, done - lost)
    over = (end_on is not None and today > end_on) or all(_silk_is_over(row, today) for row in rows)
    chance = None if picked else find_reach_chance(stand, first.ear_rates, first.ears_wanted)
    standing, says = _say(first.ears_wanted, attempts, stand, picked, over)
    return TargetProgress(
        number=number,
        kind=first.kind,
        female=first.line,
        male=first.male,
        ears_wanted=first.ears_wanted,
        attempts_wanted=attempts,
        ears_pollinated=done,
        spoiled=lost,
        ears_picked=picked,
        kernels=sum(row.state.kernels for row in rows),
        rows=tuple(row.number for row in rows),
        says=says,
        standing=standing,
        chance_frac=chance,
    )


def _silk_is_over(row: RowFacts, today: date) -> bool:
    silk = row.state.silk_on
    return silk is not None and (today - silk).days > SILK_LASTS_DAYS


def _say(wanted: int, attempts: int, stand: int, picked: int, over: bool) -> tuple[str, str]:
    if picked:
        told = f"{picked} of {wanted} good ears picked"
        return ("enough", told) if picked >= wanted else ("short", f"{told}: short")
    if stand >= attempts:
        return "enough", "enough pollinated"
    if over:
        return (
            "short",
            f"{attempts - stand} short, and its silk is over" if stand else "nothing pollinated, too late now",
        )
    if stand:
        return "more", f"{attempts - stand} more to pollinate"
    return "none", "nothing pollinated yet"
