"""Which kernels are promised to what, and how is a promise given up?

A promise ends by itself when its seed is sown or packed, or its row is noted as skipped. What is never sown must be
given up by hand, or its seed stays locked.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date

from django.db import transaction

from firstsilk.answers import refuse
from firstsilk.records.models import Movement, Reservation, Station
from firstsilk.work.nursery.sow import AsSown, record_sowing
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.stock import read_stock
from firstsilk.work.shelf import get_lot, get_season, get_station, get_trial
from firstsilk.work.standing import promises_on


@dataclass(frozen=True, slots=True)
class Promise:
    """Kernels of a lot promised to a row or a trial; `is_past`: of an earlier year, and still not taken."""

    lot: str
    tag: str
    line: str
    kernels: int
    used_for: str
    season: str
    row: int | None
    trial: str
    reserved_on: date
    is_past: bool


@dataclass(frozen=True, slots=True)
class PromiseList:
    """Promises that stand, oldest first."""

    promises: tuple[Promise, ...]
    kernels: int
    basis: Basis


@dataclass(frozen=True, slots=True)
class GivenUp:
    """What a trial was promised until it was given up by hand: kernels in all, and on which day."""

    trial: str
    kernels: int
    released_on: date


@dataclass(frozen=True, slots=True)
class Released:
    """What giving up promises did: how many, and kernels that are free again."""

    promises: int
    kernels: int
    basis: Basis


def list_promises(on: Occasion, lot: str = "", only_past: bool = False) -> PromiseList:
    """The promises that stand on the day, of one lot if named; `only_past` those of earlier years."""
    station = get_station(on.station)
    held = promises_on(station, on.today).select_related("lot__line", "row__season", "trial")
    if lot:
        held = held.filter(lot=get_lot(station, lot))
    told = [_tell(one, on.today) for one in held.order_by("reserved_on", "pk")]
    if only_past:
        told = [one for one in told if one.is_past]
    return PromiseList(tuple(told), sum(one.kernels for one in told), Basis((("promises", len(told)),)))


def _tell(one: Reservation, today: date) -> Promise:
    row, trial = one.row, one.trial
    year = row.season.year if row else trial.year if trial else one.reserved_on.year
    used_for = f"row {row.number} of {row.season.name}" if row else f"trial {trial.name}" if trial else "a plan"
    return Promise(
        lot=one.lot.name,
        tag=one.lot.tag,
        line=one.lot.line.name,
        kernels=one.kernels,
        used_for=used_for,
        season=row.season.name if row else "",
        row=row.number if row else None,
        trial=trial.name if trial else "",
        reserved_on=one.reserved_on,
        is_past=year < today.year,
    )


def release_row(on: Occasion, season: str, row: int, why: str = "") -> Released:
    """Give up what a row was promised: the row is noted as skipped, and its seed is free again.

    Raises
    ------
    InputRefused
        If nothing is promised to the row.

    Notes
    -----
    A note, so that the field map and the day list know that nothing grows there. Taking that note back promises the
    seed again.
    """
    station = get_station(on.station)
    with transaction.atomic():
        Station.objects.select_for_update().get(pk=station.pk)
        book = get_season(station, season, on.today)
        held = promises_on(station, on.today).filter(row__season=book, row__number=row)
        kernels = [one.kernels for one in held]
        if not kernels:
            raise refuse("nothing_promised", f"Nothing is promised to row {row} of {book.name}.", "See the promises.")
        record_sowing(on, book.name, [AsSown(row, None, "skipped", why)])
    return Released(len(kernels), sum(kernels), Basis((("promises", len(kernels)),)))


def release_trial(on: Occasion, trial: str) -> Released:
    """Give up what a trial was promised; its packets can then no longer be packed.

    Raises
    ------
    InputRefused
        If nothing is promised to the trial (its packets may be packed already).
    """
    station = get_station(on.station)
    with transaction.atomic():
        Station.objects.select_for_update().get(pk=station.pk)
        found = get_trial(station, trial)
        held = promises_on(station, on.today).filter(trial=found)
        kernels = [one.kernels for one in held]
        if not kernels:
            told = f"Nothing is promised to trial {found.name}."
            raise refuse("nothing_promised", told, "Its packets may be packed already.")
        held.update(released_on=on.today)
    return Released(len(kernels), sum(kernels), Basis((("promises", len(kernels)),)))


def list_given_up(on: Occasion) -> tuple[GivenUp, ...]:
    """Trials that are not packed and whose promise was given up by hand, newest first."""
    return tuple(
        GivenUp(trial, sum(one.kernels for one in held), released)
        for (trial, released), held in _read_given_up(get_station(on.station), on.today).items()
    )


def renew_trial(on: Occasion, trial: str) -> Released:
    """Promise a trial again what was given up by hand: the same kernels of the same lots, all or none.

    Raises
    ------
    InputRefused
        If nothing of it was given up, its packets are packed, or a lot has no longer so much free seed.
    """
    station = get_station(on.station)
    with transaction.atomic():
        Station.objects.select_for_update().get(pk=station.pk)
        found = get_trial(station, trial)
        given_up = _read_given_up(station, on.today)
        held = next((given_up[key] for key in given_up if key[0] == found.name), [])
        if not held:
            told = f"Nothing that was promised to trial {found.name} was given up."
            raise refuse("nothing_given_up", told, "Its packets may be packed already, or the promise may still stand.")
        wanted: dict[str, int] = defaultdict(int)
        for one in held:
            wanted[one.lot.tag] += one.kernels
        short = [
            f"{name} has {max(0, free):,} free of {wanted[tag]:,}"
            for tag, name, free in ((lot.tag, lot.name, lot.free) for lot in read_stock(station))
            if free < wanted.get(tag, free)
        ]
        if short:
            told = f"Trial {found.name} cannot be promised its seed again: {'; '.join(short)}."
            raise refuse("stock_promised", told, "Give up another promise, or lay the trial out anew.")
        Reservation.objects.filter(pk__in=[one.pk for one in held]).update(released_on=None)
    return Released(len(held), sum(one.kernels for one in held), Basis((("promises", len(held)),)))


def _read_given_up(station: Station, day: date) -> dict[tuple[str, date], list[Reservation]]:
    """For each trial without standing promises or packed packets, those of the newest day of release."""
    packed = Movement.objects.filter(station=station, reason="packed", moved_on__lte=day)
    names = set(packed.values_list("used_for", flat=True))
    standing = set(promises_on(station, day).filter(trial__isnull=False).values_list("trial", flat=True))
    released = Reservation.objects.filter(station=station, trial__isnull=False, released_on__lte=day)
    found: dict[tuple[str, date], list[Reservation]] = {}
    newest: dict[int, date] = {}
    for one in released.exclude(trial__in=standing).select_related("trial", "lot").order_by("-released_on", "pk"):
        assert one.trial is not None
        assert one.released_on is not None
        if f"trial {one.trial.name}" in names:
            continue
        if newest.setdefault(one.trial.pk, one.released_on) == one.released_on:
            found.setdefault((one.trial.name, one.released_on), []).append(one)
    return found
