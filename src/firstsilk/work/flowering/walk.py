"""What does a phone need in the field today? The rows, where they stand, and one instruction each.

No pedigrees and no results travel: a phone may be lost.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from firstsilk.records.models import Row, Season
from firstsilk.science.flowering.rows import RowState, read_row_states
from firstsilk.work.flowering.notes import read_notes
from firstsilk.work.flowering.rows import share_pollinations
from firstsilk.work.nursery.rates import read_line_rates
from firstsilk.work.occasion import Occasion
from firstsilk.work.shelf import get_season, get_station
from firstsilk.work.standing import rows_on

FORMAT = 1
"""Version of the field list that phones read."""


@dataclass(frozen=True, slots=True)
class WalkRow:
    """One row of today's field list.

    Parameters
    ----------
    do
        One instruction, a short sentence.
    next
        The kind of note that the instruction leads to; empty if none.
    make
        The kind of pollination planned (``self``, ``cross``, ...); empty for males and fillers.
    males
        Tag and number of each row that gives pollen to this one.
    keep_out_until
        Local time until which nobody may enter (a spray interval); None if free.
    state
        Counts and dates as text that the notes give; `ears_wanted` is what its tag asks: ears to pollinate on this row.
    """

    tag: str
    number: int
    field_row: int
    field_col: int
    line: str
    purpose: str
    make: str
    do: str
    next: str
    males: tuple[tuple[str, int], ...]
    keep_out_until: str | None
    state: Mapping[str, int | str | None]


@dataclass(frozen=True, slots=True)
class Walk:
    """Today's field list of a station's season, rows by number."""

    format: int
    station: str
    season: str
    today: date
    rows: tuple[WalkRow, ...]


def read_walk(on: Occasion) -> Walk:
    """Today's field list: every row of the season with its place, its males, its state and what to do.

    A station without a season has an empty list: a phone can still write notes by tag.
    """
    station = get_station(on.station)
    if not Season.objects.filter(station=station).exists():
        return Walk(FORMAT, station.code, "", on.today, ())
    season = get_season(station, today=on.today)
    rows = list(rows_on(station, on.today).filter(season=season).select_related("line", "target").order_by("number"))
    states = read_row_states(read_notes(on, [row.tag for row in rows]), up_to=on.today)
    males = _find_males(rows)
    shares = share_pollinations(rows, read_line_rates(station, {row.line.name for row in rows}, on.today))
    zone = ZoneInfo(station.time_zone)
    return Walk(
        format=FORMAT,
        station=station.code,
        season=season.name,
        today=on.today,
        rows=tuple(
            _as_walk_row(row, states.get(row.tag, RowState(row.tag)), males, shares.get(row.number, 0), on.now, zone)
            for row in rows
        ),
    )


def _find_males(rows: list[Row]) -> dict[int, tuple[tuple[str, int], ...]]:
    """For each line that gives pollen: the rows that stand as males of it."""
    found: dict[int, list[tuple[str, int]]] = defaultdict(list)
    for row in rows:
        if row.purpose == "male":
            found[row.line_id].append((row.tag, row.number))
    return {line: tuple(rows_of_it) for line, rows_of_it in found.items()}


def _as_walk_row(
    row: Row,
    state: RowState,
    males: Mapping[int, tuple[tuple[str, int], ...]],
    wanted: int,
    now: datetime,
    zone: ZoneInfo,
) -> WalkRow:
    target = row.target if row.purpose in ("self", "female") else None
    own_males = males.get(target.male_id, ()) if target is not None and target.male_id is not None else ()
    do, following = _choose_step(row.purpose, state, wanted, own_males)
    shut = row.no_entry_until is not None and row.no_entry_until > now
    return WalkRow(
        tag=row.tag,
        number=row.number,
        field_row=row.field_row,
        field_col=row.field_col,
        line=row.line.name,
        purpose=row.purpose,
        make=target.kind if target is not None else "",
        do=do,
        next=following,
        males=own_males,
        keep_out_until=row.no_entry_until.astimezone(zone).strftime("%Y-%m-%dT%H:%M:%S")
        if shut and row.no_entry_until is not None
        else None,
        state={
            "silk_on": state.silk_on.isoformat() if state.silk_on else None,
            "shed_on": state.shed_on.isoformat() if state.shed_on else None,
            "shoot_bags": state.shoot_bags,
            "tassel_bags": state.tassel_bags,
            "ears": state.ears_standing,
            "spoiled": state.spoiled,
            "ears_wanted": wanted,
        },
    )


def _choose_step(purpose: str, state: RowState, wanted: int, males: tuple[tuple[str, int], ...]) -> tuple[str, str]:
    """The next step of a row as its notes stand, as a sentence, and the kind of note it leads to."""
    if purpose == "filler":
        return "Nothing to do here.", ""
    if purpose == "male":
        if state.shed_on is None:
            return "Look for pollen: do half the plants shed?", "shed"
        return "Take pollen from here.", "tassel_bagged"
    if state.ears_standing >= wanted:
        return "Enough ears. Nothing more to do.", ""
    if state.shoot_bags == 0:
        return "Put shoot bags on, before any silk shows.", "shoot_bagged"
    if state.silk_on is None and state.ears_pollinated == 0:
        return "Look for silk: do half the plants show it?", "silk"
    missing = wanted - state.ears_standing
    ears = "1 ear" if missing == 1 else f"{missing} ears"
    if purpose == "self":
        return f"Self {ears}: each with its own pollen.", "pollinated"
    numbers = " or ".join(str(number) for _, number in males)
    return f"Pollinate {ears} with pollen of row {numbers or '(ask)'}.", "pollinated"
