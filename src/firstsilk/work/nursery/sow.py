"""What was really sown, and what does that take out of the lots?

Sowing is noted, never written over the plan. Seed leaves its lot when the notes of sowing are settled: each row's
bookings are brought in line with what its notes say, however often that is done and in whatever order they came.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from django.db import transaction

from firstsilk.answers import Finding, Place, refuse, shorten_value
from firstsilk.records.models import Movement, Reservation, Row, Season, Station
from firstsilk.science.flowering.notes import KINDS
from firstsilk.science.flowering.rows import RowState
from firstsilk.work.complaints import Complaints
from firstsilk.work.flowering.notes import NoteDraft, write_notes
from firstsilk.work.flowering.states import read_states
from firstsilk.work.nursery.as_sown import read_row_seed
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.stock import read_stock
from firstsilk.work.shelf import get_season, get_station
from firstsilk.work.standing import promises_on


@dataclass(frozen=True, slots=True)
class AsSown:
    """What was done on one row: sown on a day, or ``skipped``, ``short``, ``doubled``, ``other_lot``.

    `remark` says with ``short`` or ``doubled`` how many kernels were sown, with ``other_lot`` the lot's name or tag.
    """

    row: int
    sown_on: date | None
    misplanted: str = ""
    remark: str = ""


@dataclass(frozen=True, slots=True)
class Sown:
    """What sowing did to the books: notes written, rows whose bookings changed, kernels taken out of lots."""

    season: str
    noted: int
    settled: int
    kernels: int
    findings: tuple[Finding, ...]
    basis: Basis


def record_sowing(
    on: Occasion, season: str, rows: Sequence[AsSown], source: str = "desk", places: Sequence[Place] = ()
) -> Sown:
    """Note what was sown and as-planted corrections, then settle the seed. `places` are their places in a table.

    Raises
    ------
    InputRefused
        If a row is not in the season, a correction is not on the list, or a day lies after today.
    """
    station = get_station(on.station)
    book = get_season(station, season, on.today)
    tags = dict(Row.objects.filter(station=station, season=book).values_list("number", "tag"))
    complaints = Complaints(places)
    said: dict[int, AsSown] = {}
    for at, one in enumerate(rows):
        with complaints.about(at):
            _check_as_sown(one, tags, book, on.today)
            _check_against_others(one, said)
    complaints.stop_if_any()
    with transaction.atomic():
        # Two people who note the same rows at once: the second waits, and then finds them noted.
        Station.objects.select_for_update().get(pk=station.pk)
        states = read_states(station, [tags[one.row] for one in rows])
        drafts = [draft for one in rows for draft in _drafts(one, tags[one.row], states)]
        write_notes(on, drafts, source)
        return settle_sowing(on, book.name, len(drafts))


def _drafts(one: AsSown, tag: str, states: Mapping[str, RowState]) -> list[NoteDraft]:
    """The notes that say it, less those that stand already: noting the same twice changes nothing."""
    state = states.get(tag, RowState(tag))
    drafts = []
    if one.misplanted and f"{one.misplanted} {one.remark}".strip() not in state.misplanted:
        drafts.append(NoteDraft("misplanted", tag, value=one.remark, detail=one.misplanted))
    if one.sown_on is not None and one.misplanted != "skipped" and one.sown_on != state.sown_on:
        drafts.append(NoteDraft("sown", tag, value=one.sown_on.isoformat()))
    return drafts


def _check_as_sown(one: AsSown, tags: dict[int, str], season: Season, today: date) -> None:
    if one.row not in tags:
        told = f"There is no row {one.row} in season {season.name}."
        raise refuse("row_unknown", told, "Check the row number.", column="row")
    known = KINDS["misplanted"].details
    if one.misplanted and one.misplanted not in known:
        told = f"Row {one.row}: {shorten_value(one.misplanted)!r} is not a correction."
        raise refuse("misplanted_unknown", told, f"Use one of {', '.join(known)}.", column="misplanted")
    if one.sown_on is None and not one.misplanted:
        told = f"Row {one.row}: neither the day it was sown nor a correction."
        raise refuse("nothing_said", told, "Write the day, or leave the row out.", column="sown")
    if one.sown_on is not None and one.sown_on > today:
        told = f"Row {one.row}: {one.sown_on} is after today, {today}."
        raise refuse("sown_later", told, "Check the date.", column="sown")
    if one.sown_on is not None and abs(one.sown_on.year - season.year) > 1:
        told = f"Row {one.row}: {one.sown_on} is not in season {season.name}."
        raise refuse("sown_far_off", told, "Check the year.", column="sown")


def _check_against_others(one: AsSown, said: dict[int, AsSown]) -> None:
    """A row may stand in two lines, the day in one and a correction in the other, but not with two days."""
    before = said.setdefault(one.row, one)
    if before is not one and one.sown_on is not None and before.sown_on is not None:
        told = f"Row {one.row} stands twice, sown on {before.sown_on} and on {one.sown_on}."
        raise refuse("row_twice", told, "Keep one line of it.", column="row")


def sow_as_planned(on: Occasion, season: str, up_to: date) -> Sown:
    """Note every row whose sowing day has come and that is not noted yet as sown on its planned day."""
    station = get_station(on.station)
    with transaction.atomic():
        Station.objects.select_for_update().get(pk=station.pk)
        book = get_season(station, season, on.today)
        rows = Row.objects.filter(station=station, season=book, sow_on__lte=min(up_to, on.today)).order_by("number")
        states = read_states(station, [row.tag for row in rows], on.today)
        waiting = [
            AsSown(row.number, row.sow_on)
            for row in rows
            if row.tag not in states or (states[row.tag].sown_on is None and not states[row.tag].misplanted)
        ]
        return record_sowing(on, book.name, waiting)


def settle_sowing(on: Occasion, season: str, noted: int = 0) -> Sown:
    """Bring what each row took out of its lot in line with its notes, and release or renew what is promised for it.

    Notes
    -----
    Settling again changes nothing. A sowing that is taken back gives its seed back. What has happened is booked even
    if it draws a lot below zero; that raises a finding. Rows brought with past seasons were never promised seed, and
    theirs is not booked.
    """
    station = get_station(on.station)
    book = get_season(station, season, on.today)
    with transaction.atomic():
        Station.objects.select_for_update().get(pk=station.pk)
        held = list(Reservation.objects.filter(station=station, row__season=book).select_related("row", "lot"))
        states = read_states(station, [one.row.tag for one in held if one.row], on.today)
        booked = _read_booked(station, book)
        moves: list[Movement] = []
        findings: list[Finding] = []
        for one in held:
            assert one.row is not None
            state = states.get(one.row.tag, RowState(one.row.tag))
            moves += _settle_row(on, one, state, booked[_use(one.row, book)], findings, book)
        Movement.objects.bulk_create(moves)
        Reservation.objects.bulk_update(held, ["released_on"], batch_size=500)
    findings += [_low_finding(lot.name, lot.kernels) for lot in read_stock(station) if lot.kernels < 0]
    settled = len({move.used_for for move in moves})
    out = -sum(move.kernels for move in moves)
    return Sown(book.name, noted, settled, out, tuple(findings), Basis((("rows with promised seed", len(held)),)))


def count_unsettled(station: Station, season: Season, states: dict[str, RowState], today: date) -> int:
    """Rows noted as sown or skipped, by phone or file, whose seed is still only promised."""
    held = promises_on(station, today).filter(row__season=season)
    done = [states.get(tag) for tag in held.values_list("row__tag", flat=True)]
    return sum(1 for state in done if state is not None and (state.sown_on or _was_skipped(state)))


def _read_booked(station: Station, season: Season) -> dict[str, dict[int, int]]:
    """Kernels taken out for each use so far, by lot."""
    booked: dict[str, dict[int, int]] = defaultdict(lambda: defaultdict(int))
    moves = Movement.objects.filter(station=station, reason="sown", used_for__endswith=f"season {season.name}")
    for lot, kernels, used_for in moves.values_list("lot_id", "kernels", "used_for"):
        booked[used_for][lot] -= kernels
    return booked


def _use(row: Row, season: Season) -> str:
    return f"row {row.number}, season {season.name}"


def _settle_row(
    on: Occasion,
    held: Reservation,
    state: RowState,
    booked: dict[int, int],
    findings: list[Finding],
    season: Season,
) -> list[Movement]:
    """The movements that bring one row's bookings in line with its notes; sets its promise."""
    row = held.row
    assert row is not None
    seed = read_row_seed(held.lot, held.kernels, state)
    if isinstance(seed, str):
        told = f"row {row.number}: {seed}"
        repair = "Note the misplanted row again with the lot's name, and take the first note back"
        findings.append(Finding("lot_unclear", told, Place(), row.tag, repair, stops=False))
        return []
    wanted: dict[int, int] = {}
    if state.sown_on is not None:
        wanted[seed.lot.pk] = seed.kernels
    is_done = state.sown_on is not None or _was_skipped(state)
    held.released_on = (held.released_on or on.today) if is_done else None
    moves = []
    for lot in sorted(wanted.keys() | booked.keys()):
        change = wanted.get(lot, 0) - booked.get(lot, 0)
        if change:
            moves.append(_move(on, held.station, lot, change, _use(row, season), state.sown_on or on.today))
    return moves


def _was_skipped(state: RowState) -> bool:
    return any(text.startswith("skipped") for text in state.misplanted)


def _move(on: Occasion, station: Station, lot: int, kernels: int, used_for: str, moved_on: date) -> Movement:
    return Movement(
        station=station,
        lot_id=lot,
        kernels=-kernels,
        reason="sown",
        used_for=used_for,
        moved_on=moved_on,
        recorded_at=on.now,
        recorded_by=on.who,
    )


def _low_finding(name: str, kernels: int) -> Finding:
    return Finding(
        "stock_below_zero",
        f"lot {name} stands at {kernels} kernels",
        Place(),
        str(kernels),
        "Count the lot and enter the count, or correct the sowing",
        stops=False,
    )
