"""What was really sown, and what does that take out of the lots?

Sowing is noted, never written over the plan. Seed leaves its lot when the note of sowing is settled.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.db import transaction

from firstsilk.answers import Finding, Place, refuse
from firstsilk.records.models import Lot, Movement, Reservation, Row
from firstsilk.science.flowering.notes import KINDS
from firstsilk.work.flowering.notes import NoteDraft, write_notes
from firstsilk.work.flowering.states import read_states
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.stock import read_stock
from firstsilk.work.shelf import get_season, get_station


@dataclass(frozen=True, slots=True)
class AsSown:
    """What was done on one row: sown on a day, or ``skipped``, ``short``, ``doubled``, ``other_lot``."""

    row: int
    sown_on: date | None
    misplanted: str = ""
    remark: str = ""


@dataclass(frozen=True, slots=True)
class Sown:
    """What sowing did to the books."""

    season: str
    noted: int
    settled: int
    kernels: int
    findings: tuple[Finding, ...]
    basis: Basis


def record_sowing(on: Occasion, season: str, rows: Sequence[AsSown], source: str = "desk") -> Sown:
    """Note what was sown and as-planted corrections, then settle the seed.

    Raises
    ------
    InputRefused
        If a row is not in the season, or a correction is not on the list.
    """
    station = get_station(on.station)
    book = get_season(station, season, on.today)
    tags = dict(Row.objects.filter(station=station, season=book).values_list("number", "tag"))
    drafts: list[NoteDraft] = []
    for one in rows:
        if one.row not in tags:
            raise refuse("row_unknown", f"There is no row {one.row} in season {book.name}.", "Check the row number.")
        if one.misplanted and one.misplanted not in KINDS["misplanted"].details:
            raise refuse(
                "misplanted_unknown",
                f"Row {one.row}: {one.misplanted!r} is not a correction.",
                f"Use one of {', '.join(KINDS['misplanted'].details)}.",
            )
        if one.misplanted:
            drafts.append(NoteDraft("misplanted", tags[one.row], value=one.remark, detail=one.misplanted))
        if one.sown_on is not None and one.misplanted != "skipped":
            drafts.append(NoteDraft("sown", tags[one.row], value=one.sown_on.isoformat()))
    with transaction.atomic():
        write_notes(on, drafts, source)
        return settle_sowing(on, book.name, len(drafts))


def sow_as_planned(on: Occasion, season: str, up_to: date) -> Sown:
    """Note every row whose sowing day has come and that is not noted yet as sown on its planned day."""
    station = get_station(on.station)
    book = get_season(station, season, on.today)
    rows = Row.objects.filter(station=station, season=book, sow_on__lte=up_to).order_by("number")
    states = read_states(station, [row.tag for row in rows], on.today)
    waiting = [
        AsSown(row.number, row.sow_on)
        for row in rows
        if row.tag not in states or (states[row.tag].sown_on is None and not states[row.tag].misplanted)
    ]
    return record_sowing(on, book.name, waiting)


def settle_sowing(on: Occasion, season: str, noted: int = 0) -> Sown:
    """Take the seed of every row noted as sown out of its lot, once, and release what was promised for it.

    Notes
    -----
    What has happened is booked even if it draws a lot below zero; that raises a finding.
    """
    station = get_station(on.station)
    book = get_season(station, season, on.today)
    with transaction.atomic():
        held = list(
            Reservation.objects.select_for_update(of=("self",))
            .filter(station=station, row__season=book, released_on__isnull=True)
            .select_related("row", "lot")
        )
        states = read_states(station, [one.row.tag for one in held if one.row], on.today)
        moved = kernels = 0
        for one in held:
            state = states.get(one.row.tag) if one.row else None
            if state is None or (state.sown_on is None and not _was_skipped(state.misplanted)):
                continue
            one.released_on = on.today
            one.save(update_fields=["released_on"])
            if state.sown_on is not None and one.row is not None:
                moved, kernels = moved + 1, kernels + one.kernels
                _move(on, one.lot, one.kernels, one.row, state.sown_on)
    low = [lot for lot in read_stock(station) if lot.kernels < 0]
    findings = tuple(
        Finding(
            "stock_below_zero",
            f"lot {lot.name} stands at {lot.kernels} kernels",
            Place(),
            str(lot.kernels),
            "Count the lot and enter the count, or correct the sowing",
            stops=False,
        )
        for lot in low
    )
    return Sown(book.name, noted, moved, kernels, findings, Basis((("rows with promised seed", len(held)),)))


def _was_skipped(misplanted: tuple[str, ...]) -> bool:
    return any(text.startswith("skipped") for text in misplanted)


def _move(on: Occasion, lot: Lot, kernels: int, row: Row, sown_on: date) -> None:
    if kernels == 0:
        return
    Movement.objects.create(
        station=lot.station,
        lot=lot,
        kernels=-kernels,
        reason="sown",
        used_for=f"row {row.number}, season {row.season.name}",
        moved_on=sown_on,
        recorded_at=on.now,
        recorded_by=on.who,
    )
