"""Which rows are ready to pick, in which order, by which team; and which ears were picked or left, bag by bag?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from firstsilk.answers import refuse
from firstsilk.science.flowering.day import RIPE_AFTER_DAYS, Task
from firstsilk.science.flowering.notes import KINDS
from firstsilk.work.cautions import CAUTIONS, Caution
from firstsilk.work.flowering.day import DayList, read_day_list
from firstsilk.work.flowering.notes import NoteDraft, write_notes
from firstsilk.work.flowering.rows import RowFacts
from firstsilk.work.flowering.teams import TeamPlan, plan_teams
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.season_notes import Ear, SeasonNotes, find_ear, read_season_notes

COMING_DAYS = 14
"""Rows ripe within so many days are shown as coming (a choice of ours)."""
RULE = "No bag, no ear: an ear without its bag stays on the plant, and is noted as left."
MOST_EARS = 10_000
LEFT_WHYS = KINDS["ears_left"].details


@dataclass(frozen=True, slots=True)
class PickRow:
    """One row with ears still on the plants.

    `days` since its last pollination, `ripe_on` when it is at black layer by the usual count, `bags` the codes of the
    ears to look for where they were noted, `team` whose it is, `blocked` why nobody may go in.
    """

    number: int
    tag: str
    field_row: int
    field_col: int
    line: str
    ears: int
    days: int
    ripe_on: date
    is_ripe: bool
    bags: tuple[str, ...]
    why: str
    team: str = ""
    blocked: str = ""


@dataclass(frozen=True, slots=True)
class PickList:
    """Rows to pick today in walking order, team by team, and rows that ripen next; what to bring; the rule."""

    season: str
    today: date
    rows: tuple[PickRow, ...]
    coming: tuple[PickRow, ...]
    killed_on: date | None
    bring: tuple[str, ...]
    rule: str
    teams: tuple[str, ...]
    sentences: tuple[str, ...]
    cautions: tuple[Caution, ...]
    basis: Basis

    @property
    def ears(self) -> int:
        """Ears to pick today, rows that nobody may enter left out."""
        return sum(row.ears for row in self.rows if not row.blocked)


def read_pick_list(on: Occasion, season: str = "", n_teams: int = 0, team: str = "") -> PickList:
    """The rows to pick on the occasion's day.

    Parameters
    ----------
    n_teams, team
        As in `plan_teams`; one team's part alone if it is named.

    Notes
    -----
    A row is ripe 58 days after its last pollination (silk to black layer takes 55 to 60 days), or when a killing frost
    has ended its growth. Teams take contiguous stretches of the field; within a stretch the walk is the shortest, and
    rows that ripened first are told by their days. Considered: pollinations, ears lost, picked and left, frost, spray
    intervals. Not considered: the line's own heat units to black layer, moisture, rot.
    """
    day = read_day_list(on, season)
    there = read_season_notes(on, day.season)
    rows = find_pick_rows(there, day)
    ripe = [row for row in rows if row.is_ripe]
    soon = on.today + timedelta(days=COMING_DAYS)
    coming = [row for row in rows if not row.is_ripe and row.ripe_on <= soon]
    plan, ordered = _order(on, day, ripe, n_teams, team)
    later = sum(1 for row in rows if not row.is_ripe)
    return PickList(
        season=day.season,
        today=on.today,
        rows=tuple(ordered),
        coming=tuple(sorted(coming, key=lambda row: (row.ripe_on, row.number))),
        killed_on=day.killed_on,
        bring=_bring(ordered),
        rule=RULE,
        teams=tuple(one.name for one in plan.teams) if plan else (),
        sentences=plan.sentences if plan else (),
        cautions=CAUTIONS,
        basis=Basis((("rows with ears on the plants", len(rows)), ("not ripe yet", later)), day.basis.missing),
    )


def find_pick_rows(there: SeasonNotes, day: DayList) -> list[PickRow]:
    """Every row with ears still on the plants, ripe or not, by number."""
    rows = sorted(day.rows.values(), key=lambda row: row.number)
    return [found for row in rows if (found := _read_row(row, there, day.today, day.killed_on)) is not None]


def list_pick_tasks(rows: Sequence[PickRow]) -> tuple[Task, ...]:
    """The rows as tasks of the day."""
    return tuple(Task("pick", row.number, row.tag, row.ears, (), None, row.why) for row in rows)


def is_row_ripe(row: RowFacts, killed_on: date | None, today: date) -> bool:
    """Whether the ears of a row are at black layer by the usual count, or killed by frost; False if it has none."""
    ripe_on = _find_ripe_day(row)
    return ripe_on is not None and (ripe_on <= today or (killed_on is not None and killed_on < today))


def _find_ripe_day(row: RowFacts) -> date | None:
    last = max((tally.last_on for tally in row.state.pollinations), default=None)
    return None if last is None or row.purpose not in ("self", "female") else last + timedelta(days=RIPE_AFTER_DAYS)


def _read_row(row: RowFacts, there: SeasonNotes, today: date, killed_on: date | None) -> PickRow | None:
    count, ripe_on = there.ears.get(row.tag), _find_ripe_day(row)
    if count is None or ripe_on is None:
        return None
    ears = count.total.missing
    if not ears:
        return None
    is_killed = killed_on is not None and killed_on < today
    days = (today - ripe_on).days + RIPE_AFTER_DAYS
    why = f"last pollinated {days} days ago"
    if is_killed and today < ripe_on:
        why += "; killed by frost, ripens no further"
    bags = tuple(one.bag for one in count.bags if one.standing and not one.is_seen)
    blocked = "NO ENTRY: sprayed" if row.no_entry else ""
    return PickRow(
        row.number, row.tag, row.field_row, row.field_col, row.line, ears, days, ripe_on,
        is_row_ripe(row, killed_on, today), bags, why, "", blocked,
    )  # fmt: skip


def _order(
    on: Occasion, day: DayList, ripe: Sequence[PickRow], n_teams: int, team: str
) -> tuple[TeamPlan | None, list[PickRow]]:
    """Rows as the teams walk them; rows that nobody may enter come last and belong to no team."""
    of = {row.number: row for row in ripe}
    tasks = list_pick_tasks([row for row in ripe if not row.blocked])
    shut = [row for row in ripe if row.blocked]
    if not tasks:
        return None, shut
    picks = replace(day, tasks=tasks)
    plan = plan_teams(on, picks, n_teams)
    walked = [replace(of[task.number], team=name) for name, task in plan.order(tasks, team)]
    return plan, [*walked, *shut]


def _bring(rows: Sequence[PickRow]) -> tuple[str, ...]:
    """What is carried into the field."""
    if not rows:
        return ()
    ears = sum(row.ears for row in rows)
    return (
        f"{len(rows):,} mesh bags or crates with a tag, one for each row ({ears:,} ears)",
        "this list and a pencil, or the phone with its scanner",
        "spare tags: each ear keeps its own bag, and each row its tag, until it is shelled",
        "gloves, glasses, water",
    )


def note_picked(
    on: Occasion, season: str, ears: Sequence[str], count: int | None = None, left: str = "", worker: str = ""
) -> tuple[str, ...]:
    """Note ears as picked, or as left with their reason, all or none; each is a bag's code, a row, or both.

    Parameters
    ----------
    count
        Ears of each; all of it that is still standing if None.
    left
        Why they are left: ``no_bag``, ``rotten``, ``few_kernels``, ``off_type``, ``other``; empty: they are picked.

    Returns
    -------
    tuple of str
        What was noted, in words.
    """
    there = read_season_notes(on, season)
    if not ears:
        raise refuse("nothing_entered", "No ear and no row was named.", "Scan the bag on the ear, or the row's tag.")
    if left and left not in LEFT_WHYS:
        raise refuse("note_detail_unknown", f"{left!r} is no reason to leave ears.", f"Use {', '.join(LEFT_WHYS)}.")
    if count is not None and not 0 <= count <= MOST_EARS:
        raise refuse("count_wrong", f"{count} ears cannot be.", f"Write 0 to {MOST_EARS:,}.")
    found = [find_ear(there, one) for one in ears]
    kind = "ears_left" if left else "ears_picked"
    counts = [_still_there(there, one) if count is None else count for one in found]
    for one, many in zip(found, counts, strict=True):
        if not many:
            told = f"{one.name.capitalize()}: every ear of it is picked, left or lost already."
            raise refuse("nothing_left", told, "Scan the next one, or say how many more.")
    totals = [many + _noted(there, one, left, many) for one, many in zip(found, counts, strict=True)]
    write_notes(
        on,
        [
            NoteDraft(kind, one.row.tag, str(many), detail=left, bag=one.bag, unit="ears", worker=worker)
            for one, many in zip(found, totals, strict=True)
        ],
    )
    done = f"left, {left.replace('_', ' ')}" if left else "picked"
    return tuple(f"{one.name}: {many} {done}" for one, many in zip(found, counts, strict=True))


def _noted(there: SeasonNotes, ear: Ear, left: str, more: int) -> int:
    """Ears of a bag noted so already, to be told with those that come: of several notes on one bag the largest counts.

    Never more than its ears that are not noted otherwise: a bag scanned twice is the same ears.
    """
    count = there.ears.get(ear.row.tag)
    of = next((one for one in count.bags if one.bag == ear.bag), None) if count and ear.bag else None
    if of is None:
        return 0
    noted = dict(of.left).get(left, 0) if left else of.picked
    other = of.picked + of.ears_left - noted
    return max(0, min(noted, of.standing - other - more))


def _still_there(there: SeasonNotes, ear: Ear) -> int:
    """Ears of a scan that nobody picked or left yet; one where the notes know nothing of it."""
    count = there.ears.get(ear.row.tag)
    if count is None:
        return 1
    if not ear.bag:
        return count.total.missing
    of = next((one for one in count.bags if one.bag == ear.bag), None)
    return 1 if of is None or not of.pollinated else of.missing
