"""What goes on the year's papers? Work's results turned into the values that tags, books and sheets are printed from.

Pages and commands print through these, so that both give the same paper.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from firstsilk.faces.paper.lists import DaySheet, DayTask
from firstsilk.faces.paper.tags import LotLabel, RowTag, write_day
from firstsilk.faces.paper.walkbook import WalkBook, WalkRow
from firstsilk.science.flowering.day import Task
from firstsilk.work.flowering.day import DayList, RowFacts
from firstsilk.work.flowering.notes import list_notes
from firstsilk.work.flowering.pollen_window import read_pollen_windows
from firstsilk.work.flowering.targets import tell_targets
from firstsilk.work.nursery.seasons import list_seasons
from firstsilk.work.occasion import Occasion
from firstsilk.work.seed.lots import LotRow
from firstsilk.work.station import read_station

MOST_MALES = 3
DOES = {
    "sow": ("Sow", ""),
    "look": ("Look for silk and shed", ""),
    "shoot_bag": ("Put on {count} shoot bag", "s"),
    "tassel_bag": ("This afternoon: put on {count} tassel bag", "s"),
    "take_down": ("Take down {count} tassel bag", "s"),
    "pollinate": ("Pollinate {count} ear", "s"),
    "pick": ("Pick {count} ear", "s"),
}
"""What each kind of task says on paper, and what is added when it is more than one."""
POLLEN_FROM = {"self": "each its own pollen", "sib": "pollen of another plant of this row"}


def tell_instruction(row: RowFacts) -> str:
    """The one instruction of a row for the whole season, in few words: ``Cross 12 ears with row 0034``."""
    if row.purpose == "male":
        return "Male: give pollen"
    if row.purpose == "filler" or not row.kind:
        return "Filler: leave alone" if row.purpose == "filler" else f"{row.purpose.capitalize()}: ask"
    ears = f"{row.wanted} ear{'s' if row.wanted != 1 else ''}"
    kind = row.kind.replace("_", " ").capitalize()
    return f"{kind} {ears}{_with_males(row.male_rows)}"


def _with_males(numbers: Iterable[int]) -> str:
    """Males as their stakes carry them; more than a few are left to the leader."""
    named = [f"{number:04d}" for number in numbers]
    if not named:
        return ""
    more = f" or {len(named) - MOST_MALES} more: ask" if len(named) > MOST_MALES else ""
    return f" with row {' or '.join(named[:MOST_MALES])}{more}"


def mark_of(row: RowFacts) -> str:
    """The purpose that the mark shows; a sib without a male row is told from a self, the pollen differs."""
    return "sib" if row.purpose == "self" and row.kind == "sib" else row.purpose


def make_row_tags(day: DayList) -> list[RowTag]:
    """A tag for each row of a season, in walking order."""
    return [
        RowTag(
            tag=row.tag,
            number=row.number,
            season=day.season,
            field_row=row.field_row,
            field_col=row.field_col,
            line=row.line,
            pedigree_short=row.pedigree if row.pedigree != row.line else "",
            do=tell_instruction(row),
            male_text=row.male,
            lot=row.lot,
            sow_on=row.sow_on,
            kernels=row.kernels,
            purpose=mark_of(row),
        )
        for row in day.rows.values()
    ]


def make_walk_book(on: Occasion, day: DayList) -> WalkBook:
    """The walk book of a season: every row with its instruction, and when its silk is expected."""
    chain_hash, position = _newest_note(on)
    station = read_station(on.station)
    return WalkBook(
        station=station.name,
        site=_site_of(on, day.season),
        season=day.season,
        printed_on=on.today,
        rows=tuple(
            WalkRow(
                tag=row.tag,
                number=row.number,
                field_row=row.field_row,
                field_col=row.field_col,
                line=row.line,
                do=tell_instruction(row),
                purpose=mark_of(row),
                silk_about=row.silk_expected,
                warning=_tell_shut(row, station.time_zone),
            )
            for row in day.rows.values()
        ),
        chain_hash=chain_hash,
        chain_position=position,
    )


def make_day_sheet(on: Occasion, day: DayList, leader: str = "") -> DaySheet:
    """Today's tasks, one line a row; rows under a spray interval first."""
    chain_hash, position = _newest_note(on)
    station = read_station(on.station)
    tasks: dict[int, list[tuple[str, str]]] = {}
    for task in day.tasks:
        tasks.setdefault(task.number, []).append((_tell_task(task, day.rows[task.number]), task.why))
    shut = {row.number: _tell_shut(row, station.time_zone) for row in day.shut_rows}
    return DaySheet(
        station=station.name,
        site=_site_of(on, day.season),
        season=day.season,
        day=on.today,
        leader=leader,
        tasks=tuple(
            _day_task(day.rows[number], tasks.get(number, []), shut.get(number, ""))
            for number in sorted(tasks.keys() | shut.keys())
        ),
        weather=_tell_hours(on, day),
        short_of=_tell_short(on, day),
        chain_hash=chain_hash,
        chain_position=position,
    )


def _tell_hours(on: Occasion, day: DayList) -> str:
    """From when to when pollen is dry today; empty on a day on which nobody pollinates."""
    return " ".join(read_pollen_windows(on, day.season).sentences) if day.count("pollinate") else ""


def _tell_task(task: Task, row: RowFacts) -> str:
    one, many = DOES[task.do]
    do = one.format(count=task.count) + (many if task.count != 1 else "")
    if task.do != "pollinate":
        return do
    return f"{do}{_with_males(task.males)}" if row.purpose == "female" else f"{do}, {POLLEN_FROM[mark_of(row)]}"


def _day_task(row: RowFacts, done: list[tuple[str, str]], blocked: str) -> DayTask:
    return DayTask(
        tag=row.tag,
        number=row.number,
        field_row=row.field_row,
        field_col=row.field_col,
        line=row.line,
        do="; ".join(do for do, _ in done) or "Stay out",
        why="; ".join(why for _, why in done),
        purpose=mark_of(row),
        blocked=blocked,
    )


def make_lot_labels(lots: Iterable[LotRow]) -> list[LotLabel]:
    """A label for each lot, in the order given."""
    return [
        LotLabel(
            tag=lot.stock.tag,
            name=lot.stock.name,
            line=lot.stock.line,
            kernels=lot.stock.kernels if lot.stock.kernels > 0 else None,
            year=lot.stock.year,
            shelf=lot.place,
        )
        for lot in lots
    ]


def _tell_shut(row: RowFacts, time_zone: str) -> str:
    """Until when nobody may enter, by the clock of the station, as people in the field read it."""
    if not row.no_entry or row.no_entry_until is None:
        return ""
    until = round_up_minute(row.no_entry_until.astimezone(ZoneInfo(time_zone)))
    return f"sprayed, until {write_day(until.date(), short=True)} {until:%H:%M}"


def round_up_minute(moment: datetime) -> datetime:
    """The next full minute, so that nobody goes in some seconds too early."""
    full = moment.replace(second=0, microsecond=0)
    return full if full == moment else full + timedelta(minutes=1)


MOST_TARGETS = 6
"""Targets of the red list that a day sheet names."""


def _tell_short(on: Occasion, day: DayList) -> str:
    """What the targets still want, the red list by name: the same figures as the page of targets."""
    if not day.progress:
        return ""
    told = tell_targets(on, day)
    red = [one for one in told.of_group("red") if one.verdict != "over"]
    named = [f"{one.progress.female}{_by(one.progress.male)}: {one.says}" for one in red[:MOST_TARGETS]]
    if len(red) > MOST_TARGETS:
        named.append(f"And {_many(len(red) - MOST_TARGETS, 'target')} more.")
    return " ".join([*told.sentences, *named])


def _by(male: str) -> str:
    return f" by {male}" if male else ""


def _many(count: int, what: str) -> str:
    return f"{count:,} {what}{'' if count == 1 else 's'}"


def _newest_note(on: Occasion) -> tuple[str, int]:
    newest = list_notes(on, limit=1)
    return (newest[0].hash, newest[0].position) if newest else ("", 0)


def _site_of(on: Occasion, season: str) -> str:
    return next((one.site for one in list_seasons(on) if one.name == season), "")
