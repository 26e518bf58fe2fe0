"""What happened to a line, in the order of time?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date

from firstsilk.work.lineage.grown import LotFacts, SeasonRow
from firstsilk.work.lineage.tried import TrialResult, VerdictFacts

HARVEST = (10, 31)
"""Month and day at which ears, lots and trials stand that are known by their year alone: after the field season, before
the winter's verdicts. Our own choice."""


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that happened: the year (None if not known), the day where it is known, what sort, and a sentence.

    `record` names the record it was written for, where that was merged into the line.
    """

    year: int | None
    day: date | None
    what: str
    text: str
    record: str = ""


@dataclass(frozen=True, slots=True)
class MergeEvent:
    """A record merged into the line, or that merge undone: the day, and a sentence."""

    on: date
    text: str


def tell_history(
    made: str,
    rows: Sequence[SeasonRow],
    lots: Sequence[LotFacts],
    trials: Sequence[TrialResult],
    verdicts: Sequence[VerdictFacts],
    merges: Sequence[MergeEvent] = (),
    descent: Sequence[Event] = (),
    wishes: Sequence[Event] = (),
) -> tuple[Event, ...]:
    """All events, the oldest first: the line's descent, how it was made, then what came of it.

    What has a year but no day stands at the year's harvest, see `HARVEST`.
    """
    events = [
        *(
            replace(event, record=record)
            for record in dict.fromkeys(row.record for row in rows)
            for event in _tell_rows([row for row in rows if row.record == record])
        ),
        *(Event(lot.year, None, "lot", f"Lot {lot.name}: {lot.origin}.", lot.record) for lot in lots),
        *_tell_trials(trials),
        *(Event(one.decided_on.year, one.decided_on, "verdict", _tell_verdict(one), one.record) for one in verdicts),
        *(Event(one.on.year, one.on, "merged", one.text) for one in merges),
        *wishes,
    ]
    events.sort(key=lambda one: one.day or date(one.year or 1, *HARVEST))
    return (*descent, Event(None, None, "made", made), *events)


def _tell_rows(rows: Sequence[SeasonRow]) -> Iterator[Event]:
    seasons: dict[tuple[int, str], list[SeasonRow]] = defaultdict(list)
    for row in rows:
        seasons[row.year, row.season].append(row)
    for (year, season), group in seasons.items():
        numbers = ", ".join(str(row.number) for row in group[:6]) + (", ..." if len(group) > 6 else "")
        word = "Row" if len(group) == 1 else f"{len(group)} rows"
        sown = min((row.sown_on for row in group if row.sown_on), default=None)
        yield Event(year, sown, "sown", f"{word} {'sown' if sown else 'planned'} in {season} ({numbers}).")
        for what, days in (
            ("silk", [row.silk_on for row in group]),
            ("shed", [row.shed_on for row in group]),
        ):
            known = [day for day in days if day is not None]
            if known:
                yield Event(year, min(known), what, f"First {what} in {season}.")
        yield from _tell_pollinations(year, season, group)
        picked, kernels = sum(row.ears_picked for row in group), sum(row.kernels for row in group)
        if picked or kernels:
            told = f"{picked} ears picked in {season}" + (f", {kernels:,} kernels shelled" if kernels else "")
            yield Event(year, None, "ears", f"{told}.")


def _tell_pollinations(year: int, season: str, rows: Sequence[SeasonRow]) -> Iterator[Event]:
    tallies: dict[tuple[str, str], list[tuple[int, date]]] = defaultdict(list)
    for row in rows:
        for one in row.pollinations:
            tallies[one.type, one.male].append((one.ears, one.first_on))
    for (kind, male), found in tallies.items():
        ears = sum(number for number, _ in found)
        by = f" by {male}" if male else ""
        word = "ear" if ears == 1 else "ears"
        name = kind.replace("_", " ") or "pollination"
        yield Event(year, min(day for _, day in found), "pollinated", f"{ears} {word} in {season}: {name}{by}.")


def _tell_trials(trials: Sequence[TrialResult]) -> Iterator[Event]:
    groups: dict[tuple[int, str, str, str], list[TrialResult]] = defaultdict(list)
    for one in trials:
        groups[one.year, one.trial, one.site, one.record].append(one)
    for (year, trial, site, record), group in groups.items():
        plots = sum(one.n_plots for one in group)
        through = [one for one in group if one.partner]
        how = f" through {len(through)} hybrid{'s' if len(through) > 1 else ''}" if through else ""
        yield Event(year, None, "trial", f"Trial {trial} at {site}: {plots} plots{how}.", record)


def _tell_verdict(one: VerdictFacts) -> str:
    by = f" ({one.decided_by})" if one.decided_by else ""
    return f"Verdict {one.verdict.replace('_', ' ')} for {one.year}{by}: {one.reason}"
